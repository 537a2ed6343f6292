"""The rows of a plan's steps that some build has: every kind that can follow every cell.

Of the cells of a plan's messages most cannot be completed above, and many of the rest can be
completed in the same ways. Where one question looks at rows again and again, with bounds, with
fronts, it pays to have the few that matter, once a catalogue: together they are a circuit of
sums and alternatives [1], and cells with the same rows are one node of it, as in a reduced
decision diagram [2].

References
----------
.. [1] A. Darwiche, "A differential approach to inference in Bayesian networks", Journal of the
   ACM 50 (2003) 280-305 (reference checked).
.. [2] R. E. Bryant, "Graph-based algorithms for Boolean function manipulation", IEEE
   Transactions on Computers C-35 (1986) 677-691 (reference checked).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Ints
from fitgraph.records import dataclass
from fitgraph.solve.algebra import EXISTS, Algebra
from fitgraph.solve.arrays import distinct, distinct_below, in_batches, spread
from fitgraph.solve.messages import Demands, kind_values
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Case, Plan
from fitgraph.solve.rows import Rows
from fitgraph.stopping import check

Numbers = npt.NDArray[Any]

#: Bytes that a row takes, about.
ROW = 80.0

#: Rows that are compared in one go, and the largest code of what a row chooses and opens.
_AT_ONCE, _LARGEST = 1 << 19, 1 << 62

#: Rows that are looked at in one go, so few that all of it stays in a processor's cache.
_IN_CACHE = 1 << 16


@dataclass(frozen=True, slots=True, eq=False)
class Sorted:
    """Rows sorted by a number that each has.

    Parameters
    ----------
    at : ndarray of int
        The number of each row.
    order, starts, reached : ndarray of int
        The rows sorted by it, where each number begins among them, and which it is.
    """

    at: Ints
    order: Ints
    starts: Ints
    reached: Ints

    @staticmethod
    def of(at: Ints) -> Sorted:
        """Return rows sorted by a number of each."""
        order = np.argsort(at, kind="stable")
        starts = np.flatnonzero(np.diff(at[order], prepend=-1))
        return Sorted(at, order, starts, at[order][starts])

    def rows_at(self, numbers: Ints, size: int) -> tuple[Ints, Ints]:
        """Return the rows of some numbers below a size: whose, and which."""
        counts = np.zeros(size, dtype=np.intp)
        starts = np.zeros(size, dtype=np.intp)
        counts[self.reached] = np.diff(np.append(self.starts, len(self.order)))
        starts[self.reached] = self.starts
        owner, number = spread(counts[numbers])
        return owner, self.order[starts[numbers[owner]] + number]

    def gather(self, into: Numbers, values: Numbers, algebra: Algebra) -> None:
        """Add rows, as alternatives, to the places of their numbers, by request."""
        if len(self.starts):
            found = algebra.segments(values.take(self.order, axis=1), self.starts, 1)
            into[:, self.reached] = algebra.add(into[:, self.reached], found)


@dataclass(frozen=True, eq=False)
class Pieces:
    """Rows of a step, cut wherever a run of them begins or ends.

    Parameters
    ----------
    cuts : ndarray of int, shape (n_pieces + 1,)
        Where each piece begins, and where the last one ends; ascending.
    low, high : ndarray of int, shape (n_runs,)
        The first piece of each run, and the one after its last.
    """

    cuts: Ints
    low: Ints
    high: Ints

    @staticmethod
    def of(begin: Ints, end: Ints) -> Pieces:
        """Return the pieces of runs from some rows on to before others."""
        cuts = distinct(np.concatenate([np.zeros(1, dtype=np.intp), begin, end]))
        return Pieces(cuts, np.searchsorted(cuts, begin), np.searchsorted(cuts, end))

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.cuts) - 1

    @cached_property
    def alone(self) -> bool:
        """Return whether each run is a piece of its own, in their order."""
        every = np.arange(len(self.cuts) - 1)
        return np.array_equal(self.low, every) and np.array_equal(self.high, every + 1)

    @cached_property
    def batches(self) -> Sequence[tuple[slice, slice]]:
        """Return pieces that follow one another, and their rows: so many, or one piece's."""
        return [
            (slice(begin, end), slice(int(self.cuts[begin]), int(self.cuts[end])))
            for begin, end in in_batches(np.diff(self.cuts), _IN_CACHE)
        ]


@dataclass(frozen=True, eq=False)
class CircuitStep:
    """What can follow the cells of one step.

    Parameters
    ----------
    kind : ndarray of int
        The kind that each row chooses.
    of_kind : mapping of int to ndarray of int
        For each child that a row's kind alone decides, the node that each kind opens.
    opens : mapping of int to ndarray of int
        For each other child, the node that each row opens.
    begin, end : ndarray of int
        Runs of rows, node by node.
    first : ndarray of int or None
        The first run of each node; None where each has one, and they follow one another.
    nodes : int
        How many nodes there are: cells that are not followed by the same.
    """

    kind: Ints
    of_kind: Mapping[int, Ints]
    opens: Mapping[int, Ints]
    begin: Ints
    end: Ints
    first: Ints | None
    nodes: int

    @cached_property
    def pieces(self) -> Pieces:
        """Return its rows, cut where runs begin and end."""
        return Pieces.of(self.begin, self.end)

    @cached_property
    def opened(self) -> Mapping[int, Ints]:
        """Return for each child, in order, the node that each row opens."""
        found = {c: at.take(self.kind) for c, at in self.of_kind.items()} | dict(self.opens)
        return {child: found[child] for child in sorted(found)}

    def one_by_one(self) -> tuple[Ints, Ints]:
        """Return the rows node by node, whatever nodes share: whose each is, and which.

        Returns
        -------
        node, row : ndarray of int
            Ascending in both.
        """
        run, number = spread(self.end - self.begin)
        row = self.begin[run] + number
        if self.first is None:
            return run, row
        last = np.append(self.first[1:], len(self.begin)).astype(np.intp)
        node = spread(last - self.first)[0][run]
        order = np.lexsort((row, node))
        return node[order], row[order]

    def only(self, row: Ints, nodes: Bools, number: Mapping[int, Ints]) -> CircuitStep:
        """Return some of the rows of some of the nodes.

        Parameters
        ----------
        row : ndarray of int
            The rows, ascending: each of the nodes has one, and no other has any.
        nodes : ndarray of bool
            Which nodes stay.
        number : mapping of int to ndarray of int
            The new number of each node of each child.
        """
        begin, end = np.searchsorted(row, self.begin), np.searchsorted(row, self.end)
        run, first = np.flatnonzero(nodes), None
        if self.first is not None:
            node = np.repeat(np.arange(self.nodes), np.diff(np.append(self.first, len(self.begin))))
            run = np.flatnonzero(nodes[node] & (begin < end))
            first = np.flatnonzero(np.diff(node[run], prepend=-1))
        return CircuitStep(
            self.kind[row],
            {c: number[c][at] if len(row) else at for c, at in self.of_kind.items()},
            {c: number[c][at[row]] for c, at in self.opens.items()},
            begin[run],
            end[run],
            first,
            int(np.count_nonzero(nodes)),
        )


@dataclass(frozen=True, slots=True, eq=False)
class StepRows:
    """The rows of one step, by cell.

    Parameters
    ----------
    kind : Sorted
        The kind that each row chooses.
    cell : ndarray of int
        Its cell, among those that can be reached and told apart by their rows; ascending.
    starts : ndarray of int
        The first row of each cell; every cell has one.
    after : mapping of int to Sorted
        For each child, its cell for each row.
    """

    kind: Sorted
    cell: Ints
    starts: Ints
    after: Mapping[int, Sorted]

    @property
    def cells(self) -> int:
        """Return how many cells can be reached."""
        return len(self.starts)

    @property
    def runs(self) -> CircuitStep:
        """Return the same with each cell's rows as a run."""
        end = np.append(self.starts[1:], len(self.cell)).astype(np.intp)
        opens = {c: after.at for c, after in self.after.items()}
        return CircuitStep(
            self.kind.at, {}, opens, self.starts, end[: len(self.starts)], None, self.cells
        )


@dataclass(frozen=True, slots=True, eq=False)
class Support:
    """The rows of all steps of a plan.

    Values are over (requests, kinds), (requests, cells) or (requests, rows), a step each.

    Parameters
    ----------
    plan : Plan
        What they are of.
    rows : tuple of StepRows
        In the order of the plan's steps.
    cases : tuple of Case
        The plan's cases that have a build at all.
    """

    plan: Plan
    rows: tuple[StepRows, ...]
    cases: tuple[Case, ...]

    @property
    def steps(self) -> tuple[CircuitStep, ...]:
        """Return the rows as runs, a step each, as :class:`fitgraph.solve.circuit.Circuit` does."""
        return tuple(rows.runs for rows in self.rows)

    def own(self, values: Mapping[str, Numbers], algebra: Algebra) -> list[Numbers]:
        """Return what each kind of each step adds itself.

        Parameters
        ----------
        values : mapping of str to ndarray, shape (n_requests, n_classes)
            Of the base classes of each role.
        algebra : Algebra
            What is asked.
        """
        many = len(next(iter(values.values())))
        return [
            kind_values(step, values[step.variable], algebra)
            if step.is_role
            else np.full((many, step.kinds), algebra.one)
            for step in self.plan.steps
        ]

    def _opened(
        self,
        rows: StepRows,
        values: Numbers,
        below: Sequence[Numbers],
        algebra: Algebra,
        but: int = -1,
    ) -> Numbers:
        """Return values of rows together with what they open, but for one child."""
        for child, after in rows.after.items():
            if child != but:
                values = algebra.both(values, below[child].take(after.at, axis=1))
        return values

    def below(self, own: Sequence[Numbers], algebra: Algebra) -> list[Numbers]:
        """Return the value of each cell with all below it."""
        found: list[Numbers] = []
        for rows, of_kind in zip(self.rows, own, strict=True):
            values = of_kind.take(rows.kind.at, axis=1)
            values = self._opened(rows, values, found, algebra)
            found.append(algebra.segments(values, rows.starts, 1) if rows.cells else values)
        return found

    def totals(self, below: Sequence[Numbers], algebra: Algebra) -> Numbers:
        """Return the value of all builds, by request."""
        found = np.full(len(below[0]) if below else 0, algebra.none)
        for case in self.cases:
            found = algebra.add(found, self.beside(case, -1, below, algebra))
        return found

    def beside(self, case: Case, but: int, below: Sequence[Numbers], algebra: Algebra) -> Numbers:
        """Return what the roots of a case come to together, but for one."""
        found = np.full(len(below[0]), algebra.one)
        for root in case.roots:
            if root != but:
                found = algebra.both(found, below[root][:, 0])
        return found

    def outside(
        self, own: Sequence[Numbers], below: Sequence[Numbers], algebra: Algebra
    ) -> list[Numbers]:
        """Return the value of all that is around each cell."""
        many = len(below[0]) if below else 0
        found = [np.full((many, rows.cells), algebra.none) for rows in self.rows]
        for case in self.cases:
            for root in case.roots:
                rest = self.beside(case, root, below, algebra)
                found[root][:, 0] = algebra.add(found[root][:, 0], rest)
        for place in range(len(self.rows) - 1, -1, -1):
            rows = self.rows[place]
            if not rows.after:
                continue
            mine = algebra.both(
                found[place].take(rows.cell, axis=1), own[place].take(rows.kind.at, axis=1)
            )
            for child, after in rows.after.items():
                around = self._opened(rows, mine, below, algebra, but=child)
                after.gather(found[child], around, algebra)
        return found

    def through(
        self,
        place: int,
        outside: Sequence[Numbers],
        below: Sequence[Numbers],
        algebra: Algebra,
    ) -> Numbers:
        """Return the value of all builds through each row of a step, without its own kind's."""
        rows = self.rows[place]
        return self._opened(rows, outside[place].take(rows.cell, axis=1), below, algebra)

    def each(
        self, own: Sequence[Numbers], below: Sequence[Numbers], algebra: Algebra
    ) -> dict[str, Numbers]:
        """Return, for every base class of every role, the value of builds through one option.

        Returns
        -------
        dict of str to ndarray, shape (n_requests, n_classes)
            Whatever is said of the class itself.
        """
        many = len(own[0]) if own else 1
        found = {r: np.full((many, size), algebra.none) for r, size in self.plan.sizes.items()}
        outside = self.outside(own, below, algebra)
        for place, (step, rows) in enumerate(zip(self.plan.steps, self.rows, strict=True)):
            if step.is_role:
                kinds = np.full((many, step.kinds), algebra.none)
                rows.kind.gather(kinds, self.through(place, outside, below, algebra), algebra)
                table = found[step.variable]
                table[:, step.domain] = algebra.add(
                    table[:, step.domain], kinds.take(step.kind_of[step.domain], axis=1)
                )
        return found

    def follow(self, place: int, cells: Ints) -> tuple[Ints, Ints, dict[int, Ints]]:
        """Return what can follow some cells of a step: of which cell, which kind, what it opens.

        Parameters
        ----------
        place : int
            Which step.
        cells : ndarray of int
            Cells, numbered as in :class:`StepRows`; that of a root is zero.
        """
        rows = self.rows[place]
        owner, row = self.rows_of(place, cells)
        return owner, rows.kind.at[row], {c: after.at[row] for c, after in rows.after.items()}

    def rows_of(self, place: int, cells: Ints) -> tuple[Ints, Ints]:
        """Return the rows of some cells of a step: of which cell, and which."""
        rows = self.rows[place]
        ends = np.append(rows.starts, len(rows.cell))
        owner, number = spread((ends[1:] - ends[:-1])[cells])
        return owner, ends[cells[owner]] + number


def support_of(plan: Plan, ceiling: float) -> Support:
    """Return the rows of a plan.

    Raises
    ------
    TooWideError
        If they would take more bytes than the ceiling.
    """
    ones = {role: np.ones(size) for role, size in plan.sizes.items()}
    rows = Rows(Passes(plan, Demands.one(ones), EXISTS))
    reached: dict[int, list[Ints]] = {}
    cases = tuple(
        case for case in plan.cases if all(rows.passes.up[r].values.any() for r in case.roots)
    )
    for case in cases:
        for root in case.roots:
            reached.setdefault(root, []).append(np.zeros(1, dtype=np.intp))
    cells: dict[int, Ints] = {}
    raw: dict[int, tuple[Ints, Ints, dict[int, Ints]]] = {}
    total = 0.0
    none = np.zeros(0, dtype=np.intp)
    for place in range(len(plan.steps) - 1, -1, -1):
        check()
        step = plan.steps[place]
        mine = cells[place] = distinct_below(math.prod(step.shape), *reached.pop(place, []))
        # A pair of a cell and a kind is looked at in a byte or so; a row stays.
        owner, kind = none, none
        needed = total + float(len(mine)) * step.kinds
        if needed <= ceiling:
            owner, kind = rows.expand(place, mine)
            total += ROW * len(owner)
            needed = total
        if needed > ceiling:
            raise plan.too_wide(step, needed, ceiling)
        after = rows.after(place, mine[owner], kind)
        for child, at in after.items():
            reached.setdefault(child, []).append(
                distinct_below(math.prod(plan.steps[child].shape), at)
            )
        raw[place] = owner, kind, after
    found = []
    nodes: dict[int, Ints] = {}
    for place in range(len(plan.steps)):
        check()
        owner, kind, after = raw.pop(place)
        opened = {c: nodes[c][np.searchsorted(cells[c], at)] for c, at in after.items()}
        nodes[place], rows_of = nodes_of(owner, len(cells[place]), kind, opened)
        owner = nodes[place][owner[rows_of]]
        found.append(
            StepRows(
                Sorted.of(kind[rows_of]),
                owner,
                np.flatnonzero(np.diff(owner, prepend=-1)),
                {c: Sorted.of(at[rows_of]) for c, at in opened.items()},
            )
        )
    return Support(plan, tuple(found), cases)


def _mixed(values: npt.NDArray[np.int64]) -> npt.NDArray[np.uint64]:
    """Return numbers with their bits mixed, so that sums of different ones seldom are equal.

    References
    ----------
    .. [1] G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators",
       OOPSLA 2014, 453-472 (reference checked): the finalizer of SplitMix64 (constants checked
       2026-11-29, github.com/shino16/kactl and github.com/LucaCappelletti94/minhash-rs).
    """
    mixed = values.view(np.uint64) + np.uint64(0x9E3779B97F4A7C15)
    for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB), (31, 1)):
        mixed ^= mixed >> np.uint64(shift)
        mixed *= np.uint64(factor)
    return mixed


def nodes_of(owner: Ints, cells: int, kind: Ints, opened: Mapping[int, Ints]) -> tuple[Ints, Ints]:
    """Return the node of each cell, where cells with the same rows are one, and the rows to keep.

    Parameters
    ----------
    owner, kind : ndarray of int
        The cell and the kind of each row, both ascending.
    cells : int
        How many cells there are.
    opened : mapping of int to ndarray of int
        The node of each child for each row.
    """
    same, size = kind.astype(np.int64), int(kind.max(initial=0)) + 1
    for at in opened.values():
        wide = int(at.max(initial=0)) + 1
        if size * wide > _LARGEST:
            kept, same = np.unique(same, return_inverse=True)
            same, size = same.reshape(-1).astype(np.int64), len(kept)
        same *= wide
        same += at
        size *= wide
    counts = np.bincount(owner, minlength=cells)
    starts = np.cumsum(counts) - counts
    # Cells of the same hash are compared with the first of them, row by row.
    hashes = np.zeros(cells, dtype=np.uint64)
    for begin in range(0, len(same), _AT_ONCE):
        mine = owner[begin : begin + _AT_ONCE]
        firsts = np.flatnonzero(np.diff(mine, prepend=-1))
        mixed = _mixed(same[begin : begin + _AT_ONCE])
        hashes[mine[firsts]] += np.add.reduceat(mixed, firsts)
    _, first, of = np.unique(hashes, return_index=True, return_inverse=True)
    rep = first[of].astype(np.intp)
    longer = np.flatnonzero(counts != counts[rep])
    rep[longer] = longer
    for begin in range(0, len(same), _AT_ONCE):
        mine = owner[begin : begin + _AT_ONCE]
        number = np.arange(begin, begin + len(mine)) - starts[mine]
        differs = same[begin : begin + len(mine)] != same[starts[rep[mine]] + number]
        rep[mine[differs]] = mine[differs]
    kept, node = np.unique(rep, return_inverse=True)
    keep = np.zeros(cells, dtype=bool)
    keep[kept] = True
    return node.reshape(-1).astype(np.intp), np.flatnonzero(keep[owner])
