"""The exact Pareto front of price, mass and strength.

References
----------
.. [1] H. T. Kung, F. Luccio, F. P. Preparata, "On finding the maxima of a set
   of vectors", J. ACM 22 (1975) 469-476 (from memory).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from fitgraph.solve.arrays import members, spread
from fitgraph.solve.best import Bound, Criteria, at_roots, min_sum
from fitgraph.solve.tree import Tree

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]

#: Weightings whose best builds prune the search from the start.
_SEEDS = 24


def nondominated(points: Floats, group: Ints | None = None) -> Ints:
    """Return the places of the points that no other point of their group dominates.

    Parameters
    ----------
    points : ndarray of float, shape (n, 3)
        Smaller is better in each column.
    group : ndarray of int, shape (n,), optional
        Points of different groups are not compared.

    Returns
    -------
    ndarray of int
        Ascending; of equal points the first is kept.

    Examples
    --------
    >>> nondominated(np.array([[1.0, 5, 0], [2, 4, 0], [2, 6, 0], [1, 5, 0]])).tolist()
    [0, 1]
    """
    if group is None:
        group = np.zeros(len(points), dtype=np.intp)
    order = np.lexsort((np.arange(len(points)), *points.T[::-1], group))
    kept: list[int] = []
    last = None
    stairs: list[tuple[float, float]] = []  # second ascending, third strictly descending
    rows = zip(order.tolist(), group[order].tolist(), points[order, 1:].tolist(), strict=True)
    for place, of_group, (second, third) in rows:
        if of_group != last:
            last, stairs = of_group, []
        at = bisect_right(stairs, (second, np.inf))
        if at and stairs[at - 1][1] <= third:
            continue
        kept.append(place)
        at = end = bisect_left(stairs, (second, third))
        while end < len(stairs) and stairs[end][1] >= third:
            end += 1
        stairs[at:end] = [(second, third)]
    return np.sort(np.array(kept, dtype=np.intp))


def _seeds(
    tree: Tree,
    class_of: Mapping[str, Ints],
    lets: Mapping[str, Bools],
    criteria: Criteria,
    limits: Floats,
    *,
    certain: bool,
) -> tuple[Floats, list[Bound]]:
    """Return complete builds' criteria, and the bounds of each criterion alone."""
    width = len(next(iter(criteria.costs.values())))
    alone = [
        min_sum(tree, class_of, lets, criteria, np.eye(width)[k], certain=certain)
        for k in range(width)
    ]
    ends = np.array([at_roots(tree, bound) for bound in alone])
    if not np.isfinite(ends).all():
        return np.zeros((0, width)), alone
    # Scale the criteria by their spread, so that weightings point in all directions.
    spread_of = np.maximum(ends.max(axis=0) - ends.min(axis=0), 1.0)
    rng = np.random.default_rng(0)
    points = [*ends]
    for weights in rng.dirichlet(np.ones(width), _SEEDS):
        bound = min_sum(tree, class_of, lets, criteria, weights / spread_of, certain=certain)
        points.append(at_roots(tree, bound))
    found = np.array(points)
    return found[(found <= limits).all(axis=1)], alone


def pareto_front(
    tree: Tree,
    class_of: Mapping[str, Ints],
    lets: Mapping[str, Bools],
    costs: Mapping[str, Floats],
    limits: Floats,
    *,
    certain: bool,
) -> tuple[dict[str, Ints], Floats]:
    """Return a solution for every vector of criteria that no other dominates.

    Parameters
    ----------
    tree : Tree
        The junction tree over classes.
    class_of, lets : mapping of str to ndarray
        The class of each option, and which may be used.
    costs : mapping of str to ndarray of float, shape (3, n_options)
        Three additive criteria, smaller is better, whole numbers.
    limits : ndarray of float, shape (3,)
        Infinite where there is none.
    certain : bool
        Whether rows that are only possible are left out.

    Returns
    -------
    options : dict of str to ndarray of int, shape (n,)
        One solution for each point of the front.
    points : ndarray of float, shape (n, 3)
        Its criteria, sorted.

    Notes
    -----
    Exact. Partial solutions are carried down the tree; one is dropped when
    another with the same future dominates it, when its lower bounds break a
    limit, or when they are dominated by a complete solution that is known.
    """
    criteria = Criteria(costs, np.zeros(0))
    known, alone = _seeds(tree, class_of, lets, criteria, limits, certain=certain)
    none = {v: np.zeros(0, dtype=np.intp) for v in class_of}
    if not np.isfinite(at_roots(tree, alone[0])).all():
        return none, np.zeros((0, 3))
    best = {v: _best_of_class(costs[v], class_of[v], lets[v], tree.sizes[v]) for v in class_of}
    group: dict[int, Ints] = {r: np.zeros(1, dtype=np.intp) for r in tree.roots}
    chosen: dict[str, Ints] = {}
    points = np.zeros((1, 3))

    def take(at: Ints) -> None:
        nonlocal points, chosen, group
        points = points[at]
        chosen = {v: c[at] for v, c in chosen.items()}
        group = {k: g[at] for k, g in group.items()}

    def keep(extra: Floats) -> Ints:
        """Return the places whose lower bounds keep the limits and beat what is known."""
        lower = points + extra
        for at, of_group in group.items():
            lower = lower + np.column_stack([b.message[at][of_group] for b in alone])
        good: Bools = np.asarray((lower <= limits).all(axis=1))
        for point in known:
            worse = (lower[good] >= point).all(axis=1) & (lower[good] > point).any(axis=1)
            good[np.flatnonzero(good)[worse]] = False
        return np.flatnonzero(good)

    for at in tree.preorder:
        clique = tree.cliques[at]
        of_group = group.pop(at)
        ends = np.append(clique.starts[1:], len(clique.rows))
        owner, number = spread((ends - clique.starts)[of_group])
        row = clique.starts[of_group[owner]] + number
        take(owner)
        for child in clique.children:
            group[child] = tree.cliques[child].group_in_parent[row]
        own = [v for v in clique.own if v in class_of]
        to_go = [
            np.where(
                alone[0].best_in_class[v] < 0,
                np.inf,
                np.array([b.option[v][b.best_in_class[v]] for b in alone]),
            )
            for v in own
        ]
        for n in range(len(own) + 1):
            extra = np.zeros((len(points), 3))
            for variable, least in zip(own[n:], to_go[n:], strict=True):
                extra = extra + least[:, clique.column(variable)[row]].T
            if certain and n == 0:
                extra[~clique.certain[row]] = np.inf
            alive = keep(extra)
            take(alive)
            row = row[alive]
            if n == len(own):
                break
            variable = own[n]
            ordered, starts, counts = best[variable]
            classes = clique.column(variable)[row]
            owner, number = spread(counts[classes])
            option = ordered[starts[classes[owner]] + number]
            take(owner)
            row = row[owner]
            chosen[variable] = option
            points = points + costs[variable][:, option].T
        if len(points):
            states = np.column_stack([np.zeros(len(points), dtype=np.intp), *group.values()])
            _, state = np.unique(states, axis=0, return_inverse=True)
            take(nondominated(points, state.reshape(-1).astype(np.intp)))
    order = np.lexsort(points.T[::-1])
    return {v: chosen[v][order] for v in class_of}, points[order]


def _best_of_class(
    costs: Floats, class_of: Ints, lets: Bools, size: int
) -> tuple[Ints, Ints, Ints]:
    """Return the options that none of their class dominates, by class."""
    mask = np.zeros(len(class_of), dtype=bool)
    allowed = np.flatnonzero(lets)
    mask[allowed[nondominated(costs[:, allowed].T, class_of[allowed])]] = True
    ordered, starts = members(class_of, mask, size)
    return ordered, starts, np.diff(np.append(starts, len(ordered))).astype(np.intp)
