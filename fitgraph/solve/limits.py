"""How many builds keep a budget and a mass limit.

Partial builds are carried down the junction tree as sums of price and mass.
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

from fitgraph.solve.arrays import members, spread
from fitgraph.solve.counted import Counted, exactly
from fitgraph.solve.estimate import estimate
from fitgraph.solve.messages import EXACT_FLOAT, count, upward
from fitgraph.solve.query import Query
from fitgraph.solve.stream import Stream
from fitgraph.solve.tree import Tree

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

#: Partial sums held at once before an estimate takes over; and so many are tried in any case,
#: because tight limits may leave few builds.
CEILING, QUICK = 1_500_000, 100_000

#: Up to so many builds an exact count is worth its time.
WORTH_WALKING = 200_000_000


class _Sums:
    """Distinct sums of price and mass that the options of each class give."""

    def __init__(
        self, price: Floats, tenths: Floats, lets: npt.NDArray[np.bool_], class_of: Ints, size: int
    ) -> None:
        ordered, _ = members(class_of, lets, size)
        rows = np.column_stack([class_of[ordered], price[ordered], tenths[ordered]])
        distinct, times = np.unique(rows, axis=0, return_counts=True)
        self.price, self.tenths = distinct[:, 1], distinct[:, 2]
        self.times = times.astype(float)
        self.least_price, self.least_tenths = np.full(size, np.inf), np.full(size, np.inf)
        classes = distinct[:, 0].astype(np.intp)
        np.minimum.at(self.least_price, classes, self.price)
        np.minimum.at(self.least_tenths, classes, self.tenths)
        self.starts = np.searchsorted(distinct[:, 0], np.arange(size)).astype(np.intp)
        self.counts = np.diff(np.append(self.starts, len(distinct))).astype(np.intp)


@dataclass(frozen=True, slots=True)
class _Reach:
    """Least and most of one sum over each group's subtree."""

    least: list[Floats]
    most: list[Floats]


def _reach(
    query: Query,
    lets: Mapping[str, npt.NDArray[np.bool_]],
    of: Mapping[str, Floats],
    *,
    certain: bool,
) -> _Reach:
    tree, class_of = query.space.tree, query.space.class_of
    ends: list[list[Floats]] = []
    for sign in (1.0, -1.0):
        per_class = {}
        for variable, size in tree.sizes.items():
            if variable not in class_of:
                per_class[variable] = np.zeros(size)
                continue
            cost = np.where(lets[variable], sign * of[variable], np.inf)
            best = np.full(size, np.inf)
            np.minimum.at(best, class_of[variable], cost)
            per_class[variable] = best
        messages: list[Floats] = []
        for clique in tree.cliques:
            value = np.where(clique.certain, 0.0, np.inf) if certain else np.zeros(len(clique.rows))
            for variable in clique.own:
                value = value + per_class[variable][clique.column(variable)]
            for child in clique.children:
                value = value + messages[child][tree.cliques[child].group_in_parent]
            messages.append(
                np.minimum.reduceat(value, clique.starts) if len(value) else np.zeros(0)
            )
        ends.append(messages)
    return _Reach(ends[0], [-m for m in ends[1]])


class _TooManyError(Exception):
    pass


class _Carried:
    """Partial builds: the groups of their open subtrees, their sums, how many they are."""

    def __init__(self, tree: Tree) -> None:
        one = np.zeros(1)
        self.group = {root: np.zeros(1, dtype=np.intp) for root in tree.roots}
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
    tree, class_of = query.space.tree, query.space.class_of
    lets = query.mask(certain=certain)
    budget = query.request.budget
    limits = (
        np.inf if budget is None else float(budget),
        np.inf if query.max_tenths is None else float(query.max_tenths),
    )
    counts, _, _ = upward(tree, query.weights(lets), certain=certain)
    price = _reach(query, lets, query.price, certain=certain)
    tenths = _reach(query, lets, query.tenths, certain=certain)
    sums = {
        v: _Sums(query.price[v], query.tenths[v], lets[v], class_of[v], tree.sizes[v])
        for v in class_of
    }
    carried = _Carried(tree)
    total = 0

    def settle() -> None:
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

    settle()
    for at in tree.preorder:
        clique = tree.cliques[at]
        group = carried.group.pop(at)
        ends = np.append(clique.starts[1:], len(clique.rows))
        per_group = (ends - clique.starts)[group] if len(group) else np.zeros(0, dtype=np.intp)
        if per_group.sum() > ceiling:
            raise _TooManyError
        owner, number = spread(per_group)
        row = clique.starts[group[owner]] + number
        carried.take(owner)
        if certain:
            sure = np.flatnonzero(clique.certain[row])
            carried.take(sure)
            row = row[sure]
        for child in clique.children:
            carried.group[child] = tree.cliques[child].group_in_parent[row]
        own = [v for v in clique.own if v in sums]
        for n, variable in enumerate([None, *own]):
            if variable is not None:
                classes = clique.column(variable)[row]
                table = sums[variable]
                if table.counts[classes].sum() > ceiling:
                    raise _TooManyError
                owner, number = spread(table.counts[classes])
                at_sum = table.starts[classes[owner]] + number
                carried.take(owner)
                row = row[owner]
                carried.price = carried.price + table.price[at_sum]
                carried.tenths = carried.tenths + table.tenths[at_sum]
                carried.times = carried.times * table.times[at_sum]
            if n < len(own):  # the least that the clique's other variables add
                rest = [clique.column(v)[row] for v in own[n:]]
                keep = carried.open(
                    price,
                    tenths,
                    sum(sums[v].least_price[c] for v, c in zip(own[n:], rest, strict=True)),
                    sum(sums[v].least_tenths[c] for v, c in zip(own[n:], rest, strict=True)),
                    limits,
                )
                carried.take(keep)
                row = row[keep]
        settle()
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
    tree = query.space.tree
    total = count(tree, query.weights(query.mask(certain=certain)), certain=certain)
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
