"""The step of a role that goes first: which of its kinds can follow which cells, listed.

Such a step is over all that the role meets, and holds nothing below it but running sums that the
role decides itself. The rest of a build reaches few of its cells, and of their pairs with a kind
few are allowed. So only cells that count are looked at, in bits, a bit for each kind; wide
tables and the sums are looked up for the pairs that are left.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints
from fitgraph.solve.messages import Messages
from fitgraph.solve.plan import Operand, Step

Bytes = npt.NDArray[np.uint8]

#: Bytes of bits, one for each pair of a cell and a kind, that are looked at at once.
_AT_ONCE = 1 << 18


def _places(part: Operand, where: Sequence[Ints]) -> list[Ints]:
    """Return the places in a part of some cells, along each of its axes."""
    found = []
    for axis, of_cell in zip(part.axes, part.cells, strict=True):
        found.append(where[axis] if of_cell is None else of_cell[where[axis]])
    return found


def _in_bits(part: Operand) -> Bytes:
    """Return which kinds a table over one axis allows, a line of bits for each of its places."""
    assert part.table is not None
    table = part.table if part.kind is None else part.table.take(part.kind, axis=0)
    return np.packbits(table.T, axis=1, bitorder="little")


def _kinds_of(lines: Bytes) -> tuple[Ints, Ints]:
    """Return the line and the number of each bit that is set."""
    at = np.flatnonzero(lines)
    byte, bit = np.nonzero(np.unpackbits(lines.reshape(-1)[at, None], axis=1, bitorder="little"))
    line, place = np.divmod(at[byte], lines.shape[1])
    return line, place * 8 + bit


def pairs(messages: Messages, step: Step, cells: Ints) -> Iterator[tuple[Ints, Ints]]:
    """Yield the pairs of a cell and a kind that are allowed, cell by cell.

    Parameters
    ----------
    messages : Messages
        Of one request; holds what the step's running sums come to.
    step : Step
        The step.
    cells : ndarray of int
        The cells that count, of the separator, numbered through; ascending.

    Yields
    ------
    cell : ndarray of int
        One of them.
    kind : ndarray of int
        What can follow it, ascending for each.
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
    lines = [(p, _in_bits(p)) for p in tables if len(p.axes) == 1]
    wide = [p for p in step.parts if p.table is None or len(p.axes) > 1]
    every = np.packbits(alive[None], axis=1, bitorder="little")
    size = max(1, _AT_ONCE // every.shape[1])
    for some in (cells[n : n + size] for n in range(0, len(cells), size)):
        where = np.unravel_index(some, step.shape) if step.shape else ()
        good = every.repeat(len(some), axis=0)
        for part, of_place in lines:
            good &= of_place.take(_places(part, where)[0], axis=0)
        at, kind = _kinds_of(good)
        for part in wide:
            own = kind if part.kind is None else part.kind[kind]
            places = _places(part, [w[at] for w in where])
            if part.table is not None:
                allowed = part.table[(own, *places)]
            else:
                places.insert(part.at, own)
                allowed = messages.read(part.child, first, places)[0] != none
            kept = np.flatnonzero(allowed)
            at, kind = at[kept], kind[kept]
        if len(at):
            yield some[at], kind
