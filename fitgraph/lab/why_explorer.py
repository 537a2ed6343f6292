"""Why do these parts not fit, and what would change that?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from html import escape
from typing import Any

from fitgraph.draw import conflict_svg, nest_svg, nests
from fitgraph.draw.product import product_svg
from fitgraph.explain import Change, Clash, Explanation, action_text, stock_text
from fitgraph.explain.measure import Measurement
from fitgraph.explain.standing import nearest_combination
from fitgraph.lab import tables
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.choices import Choices
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Field, Fields
from fitgraph.lab.form import STILL_BEFORE, FormError, part_label
from fitgraph.lab.look import button, fold, heading, html, note, row, sides, style, verdict_line
from fitgraph.lab.measuring import measure_html, telling_html
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.picker import PartsForm
from fitgraph.lab.pressable import Pressable
from fitgraph.lab.saved_answer import saved_files
from fitgraph.lab.saves import Saves
from fitgraph.lab.session import SessionBar, SessionError
from fitgraph.model import Option, Verdict, split_label
from fitgraph.report.explanations import change_cautions, holding
from fitgraph.solve import Request
from fitgraph.wording import capital, plural

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

    invites = "see the fields, and why parts fit or do not"
    public = ("apply", "explanation")

    def __init__(self, opened: OpenCatalogue, parts: tuple[str, ...] = ()) -> None:
        super().__init__()
        self.opened = opened
        self.explanation: Explanation | None = None
        self.done: dict[str, tuple[str, ...]] = {}
        self._before: list[dict[str, Any]] = []
        self._asked = 0
        self._offered: dict[str, Change] = {}
        self._pictures: list[tuple[str, str]] = []
        catalogue = opened.catalogue
        self.form = PartsForm(catalogue, "Adapters and extras")
        self.pickers = self.form.pickers
        self.form.name(parts)
        self.verdict, self.problems, self.answer = verdict_line(), html(), html()
        self.graph, self.sections, self.needs = html(), html(), html()
        self.measure, self.telling = html(), html()
        self.saves = Saves("Save this answer")
        self.product = Pressable()
        self.product.observe(self._pressed, names="pressed")
        self.changes = Choices("Changes; press one to apply it", tall=True)
        self.changes.on_press(self._chosen)
        self.change_note = html()
        self.undo = button("Take the last change back", self._take_back, disabled=True)
        self.stop_button = button(
            "Stop looking",
            self.stop,
            disabled=True,
            tooltip="Stop looking for changes and for what to measure",
        )
        self.fields = Fields(
            parts=Field(lambda: self.form.entries, self.form.enter),
            done=Field(
                lambda: {sku: [*names] for sku, names in self.done.items()}, self._enter_done
            ),
        )
        self.session = SessionBar(self, "why", f"WhyExplorer {catalogue.name} {parts}")
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
        self.fields.watch(self._ask_soon, *(p.field for p in self.pickers.values()))
        self.session.begin()

    def _enter_done(self, entry: Mapping[str, Sequence[str]]) -> None:
        done = {sku: tuple(map(str, names)) for sku, names in entry.items()}
        services = self.opened.catalogue.vocabulary.services
        strange = [s for names in done.values() for s in names if s not in services]
        if strange:
            raise SessionError(f"This catalogue has no workshop service called {strange[0]!r}.")
        self.done = done

    # ------------------------------------------------------------ asking

    def refresh(self) -> None:
        """Read the fields and answer them."""
        try:
            skus = tuple(self.form.skus().values())
        except FormError as error:
            self.form.tell(error.at)
            self.problems.value = tables.wrap(tables.alert(STILL_BEFORE))
            return
        self.form.tell({})
        self.problems.value = ""
        self.done = {sku: work for sku, work in self.done.items() if sku in skus}
        self.keep()
        self._asked += 1
        self.work_out(lambda: self._steps(skus), self.problems, self._over)

    def _steps(self, skus: tuple[str, ...]) -> Iterator[Task[Any]]:
        if not skus:
            yield Task(lambda: None, self._nothing_named, slow=False)
            return
        explainer, measurer = self.opened.explainer, self.opened.measurer
        done = dict(self.done)

        def reason() -> tuple[Explanation, Mapping[str, Option]]:
            said = explainer.why(skus, with_changes=False, done=done)
            return said, nearest_combination(explainer, skus, done)

        yield Task(reason, lambda found: self._show(*found), slow=False)
        yield Task(lambda: explainer.why(skus, done=done), self._show_changes)
        if self.explanation is not None and self.explanation.verdict is Verdict.UNKNOWN:
            # What the workshop has done changes no figure that is in doubt.
            ranked = partial(measurer.rank, Request(have=skus))
            yield Task(ranked, partial(self._show_telling, skus))

    def _nothing_named(self, _nothing: None) -> None:
        self.explanation = None
        self.verdict.value = tables.wrap(tables.status("Name two parts or more."))
        for place in (
            *(self.answer, self.graph, self.sections, self.measure),
            *(self.telling, self.needs),
        ):
            place.value = ""
        self._draw_product({}, ())
        self.saves.offer({})
        self.change_note.value = ""
        self.changes.show([])

    def _named(self, said: Explanation) -> dict[str, str]:
        """Return what an answer is about by its roles: the labels of options."""
        parts = self.opened.catalogue.parts
        return {parts[split_label(label)[0]].role: label for label in said.named}

    def _drawn(self, said: Explanation, near: Mapping[str, Option]) -> dict[str, Option]:
        """Return the parts of the graph: those named, and those a conflict touches."""
        roles = {*self._named(said), *(r for clash in said.conflicts for r in clash.options)}
        return {r: o for r, o in near.items() if r in roles and o.part is not None}

    def _show(self, said: Explanation, near: Mapping[str, Option]) -> None:
        catalogue = self.opened.catalogue
        vocabulary = catalogue.vocabulary
        self.explanation = said
        self.verdict.value = tables.wrap(tables.verdict_html(said, catalogue))
        text = tables.reasons_html(said, catalogue)
        told = holding(said)
        text += "".join(f"<p>{escape(sentence)}</p>" for _, sentence in told)
        text += tables.cautions(vocabulary, *(topic for topic, _ in told))
        self.answer.value = self._wrapped(text)
        free = frozenset(r for clash in said.conflicts for r in clash.free)
        seen = {c.joint.name for c in said.conflicts}
        all_joints = (*said.conflicts, *(c for c in said.joints if c.joint.name not in seen))
        labels = self._named(said)
        self._draw_product(labels, all_joints)
        graph, narrow = (
            conflict_svg(self._drawn(said, near), all_joints, vocabulary, free, narrow=n)
            for n in (False, True)
        )
        self.graph.value = tables.wrap(
            f'<div class="fg-wide">{tables.drawn_html(graph, narrow)}</div>'
            '<p class="fg-note">A dashed box is the nearest part there is for a role you '
            "did not name. Dashed lines do not fit, dotted ones cannot be told.</p>"
        )
        found = nests(near, vocabulary)
        telling = [
            n for n in found if n.verdict is not Verdict.FITS or not n.roles.isdisjoint(labels)
        ]
        telling.sort(key=lambda n: (n.verdict, -len(n.roles.intersection(labels))))
        self.sections.value = tables.wrap(
            tables.sections_html(telling[:_MOST_SECTIONS], vocabulary)
        )
        self._pictures = [("The joints", graph)]
        self._pictures += [("The cross-section", nest_svg(n, vocabulary)) for n in telling[:1]]
        self.saves.offer({})
        self.measure.value = self._wrapped(measure_html(said, vocabulary))
        self.needs.value = self._wrapped(self._needs(said))
        seeking = said.verdict is not Verdict.FITS
        if not seeking:
            self.change_note.value = tables.wrap("<p>Nothing has to change.</p>")
            self.changes.show([])
        else:
            self.change_note.value = tables.wrap(
                tables.status("Looking for the smallest changes …")
            )
            self.changes.disabled = True
        self.stop_button.disabled = not seeking
        self.telling.value = (
            tables.wrap(tables.status("Working out which measurement settles most …"))
            if said.verdict is Verdict.UNKNOWN
            else ""
        )

    def _show_telling(self, named: Sequence[str], found: Sequence[Measurement]) -> None:
        self.telling.value = self._wrapped(telling_html(found, named, self.opened.catalogue))

    def _over(self, whole: bool) -> None:
        self.stop_button.disabled = True
        if whole:
            return
        stopped = tables.wrap(tables.status("Stopped. Change an entry to look again."))
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
            f"<li>{escape(roles[n.role].title)}: {plural(len(n.parts), 'part')} would do"
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
        self.product.svg = product_svg(self.opened.catalogue, named, worst)

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
        self.saves.offer(saved_files(said, self.opened.catalogue, self._pictures))
        if said.verdict is Verdict.FITS:
            return
        shown = said.changes[:_MOST_CHANGES]
        self._offered = {f"{self._asked}:{n}": change for n, change in enumerate(shown)}
        self.changes.show([self._item(name, change) for name, change in self._offered.items()])
        if not shown:
            self.change_note.value = tables.wrap(
                "<p>No change of up to three steps makes these fit.</p>"
            )
            return
        more = len(said.changes) - len(shown)
        rest = f" {plural(more, 'way')} besides." if more > 0 else ""
        self.change_note.value = tables.wrap(
            f"<p>What keeps your parts comes first; press one to apply it here.{rest}</p>"
            + tables.cautions_html(change_cautions(shown, self.opened.catalogue))
        )

    def _item(self, name: str, change: Change) -> dict[str, Any]:
        catalogue = self.opened.catalogue
        steps = ", and ".join(action_text(a, catalogue) for a in change.actions)
        return {
            "name": name,
            "label": f"{capital(steps)}: {catalogue.vocabulary.money(change.price)}",
            "note": stock_text(change, catalogue),
        }

    def _chosen(self, name: str) -> None:
        if name in self._offered:  # not one of an answer before
            self.apply(self._offered[name])

    def apply(self, change: Change) -> None:
        """Make a change to the parts in the fields."""
        with self.in_words(self.problems):
            self._before.append(self.state())
            with self.fields.quietly():
                for action in change.actions:
                    before, after = action.before.part, action.after.part
                    if before is not None:
                        self.done.pop(before.sku, None)
                    self.pickers[action.role].field.value = (
                        "" if after is None else part_label(after)
                    )
                    if after is not None and action.after.services:
                        self.done[after.sku] = action.after.services
            self.undo.disabled = False
            self.refresh()

    def _take_back(self) -> None:
        with self.in_words(self.problems):
            if self._before:
                self.restore(self._before.pop())
            self.undo.disabled = not self._before
