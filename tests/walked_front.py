"""The exact Pareto front by a walk that carries partial builds: another way, to judge by.

References
----------
.. [1] H. T. Kung, F. Luccio, F. P. Preparata, "On finding the maxima of a set
   of vectors", J. ACM 22 (1975) 469-476 (reference checked).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from fitgraph.solve.arrays import spread
from fitgraph.solve.best import Bounds
from fitgraph.solve.plan import Case, Plan
from fitgraph.solve.rows import Members, Rows

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
    plan: Plan,
    class_of: Mapping[str, Ints],
    lets: Mapping[str, Bools],
    costs: Mapping[str, Floats],
    limits: Floats,
    ends: Floats,
) -> Floats:
    """Return criteria of complete builds that are best under some weightings."""
    width = len(ends)
    # Scale the criteria by their spread, so that weightings point in all directions.
    spread_of = np.maximum(ends.max(axis=0) - ends.min(axis=0), 1.0)
    rng = np.random.default_rng(0)
    weights = np.vstack([np.eye(width), rng.dirichlet(np.ones(width), _SEEDS) / spread_of])
    found = witnesses(Bounds(plan, class_of, lets, costs, weights), class_of, lets, costs)
    return found[(found <= limits).all(axis=1)]


def witnesses(
    bounds: Bounds,
    class_of: Mapping[str, Ints],
    lets: Mapping[str, Bools],
    costs: Mapping[str, Floats],
) -> Floats:
    """Return the criteria of one best build of each weighting, shape (n_weightings, n_criteria)."""
    plan = bounds.plan
    members_of, rows = Members(class_of, lets), Rows(bounds.passes)
    found = np.zeros(bounds.multipliers.shape)
    of_case = np.array([bounds.passes.of_case(case) for case in plan.cases])
    for n, number in enumerate(of_case.argmin(axis=0)):
        case = plan.cases[number]
        cells = dict.fromkeys(case.roots, 0)
        for place in reversed(case.order):
            step = plan.steps[place]
            at = np.array([cells.pop(place)], dtype=np.intp)
            _, kinds = rows.expand(place, at)
            after = rows.after(place, np.repeat(at, len(kinds)), kinds)
            value = np.zeros(len(kinds))
            for child, at_child in after.items():
                value = value + bounds.of_cells(child, at_child)[n]
            if step.is_role:
                least = bounds.passes.weights(step, np.array([n], dtype=np.intp))
                assert least is not None
                value = value + least[0, kinds]
            chosen = int(value.argmin())
            if step.is_role:
                ordered, starts, counts = members_of.of(step)
                first = starts[kinds[chosen]]
                options = ordered[first : first + counts[kinds[chosen]]]
                option = options[bounds.option[step.variable][n, options].argmin()]
                found[n] += costs[step.variable][:, option]
            for child, at_child in after.items():
                cells[child] = int(at_child[chosen])
    return found


def pareto_front(
    plan: Plan,
    class_of: Mapping[str, Ints],
    lets: Mapping[str, Bools],
    costs: Mapping[str, Floats],
    limits: Floats,
) -> tuple[dict[str, Ints], Floats]:
    """Return a solution for every vector of criteria that no other dominates.

    Parameters
    ----------
    plan : Plan
        What is searched.
    class_of, lets : mapping of str to ndarray
        The base class of each option, and which may be used.
    costs : mapping of str to ndarray of float, shape (3, n_options)
        Three additive criteria, smaller is better, whole numbers.
    limits : ndarray of float, shape (3,)
        Infinite where there is none.

    Returns
    -------
    options : dict of str to ndarray of int, shape (n,)
        One solution for each point of the front.
    points : ndarray of float, shape (n, 3)
        Its criteria, sorted.

    Notes
    -----
    Exact. Partial solutions are carried down the plan; one is dropped when
    another with the same future dominates it, when its lower bounds break a
    limit, or when they are dominated by a complete solution that is known.
    """
    none = {v: np.zeros(0, dtype=np.intp) for v in plan.roles}, np.zeros((0, 3))
    if not plan.cases or not all(lets[r].any() for r in plan.roles):
        return none
    alone = Bounds(plan, class_of, lets, costs, np.eye(3))
    if not np.isfinite(alone.total).all():
        return none
    ends = witnesses(alone, class_of, lets, costs)
    known = _seeds(plan, class_of, lets, costs, limits, ends)
    undominated = {}
    for role in plan.roles:
        allowed = np.flatnonzero(lets[role])
        mask = np.zeros(len(lets[role]), dtype=bool)
        kept = nondominated(costs[role][:, allowed].T, class_of[role][allowed])
        mask[allowed[kept]] = True
        undominated[role] = mask
    rows, of_kind = Rows(alone.passes), Members(class_of, undominated)
    found: list[tuple[dict[str, Ints], Floats]] = []
    for case in plan.cases:
        options, points = _of_case(case, alone, rows, of_kind, costs, limits, known)
        if len(points):
            known = np.concatenate([known, points])
            known = known[nondominated(known)]
            found.append((options, points))
    if not found:
        return none
    points = np.concatenate([p for _, p in found])
    chosen = {v: np.concatenate([o[v] for o, _ in found]) for v in plan.roles}
    kept = nondominated(points)
    order = kept[np.lexsort(points[kept].T[::-1])]
    return {v: c[order] for v, c in chosen.items()}, points[order]


def _of_case(
    case: Case,
    alone: Bounds,
    rows: Rows,
    of_kind: Members,
    costs: Mapping[str, Floats],
    limits: Floats,
    known: Floats,
) -> tuple[dict[str, Ints], Floats]:
    """Return the solutions of one case that may be on the front."""
    plan = alone.plan
    cells = {root: np.zeros(1, dtype=np.intp) for root in case.roots}
    chosen: dict[str, Ints] = {}
    points = np.zeros((1, 3))

    def promising(extra: Floats) -> Ints:
        """Return the places whose lower bounds keep the limits and beat what is known."""
        lower = points + extra
        for at, of_cell in cells.items():
            lower = lower + alone.of_cells(at, of_cell).T
        good: Bools = np.asarray((lower <= limits).all(axis=1) & np.isfinite(lower).all(axis=1))
        for point in known:
            worse = (lower[good] >= point).all(axis=1) & (lower[good] > point).any(axis=1)
            good[np.flatnonzero(good)[worse]] = False
        return np.flatnonzero(good)

    for place in reversed(case.order):
        step = plan.steps[place]
        at = cells.pop(place)
        owner, kind = rows.expand(place, at)
        after = rows.after(place, at[owner], kind)
        points = points[owner]
        chosen = {v: c[owner] for v, c in chosen.items()}
        cells = {**{k: c[owner] for k, c in cells.items()}, **after}
        if step.is_role:
            least = alone.passes.weights(step, np.arange(3))
            assert least is not None
            alive = promising(least[:, kind].T)
            ordered, starts, counts = of_kind.of(step)
            row, number = spread(counts[kind[alive]])
            option = ordered[starts[kind[alive][row]] + number]
            row = alive[row]
            points = points[row] + costs[step.variable][:, option].T
            chosen = {v: c[row] for v, c in chosen.items()}
            chosen[step.variable] = option
            cells = {k: c[row] for k, c in cells.items()}
        alive = promising(np.zeros(3))
        states = np.column_stack(
            [np.zeros(len(alive), dtype=np.intp), *(c[alive] for c in cells.values())]
        )
        _, state = np.unique(states, axis=0, return_inverse=True)
        alive = alive[nondominated(points[alive], state.reshape(-1).astype(np.intp))]
        points = points[alive]
        chosen = {v: c[alive] for v, c in chosen.items()}
        cells = {k: c[alive] for k, c in cells.items()}
    return chosen, points
