"""How many builds keep limits, from a few random ones whose halves are put together anew.

Three things make a sample of some thousand builds tell as much as millions would.

*A tilt.* Builds are drawn with chances proportional to exp(-t c), where c is what they spend of
the limits: then about a quarter of them keep the limits, however tight these are. One that does
counts with the inverse of its chance.

*A control variate* [1]. With every option's price and mass rounded to a grid, the chance of each
sum on it can be had exactly: a pass over the plan for each frequency of a discrete Fourier
transform. What the rounded sum says of a build's worth has a known mean, and only what is left of
the worth, near the limits, is left to chance.

*Halves put together anew* [2]. Given the cell of one step, what is below it is independent of
the rest. So each drawn rest goes with the lower parts of many other draws through the same cell.

The interval is Student's, over batches that know nothing of each other.

References
----------
.. [1] P. Glasserman, *Monte Carlo Methods in Financial Engineering*, Springer 2003, section 4.1
   (reference checked).
.. [2] W. Hoeffding, "A class of statistics with asymptotically normal distribution", Annals of
   Mathematical Statistics 19 (1948) 293-325 (reference checked): U-statistics.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.algebra import COUNT
from fitgraph.solve.arrays import distinct
from fitgraph.solve.plan import Case
from fitgraph.solve.rows import Members
from fitgraph.solve.support import StepRows, Support
from fitgraph.stopping import check

#: Batches, builds drawn for each, and lower halves that each rest goes with.
BATCHES, EACH, HALVES = 32, 512, 32

#: Builds drawn to choose a tilt and a grid by.
PILOT = 2048

#: Cells of the grid along each limit, how many standard deviations they cover, and how many at
#: least where the tilt is steep.
_GRID, _COVERED, _COVERED_STEEP = 64, 8.0, 4.5

#: Cells of a step that halves may meet at, so that enough draws go through the same one.
_MEETING = 64

#: Pairs of halves that keep the limits below which a sample says too little.
ENOUGH = 4_000


@dataclass(frozen=True, slots=True)
class Drawn:
    """Builds drawn within one case.

    Parameters
    ----------
    case : Case
        The case.
    at : ndarray of int, shape (n,)
        Which of all draws they are.
    cells : dict of int to ndarray of int, shape (n,)
        The cell of each step.
    options : dict of str to ndarray of int, shape (n,)
        The option of each role.
    """

    case: Case
    at: Ints
    cells: dict[int, Ints]
    options: dict[str, Ints]


class Draws:
    """What drawing builds by weight needs, along the rows of a plan.

    Parameters
    ----------
    support : Support
        The rows.
    members : Members
        The options of each kind that have a weight.
    weight : mapping of str to ndarray of float
        The weight of each option; a build is as likely as the product of its options' weights.
    """

    def __init__(self, support: Support, members: Members, weight: Mapping[str, Floats]) -> None:
        self.support, self.members = support, members
        own: list[Floats] = []
        #: For each step: weights of its options, added up from the first, each kind's to one.
        self._options: list[Floats] = []
        for step in support.plan.steps:
            if not step.is_role:
                own.append(np.ones((1, step.kinds)))
                self._options.append(np.zeros(0))
                continue
            ordered, starts, counts = members.of(step)
            mine = weight[step.variable][ordered]
            full = np.flatnonzero(counts)
            total = np.zeros(step.kinds)
            if len(full):
                total[full] = np.add.reduceat(mine, starts[full])
            own.append(total[None])
            self._options.append(_running(mine, np.repeat(total, counts)))
        self.own = own
        self.below = support.below(own, COUNT)
        #: The weight of all builds.
        self.total = float(support.totals(self.below, COUNT)[0])
        self._rows: list[Floats] = []
        for rows, of_kind, mine in zip(support.rows, own, self.below, strict=True):
            values = of_kind[0].take(rows.kind.at)
            for child, after in rows.after.items():
                values = values * self.below[child][0].take(after.at)
            self._rows.append(_running(values, mine[0].take(rows.cell)))

    def draw(self, size: int, rng: np.random.Generator) -> list[Drawn]:
        """Return random builds, case by case.

        Parameters
        ----------
        size : int
            How many to draw, with repetition.
        rng : numpy.random.Generator
            Where chance comes from.
        """
        cases = self.support.cases
        shares = np.array([self.support.beside(c, -1, self.below, COUNT)[0] for c in cases])
        of_case = rng.choice(len(cases), size, p=shares / shares.sum())
        found = []
        for number in distinct(of_case):
            at = np.flatnonzero(of_case == number)
            found.append(self._within(cases[number], at, rng))
        return found

    def _within(self, case: Case, at: Ints, rng: np.random.Generator) -> Drawn:
        steps = self.support.plan.steps
        cells = {root: np.zeros(len(at), dtype=np.intp) for root in case.roots}
        options: dict[str, Ints] = {}
        for place in reversed(case.order):
            rows, cell = self.support.rows[place], cells[place]
            ends = np.append(rows.starts, len(rows.cell))
            row = _by_weight(self._rows[place], ends[cell], ends[cell + 1], rng)
            kind = rows.kind.at[row]
            for child, after in rows.after.items():
                cells[child] = after.at[row]
            step = steps[place]
            if step.is_role:
                ordered, starts, counts = self.members.of(step)
                first = starts[kind]
                chosen = _by_weight(self._options[place], first, first + counts[kind], rng)
                options[step.variable] = ordered[chosen]
        return Drawn(case, at, cells, options)


def summed(
    every: list[Drawn], size: int, costs: tuple[Mapping[str, npt.NDArray[Any]], ...]
) -> Floats:
    """Return what drawn builds add up to, shape (n_costs, n)."""
    sums = np.zeros((len(costs), size))
    for drawn in every:
        check()
        for role, option in drawn.options.items():
            sums[:, drawn.at] += np.array([c[role][option] for c in costs])
    return sums


def _running(values: Floats, totals: Floats) -> Floats:
    """Return values as shares of their segment's total, added up from the first."""
    shares = np.divide(values, totals, out=np.zeros(len(values)), where=totals > 0)
    return np.concatenate([[0.0], np.cumsum(shares)])


def _by_weight(running: Floats, first: Ints, end: Ints, rng: np.random.Generator) -> Ints:
    """Return, for each draw, a place between two, by what is added up there."""
    low = running[first]
    aim = low + rng.random(len(first)) * (running[end] - low)
    at = np.searchsorted(running, aim, side="right") - 1
    return np.clip(at, first, end - 1).astype(np.intp)


@dataclass(frozen=True, slots=True)
class _Grid:
    """One sum rounded to a cyclic grid.

    Parameters
    ----------
    cells, width : int, float
        How many cells there are, and how wide they are.
    of : dict of str to ndarray of int
        The cell of each option, by role; those of a build are added up.
    least : float
        What a build on cell zero spends.
    low : int
        The least cell of the window that the grid's cells stand for.
    """

    cells: int
    width: float
    of: dict[str, Ints]
    least: float
    low: int

    @staticmethod
    def over(
        cost: Mapping[str, Floats], least: Mapping[str, float], sums: Floats, tilt: float
    ) -> _Grid:
        """Return a grid around drawn sums.

        It is cyclic, so that sums far off count as some within its window. That is harmless
        where a steep tilt makes what is far below the limit worth as little as what is above.
        """
        scatter = float(sums.std())
        covered = max(_COVERED - 2.0 * scatter * tilt, _COVERED_STEEP)
        width = max(covered * scatter / _GRID, 1.0)
        of = {r: np.rint((c - least[r]) / width).astype(np.intp) for r, c in cost.items()}
        start = sum(least.values())
        low = math.floor((float(sums.mean()) - start) / width) - _GRID // 2
        return _Grid(_GRID, width, of, start, low)

    def worth(self, limit: float, tilt: float, residual: Floats) -> Floats:
        """Return what a build is worth by its cell, about: its chance to keep the limit, tilted.

        What rounding took away is as good as normal.
        """
        from scipy.special import log_ndtr  # takes a while to load

        variance = max(float(residual.var()), 1e-6)
        at = (np.arange(self.cells) - self.low) % self.cells + self.low
        room = limit - (self.least + at * self.width + float(residual.mean()))
        log = -tilt * room + tilt * tilt * variance / 2
        log = log + log_ndtr((room - tilt * variance) / math.sqrt(variance))
        return np.asarray(np.exp(np.minimum(log, 50.0)), dtype=float)


def _chances(
    support: Support,
    members: Members,
    weight: Mapping[str, Floats],
    grids: tuple[_Grid, ...],
) -> Floats:
    """Return the chance of each cell of the grids, exactly: a pass for each frequency."""
    shape = tuple(g.cells for g in grids)
    axes = tuple(range(1, 1 + len(shape)))
    size = math.prod(shape)
    below: list[npt.NDArray[Any]] = []
    for step, rows in zip(support.plan.steps, support.rows, strict=True):
        if step.is_role:
            ordered, _, counts = members.of(step)
            at = np.repeat(np.arange(step.kinds), counts)
            for grid in grids:
                at = at * grid.cells + grid.of[step.variable][ordered] % grid.cells
            own = np.bincount(at, weight[step.variable][ordered], minlength=step.kinds * size)
            turned = np.fft.rfftn(own.reshape(step.kinds, *shape), axes=axes)
            turned = turned.reshape(step.kinds, -1)
        else:
            turned = np.ones((step.kinds, 1), dtype=complex)
        below.append(_folded(turned, rows, below))
    total: npt.NDArray[Any] | float = 0.0
    for case in support.cases:
        of_case: npt.NDArray[Any] | float = 1.0
        for root in case.roots:
            of_case = of_case * below[root][0]
        total = total + of_case
    frequencies = (*shape[:-1], shape[-1] // 2 + 1)
    spread = np.broadcast_to(np.asarray(total), (math.prod(frequencies),)).reshape(frequencies)
    found = np.fft.irfftn(spread, s=shape, axes=tuple(range(len(shape))))
    found = np.maximum(found, 0.0)
    return np.asarray(found / found.sum(), dtype=float)


def _folded(
    own: npt.NDArray[Any], rows: StepRows, below: list[npt.NDArray[Any]]
) -> npt.NDArray[Any]:
    """Return, over (cells, frequencies), what a step and all below it come to.

    Cell by cell, so that what is worked on stays near the processor.
    """
    wide = max([own.shape[1], *(below[c].shape[1] for c in rows.after)])
    found = np.empty((rows.cells, wide), dtype=complex)
    ends = np.append(rows.starts, len(rows.cell)).tolist()
    for cell, (start, end) in enumerate(itertools.pairwise(ends)):
        check()
        values = own[rows.kind.at[start:end]]
        for child, after in rows.after.items():
            values = values * below[child][after.at[start:end]]
        np.add.reduce(values, axis=0, out=found[cell])
    return found


@dataclass(frozen=True, slots=True)
class Mean:
    """The mean worth of a drawn build.

    Parameters
    ----------
    value, error : float
        The mean, and its standard error over batches.
    freedom : int
        Degrees of freedom of the error.
    """

    value: float
    error: float
    freedom: int


def _halves(drawn: Drawn, support: Support, sums: Mapping[str, Floats]) -> tuple[int, Floats]:
    """Return the step below which about half of all scatter lies, and the sums below it.

    Parameters
    ----------
    drawn : Drawn
        Builds of one case.
    support : Support
        The rows.
    sums : mapping of str to ndarray of float, shape (n_sums, n)
        What each role adds to each sum of each build; the first few decide.
    """
    below: dict[int, Floats] = {}
    whole = sum(sums.values())
    best, chosen = math.inf, drawn.case.order[-1]
    for place in drawn.case.order:
        step = support.plan.steps[place]
        mine = sum((below[c] for c in support.rows[place].after), np.zeros_like(whole))
        if step.is_role:
            mine = mine + sums[step.variable]
        below[place] = mine
        if support.rows[place].cells > _MEETING:
            continue
        lower, upper = mine.var(axis=1), (whole - mine).var(axis=1)
        share = lower / np.maximum(lower + upper, 1e-12)
        off = float(((share - 0.5) ** 2).sum())
        if off < best:
            best, chosen = off, place
    return chosen, below[chosen]


def _flat(cells: Floats, grids: tuple[_Grid, ...]) -> Ints:
    """Return cells of several grids as one number each, in a table twice as long each way."""
    found = np.zeros(cells.shape[1], dtype=np.intp)
    for of, grid in zip(cells, grids, strict=True):
        found = found * (2 * grid.cells) + of.astype(np.intp) % grid.cells
    return found


def mean_worth(
    support: Support,
    members: Members,
    draws: Draws,
    weight: Mapping[str, Floats],
    costs: tuple[Mapping[str, Floats], ...],
    least: tuple[Mapping[str, float], ...],
    limits: Floats,
    tilt: Floats,
    rng: np.random.Generator,
) -> Mean | None:
    """Return the mean of exp(-tilt . room) of drawn builds, zero for those that break a limit.

    Parameters
    ----------
    support, members, draws, weight
        As in :class:`Draws`.
    costs : tuple of mapping of str to ndarray of float
        For each limit, what each option spends.
    least : tuple of mapping of str to float
        For each limit, the least that an option of each role spends.
    limits, tilt : ndarray of float, shape (n_limits,)
        The limits, and the tilt in the weights.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    Mean or None
        None where too few of the drawn builds keep the limits to say so.
    """
    wide = len(limits)
    # The grid and what is made of it are chosen by other draws than those that are judged by it.
    pilot = draws.draw(PILOT, rng)
    tried = summed(pilot, PILOT, costs)
    grids = tuple(_Grid.over(*of) for of in zip(costs, least, tried, tilt.tolist(), strict=True))
    on_grid = summed(pilot, PILOT, tuple(g.of for g in grids))
    worth = np.ones(())
    for n, grid in enumerate(grids):
        residual = tried[n] - (grid.least + on_grid[n] * grid.width)
        worth = worth[..., None] * grid.worth(float(limits[n]), float(tilt[n]), residual)
    size = BATCHES * EACH
    every = draws.draw(size, rng)
    lower, upper = np.zeros((2 * wide, size)), np.zeros((2 * wide, size))
    meeting = np.zeros(size, dtype=np.int64)
    known = 0
    for drawn in every:
        check()
        added = {
            role: np.array(
                [c[role][option] for c in costs] + [g.of[role][option] for g in grids], dtype=float
            )
            for role, option in drawn.options.items()
        }
        place, under = _halves(drawn, support, added)
        lower[:, drawn.at], upper[:, drawn.at] = under, sum(added.values()) - under
        meeting[drawn.at] = known + drawn.cells[place]
        known += support.rows[place].cells

    # Draws of one batch that go through the same cell of the step where their halves meet.
    batch = np.arange(size) // EACH
    order = np.lexsort((meeting, batch))
    group = batch[order] * known + meeting[order]
    starts = np.flatnonzero(np.diff(group, prepend=-1))
    counts = np.diff(np.append(starts, size))
    start, count = np.repeat(starts, counts), np.repeat(counts, counts)
    number = np.arange(size) - start
    lower, upper = lower[:, order], upper[:, order]
    # What does not hang on the other half is worked out once. Cells of both halves are added
    # without a look at where the grid closes: the table of their worth stands twice along it.
    centre = upper[:wide].mean(axis=1)
    worth_upper = np.exp(tilt @ (upper[:wide] - centre[:, None]))
    worth_lower = np.exp(tilt @ (lower[:wide] + (centre - limits)[:, None]))
    cell_upper, cell_lower = (_flat(half[wide:], grids) for half in (upper, lower))
    table = np.tile(worth, (2,) * wide).reshape(-1)
    room = limits[:, None] - upper[:wide]
    rest, kept = np.zeros(size), 0
    for shift in range(HALVES):
        other = start + (number + shift) % count
        inside = lower[0][other] <= room[0]
        for n in range(1, wide):
            inside &= lower[n][other] <= room[n]
        kept += int(np.count_nonzero(inside))
        rest += inside * (worth_upper * worth_lower[other])
        rest -= table[cell_upper + cell_lower[other]]
    if kept < ENOUGH:
        return None
    means = np.bincount(batch, rest, minlength=BATCHES) / (EACH * HALVES)
    error = float(means.std(ddof=1)) / math.sqrt(BATCHES)
    exact = float((_chances(support, members, weight, grids) * worth).sum())
    return Mean(exact + float(means.mean()), error, BATCHES - 1)
