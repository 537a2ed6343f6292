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
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints
from fitgraph.graph.classes import distinct_rows
from fitgraph.records import dataclass

Values = npt.NDArray[Any]


@dataclass(frozen=True, slots=True, eq=False)
class Factor:
    """What some roles add together.

    Parameters
    ----------
    roles : tuple of str
        The roles.
    class_of : tuple of (ndarray of int or None)
        For each role, the class of each of its kinds; None where each kind is one of its own.
    values : ndarray
        What each combination of classes adds, one axis a role.
    """

    roles: tuple[str, ...]
    class_of: tuple[Ints | None, ...]
    values: Values

    def over(self, scope: Sequence[str], kinds: Mapping[str, Ints | None]) -> Values:
        """Return the values of some kinds of each role, with an axis for each role of a scope.

        Where no kinds are named, all of them count.
        """
        order = sorted(range(len(self.roles)), key=lambda n: scope.index(self.roles[n]))
        values = np.transpose(self.values, order)
        for axis, n in enumerate(order):
            classes, of_role = self.class_of[n], kinds[self.roles[n]]
            picked = of_role if classes is None else classes
            if classes is not None and of_role is not None:
                picked = classes[of_role]
            if picked is not None:
                values = values.take(picked, axis=axis)
        own = iter(values.shape)
        return values.reshape([next(own) if r in self.roles else 1 for r in scope])

    def along(self, role: str, kinds: Mapping[str, int]) -> Values:
        """Return what it adds for each kind of one of its roles, those of the others given."""
        own = self.roles.index(role)
        line = tuple(
            slice(None) if n == own else _place(kinds[r], self.class_of[n])
            for n, r in enumerate(self.roles)
        )
        values, classes = self.values[line], self.class_of[own]
        return values if classes is None else values[classes]

    def at(self, kinds: Mapping[str, int]) -> Any:
        """Return what it adds for one kind of each of its roles."""
        places = (_place(kinds[r], of) for r, of in zip(self.roles, self.class_of, strict=True))
        return self.values[tuple(places)]


@dataclass(frozen=True, slots=True)
class _Bucket:
    role: str
    near: tuple[str, ...]
    class_of: tuple[Ints | None, ...]
    best: Ints


class TooManyCellsError(Exception):
    """A bucket would have more cells than it may.

    Parameters
    ----------
    cells : float
        How many it would have.
    roles : tuple of str
        The roles that it is over.
    """

    def __init__(self, cells: float, roles: tuple[str, ...]) -> None:
        self.cells, self.roles = cells, roles
        super().__init__(f"{cells:,.0f} cells over {', '.join(roles)}")


def _place(kind: int, classes: Ints | None) -> int:
    return kind if classes is None else int(classes[kind])


class Elimination:
    """The least sum over one kind of each role, role by role.

    Parameters
    ----------
    factors : sequence of Factor
        What is added up; of one type of number, wide enough for any sum.
    sizes : mapping of str to int
        How many kinds each role has; one at least.
    order : sequence of str, optional
        The roles as they are eliminated; by default the narrowest bucket first.
    most_cells : float
        Cells that a bucket may have.

    Attributes
    ----------
    values : ndarray
        For each kind of the role that is eliminated last, the least sum with it; infinite where
        it is forbidden.

    Raises
    ------
    TooManyCellsError
        If a bucket would have more.
    """

    def __init__(
        self,
        factors: Sequence[Factor],
        sizes: Mapping[str, int],
        order: Sequence[str] = (),
        most_cells: float = math.inf,
    ) -> None:
        left, waiting = dict.fromkeys(sorted(sizes)), [f for f in factors if f.roles]
        rest: Any = sum(f.values.item() for f in factors if not f.roles)
        given = iter(order)
        self._trail: list[_Bucket] = []
        self.values: Values = np.array([rest])
        while left:
            role = next(given) if order else min(left, key=lambda r: _guess(r, waiting, sizes))
            del left[role]
            mine = [f for f in waiting if role in f.roles]
            waiting = [f for f in waiting if role not in f.roles]
            near = tuple(sorted({r for f in mine for r in f.roles} - {role}))
            first: dict[str, Ints | None] = {}
            class_of: dict[str, Ints | None] = {}
            for r in (*near, role):
                first[r], class_of[r] = _told_apart(r, mine, sizes[r])
            shape = [sizes[r] if at is None else len(at) for r, at in first.items()]
            if (cells := math.prod(map(float, shape))) > most_cells:
                raise TooManyCellsError(cells, (role, *near))
            total = np.zeros(shape, dtype=mine[0].values.dtype if mine else np.intp)
            for factor in mine:
                total += factor.over((*near, role), first)
            if not left:
                of = class_of[role]
                self.values = (total if of is None else total[of]) + rest
            at, best = first[role], total.argmin(-1)
            best = best if at is None else at[best]
            self._trail.append(_Bucket(role, near, tuple(class_of[r] for r in near), best))
            if near:
                waiting.append(Factor(near, self._trail[-1].class_of, total.min(axis=-1)))
            elif left:
                rest = rest + total.min(axis=-1)

    @property
    def root(self) -> str:
        """Return the role that was eliminated last."""
        return self._trail[-1].role

    def kinds(self) -> dict[str, int]:
        """Return a kind of each role in a least sum; of equals the one that stands first."""
        at: dict[str, int] = {}
        for bucket in reversed(self._trail):
            places = (_place(at[r], of) for r, of in zip(bucket.near, bucket.class_of, strict=True))
            at[bucket.role] = int(bucket.best[tuple(places)])
        return at


def _told_apart(role: str, factors: Sequence[Factor], size: int) -> tuple[Ints | None, Ints | None]:
    """Return a kind of each class of a role's that factors tell apart, and each kind's class.

    None for both where each kind is one of its own.
    """
    told = [f.class_of[f.roles.index(role)] for f in factors if role in f.roles]
    classes = [of for of in told if of is not None]
    if len(classes) < len(told):
        return None, None
    if not classes:
        return np.zeros(1, dtype=np.intp), np.zeros(size, dtype=np.intp)
    return distinct_rows(np.column_stack(classes))


def least_sum(
    factors: Sequence[Factor], sizes: Mapping[str, int], most_cells: float
) -> tuple[Any, dict[str, int]]:
    """Return the least sum over one kind of each role, and kinds that reach it.

    Parameters
    ----------
    factors, sizes, most_cells
        As :class:`Elimination` takes them.

    Returns
    -------
    least : number
        Infinite where everything is forbidden.
    kinds : dict of str to int
        Of equals, for each role in turn, the kind that stands first.

    Raises
    ------
    TooManyCellsError
        If a bucket would have more cells.

    Examples
    --------
    >>> two = np.arange(2)
    >>> least_sum([Factor(("a", "b"), (two, two), np.array([[3, 1], [2, 5]]))],
    ...           {"a": 2, "b": 2}, 100)
    (1, {'a': 0, 'b': 1})
    """
    found = Elimination(factors, sizes, most_cells=most_cells)
    at = found.kinds()
    return found.values.min().item(), {role: at[role] for role in sizes}


def _guess(role: str, factors: Sequence[Factor], sizes: Mapping[str, int]) -> float:
    """Return about how many cells a role's bucket has, no fewer than it does."""
    told: dict[str, float] = {}
    for factor in factors:
        if role in factor.roles:
            for r, many in zip(factor.roles, factor.values.shape, strict=True):
                told[r] = told.get(r, 1.0) * many
    return math.prod(min(many, float(sizes[r])) for r, many in told.items())
