"""Limits of size, as every rule takes them."""

from __future__ import annotations

from typing import NamedTuple

from fitgraph.array_types import Floats

#: Stands in for infinity, so that differences of unknown limits stay numbers.
UNBOUNDED_MM = 1e6

#: Code of a word that is not known.
UNKNOWN_WORD = -1


class Limits(NamedTuple):
    """Limits of size in mm, as arrays that broadcast.

    Parameters
    ----------
    lo, hi : ndarray of float
        Least and most [mm]; minus and plus infinity where nothing is known.
    """

    lo: Floats
    hi: Floats

    def over(self, other: Limits) -> Limits:
        """Return the least and the most by which sizes exceed others: a bore's clearance [mm].

        ISO 286-1:2010, clause 3: the extremes come from opposite limits.

        Examples
        --------
        >>> import numpy as np
        >>> bore, spigot = Limits(*np.array([28.65, 28.75])), Limits(*np.array([28.5, 28.6]))
        >>> np.round(bore.over(spigot), 2).tolist()
        [0.05, 0.25]
        """
        return Limits(self.lo - other.hi, self.hi - other.lo)
