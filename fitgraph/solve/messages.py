"""What the steps of a plan tell each other, held cell by cell or read through what decides it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints
from fitgraph.records import dataclass
from fitgraph.solve.algebra import Algebra, one_of
from fitgraph.solve.plan import Plan, Step

Numbers = npt.NDArray[Any]


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


class Messages:
    """Messages of some requests along a plan.

    Parameters
    ----------
    plan : Plan
        What is summed up.
    demands : Demands
        Of all requests.
    algebra : Algebra
        What is asked.
    whole : bool
        Whether every message is held cell by cell. Otherwise the wide ones of running sums
        (:attr:`Step.read`) are not held at all: each look at one goes through to what the sum's
        value opens.
    """

    def __init__(self, plan: Plan, demands: Demands, algebra: Algebra, *, whole: bool) -> None:
        self.plan, self.demands, self.algebra = plan, demands, algebra
        #: Of the steps that are done.
        self.up: list[Message] = []
        #: The steps whose messages are only read.
        self.reads = frozenset(n for n, step in enumerate(plan.steps) if step.read and not whole)

    def weights(self, step: Step, some: Ints) -> Numbers | None:
        """Return the value of each kind of a step's variable, for some requests."""
        if step.decided is not None:
            return None
        if not step.is_role:
            return one_of(self.algebra, len(some), step.kinds)
        demands = self.demands.values[step.variable][self.demands.of[step.variable][some]]
        demands = demands.astype(self.algebra.dtype, copy=False)
        return kind_values(step, demands, self.algebra)

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
            found = values if found is None else algebra.both(*beside(found, values))
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
        return spread_to(found, (self.demands.count, *found.shape[1:]))

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
                    share = self.read(other.child, some, inside[m])
                else:
                    assert other.table is not None
                    share = algebra.lift(other.table[tuple(inside[m])])[None]
                mine = algebra.both(*beside(mine, share))
            self.give(part.child, some, inside[n], mine, into)


def kind_values(step: Step, values: Numbers, algebra: Algebra) -> Numbers:
    """Return values of the kinds of a step's role from those of its classes, a row a request."""
    if step.kinds == len(step.domain):
        order = np.empty(step.kinds, dtype=np.intp)
        order[step.kind_of[step.domain]] = step.domain
        return values[:, order]
    order = step.domain[np.argsort(step.kind_of[step.domain], kind="stable")]
    starts = np.searchsorted(step.kind_of[order], np.arange(step.kinds))
    return algebra.segments(values[:, order], starts, 1)


def beside(one: Numbers, other: Numbers) -> tuple[Numbers, Numbers]:
    """Return values over requests and cells with as many axes of cells."""
    deep = max(one.ndim, other.ndim)
    found = [v.reshape(len(v), *(1,) * (deep - v.ndim), *v.shape[1:]) for v in (one, other)]
    return found[0], found[1]


def spread_to(values: Numbers, shape: tuple[int, ...]) -> Numbers:
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
