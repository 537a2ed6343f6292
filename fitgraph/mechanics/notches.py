"""What the end of a slot costs a tube that bends: stress concentration and fatigue.

A slot runs along the tube, so its flanks lie along the stress; the stress has to turn around
the slot's end, and peaks at the end's corners. How high depends on the width that is in the
way and on the corners' radius: a round end has half of the slot's width, a saw leaves little.
Lengths are in mm and may be arrays. Results have a least and a most.

Counts for loads that come again and again. A single overload of a ductile metal flattens the
peak by yielding and is compared without it (Shigley, section 3-13).

Leaves out: stress across the slot, as closing it brings, which opens the end like a crack and
is worst with a sawn end; bulging of the thin wall around the end; burrs, scratches, welds;
cracks that are there already.

References
----------
Inglis (1913), ellipse: 1 + 2 sqrt(a / radius), also in Pilkey, Peterson's Stress Concentration
Factors, chapter 4. Shigley's Mechanical Engineering Design, 9th ed., eq. 6-33 to 6-35a (Neuber
constant of steels, notch sensitivity). Norton, Machine Design, tables 6-6 to 6-8 (Neuber
constants of steels and aluminium alloys). Heywood: Shigley, eq. 6-78 and table 6-15.
"""

from __future__ import annotations

import numpy as np

from fitgraph.mechanics.numbers import Floats, plain, require
from fitgraph.mechanics.tubes import neutral_axis_mm, second_moment_mm4

Range = tuple[float, float]

#: Corner radius that saws leave [mm]: a fresh slitting saw, a worn one (common practice, no
#: source).
SAWN_RADIUS_MM: Range = (0.1, 0.4)

_ROOT_MM_PER_ROOT_INCH = 25.4**0.5
_KPSI_PER_MPA = 1 / 6.894757


def slot_end_concentration(width: Floats, radius: Floats) -> tuple[Floats, Floats]:
    """Return least and most elastic stress concentration at the end of a slot along the stress.

    Parameters
    ----------
    width : float or array
        Width of the slot, or of the hole that was drilled at its end [mm].
    radius : float or array
        Radius of the end's corners [mm]: half of the width for a round end.

    Returns
    -------
    least, most : float or array
        Peak stress at the corners over the stress that is there without the slot's end.

    Raises
    ------
    ValueError
        If a size is not above zero or the radius is more than half of the width.

    Notes
    -----
    Least: 1 + 1.12 (w/2r)^0.43, a fit within 2 % to plane finite elements of a slot twenty
    times as long as wide in a wide plate, radius 5 to 100 % of half the width. Most:
    1 + 2 sqrt(w/2r), an opening no longer than wide (3 for a round hole). Handbooks give an
    end-milled keyway in bending 2.14 (Shigley, section 7-4), a round end's 2.12 to 3.

    Examples
    --------
    >>> least, most = slot_end_concentration(4.0, 2.0)
    >>> round(least, 2), round(most, 2)
    (2.12, 3.0)
    """
    half, r = np.asarray(width) / 2, np.asarray(radius)
    require((half > 0) & (r > 0), "a slot's width and its end's radius have to be above 0 mm")
    require(r <= half * (1 + 1e-9), "an end's radius is half of the slot's width at most")
    return plain(1 + 1.12 * (half / r) ** 0.43), plain(1 + 2 * np.sqrt(half / r))


def neuber_root_of_steel(tensile_mpa: Floats) -> Floats:
    """Return the square root of Neuber's constant for a steel in bending [mm^0.5].

    Parameters
    ----------
    tensile_mpa : float or array
        Tensile strength [MPa], 340 to 1700.

    Notes
    -----
    Shigley, eq. 6-35a: a cubic in the tensile strength.

    Raises
    ------
    ValueError
        If the strength is outside of that range.
    """
    s = np.asarray(tensile_mpa) * _KPSI_PER_MPA
    require((s > 49) & (s < 247), "Neuber's constant is known for steels of 340 to 1700 MPa")
    root = 0.246 - 3.08e-3 * s + 1.51e-5 * s**2 - 2.67e-8 * s**3
    return plain(root * _ROOT_MM_PER_ROOT_INCH)


def fatigue_factor(concentration: Floats, radius: Floats, neuber_root: Floats) -> Floats:
    """Return by how much a notch lowers the stress that a metal bears again and again.

    Parameters
    ----------
    concentration : float or array
        Elastic stress concentration.
    radius : float or array
        Radius of the notch [mm].
    neuber_root : float or array
        Square root of Neuber's constant [mm^0.5]; 0 for full notch sensitivity.

    Returns
    -------
    float or array
        K_f = 1 + (K_t - 1) / (1 + sqrt(a / r)), Shigley, eq. 6-33.

    Raises
    ------
    ValueError
        If a concentration is below 1 or a radius is not above zero.
    """
    k, r = np.asarray(concentration), np.asarray(radius)
    require(k >= 1, "a stress concentration is 1 or more")
    require(r > 0, "a notch's radius has to be above 0 mm")
    return plain(1 + (k - 1) / (1 + np.asarray(neuber_root) / np.sqrt(r)))


def slot_end_factor(
    width: float, neuber_root: Range, radius: Range | None = None
) -> tuple[float, float]:
    """Return least and most fatigue factor at the end of a slot.

    Parameters
    ----------
    width : float
        Width of the slot, or of a hole drilled at its end [mm].
    neuber_root : tuple of float
        Least and most square root of Neuber's constant [mm^0.5]
        (:attr:`fitgraph.mechanics.materials.Material.neuber_root`).
    radius : tuple of float, optional
        Least and most radius of the end's corners [mm]. Left out where nobody told: from a
        fresh saw's to a round end.

    Returns
    -------
    least, most : float
        Over both concentrations, the radii and the constants.

    Raises
    ------
    ValueError
        If the sizes are no slot.

    Examples
    --------
    >>> sawn = slot_end_factor(4.0, (0.3, 0.35), radius=(0.1, 0.4))
    >>> drilled = slot_end_factor(8.0, (0.3, 0.35), radius=(4.0, 4.0))
    >>> [round(x, 1) for x in (*sawn, *drilled)]
    [2.4, 5.6, 2.0, 2.7]
    """
    finest, roundest = (SAWN_RADIUS_MM[0], width / 2) if radius is None else radius
    radii = np.array([min(finest, roundest), roundest])
    both = np.array(slot_end_concentration(width, radii))
    found = np.asarray(fatigue_factor(both[:, :, None], radii[:, None], np.array(neuber_root)))
    return float(found.min()), float(found.max())


def moment_with_slot_end_nm(
    outside: Floats, bore: Floats, stress_mpa: Floats, slot_width: Floats, factor: Floats
) -> Floats:
    """Return the bending moment at which a slotted tube's most stressed place is stressed so far.

    Parameters
    ----------
    outside, bore, slot_width : float or array
        Diameters and width of the slot [mm].
    stress_mpa : float or array
        What smooth metal bears again and again [MPa].
    factor : float or array
        Fatigue factor of the slot's end, 1 or more (:func:`slot_end_factor`); of no effect
        on a tube without a slot, whose width is 0.

    Returns
    -------
    float or array
        Moment [N·m], the least over the planes of bending through the slot and across it and
        over the places that matter: the slot's edges, where `factor` counts, and the furthest
        fibres elsewhere.

    Raises
    ------
    ValueError
        If the sizes are no slotted tube or a factor is below 1.

    Notes
    -----
    Bent across, the slot lies beside the neutral axis: its corners, half a width off, see
    w/D of the furthest fibre's stress. The section is that of the slotted tube, cautious by
    what the full section beyond the end gives back.

    Examples
    --------
    >>> plain_tube = moment_with_slot_end_nm(34.9, 30.9, 200.0, 4.0, 1.0)
    >>> sawn = moment_with_slot_end_nm(34.9, 30.9, 200.0, 4.0, 3.0)
    >>> round(plain_tube), round(sawn)
    (287, 96)
    """
    ro, half = np.asarray(outside) / 2, np.asarray(slot_width) / 2
    require(np.asarray(factor) >= 1, "a fatigue factor is 1 or more")
    k = np.where(half > 0, factor, 1.0)
    shift = np.asarray(neutral_axis_mm(outside, bore, slot_width))
    through = np.asarray(second_moment_mm4(outside, bore, slot_width, "slot"))
    across = np.asarray(second_moment_mm4(outside, bore, slot_width, "side"))
    edge = through / (k * (shift + np.sqrt(ro**2 - half**2)))
    crown = through / (ro - shift)
    side = across / np.maximum(ro, k * half)
    modulus = np.minimum(np.minimum(edge, crown), side)
    return plain(modulus * np.asarray(stress_mpa) / 1e3)
