"""What is left of relations and sums within some domains."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.solve.arrays import distinct
from fitgraph.solve.carried_sums import (
    Running,
    RunningChain,
    Terms,
    TooWideSumError,
    chain_of_terms,
    relation_of_sum,
    terms_of,
)
from fitgraph.solve.draft import Draft
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.relations import Relation, combined, reduced
from fitgraph.solve.shared_sums import shared

#: Cells up to which a sum over roles becomes one table; beyond, it is taken term by term.
_AS_TABLE = 1 << 20

#: Roles up to which a sum that a leading role adds to may be one table.
_LED = 3

#: Classes up to which what a relation sees of a role may be a variable of its own, and how many
#: kinds that has at most.
_SEEN, _MOST_SEEN = 8, 16

#: The same of tuples, of which only what asks whether something is there is worth it.
_PRESENCE = 2


class Within:
    """What is left of a draft's relations and sums, each worked out once for all cases.

    Parameters
    ----------
    draft : Draft
        What a plan is made from.
    """

    def __init__(self, draft: Draft) -> None:
        self.draft, self.bundle, self.memo = draft, draft.bundle, draft.memo
        self._live: dict[tuple[int, tuple[int, ...]], Relation] = {}
        self._held_chains: dict[tuple[Any, ...], Sequence[RunningChain]] = {}
        self._tags = itertools.count()
        #: Relations made from others, with these, so that the numbers of both stay theirs.
        self._seen: dict[tuple[Any, ...], tuple[Relation, Relation]] = {}

    def left(self, domains: Mapping[str, Ints]) -> tuple[list[Relation], list[Running]] | None:
        """Return what is left of relations and sums in some domains; None where nothing can be."""
        tables = self.tables(domains)
        if tables is None:
            return None
        found, wide = tables
        running: list[Running] = []
        for chain in self._chains(wide, domains, found):
            running.extend(chain.running)
            if chain.last is not None:
                if not chain.last.scope:
                    return None
                found.append(chain.last)
        return found, running

    def tables(self, domains: Mapping[str, Ints]) -> tuple[list[Relation], list[int]] | None:
        """Return what is left of relations, and of sums that are no larger, and all other sums.

        None where nothing can be.
        """
        ids = {v: self.memo.maps.domain(d) for v, d in domains.items()}
        found: list[Relation] = []
        for n, relation in enumerate(self.draft.relations):
            key = (n, tuple(ids[v] for v in relation.scope))
            if key not in self._live:
                full = all(len(domains[v]) == len(self.draft.domains[v]) for v in relation.scope)
                self._live[key] = relation if full else reduced(relation, domains)
            left = self._live[key]
            if left.scope:
                found.append(left)
            elif not left.allowed:
                return None
        wide: list[int] = []
        for n in range(len(self.draft.sums)):
            one = self.as_relation(n, domains)
            if one is not None and one.scope:
                one = self._bundled(one)
            if one is None:
                wide.append(n)
            elif one.scope:
                found.append(one)
            elif not one.allowed:
                return None
        return found, wide

    def forget(self) -> None:
        """Let go of the sums that are held in case another case has the same."""
        self._held_chains.clear()

    def _bundled(self, relation: Relation) -> Relation:
        """Return a relation over the tuples of the bundle, if there is one."""
        if self.bundle is None or not any(v in self.bundle.at for v in relation.scope):
            return relation
        key = (id(relation),)
        if key not in self._seen:
            self._seen[key] = self.bundle.seen(relation), relation
        return self._seen[key][0]

    def _chains(
        self,
        wide: Sequence[int],
        domains: Mapping[str, Ints],
        beside: Sequence[Relation],
    ) -> Sequence[RunningChain]:
        """Return sums that are too large for tables as running sums, shared ones first."""
        sums, bundle = [self.draft.sums[n] for n in wide], self.bundle
        roles = dict.fromkeys(r for s in sums for t in s.terms for r in t.roles)
        key = (*wide, *(self.memo.maps.domain(domains[r]) for r in roles))
        if not wide or key in self._held_chains:
            return self._held_chains.get(key, ())
        most, tag = self.draft.ceiling / 64, f"/{next(self._tags)}"
        ties = Counter(v for r in beside for v in r.scope)
        every = [frozenset(s.roles) for s in self.draft.sums]
        within = domains
        if bundle is not None:
            group = (*bundle.roles, bundle.outer)
            within = {**domains, **{r: self.draft.domains[r] for r in group}}
        terms = [
            terms_of(
                s,
                self.draft.first,
                domains if bundle is None or s.name not in bundle.values else within,
                certain=self.draft.certain,
            )
            for s in sums
        ]
        terms = [t for t in terms if not t.holds]
        try:
            decided: list[Running] = []
            of_bundle: list[Terms] = []
            if bundle is not None:
                of_bundle = [bundle.summed(t) for t in terms if t.condition.name in bundle.values]
                terms = [t for t in terms if t.condition.name not in bundle.values]
            if self.draft.share:
                terms, decided = shared(terms, domains, ties, every, tag=tag, most_cells=most)
            terms = [*of_bundle, *(self._led(t, beside) for t in terms)]
            found = [RunningChain(tuple(decided), None)]
            found += [
                chain_of_terms(t, tag=f"{tag}.{n}", most_cells=most) for n, t in enumerate(terms)
            ]
        except TooWideSumError as error:
            (name,) = {s.joint.name for s in sums if s.name == str(error)}
            tied = next(s.roles for s in sums if s.name == str(error))
            raise TooWideError(math.inf, self.draft.ceiling, tied, (name,)) from error
        used = {v for c in found[1:] for r in c.running for v in r.of}
        used |= {v for c in found if c.last is not None for v in c.last.scope}
        kept: list[Running] = []
        for sum_ in reversed(decided):  # one that no condition asks for any more is left out
            if sum_.name in used:
                kept.append(sum_)
                used.update(sum_.of)
        found[0] = RunningChain(tuple(reversed(kept)), None)
        if bundle is not None:
            found = [
                RunningChain(
                    tuple(bundle.decided(r) for r in chain.running),
                    None if chain.last is None else bundle.seen(chain.last),
                )
                for chain in found
            ]
        self._held_chains[key] = found
        return found

    def _led(self, terms: Terms, beside: Sequence[Relation]) -> Terms:
        """Return a sum with what the leading role adds last, where that leaves it fewer cells.

        What roles come to that it does not meet otherwise is then one axis of its step, with a
        cell for each value that it may add; elsewhere each of them is an axis.
        """
        role = self.draft.leading
        met = {v for r in beside if role in r.scope for v in r.scope}
        own = [v for v in terms.values if v[0] == (role,)]
        rest = [v for v in terms.values if v[0] != (role,)]
        strange = math.prod(
            size
            for roles, _, values in rest
            for v, size in zip(roles, values.shape, strict=True)
            if v not in met
        )
        if math.prod(len(distinct(values)) for *_, values in own) > strange:
            return terms
        return replace(terms, values=(*rest, *own))

    def as_relation(self, n: int, domains: Mapping[str, Ints]) -> Relation | None:
        """Return a sum as one relation, None where it has too many cells."""
        condition = self.draft.sums[n]
        certain = self.draft.certain
        if self.draft.leading in condition.roles and len(condition.roles) > _LED:
            return None  # what the others come to is one axis beside the role, not one of each
        key = (condition.name, certain, *(domains[r].tobytes() for r in condition.roles))
        tables = self.memo.tables
        if key not in tables:
            tables[key] = relation_of_sum(
                condition,
                self.draft.first,
                domains,
                certain=certain,
                most_cells=_AS_TABLE,
            )
        return tables[key]

    def through_kinds(
        self, relations: Sequence[Relation], domains: Mapping[str, Ints]
    ) -> tuple[dict[str, Ints], list[Relation]] | None:
        """Return relations with what some of them see of a role as a variable of its own.

        A clamp is tied to a bar by one of five kinds, to a stack by its exact height; so the
        bar waits for the kind, not for the clamp.
        """
        seen: dict[str, list[Ints]] = {}
        wide: set[str] = set()
        for relation in relations:
            for role, of_base, size in zip(
                relation.scope, relation.maps, relation.allowed.shape, strict=True
            ):
                tuples = self.bundle is not None and role == self.bundle.name
                if size > (_PRESENCE if tuples else _SEEN):
                    wide.add(role)
                elif tuples or role in self.draft.sizes:
                    seen.setdefault(role, []).append(of_base)
        kinds = {}
        for role, columns in seen.items():
            # The outer role of tuples is an axis of their message as it is.
            if role == self.draft.leading or (self.bundle and role == self.bundle.outer):
                continue
            if role in wide:
                of_base, first = combined(columns, domains[role])
                if 1 < len(first) <= _MOST_SEEN:
                    kinds[role] = of_base, first
        if not kinds:
            return None
        found = []
        for relation in relations:
            scope, maps = list(relation.scope), list(relation.maps)
            for axis, role in enumerate(relation.scope):
                tuples = self.bundle is not None and role == self.bundle.name
                narrow = _PRESENCE if tuples else _SEEN
                if role in kinds and relation.allowed.shape[axis] <= narrow:
                    scope[axis] = f"kind of {role}"
                    maps[axis] = maps[axis][kinds[role][1]]
            if tuple(scope) == relation.scope:
                found.append(relation)
                continue
            key = (id(relation), *(m.tobytes() for m in maps))
            if key not in self._seen:
                made = replace(relation, scope=tuple(scope), maps=tuple(maps))
                self._seen[key] = made, relation
            found.append(self._seen[key][0])
        domains = dict(domains)
        for role, (of_base, first) in kinds.items():
            every = np.arange(len(first), dtype=np.intp)
            domains[f"kind of {role}"] = every
            key = (role, of_base.tobytes())
            if key not in self._seen:
                eye = np.eye(len(first), dtype=bool)
                made = Relation((role, f"kind of {role}"), (of_base, every), eye, ())
                self._seen[key] = made, made
            found.append(self._seen[key][0])
        return domains, found

    # -- steps ---------------------------------------------------------
