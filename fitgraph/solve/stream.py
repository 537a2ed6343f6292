"""All builds in one stable order, in batches of columns, from any index on.

The order is lexicographic along the junction tree: rows of cliques, then the
options of the variables counted there, parents before children. A walk in
Python goes down that order only as far as a block of builds fits in memory;
the block's tail is a table that is made once and used for every walk that
comes to the same state, so most of the work is copying columns.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.solve.arrays import members, spread
from fitgraph.solve.messages import as_integers, upward
from fitgraph.solve.query import Query

Ints = npt.NDArray[np.intp]

#: Builds in a tail table at most, and rows of tail tables kept at once.
TAIL, TAILS_KEPT = 1 << 17, 1 << 21

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


#: What is still open: variables with their class, and cliques with their group.
_Open = tuple[tuple[str, int], ...]


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
        self.tree = query.space.tree
        self.roles = tuple(query.space.options)
        lets = query.mask(certain=certain)
        weights = query.weights(lets)
        messages, values, largest = upward(self.tree, weights, certain=certain)
        if largest >= 2.0**53:
            messages, values, _ = upward(self.tree, as_integers(weights), certain=certain)
        self._messages = [[int(x) for x in m] for m in messages]
        self._values = values
        self.total = 1
        for root in self.tree.roots:
            self.total *= self._messages[root][0] if self._messages[root] else 0
        self._members = {
            v: members(query.space.class_of[v], lets[v], self.tree.sizes[v]) for v in self.roles
        }
        self._sizes = {
            v: np.diff(np.append(starts, len(ordered)))
            for v, (ordered, starts) in self._members.items()
        }
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

    def _after_row(self, at: int, row: int) -> _Open:
        """Return what a chosen row opens: its variables, then its children."""
        clique = self.tree.cliques[at]
        own = [
            (v, int(clique.rows[row, clique.variables.index(v)]))
            for v in clique.own
            if v in self._members
        ]
        below = [(str(c), int(self.tree.cliques[c].group_in_parent[row])) for c in clique.children]
        return (*own, *below)

    def _completions(self, left: _Open) -> int:
        product = 1
        for name, place in left:
            if name in self._sizes:
                product *= int(self._sizes[name][place])
            else:
                product *= self._messages[int(name)][place]
            if not product:
                break
        return product

    def _choices(self, left: _Open) -> Iterator[tuple[int, int, _Open]]:
        """Yield each way to take the next step: option or -1, completions, what is open then."""
        (name, place), rest = left[0], left[1:]
        if name in self._members:
            ordered, starts = self._members[name]
            each = self._completions(rest)
            for option in ordered[starts[place] : starts[place] + self._sizes[name][place]]:
                yield int(option), each, rest
            return
        at = int(name)
        clique = self.tree.cliques[at]
        after = self._completions(rest)
        first = int(clique.starts[place])
        ends = np.append(clique.starts[1:], len(clique.rows))
        values = self._values[at]
        for row in range(first, int(ends[place])):
            if values[row]:
                yield -1, int(values[row]) * after, (*self._after_row(at, row), *rest)

    # -- tails ---------------------------------------------------------

    def _tail(self, left: _Open) -> _Tail:
        tail = self._tails.get(left)
        if tail is not None:
            self._tails.move_to_end(left)
            return tail
        tail = self._expand(left)
        self._tails[left] = tail
        self._kept += len(tail.price)
        while self._kept > TAILS_KEPT and len(self._tails) > 1:
            _, old = self._tails.popitem(last=False)
            self._kept -= len(old.price)
        return tail

    def _expand(self, left: _Open) -> _Tail:
        """Return every completion of a state, in order, by arrays."""
        options: dict[str, npt.NDArray[np.unsignedinteger]] = {}
        price, tenths = np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
        # What is open for each partial build, the next step first.
        pending: list[tuple[str, Ints]] = [(n, np.array([p], dtype=np.intp)) for n, p in left]
        while pending:
            name, place = pending.pop(0)
            if name in self._members:
                ordered, starts = self._members[name]
                owner, number = spread(self._sizes[name][place])
                chosen = ordered[starts[place[owner]] + number]
                price = price[owner] + self._price[name][chosen]
                tenths = tenths[owner] + self._tenths[name][chosen]
                options = {v: o[owner] for v, o in options.items()}
                options[name] = chosen.astype(self._kind)
                pending = [(n, p[owner]) for n, p in pending]
                continue
            at = int(name)
            clique = self.tree.cliques[at]
            ends = np.append(clique.starts[1:], len(clique.rows))
            owner, number = spread((ends - clique.starts)[place])
            row = clique.starts[place[owner]] + number
            alive = np.flatnonzero(np.asarray(self._values[at][row] > 0, dtype=bool))
            owner, row = owner[alive], row[alive]
            price, tenths = price[owner], tenths[owner]
            options = {v: o[owner] for v, o in options.items()}
            own = [(v, clique.column(v)[row]) for v in clique.own if v in self._members]
            below = [(str(c), self.tree.cliques[c].group_in_parent[row]) for c in clique.children]
            pending = [*own, *below, *((n, p[owner]) for n, p in pending)]
        return _Tail(options, price, tenths)

    # -- the walk ------------------------------------------------------

    def _blocks(
        self, left: _Open, skip: int, chosen: dict[str, int], price: int, tenths: int
    ) -> Iterator[tuple[dict[str, int], int, int, _Tail, int]]:
        """Yield heads with their tails: options, sums, tail, and how many of it to skip."""
        if self._completions(left) <= TAIL:
            yield chosen, price, tenths, self._tail(left), skip
            return
        name = left[0][0]
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
        opening: _Open = tuple((str(r), 0) for r in self.tree.roots)
        out = self._fresh(min(size, stop - start))
        filled, at = 0, start
        for chosen, price, tenths, tail, skip in self._blocks(opening, start, {}, 0, 0):
            begin = skip
            while begin < len(tail.price) and at + filled < stop:
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
