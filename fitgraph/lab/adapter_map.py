"""Which adapter should be made next? A map of all that could be, and the sheet of one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import ipywidgets as widgets

from fitgraph.adapters import Candidate, Scan, Together, Worth
from fitgraph.adapters.trials import ChangedMake, MadeUp, Plane
from fitgraph.lab.adapter_entries import Entry
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.best_few_panel import MOST_TOGETHER, BestFewPanel
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.design_panel import DesignPanel
from fitgraph.lab.fields import Fields
from fitgraph.lab.look import button, heading, html, sides, style, verdict_line
from fitgraph.lab.make_panel import MakePanel
from fitgraph.lab.meter import Meter
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.plane_panel import PlanePanel
from fitgraph.lab.session import SessionBar
from fitgraph.lab.trial_panel import TrialPanel
from fitgraph.model import Make
from fitgraph.report.blocks import Report, Say, quiet, status
from fitgraph.report.designs import now_text
from fitgraph.shop.weighed import Weighed, weighed
from fitgraph.wording import capital, plural


class AdapterMap(Answering):
    """What could be made, on a map; the best few together; the sheet of one; a trial of it.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    make : str, optional
        Name of the make to begin with; the vocabulary's first by default.
    """

    invites = "see the map of what could be made"
    public = ("added", "choice", "entry", "scan", "steps")

    def __init__(self, opened: OpenCatalogue, make: str = "") -> None:
        super().__init__()
        self.opened = opened
        vocabulary = opened.catalogue.vocabulary
        self.makes = {n: m for n, m in vocabulary.makes.items() if m.role in vocabulary.roles}
        self.verdict, self.problems = verdict_line(), html()
        if not self.makes:
            told = (
                "This catalogue's vocabulary does not say what could be made. Add a [make.NAME] "
                "table to it; docs/catalogue.md shows one."
            )
            self.write(self.problems, Say(told))
            self._arrange(heading("What could be made"), self.problems)
            return
        self.scan: Scan | None = None
        self._asked = False
        self.trial = TrialPanel(opened, self._again, self._looked_at, self._best)
        first = make if make in self.makes else next(iter(self.makes))
        self.question = MakePanel(opened, self.makes, first, self._known)
        self.map = PlanePanel(opened, self.keep, self.look)
        self.design = DesignPanel(opened)
        self.best = BestFewPanel(opened, self._mark)
        ask = button(
            "Work out what could be made",
            self._ask,
            tooltip="Look for every size that could be made, and weigh what each is worth",
        )
        about = "Stop working out what the parts are worth"
        self.meter = Meter("Stop weighing", about, self.stop, ask)
        panels = (self.question, self.map, self.best, self.trial)
        self.fields = Fields(*(panel.fields for panel in panels))
        soon = Debounce(self.refresh)

        def changed(*, there: bool = True) -> None:
            self.map.keep_looking(there=there)
            soon()

        self.question.watch(lambda: changed(there=False), changed)
        self.fields.watch(changed, self.best.mixed)
        self.session = SessionBar(self, "adapters", f"AdapterMap {opened.catalogue.name} {make}")
        question: list[widgets.Widget] = [
            heading("What could be made"),
            self.question,
            self.meter,
            heading("The part looked at"),
            self.map.list,
            self.design,
        ]
        self._arrange(
            self.verdict,
            self.problems,
            sides(question, [self.map, self.best]),
            *self.design.folds,
            self.trial,
            self.session,
        )
        self.session.begin()

    def _arrange(self, *children: widgets.Widget) -> None:
        self.children = (style(self), *children)

    # ------------------------------------------------------------ what its panels hold and ask

    @property
    def choice(self) -> ChangedMake:
        """Return the make as the fields have it."""
        return self.question.choice

    @property
    def entry(self) -> Entry | None:
        """Return the part that is looked at."""
        return self.map.entry

    @property
    def steps(self) -> Sequence[Together]:
        """Return the best one, the best two and so on."""
        return self.best.steps

    @property
    def added(self) -> tuple[MadeUp, ...]:
        """Return what was added for a trial."""
        return self.trial.added

    @property
    def _weighed(self) -> Weighed:
        """Return what is weighed, beside what was added for a trial."""
        return weighed(self.opened.shop, self.added)

    def _known(self, make: Make) -> Sequence[Candidate]:
        """Return the parts of a make as the vocabulary has it, unless they have to wait."""
        return () if self._waits else self._weighed.plane(ChangedMake.of(make)).found

    def _again(self) -> None:
        self.map.keep_looking()
        self.refresh()

    def _looked_at(self) -> list[MadeUp]:
        one = None if self.entry is None else self.entry.candidate
        return [] if one is None else [self._made(one)]

    def _best(self) -> list[MadeUp]:
        return [self._made(worth.candidate) for worth in self.best.chosen]

    def _made(self, candidate: Candidate) -> MadeUp:
        """Return a part as it can be made up again, one of another kind as it is made at first."""
        choice = self.choice
        if candidate.make.name != choice.make:
            make = self.makes[candidate.make.name]
            choice = ChangedMake.of(make, in_stock=choice.in_stock)
        return MadeUp.of(choice, candidate, candidate.part.sku)

    def stop(self) -> None:
        """Stop whatever is being answered."""
        super().stop()
        self.design.stop()
        self.trial.stop()

    # ------------------------------------------------------------ weighing

    @property
    def _waits(self) -> bool:
        """Whether nothing is worked out until somebody asks: it takes minutes and much memory."""
        return self.opened.is_wide and not self._asked

    def _ask(self) -> None:
        self._asked = True
        self.meter.end()
        self.refresh()

    def _put_off(self) -> None:
        """Say that the map waits, and for what."""
        self.write(self.verdict, status("What could be made has not been worked out yet."))
        self.meter.wait(
            "In a catalogue as large as this one, all of whose parts differ, this takes minutes "
            "and gigabytes of memory. It can be stopped at any time."
        )
        self.map.put_off()

    def refresh(self) -> None:
        """Read the fields and answer them."""
        if not self.makes:
            return
        with self.in_words(self.problems):
            self.write(self.problems)
            self.keep()
            if self._waits:
                self._put_off()
                return
            found, choice, word = self._weighed, self.choice, self.question.word.value
            others = [m for m in self.makes.values() if m.name != choice.make]
            others = others if self.best.mixed.value else []
            known = choice in found.scans and not word

            def on(done: int, total: int) -> None:
                self.meter.on(done, total, "looks")

            def laid_out(plane: Plane) -> None:
                self.scan = found.scans.get(choice)
                self.question.came(plane.found)
                if self.scan is None:
                    self._begin()
                self.map.draw(plane, self.scan, word)

            def was_weighed(scan: Scan) -> None:
                self.scan = scan
                assert self.map.plane is not None
                with self.map.chart.widget.change():
                    self.map.draw(self.map.plane, scan, word)
                    self.map.fill()

            def chosen(steps: Sequence[Together]) -> None:
                assert self.scan is not None
                self.meter.end(self._weighed_text(self.scan))
                self.best.show(self.scan, steps, in_stock=choice.in_stock)

            steps: list[Task[Any]] = [
                Task(lambda: found.plane(choice, word), laid_out, slow=not known),
                Task(lambda: found.scan(choice, on), was_weighed, slow=not known),
                Task(lambda: found.together(choice, others, MOST_TOGETHER, on), chosen),
            ]
            self.work_out(lambda: steps, self.meter.status, self._over)
            self.trial.refresh()

    def _begin(self) -> None:
        self.meter.begin("Weighing every part …")
        self.map.list.disabled = True
        self.write(self.verdict, Say("The parts are being weighed …"))
        self.design.clear()
        self.best.clear()

    def _over(self, whole: bool) -> None:
        if not whole:
            told = "Stopped. Change an entry to weigh again; the sizes below are not weighed."
            self.meter.end(told, stopped=True)
            self.map.fill()

    def _weighed_text(self, scan: Scan) -> str:
        assert self.map.plane is not None
        looked = f"{plural(len(self.map.plane.found), 'best size')} looked at"
        if not scan.worths:
            return f"{looked}; none of them fits anything on all its sides."
        now = f" {now_text(scan, in_stock=self.question.in_stock.value)}." if scan.total else ""
        left = len(scan.worths)
        return f"{looked}, {left} left: whatever another fits, one of these fits as well.{now}"

    # ------------------------------------------------------------ one part

    def look(self) -> None:
        """Show the part chosen in the list."""
        entry, choice = self.entry, self.choice
        with self.in_words(self.problems):
            self._mark()
            if entry is None:
                self.design.clear()
                none = "Nothing of this kind fits anything. Take another kind, another word, or a "
                self.write(self.verdict, Say(f"{none}thinner wall."))
                return
            told, one = entry.text(self.opened.catalogue.vocabulary), entry.candidate
            headline = capital(told if one is None else f"{one.make.title}, {told}")
            beside = [] if one is None else self._beside_trial(one)
            self.write(self.verdict, Report(headline), *beside)
            self.design.show(entry, self._weighed, choice, self.scan)

    def _beside_trial(self, one: Candidate) -> Iterable[Say]:
        """Yield beside what a part was weighed, where something was added for a trial."""
        looked_at = (one.make.name, tuple(one.sizes.values()), tuple(one.words.values()))
        if looked_at in {(m.choice.make, m.sizes, m.words) for m in self.added}:
            yield quiet(
                "It was added for the trial: these figures are those of a second one like it."
            )
        elif self.added:
            yield quiet("Weighed beside what was added for the trial.")

    def _mark(self) -> None:
        """Mark the part looked at and the best few on the map, and let them be tried."""
        best: Sequence[Worth] = self.best.chosen
        self.map.mark(best)
        self.trial.offer(one=bool(self._looked_at()), few=bool(best))
        self.keep()
