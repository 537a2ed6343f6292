"""The steps of a plan, each made once for all cases that have it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.solve.bundles import Bundle
from fitgraph.solve.carried_sums import Running
from fitgraph.solve.draft import Draft
from fitgraph.solve.grouping import grouped
from fitgraph.solve.plan import Operand, Step, Summed, TooWideError
from fitgraph.solve.relations import Relation


class Live:
    """A relation or message that is still to be multiplied."""

    __slots__ = ("child", "key", "names", "scope", "table")

    def __init__(
        self,
        key: int,
        scope: dict[str, int],
        table: Bools | None,
        child: int,
        names: tuple[str, ...],
    ) -> None:
        self.key, self.scope, self.table, self.child = key, scope, table, child
        self.names = names


class Steps:
    """The steps, made as they are asked for.

    Parameters
    ----------
    draft : Draft
        What a plan is made from.
    """

    def __init__(self, draft: Draft) -> None:
        self.draft, self.maps = draft, draft.memo.maps
        self.made: list[Step] = []
        self._by_key: dict[tuple[Any, ...], int] = {}
        #: A number for each relation, which stays its own as long as the relation is held.
        self._numbers: dict[int, tuple[int, Relation]] = {}
        self._rank = {v: n for n, v in enumerate(draft.roles)}

    def live(self, relation: Relation) -> Live:
        """Return a relation as one that is still to be multiplied."""
        key, _ = self._numbers.setdefault(id(relation), (len(self._numbers), relation))
        scope = zip(relation.scope, relation.maps, strict=True)
        named = {v: self.maps.number(m) for v, m in scope}
        return Live(key, named, relation.allowed, -1, relation.names)

    def _one_kind(self, variable: str, domain: Ints) -> int:
        """Return the number of the map that tells nothing apart."""
        size = self.draft.sizes.get(variable, len(domain))
        return self.maps.number(np.zeros(size, dtype=np.intp))

    def also(self, running: Running | None, bundle: Bundle | None) -> dict[str, int]:
        """Return what a step is over beside its parts, each as the number of a map."""
        number = self.maps.number
        if running is not None:
            return {v: number(m) for v, m in zip(running.of, running.maps, strict=True)}
        if bundle is not None:
            return {
                bundle.name: number(np.arange(bundle.tuples, dtype=np.intp)),
                bundle.outer: number(bundle.place),
                bundle.sum: number(np.arange(bundle.size, dtype=np.intp)),
            }
        return {}

    def step(
        self,
        variable: str,
        mine: Sequence[Live],
        domains: Mapping[str, Ints],
        running: Running | None,
        bundle: Bundle | None,
    ) -> tuple[int, dict[str, int]]:
        """Return the place of a step, and its message's scope as numbers of maps."""
        maps = self.maps
        domain = domains[variable]
        domain_id = maps.domain(domain)
        also = self.also(running, bundle)
        key = (
            variable,
            domain_id,
            tuple(sorted(f.key for f in mine)),
            tuple(sorted({(v, maps.domain(domains[v])) for f in mine for v in f.scope})),
            tuple((v, number, maps.domain(domains[v])) for v, number in also.items()),
        )
        if key in self._by_key:
            place = self._by_key[key]
            step = self.made[place]
            return place, {
                v: maps.number(c) for v, c in zip(step.separator, step.cell_of, strict=True)
            }
        own = {f.scope[variable] for f in mine}
        if variable in also:  # every tuple is a kind, in the order in which they are sorted
            own = {also[variable]}
        kind_id, kind_first = maps.combine(
            domain_id, domain, tuple(sorted(own)) or (self._one_kind(variable, domain),)
        )
        kinds = len(kind_first)
        ids: dict[str, set[int]] = {}
        for f in mine:
            for v, m in f.scope.items():
                if v != variable:
                    ids.setdefault(v, set()).add(m)
        for v, number in also.items():
            if v != variable:
                ids.setdefault(v, set()).add(number)
        cells: dict[str, tuple[int, Ints]] = {}
        for v in sorted(ids, key=lambda v: (self._rank.get(v, len(self._rank)), v)):
            cells[v] = maps.combine(maps.domain(domains[v]), domains[v], tuple(sorted(ids[v])))
        separator = tuple(cells)
        where = {v: n for n, v in enumerate(separator)}
        parts = []
        for f in mine:
            at = list(f.scope).index(variable)
            others = [v for v in f.scope if v != variable]
            table = f.table
            if table is not None:
                table = np.moveaxis(table, at, 0)
            parts.append(
                Operand(
                    f.child,
                    table,
                    at,
                    maps.places(f.scope[variable], domain_id, kind_id, kind_first),
                    tuple(where[v] for v in others),
                    tuple(
                        maps.places(f.scope[v], maps.domain(domains[v]), *cells[v]) for v in others
                    ),
                )
            )
        decided = None
        if running is not None:
            a, b = running.of
            pair = math.prod(len(cells[v][1]) for v in running.of)
            if 16.0 * pair > self.draft.ceiling:
                tied = (self.draft.roles, tuple(n for f in mine for n in f.names))
                raise TooWideError(16.0 * pair, self.draft.ceiling, *tied)
            places = [
                of_base[cells[v][1]] for v, of_base in zip(running.of, running.maps, strict=True)
            ]
            kind_map = maps.of[kind_id].astype(np.min_scalar_type(max(kinds - 1, 0)))
            kind_at = running.table
            for axis, place_of in enumerate(places):
                whole = np.arange(kind_at.shape[axis])
                if not np.array_equal(place_of, whole):
                    kind_at = kind_at.take(place_of, axis=axis)
            decided = (where[a], where[b], kind_map[kind_at])
        summed = None
        if bundle is not None:
            summed = Summed(
                where[bundle.outer],
                where[bundle.sum],
                bundle.runs,
                bundle.place[cells[bundle.outer][1]],
                maps.of[cells[bundle.sum][0]],
                domain,
            )
        kind_of = np.full(len(maps.of[kind_id]), -1, dtype=np.intp)
        kind_of[domain] = maps.of[kind_id][domain]
        shape = tuple(len(cells[v][1]) for v in separator)
        below = frozenset({variable} & self.draft.sizes.keys()).union(
            *(self.made[f.child].below for f in mine if f.child >= 0)
        )
        names = tuple(dict.fromkeys(n for f in mine for n in f.names))
        step = Step(
            variable,
            variable in self.draft.sizes,
            domain,
            kind_of,
            kinds,
            separator,
            tuple(maps.of[cells[v][0]] for v in separator),
            shape,
            tuple(parts),
            *grouped(parts, kinds, shape, whole=running is not None or bundle is not None),
            decided,
            summed,
            below,
            kinds * math.prod(shape) / (1 if bundle is None else shape[where[bundle.sum]]),
            names,
        )
        place = len(self.made)
        self.made.append(step)
        self._by_key[key] = place
        return place, {v: cells[v][0] for v in separator}
