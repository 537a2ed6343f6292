"""Every smallest set of elements and joints that cannot hold together, without the broken sets.

The smallest conflicts are the smallest transversals of what assignments break
(:mod:`fitgraph.explain.transversals`). Where a dozen parts clash in a dozen places, each place
can be mended in several ways, so the broken sets multiply; the conflicts only add up. So roles
are eliminated one after the other with conflicts in hand, not broken sets: for every option of a
role, given the options next to it, what clashes is the union of what clashes on each side; and
what clashes whichever option is taken are the smallest unions of one conflict of each. That is
bucket elimination in the dual semiring of :mod:`fitgraph.explain.broken`, and just as exact:
transversals turn unions of families into pairwise unions and the other way round.

References
----------
.. [1] C. Berge, "Hypergraphs", North-Holland 1989, chapter 2, transversal sets
   (reference checked).
.. [2] R. Dechter, "Bucket elimination: a unifying framework for reasoning",
   Artificial Intelligence 113 (1999) 41-85 (reference checked).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.explain.broken import CEILING as CELLS
from fitgraph.explain.broken import elimination_order, over
from fitgraph.explain.kinds import FailingTable, Reduced
from fitgraph.explain.transversals import CEILING, Inside, TooManySetsError, bits, minimal
from fitgraph.records import dataclass
from fitgraph.stopping import check

#: Conflicts, none of which contains another, the smallest first.
Family = tuple[int, ...]


#: Most unions of two conflicts to look at for one question: a second's work. Sixteen parts chosen
#: blindly take 6,000; where half of the figures are blank, all of them together clash in millions
#: of ways, which nobody reads.
MOST_UNIONS = 300_000


def both_ways(
    first: Family, second: Family, *, ceiling: int = CEILING, most: int = MOST_UNIONS
) -> tuple[Family, int]:
    """Return the smallest unions of a member of one family and a member of another.

    Parameters
    ----------
    first, second : tuple of int
        The families.
    ceiling : int
        Most sets to hold at once.
    most : int
        Most unions to look at.

    Returns
    -------
    family : tuple of int
        The unions.
    looked_at : int
        How many were looked at.

    Raises
    ------
    TooManySetsError
        If there are more.

    Examples
    --------
    >>> both_ways((0b001, 0b010), (0b010, 0b100))
    ((2, 5), 1)
    """
    # A member that holds one of the other family is its own union with that.
    meeting, missing = _apart(first, second)
    also, rest = _apart(second, first)
    unions = len(missing) * len(rest)
    if unions > most:
        raise TooManySetsError("too many unions of conflicts to look at")
    found = minimal({*meeting, *also, *(a | b for a in missing for b in rest)})
    if len(found) > ceiling:
        raise TooManySetsError(f"more than {ceiling:,} minimal sets")
    return tuple(found), unions


def _apart(family: Family, other: Family) -> tuple[list[int], list[int]]:
    """Return the members of a family that hold one of another, and those that do not."""
    meeting: list[int] = []
    missing: list[int] = []
    inside = Inside(other)
    for member in family:
        (meeting if inside.any(member) else missing).append(member)
    return meeting, missing


@dataclass(slots=True)
class _Families:
    """Families by number, so that equal ones are worked out once."""

    ceiling: int
    unions: int
    of: list[Family] = field(default_factory=list)
    _number: dict[Family, int] = field(default_factory=dict)
    _joined: dict[tuple[int, tuple[int, ...]], int] = field(default_factory=dict)
    _crossed: dict[tuple[int, int], int] = field(default_factory=dict)

    def number(self, family: Family) -> int:
        if family not in self._number:
            self._number[family] = len(self.of)
            self.of.append(family)
        return self._number[family]

    def joined(self, broken: int, numbers: Sequence[int]) -> int:
        """Return what clashes where some elements are broken, beside some families."""
        key = broken, tuple(sorted(set(numbers)))
        if key not in self._joined:
            every = [*bits(broken), *(m for n in key[1] for m in self.of[n])]
            self._joined[key] = self.number(tuple(minimal(every)))
        return self._joined[key]

    def crossed(self, numbers: Sequence[int]) -> int:
        """Return what clashes whichever of some options is taken."""
        first, *rest = sorted(set(numbers), key=lambda n: (len(self.of[n]), n))
        for other in rest:
            key = min(first, other), max(first, other)
            if key not in self._crossed:
                pair = self.of[first], self.of[other]
                found, looked_at = both_ways(*pair, ceiling=self.ceiling, most=self.unions)
                self.unions -= looked_at
                self._crossed[key] = self.number(found)
            first = self._crossed[key]
        return first


@dataclass(frozen=True, slots=True)
class _Message:
    """For each combination of options of some roles, the number of its family."""

    roles: tuple[str, ...]
    numbers: Ints


def conflict_sets(
    reduced: Reduced, *, ceiling: int = CEILING, unions: int = MOST_UNIONS
) -> tuple[list[int], list[str]]:
    """Return the smallest sets of elements and joints that every assignment breaks somewhere.

    Parameters
    ----------
    reduced : Reduced
        The question with the options that count.
    ceiling : int
        Most sets to hold at once.
    unions : int
        Most unions of two conflicts to look at.

    Returns
    -------
    conflicts : list of int
        Bits in the order of the question's elements, then of the joints; the smallest first. The
        empty set alone where a role has no option.
    joints : list of str
        The names of the joints, in the order of their bits.

    Raises
    ------
    TooManySetsError
        If more would have to be held.
    """
    question = reduced.question
    names = [t.joint.name for t in reduced.tables]
    sizes = {r: len(at) for r, at in reduced.options.items()}
    if not all(sizes.values()):
        return [0], names
    families = _Families(ceiling, unions)
    tables = [(1 << (len(question.elements) + n), t) for n, t in enumerate(reduced.tables)]
    messages: list[_Message] = []
    found: list[int] = []
    for role, beside in elimination_order([t.roles for t in reduced.tables], sizes):
        check()
        shape = tuple(sizes[r] for r in (*beside, role))
        if float(np.prod([float(n) for n in shape])) > CELLS:
            raise TooManySetsError("too many combinations of options to look at")
        mine = [(bit, t) for bit, t in tables if role in t.roles]
        tables = [(bit, t) for bit, t in tables if role not in t.roles]
        received = [m for m in messages if role in m.roles]
        messages = [m for m in messages if role not in m.roles]
        own = [question.broken_by(role, int(c)) for c in reduced.codes[role]]
        numbers = _of_options((*beside, role), shape, own, mine, received, families)
        rows, same = _distinct(np.sort(numbers, axis=-1).reshape(-1, shape[-1]))
        over_all = np.array([families.crossed(row) for row in rows.tolist()], dtype=np.intp)
        if beside:
            messages.append(_Message(beside, over_all[same].reshape(shape[:-1])))
        else:
            found += families.of[int(over_all[0])]
    return minimal(found), names


def _of_options(
    scope: tuple[str, ...],
    shape: tuple[int, ...],
    own: Sequence[int],
    tables: Sequence[tuple[int, FailingTable]],
    received: Sequence[_Message],
    families: _Families,
) -> Ints:
    """Return the family of each combination of options."""
    columns = [np.arange(shape[-1])]
    columns += [over(scope, t.roles, t.fails) for _, t in tables]
    columns += [over(scope, m.roles, m.numbers) for m in received]
    key = np.zeros((1,) * len(shape), dtype=np.int64)
    for column in columns:
        size = int(column.max(initial=0)) + 1
        if int(key.max(initial=0)) > 2**62 // size:
            key = np.unique(key, return_inverse=True)[1].reshape(key.shape).astype(np.int64)
        key = key * size + column
    key = np.broadcast_to(key, shape).ravel()
    _, at, same = np.unique(key, return_index=True, return_inverse=True)
    told = [np.broadcast_to(c, shape).ravel()[at].tolist() for c in columns]
    numbers = []
    for option, *row in zip(*told, strict=True):
        broken = own[option]
        for (bit, _), fails in zip(tables, row, strict=False):
            if fails:
                broken |= bit
        numbers.append(families.joined(broken, row[len(tables) :]))
    return np.array(numbers, dtype=np.intp)[same.reshape(-1)].reshape(shape)


def _distinct(rows: Ints) -> tuple[Ints, Ints]:
    """Return the distinct rows, and for each row which of them it is."""
    found, same = np.unique(rows, axis=0, return_inverse=True)
    return found, same.reshape(-1)
