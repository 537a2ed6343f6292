"""Round tubes, plain or slotted: section, mass, bending strength and stiffness.

A slot is a cut through one wall with parallel sides, along the tube, `slot_width` wide. Its
effect on the section is exact, in closed form: the strip |x| < w/2 of the ring's lower half
is taken off and the neutral axis moves away from the slot. Diameters and widths are in mm and
may be arrays.

Bending has two planes: ``"slot"``, the plane through the tube's axis and the slot (a bar with
its slot at the back, pushed forwards or backwards), and ``"side"``, at right angles to it.
``"least"`` takes the weaker of both. Torsion is not covered: a slotted tube twists far more
easily than a closed one.

References
----------
Young, Budynas: Roark's Formulas for Stress and Strain, 7th ed., table A.1 (annulus);
Shigley's Mechanical Engineering Design, section 3-10 (bending). The slotted section follows
by integrating the removed strip.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from fitgraph.mechanics.numbers import Floats, plain, require

Plane = Literal["least", "slot", "side"]

_G_PER_MM3 = 1e-6  # one kg/m3 in g/mm3


def _strip(radius: Floats, half: Floats) -> tuple[Floats, Floats, Floats]:
    """Integrate over the strip |x| < half between y = 0 and the circle.

    Returns the integrals of 1, y**2 and x**2: an area in mm2, second moments in mm4.
    """
    r = np.asarray(radius, dtype=float)
    h = np.asarray(half, dtype=float)
    # A solid bar has radius 0 inside; the ratio is then 0 as `half` must be 0 as well.
    angle = np.arcsin(np.divide(h, r, out=np.zeros(np.broadcast(h, r).shape), where=r > 0))
    chord = np.sqrt(np.maximum(r**2 - h**2, 0.0))
    area = h * chord + r**2 * angle
    yy = (h * (5 * r**2 - 2 * h**2) * chord + 3 * r**4 * angle) / 12
    xx = -h * chord**3 / 2 + r**2 * area / 4
    return plain(area), plain(yy), plain(xx)


def _check(outside: Floats, bore: Floats, slot_width: Floats) -> None:
    require(np.asarray(bore) >= 0, "a bore cannot be less than 0 mm")
    require(np.asarray(outside) > bore, "the outside has to be larger than the bore")
    require(np.asarray(slot_width) >= 0, "a slot cannot be less than 0 mm wide")
    require(
        (np.asarray(slot_width) < bore) | (np.asarray(slot_width) == 0),
        "a slot through one wall has to be narrower than the bore",
    )


def area_mm2(outside: Floats, bore: Floats, slot_width: Floats = 0.0) -> Floats:
    """Return the area of a tube's section in mm2.

    Parameters
    ----------
    outside, bore, slot_width : float or array
        Diameters and width of the slot in mm.

    Raises
    ------
    ValueError
        If the sizes are no tube.

    Examples
    --------
    >>> round(area_mm2(34.9, 30.9), 2)
    206.72
    """
    _check(outside, bore, slot_width)
    ro, ri, half = np.asarray(outside) / 2, np.asarray(bore) / 2, np.asarray(slot_width) / 2
    ring = np.pi * (ro**2 - ri**2)
    if not half.any():
        return plain(ring)
    return plain(ring - (_strip(ro, half)[0] - np.asarray(_strip(ri, half)[0])))


def neutral_axis_mm(outside: Floats, bore: Floats, slot_width: Floats = 0.0) -> Floats:
    """Return how far the neutral axis lies from the tube's axis, away from the slot, in mm."""
    area = area_mm2(outside, bore, slot_width)
    ro, ri = np.asarray(outside) / 2, np.asarray(bore) / 2
    return plain(np.asarray(slot_width) * (ro**2 - ri**2) / 2 / area)


def mean_radius_and_wall(outside: Floats, bore: Floats) -> tuple[Floats, Floats]:
    """Return mean radius and wall of a ring in mm.

    Parameters
    ----------
    outside, bore : float or array
        Diameters in mm.

    Raises
    ------
    ValueError
        If the sizes are no ring.

    Examples
    --------
    >>> mean_radius_and_wall(34.0, 30.0)
    (16.0, 2.0)
    """
    require(np.asarray(bore) > 0, "a ring has to have a bore")
    require(np.asarray(outside) > bore, "the outside has to be larger than the bore")
    return plain((np.asarray(outside) + bore) / 4), plain((np.asarray(outside) - bore) / 2)


def second_moment_mm4(
    outside: Floats, bore: Floats, slot_width: Floats = 0.0, plane: Plane = "least"
) -> Floats:
    """Return the second moment of area, about the axis through the centroid, in mm4.

    Parameters
    ----------
    outside, bore, slot_width : float or array
        Diameters and width of the slot in mm.
    plane : {"least", "slot", "side"}
        Plane of bending.

    Raises
    ------
    ValueError
        If the sizes are no tube.
    """
    _check(outside, bore, slot_width)
    ro, ri, half = np.asarray(outside) / 2, np.asarray(bore) / 2, np.asarray(slot_width) / 2
    ring = np.pi / 4 * (ro**4 - ri**4)
    outer, inner = _strip(ro, half), _strip(ri, half)
    shift = np.asarray(neutral_axis_mm(outside, bore, slot_width))
    area = np.asarray(area_mm2(outside, bore, slot_width))
    in_slot_plane = ring - (outer[1] - np.asarray(inner[1])) - area * shift**2
    sideways = ring - (outer[2] - np.asarray(inner[2]))
    if plane == "slot":
        return plain(in_slot_plane)
    if plane == "side":
        return plain(sideways)
    return plain(np.minimum(in_slot_plane, sideways))


def section_modulus_mm3(
    outside: Floats, bore: Floats, slot_width: Floats = 0.0, plane: Plane = "least"
) -> Floats:
    """Return the elastic section modulus, for the fibre furthest from the neutral axis, in mm3.

    Parameters
    ----------
    outside, bore, slot_width : float or array
        Diameters and width of the slot in mm.
    plane : {"least", "slot", "side"}
        Plane of bending.

    Raises
    ------
    ValueError
        If the sizes are no tube.

    Examples
    --------
    >>> round(section_modulus_mm3(34.9, 30.9), 1)
    1608.7
    """
    ro, half = np.asarray(outside) / 2, np.asarray(slot_width) / 2
    shift = np.asarray(neutral_axis_mm(outside, bore, slot_width))
    # The far fibre is the slot's edge, or the crown opposite to it.
    far = np.maximum(shift + np.sqrt(ro**2 - half**2), ro - shift)
    slot = np.asarray(second_moment_mm4(outside, bore, slot_width, "slot")) / far
    side = np.asarray(second_moment_mm4(outside, bore, slot_width, "side")) / ro
    if plane == "slot":
        return plain(slot)
    if plane == "side":
        return plain(side)
    return plain(np.minimum(slot, side))


def bending_stress_mpa(
    moment_nm: Floats,
    outside: Floats,
    bore: Floats,
    slot_width: Floats = 0.0,
    plane: Plane = "least",
) -> Floats:
    """Return the largest bending stress in MPa under a moment in N·m."""
    modulus = np.asarray(section_modulus_mm3(outside, bore, slot_width, plane))
    return plain(np.asarray(moment_nm) * 1e3 / modulus)


def moment_at_stress_nm(
    outside: Floats,
    bore: Floats,
    stress_mpa: Floats,
    slot_width: Floats = 0.0,
    plane: Plane = "least",
) -> Floats:
    """Return the bending moment that stresses the furthest fibre so far, in N·m.

    Parameters
    ----------
    outside, bore, slot_width : float or array
        Diameters and width of the slot in mm.
    stress_mpa : float or array
        The stress that the furthest fibre reaches, in MPa: yield strength for one
        overload, endurance for loads that come again and again.
    plane : {"least", "slot", "side"}
        Plane of bending.

    Notes
    -----
    A comparison of plain tubes: welds, dents, and the slot's end are left out.

    Raises
    ------
    ValueError
        If the sizes are no tube.
    """
    modulus = np.asarray(section_modulus_mm3(outside, bore, slot_width, plane))
    return plain(modulus * np.asarray(stress_mpa) / 1e3)


def mass_per_mm_g(
    outside: Floats, bore: Floats, density_kg_m3: Floats, slot_width: Floats = 0.0
) -> Floats:
    """Return a tube's mass per length in g/mm (which is also kg/m)."""
    section = np.asarray(area_mm2(outside, bore, slot_width))
    return plain(section * np.asarray(density_kg_m3) * _G_PER_MM3)


def tube_mass_g(outside: Floats, bore: Floats, length_mm: Floats, density_kg_m3: Floats) -> Floats:
    """Return the mass of a length of tube in g; density in kg/m3, lengths in mm."""
    return plain(np.asarray(mass_per_mm_g(outside, bore, density_kg_m3)) * length_mm)


def strength_per_mass(
    outside: Floats,
    bore: Floats,
    yield_mpa: Floats,
    density_kg_m3: Floats,
    slot_width: Floats = 0.0,
) -> Floats:
    """Return the moment at yield by mass per length, in N·m per kg/m."""
    moment = np.asarray(moment_at_stress_nm(outside, bore, yield_mpa, slot_width))
    return plain(moment / mass_per_mm_g(outside, bore, density_kg_m3, slot_width))


def stiffness_nm2(
    outside: Floats, bore: Floats, modulus_gpa: Floats, slot_width: Floats = 0.0
) -> Floats:
    """Return the bending stiffness E·I in N·m2, for a modulus in GPa."""
    moment = np.asarray(second_moment_mm4(outside, bore, slot_width))
    return plain(moment * np.asarray(modulus_gpa) / 1e3)


def stiffness_per_mass(
    outside: Floats,
    bore: Floats,
    modulus_gpa: Floats,
    density_kg_m3: Floats,
    slot_width: Floats = 0.0,
) -> Floats:
    """Return the bending stiffness by mass per length, in N·m2 per kg/m."""
    stiffness = np.asarray(stiffness_nm2(outside, bore, modulus_gpa, slot_width))
    return plain(stiffness / mass_per_mm_g(outside, bore, density_kg_m3, slot_width))


def bar_tube_length_mm(width_mm: Floats, height_mm: Floats) -> tuple[Floats, Floats]:
    """Return the least and the most tube that a bar of a width and a height takes, in mm.

    The least is a cross tube on one upright; the most is a cross tube on two struts over the
    whole height (common practice, no source).
    """
    width, height = np.asarray(width_mm, dtype=float), np.asarray(height_mm, dtype=float)
    return plain(width + height), plain(width + 2 * height)


def bar_mass_band_g(
    outside: Floats,
    bore: Floats,
    tube_length_mm_range: tuple[Floats, Floats],
    density_kg_m3: Floats,
    slack: float = 0.2,
) -> tuple[Floats, Floats]:
    """Return the least and the most that a bar made of a tube can weigh, in g.

    A stated mass outside of the band contradicts the stated sizes.

    Parameters
    ----------
    outside, bore : float or array
        Diameters of the tube in mm.
    tube_length_mm_range : tuple of (float or array)
        Least and most tube in the bar, in mm, all its pieces together.
    density_kg_m3 : float or array
        Density in kg/m3.
    slack : float
        Share by which the band is widened on both sides, for thinned walls, thinner cross
        tubes, welds and paint (common practice, no source).

    Raises
    ------
    ValueError
        If the sizes are no tube, the range is the wrong way round, or the slack is not in
        0 to 1.
    """
    shortest, longest = tube_length_mm_range
    require(np.asarray(shortest) <= longest, "the least length is more than the most length")
    require(0 <= slack < 1, "the slack is a share from 0 up to 1")
    return (
        plain(np.asarray(tube_mass_g(outside, bore, shortest, density_kg_m3)) * (1 - slack)),
        plain(np.asarray(tube_mass_g(outside, bore, longest, density_kg_m3)) * (1 + slack)),
    )
