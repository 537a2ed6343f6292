"""The least sum over one option a role, and the options that reach it.

References
----------
.. [1] R. Dechter, "Bucket elimination: a unifying framework for reasoning",
   Artificial Intelligence 113 (1999) 41-85 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fitgraph.array_types import Floats
from fitgraph.explain.broken import elimination_order
from fitgraph.graph.buckets import Elimination, TooManyCellsError
from fitgraph.graph.buckets import Factor as Sized
from fitgraph.solve.plan import CEILING, TooWideError

#: Bytes of a cell: what it adds up to, a factor laid over it, and what is least.
_CELL = 24

#: A factor: the roles it is over, and what it adds; infinite where it forbids.
Factor = tuple[tuple[str, ...], Floats]


class Least:
    """The least sum of factors, by bucket elimination.

    Parameters
    ----------
    sizes : mapping of str to int
        How many options each role has; at least one.
    factors : sequence of tuple
        Roles and values.
    root : str or None
        The role that is eliminated last, whose options are told apart in
        :attr:`values`.

    Raises
    ------
    TooWideError
        If that would need more memory than the ceiling.
    """

    def __init__(
        self, sizes: Mapping[str, int], factors: Sequence[Factor], root: str | None = None
    ) -> None:
        order = elimination_order([roles for roles, _ in factors], sizes, root)
        sized = [Sized(roles, (None,) * len(roles), values) for roles, values in factors]
        try:
            self._found = Elimination(
                sized, sizes, [role for role, _ in order], most_cells=CEILING / _CELL
            )
        except TooManyCellsError as error:
            raise TooWideError(error.cells * _CELL, CEILING, error.roles, ()) from None
        self.root = self._found.root
        self.values: Floats = np.asarray(self._found.values, dtype=float)

    @property
    def least(self) -> float:
        """Return the least sum; infinite where everything is forbidden."""
        return float(self.values.min())

    def options(self) -> dict[str, int]:
        """Return the place of each role's option in a least sum."""
        return self._found.kinds()
