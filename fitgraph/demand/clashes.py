"""Questions that the joints between two roles answer: no option of the one fits any of the other.

What people own mostly clashes with itself, or with all of a short shelf, at one joint. To see
that takes a product of small matrices for thousands of questions at once, and a pass over the
rows is then only for those that are left. It is a step of arc consistency.

References
----------
.. [1] A. K. Mackworth, "Consistency in networks of relations", Artificial Intelligence 8 (1977)
   99-118 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from itertools import combinations

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Ints
from fitgraph.records import dataclass
from fitgraph.solve.arrays import dense
from fitgraph.solve.relations import Relation

#: Places of pairs of menus that are looked at in one go.
_AT_ONCE = 1 << 24


@dataclass(frozen=True)
class PairRelation:
    """What two roles allow each other.

    Parameters
    ----------
    roles : tuple of str
        The two.
    maps : tuple of ndarray of int
        The place of each class of each.
    allowed : ndarray of bool, shape (n_places, n_other_places)
        Which pairs are.
    """

    roles: tuple[str, str]
    maps: tuple[Ints, Ints]
    allowed: Bools

    @cached_property
    def numbers(self) -> npt.NDArray[np.float32]:
        """Return which pairs are allowed as ones and zeros, for products."""
        return self.allowed.astype(np.float32)


def pairs_of(relations: Sequence[Relation]) -> tuple[PairRelation, ...]:
    """Return what relations say of two roles at a time, those that forbid something."""
    found = []
    for relation in relations:
        axes = range(len(relation.scope))
        for one, other in combinations(axes, 2):
            rest = tuple(axis for axis in axes if axis not in (one, other))
            allowed = relation.allowed if not rest else np.asarray(relation.allowed.any(axis=rest))
            if not allowed.all():
                found.append(
                    PairRelation(
                        (relation.scope[one], relation.scope[other]),
                        (relation.maps[one], relation.maps[other]),
                        allowed,
                    )
                )
    return tuple(found)


def clashing(
    pairs: Sequence[PairRelation], lets: Mapping[str, Bools], of: Mapping[str, Ints]
) -> Bools:
    """Return which questions have a joint at which nothing of one role fits any of another.

    Parameters
    ----------
    pairs : sequence of PairRelation
        What the joints allow.
    lets : mapping of str to ndarray of bool, shape (n_menus, n_classes)
        The classes on each menu of each role.
    of : mapping of str to ndarray of int, shape (n_questions,)
        Which menu each question has.

    Returns
    -------
    ndarray of bool, shape (n_questions,)
        True where there is no build; where it is false there may be none either.
    """
    found = np.zeros(len(next(iter(of.values()))), dtype=bool)
    for pair in pairs:
        one, other = (
            _places(lets[role], places, size)
            for role, places, size in zip(pair.roles, pair.maps, pair.allowed.shape, strict=True)
        )
        reached = one.astype(np.float32) @ pair.numbers > 0
        first, number = dense([of[role] for role in pair.roles])
        at = [of[role][first] for role in pair.roles]
        clash = np.empty(len(first), dtype=bool)
        step = max(1, _AT_ONCE // max(reached.shape[1], 1))
        for begin in range(0, len(first), step):
            some = slice(begin, begin + step)
            clash[some] = ~(reached[at[0][some]] & other[at[1][some]]).any(axis=1)
        found |= clash[number]
    return found


def _places(lets: Bools, places: Ints, size: int) -> Bools:
    """Return which places of a pair each menu has."""
    found = np.zeros((len(lets), size), dtype=bool)
    menu, klass = np.nonzero(lets)
    found[menu, places[klass]] = True
    return found
