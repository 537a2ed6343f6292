"""How hard a clamp's bolts hold the parts of a combination, and what that does to them.

The rings between the clamp and the core follow from the joints that close: each puts a bore on
what lies in it, and what lies in it may be a ring again. A clamp with two bores holds two such
nests; the weaker one counts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from fitgraph.graph.columns import word_of
from fitgraph.graph.options import length_of, presence_of
from fitgraph.graph.said import judge
from fitgraph.mechanics.clamps import TorqueCheck, check_torque
from fitgraph.mechanics.crush import Crush, tube_crush
from fitgraph.mechanics.grip import (
    Bolts,
    GripRatio,
    NestGrip,
    RingSection,
    grip_ratio,
    nest_grip,
    share_that_holds,
)
from fitgraph.mechanics.materials import MATERIALS, Material
from fitgraph.mechanics.notches import slot_end_factor
from fitgraph.mechanics.rules import RULES
from fitgraph.mechanics.slots import elastic_gap_mm
from fitgraph.mechanics.standards import screw
from fitgraph.mechanics.threads import engagement_needed_mm
from fitgraph.model import Dimension, HoldSource, Joint, Option, Presence, Reference, Vocabulary
from fitgraph.records import dataclass

Range = tuple[float, float]

#: Taken for a ring whose material nobody told [GPa]: the stiffest, which closing takes most of.
_STIFFEST_GPA = max(m.modulus_gpa for m in MATERIALS.values() if m.modulus_gpa is not None)


@dataclass(frozen=True, slots=True)
class Surface:
    """Two parts of a nest that touch, and which of them lies outside."""

    outer: Option
    inner: Option


@dataclass(frozen=True, slots=True)
class Hold:
    """The grip of a clamp, what it rests on, and what it does to the parts.

    Parameters
    ----------
    thread, bolts, torque_nm : str, int, float
        The bolts, and the torque taken for them.
    pressing : float
        How many of them press on the weaker nest.
    torque : TorqueCheck
        What that torque does to a bolt.
    grip : NestGrip
        What the weaker nest holds, at its weakest surface.
    surfaces : tuple of Surface
        Its surfaces, from the core outwards.
    gap_mm : float
        How far the tube's slot has to narrow, in mm along the circumference.
    elastic_gap_mm : float or None
        How far it can before the tube yields; None without a slot to close.
    demand_nm, demand_share : float or None
        A twisting moment to compare with [N·m], and in which share of the draws it is held.
    demand : str
        What that moment is.
    slot_beyond_mm : tuple of float or None
        By how much the slot may reach beyond the clamp [mm]; None without a slot.
    notch : tuple of float or None
        By what factor the slot's end lowers what the tube bears again and again.
    crush : Crush or None
        How near a closed tube comes to being crushed, with all bolts at their most.
    thread_needs_mm : tuple of float or None
        Full thread in the clamp with which the bolt gives way first [mm].
    """

    thread: str
    bolts: int
    torque_nm: float
    pressing: float
    torque: TorqueCheck
    grip: NestGrip
    surfaces: tuple[Surface, ...]
    gap_mm: float
    elastic_gap_mm: float | None
    demand_nm: float | None
    demand_share: float | None
    demand: str
    slot_beyond_mm: Range | None
    notch: Range | None
    crush: Crush | None
    thread_needs_mm: Range | None

    @property
    def weakest(self) -> Surface:
        """Return the surface that slips first most often."""
        return self.surfaces[self.grip.governing]

    @property
    def closes(self) -> bool:
        """Whether the bolts close every ring for certain, with force to spare."""
        return self.grip.bounds_nm[0] > 0

    @property
    def elastic(self) -> bool:
        """Whether the tube springs back when the bolts are loosened."""
        return self.elastic_gap_mm is None or self.gap_mm <= self.elastic_gap_mm


def _known(chosen: Mapping[str, Option], reference: Reference | None) -> Dimension | None:
    if reference is None or reference.role not in chosen:
        return None
    dimension = length_of(chosen[reference.role], reference)
    return dimension if dimension is not None and dimension.known else None


def _material(option: Option) -> Material | None:
    return None if option.part is None else MATERIALS.get(option.part.material or "")


def _closing(vocabulary: Vocabulary, chosen: Mapping[str, Option]) -> list[Joint]:
    """Return the joints of a combination that squeeze a bore onto what lies in it."""
    return [
        joint
        for joint in vocabulary.joints
        if {"bore", "spigot", "slot"} <= set(joint.arguments)
        and RULES[joint.rule].optional
        and set(joint.roles) <= set(chosen)
        and judge(joint, chosen).there is Presence.PRESENT
    ]


def _nests(vocabulary: Vocabulary, chosen: Mapping[str, Option], clamp: str) -> list[list[Joint]]:
    """Return the joints of each of a clamp's bores, from the clamp inwards."""
    joints = _closing(vocabulary, chosen)

    def inwards(joint: Joint) -> Iterator[Joint]:
        seen: set[str] = set()
        while joint.arguments["bore"].role not in seen:
            yield joint
            seen.add(joint.arguments["bore"].role)
            inside = joint.arguments["spigot"].role
            joint = next((j for j in joints if j.arguments["bore"].role == inside), joint)

    return [list(inwards(j)) for j in joints if j.arguments["bore"].role == clamp]


def _rings(
    nest: list[Joint], chosen: Mapping[str, Option], source: HoldSource, height: float
) -> list[RingSection] | None:
    """Return the rings of a nest, from the core outwards; None where a size is not known."""
    found: list[RingSection] = []
    for place, joint in enumerate(nest):
        bore, spigot, cut = (joint.arguments[name] for name in ("bore", "spigot", "slot"))
        around = nest[place - 1].arguments["spigot"] if place else joint.arguments.get("outside")
        inner, core = _known(chosen, bore), _known(chosen, spigot)
        outer = _known(chosen, around)
        if inner is None or core is None or (place and outer is None):
            return None
        if outer is not None and outer.lo <= inner.hi:
            return None
        slot = _known(chosen, cut)
        absent = presence_of(chosen[cut.role], cut.feature) is Presence.ABSENT
        if slot is None and not absent:
            return None
        length = None
        if source.slot is not None and cut.role == source.slot.role and slot is not None:
            known = _known(chosen, source.slot_length)
            if known is None:
                return None
            length = known.lo
        material = _material(chosen[bore.role])
        stiff = None if material is None else material.modulus_gpa
        found.append(
            RingSection(
                inner.mid,
                None if outer is None else outer.mid,
                height,
                _STIFFEST_GPA if stiff is None else stiff,
                0.0 if slot is None else slot.lo,
                length,
                inner.over(core),
            )
        )
    return found[::-1]


def _turned(nest: list[Joint], tube: str) -> int:
    """Return which ring of a nest, from the core outwards, the twisting moment acts on."""
    for place, joint in enumerate(nest):
        if joint.arguments["bore"].role == tube:
            return len(nest) - 1 - place
    return len(nest) - 1


def _crush(
    nest: list[Joint],
    chosen: Mapping[str, Option],
    source: HoldSource,
    height: float,
    hoop_n: float,
) -> Crush | None:
    """Return how near the tube comes to being crushed, where it is a nest's closed core."""
    tube = chosen[source.outside.role]
    innermost = nest[-1].arguments
    if innermost["spigot"].role != tube.role:
        return None
    if source.slot is None or presence_of(tube, source.slot.feature) is not Presence.ABSENT:
        return None
    outside, bore = _known(chosen, source.outside), _known(chosen, source.bore)
    around, material = _known(chosen, innermost["bore"]), _material(tube)
    if outside is None or bore is None or around is None or outside.lo <= bore.hi:
        return None
    if material is None or material.modulus_gpa is None or material.yield_mpa is None:
        return None
    return tube_crush(
        hoop_n,
        outside.lo,
        bore.hi,
        height,
        material.modulus_gpa,
        material.yield_mpa,
        max(around.over(outside)[1], 0.0),
    )


@dataclass(frozen=True, slots=True)
class _Pressing:
    """What bolts press on: the rings of a nest, from the core outwards."""

    nest: list[Joint]
    rings: list[RingSection]
    bolts: Bolts
    turned: int


def _bolts(
    clamp: Option, source: HoldSource, among: int
) -> tuple[str, int, float, Bolts, float] | None:
    """Return thread, number, torque, what presses on one of some nests, and on what height."""
    thread, count = word_of(clamp, source.thread), word_of(clamp, source.count)
    if thread is None or thread not in source.torque_nm or count is None or not count.isdigit():
        return None
    height = _known({clamp.role: clamp}, source.height)
    if int(count) == 0 or height is None or not among:
        return None
    # Where a clamp has several bores, its bolts and its height are shared among them evenly.
    torque = source.torque_nm[thread]
    bolts = Bolts(int(count) / among, torque, screw(thread).diameter_mm)
    return thread, int(count), torque, bolts, height.lo / among


def _pressing(chosen: Mapping[str, Option], vocabulary: Vocabulary) -> list[_Pressing] | None:
    """Return the nests in a clamp; None where a figure that they take is not known."""
    source = vocabulary.hold
    if source is None or {source.thread.role, source.outside.role} - set(chosen):
        return None
    clamp = chosen[source.thread.role]
    nests = _nests(vocabulary, chosen, clamp.role)
    told = _bolts(clamp, source, len(nests))
    if told is None:
        return None
    found = []
    for nest in nests:
        rings = _rings(nest, chosen, source, told[4])
        if rings is None:
            return None
        found.append(_Pressing(nest, rings, told[3], _turned(nest, source.outside.role)))
    return found


def _weaker(found: Sequence[_Pressing]) -> tuple[NestGrip, _Pressing]:
    grips = [(nest_grip(p.rings, p.bolts, turned=p.turned), p) for p in found]
    return min(grips, key=lambda g: g[0].middle_nm)


def hold_ratio(
    one: Mapping[str, Option], other: Mapping[str, Option], vocabulary: Vocabulary
) -> GripRatio | None:
    """Return how much more one combination holds than another; what they share cancels.

    Parameters
    ----------
    one, other : mapping of str to Option
        As in :func:`hold`.
    vocabulary : Vocabulary
        Its ``[hold]`` table names the figures.

    Returns
    -------
    GripRatio or None
        None where a figure of either is not known.
    """
    sides = [_pressing(chosen, vocabulary) for chosen in (one, other)]
    return _ratio(sides)


def clamp_ratio(one: Option, other: Option, vocabulary: Vocabulary) -> GripRatio | None:
    """Return how much more one clamp holds than another, each on what just fills its bore.

    Parameters
    ----------
    one, other : Option
        Two clamps.
    vocabulary : Vocabulary
        Its ``[hold]`` table names the figures.
    """
    return _ratio([_alone(clamp, vocabulary) for clamp in (one, other)])


def _ratio(sides: Sequence[list[_Pressing] | None]) -> GripRatio | None:
    first, second = sides
    if not first or not second:
        return None
    ones, others = _weaker(first)[1], _weaker(second)[1]
    return grip_ratio(
        (ones.rings, ones.bolts),
        (others.rings, others.bolts),
        turned=(ones.turned, others.turned),
    )


def _alone(clamp: Option, vocabulary: Vocabulary) -> list[_Pressing] | None:
    """Return a clamp's bores, each on a core that fills it."""
    source = vocabulary.hold
    if source is None or clamp.role != source.thread.role:
        return None
    mine = {clamp.role: clamp}
    bores: dict[Reference, Joint] = {}
    for joint in vocabulary.joints:
        if {"bore", "spigot", "slot"} <= set(joint.arguments) and RULES[joint.rule].optional:
            bore = joint.arguments["bore"]
            if bore.role == clamp.role and _known(mine, bore) is not None:
                bores.setdefault(bore, joint)
    told = _bolts(clamp, source, len(bores))
    if told is None:
        return None
    material = _material(clamp)
    stiff = None if material is None else material.modulus_gpa
    found = []
    for bore, joint in bores.items():
        inner = _known(mine, bore)
        outer, cut = _known(mine, joint.arguments.get("outside")), joint.arguments["slot"]
        slot = _known(mine, cut)
        if inner is None or (
            slot is None and presence_of(clamp, cut.feature) is not Presence.ABSENT
        ):
            return None
        if outer is not None and outer.lo <= inner.hi:
            return None
        ring = RingSection(
            inner.mid,
            None if outer is None else outer.mid,
            told[4],
            _STIFFEST_GPA if stiff is None else stiff,
            0.0 if slot is None else slot.lo,
        )
        found.append(_Pressing([joint], [ring], told[3], 0))
    return found


def hold(chosen: Mapping[str, Option], vocabulary: Vocabulary) -> Hold | None:
    """Return how hard the bolts hold, and what that does to the parts.

    Parameters
    ----------
    chosen : mapping of str to Option
        An option for each role of the combination, empty ones included.
    vocabulary : Vocabulary
        Its ``[hold]`` table names the figures.

    Returns
    -------
    Hold or None
        None where a figure that it takes is not known. A comparison; the
        maker's torque goes first.
    """
    source, found = vocabulary.hold, _pressing(chosen, vocabulary)
    if source is None or not found:
        return None
    clamp = chosen[source.thread.role]
    told, height = _bolts(clamp, source, len(found)), _known(chosen, source.height)
    if told is None or height is None:
        return None
    thread, count, torque_nm, bolts, squeezed = told
    torque = check_torque(torque_nm, thread, source.property_class)
    grip, weaker = _weaker(found)
    nest, rings = weaker.nest, weaker.rings
    gap, elastic = _narrows(nest, rings, chosen, source)
    beyond, notch = _slot_end(chosen, source, height)
    hoop = bolts.count * torque.preload_n[1]
    crushed = (_crush(p.nest, chosen, source, squeezed, hoop) for p in found)
    crush = next((c for c in crushed if c), None)
    lug = _material(clamp)
    return Hold(
        thread,
        count,
        torque_nm,
        bolts.count,
        torque,
        grip,
        tuple(
            Surface(chosen[j.arguments["bore"].role], chosen[j.arguments["spigot"].role])
            for j in reversed(nest)
        ),
        gap,
        elastic,
        source.demand_nm,
        None
        if source.demand_nm is None
        else share_that_holds(rings, bolts, source.demand_nm, turned=weaker.turned),
        source.demand,
        beyond,
        notch,
        crush,
        None
        if lug is None or lug.tensile_mpa is None
        else engagement_needed_mm(thread, torque.proof_load_n, lug.tensile_mpa),
    )


def _narrows(
    nest: list[Joint],
    rings: list[RingSection],
    chosen: Mapping[str, Option],
    source: HoldSource,
) -> tuple[float, float | None]:
    """Return how far the tube's slot has to narrow at most, and how far it can elastically."""
    tube = chosen[source.outside.role]
    place = _turned(nest, tube.role)
    within = nest[len(nest) - 1 - place].arguments["bore"].role == tube.role
    ring, material = rings[place], _material(tube)
    if not within or ring.slot_mm <= 0 or ring.outside_mm is None:
        return 0.0, None
    gap = math.pi * sum(max(r.clearance_mm[1], 0.0) for r in rings[: place + 1])
    if material is None or material.modulus_gpa is None or material.yield_mpa is None:
        return gap, None
    outside, bore = _known(chosen, source.outside), _known(chosen, source.bore)
    if outside is None or bore is None:
        return gap, None
    return gap, float(elastic_gap_mm(outside.hi, bore.lo, material.modulus_gpa, material.yield_mpa))


def _slot_end(
    chosen: Mapping[str, Option], source: HoldSource, height: Dimension
) -> tuple[Range | None, Range | None]:
    """Return how far the tube's slot reaches beyond the clamp, and what its end costs."""
    slot, length = _known(chosen, source.slot), _known(chosen, source.slot_length)
    if slot is None or length is None or slot.lo <= 0:
        return None, None
    material = _material(chosen[source.outside.role])
    roots = None if material is None else material.neuber_root
    return (
        length.over(height),
        None if roots is None else slot_end_factor(slot.mid, roots),
    )
