"""One case of a plan: in which order its variables go, and the steps of that order."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

from fitgraph.array_types import Ints
from fitgraph.solve.bundles import Bundle
from fitgraph.solve.carried_sums import Running
from fitgraph.solve.order import TRIES, Extra, Order, Tangle, best_order
from fitgraph.solve.plan import Case
from fitgraph.solve.relations import Relation
from fitgraph.solve.steps import Live, Steps

#: Work (classes times cells) up to which no better order, and no split into cases, is looked for.
CHEAP = 2e6


class CasePlan:
    """One case while it is worked out.

    Parameters
    ----------
    steps : Steps
        Those of all cases.
    firsts : dict
        Orders that cases begin with, carried from one case to the next.
    domains : mapping of str to ndarray of int
        The classes of each variable.
    relations, running : sequence
        What is left of relations and sums in these domains.
    """

    def __init__(
        self,
        steps: Steps,
        firsts: dict[tuple[object, ...], tuple[str, ...]],
        domains: Mapping[str, Ints],
        relations: Sequence[Relation],
        running: Sequence[Running],
    ) -> None:
        self.steps, self.firsts, self.domains = steps, firsts, domains
        self.draft, self.maps = steps.draft, steps.maps
        self.running = {r.name: r for r in running}
        bundle = self.draft.bundle
        #: The tuples decide their sum only where something asks for it.
        self.bundle = bundle
        asking = [*(r.scope for r in relations), *(r.of for r in running)]
        if bundle is not None and not any(bundle.sum in scope for scope in asking):
            self.bundle = None
        roles = self.draft.roles
        known = {*roles, *self.running}
        others = dict.fromkeys(v for r in relations for v in r.scope if v not in known)
        if self.bundle is not None:
            others.update({self.bundle.name: None, self.bundle.sum: None})
        self.variables = [*roles, *others, *self.running]
        self.live = [steps.live(r) for r in relations]
        self.found = self._order()

    @property
    def work(self) -> float:
        """Return the work of all steps."""
        return self.found.work

    def _extra(self, variable: str) -> tuple[Running | None, Bundle | None]:
        bundle = self.bundle
        mine = bundle if bundle is not None and bundle.name == variable else None
        return self.running.get(variable), mine

    def _order(self) -> Order:
        """Return the order of elimination."""
        draft, also = self.draft, self.steps.also
        extras: dict[str, Extra] = {}
        apart = frozenset[str]()
        waits: dict[str, set[str]] = {}
        for r in self.running.values():  # what decides a running sum goes after it
            extras[r.name] = Extra(also(r, None), frozenset(), True)
            for v in r.of:
                waits.setdefault(v, set()).add(r.name)
        if self.bundle is not None:  # and what tuples decide, after the tuples
            name, outer, sum_ = self.bundle.name, self.bundle.outer, self.bundle.sum
            extras[name] = Extra(also(None, self.bundle), frozenset({sum_}), False)
            for v in (outer, sum_):
                waits.setdefault(v, set()).add(name)
            apart = frozenset({name, sum_})
        last = draft.last
        if last is not None:
            waits[last] = {v for v in self.variables if v != last}
        late = draft.late
        for role in late:
            waits[role] = waits.get(role, set()) | {v for v in self.variables if v not in late}
        leading = draft.leading
        if leading is not None:
            before, waiting = {leading}, [*waits.get(leading, ())]
            while waiting:  # the running sums that it decides, and those that these decide
                v = waiting.pop()
                if v not in before:
                    before.add(v)
                    waiting += waits.get(v, ())
            for v in self.variables:
                if v not in before:
                    waits.setdefault(v, set()).add(leading)

        domain_ids = {v: self.maps.domain(self.domains[v]) for v in self.variables}
        sizes: dict[tuple[str, frozenset[int]], tuple[int, int]] = {}

        def size(variable: str, ids: frozenset[int]) -> tuple[int, int]:
            found = sizes.get((variable, ids))
            if found is None:
                number, first = self.maps.combine(
                    domain_ids[variable], self.domains[variable], tuple(sorted(ids))
                )
                found = sizes[variable, ids] = len(first), number
            return found

        tangle = Tangle(self.variables, [f.scope for f in self.live], extras, waits, apart, size)
        if self.bundle is not None and leading is None:
            self._tuples_first(tangle, waits)
        return best_order(tangle, CHEAP, TRIES if draft.kept and self.bundle else 0)

    def _tuples_first(self, tangle: Tangle, waits: dict[str, set[str]]) -> None:
        """Let all that only tuples and the outer role are tied to go first, as in every case.

        So that the step of the tuples, which is the widest, stands once for all cases.
        """
        assert self.bundle is not None
        name = self.bundle.name
        ends = {name, f"kind of {name}", self.bundle.outer, self.bundle.sum}
        tied: dict[str, set[str]] = {v: set() for v in self.variables}
        for scope in (*tangle.scopes, *(r.of for r in self.running.values())):
            for v in scope:
                tied[v].update(scope)
        for r in self.running.values():
            for v in r.of:
                tied[v].add(r.name)
                tied[r.name].add(v)
        reached, waiting = set(ends), [*tied[self.bundle.sum] - ends]
        while waiting:
            v = waiting.pop()
            if v not in reached:
                reached.add(v)
                waiting += tied[v] - reached
        below = [v for v in self.variables if v not in reached]
        scopes = [f for f in self.live if any(v in f.scope for v in below)]
        key = (
            *below,
            *(f.key for f in scopes),
            *(self.maps.domain(self.domains[v]) for f in scopes for v in f.scope),
        )
        if key not in self.firsts:
            only = replace(tangle, variables=below, scopes=[f.scope for f in scopes], waits={})
            self.firsts[key] = best_order(only).variables
        order = [*self.firsts[key], name]
        for before, v in itertools.pairwise(order):
            waits.setdefault(v, set()).add(before)
        for v in self.variables:
            if v not in order:
                waits.setdefault(v, set()).add(name)

    def finish(self) -> Case:
        """Make the steps."""
        live = list(self.live)
        places: list[int] = []
        roots: list[int] = []
        for variable in self.found.variables:
            mine = [f for f in live if variable in f.scope]
            live = [f for f in live if variable not in f.scope]
            place, scope = self.steps.step(variable, mine, self.domains, *self._extra(variable))
            places.append(place)
            if scope:
                names = self.steps.made[place].names
                live.append(Live(-1 - place, scope, None, place, names))
            else:
                roots.append(place)
        return Case(tuple(places), tuple(roots))
