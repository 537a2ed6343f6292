"""All builds in one stable order, in batches of columns, from any index on.

The order is lexicographic along the plan: its cases, then step by step kinds
and the options of each kind, parents before children. A walk in
Python goes down that order only as far as a block of builds fits in memory;
the block's tail is a table that is made once and used for every walk that
comes to the same state, so most of the work is copying columns.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints
from fitgraph.records import dataclass
from fitgraph.solve.arrays import distinct_below, spread
from fitgraph.solve.counting import Exact
from fitgraph.solve.plan import Step
from fitgraph.solve.query import Query
from fitgraph.solve.rows import Members, Rows
from fitgraph.stopping import check

#: Builds in a tail table at most, and rows of tail tables kept at once.
TAIL, TAILS_KEPT = 1 << 17, 1 << 21

#: Rows that a small tail table counts as, for all that is not its rows.
_SMALL = 128

#: Builds in a batch.
BATCH = 1 << 17


@dataclass(frozen=True, slots=True)
class Batch:
    """Some builds, one column a role.

    Parameters
    ----------
    start : int
        The index of the first of them in the order of all builds.
    options : mapping of str to ndarray of int, shape (n,)
        For each role, the place of the option chosen, as in
        ``Space.options``.
    price : ndarray of int64, shape (n,)
        In minor currency units.
    tenths : ndarray of int64, shape (n,)
        Mass in tenths of a gram; options of unknown mass count as zero.
    index : ndarray of int64 or None
        Where limits leave some out, the index of each less `start`.
    """

    start: int
    options: Mapping[str, npt.NDArray[np.unsignedinteger]]
    price: npt.NDArray[np.int64]
    tenths: npt.NDArray[np.int64]
    index: npt.NDArray[np.int64] | None = None

    def __len__(self) -> int:
        return len(self.price)


@dataclass(frozen=True, slots=True)
class _Tail:
    """Every completion of a state."""

    options: dict[str, npt.NDArray[np.unsignedinteger]]
    price: npt.NDArray[np.int64]
    tenths: npt.NDArray[np.int64]


#: What is still open: steps with a cell, and, as ``~step``, options with a kind.
_Open = tuple[tuple[int, int], ...]


class Stream:
    """The builds of a query, in order.

    Of the query it keeps only what a walk needs, not the catalogue, so that a
    pickled stream is small. One thread at a time may walk it.

    Parameters
    ----------
    query : Query
        The question over a compiled catalogue.
    certain : bool
        Whether builds that are only possible are left out.
    limited : bool
        Whether builds beyond the request's budget or mass are left out.
    """

    def __init__(self, query: Query, *, certain: bool = True, limited: bool = True) -> None:
        limits = (query.request.budget, query.max_tenths) if limited else (None, None)
        self._budget, self._most_tenths = limits
        self.plan = query.space.plan(certain=certain)
        self.roles = tuple(query.space.options)
        lets = query.mask(certain=certain)
        self._exact = Exact(self.plan, query.weights(lets))
        self._rows = Rows(self._exact.passes)
        self._members = Members(query.space.class_of, lets)
        self._openings: list[tuple[int, _Open]] = []
        for case in self.plan.cases:
            left = tuple((root, 0) for root in reversed(case.roots))
            number = self._completions(left)
            if number:
                self._openings.append((number, left))
        self.total = sum(number for number, _ in self._openings)
        most = max(len(o) for o in query.space.options.values())
        self._kind = np.min_scalar_type(max(most, 1))
        self._price = {v: np.asarray(p, dtype=np.int64) for v, p in query.price.items()}
        self._tenths = {v: np.asarray(t, dtype=np.int64) for v, t in query.tenths.items()}
        self._tails: OrderedDict[_Open, _Tail] = OrderedDict()
        self._kept = 0

    def __getstate__(self) -> dict[str, Any]:
        """Return what to pickle: no tails, for whoever reads it makes its own."""
        return {**self.__dict__, "_tails": OrderedDict(), "_kept": 0}

    # -- states --------------------------------------------------------

    def _completions(self, left: _Open) -> int:
        product = 1
        for place, at in left:
            if place < 0:
                product *= int(self._members.of(self.plan.steps[~place])[2][at])
            else:
                product *= self._exact.at(place, at)
            if not product:
                break
        return product

    def _choices(self, left: _Open) -> Iterator[tuple[int, int, _Open]]:
        """Yield each way to take the next step: option or -1, completions, what is open then."""
        (place, at), rest = left[0], left[1:]
        if place < 0:
            ordered, starts, counts = self._members.of(self.plan.steps[~place])
            each = self._completions(rest)
            for option in ordered[starts[at] : starts[at] + counts[at]]:
                yield int(option), each, rest
            return
        step = self.plan.steps[place]
        after = self._completions(rest)
        cells = np.array([at], dtype=np.intp)
        _, kinds = self._rows.expand(place, cells)
        opened = self._rows.after(place, np.repeat(cells, len(kinds)), kinds)
        for n, kind in enumerate(kinds.tolist()):
            own = ((~place, kind),) if step.is_role else ()
            below = tuple((child, int(cell[n])) for child, cell in opened.items())
            yield -1, self._completions((*own, *below)) * after, (*own, *below, *rest)

    # -- tails ---------------------------------------------------------

    def _tail(self, left: _Open) -> _Tail:
        tail = self._tails.get(left)
        if tail is not None:
            self._tails.move_to_end(left)
            return tail
        tail = self._expand(left)
        self._tails[left] = tail
        self._kept += max(len(tail.price), _SMALL)
        while self._kept > TAILS_KEPT and len(self._tails) > 1:
            _, old = self._tails.popitem(last=False)
            self._kept -= max(len(old.price), _SMALL)
        return tail

    def _expand(self, left: _Open) -> _Tail:
        """Return every completion of a state, in order, by arrays."""
        price, tenths = np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
        options: dict[str, npt.NDArray[np.unsignedinteger]] = {}
        # What is open for each partial build, the next step first.
        pending: list[tuple[int, Ints]] = [(n, np.array([p], dtype=np.intp)) for n, p in left]
        while pending:
            place, at = pending.pop(0)
            step = self.plan.steps[place if place >= 0 else ~place]
            below: dict[int, Ints] = {}
            if place < 0:
                owner, option = self._chosen(step, at)
            else:
                owner, option, below = self._following(place, at)
            options = {v: o.take(owner) for v, o in options.items()}
            price, tenths = price.take(owner), tenths.take(owner)
            if step.is_role:
                options[step.variable] = option.astype(self._kind)
                price += self._price[step.variable].take(option)
                tenths += self._tenths[step.variable].take(option)
            pending = [*below.items(), *((n, p.take(owner)) for n, p in pending)]
        return _Tail(options, price, tenths)

    def _chosen(self, step: Step, kinds: Ints) -> tuple[Ints, Ints]:
        """Return each option of some kinds of a step, and of which of them it is."""
        ordered, starts, counts = self._members.of(step)
        owner, number = spread(counts[kinds])
        return owner, ordered[starts[kinds].take(owner) + number]

    def _following(self, place: int, at: Ints) -> tuple[Ints, Ints, dict[int, Ints]]:
        """Return what can follow some cells: of which of them, which option, and what that opens.

        Many partial builds come to few cells, so it is worked out once a cell.
        """
        step = self.plan.steps[place]
        cells = distinct_below(math.prod(step.shape), at)
        owner, kind = self._rows.expand(place, cells)
        option = kind
        if step.is_role:
            of, option = self._chosen(step, kind)
            owner, kind = owner[of], kind[of]
        below = self._rows.after(place, cells[owner], kind)
        starts = np.searchsorted(owner, np.arange(len(cells) + 1))
        cell = np.searchsorted(cells, at)
        of, number = spread(np.diff(starts)[cell])
        row = starts[cell].take(of) + number
        return of, option.take(row), {child: found.take(row) for child, found in below.items()}

    # -- the walk ------------------------------------------------------

    def _blocks(
        self, left: _Open, skip: int, chosen: dict[str, int], price: int, tenths: int
    ) -> Iterator[tuple[dict[str, int], int, int, _Tail, int]]:
        """Yield heads with their tails: options, sums, tail, and how many of it to skip."""
        if self._completions(left) <= TAIL:
            yield chosen, price, tenths, self._tail(left), skip
            return
        place = left[0][0]
        name = self.plan.steps[place if place >= 0 else ~place].variable
        for option, each, rest in self._choices(left):
            if skip >= each:
                skip -= each
                continue
            if option < 0:
                yield from self._blocks(rest, skip, chosen, price, tenths)
            else:
                yield from self._blocks(
                    rest,
                    skip,
                    {**chosen, name: option},
                    price + int(self._price[name][option]),
                    tenths + int(self._tenths[name][option]),
                )
            skip = 0

    def _every(self, skip: int) -> Iterator[tuple[dict[str, int], int, int, _Tail, int]]:
        for number, left in self._openings:
            if skip >= number:
                skip -= number
                continue
            yield from self._blocks(left, skip, {}, 0, 0)
            skip = 0

    def batches(
        self, start: int = 0, stop: int | None = None, *, size: int = BATCH
    ) -> Iterator[Batch]:
        """Yield the builds from one index to another.

        Parameters
        ----------
        start, stop : int
            Indices in the order of all builds; nothing before `start` is
            walked.
        size : int
            Builds in a batch; the last one may be shorter.

        Yields
        ------
        Batch
            Without those that break a limit, if the request has limits.
        """
        stop = self.total if stop is None else min(stop, self.total)
        if start >= stop:
            return
        out = self._fresh(min(size, stop - start))
        filled, at = 0, start
        for chosen, price, tenths, tail, skip in self._every(start):
            begin = skip
            while begin < len(tail.price) and at + filled < stop:
                check()
                room = min(len(out.price) - filled, len(tail.price) - begin, stop - at - filled)
                here, there = slice(filled, filled + room), slice(begin, begin + room)
                for role, column in out.options.items():
                    column[here] = chosen[role] if role in chosen else tail.options[role][there]
                np.add(tail.price[there], price, out=out.price[here])
                np.add(tail.tenths[there], tenths, out=out.tenths[here])
                filled += room
                begin += room
                if filled == len(out.price):
                    yield self._within(out, at)
                    at += filled
                    filled = 0
                    if at < stop:
                        out = self._fresh(min(size, stop - at))
            if at + filled >= stop:
                break

    def _fresh(self, size: int) -> Batch:
        return Batch(
            0,
            {role: np.empty(size, dtype=self._kind) for role in self.roles},
            np.empty(size, dtype=np.int64),
            np.empty(size, dtype=np.int64),
        )

    def _within(self, batch: Batch, start: int) -> Batch:
        """Return a batch without the builds that break a limit."""
        budget, most = self._budget, self._most_tenths
        if budget is None and most is None:
            return Batch(start, batch.options, batch.price, batch.tenths)
        keep = np.ones(len(batch), dtype=bool)
        if budget is not None:
            keep &= batch.price <= budget
        if most is not None:
            keep &= batch.tenths <= most
        at = np.flatnonzero(keep)
        return Batch(
            start,
            {role: column[at] for role, column in batch.options.items()},
            batch.price[at],
            batch.tenths[at],
            at.astype(np.int64),
        )
