"""A dimension with its limits, and where the figure came from."""

from __future__ import annotations

import math
from enum import IntEnum

from fitgraph.records import dataclass


class Basis(IntEnum):
    """Where a figure came from; a higher basis outranks a lower one."""

    UNKNOWN = 0
    NOMINAL = 1
    MAKER = 2
    MEASURED = 3

    @property
    def word(self) -> str:
        """Return the basis as people read it."""
        return ("unknown", "nominal", "maker's figure", "measured")[int(self)]


@dataclass(frozen=True, slots=True)
class Dimension:
    """A length between two limits.

    Parameters
    ----------
    lo, hi : float
        Limits of size in mm; minus and plus infinity where nothing is known.
    basis : Basis
        Where the figure came from.
    text : str
        The figure as it was typed, for messages.
    within : tuple of float or None
        Between which sizes in mm a figure that nobody knows lies at all, where that is known.
    """

    lo: float
    hi: float
    basis: Basis = Basis.MAKER
    text: str = ""
    within: tuple[float, float] | None = None

    @property
    def known(self) -> bool:
        """Whether both limits are finite."""
        return math.isfinite(self.lo) and math.isfinite(self.hi)

    @property
    def bounds(self) -> tuple[float, float]:
        """Return the limits in mm, or what is plausible where there are none."""
        if self.known or self.within is None:
            return self.lo, self.hi
        return max(self.lo, self.within[0]), min(self.hi, self.within[1])

    @property
    def mid(self) -> float:
        """Return the middle of the limits in mm."""
        return (self.lo + self.hi) / 2

    def over(self, other: Dimension) -> tuple[float, float]:
        """Return the least and the most by which it exceeds another: a bore's clearance [mm]."""
        return self.lo - other.hi, self.hi - other.lo

    def shifted(self, by: float) -> Dimension:
        """Return the dimension moved by `by` mm."""
        within = None if self.within is None else (self.within[0] + by, self.within[1] + by)
        return Dimension(self.lo + by, self.hi + by, self.basis, self.text, within)

    @staticmethod
    def unknown(text: str = "", within: tuple[float, float] | None = None) -> Dimension:
        """Return a dimension that nobody knows.

        Parameters
        ----------
        text : str
            What was typed in its place.
        within : tuple of float, optional
            Least and most that is plausible [mm]; anything at all by default.
        """
        return Dimension(-math.inf, math.inf, Basis.UNKNOWN, text, within)


@dataclass(frozen=True, slots=True)
class Word:
    """A value that is compared, not measured: a thread designation, a key.

    ``value`` is ``None`` where it is not known.
    """

    value: str | None
    basis: Basis = Basis.MAKER
