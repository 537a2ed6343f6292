"""Conditions on sums along a nest or a stack: one-sided, term by term.

A nest asks of its outermost ring that its slot takes up every clearance inside
(:mod:`fitgraph.mechanics.nests`); a stack asks of lengths with signs that their sum keeps a
least or a most. Both are linear, so a build is judged by adding one number a role.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats, Ints
from fitgraph.graph.classes import distinct_rows
from fitgraph.graph.columns import Columns
from fitgraph.mechanics.limits_of_size import Limits
from fitgraph.mechanics.nests import closed_bore, growth
from fitgraph.mechanics.rules import EPSILON_MM, RULES, UNBOUNDED_MM, Judgement
from fitgraph.model import (
    Condition,
    Joint,
    Presence,
    Reference,
    Ring,
    Verdict,
    contradictory,
)
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Term:
    """What one role adds to a sum.

    Parameters
    ----------
    roles : tuple of str
        The role whose figures count, then the roles of which it only matters whether they,
        or one of their features, are there.
    class_of : tuple of ndarray of int
        For each of these roles, the class of each of its options.
    worst, best : ndarray of float
        The least and the most the term can add [mm], over the classes: one axis a role.
        Plus infinity where the condition does not bind.
    """

    roles: tuple[str, ...]
    class_of: tuple[Ints, ...]
    worst: Floats
    best: Floats


@dataclass(frozen=True, slots=True)
class SumCondition:
    """That a sum over roles is not negative.

    A combination keeps it for certain where the sum of the terms' worst is at least zero
    (within :data:`fitgraph.mechanics.rules.EPSILON_MM`), and possibly where that of their best
    is.

    Parameters
    ----------
    joint : Joint
        Where it comes from.
    name : str
        Unique among the conditions of all joints.
    terms : tuple of Term
        In the order of the nest or the stack.
    """

    joint: Joint
    name: str
    terms: tuple[Term, ...]

    @property
    def roles(self) -> tuple[str, ...]:
        """Return the roles it touches, in order of mention."""
        return tuple(dict.fromkeys(role for term in self.terms for role in term.roles))

    def verdict(self, chosen: Mapping[str, int]) -> Verdict:
        """Return whether one option of each role, by its place, keeps it."""
        worst = best = 0.0
        for term in self.terms:
            at = tuple(of[chosen[r]] for r, of in zip(term.roles, term.class_of, strict=True))
            worst += float(term.worst[at])
            best += float(term.best[at])
        if best < -EPSILON_MM:
            return Verdict.FAILS
        return Verdict.FITS if worst >= -EPSILON_MM else Verdict.UNKNOWN


#: A term before its roles' options are sorted into classes: worst and best over the options of
#: its own role, and the conditions on which it counts at all.
@dataclass(frozen=True, slots=True)
class _Share:
    role: str
    limits: Limits
    counts: tuple[Condition, ...]
    otherwise: float


def required(joint: Joint) -> tuple[Condition, ...]:
    """Return when a nest or a stack is there: its conditions, and what it cannot do without.

    A nest is there where its core and its outermost ring are; a stack where every length is
    that is not optional.
    """
    found = list(joint.when)
    if joint.rings:
        for ring in (joint.rings[0], joint.rings[-1]):
            found += ring_there(ring)
    for span in joint.spans:
        if not span.optional:
            found += [*span.when, Condition(span.length.role, span.length.feature)]
    return tuple(dict.fromkeys(found))


def ring_there(ring: Ring) -> tuple[Condition, ...]:
    """Return when a ring is in its nest: its conditions, and that the part has its diameters."""
    told = ring.bore or ring.outside
    return ring.when if told is None else (*ring.when, Condition(told.role, told.feature))


def _finite(lo: Floats, hi: Floats) -> Limits:
    return Limits(
        np.clip(lo, -UNBOUNDED_MM, UNBOUNDED_MM), np.clip(hi, -UNBOUNDED_MM, UNBOUNDED_MM)
    )


def _limits(columns: Columns, reference: Reference, *, optional: bool = False) -> Limits:
    return Limits(*columns.limits(reference, optional=optional))


def _open(columns: Columns, reference: Reference) -> Limits:
    return Limits(*columns.open_limits(reference))


def _shares(joint: Joint, columns: Mapping[str, Columns]) -> list[_Share]:
    """Return what each ring or span adds where it counts, and what stands there otherwise."""
    shares: list[_Share] = []
    if joint.rings:
        core, *between, last = joint.rings
        if core.outside is not None:
            of = columns[core.role]
            shares.append(_Share(core.role, _finite(*_limits(of, core.outside)), (), 0.0))
        for ring in between:
            if ring.bore is None or ring.outside is None:
                continue
            of = columns[ring.role]
            walls = growth(_limits(of, ring.bore), _open(of, ring.outside))
            shares.append(_Share(ring.role, _finite(*walls), ring_there(ring), 0.0))
        if last.bore is not None:
            of = columns[last.role]
            zero = Limits(np.zeros(len(of.options)), np.zeros(len(of.options)))
            closed = closed_bore(
                _limits(of, last.bore),
                zero if last.slot is None else _limits(of, last.slot, optional=True),
                None if last.outside is None else _open(of, last.outside),
                reserve=joint.limits.get("reserve", 0.0),
            )
            need = _finite(-closed.hi, -closed.lo)
            shares.append(_Share(last.role, need, (), 0.0))
    sign = -1.0 if "most" in joint.limits else 1.0
    for span in joint.spans:
        of = columns[span.length.role]
        lo, hi = _limits(of, span.length)
        if sign * span.sign < 0:
            lo, hi = -hi, -lo
        there: tuple[Condition, ...] = ()
        if span.optional:
            there = (*span.when, Condition(span.length.role, span.length.feature))
        shares.append(_Share(span.length.role, _finite(lo, hi), there, 0.0))
    return shares


def _offset(joint: Joint) -> float:
    """Return the constant of a stack's sum in mm."""
    if "most" in joint.limits:
        return joint.limits["most"]
    return -joint.limits.get("least", 0.0) if joint.spans else 0.0


def _held(columns: Mapping[str, Columns], conditions: Sequence[Condition], role: str) -> Floats:
    """Return how far the conditions on one role hold for its options, on the scale of Presence."""
    return columns[role].hold(c for c in conditions if c.role == role)


def _classes(values: Floats) -> tuple[Ints, Floats]:
    """Return the class of each row, and the distinct rows in order."""
    first, class_of = distinct_rows(values)
    rows = values[first]
    order = np.lexsort(rows.T[::-1])
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return place[class_of], rows[order]


def _share_term(share: _Share, columns: Mapping[str, Columns]) -> Term:
    roles = dict.fromkeys([share.role, *(c.role for c in share.counts)])
    own = _held(columns, share.counts, share.role)
    lo, hi = (np.broadcast_to(end, own.shape) for end in share.limits)
    void = own == Presence.ABSENT
    values = np.column_stack([np.where(void, 0.0, lo), np.where(void, 0.0, hi), own]) + 0.0
    class_of, rows = _classes(values)
    classes, held = [class_of], rows[:, 2]
    worst, best = rows[:, 0], rows[:, 1]
    for role in list(roles)[1:]:
        also, kinds = _classes(_held(columns, share.counts, role)[:, None])
        classes.append(also)
        held = np.minimum(held[..., None], kinds[:, 0])
        worst, best = worst[..., None], best[..., None]
    # Where it may count or not, both are possible.
    worst = np.where(held == Presence.PRESENT, worst, np.minimum(worst, share.otherwise))
    best = np.where(held == Presence.PRESENT, best, np.maximum(best, share.otherwise))
    gone = held == Presence.ABSENT
    return Term(
        tuple(roles),
        tuple(classes),
        np.where(gone, share.otherwise, worst),
        np.where(gone, share.otherwise, best),
    )


def _where_there(share: _Share, given: Sequence[Condition]) -> _Share:
    """Return what a ring or span adds where the conditions of its joint hold."""
    counts = tuple(c for c in share.counts if c not in given)
    if contradictory((*given, *counts)):
        nothing = np.zeros_like(share.limits.lo)
        return _Share(share.role, Limits(nothing, nothing), (), 0.0)
    return replace(share, counts=counts)


def sum_condition(joint: Joint, columns: Mapping[str, Columns]) -> SumCondition:
    """Return what a nest or a stack asks of options.

    Parameters
    ----------
    joint : Joint
        Of a rule that adds up lengths.
    columns : mapping of str to Columns
        The options of each role it touches.

    Returns
    -------
    SumCondition
        One term for each length, then one for each role that decides whether the joint is
        there at all: zero where it is, plus infinity where it is not.
    """
    conditions = required(joint)
    shares = [_where_there(share, conditions) for share in _shares(joint, columns)]
    terms = [_share_term(share, columns) for share in shares]
    for role in dict.fromkeys(c.role for c in conditions):
        class_of, rows = _classes(_held(columns, conditions, role)[:, None])
        held = rows[:, 0]
        if (held == Presence.PRESENT).all():
            continue
        worst = np.where(held == Presence.ABSENT, np.inf, 0.0)
        best = np.where(held == Presence.PRESENT, 0.0, np.inf)
        terms.append(Term((role,), (class_of,), worst, best))
    if terms and (offset := _offset(joint)):
        first = terms[0]
        terms[0] = Term(first.roles, first.class_of, first.worst + offset, first.best + offset)
    return SumCondition(joint, joint.name, tuple(terms))


def judge_sums(
    joint: Joint, columns: Mapping[str, Columns]
) -> tuple[Judgement, npt.NDArray[np.int8]]:
    """Judge a nest or a stack for one option of each role.

    Parameters
    ----------
    joint : Joint
        Of a rule that adds up lengths.
    columns : mapping of str to Columns
        One option for each role it touches.

    Returns
    -------
    said : Judgement
        Its interval is what a nest has to spare, and what the lengths of a stack come to, as
        far as they are there.
    there : ndarray
        Of one element; a value of :class:`fitgraph.model.Presence`.
    """
    condition = sum_condition(joint, columns)
    ends = [(float(term.worst.item()), float(term.best.item())) for term in condition.terms]
    judged = RULES[joint.rule].judge(_total(ends))
    # What only tells whether the joint is there adds nothing where it is.
    spare = _total([(lo, hi) for lo, hi in ends if math.isfinite(hi)])
    conditions = required(joint)
    there = np.array(float(Presence.PRESENT))
    for role in dict.fromkeys(c.role for c in conditions):
        there = np.minimum(there, _held(columns, conditions, role))
    interval, wanted = _as_lengths(joint, spare) if joint.spans else (spare, judged.wanted)
    said = judged._replace(interval=interval, wanted=wanted)
    return said, np.asarray(there, dtype=np.int8)


def _total(ends: Sequence[tuple[float, float]]) -> Limits:
    return Limits(np.array(sum(lo for lo, _ in ends)), np.array(sum(hi for _, hi in ends)))


def _as_lengths(joint: Joint, spare: Limits) -> tuple[Limits, Limits]:
    """Return what a stack comes to and what is wanted of it, of what it has to spare [mm]."""
    if "most" in joint.limits:
        most = np.array(joint.limits["most"])
        return Limits(most - spare.hi, most - spare.lo), Limits(np.array(-np.inf), most)
    least = np.array(joint.limits.get("least", 0.0))
    return Limits(spare.lo + least, spare.hi + least), Limits(least, np.array(np.inf))
