"""A field in which somebody names a part of one role: typed, or chosen from a list."""

from __future__ import annotations

import ipywidgets as widgets

from fitgraph.lab.form import part_label
from fitgraph.model import Catalogue


class PartPicker(widgets.HBox):
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
            description=title[:1].upper() + title[1:],
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
        super().__init__([self.field, self.clear])
        self.layout.width = "100%"

    def _emptied(self, change: dict[str, str]) -> None:
        self.clear.disabled = not change["new"]

    @property
    def value(self) -> str:
        """Return what stands in the field."""
        return str(self.field.value)
