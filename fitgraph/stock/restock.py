"""What to order: the cheapest orders that lift coverage so far, or the most for so much.

The program of :mod:`fitgraph.stock.orders` knows only some of what each question needs. Its
best orders are tried on the engine; where a question turns out not to be served, the cut that
says why joins the program, which is solved again. The program never forbids what is possible,
so orders of its that pass are the best there are.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import reduce
from itertools import islice
from math import ceil, gcd, inf

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats, Ints
from fitgraph.demand.menus import IN_STOCK, Menus, Shelf
from fitgraph.demand.questions import questions_of
from fitgraph.demand.served import served
from fitgraph.model import Enquiry, Supply
from fitgraph.records import dataclass
from fitgraph.solve import TreeEngine
from fitgraph.solve.plan import naming_none
from fitgraph.stock.lacking import Lacking, minimal_cuts
from fitgraph.stock.orders import (
    Ask,
    OrderLine,
    OutOfTimeError,
    Program,
    Solved,
    by_supplier,
    cost_of,
    usable,
)
from fitgraph.stock.topped_up import solve
from fitgraph.stopping import check

#: A change of weight below this is none. Weights count to a thousandth.
_EPSILON, _THOUSAND = 1e-6, 1000

#: How much dearer than a step of the curve the next one mostly is, at most.
_NEAR = 1.25


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """Orders, what they cost, and what they serve.

    Parameters
    ----------
    lines : tuple of OrderLine
        What is ordered.
    cost : int
        Goods and deliveries, in minor currency units.
    served : float
        Enquiries with a build from stock and these orders.
    before : float
        Enquiries with a build from stock alone.
    total : float
        All enquiries.
    opened : tuple of Enquiry
        Those that these orders serve.
    bound : float
        For a target: no orders that reach it cost less, in minor units. For a budget: no
        orders within it serve more enquiries.
    gap : float
        Distance from the bound, as a share of it; 0 where the optimum is proven.
    reached : bool
        Whether the target was reached; true for a budget.
    rounds, cuts : int
        How often the program was solved, and how many cuts it holds.
    """

    lines: tuple[OrderLine, ...]
    cost: int
    served: float
    before: float
    total: float
    opened: tuple[Enquiry, ...]
    bound: float
    gap: float
    reached: bool
    rounds: int
    cuts: int

    @property
    def proven(self) -> bool:
        """Whether no better orders exist, for certain."""
        return self.gap == 0.0

    @property
    def share(self) -> float:
        """Return the share of enquiries served with these orders."""
        return self.served / self.total if self.total else 0.0

    @property
    def orders(self) -> Mapping[str, tuple[OrderLine, ...]]:
        """Return the lines of each supplier's order."""
        return by_supplier(self.lines)

    @property
    def lead_days(self) -> int | None:
        """Return the days until the last of it comes; None where one is not known."""
        days = [line.offer.lead_days for line in self.lines]
        return None if None in days else max((d for d in days if d is not None), default=0)


@dataclass(frozen=True, slots=True)
class _Best:
    """The best orders found for one objective, and how good any could be."""

    lines: tuple[OrderLine, ...]
    value: float
    bound: float
    proven: bool


class Restocking:
    """Questions about orders over one catalogue, its enquiries and its suppliers.

    What is learnt for one question stays for the next.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    supply : Supply, optional
        What can be ordered; without offers every part is sold singly at its own price.
    enquiries : sequence of Enquiry, optional
        The catalogue's own by default.
    stock : mapping of str to int, optional
        Pieces held, instead of the catalogue's own.
    within_days : int, optional
        Longest lead time.
    seconds : float, optional
        Time for one question; then the best so far is given with its gap.
    progress : callable, optional
        Is told after each round how many rounds there were and how many cuts there are.
    """

    @naming_none()
    def __init__(
        self,
        engine: TreeEngine,
        supply: Supply | None = None,
        *,
        enquiries: Sequence[Enquiry] | None = None,
        stock: Mapping[str, int] | None = None,
        within_days: int | None = None,
        seconds: float | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> None:
        self.supply = Supply() if supply is None else supply
        self.seconds, self.progress = seconds, progress
        menus = Menus(engine.space, stock)
        asked = engine.catalogue.enquiries if enquiries is None else enquiries
        self._questions, self.enquiries, self.left_out = questions_of(menus, asked)
        offers = usable(engine.catalogue, self.supply, menus.in_stock, within_days)
        every = frozenset(o.sku for o in offers)
        now = served(menus, self._questions.asked_of(IN_STOCK), certain=True).yes
        rest = np.flatnonzero(~now)
        then = served(menus, self._questions.asked_of(Shelf(True, every), rest), certain=True)
        self._open: Ints = rest[then.yes]
        self.total = float(self._questions.weight.sum())
        self.before = float(self._questions.weight[now].sum())
        weights = np.rint(self._questions.weight[self._open] * _THOUSAND)
        self._weights = np.maximum(weights, 1.0) / _THOUSAND
        self._oracle = Lacking(self._questions, sorted(every))
        self._program = Program(offers, self.supply, self._weights.tolist())
        self._rounds, self._until = 0, inf
        self._step = _least_step(self._weights)
        if len(self._open):
            self._learn(np.arange(len(self._open)), frozenset())

    # -- the loop ------------------------------------------------------

    def _learn(self, at: Ints, ordered: frozenset[str]) -> None:
        """Add the cuts of questions, by their places among the open ones."""
        roles = list(range(len(self._oracle.of_role)))
        turn = self._rounds % max(len(roles), 1)
        orders = [roles[turn:] + roles[:turn], (roles[turn:] + roles[:turn])[::-1]]
        found = self._oracle.cuts(self._open[at], ordered, orders)
        place = {int(q): n for n, q in enumerate(self._open)}
        new = [(place[q], cut) for q, cut in found]
        self._program.add(minimal_cuts(self._program.cuts, new))

    def _gain(self, lines: Sequence[OrderLine]) -> tuple[npt.NDArray[np.bool_], float]:
        yes = self._oracle.served(self._open, frozenset(line.offer.sku for line in lines))
        return yes, float(self._weights[yes].sum())

    def _cheapest(self, gain: float, near: float = inf) -> _Best:
        """Return the cheapest orders that serve so many more; of value inf where none do.

        Those that cost no more than ``near`` are looked at first, as that is quick.
        """
        best = _Best((), inf, 0.0, False)
        if gain > self._weights.sum() + _EPSILON:
            return replace(best, bound=inf, proven=True)
        # Sums of weights are multiples of the step. The solver gets a quarter of one as slack,
        # so that nothing hangs on its tolerances.
        least = ceil(gain / self._step - _EPSILON) - 0.25
        for solved in self._solutions(Ask(served=least, step=self._step), near):
            if solved is None:
                return replace(best, bound=best.value, proven=True)
            best = replace(best, bound=max(best.bound, solved.bound))
            yes, reached = self._gain(solved.lines)
            cost = float(cost_of(solved.lines, self.supply))
            if reached >= gain - 2 * _EPSILON:
                if cost < best.value:
                    best = replace(best, lines=solved.lines, value=cost)
                if solved.exact:
                    return replace(best, bound=best.value, proven=True)
                return best
            self._learn(np.flatnonzero(~yes), frozenset(o.offer.sku for o in solved.lines))
        return best

    def _most(self, cost: float) -> _Best:
        """Return the orders within a cost that serve most."""
        best = _Best((), 0.0, float(self._weights.sum()), not len(self._open))
        if best.proven:
            return best
        for solved in self._solutions(Ask(cost)):
            if solved is None:
                break
            yes, reached = self._gain(solved.lines)
            best = replace(best, bound=min(best.bound, -solved.bound))
            if reached > best.value:
                best = replace(best, lines=solved.lines, value=reached)
            if best.value >= best.bound - _EPSILON:
                return replace(best, bound=best.value, proven=True)
            if not solved.exact:
                return best
            self._learn(np.flatnonzero(~yes), frozenset(o.offer.sku for o in solved.lines))
        return best

    def _solutions(self, ask: Ask, near: float = inf) -> Iterator[Solved | None]:
        """Yield the program's best orders, again after each time it has learnt."""
        while True:
            check()
            left = None if self._until == inf else self._until - time.monotonic()
            if left is not None and left <= 0:
                return
            try:
                solved = None
                if near < ask.cost:
                    solved = solve(self._program, replace(ask, cost=near), seconds=left)
                if solved is None:
                    solved = solve(self._program, ask, seconds=left)
            except OutOfTimeError:
                return
            self._rounds += 1
            if self.progress is not None:
                self.progress(self._rounds, self._program.number_of_cuts)
            yield solved

    # -- answers -------------------------------------------------------

    @property
    def reachable(self) -> float:
        """Return how many enquiries everything that can be ordered would serve together.

        An upper bound: suppliers' least and most orders do not count for it, so that it may be
        above what any orders serve. Where a share is out of reach, :meth:`target` tells that.
        """
        return self.before + float(self._weights.sum())

    def _plan(
        self, lines: Sequence[OrderLine], best: _Best, *, bound: float, reached: bool
    ) -> OrderPlan:
        yes, gain = self._gain(lines)
        opened = set(self._open[yes].tolist())
        pairs = zip(self.enquiries, self._questions.of.tolist(), strict=True)
        gap = 0.0 if best.proven else abs(best.value - best.bound) / max(abs(best.bound), 1.0)
        return OrderPlan(
            tuple(lines),
            cost_of(lines, self.supply),
            self.before + gain,
            self.before,
            self.total,
            tuple(e for e, q in pairs if q in opened),
            bound,
            gap,
            reached,
            self._rounds,
            self._program.number_of_cuts,
        )

    def _begin(self) -> None:
        self._rounds = 0
        self._until = inf if self.seconds is None else time.monotonic() + self.seconds

    def _fitting(self, gain: float, near: float = inf) -> OrderPlan:
        """Return the cheapest orders that serve so many more, and of those the best."""
        best = self._cheapest(gain, near)
        if best.value == inf and best.proven:
            return replace(self._within(inf), reached=False)
        more = self._most(best.value)
        lines = more.lines if more.value >= gain - _EPSILON else best.lines
        if best.value == inf:  # out of time
            best = replace(best, value=float(cost_of(lines, self.supply)))
        reached = self._gain(lines)[1] >= gain - _EPSILON
        return self._plan(lines, best, bound=best.bound, reached=reached)

    def _within(self, cost: float) -> OrderPlan:
        """Return the orders within a cost that serve most, and of those the cheapest."""
        best = self._most(cost)
        less = self._cheapest(best.value) if best.value > 0 else best
        lines = less.lines if less.value < inf else best.lines
        return self._plan(lines, best, bound=self.before + best.bound, reached=True)

    def target(self, share: float) -> OrderPlan:
        """Return the cheapest orders that lift coverage to a share of all enquiries.

        Parameters
        ----------
        share : float
            From 0 to 1.

        Returns
        -------
        OrderPlan
            Of all orders of that cost, one that serves most: where the share is reached
            already, what costs nothing, goods and deliveries. Where the share is out of reach,
            the cheapest that serve as many as can be served, and ``reached`` is false.

        Raises
        ------
        ValueError
            If it is no share.
        """
        if not 0 <= share <= 1:
            raise ValueError(f"a target is a share from 0 to 1, not {share:g}")
        self._begin()
        gain = share * self.total - self.before
        if gain <= _EPSILON:
            lines = self._most(0.0).lines if self._program.gives_away else ()
            return self._plan(lines, _Best(lines, 0.0, 0.0, True), bound=0.0, reached=True)
        return self._fitting(gain)

    def spend(self, cost: int) -> OrderPlan:
        """Return the orders that serve most for so much money, and of those the cheapest.

        Parameters
        ----------
        cost : int
            Goods and deliveries, in minor currency units.

        Raises
        ------
        ValueError
            If it is below zero.
        """
        if cost < 0:
            raise ValueError("nobody spends less than nothing")
        self._begin()
        return self._within(float(cost))

    def curve(self, most: int = 50) -> tuple[OrderPlan, ...]:
        """Return every plan that no cheaper one equals: what the next unit of money buys.

        Parameters
        ----------
        most : int
            At most so many steps, from the cheapest up.

        Returns
        -------
        tuple of OrderPlan
            Cheapest first, beginning with no order at all. Exact: between two neighbours no
            orders serve more than the first.
        """
        return tuple(islice(self.steps(), most + 1))

    def steps(self) -> Iterator[OrderPlan]:
        """Yield the plans of :meth:`curve` one by one, for who does not want to wait for all."""
        self._begin()
        plan = self._plan((), _Best((), 0.0, 0.0, True), bound=0.0, reached=True)
        yield plan
        while plan.served < self.reachable - _EPSILON:
            near = _NEAR * plan.cost if plan.cost else inf
            plan = self._fitting(plan.served - self.before + self._step / 2, near)
            if not plan.reached:
                return
            yield plan


def _least_step(weights: Floats) -> float:
    """Return the least by which two sums of weights in whole thousandths can differ.

    Examples
    --------
    >>> _least_step(np.array([1.0, 3.0, 1.5]))
    0.5
    """
    return reduce(gcd, np.rint(weights * _THOUSAND).astype(int).tolist(), 0) / _THOUSAND or 1.0
