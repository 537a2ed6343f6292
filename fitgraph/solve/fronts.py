"""The front of price, mass and strength by messages, where strength hangs on one role.

That role goes last. For each cell of a step, a message holds the pairs of price and mass that
nothing below it betters [1]; the last role's options meet those of their kind. Before that, the
best builds of some weightings are found for every kind of the last role: a first, coarse front.
What cannot beat a build of it, even with the least that the rest of a build costs, is dropped.

References
----------
.. [1] E. Rollon, J. Larrosa, "Bucket elimination for multiobjective optimization problems",
   Journal of Heuristics 12 (2006) 307-328 (from memory).
.. [2] H. T. Kung, F. Luccio, F. P. Preparata, "On finding the maxima of a set of vectors", J. ACM
   22 (1975) 469-476 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.solve.algebra import LEAST
from fitgraph.solve.arrays import spread
from fitgraph.solve.plan import Case
from fitgraph.solve.rows import Members
from fitgraph.solve.support import Support

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Points that are put together before they are thinned out.
_AT_ONCE = 1 << 18

#: Weightings of price and mass that a coarse front is made of.
_WEIGHTINGS = 5

#: Levels of the third criterion at which known builds are looked up.
_LEVELS = 32


def least_of_two(group: Ints, one: Floats, two: Floats) -> Ints:
    """Return the places of pairs that no other of their group is as good as in both.

    Parameters
    ----------
    group : ndarray of int
        Pairs of different groups are not compared.
    one, two : ndarray of float
        Smaller is better; whole numbers.

    Returns
    -------
    ndarray of int
        By group, then by the first number; of equal pairs the first.

    Examples
    --------
    >>> group, one = np.array([0, 0, 0, 1]), np.array([1.0, 2, 3, 5])
    >>> least_of_two(group, one, np.array([5.0, 7, 2, 9])).tolist()
    [0, 2, 3]
    """
    if not len(one):
        return np.zeros(0, dtype=np.intp)
    base = float(one.min())
    width = float(one.max()) - base + 1.0
    bits = int(len(one) - 1).bit_length()
    if (float(group.max()) + 1.0) * width < 2.0 ** (62 - bits):
        # One number a pair, with its place, sorts many times faster than columns.
        key = group * int(width) + (one - base).astype(np.int64)
        key = np.sort((key << bits) | np.arange(len(one)))
        order = key & ((1 << bits) - 1)
        key >>= bits
    else:
        order = np.lexsort((one, group))
        key = np.cumsum(
            np.append(0, (np.diff(one[order]) != 0) | (np.diff(group[order]) != 0)).astype(np.int64)
        )
    # Each group lies below all before it, so that one running minimum serves all.
    wide = float(np.ptp(two)) + 1.0
    level = two[order] - wide * group[order]
    before = np.minimum.accumulate(level)
    good = np.append(True, level[1:] < before[:-1])
    order, key = order[good], key[good]
    # Of pairs that share the first number the last is the best.
    return order[np.append(key[1:] != key[:-1], True)].astype(np.intp)


def least_of_three(points: Floats, group: Ints | None = None) -> Ints:
    """Return the places of points in three criteria that no other of their group dominates.

    Points are split by the third criterion, half against half: what is better there rules out
    what is no better in the other two [2]_.

    Examples
    --------
    >>> least_of_three(np.array([[1.0, 5, 0], [2, 4, 0], [2, 6, 0], [1, 5, 0]])).tolist()
    [0, 1]
    """
    third = np.unique(points[:, 2], return_inverse=True)[1].reshape(-1).astype(np.intp)
    width = int(third.max(initial=0)).bit_length()
    if group is not None:
        third += group << width
    kept = least_of_two(third, points[:, 0], points[:, 1])
    for bit in range(width):
        level = third[kept]
        block, worse = level >> (bit + 1), (level >> bit) & 1
        one, two = points[kept, 0], points[kept, 1]
        order = np.lexsort((worse, one, block))
        wide = float(np.ptp(two)) + 1.0 if len(two) else 1.0
        of_block = two[order] - wide * block[order]
        better = np.where(worse[order] == 0, of_block, np.inf)
        reached = np.minimum.accumulate(better)
        beaten = (worse[order] == 1) & (reached <= of_block)
        kept = np.delete(kept, order[beaten])
    return np.sort(kept)


class Known:
    """Builds that are known, to ask what they are at least as good as.

    Parameters
    ----------
    points : ndarray of float, shape (n, 3)
        Their criteria.
    """

    def __init__(self, points: Floats) -> None:
        thirds = np.unique(points[:, 2])
        # At a level count those that are no worse than it; between levels the lower one counts.
        at = np.unique(np.linspace(0, len(thirds) - 1, _LEVELS).astype(np.intp))
        self.levels = thirds[at] if len(thirds) else thirds
        keys, masses = [], []
        order = points[np.lexsort((points[:, 1], points[:, 0]))]
        self.base = float(points[:, 0].min(initial=0.0))
        self.width = float(points[:, 0].max(initial=0.0)) - self.base + 2.0
        for n, level in enumerate(self.levels):
            mine = order[order[:, 2] <= level]
            keys.append(mine[:, 0] - self.base + n * self.width)
            masses.append(np.minimum.accumulate(mine[:, 1]))
        self.keys = np.concatenate([np.zeros(0), *keys])
        self.masses = np.concatenate([np.zeros(0), *masses])

    def beat(self, one: Floats, two: Floats, three: Floats) -> Bools:
        """Return where some known build is as good in all three criteria."""
        level = np.searchsorted(self.levels, three, side="right") - 1
        if not len(self.levels):
            return np.zeros(len(one), dtype=bool)
        first = np.clip(one - self.base, -1.0, self.width - 1.0) + level * self.width
        place = np.searchsorted(self.keys, first, side="right") - 1
        good = (level >= 0) & (place >= 0)
        # The best of a lower level must not count for a price below all of this one.
        good &= one >= self.base
        place = np.maximum(place, 0)
        good &= self.keys[place] >= level * self.width
        return good & (self.masses[place] <= two)


@dataclass(frozen=True, slots=True, eq=False)
class _Front:
    """Fronts of a step, cell after cell: prices, masses, and what they are made of."""

    starts: Ints
    counts: Ints
    price: Floats
    mass: Floats
    option: Ints  # -1 of a running sum
    below: dict[int, Ints]  # for each child, the place of the point taken


def _joined(
    front: _Front, at: Ints, row: Ints, price: Floats, mass: Floats
) -> tuple[Ints, Floats, Floats, Ints, Ints]:
    """Return points of rows with each point of what they open, whose they are, and which."""
    cell = at[row]
    owner, number = spread(front.counts[cell])
    point = front.starts[cell[owner]] + number
    return (
        row[owner],
        price[owner] + front.price[point],
        mass[owner] + front.mass[point],
        owner,
        point,
    )


class Fronts:
    """Fronts of one request over the rows of a plan.

    Parameters
    ----------
    support : Support
        Of a plan whose last role alone tells the third criterion.
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
        class_of: Mapping[str, Ints],
        lets: Mapping[str, Bools],
        costs: Mapping[str, Floats],
        limits: Floats,
    ) -> None:
        self.support, self.plan = support, support.plan
        self.lets, self.costs, self.limits = lets, costs, limits
        assert self.plan.last is not None
        self.last = self.plan.last
        self.members = Members(class_of, lets)
        self.possible = bool(support.cases) and all(lets[r].any() for r in self.plan.roles)
        self.options = [self._undominated(place) for place in range(len(self.plan.steps))]
        self.of: dict[int, _Front] = {}
        others = [r for r in self.plan.roles if r != self.last and self.possible]
        #: What the other roles add to the third criterion, whichever options they have.
        self.zero = sum(float(costs[r][2][lets[r]][0]) for r in others)

    def _undominated(self, place: int) -> tuple[Ints, Ints]:
        """Return the options of a step's kinds that none of their kind betters, and the kinds."""
        step = self.plan.steps[place]
        if not step.is_role:
            kinds = np.arange(step.kinds)
            return np.full(step.kinds, -1, dtype=np.intp), kinds
        ordered, _, counts = self.members.of(step)
        kind = np.repeat(np.arange(step.kinds), counts)
        costs = self.costs[step.variable][:, ordered]
        if step.variable != self.last:
            kept = least_of_two(kind, costs[0], costs[1])
            return ordered[kept], kind[kept]
        kept = least_of_three(costs.T, kind)
        return ordered[kept], kind[kept]

    # -- bounds --------------------------------------------------------

    def _own(self, weightings: Floats) -> tuple[list[Floats], list[Ints]]:
        """Return the least of each kind of each step by weighting, and an option of it."""
        values, options = [], []
        width = len(weightings)
        for step, (option, kind) in zip(self.plan.steps, self.options, strict=True):
            least = np.full((width, step.kinds), np.inf)
            best = np.full((width, step.kinds), -1, dtype=np.intp)
            if not step.is_role:
                least[:] = 0.0
            elif len(option):
                of_option = weightings @ self.costs[step.variable][:, option]
                starts = np.flatnonzero(np.diff(kind, prepend=-1))
                least[:, kind[starts]] = np.minimum.reduceat(of_option, starts, axis=1)
                good = of_option == least[:, kind]
                place = np.where(good, np.arange(len(option)), len(option))
                best[:, kind[starts]] = option[np.minimum.reduceat(place, starts, axis=1)]
            values.append(least)
            options.append(best)
        return values, options

    def coarse(self) -> tuple[dict[str, Ints], Floats]:
        """Return builds of which none of them betters another: a front with few of its builds.

        Returns
        -------
        options, points
            As from :meth:`exact`.
        """
        if not self.possible:
            return self._together([])
        angle = np.linspace(0.0, np.pi / 2, _WEIGHTINGS + 2)[1:-1]
        spread_of = [
            max(sum(float(np.ptp(c[k][self.lets[r]])) for r, c in self.costs.items()), 1.0)
            for k in (0, 1)
        ]
        mixed = [np.cos(angle) / spread_of[0], np.sin(angle) / spread_of[1], 0.0 * angle]
        # The first three weightings are the criteria themselves: they bound what a build costs.
        own, best_option = self._own(np.vstack([np.eye(3), np.column_stack(mixed)]))
        below = self.support.below(own, LEAST)
        self.alone, self.below = [o[:3] for o in own], [b[:3] for b in below]
        best_row = self.support.first_best(own, below)
        found: list[tuple[dict[str, Ints], Floats]] = []
        for case in self.support.cases:
            found.append(self._witnesses(case, below, best_row, best_option))
        return self._together(found)

    def _witnesses(
        self,
        case: Case,
        below: list[Floats],
        best_row: list[Ints],
        best_option: list[Ints],
    ) -> tuple[dict[str, Ints], Floats]:
        """Return the best builds of each weighting through each option of the last role."""
        at = case.order[-1]
        rows = self.support.rows[at]
        width = len(below[0])
        option, kind = self.options[at]
        by_kind = np.full(self.plan.steps[at].kinds, -1, dtype=np.intp)
        by_kind[rows.kind.at] = np.arange(len(rows.cell))
        option, row = option[by_kind[kind] >= 0], by_kind[kind[by_kind[kind] >= 0]]
        option, row = np.repeat(option, width), np.repeat(row, width)
        weighting = np.tile(np.arange(width), len(option) // max(width, 1))
        cells = {root: np.zeros(len(row), dtype=np.intp) for root in case.roots if root != at}
        cells |= {child: after.at[row] for child, after in rows.after.items()}
        good = np.ones(len(row), dtype=bool)
        for child, cell in cells.items():
            good &= np.isfinite(below[child][weighting, cell])
        row, option, weighting = row[good], option[good], weighting[good]
        cells = {c: cell[good] for c, cell in cells.items()}
        chosen = {self.last: option}
        for place in reversed(case.order[:-1]):
            cell = cells.pop(place)
            mine = self.support.rows[place]
            row = best_row[place][weighting, cell]
            if self.plan.steps[place].is_role:
                chosen[self.plan.steps[place].variable] = best_option[place][
                    weighting, mine.kind.at[row]
                ]
            cells |= {child: after.at[row] for child, after in mine.after.items()}
        points = sum((self.costs[r][:, o].T for r, o in chosen.items()), np.zeros((len(option), 3)))
        return self._kept(chosen, points)

    def _kept(self, chosen: dict[str, Ints], points: Floats) -> tuple[dict[str, Ints], Floats]:
        """Return what keeps the limits and is not bettered."""
        inside = np.flatnonzero((points <= self.limits).all(axis=1))
        kept = inside[least_of_three(points[inside])]
        return {r: o[kept] for r, o in chosen.items()}, points[kept]

    def _together(
        self, found: list[tuple[dict[str, Ints], Floats]]
    ) -> tuple[dict[str, Ints], Floats]:
        points = np.concatenate([np.zeros((0, 3)), *(p for _, p in found)])
        none = np.zeros(0, dtype=np.intp)
        chosen = {r: np.concatenate([none, *(o[r] for o, _ in found)]) for r in self.plan.roles}
        kept = least_of_three(points)
        order = kept[np.lexsort(points[kept].T[::-1])]
        return {r: o[order] for r, o in chosen.items()}, points[order]

    # -- fronts --------------------------------------------------------

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
        self.known = Known(first[1])
        self.outside = self.support.outside(self.alone, self.below, LEAST)
        self.alive = [self._alive(place) for place in range(len(self.plan.steps))]
        found = [first]
        for case in self.support.cases:
            for place in case.order[:-1]:
                if place not in self.of:
                    self.of[place] = self._front(place)
            found.append(self._last(case))
        return self._together(found)

    def _alive(self, place: int) -> Bools:
        """Return which rows of a step may be in a build of the front."""
        through = self.support.through(place, self.outside, self.below, LEAST)
        kind = self.support.rows[place].kind.at
        return self._promising((through + self.alone[place].take(kind, axis=1)).T)

    def _promising(self, lower: Floats) -> Bools:
        """Return which lower bounds keep the limits and are not beaten."""
        good: Bools = np.asarray(np.isfinite(lower).all(axis=1))
        good &= (lower <= self.limits).all(axis=1)
        at = np.flatnonzero(good)
        good[at] = ~self.known.beat(*lower[at].T)
        return good

    def _front(self, place: int) -> _Front:
        step, rows = self.plan.steps[place], self.support.rows[place]
        at = np.flatnonzero(self.alive[place])
        cell, kind = rows.cell[at], rows.kind.at[at]
        option, of_kind = self.options[place]
        counts = np.bincount(of_kind, minlength=step.kinds).astype(np.intp)
        starts = np.cumsum(counts) - counts
        width = counts[kind].astype(float)
        below = {}
        for child, after in rows.after.items():
            below[child] = after.at[at]
            width *= self.of[child].counts[after.at[at]]
        pieces = []
        begin = 0
        ends = np.flatnonzero(np.diff(cell, append=-1)) + 1  # where cells end
        running = np.cumsum(width)
        while begin < len(cell):
            done = running[begin - 1] if begin else 0.0
            first = int(np.searchsorted(ends, begin, side="right"))
            far = int(np.searchsorted(running[ends - 1], done + _AT_ONCE, side="right"))
            end = int(ends[max(far - 1, first)])
            part = slice(begin, end)
            pieces.append(
                self._piece(
                    place,
                    cell[part],
                    kind[part],
                    {c: b[part] for c, b in below.items()},
                    (option, starts, counts),
                )
            )
            begin = end
        none, no = np.zeros(0), np.zeros(0, dtype=np.intp)
        of_cell = np.concatenate([no, *(p[0] for p in pieces)])
        counts = np.bincount(of_cell, minlength=rows.cells).astype(np.intp)
        return _Front(
            np.cumsum(counts) - counts,
            counts,
            np.concatenate([none, *(p[1] for p in pieces)]),
            np.concatenate([none, *(p[2] for p in pieces)]),
            np.concatenate([no, *(p[3] for p in pieces)]),
            {c: np.concatenate([no, *(p[4][c] for p in pieces)]) for c in step.children},
        )

    def _piece(
        self,
        place: int,
        cell: Ints,
        kind: Ints,
        below: Mapping[int, Ints],
        options: tuple[Ints, Ints, Ints],
    ) -> tuple[Ints, Floats, Floats, Ints, dict[int, Ints]]:
        """Return the fronts of some cells, from their rows."""
        step = self.plan.steps[place]
        ordered, starts, counts = options
        row, number = spread(counts[kind])
        option = ordered[starts[kind[row]] + number]
        if step.is_role:
            price, mass = self.costs[step.variable][:2, option]
        else:
            price, mass = np.zeros(len(row)), np.zeros(len(row))
        taken: dict[int, Ints] = {}
        outside, inside = self.outside[place], self.below[place]
        waiting = list(below.items())
        for n, (child, at) in enumerate(waiting):
            row, price, mass, owner, point = _joined(self.of[child], at, row, price, mass)
            option = option[owner]
            taken = {c: b[owner] for c, b in taken.items()} | {child: point}
            if n + 1 < len(waiting):
                kept = least_of_two(row, price, mass)
                row, option, price, mass = row[kept], option[kept], price[kept], mass[kept]
                taken = {c: b[kept] for c, b in taken.items()}
        mine = cell[row]
        lower = outside[:, mine].T + np.column_stack([price, mass, inside[2, mine]])
        good = np.flatnonzero(self._promising(lower))
        kept = good[least_of_two(mine[good], price[good], mass[good])]
        return (
            mine[kept],
            price[kept],
            mass[kept],
            option[kept],
            {c: b[kept] for c, b in taken.items()},
        )

    def _last(self, case: Case) -> tuple[dict[str, Ints], Floats]:
        """Return the builds of one case that may be on the front."""
        at = case.order[-1]
        rows = self.support.rows[at]
        options, of_kind = self.options[at]
        others = [root for root in case.roots if root != at]
        row = np.flatnonzero(self.alive[at])
        price, mass = np.zeros(len(row)), np.zeros(len(row))
        taken: dict[int, Ints] = {}
        below = [(child, after.at) for child, after in rows.after.items()]
        alone = np.zeros(len(rows.cell), dtype=np.intp)
        for child, cell in [*below, *((root, alone) for root in others)]:
            front = self.of[child]
            row, price, mass, owner, point = _joined(front, cell, row, price, mass)
            taken = {c: t[owner] for c, t in taken.items()} | {child: point}
            kept = least_of_two(row, price, mass)
            row, price, mass = row[kept], price[kept], mass[kept]
            taken = {c: t[kept] for c, t in taken.items()}
        counts = np.bincount(of_kind, minlength=self.plan.steps[at].kinds).astype(np.intp)
        starts = np.cumsum(counts) - counts
        kind = rows.kind.at[row]
        rest, number = spread(counts[kind])
        option = options[starts[kind[rest]] + number]
        points = self.costs[self.last][:, option].T
        zero = np.full(len(rest), self.zero)
        points = points + np.column_stack([price[rest], mass[rest], zero])
        good = np.flatnonzero(self._promising(points))
        kept = good[least_of_three(points[good])]
        chosen = self._trace({c: t[rest[kept]] for c, t in taken.items()}, case)
        chosen[self.last] = option[kept]
        return chosen, points[kept]

    def _trace(self, taken: dict[int, Ints], case: Case) -> dict[str, Ints]:
        """Return the options behind some points of steps."""
        chosen = {}
        for place in reversed(case.order):
            if place not in taken:
                continue
            point, front = taken.pop(place), self.of[place]
            if self.plan.steps[place].is_role:
                chosen[self.plan.steps[place].variable] = front.option[point]
            for child, at in front.below.items():
                taken[child] = at[point]
        return chosen
