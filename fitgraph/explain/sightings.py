"""How common every combination of what can be seen is, over all complete builds.

Options of a role that look alike to every question share a look. One pass up the junction
tree sums the weights of builds by the looks of their roles, so that afterwards a question
costs a few array operations, however many builds there are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.solve.arrays import spread
from fitgraph.solve.space import Space

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]

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
    tree = space.tree
    per_class: dict[str, _Sums] = {}
    for role, klass in space.class_of.items():
        used = np.flatnonzero(weights[role] > 0)
        mine = {role: look_of[role][used]} if role in look_of else {}
        per_class[role] = _summed(klass[used], tree.sizes[role], mine, weights[role][used])
    sums: list[_Sums] = []
    for clique in tree.cliques:
        rows = np.flatnonzero(clique.certain) if certain else np.arange(len(clique.rows))
        weight = np.ones(len(rows))
        looks = dict[str, Ints]()
        parts = [(clique.column(v), per_class[v]) for v in clique.own if v in per_class]
        parts += [(tree.cliques[c].group_in_parent, sums[c]) for c in clique.children]
        for into, more in parts:
            group = into[rows]
            owner, number = spread(more.counts[group])
            at = more.starts[group[owner]] + number
            rows, weight = rows[owner], weight[owner] * more.weight[at]
            looks = {r: v[owner] for r, v in looks.items()}
            looks |= {r: v[at] for r, v in more.looks.items()}
        group = clique.group_of[rows] if len(rows) else np.zeros(0, dtype=np.intp)
        sums.append(_summed(group, len(clique.starts), looks, weight))
    looks, weight = dict[str, Ints](), np.ones(1)
    for root in tree.roots:  # trees without a common role are independent
        more = sums[root]
        owner, at = spread(np.full(len(weight), len(more.weight), dtype=np.intp))
        weight = weight[owner] * more.weight[at]
        looks = {r: v[owner] for r, v in looks.items()} | {r: v[at] for r, v in more.looks.items()}
    return looks, weight


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
