"""One pass over a plan, up and down, over any algebra and for many requests at once.

A request reaches the plan as a value for each class of each role: how many options it lets in,
or what the cheapest of them costs. Requests that say the same of all roles below a step share
its message, so a message has a row for each distinct demand.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.solve import summing
from fitgraph.solve.algebra import Algebra, none_of, one_of
from fitgraph.solve.messages import Demands, Message, Messages, Numbers, spread_to
from fitgraph.solve.plan import Case, Plan, Step
from fitgraph.solve.step_work import StepWork, index_of
from fitgraph.stopping import check


class Passes(Messages):
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
        Whether every message is held cell by cell, as in :class:`Messages`.
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
        if whole:
            plan.refuse(plan.bytes_whole)
        super().__init__(plan, demands, algebra, whole=whole)
        self.narrow = narrow
        self._cells: dict[tuple[str, int], Ints | None] = {}
        known = known or {}
        for place, step in enumerate(plan.steps):
            check()
            if place in self.reads:
                self.up.append(self._read_only(step))
            else:
                self.up.append(known[place] if place in known else self._upward(step))

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
        work = StepWork(self, step, some, alive)
        cells = self._alive(step) if self.narrow else {}
        shape = (len(some), *step.shape)
        if not step.bridges and not cells and len(blocks := list(work.blocks(cells))) == 1:
            values = work.message(weights, blocks[0])
            return Message(np.ascontiguousarray(spread_to(values, shape)), row_of)
        out = none_of(self.algebra, *shape)
        for mine, own, block in work.pieces(weights, cells):
            check()
            out[index_of(step, block)] = mine.message(own, block)
        return Message(out, row_of)

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
        work = StepWork(self, step, some, None)
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
            return spread_to(values, (len(values), len(kinds), *sizes)).reshape(
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
        work = StepWork(self, step, every, None)
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
            work = StepWork(self, step, every, None)
            kinds = work.product(range(len(step.parts)), (), None, {})
            kinds = spread_to(kinds, (many, step.kinds))
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
                work = StepWork(self, step, every, None)
                for block in work.blocks(self._alive(step)):
                    check()
                    work.down(weights, above[index_of(step, block)], block, kinds, into)
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
