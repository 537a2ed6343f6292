"""What is asked for and cannot be served, what is held and cannot be used, and what to order."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.coverage_panel import CoveragePanel
from fitgraph.lab.fields import Fields
from fitgraph.lab.held_panel import StrandedPanel, WeakPanel
from fitgraph.lab.look import button, fold, html, style, verdict_line
from fitgraph.lab.meter import Meter
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.restock_panel import RestockPanel
from fitgraph.lab.session import SessionBar
from fitgraph.lab.trend_panel import TrendPanel
from fitgraph.report.blocks import status
from fitgraph.report.shelf import so_far
from fitgraph.stock import Coverage, Reliance, coverage_then, reliance
from fitgraph.stock.in_turn import InTurn


class StockGaps(Answering):
    """Coverage, unmet demand, stranded stock, weak points and orders of one catalogue.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    """

    invites = "see what is lacking in stock, and what to order"
    public = ("turn",)
    instead = "The counter and why not answer for one person, with the parts that they name."

    def __init__(self, opened: OpenCatalogue) -> None:
        super().__init__()
        self.opened = opened
        self.covered = CoveragePanel(opened, self.keep)
        self.trend = TrendPanel(opened, self.keep)
        self.stranded = StrandedPanel(opened, self.keep)
        self.weak = WeakPanel(opened)
        self.restock = RestockPanel(opened, self.keep)
        self._panels = (self.covered, self.trend, self.stranded, self.restock)
        self.fields = Fields(*(panel.fields for panel in self._panels))
        go_on = button("Go on", self._work, tooltip="Work out what is left of this page")
        self.meter = Meter("Stop", "Stop working out the parts of this page", self._halt, go_on)
        self._is_halted = False
        self.verdict, self.problems = verdict_line(), html()
        self.turn: InTurn | None = None
        self._todo = self._stages()
        self.session = SessionBar(self, "gaps", f"StockGaps {opened.catalogue.name}")
        self.children = (
            style(self),
            self.verdict,
            self.meter,
            self.problems,
            self.covered,
            self.restock,
            fold("Unmet demand over time", [self.trend]),
            fold("Stranded stock", [self.stranded]),
            fold("Weak points", [self.weak]),
            self.session,
        )
        for place in (self.covered.standings, self.restock.orders, self.stranded.table):
            place.observe(lambda _: self._tell(), names="value")
        self._tell()
        self.session.begin()

    def _tell(self) -> None:
        """Say in one line what the page has found so far."""
        coverage, held = self.covered.coverage, self.stranded.stranded
        total = None if coverage is None else coverage.total
        vocabulary = self.opened.catalogue.vocabulary
        self.write(self.verdict, so_far(total, self.restock.plan, held, vocabulary, self.turn))

    def _show_turn(self, turn: InTurn) -> None:
        """Tell how many are served as pieces run out."""
        self.turn = turn
        self._tell()

    # ------------------------------------------------------------ asking

    def _stages(self) -> list[tuple[str, Task[Any]]]:
        """Return what is worked out, in the order in which it is shown, and what is said meanwhile.

        Each is done once. What was asked before the page was opened is there with it.
        """
        opened, engine = self.opened, self.opened.engine

        def told(done: int, total: int) -> None:
            self.meter.on(done, total, "questions")

        def pairs_found(found: Reliance) -> None:
            self.weak.show(found, pairs=True)
            self.covered.explain()

        def then() -> Coverage:
            today = self.covered.coverage
            return coverage_then(engine, opened.supply.counts, today=today, progress=told)

        covered = Task(partial(opened.coverage, told), self._show_covered, not opened.covered)
        held = Task(lambda: opened.stranded, self.stranded.show, not opened.knows("stranded"))
        singly = partial(reliance, engine, pairs=False, progress=told)
        turn = Task(lambda: opened.turn, self._show_turn, not opened.knows("turn"))
        both = partial(reliance, engine, progress=told)
        return [
            ("Asking what can be served …", covered),
            ("Looking for stranded parts …", held),
            ("Looking for weak points …", Task(singly, partial(self.weak.show, pairs=False))),
            ("Asking what could be served then …", Task(then, self.trend.show_then)),
            ("Serving one after the other …", turn),
            ("Looking for weak pairs …", Task(both, pairs_found)),
        ]

    def _show_covered(self, found: Coverage) -> None:
        self.covered.show(found)
        self.trend.show(found)
        self.restock.begin()

    def refresh(self) -> None:
        """Show what the fields ask for, and work out what has not been worked out yet."""
        for panel in self._panels:
            panel.refresh()
        self._work()

    def _work(self) -> None:
        self.work_out(self._steps, self.problems, self._over)

    def _steps(self) -> Iterator[Task[Any]]:
        while self._todo:
            text, step = self._todo[0]
            self.meter.begin(text)
            yield step
            del self._todo[0]

    def _over(self, whole: bool) -> None:
        self._is_halted, halted = False, self._is_halted
        if halted:
            self.meter.wait("Stopped: what is left below has not been worked out.")
            return
        self.meter.end()
        if not whole and self.covered.coverage is None:
            self.write(self.verdict, status("Not worked out; why is told below."))

    def _halt(self) -> None:
        self._is_halted = True
        self.stop()
