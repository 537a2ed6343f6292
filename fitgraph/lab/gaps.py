"""What is asked for and cannot be served, what is held and cannot be used, and what to order."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fitgraph.lab.answering import Answering, Show, Step
from fitgraph.lab.coverage_panel import CoveragePanel
from fitgraph.lab.coverage_tables import stock_verdict_html
from fitgraph.lab.held_panel import StrandedPanel, WeakPanel
from fitgraph.lab.look import fold, html, style
from fitgraph.lab.meter import Meter
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.restock_panel import RestockPanel
from fitgraph.lab.session import SessionBar, SessionError, in_kernel
from fitgraph.lab.tables import wrap
from fitgraph.lab.trend_panel import TrendPanel
from fitgraph.stock import coverage_then, reliance
from fitgraph.stock.in_turn import in_turn


@dataclass(frozen=True, slots=True)
class _Stage:
    """What is worked out in one go: what is said meanwhile, and whether it was before."""

    text: str
    compute: Callable[[], Show]
    is_known: Callable[[], bool] = lambda: False


class StockGaps(Answering):
    """Coverage, unmet demand, stranded stock, weak points and orders of one catalogue.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    """

    def __init__(self, opened: OpenCatalogue) -> None:
        super().__init__()
        self.opened = opened
        self._asked = 0
        self.covered = CoveragePanel(opened, self._keep)
        self.trend = TrendPanel(opened, self._keep)
        self.stranded = StrandedPanel(opened, self._keep)
        self.weak = WeakPanel(opened)
        self.restock = RestockPanel(opened, self._keep)
        self._panels = (self.covered, self.trend, self.stranded, self.restock)
        self.meter = Meter("Stop", "Stop working out the parts of this page", self._stopped)
        self.verdict, self.problems = html(), html()
        self.verdict.add_class("fg-verdict")
        key = f"StockGaps {opened.catalogue.name}" if in_kernel() else None
        self._todo = self._stages()
        self.session = SessionBar(self, "gaps", key)
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
        for place in (self.covered.headline, self.restock.orders, self.stranded.table):
            place.observe(lambda _: self._tell(), names="value")
        self._tell()
        self.refresh()

    def __repr__(self) -> str:
        """Return what a notebook shows in its place until the cell is run."""
        return "Run this cell to see what is lacking in stock, and what to order."

    # ------------------------------------------------------------ state

    def state(self) -> dict[str, Any]:
        """Return the entries as plain data."""
        return {name: value for panel in self._panels for name, value in panel.entries.items()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Enter what :meth:`state` returned.

        Raises
        ------
        SessionError
            If it names something that this catalogue does not have.
        """
        before = self.state()
        try:
            for panel in self._panels:
                panel.enter(state)
        except Exception as error:
            for panel in self._panels:
                panel.enter(before)
            raise SessionError(f"An entry of this session does not fit here: {error}") from None

    def _keep(self) -> None:
        if hasattr(self, "session"):
            self.session.changed()

    def _tell(self) -> None:
        """Say in one line what the page has found so far."""
        coverage, held = self.covered.coverage, self.stranded.stranded
        total = None if coverage is None else coverage.total
        self.verdict.value = wrap(
            stock_verdict_html(total, self.restock.plan, held, self.opened.catalogue)
        )

    # ------------------------------------------------------------ asking

    def _stages(self) -> list[_Stage]:
        """Return what is worked out, in the order in which it is shown; each is done once."""
        engine = self.opened.engine

        def told(done: int, total: int) -> None:
            self.meter.detail = f"{done:,} of {total:,} questions"

        def covered() -> Show:
            found = self.opened.coverage(told)

            def show() -> None:
                self.covered.show(found)
                self.trend.show(found)
                self.restock.begin()

            return show

        def held() -> Show:
            found = self.opened.stranded()
            return lambda: self.stranded.show(found)

        def turn() -> Show:
            found = in_turn(engine)
            return lambda: self.covered.show_turn(found)

        def weak() -> Show:
            found = reliance(engine, pairs=False, progress=told)
            return lambda: self.weak.show(found, pairs=False)

        def then() -> Show:
            today = self.covered.coverage
            found = coverage_then(engine, self.opened.supply.counts, today=today, progress=told)
            return lambda: self.trend.show_then(found)

        def pairs() -> Show:
            found = reliance(engine, progress=told)

            def show() -> None:
                self.weak.show(found, pairs=True)
                self.covered.explain()

            return show

        return [
            _Stage("Asking what can be served …", covered, lambda: self.opened.covered),
            _Stage("Looking for stranded parts …", held, lambda: self.opened.held),
            _Stage("Looking for weak points …", weak),
            _Stage("Asking what could be served then …", then),
            _Stage("Serving one after the other …", turn),
            _Stage("Looking for weak pairs …", pairs),
        ]

    def refresh(self) -> None:
        """Work out what has not been worked out yet."""
        self._asked += 1
        asked = self._asked
        self.run(lambda: self._steps(asked), lambda: asked == self._asked, self.problems)

    def _steps(self, asked: int) -> Iterator[Step]:
        over = "Stopped: what is left below has not been worked out. Run the cell again to go on."
        try:
            while self._todo:
                stage = self._todo[0]
                self.meter.begin(stage.text)
                # What was asked before the page was opened is there with it.
                yield not stage.is_known(), stage.compute
                del self._todo[0]
            over = ""
        finally:
            if asked == self._asked:
                self.meter.end(over, stopped=bool(over))

    def _stopped(self) -> None:
        self.stop()
