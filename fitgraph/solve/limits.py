"""How many builds keep a budget and a mass limit.

Partial builds are carried down the plan as sums of price and mass.
Those that can no longer break a limit are counted at once, with all their
completions; those that must break one are dropped; those with the same
future and the same sums are one. Where more would have to be carried than
the ceiling allows, a random sample gives an estimate with its confidence
interval.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats, Ints
from fitgraph.solve.algebra import COUNT
from fitgraph.solve.arrays import spread
from fitgraph.solve.best import Bounds, Criteria
from fitgraph.solve.counted import Counted, exactly
from fitgraph.solve.counting import EXACT_FLOAT, count
from fitgraph.solve.estimate import estimate
from fitgraph.solve.messages import Demands
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Case
from fitgraph.solve.query import Query
from fitgraph.solve.ranked import best_of
from fitgraph.solve.stream import Stream

#: Partial sums held at once before an estimate takes over; and so many are tried in any case,
#: because tight limits may leave few builds.
CEILING, QUICK = 1_500_000, 50_000

#: Up to so many builds an exact count is worth its time.
WORTH_WALKING = 200_000_000


class _Sums:
    """Distinct sums of price and mass that the options of each kind of a step give."""

    def __init__(self, price: Floats, tenths: Floats, kind: Ints, size: int) -> None:
        rows = np.column_stack([kind, price, tenths])
        distinct, times = np.unique(rows, axis=0, return_counts=True)
        self.price, self.tenths = distinct[:, 1], distinct[:, 2]
        self.times = times.astype(float)
        self.starts = np.searchsorted(distinct[:, 0], np.arange(size)).astype(np.intp)
        self.counts = np.diff(np.append(self.starts, len(distinct))).astype(np.intp)
        self.least_price, self.least_tenths = np.full(size, np.inf), np.full(size, np.inf)
        kinds = distinct[:, 0].astype(np.intp)
        np.minimum.at(self.least_price, kinds, self.price)
        np.minimum.at(self.least_tenths, kinds, self.tenths)


class _Future:
    """What partial builds can still come to, by the cells of their open steps.

    Parameters
    ----------
    query : Query
        The question.
    lets : mapping of str to ndarray of bool
        Which options it lets in.
    certain : bool
        Whether builds that are only possible are left out.
    """

    def __init__(
        self, query: Query, lets: Mapping[str, npt.NDArray[np.bool_]], *, certain: bool
    ) -> None:
        space = query.space
        plan, support = space.plan(certain=certain), space.few_rows(certain=certain)
        costs = {r: np.array([query.price[r], query.tenths[r]]) for r in plan.roles}
        self._ends = Bounds(plan, space.class_of, lets, costs, _ENDS, support)
        self.cases, self.follow = self._ends.cases, self._ends.follow
        self.members = self._ends.prices.members
        demands = Demands.one(query.weights(lets))
        if support is None:
            self._counts = Passes(plan, demands, COUNT).at
        else:
            below = support.below(support.own(demands.values, COUNT), COUNT)
            self._counts = lambda place, cells: below[place][:, cells]

    def counts(self, place: int, cells: Ints) -> Floats:
        """Return in how many ways a step and all below it can be completed."""
        found: Floats = self._counts(place, cells)[0]
        return found

    def ends(self, place: int, cells: Ints) -> tuple[Floats, Floats, Floats, Floats]:
        """Return the least and the most price, the least and the most mass of what is below."""
        least, less_most, lightest, less_heaviest = self._ends.of_cells(place, cells)
        return least, -less_most, lightest, -less_heaviest


#: Weights of price and mass whose least sums are their ends.
_ENDS = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])


class _TooManyError(Exception):
    pass


class _Carried:
    """Partial builds: the cells of their open steps, their sums, how many they are."""

    def __init__(self, case: Case) -> None:
        one = np.zeros(1)
        self.group = {root: np.zeros(1, dtype=np.intp) for root in case.roots}
        self.price, self.tenths, self.times = one, one.copy(), np.ones(1)

    def take(self, at: npt.NDArray[Any]) -> None:
        self.group = {k: g[at] for k, g in self.group.items()}
        self.price, self.tenths, self.times = self.price[at], self.tenths[at], self.times[at]

    def open(
        self, future: _Future, more_price: Floats, more_tenths: Floats, limits: tuple[float, float]
    ) -> Ints:
        """Return the places that may still keep the limits."""
        low_p, low_t = self.price + more_price, self.tenths + more_tenths
        for at, group in self.group.items():
            least, _, lightest, _ = future.ends(at, group)
            low_p, low_t = low_p + least, low_t + lightest
        return np.flatnonzero((low_p <= limits[0]) & (low_t <= limits[1]))

    def merge(self) -> None:
        """Make one of all with the same future and the same sums."""
        keys = [self.tenths, self.price, *self.group.values()]
        order = np.lexsort(keys)
        self.take(order)
        if not len(self.price):
            return
        new = np.zeros(len(self.price), dtype=bool)
        new[0] = True
        for values in (self.tenths, self.price, *self.group.values()):
            new[1:] |= values[1:] != values[:-1]
        starts = np.flatnonzero(new)
        times = np.add.reduceat(self.times, starts)
        self.take(starts)
        self.times = times


def _forward(query: Query, *, certain: bool, ceiling: int) -> int:
    """Return the exact number of builds within the limits.

    Raises
    ------
    _TooManyError
        If more partial sums than the ceiling would have to be carried.
    """
    plan, lets = query.space.plan(certain=certain), query.mask(certain=certain)
    budget = query.request.budget
    limits = (
        np.inf if budget is None else float(budget),
        np.inf if query.max_tenths is None else float(query.max_tenths),
    )
    future = _Future(query, lets, certain=certain)
    total = 0

    def settle(carried: _Carried) -> None:
        """Count what is safe, drop what is lost, keep what is open."""
        nonlocal total
        low_p, high_p = carried.price.copy(), carried.price.copy()
        low_t, high_t = carried.tenths.copy(), carried.tenths.copy()
        completions = carried.times.copy()
        for at, group in carried.group.items():
            least, most, lightest, heaviest = future.ends(at, group)
            low_p, high_p = low_p + least, high_p + most
            low_t, high_t = low_t + lightest, high_t + heaviest
            completions *= future.counts(at, group)
        lost = ~((low_p <= limits[0]) & (low_t <= limits[1])) | (completions == 0)
        safe = ~lost & (high_p <= limits[0]) & (high_t <= limits[1])
        if safe.any() and completions[safe].max() >= EXACT_FLOAT:
            raise _TooManyError
        # Below 2**53 each, so that every addend is exact; Python adds without rounding.
        total += sum(int(c) for c in _chunked(completions[safe]))
        carried.take(np.flatnonzero(~lost & ~safe))

    first = np.zeros(1, dtype=np.intp)
    for case in future.cases:
        if not all(future.counts(root, first)[0] for root in case.roots):
            continue
        carried = _Carried(case)
        settle(carried)
        for place in reversed(case.order):
            if not len(carried.price):
                break
            step = plan.steps[place]
            group = carried.group.pop(place)
            owner, kind, after = future.follow(place, group)
            if len(owner) > ceiling:
                raise _TooManyError
            carried.take(owner)
            carried.group.update(after)
            if step.is_role:
                ordered, _, sizes = future.members.of(step)
                table = _Sums(
                    query.price[step.variable][ordered],
                    query.tenths[step.variable][ordered],
                    np.repeat(np.arange(step.kinds), sizes),
                    step.kinds,
                )
                keep = carried.open(
                    future, table.least_price[kind], table.least_tenths[kind], limits
                )
                carried.take(keep)
                kind = kind[keep]
                if table.counts[kind].sum() > ceiling:
                    raise _TooManyError
                owner, number = spread(table.counts[kind])
                at_sum = table.starts[kind[owner]] + number
                carried.take(owner)
                carried.price = carried.price + table.price[at_sum]
                carried.tenths = carried.tenths + table.tenths[at_sum]
                carried.times = carried.times * table.times[at_sum]
            settle(carried)
            carried.merge()
            if len(carried.times) and carried.times.max() >= EXACT_FLOAT:
                raise _TooManyError
    return total


def _chunked(values: Floats) -> list[float]:
    """Return sums of a few values each that stay exact."""
    if not len(values):
        return []
    whole = float(values.sum())
    return [whole] if whole < EXACT_FLOAT else values.tolist()


def _listed(query: Query, most: int, *, certain: bool) -> int:
    """Return the number of builds within the limits, found by ranking them; at most so many."""
    roles, limits = query.space.options, (query.request.budget, query.max_tenths)
    criteria = Criteria(
        {r: np.array([query.price[r], query.price[r], query.tenths[r]]) for r in roles},
        np.array([np.inf if x is None else float(x) for x in limits]),
    )
    lets = query.mask(certain=certain)
    return len(best_of(query.space, lets, criteria, most, certain=certain)[1])


def count_within(query: Query, *, certain: bool, ceiling: int = CEILING) -> Counted:
    """Return how many builds a query lets in.

    Parameters
    ----------
    query : Query
        The question over a compiled catalogue.
    certain : bool
        Whether builds that are only possible are left out.
    ceiling : int
        Partial sums that may be held at once.

    Returns
    -------
    Counted
        Exact without limits; with limits exact up to :data:`WORTH_WALKING`
        builds in all, and beyond as far as the ceiling lets it; else an
        estimate from a random sample, with its interval.
    """
    space, weights = query.space, query.weights(query.mask(certain=certain))
    home = query.home(certain=certain)
    plan = space.plan_for(weights, certain=certain) if home is None else space.plan(certain=certain)
    total = count(plan, weights, home)
    if total == 0 or (query.request.budget is None and query.max_tenths is None):
        return exactly(total)
    if total > WORTH_WALKING:
        # Where one pass takes long, the sample goes first: it needs fewer of them.
        if query.space.few_rows(certain=certain) is not None:
            try:
                return exactly(_forward(query, certain=certain, ceiling=min(ceiling, QUICK)))
            except _TooManyError:
                pass
        guess = estimate(query, total, certain=certain)
        if guess.most > ceiling:
            return guess
        if query.space.without_sums(certain=certain) is not None and guess.most <= QUICK:
            listed = _listed(query, guess.most + 1, certain=certain)
            if listed <= guess.most:
                return exactly(listed)
    try:
        return exactly(_forward(query, certain=certain, ceiling=ceiling))
    except _TooManyError:
        if total > WORTH_WALKING:
            return guess
        stream = Stream(query, certain=certain)
        return exactly(sum(len(batch) for batch in stream.batches()))
