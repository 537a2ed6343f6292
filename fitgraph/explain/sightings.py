"""How common every combination of what can be seen is, over all complete builds.

Options of a role that look alike to every question share a look. One pass up the plan's
rows sums the weights of builds by the looks of their roles, so that afterwards a question
costs a few array operations, however many builds there are.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from fitgraph.array_types import Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.arrays import in_batches, spread
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.plan import Step
from fitgraph.solve.space import Space
from fitgraph.solve.support import Support
from fitgraph.stopping import check

_LARGEST_KEY = 2**60

#: Rows that are written out in one go.
_AT_ONCE = 1 << 20


@dataclass(frozen=True, slots=True)
class Looks:
    """Combinations of looks with their weights.

    Parameters
    ----------
    of : mapping of str to ndarray of int
        For each role that is looked at, the look in each combination.
    weight : ndarray of float
        How common each combination is; adds up to 1 unless nothing is possible.
    """

    of: Mapping[str, Ints]
    weight: Floats


@dataclass(slots=True)
class _Sums:
    """Weights by group and looks, sorted by group."""

    starts: Ints
    counts: Ints
    looks: dict[str, Ints]
    weight: Floats


def _summed(group: Ints, groups: int, looks: Mapping[str, Ints], weight: Floats) -> _Sums:
    """Return weights added up over equal group and looks."""
    key = group.astype(np.int64)
    size = max(groups, 1)
    for values in looks.values():
        width = int(values.max(initial=0)) + 1
        if size * width >= _LARGEST_KEY:
            distinct, key = np.unique(key, return_inverse=True)
            size = len(distinct)
        key = key * width + values
        size *= width
    _, first, place = np.unique(key, return_index=True, return_inverse=True)
    total = np.bincount(place, weights=weight, minlength=len(first)).astype(float)
    order = np.argsort(group[first], kind="stable")
    first, total = first[order], total[order]
    counts = np.bincount(group[first], minlength=groups).astype(np.intp)
    return _Sums(
        (np.cumsum(counts) - counts).astype(np.intp),
        counts,
        {r: v[first] for r, v in looks.items()},
        total,
    )


@dataclass(slots=True)
class _Rows:
    """Some rows of a step: the kind, the cell, and what each opens."""

    kind: Ints
    cell: Ints
    after: dict[int, Ints]


def _rows_of(runs: Support | Circuit, place: int) -> Iterator[_Rows]:
    """Yield the rows of a step; those of a circuit are written out some at a time."""
    if isinstance(runs, Support):
        rows = runs.rows[place]
        yield _Rows(rows.kind.at, rows.cell, {c: a.at for c, a in rows.after.items()})
        return
    step = runs.steps[place]
    long = step.end - step.begin
    node = np.arange(len(long))
    if step.first is not None:
        node = np.repeat(np.arange(step.nodes), np.diff(np.append(step.first, len(long))))
    for begin, end in in_batches(long, _AT_ONCE):
        run, number = spread(long[begin:end])
        row = step.begin[begin:end][run] + number
        kind = step.kind[row]
        after = {c: at[kind] for c, at in step.of_kind.items()}
        yield _Rows(kind, node[begin:end][run], after | {c: a[row] for c, a in step.opens.items()})


def _put_together(found: Sequence[_Sums], groups: int) -> _Sums:
    """Return weights over groups and looks from those of some rows each."""
    if len(found) == 1:
        return found[0]
    every = np.arange(groups, dtype=np.intp)
    none = np.zeros(0, dtype=np.intp)
    return _summed(
        np.concatenate([none, *(np.repeat(every, s.counts) for s in found)]),
        groups,
        {r: np.concatenate([s.looks[r] for s in found]) for r in (found[0].looks if found else ())},
        np.concatenate([np.zeros(0), *(s.weight for s in found)]),
    )


def _pass(
    space: Space,
    weights: Mapping[str, Floats],
    look_of: Mapping[str, Ints],
    *,
    certain: bool,
) -> tuple[dict[str, Ints], Floats]:
    runs = space.runs(certain=certain)
    sums: list[_Sums] = []
    for place, step in enumerate(runs.plan.steps):
        nodes = runs.rows[place].cells if isinstance(runs, Support) else runs.steps[place].nodes
        own = [_of_kinds(step, space, weights, look_of)] if step.is_role else []
        some = []
        for rows in _rows_of(runs, place):
            check()
            weight, looks = np.ones(len(rows.cell)), dict[str, Ints]()
            at = np.arange(len(rows.cell))
            parts = [(after, sums[child]) for child, after in rows.after.items()]
            for into, more in (*parts, *((rows.kind, of) for of in own)):
                owner, kept = _spread(into[at], more)
                at, weight = at[owner], weight[owner] * more.weight[kept]
                looks = {r: v[owner] for r, v in looks.items()}
                looks |= {r: v[kept] for r, v in more.looks.items()}
            some.append(_summed(rows.cell[at], nodes, looks, weight))
        sums.append(_put_together(some, nodes))
    found: list[tuple[dict[str, Ints], Floats]] = []
    for case in runs.cases:  # roots without a common role are independent
        looks, weight = dict[str, Ints](), np.ones(1)
        for root in case.roots:
            owner, kept = _spread(np.zeros(len(weight), dtype=np.intp), sums[root])
            weight = weight[owner] * sums[root].weight[kept]
            looks = {r: v[owner] for r, v in looks.items()}
            looks |= {r: v[kept] for r, v in sums[root].looks.items()}
        found.append((looks, weight))
    return (
        {
            r: np.concatenate([np.zeros(0, dtype=np.intp), *(f[0][r] for f in found)])
            for r in look_of
        },
        np.concatenate([np.zeros(0), *(w for _, w in found)]),
    )


def _of_kinds(
    step: Step, space: Space, weights: Mapping[str, Floats], look_of: Mapping[str, Ints]
) -> _Sums:
    """Return the weights of a role's options by the kinds of a step, and by their looks."""
    role = step.variable
    kind = step.kind_of[space.class_of[role]]
    used = np.flatnonzero((weights[role] > 0) & (kind >= 0))
    mine = {role: look_of[role][used]} if role in look_of else {}
    return _summed(kind[used], step.kinds, mine, weights[role][used])


def _spread(group: Ints, more: _Sums) -> tuple[Ints, Ints]:
    """Return, for each entry of each given group, its place among those given and in the sums."""
    owner, number = spread(more.counts[group])
    return owner, more.starts[group[owner]] + number


def looks_of_builds(
    space: Space,
    weights: Mapping[str, Floats],
    look_of: Mapping[str, Ints],
    doubt: float,
) -> Looks:
    """Return every combination of looks that a build can have, with its weight.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    weights : mapping of str to ndarray of float
        How common each option of each role is; zero keeps it out.
    look_of : mapping of str to ndarray of int
        For each role that is looked at, the look of each option.
    doubt : float
        What a build counts for that is possible but not certain, against a certain one.

    Returns
    -------
    Looks
        The weight of a build is the product of those of its options.
    """
    scaled = {r: w / max(w.sum(), 1e-300) for r, w in weights.items()}
    sure, sure_weight = _pass(space, scaled, look_of, certain=True)
    maybe, maybe_weight = _pass(space, scaled, look_of, certain=False)
    weight = np.concatenate([sure_weight * (1 - doubt), maybe_weight * doubt])
    looks = {r: np.concatenate([sure[r], maybe[r]]) for r in look_of}
    merged = _summed(np.zeros(len(weight), dtype=np.intp), 1, looks, weight)
    total = merged.weight.sum()
    return Looks(merged.looks, merged.weight / total if total > 0 else merged.weight)
