"""Steps whose variable is sorted tuples: a sum that they decide becomes an axis of the message.

For one cell of the outer variable a value of the sum is some runs of the sorted tuples. Cells of
the outer variable that the step's parts cannot tell apart share all but the runs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Ints
from fitgraph.solve.algebra import Algebra, none_of
from fitgraph.solve.arrays import distinct, spread
from fitgraph.solve.plan import Operand, Step, Summed
from fitgraph.stopping import check

Numbers = npt.NDArray[np.float64]

#: Of some kinds, at one cell of the outer variable, all parts multiplied out, by request.
Product = Callable[[Ints, int], Numbers]


def summed_of(step: Step) -> Summed:
    """Return how the step's variable decides its sum."""
    assert step.summed is not None
    return step.summed


def alike(step: Step, cells: Ints) -> Iterator[Ints]:
    """Yield some cells of the outer variable, those together that the parts cannot tell apart."""
    if not len(cells):
        return
    outer = summed_of(step).outer
    columns = [
        np.arange(step.shape[outer]) if places is None else places
        for part in step.parts
        for axis, places in zip(part.axes, part.cells, strict=True)
        if axis == outer
    ]
    if not columns:
        yield cells
        return
    _, of = np.unique(np.column_stack(columns)[cells], axis=0, return_inverse=True)
    order = np.argsort(of.reshape(-1), kind="stable")
    starts = np.flatnonzero(np.diff(of.reshape(-1)[order], prepend=-1))
    yield from np.split(cells[order], starts[1:])


def tells_kinds(step: Step, part: Operand) -> bool:
    """Return whether a part says which kinds are allowed, if of the outer variable's cell."""
    return part.table is not None and {summed_of(step).outer} >= set(part.axes)


def groups(step: Step, kinds: Ints, cells: Ints) -> Iterator[tuple[Ints, Ints]]:
    """Yield cells of the outer variable that are alike, and the kinds that are allowed there.

    Parameters
    ----------
    step : Step
        The step.
    kinds : ndarray of int
        Those that count.
    cells : ndarray of int
        Those of the outer variable that count.

    Yields
    ------
    cells : ndarray of int
        Cells that the step's parts cannot tell apart.
    kinds : ndarray of int
        Those that tables between them and the outer variable allow; the same array as before
        where they are the same kinds.
    """
    parts = [part for part in step.parts if tells_kinds(step, part)]
    places = [kinds if part.kind is None else part.kind[kinds] for part in parts]
    before, mine = None, kinds
    for same in alike(step, cells):
        check()
        at = [tuple(same[0] if of is None else of[same[0]] for of in p.cells) for p in parts]
        if at != before:
            before, mine = at, kinds
            good: Bools | None = None
            for part, place, of in zip(parts, places, at, strict=True):
                assert part.table is not None
                column = part.table[(slice(None), *of)].take(place)
                good = column if good is None else good & column
            mine = kinds if good is None else kinds[good]
        yield same, mine


def message(
    step: Step,
    algebra: Algebra,
    many: int,
    cells: Ints,
    kinds: Ints,
    product: Product,
) -> Numbers:
    """Return the message, (requests, cells of the outer variable, of the sum, of all others).

    Parameters
    ----------
    step : Step
        The step.
    algebra : Algebra
        What is asked.
    many : int
        How many requests there are.
    cells : ndarray of int
        Those of the outer variable that count.
    kinds : ndarray of int
        Those that count.
    product : callable
        What the parts come to.
    """
    summed = summed_of(step)
    size = step.shape[summed.sum]
    rest = int(np.prod([n for a, n in enumerate(step.shape) if a not in _own(summed)]))
    out = none_of(algebra, many, step.shape[summed.outer], size, rest)
    for same, mine in groups(step, kinds, cells):
        if not len(mine):
            continue
        values, tuples = product(mine, int(same[0])), summed.kinds[mine]
        for cell in same.tolist():
            begin, to = summed.along(cell, tuples)
            runs = algebra.segments(values, begin, 1)
            runs = np.broadcast_to(runs, (many, *runs.shape[1:])).reshape(many, -1)
            at = (to[:, None] * rest + np.arange(rest)).ravel()
            algebra.scatter(out[:, cell].reshape(many, -1), at, runs)
    return out


def above(
    step: Step, algebra: Algebra, outside: Numbers, cells: Ints, kinds: Ints
) -> Iterator[tuple[int, Ints, Numbers]]:
    """Yield what comes from above to kinds, for cells of the outer variable that are alike.

    Parameters
    ----------
    step, algebra, cells, kinds
        As in :func:`message`.
    outside : ndarray, shape (n_requests, cells of the outer variable, of the sum, of all others)
        What is around each cell of the message.

    Yields
    ------
    cell : int
        One of the outer variable's cells that are alike.
    kinds : ndarray of int
        Those that can be there.
    values : ndarray, shape (n_requests, n_kinds, cells of all others)
        What is around them.
    """
    summed = summed_of(step)
    for same, mine in groups(step, kinds, cells):
        if not len(mine):
            continue
        total: Numbers | None = None
        tuples = summed.kinds[mine]
        for cell in same.tolist():
            begin, to = summed.along(cell, tuples)
            around = outside[:, cell].take(to, axis=1)
            if not (around != algebra.none).any():
                continue
            length = np.diff(begin, append=len(mine))
            around = np.repeat(around, length, axis=1)
            total = around if total is None else algebra.add(total, around)
        if total is not None:
            yield int(same[0]), mine, total


def following(step: Step, kinds: Ints, where: Sequence[Ints]) -> tuple[Ints, Ints]:
    """Return the kinds with which some cells of the outer variable come to some of the sum.

    Parameters
    ----------
    step : Step
        The step.
    kinds : ndarray of int
        Those that count.
    where : sequence of ndarray of int
        The places of some cells of the separator, along each of its axes.

    Returns
    -------
    owner : ndarray of int
        Which of the cells; ascending.
    kind : ndarray of int
        Ascending for each.
    """
    summed = summed_of(step)
    outer, sums = where[summed.outer], where[summed.sum]
    owners, found = [np.zeros(0, dtype=np.intp)], [np.zeros(0, dtype=np.intp)]
    for same, mine in groups(step, kinds, distinct(outer)):
        tuples = summed.kinds[mine]
        for cell in same.tolist():
            asked = np.flatnonzero(outer == cell)
            begin, to = summed.along(cell, tuples)
            length = np.diff(begin, append=len(mine))
            order = np.argsort(to, kind="stable")
            first, last = (
                np.searchsorted(to[order], sums[asked], side=side) for side in ("left", "right")
            )
            of_cell, number = spread((last - first).astype(np.intp))
            run = order[first[of_cell] + number]
            of_run, number = spread(length[run].astype(np.intp))
            owners.append(asked[of_cell[of_run]])
            found.append(mine[begin[run[of_run]] + number])
    owner, kind = np.concatenate(owners), np.concatenate(found)
    order = np.lexsort((kind, owner))
    return owner[order], kind[order]


def _own(summed: Summed) -> tuple[int, int]:
    return summed.outer, summed.sum


def laid_out(step: Step, values: Numbers) -> Numbers:
    """Return a message as :func:`message` has it, over the axes of the separator."""
    summed = summed_of(step)
    others = [a for a in range(len(step.shape)) if a not in _own(summed)]
    sizes = [step.shape[a] for a in (*_own(summed), *others)]
    return np.moveaxis(
        values.reshape(len(values), *sizes),
        range(1, len(sizes) + 1),
        [a + 1 for a in (*_own(summed), *others)],
    )


def folded(step: Step, values: Numbers) -> Numbers:
    """Return values over the axes of the separator as :func:`message` has them."""
    summed = summed_of(step)
    others = [a for a in range(len(step.shape)) if a not in _own(summed)]
    turned = np.moveaxis(
        values, [a + 1 for a in (*_own(summed), *others)], range(1, len(step.shape) + 1)
    )
    return turned.reshape(*turned.shape[:3], -1)


def dead(step: Step, kinds: Ints, messages: Mapping[int, Numbers], algebra: Algebra) -> Ints:
    """Return kinds without those that some message over them alone rules out for all requests.

    Parameters
    ----------
    step, kinds, algebra
        As in :func:`message`.
    messages : mapping of int to ndarray
        By child, over (requests, its cells).
    """
    for part in step.parts:
        if part.child >= 0 and not part.axes:
            good = (messages[part.child] != algebra.none).any(axis=0)
            kinds = kinds[good[kinds if part.kind is None else part.kind[kinds]]]
    return kinds
