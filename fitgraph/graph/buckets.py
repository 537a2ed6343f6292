"""The least sum of tables over one kind a role, each table over classes of its own.

Roles are eliminated one by one [1]_. A bucket tells apart no more of a role's kinds than its own
tables do, so that parts which were each measured do not multiply where few joints look at them.

References
----------
.. [1] R. Dechter, "Bucket elimination: a unifying framework for reasoning",
   Artificial Intelligence 113 (1999) 41-85 (reference checked).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.graph.joints import distinct_rows

Ints = npt.NDArray[np.intp]
Values = npt.NDArray[Any]


@dataclass(frozen=True, slots=True, eq=False)
class Factor:
    """What some roles add together.

    Parameters
    ----------
    roles : tuple of str
        The roles.
    class_of : tuple of ndarray of int
        For each role, the class of each of its kinds.
    values : ndarray
        What each combination of classes adds, one axis a role.
    """

    roles: tuple[str, ...]
    class_of: tuple[Ints, ...]
    values: Values

    def over(self, scope: Sequence[str], kinds: Mapping[str, Ints]) -> Values:
        """Return the values of some kinds of each role, with an axis for each role of a scope."""
        order = sorted(range(len(self.roles)), key=lambda n: scope.index(self.roles[n]))
        at = np.ix_(*(self.class_of[n][kinds[self.roles[n]]] for n in order))
        shape = [len(kinds[r]) if r in self.roles else 1 for r in scope]
        return np.transpose(self.values, order)[at].reshape(shape)


@dataclass(frozen=True, slots=True)
class _Bucket:
    role: str
    near: tuple[str, ...]
    class_of: tuple[Ints, ...]
    best: Ints


class TooManyCellsError(Exception):
    """A bucket would have more cells than it may."""


def least_sum(
    factors: Sequence[Factor], sizes: Mapping[str, int], most_cells: float
) -> tuple[Any, dict[str, int]]:
    """Return the least sum over one kind of each role, and kinds that reach it.

    Parameters
    ----------
    factors : sequence of Factor
        What is added up; of one type of number, wide enough for any sum.
    sizes : mapping of str to int
        How many kinds each role has; one at least.
    most_cells : float
        Cells that a bucket may have.

    Returns
    -------
    least : number
        Infinite where everything is forbidden.
    kinds : dict of str to int
        Of equals, for each role in turn, the kind that stands first.

    Raises
    ------
    TooManyCellsError
        If a bucket would have more.

    Examples
    --------
    >>> two = np.arange(2)
    >>> least_sum([Factor(("a", "b"), (two, two), np.array([[3, 1], [2, 5]]))],
    ...           {"a": 2, "b": 2}, 100)
    (1, {'a': 0, 'b': 1})
    """
    left, waiting = dict.fromkeys(sorted(sizes)), [f for f in factors if f.roles]
    rest: Any = sum(f.values.item() for f in factors if not f.roles)
    trail: list[_Bucket] = []
    while left:
        role = min(left, key=lambda r: _guess(r, waiting, sizes))
        del left[role]
        mine = [f for f in waiting if role in f.roles]
        waiting = [f for f in waiting if role not in f.roles]
        near = tuple(sorted({r for f in mine for r in f.roles} - {role}))
        first: dict[str, Ints] = {}
        class_of: dict[str, Ints] = {}
        for r in (*near, role):
            told = [f.class_of[f.roles.index(r)] for f in mine if r in f.roles]
            columns = np.column_stack(told) if told else np.zeros((sizes[r], 1), dtype=np.intp)
            first[r], class_of[r] = distinct_rows(columns)
        shape = [len(at) for at in first.values()]
        if math.prod(map(float, shape)) > most_cells:
            raise TooManyCellsError(role)
        total = np.zeros(shape, dtype=mine[0].values.dtype if mine else np.intp)
        for factor in mine:
            total += factor.over((*near, role), first)
        trail.append(
            _Bucket(role, near, tuple(class_of[r] for r in near), first[role][total.argmin(-1)])
        )
        if near:
            waiting.append(Factor(near, trail[-1].class_of, total.min(axis=-1)))
        else:
            rest = rest + total.min(axis=-1)
    at: dict[str, int] = {}
    for bucket in reversed(trail):
        places = (of[at[r]] for r, of in zip(bucket.near, bucket.class_of, strict=True))
        at[bucket.role] = int(bucket.best[tuple(places)])
    least = rest.item() if isinstance(rest, np.generic) else rest
    return least, {role: at[role] for role in sizes}


def _guess(role: str, factors: Sequence[Factor], sizes: Mapping[str, int]) -> float:
    """Return about how many cells a role's bucket has, no fewer than it does."""
    told: dict[str, float] = {}
    for factor in factors:
        if role in factor.roles:
            for r, many in zip(factor.roles, factor.values.shape, strict=True):
                told[r] = told.get(r, 1.0) * many
    return math.prod(min(many, float(sizes[r])) for r, many in told.items())
