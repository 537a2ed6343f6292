"""When a bolt strips the thread it is screwed into: lugs of aluminium above all.

The thread of a tapped hole shears off along a cylinder at the bolt's outside. Its area is what
the engaged turns have in common there at their worst limits of size. Coarse metric threads,
hole 6H and bolt 6g. Lengths are in mm.

Leaves out: fine threads, inserts, run-out and chamfer (engagement counts full turns only),
wear by repeated use, heat, stainless bolts that gall, and bending of the bolt.

References
----------
FED-STD-H28/2B and Machinery's Handbook, shear areas of internal and external threads; ISO
965-2, limits of sizes 6H and 6g (tested against the formulas of ISO 965-1; each row of the table
says whether it was looked up);
Alexander, Analysis and Design of Threaded Assemblies, SAE 770420 (1977; title checked): factor for
a nut that widens, which ISO/TR 16224:2012 has as equation 6 (checked 2026-11-29, screw-thread-lib).
Shear strength of aluminium 0.58 (shear energy) to 0.65 of the tensile strength (6061-T6
tube: 27 of 42 ksi, MIL-HDBK-5J table 3.6.2.0(c1), looked up; 207 of 310 MPa, typical, in data
sheets).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from fitgraph.mechanics.numbers import require
from fitgraph.mechanics.published import rows
from fitgraph.mechanics.standards import screw
from fitgraph.records import dataclass

Range = tuple[float, float]

#: Shear strength as a share of the tensile strength.
SHEAR_SHARE: Range = (0.58, 0.65)

#: What is left of a thread's strength where the wall around the hole widens (Alexander): 1.4
#: diameters across, and 1.9 or more.
WIDENING: Range = (0.75, 1.0)


@dataclass(frozen=True, slots=True)
class ThreadLimits:
    """Limits of a coarse thread that count for stripping, hole 6H and bolt 6g.

    Parameters
    ----------
    bolt_outside_mm, bolt_pitch_mm : float
        Least major and least pitch diameter of the bolt.
    hole_bore_mm, hole_pitch_mm : float
        Largest minor and largest pitch diameter of the hole.
    """

    bolt_outside_mm: float
    bolt_pitch_mm: float
    hole_bore_mm: float
    hole_pitch_mm: float


@dataclass(frozen=True, slots=True)
class Stripping:
    """A bolt's pull against what its thread in the hole bears; a comparison.

    Parameters
    ----------
    strips_at_n : tuple of float
        Least and most pull at which the hole's thread strips [N].
    preload_n : tuple of float
        Least and most preload [N].
    proof_load_n : float
        The bolt's proof load [N].
    engagement_mm : float
        Length of full thread in the hole.
    needed_mm : tuple of float
        Least and most length that would bear the proof load.
    """

    strips_at_n: Range
    preload_n: Range
    proof_load_n: float
    engagement_mm: float
    needed_mm: Range

    @property
    def for_certain(self) -> bool:
        """Whether the least preload strips the strongest thread."""
        return self.preload_n[0] > self.strips_at_n[1]

    @property
    def possibly(self) -> bool:
        """Whether the most preload strips the weakest thread."""
        return self.preload_n[1] > self.strips_at_n[0]

    @property
    def bolt_goes_first(self) -> bool:
        """Whether the thread bears the bolt's proof load for certain."""
        return self.engagement_mm >= self.needed_mm[1]


LIMITS: Mapping[str, ThreadLimits] = MappingProxyType(
    {
        r["thread"]: ThreadLimits(
            float(r["bolt_outside_mm"]),
            float(r["bolt_pitch_mm"]),
            float(r["hole_bore_mm"]),
            float(r["hole_pitch_mm"]),
        )
        for r in rows("thread_limits")
    }
)


def thread_limits(thread: str) -> ThreadLimits:
    """Return the limits of a coarse thread, hole 6H and bolt 6g.

    Parameters
    ----------
    thread : str
        Such as ``"M6"``.

    Raises
    ------
    KeyError
        If the table has no such thread.

    Examples
    --------
    >>> thread_limits("M6")
    ThreadLimits(bolt_outside_mm=5.794, bolt_pitch_mm=5.212, hole_bore_mm=5.153, hole_pitch_mm=5.5)
    """
    return LIMITS[screw(thread).thread]


def hole_shear_area_mm2(
    engagement_mm: float, pitch_mm: float, bolt_outside_mm: float, hole_pitch_mm: float
) -> float:
    """Return the area along which a hole's thread shears off, in mm2.

    Parameters
    ----------
    engagement_mm : float
        Length of full thread in common.
    pitch_mm : float
        Pitch of the thread.
    bolt_outside_mm : float
        Least major diameter of the bolt.
    hole_pitch_mm : float
        Largest pitch diameter of the hole.

    Notes
    -----
    pi L / P * d (P/2 + (d - D2) / sqrt(3)), FED-STD-H28/2B.

    Examples
    --------
    >>> round(hole_shear_area_mm2(21.6, 1.5, 9.968, 9.206), 1)
    536.6
    """
    require(engagement_mm > 0, "the length of engagement has to be above 0 mm")
    depth = pitch_mm / 2 + (bolt_outside_mm - hole_pitch_mm) / 3**0.5
    return float(np.pi * engagement_mm / pitch_mm * bolt_outside_mm * depth)


def bolt_shear_area_mm2(
    engagement_mm: float, pitch_mm: float, bolt_pitch_mm: float, hole_bore_mm: float
) -> float:
    """Return the area along which a bolt's own thread shears off, in mm2.

    pi L / P * D1 (P/2 + (d2 - D1) / sqrt(3)), with the hole's largest minor diameter and the
    bolt's least pitch diameter.
    """
    require(engagement_mm > 0, "the length of engagement has to be above 0 mm")
    depth = pitch_mm / 2 + (bolt_pitch_mm - hole_bore_mm) / 3**0.5
    return float(np.pi * engagement_mm / pitch_mm * hole_bore_mm * depth)


def stripping_load_n(
    thread: str,
    engagement_mm: float,
    tensile_mpa: float,
    shear_share: Range = SHEAR_SHARE,
    widening: Range = WIDENING,
) -> Range:
    """Return the least and the most pull at which a tapped hole's thread strips, in N.

    Parameters
    ----------
    thread : str
        Coarse thread, such as ``"M6"``.
    engagement_mm : float
        Length of full thread in common [mm].
    tensile_mpa : float
        Tensile strength of what the hole is tapped into [MPa].
    shear_share, widening : tuple of float
        Least and most shear strength by tensile strength, and what widening leaves.

    Raises
    ------
    KeyError
        If the table has no such thread.
    ValueError
        If the engagement is not above zero.
    """
    limits, pitch = thread_limits(thread), screw(thread).pitch_mm
    area = hole_shear_area_mm2(engagement_mm, pitch, limits.bolt_outside_mm, limits.hole_pitch_mm)
    full = area * tensile_mpa
    return full * shear_share[0] * widening[0], full * shear_share[1] * widening[1]


def engagement_needed_mm(thread: str, load_n: float, tensile_mpa: float) -> Range:
    """Return the least and the most length of full thread that bears a load, in mm."""
    weak, strong = stripping_load_n(thread, 1.0, tensile_mpa)
    return load_n / strong, load_n / weak


def stripping(
    thread: str,
    engagement_mm: float,
    tensile_mpa: float,
    preload_n: Range,
    proof_load_n: float,
) -> Stripping:
    """Return how near a bolt's preload comes to stripping the hole's thread.

    Parameters
    ----------
    thread : str
        Coarse thread, such as ``"M6"``.
    engagement_mm : float
        Length of full thread in common [mm].
    tensile_mpa : float
        Tensile strength of what the hole is tapped into [MPa].
    preload_n : tuple of float
        Least and most preload [N] (:func:`fitgraph.mechanics.clamps.preload_range_n`).
    proof_load_n : float
        The bolt's proof load [N].

    Raises
    ------
    KeyError
        If the table has no such thread.
    ValueError
        If the engagement is not above zero.

    Examples
    --------
    >>> lug = stripping("M6", 12.0, 310.0, (5600.0, 8300.0), 11600.0)
    >>> lug.possibly, [round(x) for x in lug.strips_at_n]
    (False, [19727, 29478])
    """
    return Stripping(
        stripping_load_n(thread, engagement_mm, tensile_mpa),
        preload_n,
        proof_load_n,
        engagement_mm,
        engagement_needed_mm(thread, proof_load_n, tensile_mpa),
    )
