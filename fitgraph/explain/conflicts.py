"""All minimal conflicts and all minimal sets to drop, by duality.

A set of elements is in conflict when every assignment breaks one of them. The smallest such sets
are the minimal transversals of the smallest sets that assignments break; the smallest sets to
drop are those broken sets in which no joint is. docs/explanations.md says why both are complete.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.demand.least import cheapest
from fitgraph.demand.menus import Listing, Menu
from fitgraph.explain.broken import broken_sets, united
from fitgraph.explain.buckets import Factor, Least
from fitgraph.explain.elements import JOINT, PICK, Element, Question
from fitgraph.explain.hitting import Oracle, drops_and_conflicts
from fitgraph.explain.kinds import Kinds, Reduced, Table, reduce
from fitgraph.explain.narrowed import narrowed
from fitgraph.explain.reasons import Clash, clashes
from fitgraph.explain.transversals import minimal, minimal_transversals
from fitgraph.graph.sums import SumCondition
from fitgraph.model import Joint, Option, Verdict
from fitgraph.solve.space import Space
from fitgraph.solve.support import support_of

Bools = npt.NDArray[np.bool_]


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

    Notes
    -----
    Where lengths add up over several parts, every smallest set of elements that clashes is
    found, with one joint on such a sum that makes it clash.
    """
    reduced = reduce(kinds, question)
    families, names = broken_sets(reduced, joints_hold=False)
    members = minimal(m for family in families for m in minimal_transversals(family))
    by_name = {t.joint.name: t.joint for t in reduced.tables}
    joints = [by_name[name] for name in names]
    nearest = _Nearest(reduced, verdict)
    found = [
        Conflict(elements, verdict, nearest(elements, member))
        for member, elements in zip(
            members, sets_of_elements(question, joints, members), strict=True
        )
    ]
    if not kinds.space.sums:
        return found
    told = {m & _every(question) for m in members}
    _, clashing = _by_oracle(kinds, question, told)
    alone: dict[str, Oracle] = {}
    for member in clashing:
        if member not in told:
            elements = sets_of_elements(question, (), [member])[0]
            found.append(_on_sums(kinds, question, member, elements, verdict, alone))
    return found


def _every(question: Question) -> int:
    return (1 << len(question.elements)) - 1


def _by_oracle(
    kinds: Kinds, question: Question, known: Iterable[int]
) -> tuple[list[int], list[int]]:
    """Return the minimal sets to drop and to clash where sums count, as bits of elements."""
    plan = narrowed(question, certain=kinds.least is Verdict.FITS)
    return drops_and_conflicts(Oracle(plan, kinds.space.class_of, question), known)


def _on_sums(
    kinds: Kinds,
    question: Question,
    member: int,
    elements: tuple[Element, ...],
    verdict: Verdict,
    alone: dict[str, Oracle],
) -> Conflict:
    """Return a conflict with the sums that make it one: the nearest build breaks the first.

    What each sum rules out alone is carried from one conflict to the next.
    """
    space, certain = kinds.space, kinds.least is Verdict.FITS
    rest = _every(question) & ~member
    lets = {r: question.lets(r, rest) for r in question.allowed}
    suspects = [s for s in space.sums if _breakable(s, lets, certain=certain)]
    guilty: list[SumCondition] = []
    for suspect in suspects:
        if suspect.name not in alone:
            plan = narrowed(question, certain=certain, sums=frozenset([suspect.name]))
            alone[suspect.name] = Oracle(plan, space.class_of, question)
        if not alone[suspect.name].left([rest])[0]:
            guilty = [suspect]
            break
    clashes_: list[Clash] = []
    joints: list[Joint] = []
    for condition in guilty or suspects[:1]:
        chosen = _nearest_sum(space, condition, lets, certain=certain)
        named = {e.role for e in elements if e.kind == PICK}
        free = frozenset(r for r in condition.roles if r not in named)
        clashes_ += clashes([condition.joint], chosen, at_most=verdict, free=free)
        joints.append(condition.joint)
    more = tuple(Element(JOINT, joint=j, name=j.name) for j in joints)
    return Conflict((*elements, *more), verdict, tuple(clashes_))


def _breakable(condition: SumCondition, lets: Mapping[str, Bools], *, certain: bool) -> bool:
    """Return whether some options break a condition, each term at its least."""
    total = 0.0
    for term in condition.terms:
        values = term.worst if certain else term.best
        at = [np.unique(c[lets[r]]) for r, c in zip(term.roles, term.class_of, strict=True)]
        total += float(values[np.ix_(*at)].min(initial=np.inf))
    return total < 0


#: Micrometres in a millimetre, and what stands for "does not bind" among them.
_FINE, _FREE = 1000.0, 1e9


def _nearest_sum(
    space: Space, condition: SumCondition, lets: Mapping[str, Bools], *, certain: bool
) -> dict[str, Option]:
    """Return the combination that comes nearest to keeping a sum and breaks no other joint."""
    gain = {r: np.zeros(len(options)) for r, options in space.options.items()}
    for term in condition.terms:
        values = term.worst if certain else term.best
        own = values.reshape(len(values), -1).max(axis=1)
        gain[term.roles[0]] += np.clip(np.rint(own * _FINE), -_FREE, _FREE)[term.class_of[0]]
    class_of = {r: space.class_of[r] for r in space.roles}
    domains = {r: np.unique(class_of[r][mask]) for r, mask in lets.items()}
    plan = space.ingredients(certain=certain).plan(domains, sums=frozenset())
    menus = []
    for role in space.roles:
        at = np.flatnonzero(lets[role])
        known = np.ones(len(at), dtype=bool)
        menus.append([Menu(at, class_of[role][at], -gain[role][at], np.zeros(len(at)), known)])
    listing = Listing(class_of, menus, {certain: support_of(plan, np.inf)})
    asked = np.zeros((1, len(space.roles)), dtype=np.intp)
    value, places = cheapest(listing, asked, (1.0, 0.0), certain=certain, witness=True)
    if not np.isfinite(value[0]):
        best = {r: int(np.argmax(np.where(mask, gain[r], -np.inf))) for r, mask in lets.items()}
        return {r: space.options[r][at] for r, at in best.items()}
    return {r: space.options[r][n] for r, n in zip(space.roles, places[0].tolist(), strict=True)}


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
    drops = united(families)
    if not kinds.space.sums or not drops:
        return drops
    return _by_oracle(kinds, question, minimal_transversals(drops))[0]


#: What an assignment costs that breaks a joint of the conflict, and something else asked for.
_JOINT_COST, _OTHER_COST = 1.0, 1e-3


class _Nearest:
    """Says what an assignment that keeps the rest of a conflict breaks of its joints.

    Since nothing in a conflict can be left out, one joint is all it has to break.
    """

    def __init__(self, reduced: Reduced, verdict: Verdict) -> None:
        self.reduced, self.verdict = reduced, verdict
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

    def _clash(self, table: Table, at: Mapping[str, int]) -> tuple[Clash, ...]:
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
