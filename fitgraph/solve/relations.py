"""Joints as relations between roles, each over no more classes than it tells apart.

A relation keeps, for each role, a map from the role's interface classes to its own few: a joint
that only asks whether a part is there has two, however many parts there are.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.graph.classes import distinct_rows
from fitgraph.graph.joints import JointTable
from fitgraph.model import Verdict
from fitgraph.records import dataclass

#: Cells up to which relations between the same roles are made one.
_MERGED = 1 << 14

#: How often all relations are looked at for classes that they rule out, at most.
_ROUNDS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Relation:
    """What is allowed between some variables.

    Parameters
    ----------
    scope : tuple of str
        The variables, one axis each.
    maps : tuple of ndarray of int
        For each variable, the axis place of each of its base classes.
    allowed : ndarray of bool
        Over the places.
    names : tuple of str
        The joints it comes from.
    """

    scope: tuple[str, ...]
    maps: tuple[Ints, ...]
    allowed: Bools
    names: tuple[str, ...]

    def map_of(self, variable: str) -> Ints:
        """Return the axis place of each base class of a variable."""
        return self.maps[self.scope.index(variable)]


def relation_of(table: JointTable, first: Mapping[str, Ints], *, certain: bool) -> Relation:
    """Return a joint's table as a relation.

    Parameters
    ----------
    table : JointTable
        Verdicts over the joint's own classes.
    first : mapping of str to ndarray of int
        For each role, one option of each base class.
    certain : bool
        Whether what is only possible is left out.
    """
    least = Verdict.FITS if certain else Verdict.UNKNOWN
    maps = tuple(c[first[r]] for r, c in zip(table.roles, table.class_of, strict=True))
    return Relation(table.roles, maps, table.verdicts >= least, (table.joint.name,))


def reduced(relation: Relation, domains: Mapping[str, Ints]) -> Relation:
    """Return a relation over the fewest classes that some domains leave.

    Axes along which nothing changes are dropped, so a relation that allows all, or nothing,
    comes back without any.
    """
    allowed = relation.allowed
    scope: list[str] = []
    maps: list[Ints] = []
    for axis in range(len(relation.scope) - 1, -1, -1):
        variable, of_base = relation.scope[axis], relation.maps[axis]
        used = np.zeros(allowed.shape[axis], dtype=bool)
        used[of_base[domains[variable]]] = True
        if not used.all():
            allowed = np.compress(used, allowed, axis=axis)
            of_base = (np.cumsum(used) - 1)[of_base]
        slices = np.moveaxis(allowed, axis, 0).reshape(allowed.shape[axis], -1)
        first, merged = distinct_rows(np.packbits(slices, axis=1))
        if len(first) < allowed.shape[axis]:
            allowed = np.take(allowed, first, axis=axis)
            of_base = merged[of_base]
        if allowed.shape[axis] == 1:
            allowed = np.asarray(allowed.take(0, axis=axis))
        else:
            scope.append(variable)
            maps.append(of_base)
    return Relation(
        tuple(reversed(scope)), tuple(reversed(maps)), np.asarray(allowed), relation.names
    )


def combined(columns: Sequence[Ints], domain: Ints) -> tuple[Ints, Ints]:
    """Return what several maps together tell apart in a domain.

    Returns
    -------
    of_base : ndarray of int
        The place of each base class; zero outside the domain.
    first : ndarray of int
        One base class for each place.
    """
    key = np.zeros(len(domain), dtype=np.int64)
    for column in columns:
        size = int(column.max(initial=0)) + 1
        if key.max(initial=0) > 2**40 // size:
            key = np.unique(key, return_inverse=True)[1].astype(np.int64)
        key = key * size + column[domain]
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    size = len(columns[0]) if len(columns) else int(domain.max(initial=-1)) + 1
    of_base = np.zeros(size, dtype=np.intp)
    of_base[domain] = inverse
    return of_base, domain[first]


def merged(relations: Iterable[Relation], domains: Mapping[str, Ints]) -> list[Relation]:
    """Return relations with small ones between the same variables made one."""
    found: dict[tuple[str, ...], list[Relation]] = {}
    waiting = list(relations)
    while waiting:
        relation = waiting.pop(0)
        order = sorted(range(len(relation.scope)), key=lambda i: relation.scope[i])
        tidy = replace(
            relation,
            scope=tuple(relation.scope[i] for i in order),
            maps=tuple(relation.maps[i] for i in order),
            allowed=np.transpose(relation.allowed, order),
        )
        before = found.setdefault(tidy.scope, [])
        for n, other in enumerate(before):
            one = _both(tidy, other, domains)
            if one is not None:
                del before[n]
                # What is left may be over fewer variables, and go with others.
                waiting.insert(0, reduced(one, domains))
                break
        else:
            before.append(tidy)
    return [r for of_scope in found.values() for r in of_scope]


def _both(one: Relation, other: Relation, domains: Mapping[str, Ints]) -> Relation | None:
    """Return two relations between the same variables as one; None where that is too large."""
    both = [
        combined([a, b], domains[v])
        for v, a, b in zip(one.scope, one.maps, other.maps, strict=True)
    ]
    cells = float(np.prod([float(len(first)) for _, first in both]))
    if cells > max(_MERGED, 2 * (one.allowed.size + other.allowed.size)):
        return None
    allowed = np.ones([len(first) for _, first in both], dtype=bool)
    for relation in (one, other):
        at = (m[first] for m, (_, first) in zip(relation.maps, both, strict=True))
        allowed &= relation.allowed[np.ix_(*at)] if both else relation.allowed
    return Relation(
        one.scope, tuple(of_base for of_base, _ in both), allowed, (*other.names, *one.names)
    )


def supported(relations: Sequence[Relation], domains: Mapping[str, Ints]) -> dict[str, Ints]:
    """Return domains without classes that some relation alone rules out (arc consistency)."""
    domains = dict(domains)
    for _ in range(_ROUNDS):
        changed = False
        for relation in relations:
            allowed = relation.allowed
            for axis, (variable, of_base) in enumerate(
                zip(relation.scope, relation.maps, strict=True)
            ):
                used = np.zeros(allowed.shape[axis], dtype=bool)
                used[of_base[domains[variable]]] = True
                if not used.all():
                    shape = [-1 if a == axis else 1 for a in range(allowed.ndim)]
                    allowed = np.asarray(allowed & used.reshape(shape))
            for axis, (variable, of_base) in enumerate(
                zip(relation.scope, relation.maps, strict=True)
            ):
                others = tuple(a for a in range(allowed.ndim) if a != axis)
                good = np.asarray(allowed.any(axis=others))[of_base[domains[variable]]]
                if not good.all():
                    domains[variable] = domains[variable][good]
                    changed = True
        if not changed:
            break
    return domains
