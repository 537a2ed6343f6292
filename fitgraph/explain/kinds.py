"""The few options of each role that a question has to look at.

Options that no joint tells apart are one kind. A kind can be left out where another breaks no
more of the question, costs no more and fails in no joint where the first holds: whatever the
first could be used for, the other can. Leaving out goes on until nothing can go, since each
option that goes may make others comparable.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import cached_property

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.explain.elements import AskedElements
from fitgraph.explain.network import Network
from fitgraph.graph.classes import distinct_rows, used_classes
from fitgraph.model import Joint, Verdict
from fitgraph.records import dataclass
from fitgraph.solve.space import Space
from fitgraph.stopping import check

#: Words of 64 columns that are compared at once.
_AT_ONCE = 1 << 21


def at_least_as_good(fails: Bools) -> Bools:
    """Return for each pair of rows whether the first fails nowhere where the second holds.

    Most pairs are told apart by few columns, and only the others are compared further.
    """
    many, packed = len(fails), np.packbits(fails, axis=1)
    words = np.zeros((many, -(-packed.shape[1] // 8)), dtype=np.uint64)
    words.view(np.uint8)[:, : packed.shape[1]] = packed
    pairs, begin = np.arange(many * many), 0
    while begin < words.shape[1] and len(pairs):
        check()
        end = begin + max(1, _AT_ONCE // len(pairs))
        some = words[:, begin:end]
        one, other = np.divmod(pairs, many)
        pairs = pairs[~(some[one] & ~some[other]).any(axis=1)]
        begin = end
    found = np.zeros(many * many, dtype=bool)
    found[pairs] = True
    return found.reshape(many, many)


def _of_classes(fails: Bools, class_of: Ints) -> Bools:
    """Return for each pair of rows whether the first fails nowhere where the second holds.

    Parameters
    ----------
    fails : ndarray of bool, shape (classes, ...)
        Where each class fails.
    class_of : ndarray of int
        The class of each row.
    """
    better = at_least_as_good(fails.reshape(len(fails), -1))
    return better[np.ix_(class_of, class_of)]


def crossed(places: Sequence[Ints]) -> tuple[Ints, ...]:
    """Return an index that takes every combination of places, one list an axis."""
    last = len(places) - 1
    return tuple(at.reshape(-1, *[1] * (last - n)) for n, at in enumerate(places))


def undominated(better: Bools) -> Bools:
    """Return the rows that no other is better than; of equals the first is kept.

    Parameters
    ----------
    better : ndarray of bool, shape (n, n)
        Whether the first is at least as good as the second: a preorder.
    """
    at = np.arange(len(better))
    first = at[:, None] < at
    return np.asarray(~(better & (~better.T | first)).any(axis=0))


@dataclass(frozen=True, slots=True)
class FailingTable:
    """Where a joint fails, over the options of its roles that are left.

    Parameters
    ----------
    joint : Joint
        The joint.
    roles : tuple of str
        One axis each.
    fails : ndarray of bool
        Whether it fails.
    """

    joint: Joint
    roles: tuple[str, ...]
    fails: Bools


class Kinds:
    """The kinds of options of a compiled catalogue.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    least : Verdict
        A joint fails where its verdict is below this.
    """

    def __init__(self, space: Space, least: Verdict) -> None:
        self.space, self.least = space, least
        failing = [(t, t.verdicts < least) for t in space.joint_tables]
        self.tables = [FailingTable(t.joint, t.roles, f) for t, f in failing if f.any()]
        class_of = {
            t.joint.name: dict(zip(t.roles, t.class_of, strict=True)) for t, f in failing if f.any()
        }
        #: For each role the kind of each option, and the class of each kind in each joint.
        self.kind_of: dict[str, Ints] = {}
        self.classes: dict[str, dict[str, Ints]] = {}
        self.better: dict[str, Bools] = {}
        #: For each role its joints, each with the other roles and the table with the role first.
        self.beside: dict[str, list[tuple[str, tuple[str, ...], Bools]]] = {}
        for role, options in space.options.items():
            mine = [t for t in self.tables if role in t.roles]
            columns = np.zeros((len(options), 1 + len(mine)), dtype=np.intp)
            for n, table in enumerate(mine):
                columns[:, n + 1] = class_of[table.joint.name][role]
            first, self.kind_of[role] = distinct_rows(columns)
            distinct = columns[first]
            self.classes[role] = {t.joint.name: distinct[:, n + 1] for n, t in enumerate(mine)}
            self.beside[role] = []
            self.better[role] = np.ones((len(first), len(first)), dtype=bool)
            for n, table in enumerate(mine):
                along = np.moveaxis(table.fails, table.roles.index(role), 0)
                others = tuple(r for r in table.roles if r != role)
                self.beside[role].append((table.joint.name, others, along))
                self.better[role] &= _of_classes(along, distinct[:, n + 1])

    @cached_property
    def network(self) -> Network:
        """Return the joints and sums for finding builds, worked out at the first call."""
        return Network(self.space, certain=self.least is Verdict.FITS)

    @cached_property
    def network_apart(self) -> Network:
        """Return the same with each joint by itself, to find which of them take part."""
        return Network(self.space, certain=self.least is Verdict.FITS, apart=True)

    def over(self, kinds: Mapping[str, Ints]) -> list[FailingTable]:
        """Return the joints that fail somewhere, over some kinds of each role."""
        found = []
        for table in self.tables:
            at = [self.classes[r][table.joint.name][kinds[r]] for r in table.roles]
            fails = table.fails[crossed(at)]
            if fails.any():
                found.append(FailingTable(table.joint, table.roles, fails))
        return found


@dataclass(frozen=True)
class Reduced:
    """What is left of a question.

    Parameters
    ----------
    question : AskedElements
        The question.
    options : mapping of str to ndarray of int
        The options of each role that are left.
    codes : mapping of str to ndarray of uint8
        What each of them breaks.
    kinds : Kinds
        The compiled kinds.
    """

    question: AskedElements
    options: Mapping[str, Ints]
    codes: Mapping[str, npt.NDArray[np.uint8]]
    kinds: Kinds

    @cached_property
    def tables(self) -> tuple[FailingTable, ...]:
        """Return the joints that fail somewhere among the options."""
        kind_of = self.kinds.kind_of
        return tuple(self.kinds.over({r: kind_of[r][at] for r, at in self.options.items()}))


def _present(classes: Ints) -> Ints:
    """Return the classes that there are, in order."""
    return np.flatnonzero(np.bincount(classes))


def first_of_each(kind: Ints, code: npt.NDArray[np.uint8], at: Ints, cost: Floats | None) -> Ints:
    """Return, of the options at some places, the cheapest of each kind and code."""
    key = kind[at] * 256 + code[at]
    if cost is not None:
        order = np.lexsort((at, cost[at]))
        at, key = at[order], key[order]
    return at[np.unique(key, return_index=True)[1]]


def reduce(
    kinds: Kinds,
    question: AskedElements,
    *,
    lets: Mapping[str, Bools] | None = None,
    cost: Mapping[str, Floats] | None = None,
    whole: Collection[str] = (),
) -> Reduced:
    """Leave out every option that another stands in for.

    Parameters
    ----------
    kinds : Kinds
        The compiled kinds.
    question : AskedElements
        What is asked.
    lets : mapping of str to ndarray of bool, optional
        The options that may be used; all that the question allows by default.
    cost : mapping of str to ndarray of float, optional
        What each option costs; an option only stands in for dearer ones.
    whole : collection of str
        Roles of which every kind is kept.
    """
    chosen: dict[str, Ints] = {}
    for role in kinds.space.options:
        at = np.flatnonzero(question.allowed[role] if lets is None else lets[role])
        kind, code = kinds.kind_of[role], question.broken[role]
        price = None if cost is None else cost[role]
        at = first_of_each(kind, code, at, price)
        if role not in whole and len(at) > 1:
            better = kinds.better[role][np.ix_(kind[at], kind[at])]
            at = at[undominated(better & _cheaper(code[at], None if price is None else price[at]))]
        chosen[role] = at
    _iterate(kinds, question, chosen, cost, whole)
    return Reduced(
        question,
        chosen,
        {r: question.broken[r][at] for r, at in chosen.items()},
        kinds,
    )


def _iterate(
    kinds: Kinds,
    question: AskedElements,
    chosen: dict[str, Ints],
    cost: Mapping[str, Floats] | None,
    whole: Collection[str],
) -> None:
    """Leave out options until none stands in for another, given what is left of the others."""
    own = {
        r: {name: c[kinds.kind_of[r][at]] for name, c in kinds.classes[r].items()}
        for r, at in chosen.items()
    }
    present = {r: {n: _present(c) for n, c in of.items()} for r, of in own.items()}
    waiting = [r for r in chosen if r not in whole]
    while waiting:
        role = waiting.pop(0)
        n = len(chosen[role])
        if n < 2:
            continue
        code = question.broken[role][chosen[role]]
        price = None if cost is None else cost[role][chosen[role]]
        better = _cheaper(code, price)
        for name, others, fails in kinds.beside[role]:
            used, class_of = used_classes(own[role][name])
            at = crossed([used, *(present[r][name] for r in others)])
            better &= _of_classes(fails[at], class_of)
        keep = undominated(better)
        if keep.all():
            continue
        chosen[role] = chosen[role][keep]
        for name, others, _ in kinds.beside[role]:
            own[role][name] = own[role][name][keep]
            left = _present(own[role][name])
            if len(left) == len(present[role][name]):
                continue
            present[role][name] = left
            waiting += [r for r in others if r not in whole and r not in waiting]


def _cheaper(code: npt.NDArray[np.uint8], cost: Floats | None) -> Bools:
    """Return for each pair whether the first breaks no more and costs no more."""
    no_more = (code[:, None] & ~code[None, :]) == 0
    return no_more if cost is None else no_more & (cost[:, None] <= cost[None, :])
