"""Cells of the arrangement of windows on a line: where the same counterparts fit.

Each counterpart's window leaves an interval of nominal sizes. The ends of all intervals cut
the line into cells; within a cell exactly the same counterparts fit, so one size stands for
all of them. A cell is a peak where a step to either side only loses counterparts. Peaks never
fit a subset of what another peak fits, because each has an interval that ends at its border.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from fitgraph.array_types import Floats
from fitgraph.records import dataclass

#: Ends nearer to each other than this, in mm, are one.
SAME_MM = 1e-9


@dataclass(frozen=True, slots=True)
class Cell:
    """A stretch of nominal sizes.

    Parameters
    ----------
    lo, hi : float
        Its ends in mm; both belong to it where it is a peak.
    opens, closes : bool
        Whether some interval begins at its lower end, or ends at its upper end: if so,
        a step down, or up, loses a counterpart. The ends of what is plausible count as such.
    bound_below, bound_above : bool
        Whether a counterpart, not only what is plausible, sets that end.
    lower, upper : float
        Deviations in mm that the process holds at these sizes.
    stretch : tuple of float
        The nominal sizes in mm over which they stay the same.
    """

    lo: float
    hi: float
    opens: bool
    closes: bool
    bound_below: bool
    bound_above: bool
    lower: float
    upper: float
    stretch: tuple[float, float] = (-math.inf, math.inf)

    @property
    def peak(self) -> bool:
        """Whether a step to either side only loses counterparts."""
        return self.opens and self.closes


def _merged(values: Floats) -> Floats:
    return np.unique(np.round(values / SAME_MM) * SAME_MM)


def cells(
    starts: Floats, ends: Floats, domain: tuple[float, float], deviations: tuple[float, float]
) -> list[Cell]:
    """Return the cells that closed intervals cut a domain into, from its lower end up.

    Parameters
    ----------
    starts, ends : ndarray of float
        Ends of each interval of nominal sizes in mm; one that starts after its end is empty.
    domain : tuple of float
        Least and most nominal size in mm.
    deviations : tuple of float
        What the process holds over this domain, in mm; handed on.
    """
    low, high = domain
    starts, ends = np.asarray(starts, dtype=float), np.asarray(ends, dtype=float)
    real = (starts <= ends + SAME_MM) & (ends >= low - SAME_MM) & (starts <= high + SAME_MM)
    begin = np.clip(starts[real], low, high)
    finish = np.maximum(np.clip(ends[real], low, high), begin)
    opening = set(_merged(begin[starts[real] > low]).tolist())
    closing = set(_merged(finish[ends[real] < high]).tolist())
    # Closed intervals: at one size, what begins there is met before what ends there.
    events = sorted([(p, 0) for p in {*opening, low}] + [(p, 1) for p in {*closing, high}])
    found = []
    for (a, kind_a), (b, kind_b) in itertools.pairwise(events):
        found.append(
            Cell(
                a,
                b,
                kind_a == 0,
                kind_b == 1,
                a in opening if kind_a == 0 else True,
                b in closing if kind_b == 1 else True,
                *deviations,
                domain,
            )
        )
    return found


def peaks(found: Sequence[Cell]) -> list[Cell]:
    """Return the cells that no other betters."""
    return [cell for cell in found if cell.peak]
