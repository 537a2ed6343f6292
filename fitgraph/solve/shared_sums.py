"""One running sum for several conditions that add lengths of the same parts.

Several stacks often share a part of their sum: what stands above a headset is the steerer less
the head tube less the headset, whether a clamp, a cap or a sleeve asks for it. Taken one by one,
each condition would tie all of these roles anew. Here the shared part becomes one variable: its
values are what all that ask for it can tell apart together, so that the roles beyond it meet the
roles before it in this one number. One condition may ask for the sum at its least, another at
its most; both move together, so that there are hardly more values than marks of either.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence, Set
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats, Ints
from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.solve.arrays import distinct
from fitgraph.solve.carried_sums import STEPS, Running, Terms, TooWideSumError, thresholds

#: Cells that are worked on at once: few enough to stay in a processor's cache.
_AT_ONCE = 1 << 16

#: Whole numbers in as few bytes as will do.
Small = npt.NDArray[Any]


def own_addends(terms: Terms) -> dict[str, Floats]:
    """Return what a condition adds for each base class of the roles with a term of their own."""
    return {roles[0]: v[maps[0]] for roles, maps, v in terms.values if len(roles) == 1}


def best_group(
    own: Mapping[int, Mapping[str, Floats]],
    alone: Mapping[int, bool],
    every: Sequence[Set[str]],
) -> tuple[list[int], frozenset[str]]:
    """Return the conditions that share most, and the roles; none where no two share two roles.

    A role is left beside the sum, so that what decides the sum is not all that it is held
    against.
    """

    best: tuple[int, list[int], frozenset[str]] = (0, [], frozenset())
    for one, other in itertools.combinations(own, 2):
        roles = frozenset(own[one].keys() & own[other].keys())
        if len(roles) > 1 and any(alone[n] and roles >= own[n].keys() for n in (one, other)):
            roles = _but_one(roles, every)
        members = [n for n, addends in own.items() if roles <= addends.keys()]
        saved = (len(members) - 1) * max(len(roles) - 1, 0)
        if saved > best[0]:
            best = (saved, members, roles)
    return best[1], best[2]


def shared(
    conditions: Sequence[Terms],
    domains: Mapping[str, Ints],
    ties: Mapping[str, int],
    every: Sequence[Set[str]],
    *,
    tag: str,
    most_cells: float,
) -> tuple[list[Terms], list[Running]]:
    """Return conditions over shared running sums, and these.

    Parameters
    ----------
    conditions : sequence of Terms
        What each condition adds up.
    domains : mapping of str to ndarray of int
        The base classes of each role that may be used.
    ties : mapping of str to int
        How many relations a role is in; the one in most is added last.
    every : sequence of set of str
        The roles of every condition, wherever it holds.
    tag : str
        Told in the names of the variables.
    most_cells : float
        Ceiling on a table.

    Raises
    ------
    TooWideSumError
        If a table would have more cells.
    """
    left, running = list(conditions), list[Running]()
    open_ = {n: own_addends(terms) for n, terms in enumerate(left)}
    alone = {n: all(len(roles) == 1 for roles, *_ in t.values) for n, t in enumerate(left)}
    while True:
        members, roles = best_group(open_, alone, every)
        if not members:
            break
        changed, decided = _with_one_sum(
            [left[n] for n in members],
            sorted(roles, key=lambda r: (ties.get(r, 0), r)),
            domains,
            tag=f"{tag}.{len(running)}",
            most_cells=most_cells,
        )
        for n, terms in zip(members, changed, strict=True):
            left[n] = terms
            del open_[n]
        running += decided
    for n, addends in open_.items():  # the same order, where one condition asks alone
        if len(addends) > 2:
            inner = _but_one(frozenset(addends), every) if alone[n] else frozenset(addends)
            order = sorted(inner, key=lambda r: (ties.get(r, 0), r))
            values = sorted(
                left[n].values,
                key=lambda v: order.index(v[0][0]) if v[0][0] in inner else len(order),
            )
            left[n] = replace(left[n], values=tuple(values))
    return left, running


def _but_one(roles: frozenset[str], every: Sequence[Set[str]]) -> frozenset[str]:
    """Return roles less the one without which the others are in the most conditions."""

    def asked(some: frozenset[str]) -> tuple[int, list[str]]:
        return sum(some <= of for of in every), sorted(some)

    return max((roles - {role} for role in roles), key=asked)


def _with_one_sum(
    members: Sequence[Terms],
    roles: Sequence[str],
    domains: Mapping[str, Ints],
    *,
    tag: str,
    most_cells: float,
) -> tuple[list[Terms], list[Running]]:
    """Return conditions with the addends of some roles as one variable, and what decides it."""
    own = [own_addends(m) for m in members]
    rest = [[v for v in m.values if len(v[0]) > 1 or v[0][0] not in roles] for m in members]
    running: list[Running] = []
    name = roles[0]
    place, sums = _distinct([addends[name] for addends in own], domains[name])
    for role in roles[1:]:
        of_role, addends_of = _distinct([addends[role] for addends in own], domains[role])
        wide = len(sums[0]) * len(addends_of[0])
        if float(wide) > most_cells:
            raise TooWideSumError(members[0].condition.name)
        code: Small = np.zeros(wide, dtype=np.uint8)
        size = 1
        for n, (sum_, addend) in enumerate(zip(sums, addends_of, strict=True)):
            if role == roles[-1]:
                apart, count = _told_apart(sum_, addend, members[n].base, rest[n])
            else:
                total = (sum_[:, None] + addend).ravel()
                apart = np.unique(total, return_inverse=True)[1].reshape(-1)
                count = int(apart.max()) + 1
            code, size = _renumbered(code, apart, size, count)
        first = _first_of(code, size)
        variable = f"sum{tag}+{len(running) + 1}"
        running.append(
            Running(
                variable,
                size,
                (name, role),
                (place, of_role),
                code.reshape(len(sums[0]), -1),
            )
        )
        at, to = np.divmod(first, len(addends_of[0]))
        sums = [s[at] + a[to] for s, a in zip(sums, addends_of, strict=True)]
        name, place = variable, np.arange(size, dtype=np.intp)
    found = []
    for terms, sum_, others in zip(members, sums, rest, strict=True):
        ordered = sorted(others, key=lambda v: (len(v[0]), v[2].size))
        found.append(replace(terms, values=(((name,), (place,), sum_), *ordered)))
    return found, running


def _distinct(own: Sequence[Floats], domain: Ints) -> tuple[Ints, list[Floats]]:
    """Return the place of each base class among those told apart by any addend, and the addends."""
    columns = np.column_stack([addend[domain] for addend in own])
    _, first, of = np.unique(columns, axis=0, return_index=True, return_inverse=True)
    place = np.zeros(len(own[0]), dtype=np.intp)
    place[domain] = of.reshape(-1)
    return place, list(columns[first].T)


def _told_apart(
    sums: Floats,
    addends: Floats,
    base: float,
    rest: Sequence[tuple[tuple[str, ...], tuple[Ints, ...], Floats]],
) -> tuple[Small, int]:
    """Return a number for each sum plus each addend, the same where a condition cannot tell.

    Returned with them is how many numbers there may be. Sums are whole steps, so that it does
    not matter on which side of a mark an addend stands.
    """
    marks = thresholds([distinct(v) for *_, v in rest], -EPSILON_MM * STEPS - base)
    if marks is None:
        total = (sums[:, None] + addends).ravel()
        apart = np.unique(total, return_inverse=True)[1].reshape(-1)
        return apart.astype(np.intp), int(apart.max()) + 1
    order = np.argsort(sums, kind="stable")
    ranked, rank = sums[order], np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    passed = np.zeros(len(sums) + 1, dtype=np.intp)  # adding to places of small numbers is slow
    found = np.empty((len(addends), len(sums)), dtype=np.min_scalar_type(len(marks)))
    for n, addend in enumerate(addends):
        passed[:] = 0
        np.add.at(passed, np.searchsorted(ranked, marks - addend), 1)
        found[n] = np.cumsum(passed[:-1], dtype=found.dtype)[rank]
    return found.T.ravel(), len(marks) + 1


def _renumbered(code: Small, apart: Small, size: int, count: int) -> tuple[Small, int]:
    """Return numbers for pairs of numbers, without gaps, and how many there are."""
    if size * count > max(len(code), _AT_ONCE):
        both = np.unique(code * np.int64(count) + apart, return_inverse=True)[1].reshape(-1)
        return both, int(both.max()) + 1
    pieces = [slice(n, n + _AT_ONCE) for n in range(0, len(code), _AT_ONCE)]

    def pairs(piece: slice) -> Small:
        return code[piece].astype(np.int32) * np.int32(count) + apart[piece]

    there = np.zeros(size * count, dtype=bool)
    for piece in pieces:
        there[pairs(piece)] = True
    many = int(there.sum())
    place = (np.cumsum(there) - 1).astype(np.min_scalar_type(many))
    found = np.empty(len(code), dtype=place.dtype)
    for piece in pieces:
        found[piece] = place[pairs(piece)]
    return found, many


def _first_of(code: Small, size: int) -> Ints:
    """Return where each number stands first."""
    first = np.zeros(size, dtype=np.intp)
    for start in range((len(code) - 1) // _AT_ONCE * _AT_ONCE, -1, -_AT_ONCE):
        piece = code[start : start + _AT_ONCE]
        first[piece[::-1]] = np.arange(start + len(piece) - 1, start - 1, -1)
    return first
