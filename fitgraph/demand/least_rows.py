"""The least that rows come to: of each node of a step, for each context.

What a step asks of a row is looked up in tables, one for each child and one for the step's own
role. Most contexts leave few rows alive, each its own: these are looked at pair by pair, in one
go. Contexts that leave many are gathered by what they have in common.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.arrays import dense, in_batches, spread
from fitgraph.solve.support import CircuitStep

#: Pairs of a context and a row that are looked at in one go.
_AT_ONCE = 1 << 20

#: Pairs that are not worth sorting out, and the share of rows that a line may leave if it is.
_FEW, _CLEARLY = 1 << 17, 0.7

#: Rows that a context may leave to be looked at by itself, and rows of a step of which each
#: place's own are listed for that: what is listed takes as much room as the rows.
_LIGHT, _LISTED = 1 << 14, 1 << 22

#: Pieces of rows are numbered in this type.
_NARROW: Any = np.int32

#: Pairs of a context and a piece of the rows that are held at a time.
_CELLS = 1 << 22


@dataclass(frozen=True)
class Lookup:
    """A cost of pairs of a context and a row.

    Parameters
    ----------
    table : ndarray of float, shape (n_lines, n_places)
        Infinite where a row is not alive.
    which : ndarray of int, shape (n_contexts,)
        The line of each context.
    column : ndarray of int, shape (n_rows,) or (n_kinds,)
        The place of each row, or of each kind.
    kind : ndarray of int, shape (n_rows,), optional
        The kind of each row, where the places are those of kinds.
    """

    table: Floats
    which: Ints
    column: Ints
    kind: Ints | None = None

    def place(self, row: Ints) -> Ints:
        """Return the places of some rows."""
        return self.column[row if self.kind is None else self.kind[row]]

    @cached_property
    def alive(self) -> Bools:
        """Return which places of each line are alive."""
        return np.isfinite(self.table)

    @cached_property
    def places(self) -> tuple[Ints, Ints]:
        """Return the places that are alive, line after line, and where each line begins."""
        wide = self.table.shape[1]
        flat = np.flatnonzero(self.alive)
        start = np.searchsorted(flat, np.arange(len(self.table) + 1) * wide)
        return flat - np.repeat(np.arange(len(self.table)) * wide, np.diff(start)), start

    def rows_alive(self, rows_at: Ints) -> Ints:
        """Return how many rows each context leaves alive, of so many at each place."""
        place, start = self.places
        rows = np.append(0, np.cumsum(rows_at[place]))
        return np.diff(rows[start])[self.which]

    def at(self, contexts: Ints, rows: Ints) -> Floats:
        """Return what pairs of a context and a row cost."""
        line = self.which[contexts] * self.table.shape[1]
        return self.table.reshape(-1).take(line + self.place(rows))


def least_of_nodes(terms: Sequence[Lookup], lines: CircuitStep, count: int) -> Floats:
    """Return the least of each node's rows, for each context.

    Parameters
    ----------
    terms : sequence of Lookup
        What rows cost: of each child that a row opens, in order, of each that its kind alone
        decides, and of the step's own kinds where it has any.
    lines : CircuitStep
        The step.
    count : int
        How many contexts there are.

    Returns
    -------
    ndarray of float, shape (count, n_nodes)
        Infinite where no row is alive.
    """
    message = np.full((count, lines.nodes), np.inf)
    runs = runs_of(lines)
    of_rows = [t for t in terms if t.kind is None]
    of_kinds = [t for t in terms if t.kind is not None]
    widest = max([len(runs.cuts), *(len(t.column) for t in of_kinds)])
    size = max(1, _CELLS // widest)
    for begin in range(0, count, size):
        some = np.arange(begin, min(begin + size, count))
        mine = [*of_rows, _of_kinds(of_kinds, some, count)] if of_kinds else of_rows
        runs.least(_of_pieces(mine, lines, some), message[begin : begin + size])
    return message


def _of_pieces(terms: Sequence[Lookup], lines: CircuitStep, contexts: Ints) -> Floats:
    """Return the least of each piece of the rows, for contexts that follow one another."""
    runs, rows = runs_of(lines), len(lines.kind)
    if rows * len(contexts) <= _FEW and runs.apart:
        values = _values(terms, contexts, [t.column for t in terms], rows)
        return np.minimum.reduceat(values, runs.cuts, axis=1)
    pieces = np.full((len(contexts), len(runs.cuts)), np.inf)
    left = contexts
    if terms and rows * len(contexts) > _FEW and rows <= _LISTED:
        left = _one_by_one(terms, lines, contexts, pieces)
    for some, row in _together(terms, rows, left):
        _fill(terms, some, row, runs.piece_of(row), pieces, int(contexts[0]))
    return pieces


def _of_kinds(terms: Sequence[Lookup], contexts: Ints, count: int) -> Lookup:
    """Return what some contexts ask of kinds as one lookup by row."""
    kind = terms[0].kind
    assert kind is not None
    first, line = dense([t.which[contexts] for t in terms])
    lead = contexts[first]
    table, *more = (t.table[t.which[lead]].take(t.column, axis=1) for t in terms)
    for values in more:
        table += values
    which = np.zeros(count, dtype=np.intp)
    which[contexts] = line
    return Lookup(table, which, kind)


def _one_by_one(
    terms: Sequence[Lookup], lines: CircuitStep, contexts: Ints, pieces: Floats
) -> Ints:
    """Fill in the contexts that leave few rows alive, and return the others.

    Of a context's lines the one that leaves the fewest rows alive tells which are looked at.
    """
    runs = runs_of(lines)
    many = np.array([t.rows_alive(runs.rows_at(n, t))[contexts] for n, t in enumerate(terms)])
    fewest, least = np.argmin(many, axis=0), many.min(axis=0)
    flat, size = pieces.reshape(-1), pieces.shape[1]
    for n, term in enumerate(terms):
        mine = np.flatnonzero((fewest == n) & (least > 0) & (least <= _LIGHT))
        mine = mine[np.argsort(term.which[contexts[mine]], kind="stable")]
        others = sorted((k for k in range(len(terms)) if k != n), key=lambda k: many[k].sum())
        for begin, end in in_batches(least[mine], _AT_ONCE):
            rows_at, listed = runs.rows_at(n, term), runs.listed(n)
            context, row = _pairs(term, listed, rows_at, contexts[mine[begin:end]])
            told: dict[int, Floats] = {}
            for k in (n, *others):
                told[k] = terms[k].at(context, row)
                good = np.isfinite(told[k])
                if not good.all():
                    context, row = context[good], row[good]
                    told = {j: values[good] for j, values in told.items()}
            value = np.zeros(len(row))
            for k in range(len(terms)):  # always in this order, so that sums are the same
                value += told[k]
            np.minimum.at(flat, (context - contexts[0]) * size + runs.piece[row], value)
    return contexts[least > _LIGHT]


def _fill(
    terms: Sequence[Lookup], contexts: Ints, row: Ints, place: Ints, into: Floats, first: int = 0
) -> None:
    """Fill in the least of the rows that lead to each place, for contexts that all look at them.

    The places of the rows ascend; ``into`` has a line for each context from the first on.
    """
    if not len(row):
        return
    columns = [term.column.take(row).astype(np.intp, copy=False) for term in terms]
    starts = np.flatnonzero(np.diff(place, prepend=-1))
    step = max(1, _AT_ONCE // len(row))
    for some in (contexts[n : n + step] for n in range(0, len(contexts), step)):
        value = np.minimum.reduceat(_values(terms, some, columns, len(row)), starts, axis=1)
        into[np.ix_(some - first, place[starts])] = value


def _pairs(
    term: Lookup, listed: npt.NDArray[np.int32], rows_at: Ints, contexts: Ints
) -> tuple[Ints, Ints]:
    """Return contexts with each row that a term leaves them alive.

    The rows are listed place by place, so many of each.
    """
    used, line_of = np.unique(term.which[contexts], return_inverse=True)
    places, start = term.places
    of_line, number = spread(np.diff(start)[used])
    place = places[start[used[of_line]] + number]
    of_place, number = spread(rows_at[place])
    begin = np.cumsum(rows_at) - rows_at
    row = listed[begin[place[of_place]] + number]
    first = np.searchsorted(of_line[of_place], np.arange(len(used) + 1))
    owner, number = spread(np.diff(first)[line_of])
    return contexts[owner], row[first[line_of][owner] + number]


def least_of(terms: Sequence[Lookup], target: Ints, size: int, count: int) -> Floats:
    """Return the least of all rows that lead to each place, for each context.

    Parameters
    ----------
    terms : sequence of Lookup
        What rows cost.
    target : ndarray of int, shape (n_rows,)
        The place that each row leads to.
    size, count : int
        How many places and how many contexts there are.

    Returns
    -------
    ndarray of float, shape (count, size)
        Infinite where no row is alive.
    """
    found = np.full((count, size), np.inf)
    for contexts, row in _together(terms, len(target), np.arange(count)):
        row = row[np.argsort(target[row], kind="stable")]
        _fill(terms, contexts, row, target[row], found)
    return found


def _together(terms: Sequence[Lookup], rows: int, every: Ints) -> Iterator[tuple[Ints, Ints]]:
    """Yield some of the contexts, and the rows to look at with each: all that may be alive.

    Of a context's lines the one that leaves the fewest rows alive tells which; contexts that
    have this line in common go together. Among these rows the next line tells which, as long
    as it leaves clearly fewer.
    """
    waiting = [(every, np.arange(rows), tuple(terms))]
    while waiting:
        contexts, row, left = waiting.pop()
        if not left or float(len(row)) * len(contexts) <= _FEW:
            yield contexts, row
            continue
        columns = [term.column.take(row).astype(np.intp, copy=False) for term in left]
        alive = np.array(
            [
                t.rows_alive(np.bincount(c, minlength=t.table.shape[1]))[contexts]
                for t, c in zip(left, columns, strict=True)
            ]
        )
        fewest = np.argmin(alive, axis=0)
        whole = alive.min(axis=0) > _CLEARLY * len(row)
        if whole.any():
            yield contexts[whole], row
        for n, (term, column) in enumerate(zip(left, columns, strict=True)):
            mine = contexts[(fewest == n) & ~whole]
            order = mine[np.argsort(term.which[mine], kind="stable")]
            starts = np.flatnonzero(np.diff(term.which[order], prepend=-1))
            for some in np.split(order, starts[1:]):
                if len(some):
                    inner = row[term.alive[term.which[some[0]]].take(column)]
                    if len(inner):
                        waiting.append((some, inner, (*left[:n], *left[n + 1 :])))


def _values(terms: Sequence[Lookup], contexts: Ints, columns: Sequence[Ints], rows: int) -> Floats:
    """Return what rows come to, (contexts, rows)."""
    value = np.zeros((len(contexts), rows))
    for term, column in zip(terms, columns, strict=True):
        value += term.table[term.which[contexts]].take(column, axis=1)
    return value


class _Runs:
    """The runs of a step, for the least of each node.

    The list of rows is cut where a run begins or ends. What a run comes to is the least of some
    pieces in a row: of two blocks of 2**k pieces that cover it [1]_.

    Parameters
    ----------
    lines : CircuitStep
        The step.

    Attributes
    ----------
    cuts : ndarray of int
        The first row of each piece, ascending.

    References
    ----------
    .. [1] M. A. Bender, M. Farach-Colton, "The LCA problem revisited", LATIN 2000, LNCS 1776,
       88-94 (reference checked).
    """

    def __init__(self, lines: CircuitStep) -> None:
        self._columns, self._rows = (*lines.opens.values(), lines.kind), len(lines.kind)
        self._count_at: dict[int, Ints] = {}
        self._listed: dict[int, npt.NDArray[np.int32]] = {}
        self._of_level: list[tuple[Ints, Ints, Ints]] = []
        self.cuts = lines.pieces.cuts[:-1]
        if lines.first is None:  # they follow one another: each is a piece
            return
        some = np.flatnonzero(lines.begin < lines.end)
        low, high = lines.pieces.low[some], lines.pieces.high[some]
        node = np.searchsorted(lines.first, some, side="right") - 1
        self._starts = np.flatnonzero(np.diff(node, prepend=-1))
        self._node, self._nodes, self._many = node, node[self._starts], len(node)
        level = np.log2(np.maximum(high - low, 1)).astype(np.intp)
        for k in range(int(level.max(initial=-1)) + 1):
            run = np.flatnonzero(level == k)
            self._of_level.append((run, low[run], high[run] - (1 << k)))

    @cached_property
    def piece(self) -> Ints:
        """Return the piece of each row, in few bytes."""
        every: Ints = np.arange(len(self.cuts), dtype=_NARROW)
        return np.repeat(every, np.diff(self.cuts, append=self._rows))

    def rows_at(self, column: int, term: Lookup) -> Ints:
        """Return how many rows each place has, of what each row opens or of its kind."""
        if column not in self._count_at:
            size = term.table.shape[1]
            self._count_at[column] = np.bincount(self._columns[column], minlength=size)
        return self._count_at[column]

    def listed(self, column: int) -> npt.NDArray[np.int32]:
        """Return the rows place by place, of what each row opens or of its kind."""
        if column not in self._listed:
            self._listed[column] = np.argsort(self._columns[column], kind="stable").astype(np.int32)
        return self._listed[column]

    @cached_property
    def apart(self) -> bool:
        """Return whether there is a row in every piece."""
        return bool(len(self.cuts)) and bool((np.diff(self.cuts, append=self._rows) > 0).all())

    def piece_of(self, row: Ints) -> Ints:
        """Return the pieces of some rows."""
        if self._rows <= _LISTED:
            return self.piece.take(row).astype(np.intp)
        return np.searchsorted(self.cuts, row, side="right") - 1

    def least(self, pieces: Floats, message: Floats) -> None:
        """Fill in the least of each node, (contexts, nodes), from that of each piece."""
        if not self._of_level:
            message[:] = pieces
            return
        found = np.empty((len(pieces), self._many))
        for k, (run, low, high) in enumerate(self._of_level):
            if k:
                half = 1 << (k - 1)
                pieces = np.minimum(pieces[:, :-half], pieces[:, half:])
            if len(run):
                found[:, run] = np.minimum(pieces.take(low, axis=1), pieces.take(high, axis=1))
        message[:, self._nodes] = np.minimum.reduceat(found, self._starts, axis=1)

    def around(self, nodes: Floats) -> Floats:
        """Return the least of the nodes that have each piece, (contexts, pieces), from theirs."""
        if not self._of_level:
            return nodes
        found = np.zeros((len(nodes), 0))
        for k in range(len(self._of_level) - 1, -1, -1):
            run, low, high = self._of_level[k]
            wide = np.full((len(nodes), len(self.cuts) - (1 << k) + 1), np.inf)
            for half in (0, 1 << k):  # what a block twice as long comes to, each half does
                into = wide[:, half : half + found.shape[1]]
                np.minimum(into, found, out=into)
            for line, values in zip(wide, nodes[:, self._node[run]], strict=True):
                np.minimum.at(line, low, values)
                np.minimum.at(line, high, values)
            found = wide
        return found


#: The runs of each step, while it lives.
_runs: WeakKeyDictionary[CircuitStep, _Runs] = WeakKeyDictionary()


def runs_of(lines: CircuitStep) -> _Runs:
    """Return the runs of a step, and what is listed of its rows, worked out at the first call."""
    if lines not in _runs:
        _runs[lines] = _Runs(lines)
    return _runs[lines]


def least_row(terms: Sequence[Lookup], lines: CircuitStep, contexts: Ints, nodes: Ints) -> Ints:
    """Return for pairs of a context and a node the first row that comes to the least."""
    first = np.arange(lines.nodes) if lines.first is None else lines.first
    last = np.append(first[1:], len(lines.begin)).astype(np.intp)
    pair, of_pair = dense([contexts, nodes])
    contexts, nodes = contexts[pair], nodes[pair]
    found = np.empty(len(pair), dtype=np.intp)
    sizes = np.add.reduceat(lines.end - lines.begin, first)[nodes]
    for begin, end in in_batches(sizes, _AT_ONCE):
        owner, number = spread(last[nodes[begin:end]] - first[nodes[begin:end]])
        run = first[nodes[begin:end]][owner] + number
        of_run, number = spread(lines.end[run] - lines.begin[run])
        row, owner = lines.begin[run][of_run] + number, owner[of_run]
        value = np.zeros(len(row))
        for term in terms:
            value += term.at(contexts[begin:end][owner], row)
        # Every node has a row, and its rows follow one another, the first one first.
        many = sizes[begin:end]
        starts = np.cumsum(many) - many
        least = np.minimum.reduceat(value, starts)
        hits = np.flatnonzero(value == np.repeat(least, many))
        found[begin:end] = row[hits[np.searchsorted(hits, starts)]]
    return found[of_pair]
