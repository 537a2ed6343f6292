"""How the parts of a step are multiplied out: in one group, or in two that meet."""

from __future__ import annotations

import functools
import itertools
import math
import operator
from collections.abc import Sequence

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.solve.plan import Group, Operand
from fitgraph.solve.relations import combined

#: Work below which a step is done as it comes, and what starting a block costs.
_SMALL, _BLOCK = 20_000, 50_000

#: How many times fewer kinds a group has to tell apart to be put over them first.
_FEW = 3

#: The groups, the parts in neither, and the block of each cell of the axes that these are over.
Grouped = tuple[tuple[Group, ...], tuple[int, ...], dict[int, Ints]]


def _group(parts: Sequence[Operand], numbers: Sequence[int], kinds: int) -> Group:
    axes = tuple(sorted({a for n in numbers for a in parts[n].axes}))
    maps = [parts[n].kind for n in numbers]
    few = None
    if maps and all(m is not None for m in maps):
        place, first = combined([m for m in maps if m is not None], np.arange(kinds))
        if _FEW * len(first) <= kinds:
            few = (first, place)
    return Group(tuple(numbers), axes, few)


def grouped(parts: Sequence[Operand], kinds: int, shape: Sequence[int], *, whole: bool) -> Grouped:
    """Return how to multiply parts out: two groups that meet, and bridges between them.

    A bridge is over axes of both groups, but tells few of their cells apart; the groups meet
    block by block of cells that are alike to it.
    """
    if not parts:
        return (), (), {}
    everything: Grouped = ((_group(parts, range(len(parts)), kinds),), (), {})
    scopes = sorted({p.axes for p in parts if p.axes}, key=lambda s: (len(s), s))

    @functools.cache
    def cells(axes: int) -> float:
        """Return how many cells some axes have, a bit an axis."""
        return float(math.prod(n for a, n in enumerate(shape) if axes >> a & 1))

    bits = [sum(1 << a for a in s) for s in scopes]
    every = functools.reduce(operator.or_, bits, 0)
    if whole or every.bit_count() < 2 or kinds * cells(every) < _SMALL or len(scopes) > 6:
        return everything
    coarse = {  # how many blocks a scope as bridge makes of each of its axes
        s: {
            a: max(
                shape[a] if c is None else int(c.max(initial=0)) + 1
                for p in parts
                if p.axes == s
                for b, c in zip(p.axes, p.cells, strict=True)
                if b == a
            )
            for a in s
        }
        for s in scopes
    }
    told = {  # how many kinds a scope tells apart at the most
        s: min(
            math.prod(
                kinds if p.kind is None else int(p.kind.max(initial=0)) + 1
                for p in parts
                if p.axes == s
            ),
            kinds,
        )
        for s in scopes
    }
    size = {s: sum(p.axes == s for p in parts) for s in scopes}
    best: tuple[float, tuple[int, ...] | None] = (kinds * cells(every) * len(parts), None)
    for roles in itertools.product((0, 1, 2), repeat=len(scopes)):
        sides = [0, 0]
        for mine, r in zip(bits, roles, strict=True):
            if r < 2:
                sides[r] |= mine
        if not sides[0] or not sides[1] or sides[0] | sides[1] != every:
            continue
        apart, many = [1, 1], [0, 0]
        blocks: dict[int, int] = {}
        for s, r in zip(scopes, roles, strict=True):
            if r == 2:
                for a, n in coarse[s].items():
                    blocks[a] = min(blocks.get(a, 1) * n, shape[a])
            else:
                apart[r] = min(apart[r] * told[s], kinds)
                many[r] += size[s]
        few = 0 if apart[0] <= apart[1] else 1
        fewest = apart[few] if _FEW * apart[few] <= kinds else kinds
        cost = (
            fewest * cells(sides[few]) * many[few]
            + kinds * cells(sides[1 - few]) * (many[1 - few] + 1)
            + fewest * cells(every) / 16
            + math.prod(blocks.values()) * (_BLOCK if blocks else 0)
        )
        if cost < best[0]:
            best = (cost, roles)
    if best[1] is None:
        return everything
    role_of = dict(zip(scopes, best[1], strict=True))
    of_side: list[list[int]] = [[], [], []]
    for n, part in enumerate(parts):
        if part.axes:
            of_side[role_of[part.axes]].append(n)
    groups = [_group(parts, side, kinds) for side in of_side[:2]]

    def distinct(group: Group) -> int:
        return kinds if group.few is None else len(group.few[0])

    groups.sort(key=distinct)  # the first is put over the kinds that it tells apart
    bridged: dict[int, Ints] = {}
    for n in of_side[2]:
        for axis, cells_of in zip(parts[n].axes, parts[n].cells, strict=True):
            places = np.arange(shape[axis]) if cells_of is None else cells_of
            if axis in bridged:
                places = combined([bridged[axis], places], np.arange(shape[axis]))[0]
            bridged[axis] = places
    unary = [n for n, part in enumerate(parts) if not part.axes]
    if unary:
        groups[1] = _group(parts, [*groups[1].parts, *unary], kinds)
    return tuple(groups), tuple(of_side[2]), bridged
