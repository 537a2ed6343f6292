"""All minimal conflicts and all minimal sets to drop, by duality.

A set of elements is in conflict when every assignment breaks one of them. The smallest such sets
are the minimal transversals of the smallest sets that assignments break; the smallest sets to
drop are those broken sets in which no joint is. docs/explanations.md says why both are complete.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitgraph.explain.broken import broken_sets, united
from fitgraph.explain.buckets import Factor, Least
from fitgraph.explain.elements import JOINT, PICK, Element, Question
from fitgraph.explain.kinds import Kinds, Reduced, reduce
from fitgraph.explain.reasons import Clash, clashes
from fitgraph.explain.transversals import minimal, minimal_transversals
from fitgraph.model import Joint, Option, Verdict


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
    question: Question, joints: Sequence[Joint], members: Sequence[int]
) -> list[tuple[Element, ...]]:
    """Return sets of bits as elements: those of the question first, then joints."""
    every = (*question.elements, *(Element(JOINT, joint=j, name=j.name) for j in joints))
    return [tuple(every[n] for n in range(len(every)) if member >> n & 1) for member in members]


def minimal_conflicts(kinds: Kinds, question: Question, verdict: Verdict) -> list[Conflict]:
    """Return every smallest set of elements and joints that cannot hold together.

    Parameters
    ----------
    kinds : Kinds
        Compiled for the verdict that is asked for.
    question : Question
        What is asked; its limits are not looked at.
    verdict : Verdict
        What is said of them: ``FAILS`` for kinds of what is possible,
        ``UNKNOWN`` for kinds of what is certain.

    Returns
    -------
    list of Conflict
        The smallest first. One without elements where the catalogue has no
        build at all.

    Raises
    ------
    TooManySetsError
        If there are more than can be held.
    """
    reduced = reduce(kinds, question)
    families, names = broken_sets(reduced, joints_hold=False)
    members = minimal(m for family in families for m in minimal_transversals(family))
    by_name = {t.joint.name: t.joint for t in reduced.tables}
    joints = [by_name[name] for name in names]
    return [
        Conflict(elements, verdict, _nearest(kinds, reduced, elements, member, verdict))
        for member, elements in zip(
            members, sets_of_elements(question, joints, members), strict=True
        )
    ]


def minimal_drops(kinds: Kinds, question: Question) -> list[int]:
    """Return every smallest set of elements without which a build is left.

    Parameters
    ----------
    kinds : Kinds
        Compiled for what is certain, so that the builds are.
    question : Question
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
    families, _ = broken_sets(reduce(kinds, question), joints_hold=True)
    return united(families)


#: What an assignment costs that breaks a joint of the conflict, and something else asked for.
_JOINT_COST, _OTHER_COST = 1.0, 1e-3


def _nearest(
    kinds: Kinds,
    reduced: Reduced,
    elements: tuple[Element, ...],
    member: int,
    verdict: Verdict,
) -> tuple[Clash, ...]:
    """Return what an assignment that keeps the rest of a conflict breaks of its joints.

    Since nothing in a conflict can be left out, one joint is all it has to break.
    """
    wanted = {e.joint.name for e in elements if e.joint is not None}
    tables = [t for t in reduced.tables if t.joint.name in wanted]
    if not tables:
        return ()
    question = reduced.question
    roles = dict.fromkeys(r for t in tables for r in t.roles)
    factors: list[Factor] = [(t.roles, np.where(t.fails, _JOINT_COST, 0.0)) for t in tables]
    for role in roles:
        broken = [question.broken_by(role, int(c)) for c in reduced.codes[role]]
        cost = [np.inf if b & member else b.bit_count() * _OTHER_COST for b in broken]
        factors.append(((role,), np.array(cost)))
    found = Least({r: len(reduced.options[r]) for r in roles}, factors)
    if not np.isfinite(found.least):
        return ()
    options = kinds.space.options
    chosen: dict[str, Option] = {
        r: options[r][int(reduced.options[r][n])] for r, n in found.options().items()
    }
    # What was named, and is kept, does not "come nearest": it is what was asked about.
    named = {e.role: n for n, e in enumerate(question.elements) if e.kind == PICK}
    fixed = {
        r
        for r, n in found.options().items()
        if r in named and not question.broken_by(r, int(reduced.codes[r][n])) >> named[r] & 1
    }
    joints = [t.joint for t in tables]
    return tuple(clashes(joints, chosen, at_most=verdict, free=frozenset(roles) - fixed))
