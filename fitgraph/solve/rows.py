"""Walking a plan from its last step to its first: what can be chosen, and what that opens.

A partial build is a choice for some steps and, for every step that waits for its turn, the cell
of its separator that those choices made. Nothing else of the past matters to the future.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Ints
from fitgraph.solve import summing
from fitgraph.solve.arrays import members, spread
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Operand, Step

#: Pairs of kinds and cells that are looked at at once.
_AT_ONCE = 1 << 21

#: How many cells a table of what a part allows may have for each that is asked.
_WORTH = 4

#: Rows of steps that are kept because they may be asked for again.
_KEPT = 1 << 21


class Rows:
    """The kinds that can follow each cell of a step.

    Parameters
    ----------
    passes : Passes
        Of one request, or of several that let the same in; what has no value in the first
        cannot be.
    """

    def __init__(self, passes: Passes) -> None:
        self.plan, self.passes = passes.plan, passes
        self._whole: dict[int, tuple[Ints, Ints]] = {}
        self._kept = 0
        self._first = np.zeros(1, dtype=np.intp)
        self._tables: dict[int, tuple[Operand, tuple[int, ...], Bools]] = {}

    def children(self, place: int) -> tuple[int, ...]:
        """Return the steps that a step opens."""
        return self.plan.steps[place].children

    def of_kinds(self, place: int) -> dict[int, Ints]:
        """Return the cell of each child that the kind alone decides, for each kind of a step."""
        step = self.plan.steps[place]
        every = np.arange(step.kinds, dtype=np.intp)
        return {
            part.child: every if part.kind is None else part.kind
            for part in step.parts
            if part.child >= 0 and not part.axes
        }

    def after(
        self, place: int, cells: Ints, kinds: Ints, *, of_kinds: bool = True
    ) -> dict[int, Ints]:
        """Return the cell of each child for pairs of a cell and a kind of a step.

        Parameters
        ----------
        place : int
            The step.
        cells, kinds : ndarray of int
            Of its separator, numbered through, and of its variable.
        of_kinds : bool
            Whether the children are told as well that the kind alone decides.
        """
        step = self.plan.steps[place]
        where = np.unravel_index(cells, step.shape) if step.shape else ()
        found = {}
        for part in step.parts:
            if part.child < 0 or not (part.axes or of_kinds):
                continue
            shape = self.plan.steps[part.child].shape
            strides = [math.prod(shape[i + 1 :]) for i in range(len(shape))]
            own = strides.pop(part.at)
            flat = (kinds if part.kind is None else part.kind[kinds]) * own
            for axis, of_cell, stride in zip(part.axes, part.cells, strides, strict=True):
                at = where[axis] if of_cell is None else of_cell[where[axis]]
                flat = flat + at * stride
            found[part.child] = flat
        return found

    def _allowed(self, step: Step, cells: Ints) -> tuple[Ints, Ints]:
        """Return how many kinds can follow each cell, and which, cell by cell."""
        where = np.unravel_index(cells, step.shape) if step.shape else ()
        if step.decided is not None:
            a, b, kind_of = step.decided
            # Kinds are held in bytes; here they are multiplied.
            kinds = kind_of[where[a], where[b]].astype(np.intp)
            good = np.ones(len(cells), dtype=bool)
            for part in step.parts:
                place = kinds if part.kind is None else part.kind[kinds]
                index = self._index(part.axes, part.cells, where)
                good &= self._values(part, place, index)
            return good.astype(np.intp), kinds[good]
        if step.summed is not None:
            kinds = np.arange(step.kinds, dtype=np.intp)
            owner, kinds = summing.following(step, kinds, where)
            good = np.ones(len(owner), dtype=bool)
            for part in step.parts:
                place = kinds if part.kind is None else part.kind[kinds]
                index = [i[owner] for i in self._index(part.axes, part.cells, where)]
                good &= self._values(part, place, index)
            return np.bincount(owner[good], minlength=len(cells)).astype(np.intp), kinds[good]
        weights = self.passes.weights(step, self._first)
        assert weights is not None
        alive = np.flatnonzero(weights[0] != self.passes.algebra.none)
        mask = np.ones((len(cells), len(alive)), dtype=bool)
        for part in step.parts:
            index = self._index(part.axes, part.cells, where)
            looked = self._looked(part, alive, len(cells))
            if looked is not None:
                shape, table = looked
                mask &= table.take(np.ravel_multi_index(index, shape), 0) if shape else table
                continue
            place = alive if part.kind is None else part.kind[alive]
            mask &= self._values(part, place[None, :], [i[:, None] for i in index])
        pair = np.flatnonzero(mask)
        ends = np.searchsorted(pair, np.arange(len(cells) + 1) * len(alive))
        return np.diff(ends), alive[pair % max(len(alive), 1)]

    def _looked(
        self, part: Operand, alive: Ints, asked: int
    ) -> tuple[tuple[int, ...], Bools] | None:
        """Return what a part allows the kinds that count, a row for each of its other cells.

        Returned is the shape of these cells as well; None where a look at each pair is less work.
        """
        found = self._tables.get(id(part))
        if found is not None:
            return found[1:]
        if part.child in self.passes.reads:
            return None
        up = self.passes.up
        values = part.table if part.child < 0 else up[part.child].values[0]
        assert values is not None
        at = 0 if part.child < 0 else part.at
        if values.size // values.shape[at] > _WORTH * asked:
            return None
        if part.child >= 0:
            values = values != self.passes.algebra.none
        values = np.moveaxis(values, at, 0)
        flat = values.reshape(len(values), -1)[alive if part.kind is None else part.kind[alive]]
        table = np.ascontiguousarray(flat.T)
        self._tables[id(part)] = part, values.shape[1:], table
        return values.shape[1:], table

    def possible(self, parts: Sequence[Operand], where: Sequence[int], kinds: Ints) -> Ints:
        """Return which of some kinds some parts of their step allow at a cell.

        Parameters
        ----------
        parts : sequence of Operand
            Of one step.
        where : sequence of int
            The cell's place along each axis of the separator that the parts are over.
        kinds : ndarray of int
            The kinds that are looked at, ascending.
        """
        for part in parts:
            place = kinds if part.kind is None else part.kind[kinds]
            at = [
                where[a] if of_cell is None else int(of_cell[where[a]])
                for a, of_cell in zip(part.axes, part.cells, strict=True)
            ]
            if part.child in self.passes.reads:
                kinds = kinds[self._values(part, place, [np.array(a) for a in at])]
                continue
            kinds = kinds[self._column(part, at).take(place)]
        return kinds

    def _column(self, part: Operand, at: Sequence[int]) -> Bools:
        """Return what a part allows at a cell, for each place of its kinds."""
        if part.child < 0:
            assert part.table is not None
            index: tuple[Any, ...] = (slice(None), *at)
            return np.asarray(part.table[index])
        index = (*at[: part.at], slice(None), *at[part.at :])
        return np.asarray(self.passes.up[part.child].values[0][index] != self.passes.algebra.none)

    @staticmethod
    def _index(
        axes: tuple[int, ...], cells: tuple[Ints | None, ...], where: tuple[Any, ...]
    ) -> list[Ints]:
        return [
            where[a] if of_cell is None else of_cell[where[a]]
            for a, of_cell in zip(axes, cells, strict=True)
        ]

    def _values(self, part: Operand, place: Ints, index: list[Ints]) -> Bools:
        if part.child < 0:
            assert part.table is not None
            table: Bools = part.table[(place, *index)]
            return table
        at = [*index[: part.at], place, *index[part.at :]]
        found: Bools = self.passes.read(part.child, self._first, at)[0]
        return found != self.passes.algebra.none

    def expand(self, place: int, cells: Ints) -> tuple[Ints, Ints]:
        """Return every kind that can follow some cells of a step.

        Parameters
        ----------
        place : int
            Which step.
        cells : ndarray of int
            Cells of its separator, numbered through.

        Returns
        -------
        owner : ndarray of int
            Which of the given cells.
        kind : ndarray of int
            The kind chosen; ascending for each cell.
        """
        step = self.plan.steps[place]
        size = math.prod(step.shape)
        whole = self._whole.get(place)
        if whole is None and size <= 4 * len(cells) and size * step.kinds <= _AT_ONCE // 4:
            counts, kinds = self._allowed(step, np.arange(size))
            if self._kept + len(kinds) <= _KEPT:
                self._kept += len(kinds)
                whole = self._whole[place] = (counts, kinds)
        if whole is not None:
            counts, kinds = whole
            starts = np.cumsum(counts) - counts
            owner, number = spread(counts[cells])
            return owner, kinds[starts[cells[owner]] + number]
        distinct, at = np.unique(cells, return_inverse=True)
        # Sorted tuples are looked up, not looked at one by one.
        length = max(1, _AT_ONCE // max(step.kinds if step.summed is None else 1, 1))
        pieces = [
            self._allowed(step, distinct[n : n + length]) for n in range(0, len(distinct), length)
        ]
        counts = np.concatenate([np.zeros(0, dtype=np.intp), *(c for c, _ in pieces)])
        kinds = np.concatenate([np.zeros(0, dtype=np.intp), *(k for _, k in pieces)])
        starts = np.cumsum(counts) - counts
        owner, number = spread(counts[at])
        return owner, kinds[starts[at[owner]] + number]


class Members:
    """The options of each kind of each step that a request lets in.

    Parameters
    ----------
    class_of : mapping of str to ndarray of int
        The base class of each option.
    lets : mapping of str to ndarray of bool
        Which options may be used.
    """

    def __init__(
        self, class_of: Mapping[str, Ints], lets: Mapping[str, npt.NDArray[np.bool_]]
    ) -> None:
        self.class_of, self.lets = class_of, lets
        self._of: dict[int, tuple[Step, Ints, Ints, Ints]] = {}

    def of(self, step: Step) -> tuple[Ints, Ints, Ints]:
        """Return options sorted by kind, where each kind begins, and how many it has."""
        found = self._of.get(id(step))
        if found is None:
            kind = step.kind_of[self.class_of[step.variable]]
            lets = self.lets[step.variable] & (kind >= 0)
            ordered, starts = members(kind, lets, step.kinds)
            counts = np.diff(np.append(starts, len(ordered))).astype(np.intp)
            found = self._of[id(step)] = (step, ordered, starts, counts)
        return found[1:]
