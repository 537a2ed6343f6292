"""Every smallest set of elements that some assignment breaks.

An assignment gives each role an option, so that no joint fails; it breaks the elements of the
question that its options break. Roles are eliminated one after the other: for every combination
of options of the roles next to one, its options are tried, what is broken is united, and only
sets that contain no other are kept (bucket elimination in the semiring of antichains with union).

References
----------
.. [1] R. Dechter, "Bucket elimination: a unifying framework for reasoning",
   Artificial Intelligence 113 (1999) 41-85 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints
from fitgraph.explain.kinds import Reduced
from fitgraph.explain.transversals import TooManySetsError, minimal
from fitgraph.records import dataclass
from fitgraph.solve.arrays import spread

Words = npt.NDArray[np.uint64]

#: Sets held at once; beyond, not all are looked for.
CEILING = 3_000_000

#: Bits in a word of a set.
_WORD = 64


@dataclass(frozen=True, slots=True)
class _Message:
    """For each combination of options of some roles, the smallest sets broken so far."""

    roles: tuple[str, ...]
    starts: Ints
    sets: Words


def elimination_order(
    scopes: Sequence[tuple[str, ...]], sizes: Mapping[str, int], last: str | None = None
) -> list[tuple[str, tuple[str, ...]]]:
    """Return roles in the order in which they go, each with the roles next to it then.

    The role whose bucket is smallest goes first; one can be kept for the end.
    """
    near: dict[str, set[str]] = {r: set() for r in sizes}
    for scope in scopes:
        for role in scope:
            near[role].update(scope)
    for role in near:
        near[role].discard(role)
    order: list[tuple[str, tuple[str, ...]]] = []
    left = list(sizes)
    bucket = {r: _product(sizes, near[r]) * sizes[r] for r in left}
    while left:
        role = min(left, key=lambda r: (r == last, bucket[r]))
        left.remove(role)
        beside = near[role]
        order.append((role, tuple(sorted(beside))))
        for other in beside:
            near[other] |= beside
            near[other] -= {role, other}
        for other in beside:
            bucket[other] = _product(sizes, near[other]) * sizes[other]
    return order


def _product(sizes: Mapping[str, int], roles: set[str]) -> float:
    result = 1.0
    for role in roles:
        result *= sizes[role]
    return result


def _bit_count(words: Words) -> Ints:
    """Return the number of bits in each row of words."""
    as_bytes = np.ascontiguousarray(words).view(np.uint8).reshape(len(words), 8 * words.shape[1])
    return _BITS[as_bytes].sum(axis=1, dtype=np.intp)


_BITS = np.array([n.bit_count() for n in range(256)], dtype=np.uint8)


def _smallest(group: Ints, sets: Words) -> tuple[Ints, Words]:
    """Return in each group the sets that contain no other of the group, sorted by group."""
    order = np.lexsort((_bit_count(sets), group))
    group, sets = group[order], sets[order]
    kept_groups, kept_sets = [], []
    while len(group):
        head = np.ones(len(group), dtype=bool)
        head[1:] = group[1:] != group[:-1]
        at = np.flatnonzero(head)
        kept_groups.append(group[at])
        kept_sets.append(sets[at])
        owner = np.cumsum(head) - 1
        left = ((sets[at][owner] & ~sets) != 0).any(axis=1)
        group, sets = group[left], sets[left]
    if not kept_groups:
        return group, sets
    group, sets = np.concatenate(kept_groups), np.concatenate(kept_sets)
    order = np.argsort(group, kind="stable")
    return group[order], sets[order]


def _as_words(member: int, width: int) -> list[int]:
    return [member >> (_WORD * n) & (2**_WORD - 1) for n in range(width)]


def over(
    scope: tuple[str, ...], roles: tuple[str, ...], values: npt.NDArray[Any]
) -> npt.NDArray[Any]:
    """Return values over some roles with an axis for each role of a wider scope."""
    order = [roles.index(r) for r in scope if r in roles]
    shape = [values.shape[roles.index(r)] if r in roles else 1 for r in scope]
    return np.transpose(values, order).reshape(shape)


def broken_sets(reduced: Reduced, *, ceiling: int = CEILING) -> list[list[int]]:
    """Return the smallest sets that assignments break in which no joint fails.

    Parameters
    ----------
    reduced : Reduced
        The question with the options that count.
    ceiling : int
        Most sets to hold at once.

    Returns
    -------
    list of list of int
        One family for each group of roles that share no joint: sets of
        elements as bits in the order of the question. An empty family where
        no assignment is left. What a whole assignment breaks is the union of
        one set of each family.

    Raises
    ------
    TooManySetsError
        If more than `ceiling` sets would have to be held.
    """
    question = reduced.question
    width = len(question.elements) // _WORD + 1
    sizes = {r: len(at) for r, at in reduced.options.items()}
    if not all(sizes.values()):
        return [[]]
    scopes = [t.roles for t in reduced.tables]
    messages: list[_Message] = []
    tables = list(reduced.tables)
    families: list[list[int]] = []
    for role, beside in elimination_order(scopes, sizes):
        scope = (*beside, role)
        shape = tuple(sizes[r] for r in scope)
        cells_all = int(np.prod([float(n) for n in shape]))
        if cells_all > ceiling:
            raise TooManySetsError("too many combinations of options to look at")
        mine = [t for t in tables if role in t.roles]
        tables = [t for t in tables if role not in t.roles]
        received = [m for m in messages if role in m.roles]
        messages = [m for m in messages if role not in m.roles]
        own = np.array(
            [_as_words(question.broken_by(role, int(c)), width) for c in reduced.codes[role]],
            dtype=np.uint64,
        )
        fails = np.zeros(shape, dtype=bool)
        for table in mine:
            fails |= over(scope, table.roles, table.fails)
        cells = np.flatnonzero(~fails.ravel())
        sets = own[cells % shape[-1]]
        for message in received:
            ids = np.arange(len(message.starts) - 1).reshape([sizes[r] for r in message.roles])
            at = np.broadcast_to(over(scope, message.roles, ids), shape).ravel()[cells]
            counts = np.diff(message.starts)[at]
            if int(counts.sum()) > ceiling:
                raise TooManySetsError(f"more than {ceiling:,} sets at once")
            owner, number = spread(counts)
            cells = cells[owner]
            sets = sets[owner] | message.sets[message.starts[at[owner]] + number]
        group, sets = _smallest(cells // shape[-1], sets)
        if beside:
            starts = np.searchsorted(group, np.arange(cells_all // shape[-1] + 1)).astype(np.intp)
            messages.append(_Message(beside, starts, sets))
        else:
            families.append([_whole(row) for row in sets.tolist()])
    return [f for f in families if f != [0]]


def _whole(words: list[int]) -> int:
    return sum(word << (_WORD * n) for n, word in enumerate(words))


def united(families: Sequence[Sequence[int]], *, ceiling: int = CEILING) -> list[int]:
    """Return the smallest unions of one set of each family.

    Raises
    ------
    TooManySetsError
        If more than `ceiling` sets would have to be held.
    """
    found = [0]
    for family in families:
        if len(found) * len(family) > ceiling:
            raise TooManySetsError(f"more than {ceiling:,} sets at once")
        found = minimal(a | b for a in found for b in family)
    return found
