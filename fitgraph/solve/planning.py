"""The plan of a catalogue: split into cases or not, with large sums shared or each alone."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.graph.sums import SumCondition
from fitgraph.records import dataclass
from fitgraph.solve import bundles
from fitgraph.solve.bundles import bundle_of
from fitgraph.solve.carried_sums import Running
from fitgraph.solve.case_plan import CHEAP, CasePlan
from fitgraph.solve.components import fallen_apart
from fitgraph.solve.draft import Draft, Memo
from fitgraph.solve.order import NoOrderError
from fitgraph.solve.plan import Plan, TooWideError
from fitgraph.solve.relations import Relation, merged, reduced, supported
from fitgraph.solve.splits import cases_of, splits_of
from fitgraph.solve.steps import Steps
from fitgraph.solve.within import Within
from fitgraph.stopping import check

#: Pairs of a cell and a kind from which a plan with a leading role is tried otherwise as well.
_LOOKED = 2e7

#: Work from which a case may fall into finer ones, and the part of it that several may be.
_WIDE, _WORTH = 1e8, 1.0

#: Part of the ceiling from which cases that share the step of tuples may fall into finer ones.
_MUCH = 0.5


class _Planner:
    """Works out cases, and what they have in common once.

    Parameters
    ----------
    draft : Draft
        What the plan is made from.
    """

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.within, self.steps = Within(draft), Steps(draft)
        self._firsts: dict[tuple[object, ...], tuple[str, ...]] = {}

    def case(self, domains: Mapping[str, Ints]) -> CasePlan | None:
        """Return the order of elimination of a case, with its work."""
        check()
        domains, bundle = self._with_tuples(domains), self.draft.bundle
        left = self.within.left(domains)
        if left is None:
            return None
        relations, running = left
        for sum_ in running:
            domains[sum_.name] = np.arange(sum_.size, dtype=np.intp)
        if bundle is None:
            plain = self._planned(domains, relations, running)
            if plain.work <= CHEAP:
                return plain
        through = self.within.through_kinds(relations, domains)
        if bundle is None and through is None:
            return plain
        kinds = self._planned(*(through or (domains, relations)), running)
        return kinds if bundle is not None else min(plain, kinds, key=lambda c: c.work)

    def apart(self, domains: Mapping[str, Ints]) -> list[dict[str, Ints]] | None:
        """Return the domains of the cases that a case falls into; None where it does not."""
        draft, domains = self.draft, self._with_tuples(domains)
        if not draft.apart:
            return None
        tables = self.within.tables(domains)
        assert tables is not None
        # A choice of the late roles has to be in one case only.
        apart = fallen_apart(tables[0], domains, draft.late or draft.roles)
        if len(apart) == 1 and all(len(d) == len(domains[v]) for v, d in apart[0].items()):
            return None
        return [some for some in apart if all(len(d) for d in some.values())]

    def _with_tuples(self, domains: Mapping[str, Ints]) -> dict[str, Ints]:
        """Return domains with those of the tuples, if there are any, and of their sum."""
        bundle = self.draft.bundle
        if bundle is None:
            return dict(domains)
        every = np.arange(bundle.size, dtype=np.intp)
        return {**domains, bundle.name: bundle.domain(domains), bundle.sum: every}

    def _planned(
        self,
        domains: Mapping[str, Ints],
        relations: Sequence[Relation],
        running: Sequence[Running],
    ) -> CasePlan:
        return CasePlan(self.steps, self._firsts, domains, relations, running)


@dataclass(frozen=True, slots=True, eq=False)
class Ingredients:
    """What plans of one catalogue are made from, without the catalogue.

    Parameters
    ----------
    roles : tuple of str
        All variables.
    sizes : mapping of str to int
        The number of base classes of each.
    first : mapping of str to ndarray of int
        One option of each base class, as sum conditions look options up.
    relations : sequence of Relation
        The joints.
    sums : sequence of SumCondition
        Conditions on sums.
    certain : bool
        Whether sums count at their worst.
    ceiling : float
        Bytes that a pass may need.
    """

    roles: tuple[str, ...]
    sizes: Mapping[str, int]
    first: Mapping[str, Ints]
    relations: Sequence[Relation]
    sums: Sequence[SumCondition]
    certain: bool
    ceiling: float

    def plan(
        self,
        domains: Mapping[str, Ints],
        *,
        sums: frozenset[str] | None = None,
        last: str | None = None,
        late: frozenset[str] = frozenset(),
        leading: str | None = None,
        memo: Memo | None = None,
    ) -> Plan:
        """Return a plan.

        Parameters
        ----------
        domains : mapping of str to ndarray of int
            The base classes that may be used, of roles of which not all may.
        sums : frozenset of str, optional
            Names of the conditions on sums that count; all by default.
        last : str, optional
            A role that goes last.
        late : frozenset of str
            Roles that go after all others.
        leading : str, optional
            A role that goes before all others, so that each cell of its step stands for what the
            rest of a build asks of it.
        memo : Memo, optional
            Carries what plans have in common from one to the next.

        Raises
        ------
        TooWideError
            If a pass would need more memory than the ceiling.
        """
        # A plan for one question is not worth a long search for the best order.
        kept = last is None and not domains
        domains = {r: domains.get(r, np.arange(self.sizes[r], dtype=np.intp)) for r in self.roles}
        nothing = Plan(self.roles, self.sizes, (), (), last, self.ceiling, leading)
        if not all(len(domains[r]) for r in self.roles):
            return nothing
        tidy = [reduced(r, domains) for r in self.relations]
        if any(not r.scope and not r.allowed for r in tidy):
            return nothing
        tidy = merged((r for r in tidy if r.scope), domains)
        domains = supported(tidy, domains)
        if not all(len(d) for d in domains.values()):
            return nothing
        tidy = [reduced(r, domains) for r in tidy]
        if any(not r.scope and not r.allowed for r in tidy):
            return nothing
        draft = Draft(
            self.roles,
            self.sizes,
            self.first,
            [r for r in tidy if r.scope],
            [s for s in self.sums if sums is None or s.name in sums],
            domains,
            self.certain,
            self.ceiling,
            last,
            late,
            leading,
            Memo() if memo is None else memo,
            share=True,
            kept=kept,
            apart=leading is None,  # what asks the same of a role that goes first stands together
        )
        # A shared sum ties its conditions together; where a role has to go last, or that is too
        # much, each stands alone.
        share = last is None and leading is None
        first_draft = replace(draft, share=share)
        if last is None and not late:
            first_draft = _with_bundle(first_draft)
        if first_draft.bundle is not None:
            try:
                plan = _of_tuples(first_draft)
            except NoOrderError:  # no order keeps the tuples apart from what they decide
                return _without_bundle(draft)
        else:
            plan = _finished(first_draft)
            otherwise = replace(draft, share=not share)
            if plan.bytes > self.ceiling:
                plan = min((plan, *_tried(otherwise)), key=lambda p: p.bytes)
            elif leading is not None and plan.looked > _LOOKED:
                plan = min((plan, *_tried(otherwise)), key=lambda p: p.looked)
        plan.refuse(plan.bytes)
        return plan


def _with_bundle(draft: Draft) -> Draft:
    """Return a draft with roles that large sums share as sorted tuples, where that is worth it."""
    within = Within(draft)
    wide = [s for n, s in enumerate(draft.sums) if within.as_relation(n, draft.domains) is None]
    if not wide:
        return draft
    cases = list(cases_of(draft, splits_of(draft)))
    bundle = bundle_of(
        wide,
        draft.sums,
        draft.relations,
        draft.first,
        draft.domains,
        cases,
        certain=draft.certain,
        worth=bundles.WORTH,
        most_cells=draft.ceiling / 64,
    )
    if bundle is None:
        return draft
    relations = [bundle.seen(r) for r in draft.relations if not bundle.keeps(r)]
    domains = {
        bundle.name: np.arange(bundle.tuples, dtype=np.intp),
        bundle.sum: np.arange(bundle.size, dtype=np.intp),
    }
    return replace(
        draft,
        relations=[*relations, *bundle.parts()],
        domains={**draft.domains, **domains},
        cases=cases,
        bundle=bundle,
        apart=False,
    )


def _of_tuples(draft: Draft) -> Plan:
    """Return a plan with sorted tuples; in finer cases where what they share is not worth it.

    The step of the tuples stands once for all cases; in finer ones each has its own.
    """
    found = _tried(draft)
    finer = replace(draft, apart=draft.leading is None)
    if not found:
        return _finished(finer)
    if finer.apart and found[0].bytes > _MUCH * draft.ceiling:
        found += _tried(finer)
    return min(found, key=lambda p: p.bytes)


def _without_bundle(draft: Draft) -> Plan:
    """Return the smaller of the plans in which sums are shared, and in which they stand alone."""
    alone = replace(draft, share=False)
    found = [*_tried(replace(draft, share=True)), *_tried(alone)]
    plan = min(found or [_finished(alone)], key=lambda p: p.bytes)
    plan.refuse(plan.bytes)
    return plan


def _tried(draft: Draft) -> list[Plan]:
    """Return a plan, if there is one that is no wider than can be worked out."""
    with contextlib.suppress(TooWideError, NoOrderError):
        return [_finished(draft)]
    return []


def _finished(draft: Draft) -> Plan:
    planner = _Planner(draft)
    steps_of = [case.finish() for case in _chosen(planner)]
    return Plan(
        draft.roles,
        draft.sizes,
        tuple(planner.steps.made),
        tuple(steps_of),
        draft.last,
        draft.ceiling,
        draft.leading,
    )


def _chosen(planner: _Planner) -> list[CasePlan]:
    """Return the cases to work out: one, or several where that is less work."""
    draft = planner.draft
    if draft.bundle is not None:
        return [case for domains in draft.cases for case in _cases(planner, domains)]
    whole = planner.case(draft.domains)
    if whole is None:
        return []
    if whole.work <= CHEAP:
        return [whole]
    several = [
        case for domains in cases_of(draft, splits_of(draft)) for case in _cases(planner, domains)
    ]
    return several if sum(case.work for case in several) < _WORTH * whole.work else [whole]


def _cases(planner: _Planner, domains: Mapping[str, Ints]) -> list[CasePlan]:
    """Return a case, or those that it falls into where it is wide and they are less work.

    Raises
    ------
    TooWideError
        If neither it nor they can be worked out.
    """
    whole = _case(planner, domains)
    if whole is None:
        return []
    work = whole.work if isinstance(whole, CasePlan) else math.inf
    # Without tuples, what is too wide would hardly fall into what is narrow enough.
    known = math.isfinite(work) or planner.draft.bundle is not None
    apart = planner.apart(domains) if work > _WIDE and known else None
    if apart is not None:
        whole = None  # lets go of its sums while others are made
        planner.within.forget()
        several = [case for some in apart for case in _cases(planner, some)]
        if sum(case.work for case in several) < _WORTH * work:
            return several
        whole = _case(planner, domains)
    if isinstance(whole, TooWideError):
        raise whole
    return [] if whole is None else [whole]


def _case(planner: _Planner, domains: Mapping[str, Ints]) -> CasePlan | TooWideError | None:
    """Return a case, or why it cannot be worked out; None where no build is in it."""
    try:
        return planner.case(domains)
    except TooWideError as refused:
        return refused.again()  # without what was held where it arose
