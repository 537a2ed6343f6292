"""Fields in which somebody names a part of one role: typed, or chosen from a list."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import ipywidgets as widgets

from fitgraph.draw.product import product_svg
from fitgraph.lab.fields import FieldProblem
from fitgraph.lab.form import part_label, read_parts
from fitgraph.lab.look import grid
from fitgraph.lab.pressable import Pressable
from fitgraph.lab.session import SessionError
from fitgraph.model import Catalogue, Verdict
from fitgraph.wording import capital


class PartPicker(widgets.VBox):
    """A searchable list of the parts of a role, with a button that empties it.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts are listed.
    role : str
        The role.
    """

    def __init__(self, catalogue: Catalogue, role: str) -> None:
        title = catalogue.vocabulary.roles[role].title
        self.field = widgets.Combobox(
            options=tuple(part_label(p) for p in catalogue.of(role)),
            description=capital(title),
            placeholder="number or name",
            ensure_option=False,
            style={"description_width": "8.5em"},
            layout=widgets.Layout(flex="1 1 auto", width="auto", min_width="0"),
        )
        self.clear = widgets.Button(
            description=f"Clear {title}",
            tooltip=f"Clear {title}",
            disabled=True,
            layout=widgets.Layout(width="30px", flex="0 0 auto"),
        )
        self.clear.add_class("fg-clear")
        self.clear.on_click(lambda _: setattr(self.field, "value", ""))
        self.field.observe(self._emptied, names="value")
        #: What is wrong with the entry stands under it.
        self.problem = FieldProblem()
        super().__init__([widgets.HBox([self.field, self.clear]), self.problem])
        self.layout.width = "calc(100% - 4px)"
        self.add_class("fg-picker")

    def _emptied(self, change: dict[str, str]) -> None:
        self.clear.disabled = not change["new"]

    @property
    def value(self) -> str:
        """Return what stands in the field."""
        return str(self.field.value)


class PartPickers(widgets.VBox):
    """A field for each of some roles.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts are listed.
    roles : iterable of str
        The roles, in reading order.
    """

    def __init__(self, catalogue: Catalogue, roles: Iterable[str]) -> None:
        self._catalogue = catalogue
        self.pickers = {role: PartPicker(catalogue, role) for role in roles}
        super().__init__(self._arranged(), layout=widgets.Layout(width="100%"))

    def _arranged(self) -> list[widgets.Widget]:
        return [grid(list(self.pickers.values()), "400px")]

    @property
    def typed(self) -> list[widgets.Widget]:
        """Return the fields themselves."""
        return [picker.field for picker in self.pickers.values()]

    @property
    def problems(self) -> dict[str, FieldProblem]:
        """Return where it stands what is wrong with an entry, by role."""
        return {role: picker.problem for role, picker in self.pickers.items()}

    @property
    def entries(self) -> dict[str, str]:
        """Return what stands in each field that is filled in."""
        return {role: p.value for role, p in self.pickers.items() if p.value}

    def skus(self) -> dict[str, str]:
        """Return the stock number that is meant in each field that is filled in.

        Raises
        ------
        FormError
            With one line for every entry that cannot be read.
        """
        return read_parts(self.entries, self._catalogue)

    def name(self, skus: Iterable[str]) -> None:
        """Fill in the fields of some parts; those that have none here are passed over."""
        for part in filter(None, map(self._catalogue.parts.get, skus)):
            if part.role in self.pickers:
                self.pickers[part.role].field.value = part_label(part)

    def enter(self, entries: Mapping[str, str]) -> None:
        """Fill in the fields, and empty those that are not named.

        Raises
        ------
        SessionError
            If a role has no field here, or an entry is no text.
        """
        strange = [role for role in entries if role not in self.pickers]
        if strange:
            raise SessionError(f"This page has no role called {strange[0]!r}.")
        if not all(isinstance(text, str) for text in entries.values()):
            raise SessionError("An entry of this session is no text.")
        for role, picker in self.pickers.items():
            picker.field.value = entries.get(role, "")


class PartsForm(PartPickers):
    """The product and a field for every role; what a build need not have opens with a button.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts are listed.
    more : str
        What the button says.
    gone_to : callable, optional
        Called with the role that was pressed in the drawing.
    """

    def __init__(
        self, catalogue: Catalogue, more: str, gone_to: Callable[[str], object] = lambda role: None
    ) -> None:
        # A button, because the headers of ipywidgets' accordion cannot be reached by keyboard.
        self.more = widgets.ToggleButton(
            description=more,
            tooltip="Show or hide the fields for adapters and extras",
            layout=widgets.Layout(width="max-content", margin="4px 2px", align_self="flex-start"),
        )
        self.more.observe(self._opened, names="value")
        #: The product, in which a role is pressed to go to its field.
        self.product = Pressable()
        self.product.observe(self._pressed, names="pressed")
        self._gone_to = gone_to
        super().__init__(catalogue, catalogue.vocabulary.roles)

    def _arranged(self) -> list[widgets.Widget]:
        usual, others = (
            grid([p for r, p in self.pickers.items() if self._is_usual(r) is wanted], "400px")
            for wanted in (True, False)
        )
        others.layout.display = "none"
        self._others = others
        return [self.product, usual, self.more, others]

    def _is_usual(self, role: str) -> bool:
        return self._catalogue.vocabulary.roles[role].fill.free

    def _opened(self, change: dict[str, bool]) -> None:
        self._others.layout.display = "grid" if change["new"] else "none"

    def draw(self, named: Mapping[str, str], verdicts: Mapping[str, Verdict]) -> None:
        """Show the product with some parts; arguments as of :func:`product_svg`."""
        self.product.svg = product_svg(self._catalogue, named, verdicts)

    def _pressed(self, change: Mapping[str, Any]) -> None:
        """Go to the field of the role that was pressed; what is folded away opens for it."""
        _, role, _ = change["new"]
        if role not in self.pickers:
            return
        self._gone_to(role)
        if not self._is_usual(role):
            self.more.value = True
        self.pickers[role].field.focus()

    def enter(self, entries: Mapping[str, str]) -> None:
        """Fill in the fields; what is folded away opens where one of its is filled in."""
        super().enter(entries)
        if any(entries[role] and not self._is_usual(role) for role in entries):
            self.more.value = True
