"""The k best builds under limits, provably: branch and bound over the junction tree.

The search goes down the tree breadth first, all partial builds at once as
arrays. A partial build's bound is what it has spent plus the least that its
open subtrees can add (exact min-sum messages). Its witness is one complete
build that a message stands for: where the witness keeps the limits, the k-th
best witness bounds everything from above, and whatever cannot beat it is
dropped. Limits enter the bounds through Lagrange multipliers. First walks carry
only the most promising partial builds; what they find is what the last, full
walk has to beat.

References
----------
.. [1] G. Y. Handler, I. Zang, "A dual algorithm for the constrained shortest
   path problem", Networks 10 (1980) 293-309 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.solve.arrays import members, spread
from fitgraph.solve.tree import Clique, Tree

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]

#: More partial builds than this at once would not fit in memory.
WIDEST = 4_000_000

#: Partial solutions that first, quick walks carry for each one that is asked for (or for so
#: many, where fewer are), to learn what there is to beat.
BEAMS, AT_LEAST = (4, 40), 50

#: Steps of the dual ascent, how many of its last bounds the search carries, and by what the
#: last multiplier is varied for more of them.
_DUAL_STEPS, _DUAL_KEPT, _LADDER = 12, 2, (0.5, 2.0)

#: Relative rounding that a bound with multipliers may carry.
_ROUNDING = 1e-9


class TooWideError(RuntimeError):
    """The search would hold more partial builds than its ceiling."""


@dataclass(frozen=True, slots=True)
class Criteria:
    """What is minimised and what is limited, all of it additive.

    Parameters
    ----------
    costs : ndarray of float, shape (1 + n_limits, n_options), per variable
        The first row is minimised; the others are limited. Whole numbers, so
        that sums are exact.
    limits : ndarray of float, shape (n_limits,)
        Infinite where there is none.
    """

    costs: Mapping[str, Floats]
    limits: Floats


@dataclass(frozen=True, slots=True)
class Bound:
    """Min-sum messages of one weighting of the criteria."""

    multipliers: Floats
    option: dict[str, Floats]  # weighted cost per option
    best_in_class: dict[str, Ints]  # option of least weighted cost, -1 where none
    row: list[Floats]  # (n_rows,) weighted
    row_witness: list[Floats]  # (n_rows, n_criteria)
    message: list[Floats]  # (n_groups,)
    witness: list[Floats]  # (n_groups, n_criteria)


def _least_per_class(cost: Floats, lets: Bools, class_of: Ints, size: int) -> Ints:
    """Return the cheapest allowed option of each class, -1 where there is none."""
    best = np.full(size, -1, dtype=np.intp)
    candidates = np.flatnonzero(lets)
    order = candidates[np.lexsort((candidates, cost[candidates]))][::-1]
    best[class_of[order]] = order
    return best


def min_sum(
    tree: Tree,
    class_of: Mapping[str, Ints],
    lets: Mapping[str, Bools],
    criteria: Criteria,
    multipliers: Floats,
    *,
    certain: bool,
) -> Bound:
    """Return the min-sum messages of one weighting of the criteria."""
    option = {v: np.tensordot(multipliers, c, axes=1) for v, c in criteria.costs.items()}
    best = {v: _least_per_class(option[v], lets[v], class_of[v], tree.sizes[v]) for v in class_of}
    # Weighted cost, then the criteria, side by side: one look-up adds them all.
    of_class = {}
    for variable, chosen in best.items():
        weighted = np.where(chosen < 0, np.inf, option[variable][chosen])
        of_class[variable] = np.column_stack([weighted, criteria.costs[variable][:, chosen].T])
    rows: list[Floats] = []
    messages: list[Floats] = []
    for clique in tree.cliques:
        sums = np.zeros((len(clique.rows), 1 + len(multipliers)))
        if certain:
            sums[~clique.certain, 0] = np.inf
        for variable in (v for v in clique.own if v in class_of):
            sums += of_class[variable].take(clique.column(variable), axis=0)
        for child in clique.children:
            sums += messages[child].take(tree.cliques[child].group_in_parent, axis=0)
        rows.append(sums)
        if not len(sums):
            messages.append(sums)
            continue
        value = sums[:, 0]
        least = np.minimum.reduceat(value, clique.starts)
        group_of = clique.group_of
        at = np.flatnonzero(value == least[group_of])
        first = np.full(len(least), -1, dtype=np.intp)
        first[group_of[at[::-1]]] = at[::-1]
        messages.append(sums.take(first, axis=0))
    return Bound(
        multipliers,
        option,
        best,
        [r[:, 0] for r in rows],
        [r[:, 1:] for r in rows],
        [m[:, 0] for m in messages],
        [m[:, 1:] for m in messages],
    )


def _weightings(
    tree: Tree,
    class_of: Mapping[str, Ints],
    lets: Mapping[str, Bools],
    criteria: Criteria,
    *,
    certain: bool,
) -> list[Bound]:
    """Return bounds for the objective, for each limited criterion, and for a dual optimum."""
    width = 1 + len(criteria.limits)

    def bound(multipliers: Floats) -> Bound:
        return min_sum(tree, class_of, lets, criteria, multipliers, certain=certain)

    objective, *singles = np.eye(width)
    pure = bound(objective)
    bounds = [pure]
    for k, limit in enumerate(criteria.limits, start=1):
        if not np.isfinite(limit):
            continue
        alone = bound(singles[k - 1])
        bounds.append(alone)
        root_pure, root_alone = at_roots(tree, pure), at_roots(tree, alone)
        if not np.isfinite(root_pure).all() or root_pure[k] <= limit or root_alone[k] > limit:
            continue
        # Dual ascent by tangents: the multiplier at which two witnesses tie.
        worse, better = root_pure, root_alone
        trials: list[Bound] = []
        for _ in range(_DUAL_STEPS):
            if worse[k] == better[k]:
                break
            slope = (better[0] - worse[0]) / (worse[k] - better[k])
            trial = bound(objective + slope * singles[k - 1])
            trials.append(trial)
            found = at_roots(tree, trial)
            reached = found[0] + slope * found[k]
            if reached >= worse[0] + slope * worse[k] - _ROUNDING * (1 + abs(reached)):
                break  # the two witnesses are both optimal here: this is the dual's top
            if found[k] > limit:
                worse = found
            else:
                better = found
        bounds.extend(trials[-_DUAL_KEPT:])
        # Parts of the space have optima of their own at other multipliers.
        for factor in _LADDER if trials else ():
            bounds.append(bound(factor * trials[-1].multipliers + (1 - factor) * objective))
    return bounds


def at_roots(tree: Tree, bound: Bound) -> Floats:
    """Return the criteria of the witness of the whole tree; infinite where none."""
    total = np.zeros(len(bound.multipliers))
    for root in tree.roots:
        message = bound.message[root]
        if not len(message) or not np.isfinite(message[0]):
            return np.full(len(total), np.inf)
        total = total + bound.witness[root][0]
    return total


class _Frontier:
    """Partial builds as arrays: rows chosen, options chosen, bounds, witnesses."""

    def __init__(self, tree: Tree, bounds: Sequence[Bound]) -> None:
        self.row: dict[int, Ints] = {}
        self.option: dict[str, Ints] = {}
        self.value = [np.array([sum(b.message[r][0] for r in tree.roots)]) for b in bounds]
        self.witness = [
            np.array([sum(b.witness[r][0] for r in tree.roots)]).reshape(1, -1) for b in bounds
        ]

    def __len__(self) -> int:
        return len(self.value[0])

    def take(self, at: Ints) -> None:
        """Keep, and repeat, the partial builds at the given places."""
        self.row = {k: v[at] for k, v in self.row.items()}
        self.option = {k: v[at] for k, v in self.option.items()}
        self.value = [v[at] for v in self.value]
        self.witness = [w[at] for w in self.witness]


@dataclass
class _Search:
    """What a walk down the tree has to beat, and how wide it may grow.

    Parameters
    ----------
    criteria : Criteria
        Costs and limits.
    bounds : sequence of Bound
        Lower bounds and witnesses.
    k : int
        How many solutions are asked for.
    step : float
        All costs are multiples of it.
    threshold : float
        So many solutions that keep the limits are known to cost no more.
    beam : int or None
        Most partial solutions that are carried on; None for all.
    widest : int
        Ceiling on partial solutions held at once.
    narrowed : bool
        Whether the beam left any out.
    """

    criteria: Criteria
    bounds: Sequence[Bound]
    k: int
    step: float
    threshold: float
    beam: int | None
    widest: int
    narrowed: bool = False

    def judged(self, values: Sequence[Floats]) -> tuple[Bools, Floats]:
        """Return who may keep the limits, by its bounds, and the least that it can cost."""
        keep = np.ones(len(values[0]), dtype=bool)
        dual = np.full(len(keep), -np.inf)
        for bound, value in zip(self.bounds, values, strict=True):
            keep &= np.isfinite(value)
            m = bound.multipliers
            if m[0] == 0.0:
                only = int(np.flatnonzero(m)[0])
                keep &= value <= self.criteria.limits[only - 1]
            else:
                spent = sum(m[j] * self.criteria.limits[j - 1] for j in range(1, len(m)) if m[j])
                np.maximum(dual, value - spent, out=dual)
        return keep, dual

    def promising(self, values: Sequence[Floats]) -> Ints:
        """Return the places of those that can cost no more than what is known."""
        keep, dual = self.judged(values)
        if np.isfinite(self.threshold):
            keep &= dual <= self.threshold + _ROUNDING * (1 + abs(self.threshold))
        return np.flatnonzero(keep)

    def prune(self, frontier: _Frontier) -> None:
        """Drop what breaks a limit for certain, and what cannot be among the k best."""
        keep, dual = self.judged(frontier.value)
        upper = np.full(len(frontier), np.inf)
        for witness in frontier.witness:
            inside = (witness[:, 1:] <= self.criteria.limits).all(axis=1)
            upper = np.where(inside & keep, np.minimum(upper, witness[:, 0]), upper)
        chosen = np.zeros(len(frontier), dtype=bool)
        if len(frontier) >= self.k:
            ranked = np.argpartition(upper, self.k - 1)[: self.k]
            reached = float(upper[ranked].max())
            if np.isfinite(reached) and reached <= self.threshold:
                self.threshold = reached
                chosen[ranked] = True
        if np.isfinite(self.threshold):
            # Only what costs a step less changes the answer: k that cost no more are known.
            wanted = self.threshold - self.step
            wanted += _ROUNDING * (1 + abs(wanted))
            keep &= (dual <= wanted) | chosen
        kept = np.flatnonzero(keep)
        if self.beam is not None and len(kept) > self.beam:
            self.narrowed = True
            half = self.beam // 2
            kept = np.union1d(
                kept[np.argpartition(dual[kept], half)[:half]],
                kept[np.argpartition(upper[kept], half)[:half]],
            )
        frontier.take(kept)


def _choose_rows(frontier: _Frontier, tree: Tree, at: int, search: _Search) -> None:
    clique, bounds = tree.cliques[at], search.bounds
    if clique.parent < 0:
        group = np.zeros(len(frontier), dtype=np.intp)
    else:
        group = clique.group_in_parent[frontier.row[clique.parent]]
    ends = np.append(clique.starts[1:], len(clique.rows))
    counts = (ends - clique.starts)[group]
    if counts.sum() > search.widest:
        raise TooWideError
    owner, number = spread(counts)
    row = clique.starts[group[owner]] + number
    with np.errstate(invalid="ignore"):
        rest = [v - b.message[at][group] for v, b in zip(frontier.value, bounds, strict=True)]
        value = [r[owner] + b.row[at][row] for r, b in zip(rest, bounds, strict=True)]
    kept = search.promising(value)
    owner, row = owner[kept], row[kept]
    frontier.take(owner)
    frontier.value = [v[kept] for v in value]
    group = group[owner]
    for i, bound in enumerate(bounds):
        frontier.witness[i] += bound.row_witness[at][row] - bound.witness[at][group]
    frontier.row[at] = row


def _choose_options(
    frontier: _Frontier,
    clique: Clique,
    at: int,
    variable: str,
    of_class: tuple[Ints, Ints],
    search: _Search,
) -> None:
    (ordered, starts), bounds = of_class, search.bounds
    klass = clique.column(variable)[frontier.row[at]]
    counts = np.diff(np.append(starts, len(ordered)))[klass]
    if counts.sum() > search.widest:
        raise TooWideError
    owner, number = spread(counts)
    option = ordered[starts[klass[owner]] + number]
    stood = [b.best_in_class[variable][klass] for b in bounds]
    value = [
        (v - b.option[variable][s])[owner] + b.option[variable][option]
        for v, s, b in zip(frontier.value, stood, bounds, strict=True)
    ]
    kept = search.promising(value)
    owner, option = owner[kept], option[kept]
    frontier.take(owner)
    frontier.value = [v[kept] for v in value]
    costs = np.ascontiguousarray(search.criteria.costs[variable].T)
    for i, before in enumerate(stood):
        frontier.witness[i] += costs[option] - costs[before[owner]]
    frontier.option[variable] = option


def k_best(
    tree: Tree,
    class_of: Mapping[str, Ints],
    lets: Mapping[str, Bools],
    criteria: Criteria,
    k: int,
    *,
    certain: bool,
    widest: int = WIDEST,
) -> tuple[dict[str, Ints], Floats]:
    """Return the k solutions of least cost that keep the limits.

    Parameters
    ----------
    tree : Tree
        The junction tree over classes.
    class_of : mapping of str to ndarray of int
        The class of each option.
    lets : mapping of str to ndarray of bool
        Which options may be used.
    criteria : Criteria
        Costs and limits.
    k : int
        How many to return; fewer where there are fewer.
    certain : bool
        Whether rows that are only possible are left out.
    widest : int
        Ceiling on partial solutions held at once.

    Returns
    -------
    options : dict of str to ndarray of int, shape (n,)
        The option chosen for each variable.
    costs : ndarray of float, shape (n, n_criteria)
        Their criteria, sorted by cost; ties by the other criteria, then by
        the options' places.

    Raises
    ------
    TooWideError
        If more than `widest` partial solutions would have to be held.

    Notes
    -----
    Exact: a partial solution is dropped only when its lower bound breaks a
    limit, or is no better than the k-th best of as many complete solutions
    that are known to keep the limits. Only the last walk, or one whose beam
    left nothing out, ends the search.
    """
    step, criteria = _in_steps(criteria, lets)
    bounds = _weightings(tree, class_of, lets, criteria, certain=certain)
    none = {v: np.zeros(0, dtype=np.intp) for v in class_of}
    if k < 1 or not np.isfinite(at_roots(tree, bounds[0])).all():
        return none, np.zeros((0, 1 + len(criteria.limits)))
    options, costs = none, np.zeros((0, 1 + len(criteria.limits)))
    for beam in (*(b * max(k, AT_LEAST) for b in BEAMS), None):
        threshold = float(costs[k - 1, 0]) if len(costs) == k else np.inf
        search = _Search(criteria, bounds, k, step, threshold, beam, widest)
        found, found_costs = _walk(tree, class_of, lets, search)
        options = {v: np.concatenate([options[v], found[v]]) for v in class_of}
        options, costs = _ranked(options, np.concatenate([costs, found_costs]), k)
        if not search.narrowed:
            break
    return options, costs


def _walk(
    tree: Tree, class_of: Mapping[str, Ints], lets: Mapping[str, Bools], search: _Search
) -> tuple[dict[str, Ints], Floats]:
    """Return the best solutions that a walk down the tree finds."""
    criteria, frontier = search.criteria, _Frontier(tree, search.bounds)
    for at in tree.preorder:
        clique = tree.cliques[at]
        _choose_rows(frontier, tree, at, search)
        search.prune(frontier)
        for variable in (v for v in clique.own if v in class_of):
            of_class = members(class_of[variable], lets[variable], tree.sizes[variable])
            _choose_options(frontier, clique, at, variable, of_class, search)
            search.prune(frontier)
    options = {v: frontier.option[v] for v in class_of}
    costs = sum(criteria.costs[v][:, options[v]].T for v in class_of)
    costs = np.asarray(costs, dtype=float).reshape(-1, 1 + len(criteria.limits))
    kept = np.flatnonzero((costs[:, 1:] <= criteria.limits).all(axis=1))
    return _ranked({v: o[kept] for v, o in options.items()}, costs[kept], search.k)


def _ranked(options: dict[str, Ints], costs: Floats, k: int) -> tuple[dict[str, Ints], Floats]:
    """Return the first k distinct solutions, by cost, other criteria and places."""
    columns = [*costs.T, *options.values()]
    order = np.lexsort(columns[::-1])
    new = np.zeros(len(order), dtype=bool)
    new[:1] = True
    for column in columns:
        new[1:] |= column[order[1:]] != column[order[:-1]]
    order = order[new][:k]
    return {v: o[order] for v, o in options.items()}, costs[order]


def _in_steps(criteria: Criteria, lets: Mapping[str, Bools]) -> tuple[float, Criteria]:
    """Return what every cost is a multiple of, and limits rounded down to such multiples."""
    rows = np.concatenate([c[:, lets[v]] for v, c in criteria.costs.items()], axis=1)
    steps = np.gcd.reduce(rows.astype(np.int64), axis=1).astype(float)
    of_limits = np.maximum(steps[1:], 1.0)
    finite = np.isfinite(criteria.limits)
    limits = criteria.limits.copy()
    limits[finite] = np.floor(limits[finite] / of_limits[finite]) * of_limits[finite]
    return max(float(steps[0]), 1.0), Criteria(criteria.costs, limits)
