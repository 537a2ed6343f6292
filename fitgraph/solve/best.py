"""The k best builds under limits, provably, one after the other if need be.

The search goes down the plan with many partial builds at once, the most promising first. A
partial build's bound is what it has spent plus the least that its open steps can add (exact
min-sum messages), so without limits every bound is met and the search never turns back: any-k
enumeration [1]. Limits enter the bounds through Lagrange multipliers [2], many at once in one
pass; what cannot beat the k-th best that is known is dropped, what waits its turn waits in
pieces, and no more is held at once than a piece of each depth.

References
----------
.. [1] N. Tziavelis, D. Ajwani, W. Gatterbauer, M. Riedewald, X. Yang, "Optimal algorithms for
   ranked enumeration of answers to full conjunctive queries", PVLDB 13 (2020) 1582-1597
   (reference checked).
.. [2] G. Y. Handler, I. Zang, "A dual algorithm for the constrained shortest path problem",
   Networks 10 (1980) 293-309 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.algebra import LEAST
from fitgraph.solve.arrays import spread
from fitgraph.solve.messages import Demands
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Case, Plan, Step
from fitgraph.solve.rows import Members, Rows
from fitgraph.solve.support import Support
from fitgraph.stopping import check

#: Partial builds that first dives carry, and by what later ones grow, up to the most.
_FIRST, _GROWTH, _MOST = 64, 4, 1 << 16

#: Pairs of a partial build and a kind that are looked at once, times the weightings.
_ROWS = 1 << 24

#: Multipliers that are tried at once, and how often the search for the best closes in.
_TRIED, _ROUNDS = 12, 3

#: Relative rounding that a bound with multipliers may carry.
_ROUNDING = 1e-9


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


class Prices:
    """What the options of each class, and of each kind of a step, come to at least.

    Parameters
    ----------
    plan : Plan
        What is searched.
    class_of, lets : mapping of str to ndarray
        The base class of each option, and which may be used.
    costs : mapping of str to ndarray of float, shape (n_criteria, n_options)
        Additive criteria.
    """

    def __init__(
        self,
        plan: Plan,
        class_of: Mapping[str, Ints],
        lets: Mapping[str, Bools],
        costs: Mapping[str, Floats],
    ) -> None:
        self.plan, self.costs = plan, {role: costs[role] for role in plan.roles}
        self.members = Members(class_of, lets)
        self.class_of, self.lets = class_of, lets
        #: For each step or role: costs of options that stand together, where each lot begins,
        #: and which it is.
        self._lots: dict[int | str, tuple[Floats, Ints, Ints]] = {}

    def bounds(self, multipliers: Floats, support: Support | None) -> Bounds:
        """Return bounds for some weightings."""
        return Bounds(
            self.plan, self.class_of, self.lets, self.costs, multipliers, support, prices=self
        )

    def fitting(self, support: Support | None) -> int:
        """Return how many weightings a pass may have within the ceiling of memory; one at least."""
        # Rows are asked for only where they are few.
        each = self.plan.bytes if support is None else 1.0
        return max(1, int(self.plan.ceiling // max(each, 1.0)))

    def totals(self, multipliers: Floats, support: Support | None) -> Floats:
        """Return the least of all for each of some weightings, as many at a time as fit."""
        most = self.fitting(support)
        pieces = (multipliers[n : n + most] for n in range(0, len(multipliers), most))
        return np.concatenate([self.bounds(piece, support).total for piece in pieces])

    def of_classes(self, role: str, multipliers: Floats) -> Floats:
        """Return the least of each class of a role, shape (n_weightings, n_classes)."""
        found = self._lots.get(role)
        if found is None:
            at = np.flatnonzero(self.lets[role])
            order = at[np.argsort(self.class_of[role][at], kind="stable")]
            classes = self.class_of[role][order]
            starts = np.flatnonzero(np.diff(classes, prepend=-1))
            found = self._lots[role] = self.costs[role][:, order], starts, classes[starts]
        return self._least(found, multipliers, self.plan.sizes[role])

    def of_kinds(self, step: Step, multipliers: Floats) -> Floats:
        """Return the least of each kind of a step, shape (n_weightings, n_kinds)."""
        if not step.is_role:
            return np.zeros((len(multipliers), step.kinds))
        found = self._lots.get(id(step))
        if found is None:
            ordered, starts, counts = self.members.of(step)
            full = np.flatnonzero(counts)
            costs = self.costs[step.variable][:, ordered]
            found = self._lots[id(step)] = costs, starts[full], full
        return self._least(found, multipliers, step.kinds)

    @staticmethod
    def _least(lots: tuple[Floats, Ints, Ints], multipliers: Floats, size: int) -> Floats:
        costs, starts, which = lots
        least = np.full((len(multipliers), size), np.inf)
        if len(which):
            least[:, which] = np.minimum.reduceat(multipliers @ costs, starts, axis=1)
        return least


class Bounds:
    """Least weighted sums of the criteria, for several weightings at once.

    Parameters
    ----------
    plan : Plan
        What is searched.
    class_of, lets : mapping of str to ndarray
        The base class of each option, and which may be used.
    costs : mapping of str to ndarray of float, shape (n_criteria, n_options)
        Additive criteria.
    multipliers : ndarray of float, shape (n_weightings, n_criteria)
        The weightings.
    support : Support, optional
        The rows of the plan, where they are few: bounds are quicker along them.
    prices : Prices, optional
        Of the same costs, where they are at hand.
    """

    def __init__(
        self,
        plan: Plan,
        class_of: Mapping[str, Ints],
        lets: Mapping[str, Bools],
        costs: Mapping[str, Floats],
        multipliers: Floats,
        support: Support | None = None,
        prices: Prices | None = None,
    ) -> None:
        self.plan, self.multipliers = plan, multipliers
        if prices is None:
            prices = Prices(plan, class_of, lets, costs)
        self.prices = prices
        self._every = np.arange(len(multipliers), dtype=np.intp)
        self.support = support
        if support is None:
            self.cases = plan.cases
            values = {role: prices.of_classes(role, multipliers) for role in plan.roles}
            demands = Demands(values, dict.fromkeys(values, self._every))
            self.passes = Passes(plan, demands, LEAST)
            self.rows = Rows(self.passes)
            #: Least of all, by weighting.
            self.total = self.passes.totals()
            return
        self.cases = support.cases
        self._least = [prices.of_kinds(step, multipliers) for step in plan.steps]
        self.below = support.below(self._least, LEAST)
        self.total = support.totals(self.below, LEAST)

    @cached_property
    def option(self) -> dict[str, Floats]:
        """Return the weighted sums of each option, shape (n_weightings, n_options), by role."""
        return {role: self.multipliers @ of_role for role, of_role in self.prices.costs.items()}

    def of_cells(self, place: int, cells: Ints) -> Floats:
        """Return the least that a step and all below it add, shape (n_weightings, n_cells)."""
        found: Floats
        if self.support is None:
            found = self.passes.at(place, cells)
        else:
            found = self.below[place][:, cells]
        return found

    def of_kinds(self, place: int) -> Floats:
        """Return the least that each kind of a step adds itself, (n_weightings, n_kinds)."""
        if self.support is not None:
            return self._least[place]
        found = self.passes.weights(self.plan.steps[place], self._every)
        assert found is not None
        return found

    def follow(self, place: int, cells: Ints) -> tuple[Ints, Ints, dict[int, Ints]]:
        """Return what can follow some cells of a step.

        Returns
        -------
        owner : ndarray of int
            Which of the given cells.
        kind : ndarray of int
            The kind chosen.
        after : dict of int to ndarray of int
            The cell of each step that this opens.
        """
        if self.support is not None:
            return self.support.follow(place, cells)
        owner, kind = self.rows.expand(place, cells)
        return owner, kind, self.rows.after(place, cells[owner], kind)


def _weightings(prices: Prices, criteria: Criteria, support: Support | None) -> Bounds:
    """Return bounds for the objective, for each limited criterion, and near dual optima."""
    plan, lets = prices.plan, prices.lets
    objective, *singles = np.eye(1 + len(criteria.limits))
    most = prices.fitting(support)
    #: Weightings, and how much each matters where not all of them fit.
    rows, ranks = [objective], [0]
    finite = [k for k, limit in enumerate(criteria.limits) if np.isfinite(limit)]
    rows += [singles[k] for k in finite]
    ranks += [2] * len(finite)
    if not finite:
        return prices.bounds(np.array(rows), support)
    total = prices.totals(np.array(rows), support)
    if not np.isfinite(total).all():
        return prices.bounds(np.array(rows[:most]), support)
    best: list[float] = []
    for n, k in enumerate(finite, start=1):
        slack = float(criteria.limits[k] - total[n])
        spread_of = max(sum(float(np.ptp(criteria.costs[r][0][lets[r]])) for r in plan.roles), 1.0)
        if slack < 0:  # nothing keeps this limit
            return prices.bounds(np.array([objective, singles[k]]), support)
        low, high = 0.0, spread_of / max(slack, 1.0)
        # The dual is concave; close in on its top, many multipliers at a time.
        marks = np.concatenate([[0.0], np.geomspace(high * 1e-5, high, _TRIED - 1)])
        for _ in range(_ROUNDS):
            tried = objective + marks[:, None] * singles[k]
            found = prices.totals(tried, support)
            values = found - marks * criteria.limits[k]
            top = int(values.argmax())
            low, high = marks[max(top - 1, 0)], marks[min(top + 1, len(marks) - 1)]
            if top == 0 and values[0] >= values[1]:
                low = high = 0.0
                break
            marks = np.linspace(low, high, _TRIED)
        best.append(float(marks[int(values.argmax())]) if high else 0.0)
    for value, k in zip(best, finite, strict=True):
        if value:
            rows += [objective + f * value * singles[k] for f in (1.0, 0.8, 1.25, 0.5, 2.0)]
            ranks += [1, 3, 3, 3, 3]
    if sum(value > 0 for value in best) > 1:
        both = sum(v * singles[k] for v, k in zip(best, finite, strict=True))
        rows += [objective + f * both for f in (1.0, 0.5)]
        ranks += [1, 3]
    kept = sorted(sorted(range(len(rows)), key=lambda n: ranks[n])[:most])
    return prices.bounds(np.array([rows[n] for n in kept]), support)


@dataclass(slots=True)
class _Frontier:
    """Partial builds of one case at one depth, as arrays.

    The cell of each open step, the options chosen, their criteria, and the bounds.
    """

    case: Case
    depth: int
    cells: dict[int, Ints]
    options: dict[str, Ints]
    spent: Floats
    values: Floats

    def __len__(self) -> int:
        return self.values.shape[1]

    @property
    def whole(self) -> bool:
        """Return whether they are builds."""
        return self.depth == len(self.case.order)

    @property
    def place(self) -> int:
        """Return the step that comes next."""
        return self.case.order[-1 - self.depth]

    def take(self, at: Ints) -> _Frontier:
        """Return the partial builds at some places."""
        return _Frontier(
            self.case,
            self.depth,
            {k: v[at] for k, v in self.cells.items()},
            {k: v[at] for k, v in self.options.items()},
            self.spent[at],
            self.values[:, at],
        )

    @property
    def bytes(self) -> float:
        """Return how much room they take."""
        held = (*self.cells.values(), *self.options.values(), self.spent, self.values)
        return float(sum(a.nbytes for a in held))


def _joined(fronts: Sequence[_Frontier]) -> _Frontier:
    """Return partial builds of the same case and depth as one."""
    first = fronts[0]
    if len(fronts) == 1:
        return first
    return _Frontier(
        first.case,
        first.depth,
        {c: np.concatenate([f.cells[c] for f in fronts]) for c in first.cells},
        {r: np.concatenate([f.options[r] for f in fronts]) for r in first.options},
        np.concatenate([f.spent for f in fronts]),
        np.concatenate([f.values for f in fronts], axis=1),
    )


class Search:
    """A search for the k best, most promising first.

    Parameters
    ----------
    plan, class_of, lets, criteria, k, support, weightings
        As in :func:`k_best`.
    room : float
        Bytes that partial builds may take.
    """

    def __init__(
        self,
        plan: Plan,
        class_of: Mapping[str, Ints],
        lets: Mapping[str, Bools],
        criteria: Criteria,
        k: int,
        support: Support | None,
        weightings: Floats | None,
        room: float,
    ) -> None:
        self.plan, self.criteria, self.k, self.room = plan, criteria, k, room
        prices = Prices(plan, class_of, lets, criteria.costs)
        if weightings is None:
            self.bounds = _weightings(prices, criteria, support)
        else:
            self.bounds = prices.bounds(weightings, support)
        self.members = prices.members
        self.step = 1.0
        width = 1 + len(criteria.limits)
        self.found: dict[str, Ints] = {r: np.zeros(0, dtype=np.intp) for r in plan.roles}
        self.costs: Floats = np.zeros((0, width))
        self.threshold = np.inf
        self._chunk = max(2 * k, _FIRST)
        m = self.bounds.multipliers
        self._spends = np.array(
            [sum(row[j] * criteria.limits[j - 1] for j in range(1, width) if row[j]) for row in m]
        )
        self._pure = m[:, 0] > 0

    def _starts(self) -> list[_Frontier]:
        """Return the empty build of each case that may hold some, the most promising last."""
        found = []
        width = 1 + len(self.criteria.limits)
        for case in self.bounds.cases:
            values = sum(
                self.bounds.of_cells(r, np.zeros(1, dtype=np.intp)) for r in case.roots
            ) + np.zeros((len(self.bounds.multipliers), 1))
            cells = {r: np.zeros(1, dtype=np.intp) for r in case.roots}
            start = _Frontier(case, 0, cells, {}, np.zeros((1, width)), values)
            start = start.take(self._promising(values))
            if len(start):
                found.append(start)
        return sorted(found, key=lambda f: -float(self._dual(f.values).min()))

    def _dual(self, values: Floats) -> Floats:
        """Return the least that partial builds can cost within the limits."""
        found: Floats = (values[self._pure] - self._spends[self._pure, None]).max(axis=0)
        return found

    def _promising(self, values: Floats) -> Ints:
        """Return the places of those that may keep the limits and be among the k best."""
        keep = np.isfinite(values).all(axis=0)
        for value, spends in zip(values[~self._pure], self._spends[~self._pure], strict=True):
            keep &= value <= spends + _ROUNDING * (1 + abs(spends))
        if np.isfinite(self.threshold):
            # Only what costs a step less changes the answer: k that cost no more are known.
            wanted = self.threshold - self.step
            keep &= self._dual(values) <= wanted + _ROUNDING * (1 + abs(wanted))
        return np.flatnonzero(keep)

    def _dive(self) -> None:
        """Find out what the k-th best costs at most, by a walk that turns no stone twice.

        At each depth it carries no more than the most promising few.
        """
        for front in reversed(self._starts()):
            while len(front) and not front.whole:
                size = self._at_once(self.plan.steps[front.place])
                pieces = [
                    self._next(front.take(np.arange(n, min(n + size, len(front)))), most=self.k)
                    for n in range(0, len(front), size)
                ]
                front = _joined(pieces)
                front = front.take(self._few(front.values, self.k))
            if front.whole:
                self._keep(front)
        # What costs as much as the k-th is still wanted: none of those found here is kept.
        self.threshold += self.step
        self.found = {r: o[:0] for r, o in self.found.items()}
        self.costs = self.costs[:0]

    def run(self) -> None:
        """Search to the end.

        Raises
        ------
        TooWideError
            If partial builds take more room than they may.
        """
        if 2 * self.k > _FIRST:
            self._dive()
        waiting = self._starts()
        held = sum(front.bytes for front in waiting)
        while waiting:
            check()
            front = waiting.pop()
            held -= front.bytes
            front = front.take(self._promising(front.values))
            if not len(front):
                continue
            if front.whole:
                self._keep(front)
                self._chunk = min(self._chunk * _GROWTH, _MOST)
                continue
            step = self.plan.steps[front.place]
            chunk = min(self._chunk, self._at_once(step))
            if len(front) > chunk:
                order = np.argsort(self._dual(front.values), kind="stable")
                waiting.append(front.take(order[chunk:]))
                held += waiting[-1].bytes
                front = front.take(order[:chunk])
            waiting.append(self._next(front))
            held += waiting[-1].bytes
            if held > self.room:
                raise self.plan.too_wide(step, held, self.room)

    def _at_once(self, step: Step) -> int:
        """Return how many partial builds are looked at in one go."""
        return max(_ROWS // (step.kinds * len(self.bounds.multipliers)), 1)

    def _keep(self, front: _Frontier) -> None:
        """Take complete builds up."""
        inside = np.flatnonzero((front.spent[:, 1:] <= self.criteria.limits).all(axis=1))
        options = {
            r: np.concatenate([self.found[r], front.options[r][inside]]) for r in self.plan.roles
        }
        costs = np.concatenate([self.costs, front.spent[inside]])
        columns = [*costs.T, *options.values()]
        order = np.lexsort(columns[::-1])[: self.k]
        self.found, self.costs = {r: o[order] for r, o in options.items()}, costs[order]
        if len(order) == self.k:
            self.threshold = float(self.costs[-1, 0])

    def _few(self, values: Floats, most: int | None) -> Ints:
        """Return the places of those that are promising, only of the most so if there are many."""
        keep = self._promising(values)
        if most is not None and len(keep) > most:
            keep = keep[np.argpartition(self._dual(values[:, keep]), most)[:most]]
        return keep

    def _next(self, front: _Frontier, most: int | None = None) -> _Frontier:
        """Return what the next step of a case makes of partial builds, or of the best of them."""
        place = front.place
        step = self.plan.steps[place]
        at = front.cells[place]
        rest = {k: v for k, v in front.cells.items() if k != place}
        before = front.values - self.bounds.of_cells(place, at)
        owner, kind, after = self.bounds.follow(place, at)
        values = before[:, owner]
        for child, cells in after.items():
            values = values + self.bounds.of_cells(child, cells)
        if step.is_role:
            least = self.bounds.of_kinds(place)
            keep = self._few(values + least[:, kind], most)
            owner, kind, values = owner[keep], kind[keep], values[:, keep]
            ordered, starts, counts = self.members.of(step)
            row, number = spread(counts[kind])
            option = ordered[starts[kind[row]] + number]
            values = values[:, row] + self.bounds.option[step.variable][:, option]
            best = self._few(values, most)
            row, option, values = row[best], option[best], values[:, best]
            owner = owner[row]
            cells_after = {c: v[keep][row] for c, v in after.items()}
            options = {r: o[owner] for r, o in front.options.items()}
            options[step.variable] = option
            spent = front.spent[owner] + self.criteria.costs[step.variable][:, option].T
        else:
            cells_after = dict(after)
            options = {r: o[owner] for r, o in front.options.items()}
            spent = front.spent[owner]
        return _Frontier(
            front.case,
            front.depth + 1,
            {**{k: v[owner] for k, v in rest.items()}, **cells_after},
            options,
            spent,
            values,
        )


def k_best(
    plan: Plan,
    class_of: Mapping[str, Ints],
    lets: Mapping[str, Bools],
    criteria: Criteria,
    k: int,
    support: Support | None = None,
    weightings: Floats | None = None,
    room: float | None = None,
) -> tuple[dict[str, Ints], Floats]:
    """Return the k solutions of least cost that keep the limits.

    Parameters
    ----------
    plan : Plan
        What is searched.
    class_of : mapping of str to ndarray of int
        The base class of each option.
    lets : mapping of str to ndarray of bool
        Which options may be used.
    criteria : Criteria
        Costs and limits.
    k : int
        How many to return; fewer where there are fewer.
    support : Support, optional
        The rows of the plan, where they are few.
    weightings : ndarray of float, shape (n_weightings, n_criteria), optional
        What to bound with, where good multipliers are known: rows with a weight for the cost
        bound the cost, the others cut off what no limit allows. By default they are looked for.
    room : float, optional
        Bytes that partial solutions may take; the plan's ceiling by default.

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
        If partial solutions take more room than they may.

    Notes
    -----
    Exact: a partial solution is dropped only when its lower bound breaks a
    limit, or is no better than the k-th best of as many complete solutions
    that keep the limits.
    """
    none = {v: np.zeros(0, dtype=np.intp) for v in plan.roles}
    nothing = none, np.zeros((0, 1 + len(criteria.limits)))
    if k < 1 or not plan.cases or not all(lets[r].any() for r in plan.roles):
        return nothing
    step, criteria = _in_steps(criteria, lets)
    room = plan.ceiling if room is None else room
    search = Search(plan, class_of, lets, criteria, k, support, weightings, room)
    search.step = step
    search.run()
    return search.found, search.costs


def _in_steps(criteria: Criteria, lets: Mapping[str, Bools]) -> tuple[float, Criteria]:
    """Return what every cost is a multiple of, and limits rounded down to such multiples."""
    rows = np.concatenate([c[:, lets[v]] for v, c in criteria.costs.items()], axis=1)
    steps = np.gcd.reduce(rows.astype(np.int64), axis=1).astype(float)
    of_limits = np.maximum(steps[1:], 1.0)
    finite = np.isfinite(criteria.limits)
    limits = criteria.limits.copy()
    limits[finite] = np.floor(limits[finite] / of_limits[finite]) * of_limits[finite]
    return max(float(steps[0]), 1.0), Criteria(criteria.costs, limits)
