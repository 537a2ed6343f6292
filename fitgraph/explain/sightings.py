"""How common every combination of what can be seen is, over all complete builds.

Options of a role that look alike to every question share a look. One pass up the plan's
rows sums the weights of builds by the looks of their roles, so that afterwards a question
costs a few array operations, however many builds there are.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.array_types import Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.arrays import spread
from fitgraph.solve.plan import Step
from fitgraph.solve.space import Space

_LARGEST_KEY = 2**60


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


def _pass(
    space: Space,
    weights: Mapping[str, Floats],
    look_of: Mapping[str, Ints],
    *,
    certain: bool,
) -> tuple[dict[str, Ints], Floats]:
    support = space.support(certain=certain)
    steps = support.plan.steps
    sums: list[_Sums] = []
    for step, rows in zip(steps, support.rows, strict=True):
        weight, looks = np.ones(len(rows.cell)), dict[str, Ints]()
        at = np.arange(len(rows.cell))
        parts = [(after.at, sums[child]) for child, after in rows.after.items()]
        if step.is_role:
            parts.append((rows.kind.at, _of_kinds(step, space, weights, look_of)))
        for into, more in parts:
            owner, place = _spread(into[at], more)
            at, weight = at[owner], weight[owner] * more.weight[place]
            looks = {r: v[owner] for r, v in looks.items()}
            looks |= {r: v[place] for r, v in more.looks.items()}
        sums.append(_summed(rows.cell[at], rows.cells, looks, weight))
    found: list[tuple[dict[str, Ints], Floats]] = []
    for case in support.cases:  # roots without a common role are independent
        looks, weight = dict[str, Ints](), np.ones(1)
        for root in case.roots:
            owner, place = _spread(np.zeros(len(weight), dtype=np.intp), sums[root])
            weight = weight[owner] * sums[root].weight[place]
            looks = {r: v[owner] for r, v in looks.items()}
            looks |= {r: v[place] for r, v in sums[root].looks.items()}
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
