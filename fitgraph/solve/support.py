"""The rows of a plan's steps that some build has: every kind that can follow every cell.

Of the cells of a plan's messages most cannot be completed above. Where one question looks at
rows again and again, with bounds, with fronts, it pays to have the few that matter, once a
catalogue: together they are a circuit of sums and alternatives.

References
----------
.. [1] A. Darwiche, "A differential approach to inference in Bayesian networks", Journal of the
   ACM 50 (2003) 280-305 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.solve.algebra import COUNT
from fitgraph.solve.arrays import spread
from fitgraph.solve.passes import Demands, Passes
from fitgraph.solve.plan import Case, Plan, TooWideError
from fitgraph.solve.rows import Rows

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]

#: Bytes that a row takes, about.
_ROW = 64.0


@dataclass(frozen=True, slots=True, eq=False)
class After:
    """What the rows of a step open of one child.

    Parameters
    ----------
    child : int
        Place of the step.
    at : ndarray of int
        The child's cell for each row.
    order, starts, reached : ndarray of int
        The rows sorted by that cell, where each cell begins among them, and which it is.
    """

    child: int
    at: Ints
    order: Ints
    starts: Ints
    reached: Ints


@dataclass(frozen=True, slots=True, eq=False)
class StepRows:
    """The rows of one step, by cell.

    Parameters
    ----------
    kind : ndarray of int
        The kind that each row chooses.
    cell : ndarray of int
        Its cell, among those that can be reached; ascending.
    starts : ndarray of int
        The first row of each cell; every cell has one.
    after : tuple of After
        Each child.
    """

    kind: Ints
    cell: Ints
    starts: Ints
    after: tuple[After, ...]

    @property
    def cells(self) -> int:
        """Return how many cells can be reached."""
        return len(self.starts)


@dataclass(frozen=True, slots=True, eq=False)
class Support:
    """The rows of all steps of a plan.

    Parameters
    ----------
    plan : Plan
        What they are of.
    rows : tuple of StepRows
        In the order of the plan's steps.
    cases : tuple of Case
        The plan's cases that have a build at all.
    """

    plan: Plan
    rows: tuple[StepRows, ...]
    cases: tuple[Case, ...]

    def follow(self, place: int, cells: Ints) -> tuple[Ints, Ints, dict[int, Ints]]:
        """Return what can follow some cells of a step: of which cell, which kind, what it opens.

        Parameters
        ----------
        place : int
            Which step.
        cells : ndarray of int
            Cells that can be reached, numbered among those.
        """
        rows = self.rows[place]
        ends = np.append(rows.starts[1:], len(rows.kind))
        owner, number = spread((ends - rows.starts)[cells])
        row = rows.starts[cells[owner]] + number
        return owner, rows.kind[row], {a.child: a.at[row] for a in rows.after}

    def below(self, own: Sequence[Floats]) -> list[Floats]:
        """Return the least that each cell and all below it add, shape (n_cells, n_weightings).

        Parameters
        ----------
        own : sequence of ndarray, shape (n_kinds, n_weightings)
            What each kind of each step adds itself.
        """
        found: list[Floats] = []
        for rows, of_kind in zip(self.rows, own, strict=True):
            found.append(np.minimum.reduceat(self._inside(rows, of_kind, found), rows.starts))
        return found

    def _inside(self, rows: StepRows, of_kind: Floats, below: Sequence[Floats]) -> Floats:
        values = of_kind[rows.kind]
        for after in rows.after:
            values += below[after.child][after.at]
        return values

    def first_best(self, own: Sequence[Floats], below: Sequence[Floats]) -> list[Ints]:
        """Return a row of least value for each cell, shape (n_cells, n_weightings)."""
        found = []
        for rows, of_kind, least in zip(self.rows, own, below, strict=True):
            good = self._inside(rows, of_kind, below) == least[rows.cell]
            place = np.where(good, np.arange(len(rows.kind))[:, None], len(rows.kind))
            found.append(np.minimum.reduceat(place, rows.starts))
        return found

    def through(
        self, own: Sequence[Floats], below: Sequence[Floats]
    ) -> tuple[list[Floats], list[Floats]]:
        """Return the least around each cell, and of all builds through each row.

        Parameters
        ----------
        own, below : sequence of ndarray
            As in :meth:`below`.

        Returns
        -------
        outside : list of ndarray, shape (n_cells, n_weightings)
            What the rest of a build adds at the least.
        total : list of ndarray, shape (n_rows, n_weightings)
            With the row itself.
        """
        width = own[0].shape[1]
        outside = [np.full((rows.cells, width), np.inf) for rows in self.rows]
        total: list[Floats] = [np.zeros((0, width))] * len(self.rows)
        for case in self.cases:
            for root in case.roots:
                rest = sum((below[r][0] for r in case.roots if r != root), np.zeros(width))
                outside[root][0] = np.minimum(outside[root][0], rest)
        for place in range(len(self.rows) - 1, -1, -1):
            rows = self.rows[place]
            mine = outside[place][rows.cell] + own[place][rows.kind]
            for after in rows.after:
                around = mine
                for other in rows.after:
                    if other is not after:
                        around = around + below[other.child][other.at]
                least = np.minimum.reduceat(around[after.order], after.starts)
                into = outside[after.child]
                into[after.reached] = np.minimum(into[after.reached], least)
            for after in rows.after:
                mine += below[after.child][after.at]
            total[place] = mine
        return outside, total


def support_of(plan: Plan, ceiling: float) -> Support:
    """Return the rows of a plan.

    Raises
    ------
    TooWideError
        If they would take more bytes than the ceiling.
    """
    ones = {role: np.ones(size) for role, size in plan.sizes.items()}
    rows = Rows(Passes(plan, Demands.one(ones), COUNT))
    reached: dict[int, list[Ints]] = {}
    cases = tuple(
        case for case in plan.cases if all(rows.passes.up[r].values.any() for r in case.roots)
    )
    for case in cases:
        for root in case.roots:
            reached.setdefault(root, []).append(np.zeros(1, dtype=np.intp))
    cells: dict[int, Ints] = {}
    raw: dict[int, tuple[Ints, Ints, dict[int, Ints]]] = {}
    total = 0.0
    for place in range(len(plan.steps) - 1, -1, -1):
        step = plan.steps[place]
        mine = cells[place] = np.unique(
            np.concatenate([np.zeros(0, dtype=np.intp), *reached.pop(place, [])])
        )
        owner, kind = rows.expand(place, mine)
        total += _ROW * len(owner) * (1 + len(step.children))
        if total > ceiling:
            roles = [v for v in (step.variable, *step.separator) if v in plan.sizes]
            raise TooWideError(total, ceiling, roles, step.names)
        after = rows.after(place, mine[owner], kind)
        for child, at in after.items():
            reached.setdefault(child, []).append(np.unique(at))
        raw[place] = owner, kind, after
    found = []
    for place in range(len(plan.steps)):
        owner, kind, after = raw[place]
        opened = []
        for child, at in after.items():
            here = np.searchsorted(cells[child], at)
            order = np.argsort(here, kind="stable")
            starts = np.flatnonzero(np.diff(here[order], prepend=-1))
            opened.append(After(child, here, order, starts, here[order][starts]))
        starts = np.flatnonzero(np.diff(owner, prepend=-1))
        found.append(StepRows(kind, owner, starts, tuple(opened)))
    return Support(plan, tuple(found), cases)
