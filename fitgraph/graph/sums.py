"""Conditions on sums along a nest or a stack, as the search sees them: one-sided, term by term.

A window on a sum is two such conditions, one on its least and one on its most; a nest of rings
is one condition for every ring that has to close. Each is linear, so a build is judged by adding
one number a role.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.model import Joint

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Term:
    """What one role adds to a sum.

    Parameters
    ----------
    roles : tuple of str
        The role whose figures count, then the roles of which it only matters whether they,
        or one of their features, are there.
    class_of : tuple of ndarray of int
        For each of these roles, the class of each of its options.
    worst, best : ndarray of float
        The least and the most the term can add, in mm, over the classes: one axis a role.
        Plus infinity where the condition does not bind, minus infinity where nothing keeps it.
    """

    roles: tuple[str, ...]
    class_of: tuple[Ints, ...]
    worst: Floats
    best: Floats


@dataclass(frozen=True, slots=True)
class SumCondition:
    """That a sum over roles is not negative.

    A combination keeps it for certain where the sum of the terms' worst is at least zero
    (within :data:`fitgraph.mechanics.rules.EPSILON_MM`), and possibly where that of their best
    is.

    Parameters
    ----------
    joint : Joint
        Where it comes from.
    name : str
        Unique among the conditions of all joints.
    terms : tuple of Term
        In the order of the nest or the stack.
    """

    joint: Joint
    name: str
    terms: tuple[Term, ...]

    @property
    def roles(self) -> tuple[str, ...]:
        """Return the roles it touches, in order of mention."""
        return tuple(dict.fromkeys(role for term in self.terms for role in term.roles))
