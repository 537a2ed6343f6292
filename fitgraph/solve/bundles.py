"""Roles whose lengths several conditions add up, as one variable that is sorted by what they add.

What stands above a headset is the steerer less the head tube less the headset, whether a clamp,
a cap or a sleeve asks for it. Where no two parts are alike, a table over all three roles has a
cell for every triple. But for one steerer, all that the conditions can tell of the other two is
on which side of some marks their sum lies. So the other roles become one variable, their allowed
*tuples*, sorted by the sum; for each class of the outer role the sum's values are then a few runs
of the sorted tuples. A step that sums the tuples out adds up runs, and leaves a message over the
outer role and the sum.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats, Ints
from fitgraph.graph.sums import SumCondition
from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.records import dataclass
from fitgraph.solve.arrays import distinct
from fitgraph.solve.carried_sums import STEPS, Running, Terms, terms_of, thresholds
from fitgraph.solve.relations import Relation, combined
from fitgraph.solve.shared_sums import best_group, own_addends

#: Triples from which tuples are sorted; below, a table is as quick.
WORTH = 1 << 19

#: Roles of a tuple at most: of more roles there are many tuples, and what they add up is better
#: merged on the way, as running sums are.
_MOST_ROLES = 2

#: Tuples, runs and codes that are held at most.
_TUPLES, _RUNS, _CODES = 1 << 22, 1 << 25, 1 << 62


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """The values of a sum along sorted tuples, for each class of the outer role.

    Parameters
    ----------
    starts : ndarray of int, shape (n_places + 1,)
        Where the runs of each place of the outer role begin and end.
    begin : ndarray of int
        The tuple with which each run begins; the first run of a place begins with the first.
    value : ndarray of int
        The value of the sum along it.
    """

    starts: Ints
    begin: Ints
    value: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Bundle:
    """Some roles as tuples, and the sum that they decide with one more.

    Parameters
    ----------
    name, sum : str
        The variables that stand for the tuples and for the sum.
    roles : tuple of str
        Of the tuples.
    outer : str
        The role that decides the sum with them.
    kinds : mapping of str to tuple
        For each role, the kind of each base class and a base class of each kind.
    at : mapping of str to ndarray of int, shape (n_tuples,)
        For each role, the kind that each tuple has.
    place : ndarray of int
        The place of each base class of the outer role among the runs.
    runs : Runs
        The sum of each tuple and each place.
    size : int
        How many values the sum has.
    values : mapping of str to ndarray of float, shape (size,)
        What each condition adds up to at each value, as far as it can tell [steps].
    """

    name: str
    sum: str
    roles: tuple[str, ...]
    outer: str
    kinds: Mapping[str, tuple[Ints, Ints]]
    at: Mapping[str, Ints]
    place: Ints
    runs: Runs
    size: int
    values: Mapping[str, Floats]

    @property
    def tuples(self) -> int:
        """Return how many tuples there are."""
        return len(self.at[self.roles[0]])

    def domain(self, domains: Mapping[str, Ints]) -> Ints:
        """Return the tuples that are left in some domains."""
        keep = np.ones(self.tuples, dtype=bool)
        for role in self.roles:
            of_base, first = self.kinds[role]
            there = np.zeros(len(first), dtype=bool)
            there[of_base[domains[role]]] = True
            keep &= there[self.at[role]]
        return np.flatnonzero(keep)

    def along(self, role: str, of_base: Ints) -> Ints:
        """Return a map of a role's base classes as one of the tuples."""
        return np.asarray(of_base[self.kinds[role][1]][self.at[role]])

    def keeps(self, relation: Relation) -> bool:
        """Return whether a relation is kept by what tuples there are."""
        return self.at.keys() >= set(relation.scope)

    def seen(self, relation: Relation) -> Relation:
        """Return a relation over the tuples."""
        mine = [r for r in relation.scope if r in self.at]
        if not mine:
            return relation
        columns = [self.along(r, relation.map_of(r)) for r in mine]
        code = np.zeros(self.tuples, dtype=np.int64)
        for column in columns:
            code = code * (int(column.max(initial=0)) + 1) + column
        _, first, place = np.unique(code, return_index=True, return_inverse=True)
        axes = [relation.scope.index(r) for r in mine]
        others = [n for n in range(len(relation.scope)) if n not in axes]
        allowed = np.transpose(relation.allowed, (*axes, *others))[
            tuple(column[first] for column in columns)
        ]
        return Relation(
            (self.name, *(relation.scope[n] for n in others)),
            (place.reshape(-1).astype(np.intp), *(relation.maps[n] for n in others)),
            allowed,
            relation.names,
        )

    def decided(self, running: Running) -> Running:
        """Return a running sum of one of the roles as one of the tuples."""
        if not any(v in self.at for v in running.of):
            return running
        of = tuple(self.name if v in self.at else v for v in running.of)
        maps = tuple(
            self.along(v, m) if v in self.at else m
            for v, m in zip(running.of, running.maps, strict=True)
        )
        return replace(running, of=(of[0], of[1]), maps=(maps[0], maps[1]))

    def summed(self, terms: Terms) -> Terms:
        """Return a condition over the sum, where it is one of those that ask for it."""
        values = self.values.get(terms.condition.name)
        if values is None:
            return terms
        group = {*self.roles, self.outer}
        rest = [v for v in terms.values if len(v[0]) > 1 or v[0][0] not in group]
        rest.sort(key=lambda v: (len(v[0]), v[2].size))
        sum_ = ((self.sum,), (np.arange(self.size, dtype=np.intp),), values)
        return replace(terms, values=(sum_, *rest))

    def parts(self) -> list[Relation]:
        """Return relations between each role and the tuples."""
        return [
            Relation(
                (role, self.name),
                (self.kinds[role][0], self.at[role]),
                np.eye(len(self.kinds[role][1]), dtype=bool),
                (),
            )
            for role in self.roles
        ]


def bundle_of(
    sums: Sequence[SumCondition],
    every: Sequence[SumCondition],
    relations: Sequence[Relation],
    first: Mapping[str, Ints],
    domains: Mapping[str, Ints],
    cases: Iterable[Mapping[str, Ints]],
    *,
    certain: bool,
    worth: float,
    most_cells: float,
) -> Bundle | None:
    """Return the roles that several conditions add up; None where a table does as well.

    Parameters
    ----------
    sums, every : sequence of SumCondition
        Conditions that are too large for tables, and all.
    relations : sequence of Relation
        All others.
    first, domains, certain
        As in :class:`fitgraph.solve.planning.Ingredients`.
    cases : iterable of mapping
        The domains of every case that will be worked out.
    worth : float
        Triples from which it is worth it.
    most_cells : float
        Ceiling on the cells of the outer role by the sum.
    """
    of_all = {
        n: terms_of(s, first, domains, certain=certain) for n, s in enumerate(sums) if s.terms
    }
    of_all = {n: t for n, t in of_all.items() if not t.holds}
    own = {n: own_addends(t) for n, t in of_all.items()}
    alone = {n: all(len(roles) == 1 for roles, *_ in t.values) for n, t in of_all.items()}
    members, group = best_group(own, alone, [frozenset(s.roles) for s in every])
    if not 3 <= len(group) <= _MOST_ROLES + 1:
        return None
    ties = {r: sum(r in t.scope for t in relations) for r in group}
    *inner, outer = sorted(group, key=lambda r: (ties[r], r))
    width = len(domains[outer])
    if math.prod(len(domains[r]) for r in inner) * float(width) < worth:
        return None
    asked = _asked([sums[n] for n in members], group, first, domains, cases, certain=certain)
    if not asked:
        return None
    kinds = {
        role: combined(
            [
                *(r.map_of(role) for r in relations if role in r.scope),
                *(
                    term.class_of[axis][first[role]]
                    for condition in every
                    for term in condition.terms
                    for axis, other in enumerate(term.roles)
                    if other == role
                ),
            ],
            domains[role],
        )
        for role in inner
    }
    at = _tuples(inner, kinds, relations)
    if at is None or len(at[inner[0]]) * float(width) < worth:
        return None
    return _sorted(inner, outer, kinds, at, asked, domains, most_cells)


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """A condition: what each class of the group adds, and the sums at which it tells apart."""

    name: str
    own: Mapping[str, Floats]
    marks: npt.NDArray[np.int64]


def _asked(
    sums: Sequence[SumCondition],
    group: Set[str],
    first: Mapping[str, Ints],
    domains: Mapping[str, Ints],
    cases: Iterable[Mapping[str, Ints]],
    *,
    certain: bool,
) -> list[_Asked]:
    """Return the conditions, with their marks in any of the cases; none where one has too many."""
    own: dict[str, Mapping[str, Floats]] = {}
    marks: dict[str, list[Floats]] = {}
    for case in cases:
        within = {**case, **{r: domains[r] for r in group}}
        for condition in sums:
            terms = terms_of(condition, first, within, certain=certain)
            if terms.holds:
                continue
            addends = own_addends(terms)
            if not group <= addends.keys():
                return []
            rest = [v for r, _, v in terms.values if len(r) > 1 or r[0] not in group]
            found = thresholds([distinct(v) for v in rest], -EPSILON_MM * STEPS - terms.base)
            if found is None:
                return []
            mine = {r: addends[r] for r in group}
            before = own.setdefault(condition.name, mine)
            if any(np.any((before[r] - mine[r])[domains[r]]) for r in group):
                return []  # what a role adds hangs on who else is there
            marks.setdefault(condition.name, []).append(found)
    return [
        _Asked(name, own[name], distinct(np.ceil(np.concatenate(found))).astype(np.int64))
        for name, found in marks.items()
    ]


def _tuples(
    roles: Sequence[str],
    kinds: Mapping[str, tuple[Ints, Ints]],
    relations: Sequence[Relation],
) -> dict[str, Ints] | None:
    """Return the kinds of every tuple that the relations between its roles allow."""
    at = {roles[0]: np.arange(len(kinds[roles[0]][1]), dtype=np.intp)}
    for role in roles[1:]:
        here, more = len(at[roles[0]]), len(kinds[role][1])
        if here * more > 16 * _TUPLES:
            return None
        good = np.ones((here, more), dtype=bool)
        for relation in relations:
            if role in relation.scope and set(relation.scope) <= {*at, role}:
                order = [relation.scope.index(r) for r in at if r in relation.scope]
                allowed = np.transpose(relation.allowed, (*order, relation.scope.index(role)))
                places = [
                    relation.map_of(r)[kinds[r][1]][at[r]][:, None]
                    for r in at
                    if r in relation.scope
                ]
                good &= allowed[(*places, relation.map_of(role)[kinds[role][1]][None, :])]
        left, right = np.nonzero(good)
        if len(left) > _TUPLES:
            return None
        at = {**{r: k[left] for r, k in at.items()}, role: right}
    return at if len(at[roles[0]]) else None


@dataclass(slots=True, eq=False)
class _Line:
    """One way to add the tuples up: forward or backward along the sort, and off by a block's."""

    forward: bool
    values: npt.NDArray[np.int64]
    off: npt.NDArray[np.int64]
    ends: npt.NDArray[np.int64]  # the least and the most


def _sorted(
    roles: Sequence[str],
    outer: str,
    kinds: Mapping[str, tuple[Ints, Ints]],
    at: dict[str, Ints],
    asked: Sequence[_Asked],
    domains: Mapping[str, Ints],
    most_cells: float,
) -> Bundle | None:
    """Return the tuples sorted, with the runs of every class of the outer role."""
    sums = [
        sum((a.own[r][kinds[r][1]][at[r]] for r in roles), np.zeros(len(at[roles[0]])))
        for a in asked
    ]
    whole = [s.astype(np.int64) for s in sums]
    # Every condition's sum is one of a few, but for what is the same for all tuples.
    lines: list[npt.NDArray[np.int64]] = []
    of_line, off_line = [], []
    for values in whole:
        for n, line in enumerate(lines):
            if not np.ptp(values - line):
                of_line.append(n)
                off_line.append(int((values - line)[0]))
                break
        else:
            of_line.append(len(lines))
            off_line.append(0)
            lines.append(values)
    # Tuples for which the lines move together are a block; within one, all are sorted.
    block = np.zeros(len(lines[0]), dtype=np.int64)
    forward = []
    for values in lines:
        less, more = values - lines[0], values + lines[0]
        ahead = len(distinct(less)) <= len(distinct(more))
        forward.append(ahead)
        _, of_diff = np.unique(less if ahead else more, return_inverse=True)
        _, block = np.unique(
            block * (int(of_diff.max()) + 1) + of_diff.reshape(-1), return_inverse=True
        )
        block = block.reshape(-1).astype(np.int64)
    order = np.lexsort((lines[0], block))
    block, lines = block[order], [v[order] for v in lines]
    at = {r: k[order] for r, k in at.items()}
    firsts = np.flatnonzero(np.diff(block, prepend=-1))
    low = int(lines[0].min())
    reach = int(lines[0].max()) - low + 3
    if float(reach) * (len(firsts) + 1) >= _CODES:
        return None
    key = block * reach + (lines[0] - low)
    made = [
        _Line(
            ahead,
            v,
            (v - lines[0] if ahead else v + lines[0])[firsts],
            np.array([v.min(), v.max()]),
        )
        for ahead, v in zip(forward, lines, strict=True)
    ]
    # The outer role's classes, as far as some condition tells them apart.
    columns = np.column_stack([a.own[outer][domains[outer]] for a in asked]).astype(np.int64)
    addends_of, of_class = np.unique(columns, axis=0, return_inverse=True)
    place = np.zeros(len(asked[0].own[outer]), dtype=np.intp)
    place[domains[outer]] = of_class.reshape(-1)
    if math.prod(float(len(a.marks) + 1) for a in asked) >= _CODES:
        return None
    starts, begins, codes = [0], [], []
    for addends in addends_of:
        positions = [firsts]
        shifted = []
        for a, n, off, addend in zip(asked, of_line, off_line, addends.tolist(), strict=True):
            way, more = made[n], addend + off
            shifted.append((a.marks, way, more))
            ends = np.searchsorted(a.marks, way.ends + more)
            needed = a.marks[ends[0] : ends[1] + 1] - more  # of the line, to reach each mark
            if not len(needed):
                continue
            if way.forward:
                first = needed[None, :] - way.off[:, None] - low
            else:
                first = way.off[:, None] - needed[None, :] - low + 1
            first = np.clip(first, 0, reach - 1) + np.arange(len(firsts))[:, None] * reach
            positions.append(np.searchsorted(key, first.ravel()))
        begin = distinct(np.concatenate(positions))
        begin = begin[begin < len(key)]
        code = np.zeros(len(begin), dtype=np.int64)
        for marks, way, more in shifted:
            rank = np.searchsorted(marks, way.values[begin] + more, side="right")
            code = code * (len(marks) + 1) + rank
        new = np.flatnonzero(np.diff(code, prepend=-1))
        begins.append(begin[new].astype(np.int32))
        codes.append(code[new])
        starts.append(starts[-1] + len(new))
        if starts[-1] > _RUNS:
            return None
    begin = np.concatenate(begins)
    _, example, value = np.unique(np.concatenate(codes), return_index=True, return_inverse=True)
    size = len(example)
    if float(size) * len(domains[outer]) > most_cells:
        return None
    of_place = np.repeat(np.arange(len(addends_of)), np.diff(starts))[example]
    told = {
        a.name: (lines[n][begin[example]] + off + addends_of[of_place, k]).astype(float)
        for k, (a, n, off) in enumerate(zip(asked, of_line, off_line, strict=True))
    }
    return Bundle(
        "+".join(roles),
        "+".join((*roles, outer)),
        tuple(roles),
        outer,
        kinds,
        at,
        place,
        Runs(np.array(starts), begin, value.reshape(-1).astype(np.int32)),
        size,
        told,
    )
