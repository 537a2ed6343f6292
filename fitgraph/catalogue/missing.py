"""Lengths that a catalogue lacks, by how many answers hang on them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from math import prod

from fitgraph.mechanics.rules import RULES
from fitgraph.model import ABSENT, Catalogue, Condition, Joint, Part, Presence, Reference
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Missing:
    """A dimension that some parts of a role lack.

    Parameters
    ----------
    size : Reference
        The dimension.
    parts : tuple of str
        Stock numbers of the parts that lack it.
    of : int
        Parts of the role that joints ask for it.
    answers : int
        Combinations of parts that a joint cannot be sure of, or does not judge, without it.
    joints : tuple of str
        Titles of those joints.
    """

    size: Reference
    parts: tuple[str, ...]
    of: int
    answers: int
    joints: tuple[str, ...]


def _may_hold(part: Part, conditions: Iterable[Condition]) -> bool:
    """Return whether conditions on a part's own role may hold."""
    for condition in conditions:
        if condition.role != part.role:
            continue
        there = Presence.PRESENT
        if condition.feature is not None:
            there = part.features.get(condition.feature, ABSENT).presence
        if there is (Presence.ABSENT if condition.wanted else Presence.PRESENT):
            return False
    return True


def _lengths(joint: Joint) -> list[tuple[Reference, tuple[Condition, ...], bool]]:
    """Return each length of a joint, when it is asked for, and whether it may never be noted."""
    rule = RULES[joint.rule]
    found = [
        (r, joint.when, False)
        for name, r in joint.arguments.items()
        if name in rule.lengths and name not in rule.optional and name not in rule.may_lack
    ]
    for ring in joint.rings:
        found += [(r, (*joint.when, *ring.when), False) for r in ring.references]
    for span in joint.spans:
        if not span.optional:
            found.append((span.length, (*joint.when, *span.when), True))
    return found


def _lacks(part: Part, size: Reference, *, never: bool) -> bool:
    feature = part.features.get(size.feature or "", ABSENT)
    if feature.presence is Presence.ABSENT:
        return never
    length = feature.lengths.get(size.name)
    return length is None or not length.known


def missing_lengths(catalogue: Catalogue) -> list[Missing]:
    """Return the dimensions that parts lack, the one on which most answers hang first.

    Parameters
    ----------
    catalogue : Catalogue
        Its vocabulary's joints say which lengths are asked for.

    Returns
    -------
    list of Missing
        A length of a stack that nobody noted counts as lacking, though the stack is then not
        there at all.
    """
    lacking: dict[Reference, dict[str, None]] = defaultdict(dict)
    asked: dict[Reference, dict[str, None]] = defaultdict(dict)
    answers: dict[Reference, int] = defaultdict(int)
    titles: dict[Reference, dict[str, None]] = defaultdict(dict)
    for joint in catalogue.vocabulary.joints:
        if joint.check:
            continue
        for size, conditions, never in _lengths(joint):
            mine = [p for p in catalogue.of(size.role) if _may_hold(p, conditions)]
            without = [p.sku for p in mine if _lacks(p, size, never=never)]
            asked[size].update(dict.fromkeys(p.sku for p in mine))
            if not without:
                continue
            others = {r.role for r in joint.measures} - {size.role}
            with_them = (
                sum(_may_hold(p, joint.when) for p in catalogue.of(role)) for role in others
            )
            lacking[size].update(dict.fromkeys(without))
            answers[size] += len(without) * prod(with_them)
            titles[size][joint.title] = None
    found = [
        Missing(size, tuple(parts), len(asked[size]), answers[size], tuple(titles[size]))
        for size, parts in lacking.items()
        if answers[size]
    ]
    return sorted(found, key=lambda m: (-m.answers, str(m.size)))
