"""The least sum over one option a role, and the options that reach it.

References
----------
.. [1] R. Dechter, "Bucket elimination: a unifying framework for reasoning",
   Artificial Intelligence 113 (1999) 41-85 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from fitgraph.explain.broken import elimination_order, over

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

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
    """

    def __init__(
        self, sizes: Mapping[str, int], factors: Sequence[Factor], root: str | None = None
    ) -> None:
        order = elimination_order([roles for roles, _ in factors], sizes, root)
        self.root = order[-1][0]
        self._trail: list[tuple[str, tuple[str, ...], npt.NDArray[np.intp]]] = []
        self.values = np.zeros(sizes[self.root])
        open_factors = list(factors)
        rest = 0.0
        for role, beside in order:
            mine = [f for f in open_factors if role in f[0]]
            open_factors = [f for f in open_factors if role not in f[0]]
            scope = (*beside, role)
            total = np.zeros([sizes[r] for r in scope])
            for roles, values in mine:
                total = total + over(scope, roles, values)
            if role == self.root:
                self.values = total
                break
            self._trail.append((role, beside, total.argmin(axis=-1)))
            least = total.min(axis=-1)
            if beside:
                open_factors.append((beside, least))
            else:
                rest += float(least)
        self.values = self.values + rest

    @property
    def least(self) -> float:
        """Return the least sum; infinite where everything is forbidden."""
        return float(self.values.min())

    def options(self, place: int | None = None) -> dict[str, int]:
        """Return the place of each role's option in a least sum.

        Parameters
        ----------
        place : int, optional
            The option of the root; the best by default.
        """
        at = {self.root: int(self.values.argmin()) if place is None else place}
        for role, beside, best in reversed(self._trail):
            at[role] = int(best[tuple(at[r] for r in beside)])
        return at
