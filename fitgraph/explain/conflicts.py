"""All minimal conflicts and all minimal sets to drop, by duality.

A set of elements is in conflict when every assignment breaks one of them. The smallest such sets
are the minimal transversals of the smallest sets that assignments break; the smallest sets to
drop are those broken sets in which no joint is. docs/explanations.md says why both are complete.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fitgraph.explain.broken import broken_sets, united
from fitgraph.explain.clashing import conflict_sets
from fitgraph.explain.elements import JOINT, PICK, AskedElements, Element
from fitgraph.explain.guilty import GuiltySums
from fitgraph.explain.hitting import Oracle, drops_and_conflicts
from fitgraph.explain.kinds import FailingTable, Kinds, Reduced, reduce
from fitgraph.explain.least_cost import Factor, Least
from fitgraph.explain.reasons import Clash, clashes
from fitgraph.explain.transversals import minimal_transversals
from fitgraph.model import Joint, Option, Verdict
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Conflict:
    """A smallest set of elements that cannot hold together.

    Parameters
    ----------
    elements : tuple of Element
        None of which can be left out.
    verdict : Verdict
        ``FAILS`` where no assignment even possibly keeps them all;
        ``UNKNOWN`` where none certainly does.
    clashes : tuple of Clash
        What the nearest assignment breaks of the joints among them, with
        every figure.
    lacking : tuple of (Element, float)
        For limits: by how much the nearest assignment is over, in minor
        currency units or g.
    """

    elements: tuple[Element, ...]
    verdict: Verdict
    clashes: tuple[Clash, ...] = ()
    lacking: tuple[tuple[Element, float], ...] = ()

    @property
    def parts(self) -> tuple[str, ...]:
        """Return the stock numbers that were named."""
        return tuple(s for e in self.elements if e.kind == PICK for s in e.skus)

    @property
    def joints(self) -> tuple[Joint, ...]:
        """Return the joints among the elements."""
        return tuple(e.joint for e in self.elements if e.joint is not None)


def sets_of_elements(
    question: AskedElements, joints: Sequence[Joint], members: Sequence[int]
) -> list[tuple[Element, ...]]:
    """Return sets of bits as elements: those of the question first, then joints."""
    every = (*question.elements, *(Element(JOINT, joint=j, name=j.name) for j in joints))
    return [tuple(every[n] for n in range(len(every)) if member >> n & 1) for member in members]


def minimal_conflicts(
    kinds: Kinds,
    question: AskedElements,
    verdict: Verdict,
    near: Mapping[str, Option] | None = None,
) -> list[Conflict]:
    """Return every smallest set of elements and joints that cannot hold together.

    Parameters
    ----------
    kinds : Kinds
        Compiled for the verdict that is asked for.
    question : AskedElements
        What is asked; its limits are not looked at.
    verdict : Verdict
        What is said of them: ``FAILS`` for kinds of what is possible,
        ``UNKNOWN`` for kinds of what is certain.
    near : mapping of str to Option, optional
        A combination that breaks nothing but joints, the fewest it can: where it breaks one
        joint of a conflict that is what is told, so that all conflicts, and drawings beside
        them, speak of the same parts.

    Returns
    -------
    list of Conflict
        The smallest first. One without elements where the catalogue has no
        build at all.

    Raises
    ------
    TooManySetsError
        If there are more than can be held.

    Notes
    -----
    Where lengths add up over several parts, every smallest set of elements that clashes is
    found, with one joint on such a sum that makes it clash, or several that do so together, and
    with the joints between fewer parts that take part in it.
    """
    reduced = reduce(kinds, question)
    members, names = conflict_sets(reduced)
    by_name = {t.joint.name: t.joint for t in reduced.tables}
    joints = [by_name[name] for name in names]
    nearest = _Nearest(reduced, verdict, near or {})
    found = [
        Conflict(elements, verdict, nearest(elements, member))
        for member, elements in zip(
            members, sets_of_elements(question, joints, members), strict=True
        )
    ]
    if not kinds.space.sums:
        return found
    every = (1 << len(question.elements)) - 1
    told = {m & every for m in members}
    _, clashing = drops_and_conflicts(Oracle(kinds.network, question), told)
    guilty = GuiltySums(kinds, question)
    for member in clashing:
        if member not in told:
            elements = sets_of_elements(question, (), [member])[0]
            found.append(_on_sums(guilty, member, elements, verdict))
    return found


def _on_sums(
    guilty: GuiltySums, member: int, elements: tuple[Element, ...], verdict: Verdict
) -> Conflict:
    """Return a conflict with the sums that make it one: what comes nearest breaks one of them."""
    conditions = guilty.of(member)
    named = {e.role for e in elements if e.kind == PICK}
    told: list[Clash] = []
    for condition in conditions:
        others = [c for c in conditions if c is not condition]
        free = frozenset(r for r in condition.roles if r not in named)
        options = guilty.nearest(member, condition, others)
        told += clashes([condition.joint], options, at_most=verdict, free=free)
    joints = (*guilty.beside(member, conditions), *(c.joint for c in conditions))
    of_joints = (Element(JOINT, joint=j, name=j.name) for j in joints)
    return Conflict((*elements, *of_joints), verdict, tuple(told))


def minimal_drops(kinds: Kinds, question: AskedElements) -> list[int]:
    """Return every smallest set of elements without which a build is left.

    Parameters
    ----------
    kinds : Kinds
        Compiled for what is certain, so that the builds are.
    question : AskedElements
        What is asked; its limits are not looked at.

    Returns
    -------
    list of int
        Sets of elements as bits; the empty set alone where nothing has to
        go, nothing where no build is left whatever goes.

    Raises
    ------
    TooManySetsError
        If there are more than can be held.
    """
    drops = united(broken_sets(reduce(kinds, question)))
    if not kinds.space.sums or not drops:
        return drops
    known = minimal_transversals(drops)
    return drops_and_conflicts(Oracle(kinds.network, question), known)[0]


#: What an assignment costs that breaks a joint of the conflict, and something else asked for.
_JOINT_COST, _OTHER_COST = 1.0, 1e-3


class _Nearest:
    """Says what an assignment that keeps the rest of a conflict breaks of its joints.

    Since nothing in a conflict can be left out, one joint is all it has to break.
    """

    def __init__(self, reduced: Reduced, verdict: Verdict, near: Mapping[str, Option]) -> None:
        self.reduced, self.verdict, self.near = reduced, verdict, near
        question = reduced.question
        self.tables = {t.joint.name: t for t in reduced.tables}
        self.broken = {
            r: [question.broken_by(r, c) for c in codes.tolist()]
            for r, codes in reduced.codes.items()
        }
        self.named = {e.role: 1 << n for n, e in enumerate(question.elements) if e.kind == PICK}
        self._told: dict[tuple[str, tuple[tuple[str, int], ...]], tuple[Clash, ...]] = {}

    def __call__(self, elements: tuple[Element, ...], member: int) -> tuple[Clash, ...]:
        """Return the clashes of the nearest assignment with a conflict."""
        tables = [self.tables[e.joint.name] for e in elements if e.joint is not None]
        if not tables:
            return ()
        if self.near:
            joints = [t.joint for t in tables]
            unnamed = frozenset(self.near) - frozenset(self.named)
            nearest = clashes(joints, self.near, at_most=self.verdict, free=unnamed)
            if len(nearest) == 1:
                return tuple(nearest)
        reduced = self.reduced
        roles = dict.fromkeys(r for t in tables for r in t.roles)
        factors: list[Factor] = [(t.roles, np.where(t.fails, _JOINT_COST, 0.0)) for t in tables]
        for role in roles:
            broken = self.broken[role]
            cost = [np.inf if b & member else b.bit_count() * _OTHER_COST for b in broken]
            factors.append(((role,), np.array(cost)))
        found = Least({r: len(reduced.options[r]) for r in roles}, factors).options()
        told: list[Clash] = []
        for table in tables:
            if table.fails[tuple(found[r] for r in table.roles)]:
                told += self._clash(table, {r: found[r] for r in table.roles})
        return tuple(told)

    def _clash(self, table: FailingTable, at: Mapping[str, int]) -> tuple[Clash, ...]:
        key = (table.joint.name, tuple(at.items()))
        if key not in self._told:
            options = self.reduced.kinds.space.options
            chosen = {r: options[r][int(self.reduced.options[r][n])] for r, n in at.items()}
            # What was named, and is kept, does not "come nearest": it was asked about.
            free = frozenset(
                r
                for r, n in at.items()
                if self.broken[r][n] & self.named.get(r, 0) or r not in self.named
            )
            self._told[key] = tuple(clashes([table.joint], chosen, at_most=self.verdict, free=free))
        return self._told[key]
