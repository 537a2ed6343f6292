"""What the fillings of a core come to: their sums of price and mass, one cell at a time.

Below a choice of all roles that decide, what is left of a plan falls apart into branches, and a
branch knows of that choice only the cell it starts from. Sums along a branch are put together
once for each cell, with equal sums made one, or with only those kept that no other betters.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.arrays import dense, spread
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Plan
from fitgraph.solve.query import Query
from fitgraph.solve.rows import Members, Rows
from fitgraph.stopping import check

#: Distinct sums, by price and mass, of one cell.
Sums = tuple[Floats, Floats, Floats]

#: Pairs of sums that are looked at before it is given up; of one sum alone, on a grid.
CEILING, _CONVOLVED = 3_000_000, 2_000_000_000

#: Pairs of one sum alone up to which no grid is made.
_SMALL = 4096


class TooManySumsError(RuntimeError):
    """There are more distinct sums than the ceiling."""


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """A plan whose deciding roles go last, with its messages.

    Parameters
    ----------
    plan : Plan
        The plan.
    counts : Passes
        Numbers of fillings.
    rows : Rows
        What can follow each cell.
    least : Passes
        The first weighting's least is a price.
    query : Query
        The question.
    lets : mapping of str to ndarray of bool
        Which options may be used.
    """

    plan: Plan
    counts: Passes
    rows: Rows
    least: Passes
    query: Query
    lets: Mapping[str, Bools]
    _held: dict[str, object] = field(default_factory=dict, repr=False)


class Tables:
    """Sums of price and mass [tenths of a gram] below cells.

    Parameters
    ----------
    walk : Walk
        The plan.
    slack : ndarray of float, shape (2,)
        How much more than the least a filling may cost and weigh; infinite where there is no
        limit.
    front : bool
        Whether only sums are kept that no other betters; else all, with how often each is.
    signs : tuple of float
        1 where less is better, -1 where more is; of a front.
    weighed : bool
        Whether options of unknown mass are left out.
    within : mapping of str to ndarray of bool, optional
        Options that may be used, of those that the question lets in.
    sums : tuple of bool
        Whether prices and masses are added up.
    """

    def __init__(
        self,
        walk: Walk,
        slack: Floats,
        *,
        front: bool,
        signs: tuple[float, float] = (1.0, 1.0),
        weighed: bool = True,
        within: Mapping[str, Bools] | None = None,
        sums: tuple[bool, bool] = (True, True),
    ) -> None:
        self.walk, self.slack, self.front, self.signs = walk, slack, front, signs
        query = walk.query
        lets = dict(walk.lets)
        if weighed:
            lets = {r: m & query.weighed[r] for r, m in lets.items()}
        if within is not None:
            lets = {r: m & within[r] for r, m in lets.items()}
        self.members = Members(query.space.class_of, lets)
        zero = {r: np.zeros(len(p)) for r, p in query.price.items()}
        self.price = query.price if sums[0] else zero
        self.tenths = query.tenths if sums[1] else zero
        #: The only sum that is asked for: prices or masses.
        self.alone = sums.index(True) if sum(sums) == 1 and not front else None
        self._of: dict[tuple[int, int], Sums] = {}
        self.looked = 0

    def of(self, place: int, cell: int) -> Sums:
        """Return the sums below a cell of a step."""
        key = (place, cell)
        if key not in self._of:
            self._of[key] = self._below(place, cell)
        return self._of[key]

    def _own(self, place: int, kinds: Ints) -> tuple[Ints, Floats, Floats]:
        """Return the options of some kinds: whose each is, its price and its mass."""
        step = self.walk.plan.steps[place]
        if step.decided is not None:
            return np.arange(len(kinds)), np.zeros(len(kinds)), np.zeros(len(kinds))
        ordered, starts, many = self.members.of(step)
        owner, number = spread(many[kinds])
        option = ordered[starts[kinds[owner]] + number]
        return owner, self.price[step.variable][option], self.tenths[step.variable][option]

    def _below(self, place: int, cell: int) -> Sums:
        walk = self.walk
        at = np.array([cell], dtype=np.intp)
        _, kinds = walk.rows.expand(place, at)
        after = walk.rows.after(place, np.repeat(at, len(kinds)), kinds)
        cap = self._cap(place, cell)
        owner, price, tenths = self._own(place, kinds)
        # Kinds that open the same are one: their options stand beside each other.
        first, alike = dense([np.zeros(len(kinds), dtype=np.intp), *after.values()])
        of = alike[owner]
        order = np.argsort(of, kind="stable")
        ends = np.searchsorted(of[order], np.arange(len(first) + 1))
        pieces: list[Sums] = []
        for n, example in enumerate(first.tolist()):
            check()
            mine = order[ends[n] : ends[n + 1]]
            sums = self.kept(price[mine], tenths[mine], np.ones(len(mine)))
            for child, below in after.items():
                sums = self.joined(sums, self.of(child, int(below[example])), cap)
            pieces.append(sums)
        if not pieces:
            return np.zeros(0), np.zeros(0), np.zeros(0)
        return self.kept(*(np.concatenate(columns) for columns in zip(*pieces, strict=True)))

    def _cap(self, place: int, cell: int) -> float:
        """Return the most that what is below a cell may cost."""
        if not np.isfinite(self.slack[0]):
            return np.inf
        at = np.array([cell], dtype=np.intp)
        least = float(self.walk.least.at(place, at)[0, 0])
        return least // self.scale + self.slack[0]

    @property
    def scale(self) -> float:
        """Return what a minor unit counts in the first weighting."""
        return sum(float(t.max(initial=0.0)) for t in self.walk.query.tenths.values()) + 1

    def joined(self, one: Sums, other: Sums, cap: float = np.inf, *, merge: bool = True) -> Sums:
        """Return the sums of both, one of each; equal ones made one if they are to `merge`."""
        size = len(one[0]) * len(other[0])
        if self.alone is not None and size > _SMALL:
            return self._convolved(one, other, cap)
        self.looked += size
        if self.looked > CEILING:
            raise TooManySumsError
        price = (one[0][:, None] + other[0]).reshape(-1)
        tenths = (one[1][:, None] + other[1]).reshape(-1)
        times = (one[2][:, None] * other[2]).reshape(-1)
        if np.isfinite(cap):
            keep = price <= cap
            price, tenths, times = price[keep], tenths[keep], times[keep]
        return self.kept(price, tenths, times) if merge else (price, tenths, times)

    def _convolved(self, one: Sums, other: Sums, cap: float) -> Sums:
        """Return the sums of both where there is one sum, on a grid; exact below 2**53."""
        axis = self.alone
        assert axis is not None
        values = [one[axis].astype(np.int64), other[axis].astype(np.int64)]
        starts = [int(v.min()) for v in values]
        apart = [v - start for v, start in zip(values, starts, strict=True)]
        grid = max(int(np.gcd.reduce(np.concatenate(apart))), 1)
        wide = [int(v.max()) // grid + 1 for v in apart]
        if wide[0] * wide[1] > _CONVOLVED:
            raise TooManySumsError
        dense = [
            np.bincount(v // grid, times, n)
            for v, times, n in zip(apart, (one[2], other[2]), wide, strict=True)
        ]
        times: Floats = np.convolve(dense[0].astype(np.float64), dense[1].astype(np.float64))
        at = np.flatnonzero(times)
        found: Floats = sum(starts) + at.astype(np.float64) * grid
        if axis == 0 and np.isfinite(cap):
            at, found = at[found <= cap], found[found <= cap]
        zero = np.zeros(len(at))
        return (found, zero, times[at]) if axis == 0 else (zero, found, times[at])

    def kept(self, price: Floats, tenths: Floats, times: Floats) -> Sums:
        """Return distinct sums with how often they are, or those that no other betters."""
        if len(price) < 2:
            return price, tenths, times
        if not self.front:
            order = np.lexsort((tenths, price))
            price, tenths, times = price[order], tenths[order], times[order]
            new = np.append(True, (np.diff(price) != 0) | (np.diff(tenths) != 0))
            starts = np.flatnonzero(new)
            return price[starts], tenths[starts], np.add.reduceat(times, starts)
        x, y = self.signs[0] * price, self.signs[1] * tenths
        order = np.lexsort((y, x))
        y = y[order]
        best = np.append(True, y[1:] < np.minimum.accumulate(y)[:-1])
        order = order[best]
        return price[order], tenths[order], times[order]


def together(tables: Tables, own: tuple[float, float], cells: Mapping[int, int]) -> Sums:
    """Return the sums of a core with its fillings; equal ones may stand beside each other.

    Parameters
    ----------
    tables : Tables
        What fillings come to.
    own : tuple of float
        Price and mass of the core itself.
    cells : mapping of int to int
        Where its fillings start, by step.

    Raises
    ------
    TooManySumsError
        If they are more than the ceiling.
    """
    every = sorted((tables.of(place, cell) for place, cell in cells.items()), key=_length)
    sums: Sums = np.array([own[0]]), np.array([own[1]]), np.ones(1)
    for n, one in enumerate(every, start=1):
        sums = tables.joined(sums, one, merge=n < len(every))
    return sums


def _length(sums: Sums) -> int:
    return len(sums[0])
