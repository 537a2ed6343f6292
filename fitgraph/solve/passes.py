"""One pass over a plan, up and down, over any algebra and for many requests at once.

A request reaches the plan as a value for each class of each role: how many options it lets in,
or what the cheapest of them costs. Requests that say the same of all roles below a step share
its message, so a message has a row for each distinct demand.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Ints
from fitgraph.records import dataclass
from fitgraph.solve import leading, summing
from fitgraph.solve.algebra import Algebra, none_of, one_of
from fitgraph.solve.arrays import distinct
from fitgraph.solve.plan import SLICE, Case, Part, Plan, Step
from fitgraph.stopping import check

Numbers = npt.NDArray[Any]

#: Cells along some axes of a separator; all along the others.
_Block = Mapping[int, Ints]
_ALL = slice(None)

#: How many times fewer cells are wanted than a first axis would leave, to pick them one by one.
_SPARSE = 4.0


@dataclass(frozen=True, slots=True)
class Demands:
    """What some requests make of each role.

    Parameters
    ----------
    values : mapping of str to ndarray, shape (n_demands, n_classes)
        For each role, the distinct demands on it: a value for each of its base classes.
    of : mapping of str to ndarray of int, shape (n_requests,)
        Which of them each request has.
    """

    values: Mapping[str, Numbers]
    of: Mapping[str, Ints]

    @staticmethod
    def one(values: Mapping[str, Numbers]) -> Demands:
        """Return the demands of a single request."""
        zero = np.zeros(1, dtype=np.intp)
        return Demands({r: v[None, :] for r, v in values.items()}, dict.fromkeys(values, zero))

    def part(self, start: int, stop: int) -> Demands:
        """Return the demands of a range of requests."""
        return Demands(self.values, {r: ids[start:stop] for r, ids in self.of.items()})

    @property
    def count(self) -> int:
        """Return the number of requests."""
        return len(next(iter(self.of.values())))


@dataclass(frozen=True, slots=True)
class Message:
    """What a step tells: values over its separator, a row for each distinct demand below.

    Parameters
    ----------
    values : ndarray, shape (n_distinct, *step.shape)
        In the algebra of the pass; of no cell where the message is only read.
    row_of : ndarray of int, shape (n_requests,)
        The row of each request.
    most : float
        At least the largest of them, where they are only read.
    """

    values: Numbers
    row_of: Ints
    most: float | None = None

    @property
    def largest(self) -> float:
        """Return a number that none of the values exceeds."""
        if self.most is not None:
            return self.most
        return float(self.values.max(initial=0.0))

    def flat(self) -> Numbers:
        """Return the values of each request over the cells, numbered through."""
        flat = self.values.reshape(len(self.values), -1)
        return flat if len(flat) == len(self.row_of) else flat[self.row_of]


class Passes:
    """Messages of some requests along a plan.

    Parameters
    ----------
    plan : Plan
        What is summed up.
    demands : Demands
        Of all requests.
    algebra : Algebra
        What is asked.
    narrow : bool
        Whether cells that no request lets in are left out; not for :meth:`each`, which
        judges them as well.
    known : mapping of int to Message, optional
        Messages that need not be worked out.
    whole : bool
        Whether every message is held cell by cell. Otherwise the wide ones of running sums
        (:attr:`Step.read`) are not held at all: each look at one goes through to what the sum's
        value opens.
    """

    def __init__(
        self,
        plan: Plan,
        demands: Demands,
        algebra: Algebra,
        *,
        narrow: bool = True,
        known: Mapping[int, Message] | None = None,
        whole: bool = False,
    ) -> None:
        self.plan, self.demands, self.algebra, self.narrow = plan, demands, algebra, narrow
        if whole:
            plan.refuse(plan.bytes_whole)
        self.up: list[Message] = []
        #: The steps whose messages are only read.
        self.reads = frozenset(n for n, step in enumerate(plan.steps) if step.read and not whole)
        self._cells: dict[tuple[str, int], Ints | None] = {}
        known = known or {}
        for place, step in enumerate(plan.steps):
            check()
            if place in self.reads:
                self.up.append(self._read_only(step))
            else:
                self.up.append(known[place] if place in known else self._upward(step))

    # -- messages that are only read -------------------------------------

    def _read_only(self, step: Step) -> Message:
        most = 1.0
        for child in step.children:
            most *= self.up[child].largest
        row_of = np.zeros(self.demands.count, dtype=np.intp)
        return Message(np.zeros((1, 0), dtype=self.algebra.dtype), row_of, most)

    def read(self, place: int, some: Ints, index: Sequence[Ints]) -> Numbers:
        """Return a message at some cells.

        Parameters
        ----------
        place : int
            Whose message.
        some : ndarray of int
            Requests.
        index : sequence of ndarray of int
            For each axis of the separator the places, to be broadcast against each other.

        Returns
        -------
        ndarray, shape (n_requests or 1, *broadcast shape)
            One row where all of the requests have the same.
        """
        if place not in self.reads:
            message = self.up[place]
            rows = message.row_of[some] if len(message.values) > 1 else np.zeros(1, dtype=np.intp)
            if len(rows) == 1:
                return _picked(message.values[rows[0]], index)[None]
            deep = max((i.ndim for i in index), default=0)
            return np.asarray(message.values[(rows.reshape(-1, *(1,) * deep), *index)])
        step, algebra = self.plan.steps[place], self.algebra
        found: Numbers | None = None
        for part, at in zip(step.parts, self._inside(step, index), strict=True):
            if part.child >= 0:
                values = self.read(part.child, some, at)
            else:
                assert part.table is not None
                values = algebra.lift(part.table[tuple(at)])[None]
            found = values if found is None else algebra.both(*_beside(found, values))
        assert found is not None
        return found

    @staticmethod
    def _inside(step: Step, index: Sequence[Ints]) -> Iterator[list[Ints]]:
        """Yield where in each part of a running sum's step some cells of its separator are."""
        assert step.decided is not None
        a, b, kinds = step.decided
        kind = kinds[index[a], index[b]]
        for part in step.parts:
            at = [
                index[axis] if cells is None else cells[index[axis]]
                for axis, cells in zip(part.axes, part.cells, strict=True)
            ]
            own = kind if part.kind is None else part.kind[kind]
            at.insert(part.at if part.child >= 0 else 0, own)
            yield at

    def at(self, place: int, cells: Ints) -> Numbers:
        """Return a message at cells of its separator, numbered through, by request."""
        if place not in self.reads:
            message = self.up[place]
            held = message.values.reshape(len(message.values), -1)[:, cells]
            return held if len(held) == len(message.row_of) else held[message.row_of]
        every = np.arange(self.demands.count, dtype=np.intp)
        found = self.read(place, every, np.unravel_index(cells, self.plan.steps[place].shape))
        return _spread_to(found, (self.demands.count, *found.shape[1:]))

    def held(self, place: int) -> frozenset[int]:
        """Return the steps whose messages a look at one goes through to: itself, if it is held."""
        if place not in self.reads:
            return frozenset({place})
        return frozenset[int]().union(*(self.held(c) for c in self.plan.steps[place].children))

    def give(
        self,
        place: int,
        some: Ints,
        index: Sequence[Ints],
        values: Numbers,
        into: Mapping[int, Numbers],
    ) -> None:
        """Add what comes from above some cells of a message that is only read to those behind it.

        Parameters
        ----------
        place, some, index
            As in :meth:`read`.
        values : ndarray, shape (n_requests, *broadcast shape)
            What comes from above.
        into : mapping of int to ndarray
            For each of the steps behind it, what comes from above its cells.
        """
        if place not in self.reads:
            whole = into[place]
            shape = np.broadcast_shapes(*(i.shape for i in index))
            values = np.broadcast_to(values, (len(values), *shape)).reshape(len(values), -1)
            flat = np.ravel_multi_index(
                tuple(np.broadcast_to(i, shape).reshape(-1) for i in index), whole.shape[1:]
            )
            values = np.broadcast_to(values, (len(whole), values.shape[1]))
            self.algebra.scatter(whole.reshape(len(whole), -1), flat, values)
            return
        step, algebra = self.plan.steps[place], self.algebra
        inside = list(self._inside(step, index))
        for n, part in enumerate(step.parts):
            if part.child < 0:
                continue
            mine = values
            for m, other in enumerate(step.parts):
                if m == n:
                    continue
                if other.child >= 0:
                    beside = self.read(other.child, some, inside[m])
                else:
                    assert other.table is not None
                    beside = algebra.lift(other.table[tuple(inside[m])])[None]
                mine = algebra.both(*_beside(mine, beside))
            self.give(part.child, some, inside[n], mine, into)

    # -- up ------------------------------------------------------------

    def _distinct(self, roles: frozenset[str]) -> tuple[Ints, Ints]:
        """Return one request for each distinct demand on some roles, and each one's demand."""
        many = self.demands.count
        if many == 1 or not roles:  # of no role: alike, but not in every algebra
            every = np.arange(many, dtype=np.intp)
            return every, every
        key = np.zeros(many, dtype=np.int64)
        for role in sorted(roles):
            if len(self.demands.values[role]) == 1:
                continue
            key = key * len(self.demands.values[role]) + self.demands.of[role]
            key = np.unique(key, return_inverse=True)[1].astype(np.int64)
        _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
        return first.astype(np.intp), inverse.reshape(-1).astype(np.intp)

    def weights(self, step: Step, some: Ints) -> Numbers | None:
        """Return the value of each kind of a step's variable, for some requests."""
        if step.decided is not None:
            return None
        if not step.is_role:
            return one_of(self.algebra, len(some), step.kinds)
        demands = self.demands.values[step.variable][self.demands.of[step.variable][some]]
        demands = demands.astype(self.algebra.dtype, copy=False)
        return kind_values(step, demands, self.algebra)

    def _alive(self, step: Step) -> dict[int, Ints]:
        """Return, for axes of a separator along which some cells cannot be, those that can."""
        found = {}
        for axis, (variable, cell_of) in enumerate(zip(step.separator, step.cell_of, strict=True)):
            key = (variable, id(cell_of))
            if key not in self._cells:
                self._cells[key] = self._alive_cells(variable, cell_of, step.shape[axis])
            cells = self._cells[key]
            if cells is not None:
                found[axis] = cells
        return found

    def _alive_cells(self, variable: str, cell_of: Ints, size: int) -> Ints | None:
        demands = self.demands.values.get(variable)
        if demands is None:  # a running sum
            return None
        good = (demands != self.algebra.none).any(axis=0)
        if good.all():
            return None
        cells = np.zeros(size, dtype=bool)
        cells[cell_of[good]] = True
        return None if cells.all() else np.flatnonzero(cells)

    def _upward(self, step: Step) -> Message:
        some, row_of = self._distinct(step.below)
        if step.summed is not None:
            return Message(self._summed(step, some), row_of)
        if step.variable == self.plan.leading and len(some) == 1:
            return Message(self._listed(step), row_of)
        weights = self.weights(step, some)
        alive = None
        if weights is not None:
            good = (weights != self.algebra.none).any(axis=0)
            if not good.all():
                alive = np.flatnonzero(good)
                weights = weights[:, alive]
        if not step.groups:
            assert weights is not None
            return Message(self.algebra.fold(weights, 1), row_of)
        if alive is not None and not len(alive):
            return Message(none_of(self.algebra, len(some), *step.shape), row_of)
        work = _Work(self, step, some, alive)
        cells = self._alive(step) if self.narrow else {}
        shape = (len(some), *step.shape)
        if not step.bridges and not cells and len(blocks := list(work.blocks(cells))) == 1:
            values = work.message(weights, blocks[0])
            return Message(np.ascontiguousarray(_spread_to(values, shape)), row_of)
        out = none_of(self.algebra, *shape)
        for mine, own, block in work.pieces(weights, cells):
            check()
            out[_index(step, block)] = mine.message(own, block)
        return Message(out, row_of)

    def _listed(self, step: Step) -> Numbers:
        """Return the message of the role that goes first, for one request."""
        found = none_of(self.algebra, 1, math.prod(step.shape))
        for cell, _, value in leading.pairs(self, step):
            self.algebra.scatter(found, cell, value[None])
        return found.reshape(1, *step.shape)

    def _tuples(self, step: Step, *, narrow: bool) -> tuple[Ints, Ints]:
        """Return the cells of the outer variable and the kinds of sorted tuples that count."""
        outer = summing.summed_of(step).outer
        every = np.arange(step.shape[outer], dtype=np.intp)
        cells = self._alive(step).get(outer, every) if narrow else every
        messages = {c: self.up[c].values for c in step.children if c not in self.reads}
        kinds = np.arange(step.kinds, dtype=np.intp)
        return cells, summing.dead(step, kinds, messages, self.algebra)

    def _summed(self, step: Step, some: Ints) -> Numbers:
        """Return the message of a step of sorted tuples, for some requests."""
        work = _Work(self, step, some, None)
        outer = summing.summed_of(step).outer
        axes, sizes = self._others(step)
        # What no cell of the outer variable changes is multiplied out once.
        still = [n for n, part in enumerate(step.parts) if outer not in part.axes]
        moving = [
            n
            for n, part in enumerate(step.parts)
            if outer in part.axes and not summing.tells_kinds(step, part)
        ]
        fixed = work.product(still, axes, None, {outer: np.zeros(1, dtype=np.intp)})

        taken: tuple[Ints, Numbers] | None = None

        def product(kinds: Ints, cell: int) -> Numbers:
            nonlocal taken
            if taken is None or taken[0] is not kinds:
                taken = kinds, fixed.take(kinds, axis=1)
            values = taken[1]
            if moving:
                block = {outer: np.array([cell], dtype=np.intp)}
                values = self.algebra.both(values, work.product(moving, axes, kinds, block))
            return _spread_to(values, (len(values), len(kinds), *sizes)).reshape(
                len(values), len(kinds), -1
            )

        cells, kinds = self._tuples(step, narrow=self.narrow)
        found = summing.message(step, self.algebra, len(some), cells, kinds, product)
        return np.ascontiguousarray(summing.laid_out(step, found))

    @staticmethod
    def _others(step: Step) -> tuple[tuple[int, ...], list[int]]:
        """Return the axes of a step of sorted tuples but the sum, and how many cells one block has.

        A block has one cell of the outer variable.
        """
        summed = summing.summed_of(step)
        axes = tuple(a for a in range(len(step.shape)) if a != summed.sum)
        return axes, [1 if a == summed.outer else step.shape[a] for a in axes]

    def _give_tuples(self, step: Step, above: Numbers, into: Mapping[int, Numbers]) -> None:
        """Add what comes from above a step of sorted tuples to its children."""
        every = np.arange(self.demands.count, dtype=np.intp)
        work = _Work(self, step, every, None)
        outer, (axes, sizes) = summing.summed_of(step).outer, self._others(step)
        outside = summing.folded(step, above)
        cells, _ = self._tuples(step, narrow=True)
        alive = (outside != self.algebra.none).any(axis=(0, 2, 3))
        kinds = np.arange(step.kinds, dtype=np.intp)
        numbers = range(len(step.parts))
        for cell, mine, values in summing.above(
            step, self.algebra, outside, cells[alive[cells]], kinds
        ):
            block = {outer: np.array([cell], dtype=np.intp)}
            values = values.reshape(*values.shape[:2], *sizes)
            work.share(numbers, axes, mine, values, block, into)

    def totals(self) -> Numbers:
        """Return the value of all builds, for each request."""
        total = none_of(self.algebra, self.demands.count)
        for case in self.plan.cases:
            total = self._either(total, self.of_case(case))
        return total

    def of_case(self, case: Case) -> Numbers:
        """Return the value of all builds of a case, for each request."""
        return self._beside(case.roots, -1)

    def _either(self, a: Numbers, b: Numbers) -> Numbers:
        return self.algebra.fold(np.stack([a, b]), 0)

    def _beside(self, roots: tuple[int, ...], but: int) -> Numbers:
        """Return what the roots of a case come to together, but for one."""
        value = one_of(self.algebra, self.demands.count)
        for root in roots:
            if root != but:
                message = self.up[root]
                value = self.algebra.both(value, message.values.reshape(-1)[message.row_of])
        return value

    def through_last(self) -> Numbers:
        """Return, for every base class of the plan's last role, the value of builds through one.

        Returns
        -------
        ndarray, shape (n_requests, n_classes)
            Whatever the demand says of the class itself.
        """
        plan, algebra, many = self.plan, self.algebra, self.demands.count
        assert plan.last is not None
        found = none_of(algebra, many, plan.sizes[plan.last])
        every = np.arange(many, dtype=np.intp)
        for case in plan.cases:
            at = case.order[-1]
            step = plan.steps[at]
            work = _Work(self, step, every, None)
            kinds = work.product(range(len(step.parts)), (), None, {})
            kinds = _spread_to(kinds, (many, step.kinds))
            kinds = algebra.both(kinds, self._beside(case.roots, at)[:, None])
            found[:, step.domain] = algebra.add(
                found[:, step.domain], kinds[:, step.kind_of[step.domain]]
            )
        return found

    # -- down ----------------------------------------------------------

    def each(self) -> dict[str, Numbers]:
        """Return, for every base class of every role, the value of builds through one option.

        Returns
        -------
        dict of str to ndarray, shape (n_requests, n_classes)
            Whatever the demand says of the class itself.
        """
        algebra, many = self.algebra, self.demands.count
        every = np.arange(many, dtype=np.intp)
        outside: dict[int, Numbers] = {}
        for case in self.plan.cases:
            for root in case.roots:
                value = self._beside(case.roots, root)
                shape = (many, *(1 for _ in self.plan.steps[root].shape))
                value = value.reshape(shape)
                if root in outside:
                    algebra.add(outside[root], value)
                else:
                    outside[root] = value
        found = {role: none_of(algebra, many, size) for role, size in self.plan.sizes.items()}
        for at in range(len(self.plan.steps) - 1, -1, -1):
            check()
            step, above = self.plan.steps[at], outside.pop(at, None)
            if above is None or not (above != algebra.none).any():
                continue
            weights = self.weights(step, every)
            kinds = none_of(algebra, many, step.kinds)
            into = {
                c: none_of(algebra, many, *self.plan.steps[c].shape)
                for child in step.children
                for c in self.held(child)
            }
            if step.summed is not None:
                self._give_tuples(step, above, into)
            elif step.groups:
                work = _Work(self, step, every, None)
                for block in work.blocks(self._alive(step)):
                    check()
                    work.down(weights, above[_index(step, block)], block, kinds, into)
            else:
                kinds[...] = above[:, None]
            if step.is_role:
                table = found[step.variable]
                table[:, step.domain] = algebra.add(
                    table[:, step.domain], kinds[:, step.kind_of[step.domain]]
                )
            for child, value in into.items():
                if child in outside:
                    algebra.add(outside[child], value)
                else:
                    outside[child] = value
        return found


def kind_values(step: Step, values: Numbers, algebra: Algebra) -> Numbers:
    """Return values of the kinds of a step's role from those of its classes, a row a request."""
    if step.kinds == len(step.domain):
        order = np.empty(step.kinds, dtype=np.intp)
        order[step.kind_of[step.domain]] = step.domain
        return values[:, order]
    order = step.domain[np.argsort(step.kind_of[step.domain], kind="stable")]
    starts = np.searchsorted(step.kind_of[order], np.arange(step.kinds))
    return algebra.segments(values[:, order], starts, 1)


def _index(step: Step, block: _Block) -> tuple[Any, ...]:
    """Return the index of a block of a separator's cells in a message."""
    if not block:
        return (slice(None),) * (1 + len(step.shape))
    every = [block.get(a, _ALL) for a in range(len(step.shape))]
    if sum(not isinstance(e, slice) for e in every) == 1:
        return (slice(None), *every)
    lists = [block.get(a, np.arange(n)) for a, n in enumerate(step.shape)]
    return (slice(None), *np.ix_(*lists))


class _Work:
    """The arrays of one step.

    Parameters
    ----------
    passes : Passes
        With the messages of the step's children.
    step : Step
        The step.
    some : ndarray of int
        Some requests.
    alive : ndarray of int or None
        The kinds that count; None for all.
    """

    def __init__(self, passes: Passes, step: Step, some: Ints, alive: Ints | None) -> None:
        self.passes, self.step, self.some = passes, step, some
        self.algebra, self.up = passes.algebra, passes.up
        self.alive = alive
        self.kinds = step.kinds if alive is None else len(alive)
        self.every = tuple(range(len(step.shape)))
        groups = step.groups
        self.axes = [g.axes for g in groups]
        #: What each group came to in the block before.
        self._laid: dict[int, tuple[list[Ints | None], Numbers]] = {}
        #: For the first group, the kinds that it tells apart, one of each, if they are fewer.
        self.few: tuple[Ints, Ints] | None = None
        if len(groups) > 1 and groups[0].few is not None:
            reps, place = groups[0].few
            if alive is not None:
                used, place = np.unique(place[alive], return_inverse=True)
                reps, place = reps[used], place.reshape(-1)
            self.few = (reps, place)
            self.order = np.argsort(place, kind="stable")
            self.starts = np.searchsorted(place[self.order], np.arange(len(reps)))

    # -- blocks --------------------------------------------------------

    def pieces(
        self, weights: Numbers | None, alive: Mapping[int, Ints]
    ) -> Iterator[tuple[_Work, Numbers | None, _Block]]:
        """Yield blocks, and for each the kinds that its bridges leave, with their values."""
        for piece in self._alike(alive):
            mine, own, bridge = self, weights, self._bridge(piece)
            if weights is not None and bridge is not None:
                own = self.algebra.both(weights, bridge)
                left = np.flatnonzero((own != self.algebra.none).any(axis=0))
                if len(left) < self.kinds:
                    own = own[:, left]
                    kinds = left if self.alive is None else self.alive[left]
                    mine = _Work(self.passes, self.step, self.some, kinds)
            if mine.kinds:
                yield from ((mine, own, block) for block in mine._cut(piece))

    def blocks(self, alive: Mapping[int, Ints]) -> Iterator[_Block]:
        """Yield blocks of the separator's cells, few enough and alike to the bridges."""
        for piece in self._alike(alive):
            yield from self._cut(piece)

    def _alike(self, alive: Mapping[int, Ints]) -> list[dict[int, Ints]]:
        """Return the separator's cells in pieces, each alike to the bridges."""
        pieces: list[dict[int, Ints]] = [dict(alive)]
        for axis, cells in self.step.bridged.items():
            fine = []
            for piece in pieces:
                inside = piece.get(axis)
                of_cell = cells if inside is None else cells[inside]
                for value in distinct(of_cell):
                    at = np.flatnonzero(of_cell == value)
                    fine.append({**piece, axis: at if inside is None else inside[at]})
            pieces = fine
        return pieces

    def _cut(self, piece: _Block) -> Iterator[_Block]:
        """Yield a piece in blocks that are few enough cells."""
        sizes = self._sizes(self.every, piece)
        many = self.kinds * len(self.some)
        cells_of = [many * math.prod(sizes[a] for a in axes) for axes in self.axes]
        widest = max(range(len(cells_of)), key=cells_of.__getitem__)
        if cells_of[widest] <= SLICE or not self.axes[widest]:
            yield piece
            return
        axis = max(self.axes[widest], key=lambda a: sizes[a])
        length = max(1, int(sizes[axis] * SLICE / cells_of[widest]))
        whole = piece.get(axis, np.arange(sizes[axis]))
        for start in range(0, len(whole), length):
            yield {**piece, axis: whole[start : start + length]}

    def _sizes(self, axes: Sequence[int], block: _Block) -> list[int]:
        return [len(block[a]) if a in block else self.step.shape[a] for a in axes]

    # -- products ------------------------------------------------------

    def _places(self, part: Part, kinds: Ints | None, block: _Block) -> list[Ints | None]:
        kind = part.kind
        if kinds is not None:
            kind = kinds if kind is None else kind[kinds]
        places: list[Ints | None] = [kind]
        for axis, cells in zip(part.axes, part.cells, strict=True):
            cut = block.get(axis)
            if cut is None:
                places.append(cells)
            else:
                places.append(cut if cells is None else cells[cut])
        return places

    def _message(self, part: Part, places: list[Ints | None]) -> Numbers:
        if part.child in self.passes.reads:
            return self.passes.read(part.child, self.some, self._cells_of(part, places))
        message = self.up[part.child]
        values = np.moveaxis(message.values, part.at + 1, 1)
        if len(values) > 1:
            rows = message.row_of[self.some]
            if len(rows) != len(values) or not (rows == np.arange(len(rows))).all():
                values = values[rows]
        return _taken(values, places, 1)

    def _cells_of(self, part: Part, places: list[Ints | None]) -> list[Ints]:
        """Return the cells of a part's message over (kinds, its other axes), to be broadcast."""
        shape = self.passes.plan.steps[part.child].shape
        of_axis = [*range(1, len(shape))]
        of_axis.insert(part.at, 0)  # which of the places each axis of the message has
        index = []
        for axis, n in enumerate(of_axis):
            place = places[n]
            along = np.arange(shape[axis]) if place is None else place
            index.append(along.reshape([-1 if k == n else 1 for k in range(len(shape))]))
        return index

    def product(
        self, numbers: Sequence[int], axes: tuple[int, ...], kinds: Ints | None, block: _Block
    ) -> Numbers:
        """Return some parts multiplied out over (requests, kinds, some axes)."""
        step = self.step
        allowed: Bools | None = None
        found: Numbers | None = None
        for n in numbers:
            part = step.parts[n]
            places = self._places(part, kinds, block)
            if part.child < 0:
                assert part.table is not None
                values = _taken(part.table, places, 0)[None]
            else:
                values = self._message(part, places)
            order = sorted(range(len(part.axes)), key=lambda i: part.axes[i])
            values = values.transpose(0, 1, *(i + 2 for i in order))
            sizes = iter(values.shape[2:])
            values = values.reshape(
                *values.shape[:2], *(next(sizes) if a in part.axes else 1 for a in axes)
            )
            if part.child < 0:
                allowed = values if allowed is None else allowed & values
            else:
                found = values if found is None else self.algebra.both(found, values)
        if allowed is not None:
            lifted = self.algebra.lift(allowed)
            found = lifted if found is None else self.algebra.only(found, lifted)
        if found is None:
            size = self.kinds if kinds is None else len(kinds)
            found = one_of(self.algebra, 1, size, *(1 for _ in axes))
        return found

    def _bridge(self, block: _Block, but: int = -1) -> Numbers | None:
        """Return the product of the bridges over (requests, kinds), all alike in a block."""
        if not self.step.bridges:
            return None
        one = {a: cells[:1] for a, cells in block.items()}
        numbers = [n for n in self.step.bridges if n != but]
        if not numbers:
            return None
        axes = tuple(sorted({a for n in numbers for a in self.step.parts[n].axes}))
        found = self.product(numbers, axes, self.alive, one)
        return found.reshape(len(found), -1)

    # -- up ------------------------------------------------------------

    def message(self, weights: Numbers | None, block: _Block) -> Numbers:
        """Return the message over a block of the separator; weights know of its bridges."""
        step, algebra, groups = self.step, self.algebra, self.step.groups
        if step.decided is not None:
            whole = self._whole(groups[0].parts, self.axes[0], None, block)
            return whole[self._decided(block)]
        assert weights is not None
        if len(groups) == 1:
            whole = self._whole(groups[0].parts, self.axes[0], self.alive, block)
            flat = whole.reshape(whole.shape[0], self.kinds, -1)
            out = algebra.meet(weights[:, None, :], flat)[:, 0]
            return self._spread(out, self.axes[0], block)
        one, other, axes = self._pair(block)
        if self.few is not None:
            other = self._segmented(algebra.both(other, weights[:, None, :, None]))
        elif one.size <= other.size:
            one = algebra.both(one, weights[:, None, None, :])
        else:
            other = algebra.both(other, weights[:, None, :, None])
        out = algebra.meet(one, other)
        out = out.reshape(len(out), *self._sizes(axes, block))
        back = sorted(range(len(axes)), key=axes.__getitem__)
        out = out.transpose(0, *(i + 1 for i in back))
        return self._spread(out, tuple(sorted(axes)), block)

    def _segmented(self, other: Numbers) -> Numbers:
        """Return (requests, shared, kinds, cells) put together by the first group's kinds."""
        if len(self.starts) == self.kinds:
            return other.take(self.order, axis=2)
        return self.algebra.segments(other.take(self.order, axis=2), self.starts, 2)

    def _spread(self, out: Numbers, axes: tuple[int, ...], block: _Block) -> Numbers:
        """Return values over all axes of the separator, the same along those they lack."""
        sizes = dict(zip(axes, self._sizes(axes, block), strict=True))
        full = self._sizes(self.every, block)
        out = out.reshape(len(out), *(sizes.get(a, 1) for a in self.every))
        return _spread_to(out, (len(out), *full))

    def _whole(
        self,
        numbers: Sequence[int],
        axes: tuple[int, ...],
        kinds: Ints | None,
        block: _Block,
    ) -> Numbers:
        values = self.product(numbers, axes, kinds, block)
        size = self.kinds if kinds is None else len(kinds)
        return _spread_to(values, (values.shape[0], size, *self._sizes(axes, block)))

    def _pair(self, block: _Block) -> tuple[Numbers, Numbers, tuple[int, ...]]:
        """Return the groups over (requests, shared, own, kinds) and (..., kinds, own), and axes.

        The first has one kind for all that it cannot tell apart, where that makes them fewer.
        """
        shared = tuple(a for a in self.axes[0] if a in self.axes[1])
        only = tuple(a for a in self.axes[0] if a not in shared)
        rest = tuple(a for a in self.axes[1] if a not in shared)
        width = math.prod(self._sizes(shared, block))

        def laid(group: int, kinds: Ints | None, own: tuple[int, ...]) -> Numbers:
            axes = self.axes[group]
            cut = [block.get(a) for a in axes]
            known = self._laid.get(group)
            if known is not None and all(a is b for a, b in zip(cut, known[0], strict=True)):
                return known[1]
            values = self._whole(self.step.groups[group].parts, axes, kinds, block)
            order = [axes.index(a) + 2 for a in shared]
            others = [axes.index(a) + 2 for a in own]
            size = values.shape[1]
            values = values.transpose(0, *order, 1, *others)
            sizes = (len(values), width, size, math.prod(self._sizes(own, block)))
            self._laid[group] = cut, values.reshape(sizes)
            return self._laid[group][1]

        few = self.alive if self.few is None else self.few[0]
        one = laid(0, few, only).swapaxes(-1, -2)
        return one, laid(1, self.alive, rest), (*shared, *only, *rest)

    def _decided(self, block: _Block) -> tuple[Any, ...]:
        """Return the index that reads a running sum's values for the two that decide it."""
        step = self.step
        assert step.decided is not None
        a, b, kinds = step.decided

        def along(axis: int, values: Ints) -> Ints:
            return values.reshape([-1 if k == axis else 1 for k in self.every])

        def cells(axis: int) -> Ints:
            return block.get(axis, np.arange(step.shape[axis]))

        index: list[Any] = [slice(None), kinds[along(a, cells(a)), along(b, cells(b))]]
        index += [along(axis, np.arange(len(cells(axis)))) for axis in self.axes[0]]
        return tuple(index)

    # -- down ----------------------------------------------------------

    def down(
        self,
        weights: Numbers | None,
        above: Numbers,
        block: _Block,
        kinds: Numbers,
        into: Mapping[int, Numbers],
    ) -> None:
        """Add what comes from above a block of the separator to the kinds and the children."""
        step, algebra, groups = self.step, self.algebra, self.step.groups
        above = _spread_to(above, (len(above), *self._sizes(self.every, block)))
        if step.decided is not None:
            axes = self.axes[0]
            whole = none_of(algebra, len(above), self.kinds, *self._sizes(axes, block))
            index = np.broadcast_arrays(*self._decided(block)[1:])
            rows = np.arange(len(above)).reshape(-1, *(1 for _ in self.every))
            algebra.gather_at(whole, (rows, *(i[None] for i in index)), above)
            self.share(groups[0].parts, axes, None, whole, block, into)
            return
        assert weights is not None
        used = {a for axes in self.axes for a in axes}
        lost = tuple(a + 1 for a in self.every if a not in used)
        outer = algebra.fold(above, lost) if lost else above
        if len(groups) == 1:
            axes = self.axes[0]
            left = self._whole(groups[0].parts, axes, None, block)
            flat = algebra.both(left, outer[:, None])
            self._add_kinds(kinds, algebra.fold(flat.reshape(len(flat), self.kinds, -1), 2))
            if into:
                spread = weights.reshape(len(weights), -1, *(1 for _ in axes))
                mine = algebra.both(spread, outer[:, None])
                self.share(groups[0].parts, axes, None, mine, block, into)
            return
        one, other, axes = self._pair(block)
        kept = tuple(a for a in self.every if a in used)
        outer = outer.transpose(0, *(kept.index(a) + 1 for a in axes)).reshape(
            len(outer), one.shape[1], one.shape[2], other.shape[3]
        )
        shared = axes[: sum(a in self.axes[1] for a in self.axes[0])]
        rest = tuple(a for a in axes if a in self.axes[1] and a not in shared)
        only = tuple(a for a in axes if a not in (*shared, *rest))
        bridge = self._bridge(block)
        bridged = weights if bridge is None else algebra.both(weights, bridge)
        # over (requests, shared, kinds, right only): all alternatives to the left
        across = algebra.meet(one.swapaxes(-1, -2), outer)
        if self.few is not None:
            across = across.take(self.few[1], axis=2)
        through = algebra.fold(algebra.both(across, other), (1, 3))
        self._add_kinds(kinds, through if bridge is None else algebra.both(through, bridge))
        for n in step.bridges:
            if step.parts[n].child >= 0:
                others = self._bridge(block, but=n)
                mine = algebra.both(through, weights)
                if others is not None:
                    mine = algebra.both(mine, others)
                one_cell = {a: cells[:1] for a, cells in block.items() if a in step.bridged}
                axes_n = tuple(sorted(step.parts[n].axes))
                mine = mine.reshape(*mine.shape, *(1 for _ in axes_n))
                self._hand(n, axes_n, None, mine, one_cell, into)
        if any(step.parts[n].child >= 0 for n in groups[1].parts):
            mine = algebra.both(across, bridged[:, None, :, None])
            mine = mine.transpose(0, 2, 1, 3).reshape(
                len(mine), self.kinds, *self._sizes((*shared, *rest), block)
            )
            back = [(*shared, *rest).index(a) + 2 for a in self.axes[1]]
            self.share(
                groups[1].parts, self.axes[1], None, mine.transpose(0, 1, *back), block, into
            )
        if any(step.parts[n].child >= 0 for n in groups[0].parts):
            other = algebra.both(other, bridged[:, None, :, None])
            few = None
            if self.few is not None:
                other, few = self._segmented(other), self.few[0]
            mine = algebra.meet(outer, other.swapaxes(-1, -2)).transpose(0, 3, 1, 2)
            mine = mine.reshape(len(mine), mine.shape[1], *self._sizes((*shared, *only), block))
            back = [(*shared, *only).index(a) + 2 for a in self.axes[0]]
            self.share(groups[0].parts, self.axes[0], few, mine.transpose(0, 1, *back), block, into)

    def _add_kinds(self, kinds: Numbers, found: Numbers) -> None:
        self.algebra.add(kinds, found)

    def share(
        self,
        numbers: Sequence[int],
        axes: tuple[int, ...],
        kinds: Ints | None,
        outer: Numbers,
        block: _Block,
        into: Mapping[int, Numbers],
    ) -> None:
        """Add what comes from outside a group to the messages in it."""
        for n in numbers:
            if self.step.parts[n].child < 0:
                continue
            others = [m for m in numbers if m != n]
            values = outer
            if others:
                values = self.algebra.both(outer, self.product(others, axes, kinds, block))
            self._hand(n, axes, kinds, values, block, into)

    def _hand(
        self,
        n: int,
        axes: tuple[int, ...],
        kinds: Ints | None,
        values: Numbers,
        block: _Block,
        into: Mapping[int, Numbers],
    ) -> None:
        """Add values over (requests, kinds, axes) to the message of one part."""
        part, algebra = self.step.parts[n], self.algebra
        size = self.kinds if kinds is None else len(kinds)
        sizes = self._sizes(axes, block)
        values = _spread_to(values, (len(values), size, *sizes))
        lost = tuple(i + 2 for i, a in enumerate(axes) if a not in part.axes)
        if lost:
            values = algebra.fold(values, lost)
        kept = [a for a in axes if a in part.axes]
        values = values.transpose(0, 1, *(kept.index(a) + 2 for a in part.axes))
        if part.child in self.passes.reads:
            index = self._cells_of(part, self._places(part, kinds, block))
            self.passes.give(part.child, self.some, index, values, into)
            return
        view = np.moveaxis(into[part.child], part.at + 1, 1)
        cut: list[Ints] = []
        for i, place in enumerate(self._places(part, kinds, block)):
            if place is None:
                cut.append(np.arange(view.shape[i + 1]))
                continue
            used = distinct(place)
            if len(used) < len(place) or (place != used).any():
                order = np.argsort(place, kind="stable")
                starts = np.searchsorted(place[order], used)
                values = algebra.segments(np.take(values, order, axis=i + 1), starts, i + 1)
            cut.append(used)
        if all(len(c) == n for c, n in zip(cut, view.shape[1:], strict=True)):
            algebra.add(view, values)
            return
        at: tuple[Any, ...] = (slice(None), *np.ix_(*cut))
        view[at] = algebra.add(view[at], values)


def _beside(one: Numbers, other: Numbers) -> tuple[Numbers, Numbers]:
    """Return values over requests and cells with as many axes of cells."""
    deep = max(one.ndim, other.ndim)
    found = [v.reshape(len(v), *(1,) * (deep - v.ndim), *v.shape[1:]) for v in (one, other)]
    return found[0], found[1]


def _spread_to(values: Numbers, shape: tuple[int, ...]) -> Numbers:
    """Return values spread to a shape, themselves where they have it."""
    return values if values.shape == shape else np.broadcast_to(values, shape)


def _picked(values: Numbers, index: Sequence[Ints]) -> Numbers:
    """Return values at places that are broadcast against each other, whole axes in one piece."""
    deep = max((i.ndim for i in index), default=0)
    index = [i.reshape((1,) * (deep - i.ndim) + i.shape) for i in index]
    wide = [[d for d in range(deep) if i.shape[d] > 1] for i in index]
    whole: dict[int, int] = {}  # which axis lies along a place's axis, all of it
    for axis, (dims, i) in enumerate(zip(wide, index, strict=True)):
        alone = len(dims) == 1 and sum(dims[0] in w for w in wide) == 1
        if alone and i.size == values.shape[axis] and (i.reshape(-1) == np.arange(i.size)).all():
            whole[dims[0]] = axis
    others = [a for a in range(len(index)) if a not in whole.values()]
    if not whole or not others:
        return np.asarray(values[tuple(index)])
    sizes = [values.shape[a] for a in whole.values()]
    flat = np.ravel_multi_index(
        tuple(np.broadcast_arrays(*(index[a] for a in others))), [values.shape[a] for a in others]
    )
    rows = values.transpose(*others, *whole.values()).reshape(-1, math.prod(sizes))
    kept = [d for d in range(deep) if d not in whole]
    found = rows.take(flat.reshape(-1), 0).reshape(*(flat.shape[d] for d in kept), *sizes)
    where = [*kept, *whole]
    return found.transpose([where.index(d) for d in range(deep)])


def _taken(values: Numbers, places: list[Ints | None], skip: int) -> Numbers:
    """Return values at some places along each axis after the first few."""
    if all(p is None for p in places):
        return values
    given = [(i + skip, p) for i, p in enumerate(places) if p is not None]
    # Axes that shrink the most go first.
    given.sort(key=lambda g: len(g[1]) / max(values.shape[g[0]], 1))
    size, first = values.size, len(given[0][1]) / max(values.shape[given[0][0]], 1)
    wanted = size * math.prod(len(p) / max(values.shape[a], 1) for a, p in given)
    if size * first > _SPARSE * wanted:
        # One look at each of the few cells beats copies of much that is thrown away.
        picked = dict(given)
        at = np.ix_(*(picked.get(a, np.arange(n)) for a, n in enumerate(values.shape)))
        return np.asarray(values[at])
    for axis, place in given:
        if values.flags.c_contiguous:
            values = values.take(place, axis=axis)
        else:  # taking from a view would copy all of it first
            values = values[(slice(None),) * axis + (place,)]
    return values
