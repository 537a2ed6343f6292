"""What a plan is made from, and what plans of the same catalogue have in common."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.graph.sums import SumCondition
from fitgraph.records import dataclass
from fitgraph.solve.bundles import Bundle
from fitgraph.solve.relations import Relation, combined


class Maps:
    """Maps from base classes to few, each with a number, and what some of them tell apart."""

    def __init__(self) -> None:
        self.of: list[Ints] = []
        self._ids: dict[bytes, int] = {}
        self._domains: dict[bytes, int] = {}
        self._combined: dict[tuple[int, tuple[int, ...]], tuple[int, Ints]] = {}
        self._places: dict[tuple[int, int, int], Ints | None] = {}

    def domain(self, domain: Ints) -> int:
        """Return the number of a domain."""
        return self._domains.setdefault(domain.tobytes(), len(self._domains))

    def number(self, of_base: Ints) -> int:
        """Return the number of a map."""
        key = of_base.tobytes()
        found = self._ids.get(key)
        if found is None:
            found = self._ids[key] = len(self.of)
            self.of.append(of_base)
        return found

    def combine(self, domain_id: int, domain: Ints, ids: tuple[int, ...]) -> tuple[int, Ints]:
        """Return the number of a common refinement, and one base class of each of its cells."""
        key = (domain_id, ids)
        found = self._combined.get(key)
        if found is None:
            of_base, first = combined([self.of[n] for n in ids], domain)
            found = self._combined[key] = (self.number(of_base), first)
        return found

    def places(self, one: int, domain_id: int, refined: int, first: Ints) -> Ints | None:
        """Return the place along one map of each cell of a refinement; None for the same."""
        key = (one, domain_id, refined)
        if key not in self._places:
            found = self.of[one][first]
            same = len(found) == int(self.of[one].max(initial=-1)) + 1 and bool(
                (found == np.arange(len(found))).all()
            )
            self._places[key] = None if same else found
        return self._places[key]


@dataclass
class Memo:
    """What plans of the same catalogue have in common.

    Parameters
    ----------
    maps : Maps
        What maps tell apart together hangs on nothing but themselves.
    tables : dict
        Sums as tables, None where they are too large, by name and by the classes that may be used.
    """

    maps: Maps = field(default_factory=Maps)
    tables: dict[tuple[object, ...], Relation | None] = field(default_factory=dict)


@dataclass
class Draft:
    """What a plan is made from."""

    roles: tuple[str, ...]
    sizes: Mapping[str, int]
    first: Mapping[str, Ints]
    relations: list[Relation]
    sums: Sequence[SumCondition]
    domains: dict[str, Ints]
    certain: bool
    ceiling: float
    last: str | None
    late: frozenset[str]
    leading: str | None
    memo: Memo
    share: bool
    kept: bool
    cases: Sequence[Mapping[str, Ints]] = ()
    bundle: Bundle | None = None
    #: Whether wide cases may fall into finer ones.
    apart: bool = True
