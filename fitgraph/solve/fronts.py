"""The front of price, mass and strength by messages, where strength hangs on one role.

For each cell of a step, a message holds the pairs of price and mass that nothing below it
betters [1]. From the top down to the step of that one role, a message holds the pairs of all
that is around a cell; so every message is of two criteria, and the role's own options bring in
the third at the end. Before that, the best builds of some weightings through each option of the
role are found: a first, coarse front. What cannot better it, even with the least that the rest
of a build comes to in any of the weightings, is dropped.

References
----------
.. [1] E. Rollon, J. Larrosa, "Bucket elimination for multiobjective optimization problems",
   Journal of Heuristics 12 (2006) 307-328 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.algebra import LEAST
from fitgraph.solve.arrays import spread
from fitgraph.solve.dominance import Known, least_of_three, least_of_two
from fitgraph.solve.rows import Members
from fitgraph.solve.support import Support
from fitgraph.stopping import check

#: Points that are put together before they are thinned out.
_AT_ONCE = 1 << 18

#: Weightings of price and mass that a coarse front is made of.
_WEIGHTINGS = 5

#: The largest weight: weights are whole numbers, so that sums are exact.
_HEAVY = 1 << 12

#: Stands for what is around a step, among what a point is made of.
_AROUND = -1


@dataclass(frozen=True, slots=True, eq=False)
class _Made:
    """What some points are made of: of a step the option, and points of other messages."""

    place: int  # of the step; -1 where roots stand beside each other
    option: Ints  # -1 of a running sum
    points: dict[int, Ints]  # by the step whose message it is


@dataclass(frozen=True, slots=True, eq=False)
class _Front:
    """Fronts of the cells of a step, cell after cell, and what their points are made of."""

    starts: Ints
    counts: Ints
    price: Floats
    mass: Floats
    source: Ints
    at: Ints
    made: Sequence[_Made]


@dataclass(frozen=True, slots=True, eq=False)
class _Points:
    """Points, of groups, and what they are made of."""

    group: Ints
    price: Floats
    mass: Floats
    option: Ints
    points: dict[int, Ints]

    def take(self, at: Ints | Bools) -> _Points:
        """Return the points at some places."""
        return _Points(
            self.group[at],
            self.price[at],
            self.mass[at],
            self.option[at],
            {k: p[at] for k, p in self.points.items()},
        )

    @staticmethod
    def together(pieces: Sequence[_Points]) -> _Points:
        """Return the points of some pieces, at least one."""
        return _Points(
            np.concatenate([p.group for p in pieces]),
            np.concatenate([p.price for p in pieces]),
            np.concatenate([p.mass for p in pieces]),
            np.concatenate([p.option for p in pieces]),
            {k: np.concatenate([p.points[k] for p in pieces]) for k in pieces[0].points},
        )


def _front_of(pieces: Sequence[tuple[int, _Points]], cells: int) -> _Front:
    """Return fronts from points of cells, that come from some steps."""
    none, no = np.zeros(0), np.zeros(0, dtype=np.intp)
    cell = np.concatenate([no, *(p.group for _, p in pieces)])
    price = np.concatenate([none, *(p.price for _, p in pieces)])
    mass = np.concatenate([none, *(p.mass for _, p in pieces)])
    sizes = [len(p.group) for _, p in pieces]
    source, at = np.repeat(np.arange(len(sizes)), sizes), np.arange(sum(sizes))
    at -= np.repeat(np.cumsum(sizes, dtype=np.intp) - sizes, sizes)
    if len(pieces) > 1:
        kept = least_of_two(cell, price, mass)
        cell, price, mass = cell[kept], price[kept], mass[kept]
        source, at = source[kept], at[kept]
    counts = np.bincount(cell, minlength=cells).astype(np.intp)
    made = [_Made(place, p.option, p.points) for place, p in pieces]
    return _Front(np.cumsum(counts) - counts, counts, price, mass, source, at, made)


class Fronts:
    """Fronts of one request over the rows of a plan.

    Parameters
    ----------
    support : Support
        Of a plan.
    third : str
        The role that alone tells the third criterion.
    class_of, lets : mapping of str to ndarray
        The base class of each option, and which may be used.
    costs : mapping of str to ndarray of float, shape (3, n_options)
        Three additive criteria, smaller is better, whole numbers.
    limits : ndarray of float, shape (3,)
        Infinite where there is none.
    """

    def __init__(
        self,
        support: Support,
        third: str,
        class_of: Mapping[str, Ints],
        lets: Mapping[str, Bools],
        costs: Mapping[str, Floats],
        limits: Floats,
    ) -> None:
        self.support, self.plan, self.third = support, support.plan, third
        self.lets, self.costs, self.limits = lets, costs, limits
        self.members = Members(class_of, lets)
        self.possible = bool(support.cases) and all(lets[r].any() for r in self.plan.roles)
        others = [r for r in self.plan.roles if r != third and self.possible]
        #: What the other roles add to the third criterion, whichever options they have.
        self.zero = sum(float(costs[r][2][lets[r]][0]) for r in others)
        self.used = sorted({p for case in support.cases for p in case.order})
        #: The steps with the third criterion's role below them, and those that open each.
        self.path: list[int] = []
        self.parents: dict[int, list[int]] = {}
        for place in self.used:
            below = [c for c in support.rows[place].after if c in self.parents]
            if below or self.plan.steps[place].variable == third:
                self.path.append(place)
                self.parents[place] = []
                for child in below:
                    self.parents[child].append(place)

    @cached_property
    def options(self) -> dict[int, tuple[Ints, Ints, Ints]]:
        """Return, by step, the options that none of their kind betters, starts and counts."""
        return {place: self._undominated(place) for place in self.used}

    def _undominated(self, place: int) -> tuple[Ints, Ints, Ints]:
        step = self.plan.steps[place]
        if not step.is_role:
            ones = np.ones(step.kinds, dtype=np.intp)
            return -ones, np.arange(step.kinds), ones
        ordered, _, counts = self.members.of(step)
        kind = np.repeat(np.arange(step.kinds), counts)
        costs = self.costs[step.variable][:, ordered]
        if step.variable == self.third:
            kept = least_of_three(costs.T, kind)
        else:
            kept = least_of_two(kind, costs[0], costs[1])
        counts = np.bincount(kind[kept], minlength=step.kinds).astype(np.intp)
        return ordered[kept], np.cumsum(counts) - counts, counts

    # -- bounds --------------------------------------------------------

    @cached_property
    def mixed(self) -> Floats:
        """Return weightings of price and mass, whole numbers, shape (n, 2)."""
        angle = np.linspace(0.0, np.pi / 2, _WEIGHTINGS + 2)[1:-1]
        scale = [
            max(sum(float(np.ptp(c[k][self.lets[r]])) for r, c in self.costs.items()), 1.0)
            for k in (0, 1)
        ]
        weights = np.column_stack([np.cos(angle) / scale[0], np.sin(angle) / scale[1]])
        rounded = np.rint(weights * (_HEAVY / weights.max(axis=1, initial=0.0, keepdims=True)))
        found: Floats = np.maximum(rounded, 1.0)
        return found

    @cached_property
    def own(self) -> list[Floats]:
        """Return the least of each kind of each step by weighting: each criterion, and mixed."""
        weightings = np.vstack([np.eye(3), np.pad(self.mixed, ((0, 0), (0, 1)))])
        found = []
        for place, step in enumerate(self.plan.steps):
            least = np.full((len(weightings), step.kinds), np.inf)
            if place in self.options:
                option, starts, counts = self.options[place]
                if not step.is_role:
                    least[:] = 0.0
                elif len(option):
                    there = np.flatnonzero(counts)
                    least[:, there] = np.minimum.reduceat(
                        weightings @ self.costs[step.variable][:, option], starts[there], axis=1
                    )
            found.append(least)
        return found

    @cached_property
    def below(self) -> list[Floats]:
        """Return the least of each cell with all below it, by weighting."""
        return self.support.below(self.own, LEAST)

    @cached_property
    def outside(self) -> list[Floats]:
        """Return the least of all that is around each cell, by weighting."""
        return self.support.outside(self.own, self.below, LEAST)

    # -- a coarse front ------------------------------------------------

    def coarse(self) -> tuple[dict[str, Ints], Floats]:
        """Return builds of which none of them betters another: a front with few of its builds.

        Returns
        -------
        options, points
            As from :meth:`exact`.
        """
        return self._coarse

    @cached_property
    def _coarse(self) -> tuple[dict[str, Ints], Floats]:
        if not self.possible:
            return self._together([])
        mine = [p for p in self.path if self.plan.steps[p].variable == self.third]
        return self._together([self._witnesses(place) for place in mine])

    def _witnesses(self, place: int) -> tuple[dict[str, Ints], Floats]:
        """Return the best builds of each weighting through each option of the third's role."""
        rows = self.support.rows[place]
        through = self.support.through(place, self.outside, self.below, LEAST)
        used = np.delete(np.arange(len(through)), 2)
        order, starts = rows.kind.order, rows.kind.starts
        by_kind = np.full((len(used), self.plan.steps[place].kinds), -1, dtype=np.intp)
        owner = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(order))))
        for n, w in enumerate(used):
            by_kind[n, rows.kind.reached] = order[_first_least(through[w, order], owner)]
        option, _, counts = self.options[place]
        kind = np.repeat(np.arange(len(counts)), counts)
        row = by_kind[:, kind].reshape(-1)
        weighting = np.repeat(used, len(option))
        good = row >= 0
        good[good] = np.isfinite(through[weighting[good], row[good]])
        found = {self.third: np.tile(option, len(used))[good]}
        found |= self._traced(place, row[good], weighting[good])
        points = sum(
            (self.costs[r][:, o].T for r, o in found.items()),
            np.zeros((int(good.sum()), 3)),
        )
        inside = np.flatnonzero((points <= self.limits).all(axis=1))
        kept = inside[least_of_three(points[inside])]
        return {r: o[kept] for r, o in found.items()}, points[kept]

    def _values(self, place: int, row: Ints, weighting: Ints, but: int = -1) -> Floats:
        """Return the least of some rows with all that they open but for one step."""
        rows = self.support.rows[place]
        values: Floats = self.own[place][weighting, rows.kind.at[row]]
        for child, after in rows.after.items():
            if child != but:
                values = values + self.below[child][weighting, after.at[row]]
        return values

    def _traced(self, place: int, row: Ints, weighting: Ints) -> dict[str, Ints]:
        """Return the options of the best builds through rows of the third's step, but its own."""
        chosen: dict[str, Ints] = {}
        waiting: dict[int, list[tuple[Ints, Ints]]] = {}  # which builds, and the cell
        every = np.arange(len(row))

        def choose(at: int, which: Ints, rows_at: Ints, but: int) -> None:
            """Take rows of a step into builds, and open their other steps."""
            rows, variable = self.support.rows[at], self.plan.steps[at].variable
            if self.plan.steps[at].is_role and variable != self.third:
                option = self._best_option(at, rows.kind.at[rows_at], weighting[which])
                chosen.setdefault(variable, np.full(len(row), -1, dtype=np.intp))[which] = option
            for child, after in rows.after.items():
                if child != but:
                    waiting.setdefault(child, []).append((which, after.at[rows_at]))

        choose(place, every, row, -1)
        climbing = {place: [(every, self.support.rows[place].cell[row])]}
        for at in self.path:
            if at not in climbing:
                continue
            which = np.concatenate([w for w, _ in climbing[at]])
            cell = np.concatenate([c for _, c in climbing[at]])
            source, found = self._best_around(at, cell, weighting[which])
            for n, parent in enumerate(self.parents[at]):
                mine = source == n
                rows_at = found[mine]
                choose(parent, which[mine], rows_at, at)
                up = which[mine], self.support.rows[parent].cell[rows_at]
                climbing.setdefault(parent, []).append(up)
            for n, case in enumerate(self.support.cases):
                mine = source == -1 - n
                for root in case.roots:
                    if root != at and mine.any():
                        cells = np.zeros(int(mine.sum()), dtype=np.intp)
                        waiting.setdefault(root, []).append((which[mine], cells))
        for at in reversed(self.used):
            if at in waiting:
                which = np.concatenate([w for w, _ in waiting[at]])
                cell = np.concatenate([c for _, c in waiting[at]])
                owner, rows_at = self.support.rows_of(at, cell)
                values = self._values(at, rows_at, weighting[which[owner]])
                choose(at, which, rows_at[_first_least(values, owner)], -1)
        return chosen

    def _best_option(self, place: int, kind: Ints, weighting: Ints) -> Ints:
        """Return the best option of kinds of a step."""
        option, starts, counts = self.options[place]
        owner, number = spread(counts[kind])
        at = starts[kind[owner]] + number
        costs = self.costs[self.plan.steps[place].variable][:, option[at]]
        weights = np.vstack([np.eye(3), np.pad(self.mixed, ((0, 0), (0, 1)))])[weighting[owner]]
        return option[at[_first_least((weights.T * costs).sum(axis=0), owner)]]

    def _best_around(self, place: int, cell: Ints, weighting: Ints) -> tuple[Ints, Ints]:
        """Return what is best around cells: which parent's row, or which case where it is a root.

        Returns
        -------
        source : ndarray of int
            The number of the parent; -1 - the number of the case.
        row : ndarray of int
            The parent's row.
        """
        least = np.full(len(cell), np.inf)
        source, found = np.full(len(cell), -1), np.zeros(len(cell), dtype=np.intp)
        for n, case in enumerate(self.support.cases):
            if place in case.roots:
                beside = self.support.beside(case, place, self.below, LEAST)[weighting]
                better = beside < least
                least[better], source[better] = beside[better], -1 - n
        for n, parent in enumerate(self.parents[place]):
            rows = self.support.rows[parent]
            owner, row = rows.after[place].rows_at(cell, self.support.rows[place].cells)
            mine = weighting[owner]
            values = self.outside[parent][mine, rows.cell[row]]
            values = values + self._values(parent, row, mine, place)
            first = _first_least(values, owner)
            whose = owner[first]
            better = values[first] < least[whose]
            first, whose = first[better], whose[better]
            least[whose], source[whose], found[whose] = values[first], n, row[first]
        return source, found

    def _together(
        self, found: list[tuple[dict[str, Ints], Floats]]
    ) -> tuple[dict[str, Ints], Floats]:
        points = np.concatenate([np.zeros((0, 3)), *(p for _, p in found)])
        none = np.zeros(0, dtype=np.intp)
        some = [options for options, mine in found if len(mine)]
        chosen = {r: np.concatenate([none, *(o[r] for o in some)]) for r in self.plan.roles}
        kept = least_of_three(points)
        order = kept[np.lexsort(points[kept].T[::-1])]
        return {r: o[order] for r, o in chosen.items()}, points[order]

    # -- the exact front -----------------------------------------------

    def exact(self) -> tuple[dict[str, Ints], Floats]:
        """Return a build for every vector of criteria that no other dominates.

        Returns
        -------
        options : dict of str to ndarray of int, shape (n,)
            One build for each point of the front.
        points : ndarray of float, shape (n, 3)
            Its criteria, sorted.
        """
        first = self.coarse()
        if not self.possible:
            return first
        self.known = Known(first[1], self._steps(), self.mixed)
        self.alive = {place: self._alive(place) for place in self.used}
        self.inner: dict[int, _Front] = {}
        for place in self.used:
            if place not in self.parents:
                self.inner[place] = self._inner(place)
        self.around: dict[int, _Front] = {}
        found = [first]
        for place in reversed(self.path):
            check()
            self.around[place] = self._around(place)
            if self.plan.steps[place].variable == self.third:
                found.append(self._ends(place))
        return self._together(found)

    def _steps(self) -> Floats:
        """Return what all prices, and all masses, are multiples of."""
        every = np.concatenate([c[:2, self.lets[r]] for r, c in self.costs.items()], axis=1)
        found: Floats = np.gcd.reduce(every.astype(np.int64), axis=1).astype(float)
        return np.maximum(found, 1.0)

    def _promising(self, bounds: Floats) -> Ints:
        """Return the places whose least, by weighting, keeps the limits and is not beaten."""
        good = np.isfinite(bounds[0]) & np.isfinite(bounds[2])
        for least, limit in zip(bounds, self.limits, strict=False):
            if np.isfinite(limit):
                good &= least <= limit
        at = np.flatnonzero(good)
        if len(at) < len(good):
            bounds = bounds.take(at, axis=1)
        return at[~self.known.beat(bounds[:3], bounds[3:])]

    def _alive(self, place: int) -> Ints:
        """Return the rows of a step that may be in a build of the front."""
        through = self.support.through(place, self.outside, self.below, LEAST)
        kind = self.support.rows[place].kind.at
        return self._promising(through + self.own[place].take(kind, axis=1))

    def _met(
        self,
        group: Ints,
        own: tuple[int, Ints] | None,
        joins: Sequence[tuple[int, _Front, Ints]],
        rest: Floats,
    ) -> _Points:
        """Return the fronts of groups of rows.

        Parameters
        ----------
        group : ndarray of int, shape (n_rows,)
            Ascending.
        own : tuple of int and ndarray of int, or None
            A step, and the kind of each row: its options are taken in.
        joins : sequence
            What each row opens: a key, fronts, and the cell of each row.
        rest : ndarray of float, shape (n_weightings, n_groups)
            What the rest of a build adds at the least.
        """
        option = np.full(len(group), -1, dtype=np.intp)
        price, mass = np.zeros(len(group)), np.zeros(len(group))
        if own is not None:
            place, kind = own
            options, starts, counts = self.options[place]
            row, number = spread(counts[kind])
            option = options[starts[kind[row]] + number]
            if self.plan.steps[place].is_role:
                price, mass = self.costs[self.plan.steps[place].variable][:2, option]
                # Rows that open the same are one: of all their options the best will do.
                kept = least_of_two(_numbered([group, *(c for _, _, c in joins)])[row], price, mass)
                row, option, price, mass = row[kept], option[kept], price[kept], mass[kept]
            else:
                price, mass = np.zeros(len(row)), np.zeros(len(row))
            group = group[row]
            joins = [(key, front, cell[row]) for key, front, cell in joins]
        width = np.ones(len(group))
        for _, front, cell in joins:
            width *= front.counts[cell]
        done = np.append(0.0, np.cumsum(width))
        pieces = []
        begin = 0
        start = _Points(group, price, mass, option, {})
        while begin < len(group):
            check()
            end = int(np.searchsorted(done, done[begin] + _AT_ONCE, side="right")) - 1
            part = np.arange(begin, max(end, begin + 1))
            opened = [(key, front, cell[part]) for key, front, cell in joins]
            pieces.append(self._piece(start.take(part), opened, rest))
            begin = int(part[-1]) + 1
        if not pieces:
            no, none = np.zeros(0, dtype=np.intp), np.zeros(0)
            return _Points(no, none, none, no, {key: no for key, _, _ in joins})
        if len(pieces) == 1:
            return pieces[0]
        found = _Points.together(pieces)
        return found.take(least_of_two(found.group, found.price, found.mass))

    def _piece(
        self, start: _Points, joins: Sequence[tuple[int, _Front, Ints]], rest: Floats
    ) -> _Points:
        """Return the fronts of groups of points with all that they open."""
        row, price, mass = np.arange(len(start.group)), start.price, start.mass
        taken: dict[int, Ints] = {}
        for n, (key, front, cell) in enumerate(joins):
            at = cell[row]
            owner, number = spread(front.counts[at])
            point = front.starts[at[owner]] + number
            row = row[owner]
            price, mass = price[owner] + front.price[point], mass[owner] + front.mass[point]
            kept = least_of_two(row if n + 1 < len(joins) else start.group[row], price, mass)
            row, price, mass = row[kept], price[kept], mass[kept]
            taken = {k: t[owner[kept]] for k, t in taken.items()} | {key: point[kept]}
        group = start.group[row]
        bounds = rest.take(group, axis=1)
        bounds[0] += price
        bounds[1] += mass
        bounds[3:] += self.mixed @ np.array([price, mass])
        found = _Points(group, price, mass, start.option[row], taken)
        good = found.take(self._promising(bounds))
        return good if joins else good.take(least_of_two(good.group, good.price, good.mass))

    def _inner(self, place: int) -> _Front:
        """Return the fronts of all below each cell of a step."""
        rows, alive = self.support.rows[place], self.alive[place]
        rest = self.outside[place].copy()
        rest[2] += self.below[place][2]
        joins = [(c, self.inner[c], after.at[alive]) for c, after in rows.after.items()]
        found = self._met(rows.cell[alive], (place, rows.kind.at[alive]), joins, rest)
        return _front_of([(place, found)], rows.cells)

    def _around(self, place: int) -> _Front:
        """Return the fronts of all that is around each cell of a step."""
        rest = self.below[place].copy()
        rest[2] += self.outside[place][2]
        found = []
        zero = np.zeros(1, dtype=np.intp)
        for case in self.support.cases:
            if place in case.roots:
                others = [(r, self.inner[r], zero) for r in case.roots if r != place]
                found.append((-1, self._met(zero, None, others, rest)))
        for parent in self.parents[place]:
            rows = self.support.rows[parent]
            mine = rows.after[place]
            row = mine.order[self._mask(parent)[mine.order]]
            joins = [(_AROUND, self.around[parent], rows.cell[row])]
            joins += [(c, self.inner[c], a.at[row]) for c, a in rows.after.items() if c != place]
            own = parent, rows.kind.at[row]
            found.append((parent, self._met(mine.at[row], own, joins, rest)))
        return _front_of(found, self.support.rows[place].cells)

    def _mask(self, place: int) -> Bools:
        mask = np.zeros(len(self.support.rows[place].cell), dtype=bool)
        mask[self.alive[place]] = True
        return mask

    def _ends(self, place: int) -> tuple[dict[str, Ints], Floats]:
        """Return the builds through a step of the third's role that may be on the front."""
        rows = self.support.rows[place]
        row = rows.kind.order[self._mask(place)[rows.kind.order]]
        joins = [(_AROUND, self.around[place], rows.cell[row])]
        joins += [(c, self.inner[c], after.at[row]) for c, after in rows.after.items()]
        rest = self.own[place].copy()
        rest[2] += self.zero
        met = self._met(rows.kind.at[row], None, joins, rest)
        options, starts, counts = self.options[place]
        owner, number = spread(counts[met.group])
        option = options[starts[met.group[owner]] + number]
        points = self.costs[self.third][:, option]
        points = points + np.array(
            [met.price[owner], met.mass[owner], np.full(len(owner), self.zero)]
        )
        good = self._promising(np.vstack([points, self.mixed @ points[:2]]))
        kept = good[least_of_three(points[:, good].T)]
        chosen = {self.third: option[kept]}
        self._trace(place, met.take(owner[kept]).points, np.arange(len(kept)), chosen)
        return chosen, points[:, kept].T

    def _trace(
        self, place: int, points: Mapping[int, Ints], which: Ints, chosen: dict[str, Ints]
    ) -> None:
        """Fill in the options behind some points: of which builds, met at which step."""
        for key, point in points.items():
            front = self.around[place] if key == _AROUND else self.inner[key]
            for n, made in enumerate(front.made):
                mine = np.flatnonzero(front.source[point] == n)
                if not len(mine):
                    continue
                at = front.at[point[mine]]
                if made.place >= 0 and self.plan.steps[made.place].is_role:
                    variable = self.plan.steps[made.place].variable
                    column = chosen.setdefault(
                        variable, np.full(len(chosen[self.third]), -1, dtype=np.intp)
                    )
                    column[which[mine]] = made.option[at]
                opened = {k: p[at] for k, p in made.points.items()}
                self._trace(made.place, opened, which[mine], chosen)


def _numbered(columns: Sequence[Ints]) -> Ints:
    """Return a number for each row of some columns, ascending with the first of them."""
    found = columns[0]
    for column in columns[1:]:
        width = int(column.max(initial=0)) + 1
        if (int(found.max(initial=0)) + 1) * width > 1 << 40:
            found = np.unique(found, return_inverse=True)[1].reshape(-1).astype(np.intp)
        found = found * width + column
    if int(found.max(initial=0)) >= 1 << 24:  # small, so that what is added to it stays exact
        found = np.unique(found, return_inverse=True)[1].reshape(-1).astype(np.intp)
    return found


def _first_least(values: Floats, owner: Ints) -> Ints:
    """Return the place of the least value of each owner, whose values stand together."""
    if not len(values):
        return np.zeros(0, dtype=np.intp)
    new = np.append(True, owner[1:] != owner[:-1])
    least = np.minimum.reduceat(values, np.flatnonzero(new))
    at = np.flatnonzero(values == least[np.cumsum(new) - 1])
    return at[np.append(True, owner[at][1:] != owner[at][:-1])]
