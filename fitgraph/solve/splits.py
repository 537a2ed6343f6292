"""The cases that a plan splits into: by what wide relations and sums ask of presence."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.solve.arrays import distinct
from fitgraph.solve.carried_sums import presence_axes
from fitgraph.solve.draft import Draft
from fitgraph.solve.relations import combined

#: Classes up to which an axis counts as one that asks for presence, and most cases.
_NARROW, _MOST_CASES = 4, 256

#: Cells of a relation from which its narrow axes are worth cases.
_WIDE = 256


def splits_of(draft: Draft) -> dict[str, list[Ints]]:
    """Return what roles are split by, for no more cases than are looked at."""
    splits = _conditions(draft)
    sizes = {role: len(combined(maps, draft.domains[role])[1]) for role, maps in splits.items()}
    while math.prod(sizes.values()) > _MOST_CASES:
        worst = max(sizes, key=sizes.__getitem__)
        del sizes[worst], splits[worst]
    return splits


def _conditions(draft: Draft) -> dict[str, list[Ints]]:
    """Return what roles are split by: what wide relations and sums ask of presence."""
    found: dict[str, dict[bytes, Ints]] = {}

    def add(role: str, of_base: Ints) -> None:
        if draft.late and role not in draft.late:
            return  # a choice of the late roles has to be in one case only
        if role == draft.leading:
            return  # and all that go with the same rest together
        domain = draft.domains[role]
        if 1 < len(distinct(of_base[domain])) <= _NARROW:
            place = np.unique(of_base, return_inverse=True)[1].astype(np.intp)
            found.setdefault(role, {})[place.tobytes()] = place

    for relation in draft.relations:
        if len(relation.scope) > 2 and relation.allowed.size > _WIDE:
            for role, of_base, size in zip(
                relation.scope, relation.maps, relation.allowed.shape, strict=True
            ):
                if size <= _NARROW:
                    add(role, of_base)
    for condition in draft.sums:
        for role, class_of in presence_axes(condition):
            add(role, class_of[draft.first[role]])
    return {role: list(maps.values()) for role, maps in found.items()}


def cases_of(draft: Draft, splits: Mapping[str, Sequence[Ints]]) -> Iterator[dict[str, Ints]]:
    """Yield the domains of every case."""
    choices = []
    for role, maps in splits.items():
        domain = draft.domains[role]
        of_base, first = combined(maps, domain)
        choices.append([(role, domain[of_base[domain] == n]) for n in range(len(first))])
    for chosen in itertools.product(*choices):
        yield {**draft.domains, **dict(chosen)}
