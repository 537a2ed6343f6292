"""How far a slotted bore closes, and what force and stress that takes.

A slotted tube's end is a ring with a gap (a C); so is a collar with its cut. Closing it bends
the ring: the moment grows from nothing at the gap to its largest opposite the gap. A slot that
ends inside a tube is held back by the whole tube beyond it, which takes several times the
force. Lengths are in mm and may be arrays. `gap` is always by how much the slot narrows along
the circumference: pi times the diametral clearance that is taken up.

Assumptions: elastic; a thin ring (mean radius at least five times the wall, where the error
of the straight-beam stress stays below about 7 %); a gap small against the circumference;
no friction. A round hole at the slot's end, the stress there, welds and dents are left out.

References
----------
Timoshenko, Strength of Materials, part I, curved bars: a split ring under equal and opposite
forces P at its gap opens by 3 pi P R^3 / (E I) (from memory; checked by numerical integration
and by a chain of beam elements). Vlasov, General Theory of Shells, semi-membrane theory: a
disturbance of a tube's section dies out over a length that goes with R sqrt(R / wall).
"""

from __future__ import annotations

import numpy as np

from fitgraph.mechanics.arrays import Floats, plain, require


def diametral_closure_mm(slot_width: Floats) -> Floats:
    """Return by how much a bore shrinks in diameter when its slot closes fully.

    Parameters
    ----------
    slot_width : float or array
        Width of the slot in mm.

    Notes
    -----
    The circumference loses the slot's width, so the diameter loses w/pi.

    Raises
    ------
    ValueError
        If a width is negative.

    Examples
    --------
    >>> round(diametral_closure_mm(5.0), 3)
    1.592
    """
    require(np.asarray(slot_width) >= 0, "a slot cannot be less than 0 mm wide")
    return plain(np.asarray(slot_width) / np.pi)


def slot_width_for_mm(clearance: Floats) -> Floats:
    """Return the least slot width in mm that lets a bore close by a diametral clearance."""
    return plain(np.maximum(np.asarray(clearance), 0.0) * np.pi)


def _ring(outside: Floats, bore: Floats) -> tuple[Floats, Floats]:
    """Return mean radius and wall in mm."""
    require(np.asarray(bore) > 0, "a ring has to have a bore")
    require(np.asarray(outside) > bore, "the outside has to be larger than the bore")
    return plain((np.asarray(outside) + bore) / 4), plain((np.asarray(outside) - bore) / 2)


def closing_share(
    slot_length: Floats, clamp_height: Floats, outside: Floats, bore: Floats
) -> Floats:
    """Return how much of a free ring's closure a slot in a tube has at its mouth.

    Parameters
    ----------
    slot_length : float or array
        Length of the slot in mm, from the tube's end.
    clamp_height : float or array
        Length over which it is squeezed, from the tube's end, in mm.
    outside, bore : float or array
        Diameters in mm.

    Returns
    -------
    float or array
        Share from 0 to 1 of the closure that the same pressure gives a free ring.

    Notes
    -----
    With lambda = R sqrt(R / wall), the length scale of semi-membrane theory, xi = L / lambda,
    h the squeezed length and L' the smaller of L and 2.9 lambda,

        share = (1 - exp(-0.10 xi^2.6)) (1 - (1 - h / L')^2.4)

    The form and its figures are fitted to linear three-dimensional finite elements of
    slotted steel tubes (mean radius 15 to 20 mm, wall 1.5 to 3 mm, slot 40 to 300 mm,
    squeezed over 15 mm or more). They meet those runs within 11 %, or within 20 % where the
    wall is a fifth of the mean radius. The slot's end does not close at all: with a clamp as
    high as the slot is long, the mean closure under it is half of that at the mouth.

    Raises
    ------
    ValueError
        If the sizes are no ring or a length is not above zero.
    """
    radius, wall = _ring(outside, bore)
    r, t, length = np.asarray(radius), np.asarray(wall), np.asarray(slot_length, dtype=float)
    require(length > 0, "a slot has to be longer than 0 mm")
    require(np.asarray(clamp_height) > 0, "a clamp has to be higher than 0 mm")
    scale = r * np.sqrt(r / t)
    free = -np.expm1(-0.10 * (length / scale) ** 2.6)
    beyond = np.maximum(1 - np.asarray(clamp_height) / np.minimum(length, 2.9 * scale), 0.0)
    return plain(free * (1 - beyond**2.4))


def closing_force_n(
    gap: Floats,
    outside: Floats,
    bore: Floats,
    height: Floats,
    modulus_gpa: Floats,
    slot_length: Floats | None = None,
) -> Floats:
    """Return the force across a slot that narrows it by `gap`, in N.

    Parameters
    ----------
    gap : float or array
        By how much the slot narrows at its mouth, in mm along the circumference.
    outside, bore : float or array
        Diameters in mm.
    height : float or array
        Length along the axis that is squeezed, in mm.
    modulus_gpa : float or array
        Young's modulus in GPa.
    slot_length : float or array, optional
        Length of the slot in mm where it ends inside a tube; left out for a ring or a collar
        that is cut along its whole length.

    Notes
    -----
    F = gap E I / (3 pi R^3) with I = height * wall^3 / 12, over :func:`closing_share` where
    the slot ends. A uniform pressure p around the ring bends it just as F = p R height does,
    so this is also the part of a collar's hoop tension that closing takes.

    Raises
    ------
    ValueError
        If the sizes are no ring.
    """
    radius, wall = _ring(outside, bore)
    second_moment = np.asarray(height) * np.asarray(wall) ** 3 / 12
    per_mm = np.asarray(modulus_gpa) * 1e3 * second_moment / (3 * np.pi * np.asarray(radius) ** 3)
    if slot_length is not None:
        per_mm = per_mm / np.asarray(closing_share(slot_length, height, outside, bore))
    return plain(np.asarray(gap) * per_mm)


def gap_under_force_mm(
    force_n: Floats,
    outside: Floats,
    bore: Floats,
    height: Floats,
    modulus_gpa: Floats,
    slot_length: Floats | None = None,
) -> Floats:
    """Return by how much a force across a slot narrows it, in mm; see `closing_force_n`."""
    per_mm = closing_force_n(1.0, outside, bore, height, modulus_gpa, slot_length)
    return plain(np.asarray(force_n) / np.asarray(per_mm))


def closing_stress_mpa(gap: Floats, outside: Floats, bore: Floats, modulus_gpa: Floats) -> Floats:
    """Return the largest bending stress of a closing ring, opposite the slot, in MPa.

    Parameters
    ----------
    gap : float or array
        By how much the slot narrows, in mm along the circumference.
    outside, bore : float or array
        Diameters in mm.
    modulus_gpa : float or array
        Young's modulus in GPa.

    Notes
    -----
    The moment opposite the gap is 2 F R, hence stress = gap E wall / (3 pi R^2), whatever
    the height. It is the free ring's; a slot that ends inside a tube has a peak at its end
    that is not covered.

    Raises
    ------
    ValueError
        If the sizes are no ring.
    """
    radius, wall = _ring(outside, bore)
    modulus_mpa = np.asarray(modulus_gpa) * 1e3
    per_mm = modulus_mpa * np.asarray(wall) / (3 * np.pi * np.asarray(radius) ** 2)
    return plain(np.asarray(gap) * per_mm)


def elastic_gap_mm(outside: Floats, bore: Floats, modulus_gpa: Floats, yield_mpa: Floats) -> Floats:
    """Return by how much a slot can narrow before the ring yields opposite to it, in mm."""
    per_mm = np.asarray(closing_stress_mpa(1.0, outside, bore, modulus_gpa))
    return plain(np.asarray(yield_mpa) / per_mm)


def elastic_closure_mm(
    outside: Floats, bore: Floats, modulus_gpa: Floats, yield_mpa: Floats, slot_width: Floats
) -> Floats:
    """Return the diametral closure, in mm, that a slot gives without yielding the ring.

    The smaller of closing the slot fully and of closing it up to yield.
    """
    limit = np.asarray(elastic_gap_mm(outside, bore, modulus_gpa, yield_mpa))
    return plain(np.minimum(limit, np.asarray(slot_width)) / np.pi)
