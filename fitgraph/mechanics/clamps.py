"""What the bolts of a clamp give: preload, share of the proof load, pressure and grip.

A clamp here is a ring with one cut and its bolts across the cut. The bolts' force is the hoop
tension in the ring; what closing the cut and the slots under it takes is deducted, and the
rest presses. How the pressure spreads is not known: two opposite lines of contact grip least,
even pressure all around grips most, and results are given as that range together with the
ranges of friction and of the bolts' nut factor. Figures compare clamps with each other; the
maker's torque and the fit on the part go first. Levers in the clamp's lugs, bending of the
bolts, settling, heat and dirt are left out.

References
----------
Shigley's Mechanical Engineering Design, 10th ed., eq. 8-27 (T = K F d) and table 8-15 (nut
factors); ISO 898-1 (proof loads). Contact between two lines and even pressure as the bounds
of a clamped hub's grip: Roloff/Matek, Maschinenelemente, clamped joints (even pressure checked
2026-11-29, 17th ed. as tbksoft.com has it; both ends in physicsforums.com, thread 969598).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from fitgraph.mechanics.numbers import Floats, plain, require
from fitgraph.mechanics.slots import closes_by_mm, gap_under_force_mm
from fitgraph.mechanics.standards import property_class, screw
from fitgraph.records import dataclass

Range = tuple[float, float]

#: Nut factors by the bolt's surface (Shigley, table 8-15, looked up).
NUT_FACTORS: Mapping[str, float] = MappingProxyType(
    {
        "plain, as received": 0.30,
        "zinc plated": 0.20,
        "lubricated": 0.18,
        "cadmium plated": 0.16,
        "anti-seize paste": 0.12,
    }
)

#: Usual nut factor (zinc plated), and the range taken where the surface is not known: preload from
#: -17 to +25 %. VDI 2230 (1986) has 17 to 23 % of scatter where trials gave the torque, 23 to 28 %
#: where friction is estimated (looked up in a data sheet); some lists spread more.
USUAL_NUT_FACTOR = 0.20
NUT_FACTOR_RANGE: Range = (0.16, 0.24)

#: Static friction between metal parts, by surface and grease: 0.10 to 0.18 in bolted joints
#: (EP 1978264 A2, paragraph 6); steel on steel 0.10 greased and 0.5 to 0.8 dry, steel on cast
#: iron 0.2 dry (Roloff/Matek, table TB 4-1 a, in bs-wiki.de, Tribologie; both seen on 2026-11-29).
FRICTION_RANGE: Range = (0.10, 0.20)

#: Preload of joints that are opened again, as a share of the proof load (Shigley, eq. 8-31).
REUSED_SHARE_OF_PROOF = 0.75


@dataclass(frozen=True, slots=True)
class TorqueCheck:
    """What a tightening torque does to a bolt.

    Parameters
    ----------
    preload_n : tuple of float
        Least and most preload in N, over the range of nut factors.
    usual_preload_n : float
        Preload in N with the usual nut factor.
    proof_load_n : float
        Proof load in N.
    """

    preload_n: Range
    usual_preload_n: float
    proof_load_n: float

    @property
    def share_of_proof(self) -> float:
        """Return the usual preload as a share of the proof load."""
        return self.usual_preload_n / self.proof_load_n

    @property
    def worst_share_of_proof(self) -> float:
        """Return the most preload as a share of the proof load."""
        return self.preload_n[1] / self.proof_load_n

    @property
    def over_proof(self) -> bool:
        """Whether the torque can pull the bolt beyond its proof load."""
        return self.worst_share_of_proof > 1


@dataclass(frozen=True, slots=True)
class Grip:
    """What a clamp holds, each as least and most.

    Parameters
    ----------
    hoop_n : tuple of float
        Hoop tension left for pressing, in N.
    pressure_mpa : tuple of float
        Mean contact pressure in MPa.
    torque_nm : tuple of float
        Twisting moment at which it slips, in N·m.
    axial_n : tuple of float
        Load along the tube at which it slips, in N.
    """

    hoop_n: Range
    pressure_mpa: Range
    torque_nm: Range
    axial_n: Range


def bolt_preload_n(
    torque_nm: Floats, diameter_mm: Floats, nut_factor: Floats = USUAL_NUT_FACTOR
) -> Floats:
    """Return a bolt's preload in N: F = T / (K d).

    Parameters
    ----------
    torque_nm : float or array
        Tightening torque in N·m.
    diameter_mm : float or array
        Nominal diameter of the thread in mm.
    nut_factor : float or array
        K, without unit.

    Raises
    ------
    ValueError
        If a torque is negative, or a diameter or a nut factor is not above zero.

    Examples
    --------
    >>> round(bolt_preload_n(8.0, 6.0))
    6667
    """
    require(np.asarray(torque_nm) >= 0, "a tightening torque cannot be less than 0 N·m")
    require(np.asarray(diameter_mm) > 0, "a bolt's diameter has to be above 0 mm")
    require(np.asarray(nut_factor) > 0, "a nut factor has to be above 0")
    return plain(np.asarray(torque_nm) * 1e3 / (np.asarray(nut_factor) * np.asarray(diameter_mm)))


def torque_for_preload_nm(
    preload_n: Floats, diameter_mm: Floats, nut_factor: Floats = USUAL_NUT_FACTOR
) -> Floats:
    """Return the tightening torque in N·m for a preload in N: T = K F d."""
    return plain(np.asarray(nut_factor) * np.asarray(preload_n) * np.asarray(diameter_mm) / 1e3)


def proof_load_n(thread: str, strength: str) -> float:
    """Return the proof load in N of a coarse thread in a property class.

    Parameters
    ----------
    thread : str
        Such as ``"M6"``.
    strength : str
        ISO 898-1 property class, such as ``"8.8"``.

    Raises
    ------
    KeyError
        If either is not in the tables.

    Notes
    -----
    Stress area times stress under proof load. The standard rounds to three figures.
    """
    return screw(thread).stress_area_mm2 * property_class(strength).proof_stress_mpa


def preload_range_n(
    torque_nm: float, diameter_mm: float, nut_factors: Range = NUT_FACTOR_RANGE
) -> Range:
    """Return least and most preload in N of a torque in N·m, over a range of nut factors."""
    low, high = nut_factors
    return (
        float(bolt_preload_n(torque_nm, diameter_mm, high)),
        float(bolt_preload_n(torque_nm, diameter_mm, low)),
    )


def check_torque(
    torque_nm: float, thread: str, strength: str, nut_factors: Range = NUT_FACTOR_RANGE
) -> TorqueCheck:
    """Return what a torque does to a bolt, and whether it can overload it.

    Parameters
    ----------
    torque_nm : float
        Tightening torque in N·m.
    thread : str
        Coarse thread, such as ``"M6"``.
    strength : str
        ISO 898-1 property class, such as ``"8.8"``.
    nut_factors : tuple of float
        Least and most nut factor.

    Raises
    ------
    KeyError
        If the thread or the class is not in the tables.
    ValueError
        If the torque is negative.

    Examples
    --------
    >>> check_torque(8.0, "M6", "8.8").over_proof
    False
    """
    diameter = screw(thread).diameter_mm
    return TorqueCheck(
        preload_range_n(torque_nm, diameter, nut_factors),
        float(bolt_preload_n(torque_nm, diameter)),
        proof_load_n(thread, strength),
    )


def clamp_grip(
    bolts: int,
    preload_n: Range,
    diameter_mm: float,
    height_mm: float,
    closing_n: float = 0.0,
    friction: Range = FRICTION_RANGE,
) -> Grip:
    """Return the grip of a clamp with one cut on what is inside it.

    Parameters
    ----------
    bolts : int
        Bolts across the cut that press on this part (1 to 4 are usual).
    preload_n : tuple of float
        Least and most preload of each, in N.
    diameter_mm : float
        Diameter of the surface that would slip, in mm: a bar's outside in an external clamp;
        the bar's bore for a collar that squeezes a slotted bar.
    height_mm : float
        Height of the clamp in mm.
    closing_n : float
        What closing takes, in N: the clamp's own cut, and the slot of a bar or of a sleeve
        under it (:func:`fitgraph.mechanics.slots.closing_force_n`).
    friction : tuple of float
        Least and most coefficient of friction.

    Notes
    -----
    With the hoop tension H = bolts * preload - closing, pressure is 2 H / (d h). Two lines
    of contact slip at a torque of 2 mu H d and a load of 4 mu H; even pressure at pi mu H d
    and 2 pi mu H. The least takes the former with the least friction and preload.

    Raises
    ------
    ValueError
        If there is no bolt, or a size is not above zero.
    """
    require(bolts >= 1, "a clamp needs at least one bolt")
    require(diameter_mm > 0 and height_mm > 0, "a clamp's sizes have to be above 0 mm")
    low, high = (max(bolts * preload - closing_n, 0.0) for preload in preload_n)
    slow, fast = friction
    area = diameter_mm * height_mm
    return Grip(
        hoop_n=(low, high),
        pressure_mpa=(2 * low / area, 2 * high / area),
        torque_nm=(2 * slow * low * diameter_mm / 1e3, np.pi * fast * high * diameter_mm / 1e3),
        axial_n=(4 * slow * low, 2 * np.pi * fast * high),
    )


def slotted_end_gap_mm(
    hoop_n: Floats,
    slot_width: Floats,
    outside: Floats,
    bore: Floats,
    height: Floats,
    modulus_gpa: Floats,
    slot_length: Floats,
    insert_clearance: Floats | None = None,
) -> Floats:
    """Return by how much an external clamp narrows the slot of the bar in it, in mm.

    Parameters
    ----------
    hoop_n : float or array
        Hoop tension of the clamp in N.
    slot_width, slot_length : float or array
        Slot of the bar in mm.
    outside, bore, height : float or array
        The bar's diameters and the clamp's height in mm.
    modulus_gpa : float or array
        The bar's modulus in GPa.
    insert_clearance : float or array, optional
        Diametral clearance of an insert in the bar's bore, in mm; left out where there is
        none.

    Notes
    -----
    Without an insert the slot closes until its faces meet or the clamp's force is used up;
    with one, only until the bore sits on the insert, at pi times the clearance. Compare the
    result with :func:`fitgraph.mechanics.slots.elastic_gap_mm`.
    """
    stop = np.pi * np.asarray(closes_by_mm(slot_width, bore, outside))
    if insert_clearance is not None:
        stop = np.minimum(stop, np.pi * np.maximum(np.asarray(insert_clearance), 0.0))
    free = np.asarray(gap_under_force_mm(hoop_n, outside, bore, height, modulus_gpa, slot_length))
    return plain(np.minimum(stop, free))
