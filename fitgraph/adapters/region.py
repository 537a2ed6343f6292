"""The plane of two free sizes: how many counterparts fit where, and where no wall is left.

It shows the arrangement that :mod:`fitgraph.adapters.candidates` chooses from: its cells, what
the least wall forbids, and which joint ends the cell of a candidate.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np

from fitgraph.adapters.candidates import Candidate, Counterparts, middle
from fitgraph.adapters.cells import SAME_MM, Cell, peaks
from fitgraph.adapters.made import Words, held
from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.model import Catalogue, Joint, Make, Option, Reference
from fitgraph.records import dataclass

#: Cells narrower than this, in mm, are not seen on a map.
_SEEN_MM = 1e-6


def axes_of(make: Make) -> tuple[Reference, Reference | None]:
    """Return the two free sizes of a map: bore and outside where both are free.

    Otherwise the outside, if it is free, and the next free size; None where there is only one.
    """
    sizes = [f.size for f in make.free]
    wanted = [r for r in (make.bore, make.outside) if r in sizes]
    first, *others = dict.fromkeys([*wanted, *sizes])
    assert first is not None
    return first, next(iter(others), None)


@dataclass(frozen=True, slots=True)
class Region:
    """A plane of two free sizes, cut into cells.

    Parameters
    ----------
    across, up : Reference
        Its two sizes; `up` is None where only one is free.
    columns, rows : ndarray of float
        Where the cells begin and end, in mm; one more than there are cells.
    fits_across, fits_up : ndarray of int
        How many sizes of counterparts certainly fit in each cell.
    room : ndarray of bool, shape (n_rows, n_columns)
        Whether some sizes of a cell leave the least wall.
    wall : ndarray of float, shape (n, 2)
        Points of the line on which exactly the least wall is left, in mm; empty where the wall
        does not tie the two sizes.
    """

    across: Reference
    up: Reference | None
    columns: Floats
    rows: Floats
    fits_across: Ints
    fits_up: Ints
    room: Bools
    wall: Floats

    @property
    def pairs(self) -> Ints:
        """Return how many pairs of counterparts, one on each side, each cell can join."""
        found = self.fits_up[:, None] * self.fits_across[None, :]
        return np.where(self.room, found, 0)


def _seen(lines: Sequence[Sequence[Cell]]) -> list[Cell]:
    return [c for line in lines for c in line if c.hi - c.lo > _SEEN_MM]


def _count(found: Sequence[Cell], least: Floats, most: Floats) -> Ints:
    """Return how many windows hold the middle of each cell with its deviations."""
    if not found:
        return np.zeros(0, dtype=np.intp)
    at = np.array([(c.lo + c.hi) / 2 for c in found])
    low = at + np.array([c.lower for c in found])
    high = at + np.array([c.upper for c in found])
    inside = (least[None, :] <= low[:, None] + SAME_MM) & (most[None, :] >= high[:, None] - SAME_MM)
    return inside.sum(axis=1).astype(np.intp)


def _ends(found: Sequence[Cell]) -> Floats:
    return np.array([*(c.lo for c in found), *(c.hi for c in found[-1:])])


def _wall_line(make: Make, found: Sequence[Cell]) -> Floats:
    """Return the outside at which each end of a bore's cells leaves exactly the least wall."""
    outside = next(f for f in make.free if f.size == make.outside)
    points = []
    for cell in found:
        for bore in (cell.lo, cell.hi):
            outer = bore + cell.upper + 2 * make.least_wall
            points.append((bore, outer - held(outside, outer)[0]))
    return np.array(points)


def region(
    catalogue: Catalogue,
    make: Make,
    options: Mapping[str, Sequence[Option]],
    words: Words | None = None,
) -> Region:
    """Return the plane of a make's two free sizes.

    Parameters
    ----------
    catalogue : Catalogue
        Whose counterparts count.
    make : Make
        What is made.
    options : mapping of str to sequence of Option
        The options of every role.
    words : mapping of Reference to str or None, optional
        The words chosen; by default counterparts count whatever they ask for.
    """
    counterparts = Counterparts(catalogue, make, options)
    across, up = axes_of(make)
    every = list(counterparts.words())
    chosen = words if words is not None else (every[-1] if every else {})
    keep, example = counterparts.kept(chosen), counterparts.example(chosen)
    if words is None:
        keep = {role: np.ones_like(kept) for role, kept in keep.items()}
    free = {f.size: f for f in make.free}
    bands: list[tuple[Floats, Ints, list[Cell]]] = []
    for size in (across, up):
        if size is None:
            bands.append((np.array([0.0, 1.0]), np.ones(1, dtype=np.intp), []))
            continue
        least, most = counterparts.intervals(free[size], keep, example)
        found = _seen(counterparts.cells_of(free[size], keep, example))
        bands.append((_ends(found), _count(found, least, most), found))
    (columns, fits_across, inner), (rows, fits_up, outer) = bands
    room = np.ones((len(fits_up), len(fits_across)), dtype=bool)
    wall = np.zeros((0, 2))
    if counterparts.tied:
        thin = np.array([c.lo + c.upper for c in inner])
        wide = np.array([c.hi + c.lower for c in outer])
        room = wide[:, None] - thin[None, :] >= 2 * make.least_wall - SAME_MM
        wall = _wall_line(make, inner)
    return Region(across, up, columns, rows, fits_across, fits_up, room, wall)


@dataclass(frozen=True, slots=True)
class Barred:
    """Two best cells that the least wall forbids together.

    Parameters
    ----------
    sizes : mapping of Reference to float
        The middle of the cells, in mm.
    wall : float
        The most wall in mm that sizes of these cells leave at the worst; below zero where the
        bore is wider than the outside.
    words : tuple of Words
        With which words the cells are the best ones; cells within a tenth of a millimetre of
        each other are told once.
    """

    sizes: Mapping[Reference, float]
    wall: float
    words: tuple[Words, ...]


def barred(
    catalogue: Catalogue, make: Make, options: Mapping[str, Sequence[Option]]
) -> list[Barred]:
    """Return what would fit best on both sides, but leaves no wall between them.

    Parameters
    ----------
    catalogue : Catalogue
        Whose counterparts count.
    make : Make
        What is made.
    options : mapping of str to sequence of Option
        The options of every role.
    """
    counterparts = Counterparts(catalogue, make, options)
    if not counterparts.tied or make.bore is None:
        return []
    free = {f.size: f for f in make.free}
    found: dict[tuple[float, float], Barred] = {}
    for words in counterparts.words():
        keep, example = counterparts.kept(words), counterparts.example(words)
        best: list[list[Cell]] = []
        for size in (make.bore, make.outside):
            line = peaks([c for k in counterparts.cells_of(free[size], keep, example) for c in k])
            fits = _count(line, *counterparts.intervals(free[size], keep, example))
            best.append([c for c, n in zip(line, fits, strict=True) if n])
        for bore, outside in itertools.product(*best):
            wall = (outside.hi + outside.lower - bore.lo - bore.upper) / 2
            if wall < make.least_wall - SAME_MM:
                at = (middle(bore), middle(outside))
                near = (round(at[0], 1), round(at[1], 1))
                before = found.get(near)
                if before is None:
                    found[near] = Barred({make.bore: at[0], make.outside: at[1]}, wall, (words,))
                else:
                    told = before.words if words in before.words else (*before.words, words)
                    found[near] = Barred(before.sizes, max(wall, before.wall), told)
    return [found[near] for near in sorted(found)]


@dataclass(frozen=True, slots=True)
class Edge:
    """An end of the cell of a candidate's size.

    Parameters
    ----------
    size : Reference
        Which size.
    at : float
        Nominal size in mm.
    below : bool
        Whether it is the lower end.
    joints : tuple of str
        Titles of the joints that lose a counterpart beyond it.
    gains : tuple of str
        Titles of those that gain one. A ring of a nest need not stand in a best cell, so that
        a cell may end where another counterpart begins to fit. Both are empty where only what
        is plausible ends there.
    """

    size: Reference
    at: float
    below: bool
    joints: tuple[str, ...]
    gains: tuple[str, ...] = ()


def edges(
    catalogue: Catalogue, candidate: Candidate, options: Mapping[str, Sequence[Option]]
) -> list[Edge]:
    """Return what ends the cell of each of a candidate's sizes, below and above.

    Parameters
    ----------
    catalogue : Catalogue
        Whose counterparts count.
    candidate : Candidate
        From :func:`fitgraph.adapters.candidates`.
    options : mapping of str to sequence of Option
        The options of every role.
    """
    counterparts = Counterparts(catalogue, candidate.make, options)
    keep = counterparts.kept(candidate.words)
    example = counterparts.example(candidate.words)
    found = []
    for free in candidate.make.free:
        cell = candidate.cells[free.size]
        windows = list(counterparts.windows(free, keep, example))
        for below, at in ((True, cell.lo), (False, cell.hi)):
            begin = [(j, least - cell.lower) for j, least, _ in windows]
            end = [(j, most - cell.upper) for j, _, most in windows]
            lost, gained = (begin, end) if below else (end, begin)
            found.append(Edge(free.size, at, below, _meeting(lost, at), _meeting(gained, at)))
    return found


def _meeting(ends: Sequence[tuple[Joint, Floats]], at: float) -> tuple[str, ...]:
    """Return the titles of the joints of which a counterpart's interval ends at a size."""
    met = [j.title for j, sizes in ends if np.isclose(sizes, at, atol=1e-6, rtol=0).any()]
    return tuple(dict.fromkeys(met))
