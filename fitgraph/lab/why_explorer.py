"""Why do these parts not fit, and what would change that?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any

import ipywidgets as widgets

from fitgraph.draw import nests
from fitgraph.explain import Change, Clash, Explanation, stock_text
from fitgraph.explain.measure import Measurement
from fitgraph.explain.standing import nearest_combination
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.choices import Choices
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Field, Fields
from fitgraph.lab.form import part_label
from fitgraph.lab.look import button, fold, heading, html, note, row, sides, style, verdict_line
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.picker import PartsForm
from fitgraph.lab.saved_answer import saved_files
from fitgraph.lab.saves import Saves
from fitgraph.lab.session import SessionBar, SessionError
from fitgraph.model import Option, Verdict, split_label
from fitgraph.report import explanations, readings
from fitgraph.report.blocks import Block, Picture, Say, quiet, status
from fitgraph.report.cross_sections import cross_section, cross_sections, joints_drawn, telling
from fitgraph.solve import Request
from fitgraph.wording import capital, plural


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
        #: What is drawn, by its heading.
        self._pictures: dict[str, Picture] = {}
        #: Places that say that something is being looked for.
        self._waiting: set[widgets.HTML] = set()
        catalogue = opened.catalogue
        self.form = PartsForm(catalogue, "Adapters and extras")
        self.pickers = self.form.pickers
        self.form.name(parts)
        self.verdict, self.problems, self.answer = verdict_line(), html(), html()
        self.graph, self.sections, self.needs = html(), html(), html()
        self.graph.add_class("fg-wide")
        self.measure, self.telling = html(), html()
        self.saves = Saves("Save this answer")
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
        self.fields.problems = self.form.problems
        self.session = SessionBar(self, "why", f"WhyExplorer {catalogue.name} {parts}")
        question = [
            heading("The parts"),
            note(
                "Name two parts or more; press a role to go to its field. What a build must have "
                "and you do not name is left open."
            ),
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
        self.fields.watch(self._ask_soon, *self.form.typed)
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
        with self.in_words(self.problems):
            skus = tuple(self.form.skus().values())
            self.fields.tell({})
            self.write(self.problems)
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
        self.write(self.verdict, status("Name two parts or more."))
        for place in (
            *(self.answer, self.graph, self.sections, self.measure),
            *(self.telling, self.needs, self.change_note),
        ):
            self.write(place)
        self.form.draw({}, {})
        self.saves.offer({})
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
        self.write(self.verdict, explanations.verdict_told(said, catalogue))
        self.write(self.answer, explanations.in_short(said, catalogue))
        free = frozenset(r for clash in said.conflicts for r in clash.free)
        seen = {c.joint.name for c in said.conflicts}
        all_joints = (*said.conflicts, *(c for c in said.joints if c.joint.name not in seen))
        labels = self._named(said)
        self._draw_product(labels, all_joints)
        drawn = self._drawn(said, near)
        joints = joints_drawn(drawn, all_joints, vocabulary, free)
        legend = (
            "A dashed box is the nearest part there is for a role you did not name. "
            "Dashed lines do not fit, dotted ones cannot be told."
        )
        self.write(self.graph, joints, quiet(legend))
        found = telling(nests(near, vocabulary), labels)
        self.write(self.sections, *cross_sections(found, vocabulary))
        self._pictures = {"The joints": joints}
        if found:
            self._pictures["The cross-section"] = cross_section(found[0], vocabulary)
        self.saves.offer({})
        self.write(self.measure, readings.to_do(said, vocabulary))
        self.write(self.needs, explanations.needs(said, catalogue))
        self._waiting = set()
        if said.verdict is Verdict.FITS:
            self.write(self.change_note, Say("Nothing has to change."))
            self.changes.show([])
        else:
            self._wait(self.change_note, "Looking for the smallest changes …")
            self.changes.disabled = True
        self.stop_button.disabled = not self._waiting
        self.write(self.telling)
        if said.verdict is Verdict.UNKNOWN:
            self._wait(self.telling, "Working out which measurement settles most …")

    def _wait(self, place: widgets.HTML, text: str) -> None:
        """Say that something is being looked for, until it is found or stopped."""
        self._waiting.add(place)
        self.write(place, status(text))

    def _found(self, place: widgets.HTML, *blocks: Block, cautions: Sequence[str] = ()) -> None:
        """Show what was looked for."""
        self._waiting.discard(place)
        self.write(place, *blocks, cautions=cautions)

    def _show_telling(self, named: Sequence[str], found: Sequence[Measurement]) -> None:
        self._found(self.telling, *readings.settling(found, named, self.opened.catalogue))

    def _over(self, whole: bool) -> None:
        self.stop_button.disabled = True
        if not whole:
            for place in self._waiting:
                self.write(place, status("Stopped. Change an entry to look again."))

    def _draw_product(self, named: Mapping[str, str], joints: Sequence[Clash]) -> None:
        """Show the product with what is named, and the worst joint of each such part."""
        worst: dict[str, Verdict] = {}
        for clash in joints:
            for role in clash.options:
                worst[role] = min(clash.verdict, worst.get(role, clash.verdict))
        self.form.draw(named, worst)

    # ------------------------------------------------------------ changes

    def _show_changes(self, said: Explanation) -> None:
        self.saves.offer(saved_files(said, self.opened.catalogue, self._pictures))
        if said.verdict is Verdict.FITS:
            return
        catalogue = self.opened.catalogue
        shown = said.changes[: explanations.CHANGES]
        self._offered = {f"{self._asked}:{n}": change for n, change in enumerate(shown)}
        self.changes.show([self._item(name, change) for name, change in self._offered.items()])
        if not shown:
            self._found(self.change_note, Say(explanations.NO_CHANGE))
            return
        more = len(said.changes) - len(shown)
        rest = f" {plural(more, 'way')} besides." if more > 0 else ""
        told = Say(f"What keeps your parts comes first; press one to apply it here.{rest}")
        cautions = explanations.change_cautions(shown, catalogue)
        self._found(self.change_note, told, cautions=cautions)

    def _item(self, name: str, change: Change) -> dict[str, Any]:
        catalogue = self.opened.catalogue
        steps = explanations.change_text(change, catalogue, ways=True)
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
