"""What to order for a sum or for a coverage, and what the next unit of money buys."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import ipywidgets as widgets

from fitgraph.lab.answering import Panel, Task
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Fields, field
from fitgraph.lab.form import FormError, read_budget
from fitgraph.lab.gap_charts import CurveChart
from fitgraph.lab.limit_field import LimitField
from fitgraph.lab.look import LABEL, dropdown, framed, grid, heading, html, note, sides
from fitgraph.lab.meter import Meter
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import csv_link
from fitgraph.lab.slider import Slider
from fitgraph.report.blocks import Report, Say, quiet, status
from fitgraph.report.purchases import (
    COMES,
    curve_table,
    next_text,
    opened_section,
    order_blocks,
    orders_table,
    plan_headline,
    proof_text,
    step_text,
)
from fitgraph.stock import OrderPlan, Restocking
from fitgraph.stock.known_plans import KnownPlans, steps_of
from fitgraph.wording import plural

_SPEND, _TARGET = "spend", "target"

#: Steps of the budget slider, and its right end until the curve is known; major units.
_STEPS, _AT_FIRST = 60, 100

#: The slider is quicker than anybody moves it, so little is waited for.
_WAIT_S = 0.03

_PERCENT = 100

#: Stands for no limit on the lead time, in days.
_ANY_TIME = -1


class _Curve:
    """What is known of the orders within one lead time.

    Parameters
    ----------
    within : int or None
        Longest lead time in days.
    known : KnownPlans
        What is known before anything is asked.
    """

    def __init__(self, within: int | None, known: KnownPlans) -> None:
        self.within, self.known = within, known
        #: What orders are found with; None until it is made, and after a stop, which may have left
        #: it half done.
        self.restocking: Restocking | None = None
        self._steps: Iterator[OrderPlan] = iter(())
        #: Plans for sums and shares that the curve has not come to yet.
        self.asked: dict[tuple[str, float], OrderPlan] = {}

    def take(self, restocking: Restocking) -> None:
        """Take what orders are found with."""
        self.restocking, self.known, self._steps = restocking, KnownPlans(), restocking.steps()

    def step(self) -> OrderPlan | None:
        """Return the next step; None after the last."""
        return next(self._steps, None)

    def keep(self, plan: OrderPlan | None) -> None:
        """Keep what :meth:`step` returned."""
        plans = self.known.plans if plan is None else (*self.known.plans, plan)
        self.known = KnownPlans(plans, complete=plan is None)


class RestockPanel(Panel):
    """Fields for a sum or a share, the curve, and the orders.

    Notes
    -----
    Once the curve is known every move is answered from it: between two of its steps no orders
    serve more than the first. What is asked for before it has got so far is asked first.
    """

    def __init__(self, opened: OpenCatalogue, changed: Callable[[], None]) -> None:
        super().__init__(opened, changed)
        self.plan: OrderPlan | None = None
        self._drawn: KnownPlans | None = None
        self._begun = False
        self._curves: dict[int, _Curve] = {}
        vocabulary = opened.catalogue.vocabulary
        self.mode = widgets.RadioButtons(
            options=[("spend at most a budget", _SPEND), ("reach a coverage", _TARGET)],
            description="Orders that",
            style=LABEL,
            layout=widgets.Layout(width="auto"),
        )
        self.budget = LimitField(
            "Budget",
            vocabulary.currency,
            f"no limit; e.g. 150 {vocabulary.currency}",
            lambda text: vocabulary.major(vocabulary.read_money(text)),
            0,
            _AT_FIRST,
            1,
        )
        self.share = Slider(
            value=50.0, min=0.0, max=100.0, step=1.0, digits=0, description="Coverage", unit="%"
        )
        days = sorted({o.lead_days for o in opened.supply.offers if o.lead_days is not None})
        self.within = dropdown(
            "Comes",
            [("at any time", _ANY_TIME), *((f"within {COMES.show(d)}", d) for d in days)],
        )
        self.meter = Meter("Stop ordering", "Stop looking for orders", self.stop)
        self.problems, self.orders, self.next, self.links = html(), html(), html(), html()
        self.chart = CurveChart(vocabulary)
        self.steps = widgets.Select(
            options=[],
            rows=7,
            description="Steps",
            layout=widgets.Layout(width="calc(100% - 4px)", max_width="820px"),
        )
        self._answer_soon = Debounce(self._entered, _WAIT_S)
        self.fields = Fields(
            mode=field(self.mode),
            budget=field(self.budget.text, str),
            share=field(self.share, lambda share: min(max(float(share), 0.0), 100.0)),
            within=field(self.within),
        )
        self.fields.problems = {"budget": self.budget.problem}
        entries = (self.mode, self.budget.text, self.share, self.within)
        self.fields.watch(self._answer_soon, *entries)
        self.fields.watch(lambda: self._take(self.steps.value), self.steps)
        self.chart.widget.on_press(0, self._take)
        question = [
            heading("Restock"),
            grid([self.mode, widgets.VBox([self.budget, self.share, self.within])], "250px"),
            self.problems,
            heading("What the next unit of money buys", 3),
            note("Each dot is a step; press one, or choose it in the list, to take its sum."),
            self.meter,
            framed(self.chart.widget),
            self.steps,
        ]
        answer = [heading("What to order"), self.orders, self.next, self.links]
        self.children = (sides(question, answer, halves=True),)
        self.refresh()

    # ------------------------------------------------------------ entries

    def _wanted(self) -> tuple[str, float]:
        """Return the mode, and the sum in minor units or the share.

        Raises
        ------
        FormError
            If the budget cannot be read.
        """
        if self.mode.value == _TARGET:
            return _TARGET, self.share.value / _PERCENT
        budget = read_budget(self.budget.text.value, self.opened.catalogue)
        return _SPEND, math.inf if budget is None else float(budget)

    def _take(self, place: int | None) -> None:
        """Take what a step of the curve costs as the budget."""
        if place is None:
            return
        self.mode.value = _SPEND
        vocabulary, plan = self.opened.catalogue.vocabulary, self.curve.known.plans[place]
        self.budget.text.value = f"{vocabulary.plain_money(plan.cost)} {vocabulary.currency}"

    def refresh(self) -> None:
        """Show the fields of the mode that is chosen, and answer them."""
        spends = self.mode.value == _SPEND
        self.budget.layout.display = "" if spends else "none"
        self.share.layout.display = "none" if spends else ""
        self.answer()

    # ------------------------------------------------------------ answering

    @property
    def curve(self) -> _Curve:
        """Return what is known for the lead time chosen."""
        days = self.within.value
        if days not in self._curves:
            ahead = days == _ANY_TIME and self.opened.knows("curve")
            known = self.opened.curve if ahead else KnownPlans()
            self._curves[days] = _Curve(None if days == _ANY_TIME else days, known)
        return self._curves[days]

    def begin(self) -> None:
        """Begin to work: from now on entries are answered."""
        self._begun = True
        self.answer()

    def answer(self) -> None:
        """Answer the entries from what is known, and work out what is not."""
        if not self._begun:
            return
        with self.in_words(self.problems):
            mode, figure = self._wanted()
            self.fields.tell({})
            self.write(self.problems)
            known = self._show(mode, figure)
            if self.meter.running:
                return
            if known and self.curve.known.complete:
                self._over(whole=True)
            else:
                self.work_out(self._todo, self.problems, self._over)

    def _find(self, mode: str, figure: float) -> tuple[OrderPlan, OrderPlan | None] | None:
        """Return the plan for an entry and the step after it; None while it is not known."""
        known = self.curve.known
        if mode == _TARGET:
            place = known.place_reaching(figure)
        else:
            place = known.place_within(None if math.isinf(figure) else int(figure))
        if place is not None:
            after = known.plans[place + 1] if place + 1 < len(known.plans) else None
            return known.plans[place], after
        plan = self.curve.asked.get((mode, figure))
        return None if plan is None else (plan, None)

    def _show(self, mode: str, figure: float) -> bool:
        """Show the orders for an entry; return whether they are known."""
        curve = self.curve
        self._draw_curve(curve.known)
        found = self._find(mode, figure)
        if found is None:
            self.plan = None
            self.write(self.orders, status("Looking for these orders …"))
            for place in (self.next, self.links):
                self.write(place)
            return False
        plan, after = found
        self.plan = plan
        catalogue, supply = self.opened.catalogue, self.opened.supply
        target = figure if mode == _TARGET else None
        proof = quiet(proof_text(plan, after, target=target is not None))
        told = (proof, *order_blocks(plan, supply, catalogue), *opened_section(plan))
        headline = plan_headline(plan, catalogue.vocabulary, target)
        self.write(self.orders, Report(headline, told))
        ends = after is None and not curve.known.complete  # not known yet
        self.write(self.next, *([] if ends else [Say(next_text(plan, after, catalogue))]))
        orders = orders_table(plan, supply, catalogue)
        steps = curve_table(curve.known.plans, catalogue.vocabulary)
        self.write(
            self.links,
            csv_link("Save the orders as CSV", "orders.csv", orders),
            csv_link("Save the curve as CSV", "curve.csv", steps),
        )
        self.chart.mark(plan)
        with self.fields.quietly():
            places = (n for n, p in enumerate(curve.known.plans) if p is plan)
            self.steps.value = next(places, None)
        return True

    def _draw_curve(self, known: KnownPlans) -> None:
        if self._drawn is known:
            return
        self._drawn = known
        self.chart.show(known.plans)
        with self.fields.quietly():
            told = (step_text(*step, self.opened.catalogue) for step in steps_of(known.plans))
            self.steps.options = [(text, n) for n, text in enumerate(told)]
            self.steps.value = None
        if known.complete:
            most = max(self.opened.catalogue.vocabulary.major(known.plans[-1].cost), 1.0)
            step = max(1, round(most / _STEPS))
            self.budget.reach((math.floor(most / step) + 1) * step, step)

    # ------------------------------------------------------------ working

    def _todo(self) -> Iterator[Task[Any]]:
        """Yield what is to be worked out: what is asked for first, then the next step."""
        while True:
            curve = self.curve
            try:
                mode, figure = self._wanted()
            except FormError:
                mode, figure = _SPEND, math.inf
            found = self._find(mode, figure) is not None
            if found and curve.known.complete:
                return
            if curve.restocking is None:
                self.meter.begin("Asking what could be ordered …")
                ask = partial(
                    Restocking,
                    self.opened.engine,
                    self.opened.supply,
                    within_days=curve.within,
                    progress=self._progress,
                )
                yield Task(ask, partial(self._known, curve.take))
            elif not found:
                self.meter.begin("Looking for these orders …")
                yield Task(
                    partial(_plan, curve.restocking, mode, figure),
                    partial(self._known, partial(curve.asked.__setitem__, (mode, figure))),
                )
            else:
                number = plural(len(curve.known.plans), "step")
                self.meter.begin(f"Following the curve: {number} so far …")
                yield Task(curve.step, partial(self._known, curve.keep))

    def _progress(self, rounds: int, cuts: int) -> None:
        self.meter.detail = f"round {rounds}, {cuts} conditions learnt"

    def _known(self, keep: Callable[[Any], None], found: Any) -> None:
        """Keep what was found, and answer with it."""
        keep(found)
        self.answer()

    def _over(self, whole: bool) -> None:
        if not whole:
            if not self.curve.known.complete:
                self.curve.restocking = None
            self.meter.end("Stopped. Change an entry to go on.", stopped=True)
            return
        number = len(self.curve.known.plans) - 1
        self.meter.end(f"The curve is complete: {plural(number, 'step')} of orders.")


def _plan(restocking: Restocking, mode: str, figure: float) -> OrderPlan:
    """Return the orders for a share, or for a sum in minor units."""
    if mode == _TARGET:
        return restocking.target(figure)
    return restocking.target(1.0) if math.isinf(figure) else restocking.spend(int(figure))
