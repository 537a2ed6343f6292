"""Why do these parts not fit, and what would change that?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from html import escape
from typing import Any

import ipywidgets as widgets

from fitgraph.draw import conflict_svg, nest_svg, nests
from fitgraph.draw.product import product_svg
from fitgraph.explain import Change, Clash, Explanation, action_text, held_texts, stock_text
from fitgraph.explain.measure import Measurement
from fitgraph.explain.standing import nearest_combination
from fitgraph.lab import tables
from fitgraph.lab.answering import Answering, Step
from fitgraph.lab.choices import Choices
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.form import STILL_BEFORE, FormError, part_label, read_part
from fitgraph.lab.look import fold, heading, html, note, row, sides, style
from fitgraph.lab.measuring import measure_html, telling_html
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.picker import PartsForm
from fitgraph.lab.pressable import Pressable
from fitgraph.lab.saved_answer import saved_files
from fitgraph.lab.saves import Saves
from fitgraph.lab.session import SessionBar, SessionError, in_kernel
from fitgraph.model import Option, Verdict
from fitgraph.solve import Request

#: Changes that get a button; the others are told as a number.
_MOST_CHANGES = 6

#: Cross-sections shown.
_MOST_SECTIONS = 4


class WhyExplorer(Answering):
    """Fields for any parts; under them whether they fit, why not, and changes to apply.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    parts : sequence of str
        Stock numbers to begin with.
    """

    def __init__(self, opened: OpenCatalogue, parts: tuple[str, ...] = ()) -> None:
        super().__init__()
        self.opened = opened
        self.explanation: Explanation | None = None
        self.done: dict[str, tuple[str, ...]] = {}
        self._before: list[dict[str, Any]] = []
        self._asked = 0
        self._holding = False
        self._offered: dict[str, Change] = {}
        self._pictures: list[tuple[str, str]] = []
        catalogue = opened.catalogue
        self.form = PartsForm(catalogue, "Adapters and extras")
        self.pickers = self.form.pickers
        for sku in parts:
            part = catalogue.parts.get(sku)
            if part is not None:
                self.pickers[part.role].field.value = part_label(part)
        self.verdict, self.problems, self.answer = html(), html(), html()
        self.verdict.add_class("fg-verdict")
        self.graph, self.sections, self.needs = html(), html(), html()
        self.measure, self.telling = html(), html()
        self.saves = Saves("Save this answer")
        self.product = Pressable()
        self.product.observe(self._pressed, names="pressed")
        self.changes = Choices("Changes; press one to apply it", tall=True)
        self.changes.on_press(self._chosen)
        self.change_note = html()
        self.undo = widgets.Button(
            description="Take the last change back",
            disabled=True,
            layout=widgets.Layout(width="auto"),
        )
        self.undo.on_click(lambda _: self._take_back())
        self.stop_button = widgets.Button(
            description="Stop looking",
            disabled=True,
            layout=widgets.Layout(width="auto"),
            tooltip="Stop looking for changes and for what to measure",
        )
        self.stop_button.on_click(lambda _: self._stop_looking())
        key = f"WhyExplorer {catalogue.name} {parts}" if in_kernel() else None
        self.session = SessionBar(self, "why", key)
        question = [
            heading("The parts"),
            note(
                "Name two parts or more; press a role to go to its field. What a build must have "
                "and you do not name is left open."
            ),
            self.product,
            self.form,
            self.problems,
        ]
        answer = [
            heading("Why, or why not"),
            self.answer,
            heading("What would change that"),
            self.change_note,
            self.changes,
            row([self.undo, self.stop_button]),
            self.saves,
        ]
        drawn = [
            [fold("The joints", [self.graph], is_open=True)],
            [fold("The cross-section", [self.sections], is_open=True)],
        ]
        more = [
            [fold("What to measure", [self.measure, self.telling], is_open=True)],
            [fold("What a whole build still needs", [self.needs])],
        ]
        self.children = (
            style(self),
            self.verdict,
            sides(question, answer),
            sides(*drawn, halves=True),
            sides(*more, halves=True),
            self.session,
        )
        self._ask_soon = Debounce(self.refresh)
        for picker in self.pickers.values():
            picker.field.observe(self._changed, names="value")
        self.refresh()

    def __repr__(self) -> str:
        """Return what a notebook shows in its place until the cell is run."""
        return "Run this cell to see the fields, and why parts fit or do not."

    # ------------------------------------------------------------ state

    def state(self) -> dict[str, Any]:
        """Return the entries as plain data."""
        return {
            "parts": self.form.entries,
            "done": {sku: list(services) for sku, services in self.done.items()},
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Enter what :meth:`state` returned.

        Raises
        ------
        SessionError
            If it names something that this catalogue does not have.
        """
        done = {sku: tuple(map(str, names)) for sku, names in state.get("done", {}).items()}
        services = self.opened.catalogue.vocabulary.services
        strange = [s for names in done.values() for s in names if s not in services]
        if strange:
            raise SessionError(f"This catalogue has no workshop service called {strange[0]!r}.")
        self._holding = True
        try:
            self.form.enter(state.get("parts", {}))
            self.done = done
        finally:
            self._holding = False
        if hasattr(self, "_ask_soon"):
            self.refresh()

    def _changed(self, _change: object) -> None:
        if not self._holding:
            self._ask_soon()

    # ------------------------------------------------------------ asking

    def _skus(self) -> tuple[str, ...]:
        wrong: dict[str, str] = {}
        skus: list[str] = []
        for role, picker in self.pickers.items():
            try:
                sku = read_part(picker.value, role, self.opened.catalogue)
            except FormError as error:
                wrong[role] = str(error)
                continue
            if sku is not None:
                skus.append(sku)
        if wrong:
            raise FormError("\n".join(wrong.values()), wrong)
        return tuple(skus)

    def refresh(self) -> None:
        """Read the fields and answer them."""
        try:
            skus = self._skus()
        except FormError as error:
            self.form.tell(error.at)
            self.problems.value = tables.wrap(tables.alert(STILL_BEFORE))
            return
        self.form.tell({})
        self.problems.value = ""
        self.done = {sku: work for sku, work in self.done.items() if sku in skus}
        self.session.changed()
        self._asked += 1
        asked = self._asked
        self.run(lambda: self._steps(skus), lambda: asked == self._asked, self.problems)

    def _steps(self, skus: tuple[str, ...]) -> Iterator[Step]:
        if not skus:
            yield False, self._nothing_named
            return
        done = dict(self.done)
        verdicts: list[Verdict] = []

        def reason() -> Callable[[], None]:
            said = self.opened.explainer.why(skus, with_changes=False, done=done)
            verdicts.append(said.verdict)
            near = nearest_combination(self.opened.explainer, skus, done)
            shown = self._drawn(said, near)

            def show() -> None:
                self._show(said, near, shown, said.verdict is not Verdict.FITS)

            return show

        def change() -> Callable[[], None]:
            said = self.opened.explainer.why(skus, done=done)

            def show() -> None:
                self._show_changes(said)
                self.saves.offer(saved_files(said, self.opened.catalogue, self._pictures))

            return show

        def measure() -> Callable[[], None]:
            # What the workshop has done changes no figure that is in doubt.
            found = self.opened.measurer.rank(Request(have=skus)) if doubt else []
            return lambda: self._show_telling(found, skus, doubt=doubt)

        yield False, reason
        doubt = Verdict.UNKNOWN in verdicts
        yield True, change
        yield True, measure

    def _nothing_named(self) -> Callable[[], None]:
        def show() -> None:
            self.explanation = None
            self.verdict.value = tables.wrap('<p role="status">Name two parts or more.</p>')
            for place in (
                *(self.answer, self.graph, self.sections, self.measure),
                *(self.telling, self.needs),
            ):
                place.value = ""
            self._draw_product({}, ())
            self.saves.offer({})
            self.change_note.value = ""
            self.stop_button.disabled = True
            self.changes.show([])

        return show

    def _drawn(self, said: Explanation, near: Mapping[str, Option]) -> dict[str, Option]:
        """Return the parts of the graph: those named, and those a conflict touches."""
        parts = self.opened.catalogue.parts
        roles = {parts[label.split(" + ")[0]].role for label in said.named}
        roles |= {r for clash in said.conflicts for r in clash.options}
        return {r: o for r, o in near.items() if r in roles and o.part is not None}

    def _show(
        self,
        said: Explanation,
        near: Mapping[str, Option],
        shown: Mapping[str, Option],
        seeking: bool,
    ) -> None:
        catalogue = self.opened.catalogue
        vocabulary = catalogue.vocabulary
        self.explanation = said
        self.verdict.value = tables.wrap(tables.verdict_html(said, catalogue))
        text = tables.reasons_html(said, catalogue)
        told = held_texts(said.hold, said.pressed)
        text += "".join(f"<p>{escape(sentence)}</p>" for _, sentence in told)
        text += tables.cautions(vocabulary, *(topic for topic, _ in told))
        self.answer.value = self._wrapped(text)
        free = frozenset(r for clash in said.conflicts for r in clash.free)
        seen = {c.joint.name for c in said.conflicts}
        all_joints = (*said.conflicts, *(c for c in said.joints if c.joint.name not in seen))
        self._draw_product(
            {catalogue.parts[n.split(" + ")[0]].role: n for n in said.named}, all_joints
        )
        graph = conflict_svg(shown, all_joints, vocabulary, free)
        self.graph.value = tables.wrap(
            f'<div tabindex="0" class="fg-scroll fg-wide">{graph}'
            '</div><p class="fg-note">A dashed box is the nearest part there is for a role you '
            "did not name. Dashed lines do not fit, dotted ones cannot be told.</p>"
        )
        found = nests(near, vocabulary)
        named = {catalogue.parts[label.split(" + ")[0]].role for label in said.named}
        telling = [
            n for n in found if n.verdict is not Verdict.FITS or named & {r.role for r in n.rings}
        ]
        telling.sort(key=lambda n: (n.verdict, -len(named & {r.role for r in n.rings})))
        self.sections.value = tables.wrap(
            tables.sections_html(telling[:_MOST_SECTIONS], vocabulary)
        )
        self._pictures = [("The joints", graph)]
        self._pictures += [("The cross-section", nest_svg(n, vocabulary)) for n in telling[:1]]
        self.saves.offer({})
        self.measure.value = self._wrapped(measure_html(said, vocabulary))
        self.needs.value = self._wrapped(self._needs(said))
        if not seeking:
            self.change_note.value = tables.wrap("<p>Nothing has to change.</p>")
            self.changes.show([])
        else:
            self.change_note.value = tables.wrap(
                '<p role="status">Looking for the smallest changes …</p>'
            )
            self.changes.disabled = True
        self.stop_button.disabled = not seeking
        self.telling.value = (
            tables.wrap('<p role="status">Working out which measurement settles most …</p>')
            if said.verdict is Verdict.UNKNOWN
            else ""
        )

    def _show_telling(
        self, found: Sequence[Measurement], named: Sequence[str], *, doubt: bool
    ) -> None:
        self.stop_button.disabled = True
        if doubt:
            self.telling.value = self._wrapped(telling_html(found, named, self.opened.catalogue))

    def _stop_looking(self) -> None:
        self._asked += 1
        self.stop()
        self.stop_button.disabled = True
        stopped = tables.wrap('<p role="status">Stopped. Change an entry to look again.</p>')
        for place in (self.change_note, self.telling):
            if 'role="status"' in place.value:
                place.value = stopped

    def _needs(self, said: Explanation) -> str:
        if said.verdict is Verdict.FAILS:
            return "<p>That is told once these parts go together.</p>"
        if not said.needs:
            return "<p>Nothing: these parts are a whole build.</p>"
        roles = self.opened.catalogue.vocabulary.roles
        items = "".join(
            f"<li>{escape(roles[n.role].title)}: {len(n.parts)} "
            f"part{'' if len(n.parts) == 1 else 's'} would do"
            + (f", {escape(', '.join(n.parts))}" if len(n.parts) <= 3 else "")
            + "</li>"
            for n in said.needs
        )
        return f"<ul>{items}</ul>"

    def _draw_product(self, named: Mapping[str, str], joints: Sequence[Clash]) -> None:
        """Show the product with what is named, and the worst joint of each such part."""
        worst: dict[str, Verdict] = {}
        for clash in joints:
            for role in clash.options:
                worst[role] = min(clash.verdict, worst.get(role, clash.verdict))
        self.product.svg = product_svg(self.opened.catalogue.vocabulary, named, worst)

    def _pressed(self, change: Mapping[str, Any]) -> None:
        """Go to the field of the role that was pressed."""
        _, role, _ = change["new"]
        if role in self.pickers:
            self.form.go_to(role)

    def _wrapped(self, text: str) -> str:
        """Return text in its frame, in which every stock number opens its card."""
        return tables.wrap(tables.with_cards(text, self.opened.catalogue))

    # ------------------------------------------------------------ changes

    def _show_changes(self, said: Explanation) -> None:
        if said.verdict is Verdict.FITS:
            return
        vocabulary = self.opened.catalogue.vocabulary
        shown = said.changes[:_MOST_CHANGES]
        self._offered = {f"{self._asked}:{n}": change for n, change in enumerate(shown)}
        self.changes.show([self._item(name, change) for name, change in self._offered.items()])
        if not shown:
            self.change_note.value = tables.wrap(
                "<p>No change of up to three steps makes these fit.</p>"
            )
            return
        topics = dict.fromkeys(
            vocabulary.services[s].caution
            for change in shown
            for action in change.actions
            for s in action.after.services
            if vocabulary.services[s].caution
        )
        more = len(said.changes) - len(shown)
        rest = f" {more} ways besides." if more > 0 else ""
        self.change_note.value = tables.wrap(
            f"<p>What keeps your parts comes first; press one to apply it here.{rest}</p>"
            + tables.cautions(vocabulary, *topics)
        )

    def _item(self, name: str, change: Change) -> dict[str, Any]:
        catalogue = self.opened.catalogue
        steps = ", and ".join(action_text(a, catalogue) for a in change.actions)
        return {
            "name": name,
            "label": f"{steps[:1].upper()}{steps[1:]}: {self.opened.money(change.price)}",
            "note": stock_text(change),
        }

    def _chosen(self, name: str) -> None:
        if name in self._offered:  # not one of an answer before
            self.apply(self._offered[name])

    def apply(self, change: Change) -> None:
        """Make a change to the parts in the fields."""
        with self.in_words(self.problems):
            self._before.append(self.state())
            self._holding = True
            try:
                for action in change.actions:
                    before, after = action.before.part, action.after.part
                    if before is not None:
                        self.done.pop(before.sku, None)
                    field = self.pickers[action.role].field
                    field.value = "" if after is None else part_label(after)
                    if after is not None and action.after.services:
                        self.done[after.sku] = action.after.services
            finally:
                self._holding = False
            self.undo.disabled = False
            self.refresh()

    def _take_back(self) -> None:
        with self.in_words(self.problems):
            if self._before:
                self.restore(self._before.pop())
            self.undo.disabled = not self._before
