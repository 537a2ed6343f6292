"""The least that builds through each class of one role cost, along rows that are held as runs.

Up the steps goes the least of every node's rows, down again the least of all that is around them.
Rows are looked at in batches, so that nothing is held for each of them. Runs share rows: they are
cut into pieces where a run begins or ends, and a run is two blocks of 2**k pieces that cover it
[1]_; what is around a piece is handed down from block to half block.

References
----------
.. [1] M. A. Bender, M. Farach-Colton, "The LCA problem revisited", LATIN 2000, LNCS 1776,
   88-94 (reference checked).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from fitgraph.array_types import Floats, Ints
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.plan import Step
from fitgraph.solve.support import CircuitStep
from fitgraph.stopping import check


def least_each(circuit: Circuit, costs: Mapping[str, Floats], role: str) -> Floats:
    """Return the least that all others cost in a build with each class of one role.

    Parameters
    ----------
    circuit : Circuit
        The rows of a plan.
    costs : mapping of str to ndarray of float, shape (n_classes,)
        What each base class of each role costs; infinite where it is not let in. What they say of
        the role itself does not count.
    role : str
        The role.

    Returns
    -------
    ndarray of float, shape (n_classes,)
        Infinite where there is no build.
    """
    plan = circuit.plan
    free = {**costs, role: np.zeros(plan.sizes[role])}
    own = [_of_kinds(free[step.variable], step) if step.is_role else None for step in plan.steps]
    below: list[Floats] = []
    for lines, of_kinds in zip(circuit.steps, own, strict=True):
        check()
        below.append(_up(lines, of_kinds, below))
    outside: dict[int, Floats] = {}

    def reach(place: int, at: Ints, values: Floats) -> None:
        if place not in outside:
            outside[place] = np.full(circuit.steps[place].nodes, np.inf)
        np.minimum.at(outside[place], at, values)

    for case in circuit.cases:
        for root in case.roots:
            if role in plan.steps[root].below:
                rest = sum(float(below[r][0]) for r in case.roots if r != root)
                reach(root, np.zeros(1, dtype=np.intp), np.array([rest]))
    found = np.full(plan.sizes[role], np.inf)
    for place in range(len(plan.steps) - 1, -1, -1):
        check()
        around = outside.pop(place, None)
        if around is None:
            continue
        step, lines = plan.steps[place], circuit.steps[place]
        if step.variable != role:
            children = (*lines.of_kind, *lines.opens)
            down = [c for c in children if role in plan.steps[c].below]
            for child, at, share in _down(lines, around, own[place], below, down):
                reach(child, at, share)
            continue
        kinds = np.full(step.kinds, np.inf)
        for _, at, share in _down(lines, around, own[place], below, [-1]):
            np.minimum.at(kinds, at, share)
        found[step.domain] = np.minimum(found[step.domain], kinds[step.kind_of[step.domain]])
    return found


def _of_kinds(cost: Floats, step: Step) -> Floats:
    """Return costs of base classes as least costs of a step's kinds."""
    found = np.full(step.kinds, np.inf)
    np.minimum.at(found, step.kind_of[step.domain], cost[step.domain])
    return found


def _kinds_in_all(step: CircuitStep, own: Floats | None, below: Sequence[Floats]) -> Floats | None:
    """Return what each kind costs with all that it alone opens; None where that is nothing."""
    if not len(step.kind):
        return own
    for child, at in step.of_kind.items():
        value = below[child][at]
        own = value if own is None else own + value
    return own


def _up(step: CircuitStep, own: Floats | None, below: Sequence[Floats]) -> Floats:
    """Return the least of each node's rows, with all below them."""
    kinds, pieces = _kinds_in_all(step, own, below), step.pieces
    least = np.full(len(pieces), np.inf)
    for some, rows in pieces.batches:
        value = np.zeros(rows.stop - rows.start)
        if kinds is not None:
            value += kinds[step.kind[rows]]
        for child, at in step.opens.items():
            value += below[child][at[rows]]
        least[some] = np.minimum.reduceat(value, pieces.cuts[some] - rows.start)
    if not pieces.alone:
        of_run = np.full(len(pieces.low), np.inf)
        for half, run, low, high in _blocks(step):
            if half:
                least = np.minimum(least[:-half], least[half:])
            of_run[run] = np.minimum(least[low], least[high])
        least = of_run
    if step.first is not None and len(least):
        least = np.minimum.reduceat(least, step.first)
    return least


def _blocks(step: CircuitStep) -> Iterator[tuple[int, Ints, Ints, Ints]]:
    """Yield, for blocks of 2**k pieces, half of that, the runs that two cover, and their places.

    The half is zero for single pieces; the places are the first pieces of the two blocks.
    """
    low, high = step.pieces.low, step.pieces.high
    some = np.flatnonzero(low < high)
    level = np.full(len(low), -1)
    level[some] = np.log2(high[some] - low[some]).astype(np.intp)
    for k in range(int(level.max(initial=-1)) + 1):
        run = np.flatnonzero(level == k)
        yield (1 << k) >> 1, run, low[run], high[run] - (1 << k)


def _around(step: CircuitStep, around: Floats) -> Floats:
    """Return the least that is around each piece of a step's rows."""
    runs, pieces = around, step.pieces
    if step.first is not None:
        runs = np.repeat(around, np.diff(np.append(step.first, len(step.begin))))
    if pieces.alone:
        return runs
    found = np.full(0, np.inf)
    for half, run, low, high in reversed(list(_blocks(step))):
        size = len(pieces) - (2 * half or 1) + 1
        level = np.full(size, np.inf)
        if len(found):  # of blocks twice as large
            wide = size - len(found)
            level[: len(found)] = found
            level[wide:] = np.minimum(level[wide:], found)
        np.minimum.at(level, low, runs[run])
        np.minimum.at(level, high, runs[run])
        found = level
    return found if len(found) else np.full(len(pieces), np.inf)


def _down(
    step: CircuitStep,
    around: Floats,
    own: Floats | None,
    below: Sequence[Floats],
    targets: Sequence[int],
) -> Iterator[tuple[int, Ints, Floats]]:
    """Yield what rows hand on: to which child, or -1 for the step's own kinds; where; how much."""
    kinds, pieces, of_piece = _kinds_in_all(step, own, below), step.pieces, _around(step, around)
    through = [t for t in targets if t in step.of_kind or t == -1]
    whole = np.full(0 if kinds is None else len(kinds), np.inf)
    for some, rows in pieces.batches:
        if not np.isfinite(of_piece[some]).any():
            continue
        value = np.repeat(of_piece[some], np.diff(pieces.cuts[some.start : some.stop + 1]))
        kind = step.kind[rows]
        opened = {c: below[c][at[rows]] for c, at in step.opens.items()}
        if through:
            all_in = sum(opened.values(), start=value)
            good = np.flatnonzero(np.isfinite(all_in))
            np.minimum.at(whole, kind[good], all_in[good])
        for child in targets:
            if child in step.opens:
                share = value if kinds is None else value + kinds[kind]
                for other, rest in opened.items():
                    if other != child:
                        share = share + rest
                good = np.flatnonzero(np.isfinite(share))
                yield child, step.opens[child][rows][good].astype(np.intp), share[good]
    every = np.arange(len(whole))
    for child in through:
        share = whole
        if child != -1 and own is not None:
            share = share + own
        for other, at in step.of_kind.items():
            if other != child:
                share = share + below[other][at]
        yield child, every if child == -1 else step.of_kind[child].astype(np.intp), share
