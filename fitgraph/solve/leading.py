"""The step of a role that goes first: which of its kinds can follow which cells, listed.

Such a step is over all that the role meets, and holds nothing below it but running sums that the
role decides itself. Of its pairs of a cell and a kind few are allowed, so they are not looked at
one by one: axis by axis what the tables leave is joined, and the sums are read for these alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.messages import Messages
from fitgraph.solve.plan import Part, Step

#: Pairs that are looked at at once.
_AT_ONCE = 1 << 20


@dataclass(frozen=True, slots=True)
class _Look:
    """What a table tells of an axis once some others are chosen: itself, and their places in it."""

    table: Bools
    part: Part
    axes: tuple[int, ...]


def _of_axis(part: Part, axis: int, size: int) -> Ints:
    """Return the place in a part of each cell of an axis."""
    cells = part.cells[part.axes.index(axis)]
    return np.arange(size) if cells is None else cells


def _ordered(step: Step, tables: Sequence[Part]) -> list[int]:
    """Return the axes in the order in which they are joined: the one most is asked of first."""
    order: list[int] = []
    while len(order) < len(step.shape):
        order.append(
            min(
                (a for a in range(len(step.shape)) if a not in order),
                key=lambda a: (
                    -sum(a in p.axes and {*p.axes} <= {*order, a} for p in tables),
                    -sum(a in p.axes for p in tables),
                    step.shape[a],
                ),
            )
        )
    return order


def pairs(
    messages: Messages, step: Step, within: Bools | None = None
) -> Iterator[tuple[Ints, Ints, Floats]]:
    """Yield the pairs of a cell and a kind that are allowed.

    Parameters
    ----------
    messages : Messages
        Of one request; holds what the step's running sums come to.
    step : Step
        The step.
    within : ndarray of bool, optional
        The cells that count.

    Yields
    ------
    cell : ndarray of int
        Of the separator, numbered through.
    kind : ndarray of int
        What can follow it.
    value : ndarray of float
        What the kind and the sums are worth.
    """
    first = np.zeros(1, dtype=np.intp)
    weights = messages.weights(step, first)
    assert weights is not None
    none = messages.algebra.none
    alive = weights[0] != none
    tables = [p for p in step.parts if p.table is not None]
    for part in tables:
        if part.table is not None and not part.axes:
            alive &= part.table if part.kind is None else part.table[part.kind]
    order = _ordered(step, tables)
    looks: list[list[_Look]] = []
    for n, axis in enumerate(order):
        known = {*order[: n + 1]}
        here = []
        for part in tables:
            if axis in part.axes and part.table is not None:
                later = tuple(1 + k for k, a in enumerate(part.axes) if a not in known)
                here.append(
                    _Look(
                        np.asarray(part.table.any(axis=later)),
                        part,
                        tuple(a for a in part.axes if a in known),
                    )
                )
        looks.append(here)

    def joined(kind: Ints, chosen: tuple[Ints, ...]) -> Iterator[tuple[Ints, tuple[Ints, ...]]]:
        depth = len(chosen)
        if depth == len(order):
            yield kind, chosen
            return
        axis = order[depth]
        size = step.shape[axis]
        length = max(1, _AT_ONCE // max(size, 1))
        for start in range(0, len(kind), length):
            mine = kind[start : start + length]
            placed = tuple(c[start : start + length] for c in chosen)
            allowed = np.ones((len(mine), size), dtype=bool)
            for look in looks[depth]:
                own = mine if look.part.kind is None else look.part.kind[mine]
                at: list[Ints] = [own[:, None]]
                for a in look.axes:
                    of_cell = _of_axis(look.part, a, step.shape[a])
                    at.append(
                        of_cell[None, :] if a == axis else of_cell[placed[order.index(a)]][:, None]
                    )
                allowed &= look.table[tuple(at)]
            row, cell = np.nonzero(allowed)
            yield from joined(mine[row], (*(c[row] for c in placed), cell))

    sums = [p for p in step.parts if p.table is None]
    for kind, chosen in joined(np.flatnonzero(alive), ()):
        where = [chosen[order.index(a)] for a in range(len(step.shape))]
        cell = (
            np.ravel_multi_index(tuple(where), step.shape)
            if step.shape
            else np.zeros(len(kind), dtype=np.intp)
        )
        if within is not None:
            some = np.flatnonzero(within[cell])
            cell, kind, where = cell[some], kind[some], [w[some] for w in where]
        value = weights[0][kind]
        for part in sums:
            at = [_of_axis(part, a, step.shape[a])[where[a]] for a in part.axes]
            at.insert(part.at, kind if part.kind is None else part.kind[kind])
            value = messages.algebra.both(value, messages.read(part.child, first, at)[0])
            some = np.flatnonzero(value != none)
            cell, kind, value = cell[some], kind[some], value[some]
            where = [w[some] for w in where]
        if len(cell):
            yield cell, kind, value


def following(messages: Messages, step: Step, cells: Ints) -> tuple[Ints, Ints]:
    """Return every kind that can follow some cells of the step: of which of them, and which.

    Parameters
    ----------
    messages, step
        As in :func:`pairs`.
    cells : ndarray of int
        Ascending; numbered through.
    """
    within = np.zeros(int(np.prod(step.shape, dtype=np.intp)), dtype=bool)
    within[cells] = True
    none = np.zeros(0, dtype=np.intp)
    found = [(none, none), *((cell, kind) for cell, kind, _ in pairs(messages, step, within))]
    cell, kind = (np.concatenate(each) for each in zip(*found, strict=True))
    order = np.argsort(cell * step.kinds + kind)
    return np.searchsorted(cells, cell[order]).astype(np.intp), kind[order]
