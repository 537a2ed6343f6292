"""Which class of a role can stand in for which other in every build.

Where it is only asked whether a build is left, a class that another can stand in for need not be
looked at (neighbourhood substitutability [1]_): of the ways to fill a role that nobody cares
about, few are left.

References
----------
.. [1] E. C. Freuder, "Eliminating interchangeable values in constraint satisfaction problems",
   AAAI-91, 227-233 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.graph.sums import SumCondition
from fitgraph.solve.carried_sums import in_steps
from fitgraph.solve.relations import Relation

#: Bytes that are compared at most for one relation; beyond, nothing stands in for anything.
_MOST = 4e8


def substitutes(
    relations: Sequence[Relation],
    sums: Sequence[SumCondition],
    first: Mapping[str, Ints],
    *,
    certain: bool,
) -> dict[str, Bools]:
    """Return, for each role, which class keeps every joint that another keeps.

    Parameters
    ----------
    relations : sequence of Relation
        The joints.
    sums : sequence of SumCondition
        Conditions on sums.
    first : mapping of str to ndarray of int
        One option of each base class of each role.
    certain : bool
        Whether sums count at their worst.

    Returns
    -------
    dict of str to ndarray of bool, shape (n_classes, n_classes)
        True at (a, b) where a can stand in for b; every class stands in for itself.
    """
    found = {role: np.ones((len(of), len(of)), dtype=bool) for role, of in first.items()}

    def narrow(role: str, over: Bools, of_base: Ints) -> None:
        if not over.all():
            found[role] &= over.take(of_base, axis=0).take(of_base, axis=1)

    for relation in relations:
        for axis, (role, of_base) in enumerate(zip(relation.scope, relation.maps, strict=True)):
            size = relation.allowed.shape[axis]
            rows = np.packbits(np.moveaxis(relation.allowed, axis, 0).reshape(size, -1), axis=1)
            if float(rows.size) * size > _MOST:
                narrow(role, np.eye(size, dtype=bool), of_base)
                continue
            lacks = [(rows & ~rows[a]).any(axis=1) for a in range(size)]
            narrow(role, ~np.array(lacks).reshape(size, size), of_base)
    for condition in sums:
        for term in condition.terms:
            values = in_steps(term.worst if certain else term.best)
            for axis, role in enumerate(term.roles):
                size = values.shape[axis]
                told = np.moveaxis(values, axis, 0).reshape(size, -1)
                over = np.eye(size, dtype=bool)
                if float(told.nbytes) * size <= _MOST:
                    over = np.array([(told <= told[a]).all(axis=1) for a in range(size)])
                narrow(role, over.reshape(size, size), term.class_of[axis][first[role]])
    return found


def needed(stands_in: Bools, classes: Ints, breaks: Ints) -> Bools:
    """Return which of some ways to fill a role are needed to know whether a build is left.

    Parameters
    ----------
    stands_in : ndarray of bool
        Of the role, from :func:`substitutes`.
    classes : ndarray of int
        The class of each way.
    breaks : ndarray of int
        What each way breaks of what is asked, as bits: one that breaks no more stands in for
        another.
    """
    over = stands_in[np.ix_(classes, classes)] & ~(breaks[:, None] & ~breaks[None, :]).astype(bool)
    place = np.arange(len(classes))
    better = over & (~over.T | (place[:, None] < place[None, :]))
    return ~better.any(axis=0)
