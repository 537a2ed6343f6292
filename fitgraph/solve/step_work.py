"""The arrays of one step of a pass: its parts multiplied out, block by block, up and down."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.solve.algebra import none_of, one_of
from fitgraph.solve.arrays import distinct
from fitgraph.solve.messages import Messages, Numbers, spread_to
from fitgraph.solve.plan import SLICE, Operand, Step

#: Cells along some axes of a separator; all along the others.
Block = Mapping[int, Ints]
_ALL = slice(None)

#: How many times fewer cells are wanted than a first axis would leave, to pick them one by one.
_SPARSE = 4.0


def index_of(step: Step, block: Block) -> tuple[Any, ...]:
    """Return the index of a block of a separator's cells in a message."""
    if not block:
        return (slice(None),) * (1 + len(step.shape))
    every = [block.get(a, _ALL) for a in range(len(step.shape))]
    if sum(not isinstance(e, slice) for e in every) == 1:
        return (slice(None), *every)
    lists = [block.get(a, np.arange(n)) for a, n in enumerate(step.shape)]
    return (slice(None), *np.ix_(*lists))


class StepWork:
    """The arrays of one step.

    Parameters
    ----------
    messages : Messages
        With the messages of the step's children.
    step : Step
        The step.
    some : ndarray of int
        Some requests.
    alive : ndarray of int or None
        The kinds that count; None for all.
    """

    def __init__(self, messages: Messages, step: Step, some: Ints, alive: Ints | None) -> None:
        self.messages, self.step, self.some = messages, step, some
        self.algebra, self.up = messages.algebra, messages.up
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
    ) -> Iterator[tuple[StepWork, Numbers | None, Block]]:
        """Yield blocks, and for each the kinds that its bridges leave, with their values."""
        for piece in self._alike(alive):
            mine, own, bridge = self, weights, self._bridge(piece)
            if weights is not None and bridge is not None:
                own = self.algebra.both(weights, bridge)
                left = np.flatnonzero((own != self.algebra.none).any(axis=0))
                if len(left) < self.kinds:
                    own = own[:, left]
                    kinds = left if self.alive is None else self.alive[left]
                    mine = StepWork(self.messages, self.step, self.some, kinds)
            if mine.kinds:
                yield from ((mine, own, block) for block in mine._cut(piece))

    def blocks(self, alive: Mapping[int, Ints]) -> Iterator[Block]:
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

    def _cut(self, piece: Block) -> Iterator[Block]:
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

    def _sizes(self, axes: Sequence[int], block: Block) -> list[int]:
        return [len(block[a]) if a in block else self.step.shape[a] for a in axes]

    # -- products ------------------------------------------------------

    def _places(self, part: Operand, kinds: Ints | None, block: Block) -> list[Ints | None]:
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

    def _message(self, part: Operand, places: list[Ints | None]) -> Numbers:
        if part.child in self.messages.reads:
            return self.messages.read(part.child, self.some, self._cells_of(part, places))
        message = self.up[part.child]
        values = np.moveaxis(message.values, part.at + 1, 1)
        if len(values) > 1:
            rows = message.row_of[self.some]
            if len(rows) != len(values) or not (rows == np.arange(len(rows))).all():
                values = values[rows]
        return _taken(values, places, 1)

    def _cells_of(self, part: Operand, places: list[Ints | None]) -> list[Ints]:
        """Return the cells of a part's message over (kinds, its other axes), to be broadcast."""
        shape = self.messages.plan.steps[part.child].shape
        of_axis = [*range(1, len(shape))]
        of_axis.insert(part.at, 0)  # which of the places each axis of the message has
        index = []
        for axis, n in enumerate(of_axis):
            place = places[n]
            along = np.arange(shape[axis]) if place is None else place
            index.append(along.reshape([-1 if k == n else 1 for k in range(len(shape))]))
        return index

    def product(
        self, numbers: Sequence[int], axes: tuple[int, ...], kinds: Ints | None, block: Block
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

    def _bridge(self, block: Block, but: int = -1) -> Numbers | None:
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

    def message(self, weights: Numbers | None, block: Block) -> Numbers:
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

    def _spread(self, out: Numbers, axes: tuple[int, ...], block: Block) -> Numbers:
        """Return values over all axes of the separator, the same along those they lack."""
        sizes = dict(zip(axes, self._sizes(axes, block), strict=True))
        full = self._sizes(self.every, block)
        out = out.reshape(len(out), *(sizes.get(a, 1) for a in self.every))
        return spread_to(out, (len(out), *full))

    def _whole(
        self,
        numbers: Sequence[int],
        axes: tuple[int, ...],
        kinds: Ints | None,
        block: Block,
    ) -> Numbers:
        values = self.product(numbers, axes, kinds, block)
        size = self.kinds if kinds is None else len(kinds)
        return spread_to(values, (values.shape[0], size, *self._sizes(axes, block)))

    def _pair(self, block: Block) -> tuple[Numbers, Numbers, tuple[int, ...]]:
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

    def _decided(self, block: Block) -> tuple[Any, ...]:
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
        block: Block,
        kinds: Numbers,
        into: Mapping[int, Numbers],
    ) -> None:
        """Add what comes from above a block of the separator to the kinds and the children."""
        step, algebra, groups = self.step, self.algebra, self.step.groups
        above = spread_to(above, (len(above), *self._sizes(self.every, block)))
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
        block: Block,
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
        block: Block,
        into: Mapping[int, Numbers],
    ) -> None:
        """Add values over (requests, kinds, axes) to the message of one part."""
        part, algebra = self.step.parts[n], self.algebra
        size = self.kinds if kinds is None else len(kinds)
        sizes = self._sizes(axes, block)
        values = spread_to(values, (len(values), size, *sizes))
        lost = tuple(i + 2 for i, a in enumerate(axes) if a not in part.axes)
        if lost:
            values = algebra.fold(values, lost)
        kept = [a for a in axes if a in part.axes]
        values = values.transpose(0, 1, *(kept.index(a) + 2 for a in part.axes))
        if part.child in self.messages.reads:
            index = self._cells_of(part, self._places(part, kinds, block))
            self.messages.give(part.child, self.some, index, values, into)
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
