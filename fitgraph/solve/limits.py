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
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.solve.algebra import COUNT, LEAST
from fitgraph.solve.arrays import spread
from fitgraph.solve.counted import Counted, exactly
from fitgraph.solve.counting import EXACT_FLOAT, count
from fitgraph.solve.estimate import estimate
from fitgraph.solve.passes import Demands, Passes
from fitgraph.solve.plan import Case, Plan
from fitgraph.solve.query import Query
from fitgraph.solve.rows import Members, Rows
from fitgraph.solve.stream import Stream

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

#: Partial sums held at once before an estimate takes over; and so many are tried in any case,
#: because tight limits may leave few builds.
CEILING, QUICK = 1_500_000, 100_000

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


@dataclass(frozen=True, slots=True)
class _Reach:
    """Least and most of one sum below each step, over its cells."""

    least: list[Floats]
    most: list[Floats]


def _reaches(
    query: Query, lets: Mapping[str, npt.NDArray[np.bool_]], plan: Plan
) -> tuple[_Reach, _Reach]:
    """Return what price and mass can come to."""
    signed = [(of, sign) for of in (query.price, query.tenths) for sign in (1.0, -1.0)]
    values = {}
    for role, size in plan.sizes.items():
        best = np.full((len(signed), size), np.inf)
        at = query.space.class_of[role][lets[role]]
        for row, (of, sign) in zip(best, signed, strict=True):
            np.minimum.at(row, at, sign * of[role][lets[role]])
        values[role] = best
    every = dict.fromkeys(values, np.arange(len(signed), dtype=np.intp))
    up = Passes(plan, Demands(values, every), LEAST, whole=True).up
    ends = [[m.flat()[n] for m in up] for n in range(len(signed))]
    return (
        _Reach(ends[0], [-m for m in ends[1]]),
        _Reach(ends[2], [-m for m in ends[3]]),
    )


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
        self,
        price: _Reach,
        tenths: _Reach,
        more_price: Floats,
        more_tenths: Floats,
        limits: tuple[float, float],
    ) -> Ints:
        """Return the places that may still keep the limits."""
        low_p, low_t = self.price + more_price, self.tenths + more_tenths
        for at, group in self.group.items():
            low_p = low_p + price.least[at][group]
            low_t = low_t + tenths.least[at][group]
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
    plan, class_of = query.space.plan(certain=certain), query.space.class_of
    lets = query.mask(certain=certain)
    budget = query.request.budget
    limits = (
        np.inf if budget is None else float(budget),
        np.inf if query.max_tenths is None else float(query.max_tenths),
    )
    passes = Passes(plan, Demands.one(query.weights(lets)), COUNT, whole=True)
    counts = [m.values.reshape(-1) for m in passes.up]
    price, tenths = _reaches(query, lets, plan)
    rows, of_kind = Rows(passes), Members(class_of, lets)
    total = 0

    def settle(carried: _Carried) -> None:
        """Count what is safe, drop what is lost, keep what is open."""
        nonlocal total
        low_p, high_p = carried.price.copy(), carried.price.copy()
        low_t, high_t = carried.tenths.copy(), carried.tenths.copy()
        completions = carried.times.copy()
        for at, group in carried.group.items():
            low_p += price.least[at][group]
            high_p += price.most[at][group]
            low_t += tenths.least[at][group]
            high_t += tenths.most[at][group]
            completions *= counts[at][group]
        lost = ~((low_p <= limits[0]) & (low_t <= limits[1])) | (completions == 0)
        safe = ~lost & (high_p <= limits[0]) & (high_t <= limits[1])
        if safe.any() and completions[safe].max() >= EXACT_FLOAT:
            raise _TooManyError
        # Below 2**53 each, so that every addend is exact; Python adds without rounding.
        total += sum(int(c) for c in _chunked(completions[safe]))
        carried.take(np.flatnonzero(~lost & ~safe))

    for case in plan.cases:
        if not all(counts[root][0] for root in case.roots):
            continue
        carried = _Carried(case)
        settle(carried)
        for place in reversed(case.order):
            if not len(carried.price):
                break
            step = plan.steps[place]
            group = carried.group.pop(place)
            owner, kind = rows.expand(place, group)
            if len(owner) > ceiling:
                raise _TooManyError
            carried.take(owner)
            carried.group.update(rows.after(place, group[owner], kind))
            if step.is_role:
                ordered, _, sizes = of_kind.of(step)
                table = _Sums(
                    query.price[step.variable][ordered],
                    query.tenths[step.variable][ordered],
                    np.repeat(np.arange(step.kinds), sizes),
                    step.kinds,
                )
                keep = carried.open(
                    price, tenths, table.least_price[kind], table.least_tenths[kind], limits
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
    plan = query.space.plan(certain=certain)
    weights = query.weights(query.mask(certain=certain))
    total = count(plan, weights, query.home(certain=certain))
    if total == 0 or (query.request.budget is None and query.max_tenths is None):
        return exactly(total)
    if total > WORTH_WALKING:
        try:
            return exactly(_forward(query, certain=certain, ceiling=min(ceiling, QUICK)))
        except _TooManyError:
            guess = estimate(query, total, certain=certain)
        if guess.most > ceiling:
            return guess
    try:
        return exactly(_forward(query, certain=certain, ceiling=ceiling))
    except _TooManyError:
        if total > WORTH_WALKING:
            return guess
        stream = Stream(query, certain=certain)
        return exactly(sum(len(batch) for batch in stream.batches()))
