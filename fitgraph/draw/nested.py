"""Which parts of a combination sit one inside the other: read from the joints alone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from fitgraph.graph.joints import asked
from fitgraph.graph.options import length_of, presence_of
from fitgraph.graph.said import judge
from fitgraph.model import (
    Dimension,
    Joint,
    Option,
    Presence,
    Reference,
    Verdict,
    Vocabulary,
)
from fitgraph.records import dataclass

#: Kinds of feature between which one part goes inside another.
OUTER, INNER = "bore", "spigot"

#: The argument by which a rule names the cut that lets a bore close.
SLOT = "slot"


@dataclass(frozen=True, slots=True)
class DrawnRing:
    """One part as a section shows it.

    Parameters
    ----------
    role : str
        The role it fills.
    option : Option
        The part, with the services done to it.
    outside, bore : Dimension or None
        Diameters in mm; None where the section does not show that side.
    slot : Dimension or None
        Width of the cut in its wall, in mm; None where it has none.
    slot_presence : Presence
        Whether it has the cut.
    """

    role: str
    option: Option
    outside: Dimension | None
    bore: Dimension | None
    slot: Dimension | None = None
    slot_presence: Presence = Presence.ABSENT


@dataclass(frozen=True, slots=True)
class Mating:
    """The joint between a ring and the next one in.

    Parameters
    ----------
    joint : Joint
        The joint.
    verdict : Verdict
        What it says.
    margin_mm : float or None
        To spare, or below zero what is lacking.
    bore, spigot : Dimension
        Diameters in mm.
    clearance : tuple of float
        Least and most diametral clearance in mm; below zero they overlap.
    """

    joint: Joint
    verdict: Verdict
    margin_mm: float | None
    bore: Dimension
    spigot: Dimension
    clearance: tuple[float, float]

    @property
    def known(self) -> bool:
        """Whether both sizes are known."""
        return self.bore.known and self.spigot.known


@dataclass(frozen=True, slots=True)
class Nest:
    """Parts around one axis, from the outside in, and the joints between them."""

    rings: tuple[DrawnRing, ...]
    matings: tuple[Mating, ...]

    @property
    def roles(self) -> frozenset[str]:
        """Return whose rings they are."""
        return frozenset(ring.role for ring in self.rings)

    @property
    def verdict(self) -> Verdict:
        """Return the worst of its joints."""
        return min(m.verdict for m in self.matings)


def _kind(vocabulary: Vocabulary, reference: Reference | None) -> str:
    if reference is None or reference.feature is None:
        return ""
    return vocabulary.roles[reference.role].features[reference.feature].kind


def pairs(vocabulary: Vocabulary) -> list[Joint]:
    """Return the joints in which a spigot goes into a bore.

    Parameters
    ----------
    vocabulary : Vocabulary
        Says of each joint what it is between.
    """
    return [
        joint
        for joint in asked(vocabulary.joints, tidy=False)
        if _kind(vocabulary, joint.arguments.get(OUTER)) == OUTER
        and _kind(vocabulary, joint.arguments.get(INNER)) == INNER
    ]


def walls(vocabulary: Vocabulary) -> Mapping[Reference, Reference]:
    """Return for each outside the bore of the same part that shares its axis, and back.

    A joint of a part with itself pairs them; a role with one spigot and one bore needs none.
    """
    found: dict[Reference, Reference] = {}
    for joint in vocabulary.joints:
        sides = {_kind(vocabulary, r): r for r in joint.arguments.values()}
        if joint.check and len(joint.roles) == 1 and sides.keys() == {OUTER, INNER}:
            found.setdefault(sides[INNER], sides[OUTER])
            found.setdefault(sides[OUTER], sides[INNER])
    for role in vocabulary.roles.values():
        of_kind = {
            kind: [
                Reference(role.name, f.name, d.name)
                for f in role.features.values()
                if f.kind == kind
                for d in f.dimensions.values()
                if not d.worded
            ]
            for kind in (OUTER, INNER)
        }
        names = {r.name for side in of_kind.values() for r in side}
        if len(of_kind[OUTER]) == len(of_kind[INNER]) == len(names) == 1:
            found.setdefault(of_kind[INNER][0], of_kind[OUTER][0])
            found.setdefault(of_kind[OUTER][0], of_kind[INNER][0])
    return found


def _slots(vocabulary: Vocabulary) -> Mapping[Reference, Reference]:
    """Return for each bore the cut of the same part that lets it close."""
    found: dict[Reference, Reference] = {}
    for joint in pairs(vocabulary):
        slot, bore = joint.arguments.get(SLOT), joint.arguments[OUTER]
        if slot is not None and slot.role == bore.role:
            found.setdefault(bore, slot)
    return found


def _size(option: Option, reference: Reference) -> Dimension:
    return length_of(option, reference) or Dimension.unknown()


def _ring(
    option: Option,
    outside: Reference | None,
    bore: Reference | None,
    slots: Mapping[Reference, Reference],
) -> DrawnRing:
    slot = slots.get(bore) if bore is not None else None
    there = presence_of(option, slot.feature) if slot is not None else Presence.ABSENT
    width = None
    if slot is not None and there is not Presence.ABSENT:
        width = _size(option, slot)
    return DrawnRing(
        option.role,
        option,
        None if outside is None else _size(option, outside),
        None if bore is None else _size(option, bore),
        width,
        there,
    )


def _has(option: Option, reference: Reference | None) -> Reference | None:
    """Return the reference where the option may have that feature."""
    if reference is None or presence_of(option, reference.feature) is Presence.ABSENT:
        return None
    return reference


def nests(options: Mapping[str, Option], vocabulary: Vocabulary) -> tuple[Nest, ...]:
    """Return what sits inside what, one nest for each way from the outside in.

    Parameters
    ----------
    options : mapping of str to Option
        By role; a role that is missing is taken as empty.
    vocabulary : Vocabulary
        Its joints say which bore goes around which spigot.

    Returns
    -------
    tuple of Nest
        In the order in which the vocabulary first mentions them. Two spigots in one bore,
        or two bores around one spigot, sit at different heights and give two nests.
    """
    whole = {r: options.get(r) or Option(r, None) for r in vocabulary.roles}
    into: dict[Reference, dict[Reference, Mating]] = {}
    for joint in pairs(vocabulary):
        bore, spigot = joint.arguments[OUTER], joint.arguments[INNER]
        if whole[bore.role].empty or whole[spigot.role].empty:
            continue
        said = judge(joint, whole)
        if said.there is Presence.ABSENT:
            continue
        mating = Mating(
            joint,
            said.verdict,
            said.margin,
            _size(whole[bore.role], bore),
            _size(whole[spigot.role], spigot),
            said.interval or (-math.inf, math.inf),
        )
        before = into.setdefault(bore, {}).get(spigot)
        if before is None or mating.verdict < before.verdict:
            into[bore][spigot] = mating
    wall, slots = walls(vocabulary), _slots(vocabulary)
    held = {spigot for mates in into.values() for spigot in mates}

    def inward(
        bore: Reference, outside: Reference | None, passed: frozenset[Reference]
    ) -> Iterator[Nest]:
        ring = _ring(whole[bore.role], outside, bore, slots)
        for spigot, mating in into[bore].items():
            inside = _has(whole[spigot.role], wall.get(spigot))
            # A vocabulary could put two parts each inside the other; once round is enough.
            if inside is not None and inside in into and inside not in passed:
                rests = list(inward(inside, spigot, passed | {inside}))
            else:
                rests = [Nest((_ring(whole[spigot.role], spigot, inside, slots),), ())]
            for rest in rests:
                yield Nest((ring, *rest.rings), (mating, *rest.matings))

    found: list[Nest] = []
    for bore in into:
        outside = _has(whole[bore.role], wall.get(bore))
        if outside is None or outside not in held:
            found.extend(inward(bore, outside, frozenset({bore})))
    return tuple(found)


def main_nest(found: tuple[Nest, ...], vocabulary: Vocabulary) -> Nest | None:
    """Return the nest around the tube whose strength is compared, else the first."""
    source = vocabulary.strength
    for nest in found:
        if source is not None and source.outside.role in nest.roles:
            return nest
    return found[0] if found else None
