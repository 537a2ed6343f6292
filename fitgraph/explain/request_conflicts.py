"""Why a request has no build, and every smallest change of it that has one.

Limits on price and mass add up over a build, so they are not joined to the elimination of
:mod:`fitgraph.explain.broken`: the least price and the least mass of what is left after some
elements go decide whether a limit is kept. Sets to drop and conflicts are found in turns
(:mod:`fitgraph.explain.hitting`), with that for an oracle.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from fitgraph.array_types import Bools, Floats
from fitgraph.explain.changes import (
    LOOSEN_MASS,
    ORDER,
    OTHER_MATERIAL,
    RAISE_BUDGET,
    Action,
    Change,
    Prefer,
    action,
    combined,
    costs,
    height_change,
    sort_key,
)
from fitgraph.explain.conflicts import (
    Conflict,
    minimal_conflicts,
    minimal_drops,
    sets_of_elements,
)
from fitgraph.explain.elements import (
    ABSENT,
    BUDGET,
    MASS,
    MATERIAL,
    PICK,
    PLAIN,
    STOCK,
    AskedElements,
    of_request,
)
from fitgraph.explain.hitting import drops_and_conflicts
from fitgraph.explain.kinds import Kinds, Reduced, reduce
from fitgraph.explain.least_cost import Factor, Least
from fitgraph.explain.transversals import TooManySetsError
from fitgraph.graph.options import plain
from fitgraph.model import Option, Verdict
from fitgraph.records import dataclass
from fitgraph.solve.best import Criteria, k_best
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.query import TENTHS
from fitgraph.solve.ranked import best_of
from fitgraph.solve.request import Request, find_part


@dataclass(frozen=True, slots=True)
class RequestExplanation:
    """Why a request has no build, and what would change that.

    Parameters
    ----------
    request : Request
        What was asked.
    verdict : Verdict
        ``FITS`` where there is a build, ``UNKNOWN`` where there may be one.
    conflicts : tuple of Conflict
        The smallest sets of picks, filters, limits and joints that cannot
        hold together; of those with a limit, joints are taken to hold.
    changes : tuple of Change
        Every smallest change after which there is a build, the best first.
    complete : bool
        Whether no conflict is missing; False only where there are more with joints than can be
        held, and where to look for them would need more memory than the ceiling: there no change
        is told either.
    """

    request: Request
    verdict: Verdict
    conflicts: tuple[Conflict, ...]
    changes: tuple[Change, ...]
    complete: bool = True


@dataclass(frozen=True, slots=True)
class _Found:
    """An assignment within some elements: its options, and what it breaks."""

    places: Mapping[str, int]
    broken: int
    price: float
    tenths: float


class Leaver:
    """Says what builds are left when elements go.

    Parameters
    ----------
    kinds : Kinds
        Compiled for what is possible, or for what is certain.
    question : AskedElements
        From :func:`fitgraph.explain.elements.of_request`.
    certain : bool
        Whether builds have to be certain.
    """

    def __init__(self, kinds: Kinds, question: AskedElements, *, certain: bool) -> None:
        self.kinds, self.question, self.certain = kinds, question, certain
        self.every = (1 << len(question.elements)) - 1
        self.budget, self.mass = question.place(BUDGET), question.place(MASS)
        self.budget_bit = 0 if self.budget is None else 1 << self.budget
        self.mass_bit = 0 if self.mass is None else 1 << self.mass
        self._reduced: dict[int, tuple[Reduced, dict[str, list[int]]]] = {}
        self._within: dict[int, _Found | None] = {}

    def limit(self, place: int | None) -> float:
        """Return a limit in minor currency units or tenths of a gram; infinite without."""
        if place is None:
            return np.inf
        element = self.question.elements[place]
        figure = element.figure or 0.0
        return figure if element.kind == BUDGET else float(round(figure * TENTHS))

    def _least(self, dropped: int, by: int, cost: Mapping[str, Floats]) -> _Found | None:
        """Return an assignment of least cost that breaks only dropped elements, limits aside."""
        question = self.question
        if question.space.sums:
            return self._searched(dropped, cost, np.full(2, np.inf))
        if by not in self._reduced:
            reduced = reduce(self.kinds, question, cost=cost)
            broken = {
                r: [question.broken_by(r, c) for c in codes.tolist()]
                for r, codes in reduced.codes.items()
            }
            self._reduced[by] = reduced, broken
        reduced, broken = self._reduced[by]
        keep = {}
        for role, sets in broken.items():
            fine = [n for n, b in enumerate(sets) if not b & ~dropped]
            if not fine:
                return None
            keep[role] = np.array(fine, dtype=np.intp)
        factors: list[Factor] = []
        for table in reduced.tables:
            fails = table.fails
            for axis, role in enumerate(table.roles):
                if len(keep[role]) < fails.shape[axis]:
                    fails = fails.take(keep[role], axis=axis)
            if fails.any():
                factors.append((table.roles, np.where(fails, np.inf, 0.0)))
        places = {r: reduced.options[r][at] for r, at in keep.items()}
        factors += [((r,), cost[r][at]) for r, at in places.items()]
        try:
            solved = Least({r: len(at) for r, at in places.items()}, factors)
        except TooWideError:
            return self._searched(dropped, cost, np.full(2, np.inf))
        if not np.isfinite(solved.least):
            return None
        return self._as_found({r: int(places[r][n]) for r, n in solved.options().items()})

    def _as_found(self, places: Mapping[str, int]) -> _Found:
        question = self.question
        price = sum(float(question.price[r][n]) for r, n in places.items())
        tenths = sum(float(question.tenths[r][n]) for r, n in places.items())
        broken = 0
        for role, n in places.items():
            broken |= question.broken_by(role, int(question.broken[role][n]))
        if price > self.limit(self.budget):
            broken |= self.budget_bit
        if tenths > self.limit(self.mass):
            broken |= self.mass_bit
        return _Found(places, broken, price, tenths)

    def least_price(self, dropped: int) -> _Found | None:
        """Return the cheapest assignment that breaks only dropped elements and limits."""
        return self._least(dropped, 0, self.question.price)

    def least_mass(self, dropped: int) -> _Found | None:
        """Return the lightest assignment that breaks only dropped elements and limits."""
        return self._least(dropped, 1, self.question.tenths)

    def left(self, dropped: int) -> _Found | None:
        """Return an assignment that breaks only dropped elements, None where there is none."""
        if dropped not in self._within:
            self._within[dropped] = self._left(dropped)
        return self._within[dropped]

    def _left(self, dropped: int) -> _Found | None:
        for known, found in self._within.items():
            if found is None and not dropped & ~known:
                return None
            if found is not None and not found.broken & ~dropped:
                return found
        wants_price = bool(self.budget_bit & ~dropped)
        wants_mass = bool(self.mass_bit & ~dropped)
        found = self.least_price(dropped) if wants_price else None
        if found is None and wants_price:
            return None
        if not wants_price or wants_mass:
            if found is not None and not found.broken & ~dropped:
                return found
            other = self.least_mass(dropped)
            if other is None or other.broken & ~dropped & self.mass_bit:
                return None
            if not other.broken & ~dropped:
                return other
            if found is None or found.broken & ~dropped & self.budget_bit:
                return None
            return self._within_both(dropped, self.question.price)
        return found if found is not None and not found.broken & ~dropped else None

    def _within_both(self, dropped: int, cost: Mapping[str, Floats]) -> _Found | None:
        """Return the assignment of least cost within the limits that are not dropped."""
        limits = [
            np.inf if bit & dropped else self.limit(place)
            for bit, place in ((self.budget_bit, self.budget), (self.mass_bit, self.mass))
        ]
        return self._searched(dropped, cost, np.array(limits))

    def _searched(self, dropped: int, cost: Mapping[str, Floats], limits: Floats) -> _Found | None:
        """Return the assignment of least cost within limits that breaks only dropped elements."""
        question, space = self.question, self.kinds.space
        rows = {
            r: np.array([cost[r], question.price[r], question.tenths[r]]) for r in question.price
        }
        lets = {r: question.lets(r, dropped) for r in question.allowed}
        criteria = Criteria(rows, limits)
        try:
            options, sums = best_of(space, lets, criteria, 1, certain=self.certain)
        except TooWideError:  # over all parts; over those that are left there may be room
            plan = space.plan_within(space.weights(lets), certain=self.certain)
            options, sums = k_best(plan, space.class_of, lets, criteria, 1)
        if not len(sums):
            return None
        return self._as_found({r: int(at[0]) for r, at in options.items()})

    def best(self, dropped: int, cost: Mapping[str, Floats]) -> _Found | None:
        """Return the assignment of least cost that breaks only dropped elements."""
        if self.question.space.sums:
            return self._within_both(dropped, cost)
        own = {r: self.question.lets(r, dropped) for r in self.question.allowed}
        reduced = reduce(self.kinds, self.question, lets=own, cost=cost)
        if all(len(at) for at in reduced.options.values()):
            factors: list[Factor] = [
                (t.roles, np.where(t.fails, np.inf, 0.0)) for t in reduced.tables
            ]
            factors += [((r,), cost[r][at]) for r, at in reduced.options.items()]
            solved = Least({r: len(at) for r, at in reduced.options.items()}, factors)
            if np.isfinite(solved.least):
                found = self._as_found(
                    {r: int(reduced.options[r][n]) for r, n in solved.options().items()}
                )
                if not found.broken & ~dropped:
                    return found
                return self._within_both(dropped, cost)
        return None


def _lacking(leaver: Leaver, member: int) -> tuple[tuple[int, float], ...]:
    """Return by how much the rest of a conflict is over each of its limits at the least."""
    found = []
    rest = leaver.every & ~(member & ~leaver.budget_bit & ~leaver.mass_bit)
    if member & leaver.budget_bit and leaver.budget is not None:
        cheapest = leaver.least_price(rest)
        if cheapest is not None:
            over = cheapest.price - leaver.limit(leaver.budget)
            found.append((leaver.budget, over))
    if member & leaver.mass_bit and leaver.mass is not None:
        lightest = leaver.least_mass(rest)
        if lightest is not None:
            over = (lightest.tenths - leaver.limit(leaver.mass)) / TENTHS
            found.append((leaver.mass, over))
    return tuple(found)


def explain_request(
    kinds: Mapping[Verdict, Kinds], request: Request, prefer: Prefer = Prefer.OWNED
) -> RequestExplanation:
    """Say why a request has no build, and what would change that.

    Parameters
    ----------
    kinds : mapping of Verdict to Kinds
        Compiled for what is possible (``UNKNOWN``) and certain (``FITS``).
    request : Request
        What is asked for.
    prefer : Prefer
        What the person would rather keep low.

    Raises
    ------
    NamingError
        If the request names something the catalogue does not have.
    TooManySetsError
        If there are more conflicts than can be held.
    """
    space = kinds[Verdict.FITS].space
    sure = Leaver(kinds[Verdict.FITS], of_request(space, request, certain=True), certain=True)
    maybe = Leaver(kinds[Verdict.UNKNOWN], of_request(space, request, certain=False), certain=False)
    if _holds(sure):
        return RequestExplanation(request, Verdict.FITS, (), ())
    verdict = Verdict.UNKNOWN if _holds(maybe) else Verdict.FAILS
    try:
        return _explained(sure, maybe, verdict, request, prefer)
    except TooWideError:  # the verdict stands; without the named parts too much is left
        return RequestExplanation(request, verdict, (), (), complete=False)


def _explained(
    sure: Leaver, maybe: Leaver, verdict: Verdict, request: Request, prefer: Prefer
) -> RequestExplanation:
    """Return the conflicts and the changes of a request that has no certain build."""
    limited = request.budget is not None or request.max_mass_g is not None
    drops: list[int] | None = None
    if limited:
        drops, sure_members = drops_and_conflicts(sure, ())
    about = sure if verdict is Verdict.UNKNOWN else maybe
    # Limits are not looked at there, nor is what has no known mass.
    complete = True
    try:
        conflicts = minimal_conflicts(about.kinds, maybe.question, verdict)
    except TooManySetsError:
        conflicts, complete = [], False
    if limited:
        members = sure_members if verdict is Verdict.UNKNOWN else drops_and_conflicts(maybe, ())[1]
        members = [m for m in members if m & (about.budget_bit | about.mass_bit)]
        elements = sets_of_elements(about.question, (), members)
        conflicts += [
            Conflict(
                of_member,
                verdict,
                (),
                tuple((about.question.elements[n], x) for n, x in _lacking(about, member)),
            )
            for member, of_member in zip(members, elements, strict=True)
        ]
    if drops is None:
        drops = minimal_drops(sure.kinds, sure.question)
    changes = [
        change
        for drop in drops
        for way in _ways(sure, drop)
        if (change := _change(way, request, drop, prefer)) is not None
    ]
    return RequestExplanation(
        request,
        verdict,
        tuple(conflicts),
        tuple(sorted(changes, key=lambda c: _rank(c, prefer))),
        complete,
    )


def _holds(leaver: Leaver) -> bool:
    if leaver.budget is None and leaver.mass is None:
        return leaver.least_price(0) is not None
    return leaver.left(0) is not None


def _rank(change: Change, prefer: Prefer) -> tuple[object, ...]:
    return sort_key(change, prefer, change.build_price or 0, change.build_mass_g)


def _cost_of(leaver: Leaver, dropped: int, prefer: Prefer) -> dict[str, Floats]:
    """Return what each option costs in the search for the best build of one change.

    A limit that goes is passed by as little as can be; then as few parts as can be are of
    another material or not in stock; then the preference counts.
    """
    question = leaver.question
    shared = sum(
        1 << n
        for n, e in enumerate(question.elements)
        if e.kind in (MATERIAL, STOCK) and dropped >> n & 1
    )
    wished = costs(question, prefer)
    odd = {
        r: np.array(
            [(question.broken_by(r, c) & shared).bit_count() for c in range(64)], dtype=float
        )[codes]
        for r, codes in question.broken.items()
    }
    if shared:
        wished = combined(odd, wished)
    if dropped & leaver.budget_bit:
        return combined(dict(question.price), wished)
    if dropped & leaver.mass_bit:
        heavy = {
            r: np.where(np.isnan(m), 1e8, question.tenths[r])
            for r, m in question.space.mass_g.items()
        }
        return combined(heavy, wished)
    return wished


def _ways(leaver: Leaver, dropped: int) -> Iterator[Leaver]:
    """Yield who says what is left, for each way to swap or leave out the picks that go."""
    question, facts = leaver.question, leaver.question.space.facts
    either: list[list[tuple[str, Bools]]] = []
    for n, element in enumerate(question.elements):
        role = element.role
        if element.kind == PICK and role is not None and dropped >> n & 1:
            allowed, void = question.allowed[role], facts[role].void
            halves = (allowed & ~void, allowed & void)
            either.append([(role, half) for half in halves if half.any()])
    for taken in itertools.product(*either):
        narrowed = replace(question, allowed={**question.allowed, **dict(taken)})
        yield Leaver(leaver.kinds, narrowed, certain=leaver.certain)


def _change(leaver: Leaver, request: Request, dropped: int, prefer: Prefer) -> Change | None:
    """Return the best change that drops some elements."""
    found = leaver.best(dropped, _cost_of(leaver, dropped, prefer))
    if found is None:
        return None
    question, space = leaver.question, leaver.question.space
    catalogue = space.catalogue
    build = {r: space.options[r][n] for r, n in found.places.items()}
    picked = {e.role: e.skus for e in question.elements if e.kind == PICK}
    steps: list[Action] = []
    others: list[Action] = []
    for role, option in build.items():
        broken = question.broken_by(role, int(question.broken[role][found.places[role]]))
        kinds = {question.elements[n].kind for n in range(broken.bit_length()) if broken >> n & 1}
        if PICK in kinds:
            steps.append(action(role, plain(find_part(catalogue, picked[role][0])), option))
        elif ABSENT in kinds:
            steps.append(action(role, Option(role, None), option))
        elif PLAIN in kinds and option.part is not None:
            steps.append(action(role, plain(option.part), option))
        if MATERIAL in kinds:
            others.append(Action(OTHER_MATERIAL, role, Option(role, None), option))
        if STOCK in kinds:
            others.append(Action(ORDER, role, Option(role, None), option))
    nothing = Option("", None)
    if found.broken & leaver.budget_bit:
        over = found.price - leaver.limit(leaver.budget)
        others.append(Action(RAISE_BUDGET, "", nothing, nothing, over))
    masses = [o.mass_g for o in build.values()]
    if found.broken & leaver.mass_bit:
        over = (found.tenths - leaver.limit(leaver.mass)) / TENTHS
        amount = None if None in masses else max(over, 0.0)
        others.append(Action(LOOSEN_MASS, "", nothing, nothing, amount))
    vocabulary = catalogue.vocabulary
    return Change(
        (*steps, *others),
        1,
        sum(a.minutes(vocabulary) for a in steps),
        height_change(steps, vocabulary),
        sum(o.part is not None and o.part.sku in request.have for o in build.values()),
        build,
        dropped,
        int(found.price),
        None if None in masses else sum(m for m in masses if m is not None),
    )
