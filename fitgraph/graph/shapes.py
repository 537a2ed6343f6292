"""Parts that offer the same figures, as one: what a joint sees of a thousand alike is one row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from fitgraph.graph.options import variants
from fitgraph.model import Option, Part, Vocabulary
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Shape:
    """Parts that no rule could ever tell apart, as they are or after one service.

    Parameters
    ----------
    option : Option
        One of them.
    parts : tuple of Part
        All of them, in catalogue order.
    """

    option: Option
    parts: tuple[Part, ...]


def attributes_compared(vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the attributes of parts, such as the maker, that some joint compares."""
    return tuple(
        sorted({r.name for j in vocabulary.joints for r in j.measures if r.feature is None})
    )


def _figures(part: Part) -> tuple[Any, ...]:
    return tuple(
        (
            name,
            feature.presence,
            tuple((n, d.lo, d.hi, d.within) for n, d in feature.lengths.items()),
            tuple((n, w.value) for n, w in feature.words.items()),
        )
        for name, feature in part.features.items()
    )


def shapes(
    parts: Iterable[Part], vocabulary: Vocabulary, *, services: bool = True
) -> tuple[Shape, ...]:
    """Return the shapes of parts of one role, each also after every single service.

    Parameters
    ----------
    parts : iterable of Part
        Of one role.
    vocabulary : Vocabulary
        Its services.
    services : bool
        Whether what the workshop can make of them counts as well.

    Returns
    -------
    tuple of Shape
        In the order in which they are first met; found in time linear in the parts.
    """
    compared = attributes_compared(vocabulary)
    alike: dict[tuple[Any, ...], list[Part]] = {}
    for part in parts:
        own = tuple(getattr(part, name) for name in compared)
        alike.setdefault((own, _figures(part)), []).append(part)
    found = []
    for group in alike.values():
        for option in variants(group[0], vocabulary):
            if services or not option.services:
                found.append(Shape(option, tuple(group)))
    return tuple(found)


def shapes_by_role(
    parts: Iterable[Part], vocabulary: Vocabulary, *, services: bool = True
) -> dict[str, Sequence[Shape]]:
    """Return :func:`shapes` of parts of any roles, by role, in the vocabulary's order."""
    of_role: dict[str, list[Part]] = {role: [] for role in vocabulary.roles}
    for part in parts:
        of_role[part.role].append(part)
    return {role: shapes(some, vocabulary, services=services) for role, some in of_role.items()}
