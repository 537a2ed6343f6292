"""How hard a clamp's bolts hold the tube of a combination, at the worst sizes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from fitgraph.graph.columns import word_of
from fitgraph.graph.options import length_of, presence_of
from fitgraph.graph.said import judge
from fitgraph.mechanics.clamps import Grip, TorqueCheck, check_torque, clamp_grip
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.rules import RULES
from fitgraph.mechanics.slots import closing_force_n, elastic_gap_mm
from fitgraph.model import Dimension, Option, Presence, Reference, Vocabulary


@dataclass(frozen=True, slots=True)
class Hold:
    """The grip of a clamp on a tube, and what it rests on.

    Parameters
    ----------
    thread, bolts, torque_nm : str, int, float
        The bolts, and the torque taken for them.
    torque : TorqueCheck
        What that torque does to a bolt.
    closing_n : float
        Force that closing the tube's slot takes from the bolts, in N.
    gap_mm : float
        How far the slot has to narrow, in mm along the circumference.
    elastic_gap_mm : float or None
        How far it can before the tube yields; None without a slot to close.
    grip : Grip
        What is left.
    """

    thread: str
    bolts: int
    torque_nm: float
    torque: TorqueCheck
    closing_n: float
    gap_mm: float
    elastic_gap_mm: float | None
    grip: Grip

    @property
    def closes(self) -> bool:
        """Whether the bolts can close the slot with force to spare."""
        return self.grip.hoop_n[0] > 0

    @property
    def elastic(self) -> bool:
        """Whether the tube springs back when the bolts are loosened."""
        return self.elastic_gap_mm is None or self.gap_mm <= self.elastic_gap_mm


def _known(chosen: Mapping[str, Option], reference: Reference | None) -> Dimension | None:
    if reference is None or reference.role not in chosen:
        return None
    dimension = length_of(chosen[reference.role], reference)
    return dimension if dimension is not None and dimension.known else None


def _clearance(vocabulary: Vocabulary, chosen: Mapping[str, Option]) -> float | None:
    """Return the most clearance that the held tube's slot has to close, in mm of diameter.

    None where no joint of this combination closes it.
    """
    source = vocabulary.hold
    if source is None:
        return None
    for joint in vocabulary.joints:
        closes = RULES[joint.rule].optional and joint.arguments.get("bore") == source.bore
        if not closes or not set(joint.roles) <= set(chosen):
            continue
        if judge(joint, chosen).there is not Presence.PRESENT:
            continue
        bore = _known(chosen, joint.arguments["bore"])
        spigot = _known(chosen, joint.arguments["spigot"])
        if bore is not None and spigot is not None:
            return max(bore.hi - spigot.lo, 0.0)
    return None


def hold(chosen: Mapping[str, Option], vocabulary: Vocabulary) -> Hold | None:
    """Return how hard the bolts hold the tube.

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
    source = vocabulary.hold
    if source is None or {source.thread.role, source.outside.role} - set(chosen):
        return None
    clamp, tube = chosen[source.thread.role], chosen[source.outside.role]
    thread, count = word_of(clamp, source.thread), word_of(clamp, source.count)
    height = _known(chosen, source.height)
    outside, bore = _known(chosen, source.outside), _known(chosen, source.bore)
    material = MATERIALS.get(tube.part.material or "") if tube.part is not None else None
    if (
        thread is None
        or thread not in source.torque_nm
        or count is None
        or not count.isdigit()
        or count == "0"
    ):
        return None
    if height is None or outside is None or bore is None or outside.hi <= bore.lo:
        return None
    torque_nm = source.torque_nm[thread]
    torque = check_torque(torque_nm, thread, source.property_class)
    clearance = _clearance(vocabulary, chosen)
    slot = source.slot.feature if source.slot is not None else None
    closing, gap, elastic, diameter = 0.0, 0.0, None, outside.mid
    if clearance is not None and presence_of(tube, slot) is Presence.PRESENT:
        slot_length = _known(chosen, source.slot_length)
        if material is None or material.modulus_gpa is None or slot_length is None:
            return None
        if outside.lo <= bore.hi:
            return None
        gap, diameter = math.pi * clearance, bore.mid
        closing = float(
            closing_force_n(
                gap, outside.hi, bore.lo, height.hi, material.modulus_gpa, slot_length.lo
            )
        )
        if material.yield_mpa is not None:
            elastic = float(
                elastic_gap_mm(outside.hi, bore.lo, material.modulus_gpa, material.yield_mpa)
            )
    grip = clamp_grip(int(count), torque.preload_n, diameter, height.lo, closing)
    return Hold(thread, int(count), torque_nm, torque, closing, gap, elastic, grip)
