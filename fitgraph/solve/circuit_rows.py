"""The rows of a plan that some build has, worked out from the last step to the first."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np

from fitgraph.array_types import Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve import leading, summing
from fitgraph.solve.algebra import EXISTS, none_of, one_of
from fitgraph.solve.arrays import SPREAD, distinct, distinct_below, spread
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.heap import give_back
from fitgraph.solve.messages import Demands, Message
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Case, Plan, Step
from fitgraph.solve.rows import Rows
from fitgraph.solve.support import CircuitStep, nodes_of
from fitgraph.stopping import check

#: Kinds and nodes of rows are numbered in this type where it holds them all.
_NARROW: Any = np.int32

#: Rows that are numbered in one go, and cells whose rows are worked out in one go.
_AT_ONCE, _CELLS = 1 << 16, 1 << 13

#: Numbers in a block: more bytes than the allocator keeps for itself.
_BLOCK = 1 << 24

#: Of so many pairs of a cell and a kind one is looked at, where parts are measured.
_REACHED = 20


def _slices(size: int) -> Iterator[slice]:
    """Yield pieces of so many rows that fit in one go."""
    for begin in range(0, size, _AT_ONCE):
        yield slice(begin, min(size, begin + _AT_ONCE))


def _narrow(values: Ints, size: int) -> Ints:
    """Return numbers below a size in few bytes, where these hold them."""
    return values.astype(_NARROW) if size <= np.iinfo(_NARROW).max else values


class _Strung:
    """Numbers below a size, put one after the other.

    They lie in blocks so large that each is given back to the system once it is copied.
    """

    def __init__(self, size: int) -> None:
        self.dtype = _narrow(np.zeros(0, dtype=np.intp), size).dtype
        self._blocks: list[Ints] = []
        self._filled = _BLOCK

    def add(self, values: Ints) -> None:
        """Add some at the end."""
        while len(values):
            if self._filled == _BLOCK:
                self._blocks.append(np.empty(_BLOCK, dtype=self.dtype))
                self._filled = 0
            room = min(len(values), _BLOCK - self._filled)
            self._blocks[-1][self._filled : self._filled + room] = values[:room]
            self._filled += room
            values = values[room:]

    def whole(self) -> Ints:
        """Return all of them, and let go of the blocks."""
        if not self._blocks:
            return np.zeros(0, dtype=self.dtype)
        self._blocks[-1] = self._blocks[-1][: self._filled]
        found = np.concatenate(self._blocks)
        self._blocks.clear()
        return found


@dataclass(slots=True)
class _Raw:
    """Rows of a step before nodes are numbered: ``owner`` of each run is one of its cells."""

    cells: Ints
    kind: Ints
    of_kind: dict[int, Ints]
    after: dict[int, Ints]
    owner: Ints
    begin: Ints
    end: Ints
    runs: bool

    @property
    def bytes(self) -> float:
        """Return how many bytes its rows and runs take."""
        held = (self.kind, *self.after.values(), self.owner, self.begin, self.end)
        return float(sum(a.nbytes for a in held))


def _listed(rows: Rows, place: int, cells: Ints) -> _Raw:
    """Return the rows of a step, cell by cell."""
    kinds, opened = _strung(rows, place)
    counts = [np.zeros(0, dtype=np.intp)]
    for begin in range(0, len(cells), _CELLS):
        check()
        some = cells[begin : begin + _CELLS]
        owner, kind = rows.expand(place, some)
        counts.append(np.bincount(owner, minlength=len(some)))
        kinds.add(kind)
        for child, cell in rows.after(place, some[owner], kind, of_kinds=False).items():
            opened[child].add(cell)
    of_cell = np.concatenate(counts).astype(np.intp)
    end = np.cumsum(of_cell)
    at, end = (_narrow(n, int(of_cell.sum())) for n in (end - of_cell, end))
    after = {c: opened[c].whole() for c in opened}
    every = _narrow(np.arange(len(cells), dtype=np.intp), len(cells))
    return _Raw(cells, kinds.whole(), rows.of_kinds(place), after, every, at, end, runs=False)


def _strung(rows: Rows, place: int) -> tuple[_Strung, dict[int, _Strung]]:
    """Return what holds the kinds of a step's rows, and the cells that they open."""
    steps = rows.plan.steps
    decided = rows.of_kinds(place)
    opened = {
        c: _Strung(math.prod(steps[c].shape)) for c in rows.children(place) if c not in decided
    }
    return _Strung(steps[place].kinds), opened


def _in_runs(rows: Rows, place: int, cells: Ints) -> _Raw:
    """Return the rows of a step of sorted tuples: a sorted list for outer cells that are alike."""
    step = rows.plan.steps[place]
    summed = summing.summed_of(step)
    stride = math.prod(step.shape[summed.sum + 1 :])
    where = np.unravel_index(cells, step.shape)
    bases = distinct(cells - where[summed.sum] * stride)
    at_base = np.unravel_index(bases, step.shape)
    outer = at_base[summed.outer]
    others = np.zeros(len(bases), dtype=np.intp)
    for axis, size in enumerate(step.shape):
        if axis not in (summed.outer, summed.sum):
            others = others * size + at_base[axis]
    kinds, opened = _strung(rows, place)
    none = np.zeros(0, dtype=np.intp)
    owners, begins, ends = [none], [none], [none]
    once = [part for part in step.parts if not part.axes]
    every = rows.possible(once, (), np.arange(step.kinds, dtype=np.intp))
    asked_at = [p for p in step.parts if p.axes and not summing.tells_kinds(step, p)]
    length = 0
    for same, mine in summing.groups(step, every, distinct(outer)):
        inside = np.flatnonzero(np.isin(outer, same))
        for other in distinct(others[inside]):
            here = inside[others[inside] == other]
            at = [int(along[here[0]]) for along in at_base]
            kind = rows.possible(asked_at, at, mine)
            tuples = summed.kinds[kind]
            cover = np.zeros(len(kind) + 1, dtype=np.intp)
            mine_of: list[tuple[Ints, Ints, Ints]] = []
            for base in here.tolist():
                begin, to = summed.along(int(outer[base]), tuples)
                asked = bases[base] + to * stride
                owner = np.searchsorted(cells, asked)
                good = cells[np.minimum(owner, len(cells) - 1)] == asked
                end = np.append(begin[1:], len(kind))[good]
                mine_of.append((owner[good], begin[good], end))
                np.add.at(cover, begin[good], 1)
                np.subtract.at(cover, end, 1)
            # Rows that no cell has are left out.
            kept = np.cumsum(cover)[:-1] > 0
            row = np.append(0, np.cumsum(kept)).astype(np.intp) + length
            for owner, begin, end in mine_of:
                owners.append(owner)
                begins.append(row[begin])
                ends.append(row[end])
            kind = kind[kept]
            kinds.add(kind)
            base = bases[here[:1]]  # the same for all of them
            for child, cell in rows.after(place, base, kind, of_kinds=False).items():
                opened[child].add(cell)
            length += len(kind)
    owner, begin, end = np.concatenate(owners), np.concatenate(begins), np.concatenate(ends)
    order = np.lexsort((begin, owner))
    return _Raw(
        cells,
        kinds.whole(),
        rows.of_kinds(place),
        {c: opened[c].whole() for c in opened},
        owner[order],
        begin[order],
        end[order],
        runs=True,
    )


@dataclass(slots=True)
class _Led:
    """What follows cells of the step of the role that goes first: kinds, cell by cell."""

    cells: Ints
    ends: Ints
    kind: Ints

    def rows(self, cells: Ints) -> _Raw:
        """Return the rows of some of the cells; the role's sums are worth one, and left out."""
        at, kind = np.searchsorted(self.cells, cells), self.kind
        many = np.diff(self.ends, prepend=0)[at]
        if len(cells) < len(self.cells):
            owner, number = spread(many)
            kind = kind[(self.ends[at] - many)[owner] + number]
        end, every = np.cumsum(many), np.arange(len(cells), dtype=np.intp)
        return _Raw(cells, kind, {}, {}, every, end - many, end, runs=False)


def _steps_down(
    passes: Passes, rows_of: Callable[[int, Ints], _Raw | None]
) -> Iterator[tuple[int, Ints, _Raw | None]]:
    """Yield the steps from the last to the first, the cells that builds reach, and their rows.

    ``rows_of`` makes the rows of a step; where it makes none, nothing is opened.
    """
    plan = passes.plan
    reached: dict[int, list[Ints]] = {}
    for case in _open(passes):
        for root in case.roots:
            reached.setdefault(root, []).append(np.zeros(1, dtype=np.intp))
    for place in range(len(plan.steps) - 1, -1, -1):
        check()
        cells = distinct_below(math.prod(plan.steps[place].shape), *reached.pop(place, []))
        mine = rows_of(place, cells)
        if mine is not None and mine.of_kind:
            kinds = distinct_below(plan.steps[place].kinds, mine.kind)
            for child, at in mine.of_kind.items():
                reached.setdefault(child, []).append(at[kinds])
        if mine is not None:
            for child, at in mine.after.items():
                opened = distinct_below(math.prod(plan.steps[child].shape), at)
                reached.setdefault(child, []).append(opened)
        yield place, cells, mine


def _open(passes: Passes) -> tuple[Case, ...]:
    """Return the cases that have a build."""
    return tuple(c for c in passes.plan.cases if all(passes.up[r].values.any() for r in c.roots))


def _led(plan: Plan, demands: Demands, ceiling: float) -> dict[int, _Led]:
    """Return what follows the cells of the role that goes first, those that matter.

    What the rest of a build reaches where this role would let everything through is little of
    all cells, and no other is looked at.

    Raises
    ------
    TooWideError
        If it would take more bytes than the ceiling.
    """
    every = {
        place: Message(one_of(EXISTS, 1, *step.shape), np.zeros(1, dtype=np.intp))
        for place, step in enumerate(plan.steps)
        if step.variable == plan.leading
    }
    if not every:
        return {}
    passes = Passes(plan, demands, EXISTS, known=every)
    rows = Rows(passes)
    found, held = {}, 0.0

    def rows_of(place: int, cells: Ints) -> _Raw | None:
        nonlocal held
        if place in every:
            return None
        mine = _rows_of(rows, place, cells, held, ceiling)
        held += mine.bytes
        return mine

    for place, cells, mine in _steps_down(passes, rows_of):
        if mine is not None or not len(cells):
            continue
        step, kinds = plan.steps[place], _Strung(plan.steps[place].kinds)
        many = np.zeros(len(cells), dtype=np.intp)
        for cell, kind in leading.pairs(passes, step, cells):
            kinds.add(kind)
            held += float(len(kind)) * kinds.dtype.itemsize
            if held > ceiling:
                raise plan.too_wide(step, held, ceiling)
            first = np.flatnonzero(np.diff(cell, prepend=-1))
            many[np.searchsorted(cells, cell[first])] = np.diff(first, append=len(cell))
        some = np.flatnonzero(many)
        found[place] = _Led(cells[some], np.cumsum(many[some]), kinds.whole())
    return found


def _message(step: Step, led: _Led) -> Message:
    """Return which cells of the leading role's step something follows."""
    found = none_of(EXISTS, 1, math.prod(step.shape))
    found[0, led.cells] = EXISTS.one
    return Message(found.reshape(1, *step.shape), np.zeros(1, dtype=np.intp))


def _rows_of(rows: Rows, place: int, cells: Ints, held: float, ceiling: float) -> _Raw:
    """Return the rows of a step that is not the leading role's, beside bytes that are held."""
    step = rows.plan.steps[place]
    # A byte for each pair of a cell and a kind that is looked at one by one; a row stays.
    looked = float(len(cells)) * step.kinds if rows.plan.one_by_one(step) else 0.0
    if held + looked > ceiling:
        raise rows.plan.too_wide(step, held + looked, ceiling)
    made = _listed(rows, place, cells) if step.summed is None else _in_runs(rows, place, cells)
    if held + made.bytes > ceiling:
        raise rows.plan.too_wide(step, held + made.bytes, ceiling)
    return made


def circuit_of(plan: Plan, whole: Mapping[str, Floats], ceiling: float) -> Circuit:
    """Return the rows of a plan, as runs.

    Parameters
    ----------
    plan : Plan
        The plan.
    whole : mapping of str to ndarray of float
        How many options each base class of each role has: no request lets in more.
    ceiling : float
        Bytes that the rows may take.

    Raises
    ------
    TooWideError
        If they would take more.
    """
    for step in plan.steps:  # a pass would take long, and what it is for could not be held
        if plan.one_by_one(step) and step.work / _REACHED > ceiling:
            raise plan.too_wide(step, step.work / _REACHED, ceiling)
    raw, cases = _raw(plan, whole, ceiling)  # passes hold much, and what follows needs room
    give_back()
    made = Circuit(plan, tuple(_numbered(raw, plan)), cases, dict(whole))
    give_back()
    return made


def _raw(
    plan: Plan, whole: Mapping[str, Floats], ceiling: float
) -> tuple[dict[int, _Raw], tuple[Case, ...]]:
    """Return the rows of every step, and the cases that have a build."""
    demands = Demands.one({r: (w > 0).astype(EXISTS.dtype) for r, w in whole.items()})
    led = _led(plan, demands, ceiling)
    known = {place: _message(plan.steps[place], mine) for place, mine in led.items()}
    passes = Passes(plan, demands, EXISTS, known=known)
    walked, held = Rows(passes), 0.0

    def rows_of(place: int, cells: Ints) -> _Raw:
        nonlocal held
        if place in led:
            mine = led[place].rows(cells)
        else:
            mine = _rows_of(walked, place, cells, held, ceiling)
        held += mine.bytes
        if held > ceiling:
            raise plan.too_wide(plan.steps[place], held, ceiling)
        return mine

    raw = {place: mine for place, _, mine in _steps_down(passes, rows_of) if mine is not None}
    return raw, _open(passes)


def _nodes_at(cells: Ints, node_of: Ints, at: Ints, size: int) -> Ints:
    """Return the node of each cell, of so many there may be, that some rows open."""
    found = np.empty(len(at), dtype=node_of.dtype)
    dense = size <= SPREAD * len(at)
    if dense:
        by_cell = np.zeros(size, dtype=node_of.dtype)
        by_cell[cells] = node_of
    for rows in _slices(len(at)):
        some = at[rows]
        found[rows] = by_cell[some] if dense else node_of[np.searchsorted(cells, some)]
    return found


def _numbered(raw: dict[int, _Raw], plan: Plan) -> Iterator[CircuitStep]:
    """Yield the steps, with cells that are followed by the same as one node."""
    #: The cells of each step with the node of each, as long as a step is left that asks for them.
    nodes: dict[int, tuple[Ints, Ints]] = {}
    last = {c: place for place in sorted(raw) for c in (*raw[place].after, *raw[place].of_kind)}
    for place in range(len(raw)):
        mine = raw.pop(place)
        opens = {
            c: _nodes_at(*nodes[c], mine.after.pop(c), math.prod(plan.steps[c].shape))
            for c in tuple(mine.after)
        }
        of_kind = {}
        for c, at in mine.of_kind.items():
            kinds = distinct_below(plan.steps[place].kinds, mine.kind)
            size = math.prod(plan.steps[c].shape)
            of_kind[c] = np.zeros(len(at), dtype=np.intp)
            of_kind[c][kinds] = _nodes_at(*nodes[c], at[kinds], size)
        for child in {*opens, *of_kind}:
            if last[child] == place:
                del nodes[child]
        many = len(mine.cells)
        if mine.runs:
            node, kept = nodes_of(mine.owner, many, mine.begin, {-1: mine.end})
            nodes[place] = mine.cells, _narrow(node, many)
            owner = node[mine.owner[kept]]
            first = np.flatnonzero(np.diff(owner, prepend=-1))
            begin, end = mine.begin[kept], mine.end[kept]
            yield CircuitStep(mine.kind, of_kind, opens, begin, end, first, len(first))
            continue
        owner = np.repeat(mine.owner, mine.end - mine.begin)
        kind = _narrow(mine.kind, plan.steps[place].kinds)
        node, kept = nodes_of(owner, many, kind, opens)
        nodes[place] = mine.cells, _narrow(node, many)
        begin = np.flatnonzero(np.diff(node[owner[kept]], prepend=-1))
        yield CircuitStep(
            kind[kept],
            of_kind,
            {c: at[kept] for c, at in opens.items()},
            begin,
            np.append(begin[1:], len(kept)).astype(np.intp) if len(begin) else begin,
            None,
            len(begin),
        )
