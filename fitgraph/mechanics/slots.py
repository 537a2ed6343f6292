"""How far a slotted bore closes, and what force and stress that takes.

A slotted tube's end is a ring with a gap (a C); so is a collar with its cut. A slot is milled
or sawn through, so its faces are parallel; they turn with the ring as it closes and meet at
their outer edges first (:func:`closes_by_mm`). Closing it bends the ring: the moment grows
from nothing at the gap to its largest opposite the gap. A slot that ends inside a tube is held
back by the whole tube beyond it, which takes several times the force. Lengths are in mm and
may be arrays. `gap` is always by how much the slot narrows along the mean line: pi times the
diametral clearance that is taken up.

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
import numpy.typing as npt

from fitgraph.mechanics.numbers import Floats, plain, require
from fitgraph.mechanics.tubes import mean_radius_and_wall


def _closure(width: Floats, bore: Floats, outside: Floats) -> npt.NDArray[np.float64]:
    """Return the closure in mm without looking at the arguments; see :func:`closes_by_mm`."""
    w, d, outer = np.asarray(width), np.asarray(bore), np.asarray(outside)
    return np.asarray((outer + d) / (2 * np.pi) * np.arcsin(np.minimum(w / outer, 1.0)))


def closes_by_mm(width: Floats, bore: Floats, outside: Floats) -> Floats:
    """Return by how much a slotted bore shrinks until the slot's faces meet.

    Parameters
    ----------
    width : float or array
        Width of the slot [mm], faces parallel; 0 for a ring without one.
    bore, outside : float or array
        Diameters of the ring before it is squeezed [mm]. Equal ones stand for a very thin
        wall.

    Returns
    -------
    float or array
        Largest loss of the bore's diameter [mm]; arguments broadcast.

    Raises
    ------
    ValueError
        If a width is negative or more than the outside, a bore is negative, or an outside is
        not above zero, endless or less than its bore.

    Notes
    -----
    Let the bore be *d*, the outside *D*, the mean diameter *m = (D + d)/2*, the width *w*.
    Seen from the axis, opposite the slot, the ring's material ends at the angle
    pi - asin(w / 2r) at the radius *r*. Squeezed onto a round core the ring is bent to a
    smaller circle: its mean line keeps its length, so every angle grows by m/m'; sections
    stay plane and square to it, the wall keeps its thickness. The faces meet where the
    material reaches furthest, at the outer edge, when pi - asin(w/D) has become pi:
    m' = m (1 - asin(w/D)/pi). The bore loses what the mean line loses,

        closure = (D + d)/(2 pi) asin(w/D),

    which is w R/(pi r) to first order in w/D, *R* being the mean and *r* the outer radius.
    Against this w/pi, the figure of a thin wall, is too large by the share
    t/D - (w/D)^2/6 or so, *t* being the wall: 6 % for 34.9 x 2 mm, 15 % for a collar of 50 on
    35 mm.

    It grows with the width and the bore and falls with the outside: the angle asin(x) is less
    than its tangent x/sqrt(1 - x^2). It lies between w/(2 pi) and w/2 for every ring.

    Derived here; checked in the tests against polygons that are bent until they overlap and
    against finite elements in large displacements. In a thick ring the line that keeps its
    length lies inside of the mean line by t^2/(12 R), which takes the share t^2/(12 R^2) off:
    0.3 % at a wall of a fifth of the mean radius. The finite elements show just that.

    Leaves out: compression of the ring as a whole, which closes a trifle more; lugs, whose
    faces reach further out and meet earlier; slanted faces and burrs; yielding and the slot's
    end, beyond which a tube does not close at all.

    Examples
    --------
    >>> round(closes_by_mm(5.0, 30.9, 34.9), 3)
    1.506
    """
    w, d, outer = np.asarray(width), np.asarray(bore), np.asarray(outside)
    require(w >= 0, "a slot cannot be less than 0 mm wide")
    require(d >= 0, "a bore cannot be less than 0 mm")
    require((outer > 0) & np.isfinite(outer), "an outside has to be a number above 0 mm")
    require(outer >= d, "the outside cannot be less than the bore")
    require(w <= outer, "a slot cannot be wider than the outside")
    return plain(_closure(w, d, outer))


def closes_by_limits(
    width_lo: Floats,
    width_hi: Floats,
    bore_lo: Floats,
    bore_hi: Floats,
    outside_lo: Floats,
    outside_hi: Floats,
) -> tuple[Floats, Floats]:
    """Return the least and the most that a slotted bore can shrink within limits of size.

    Parameters
    ----------
    width_lo, width_hi : float or array
        Limits of the slot's width [mm]; both 0 where there is no slot.
    bore_lo, bore_hi, outside_lo, outside_hi : float or array
        Limits of the ring's diameters [mm].

        What is not known has the limits of what is plausible, or 0 (minus infinity) and
        infinity.

    Returns
    -------
    lo, hi : float or array
        Least and most closure [mm of diameter].

    Notes
    -----
    The least stands at the narrowest slot, the least bore and the largest outside, the most
    at the widest slot, the largest bore and the least outside, as :func:`closes_by_mm` is
    monotonic. Pairs of sizes that make no ring are left out: the wall is at least nothing
    and the slot at most as wide as the ring, so the most comes from a thin wall,
    (s/pi) asin(w/s) at the least outside *s* that is possible. Both ends are attained or
    approached by some ring within the limits; none lies beyond.

    Without any limit on the outside the least is w/(2 pi), a very thick wall; without any on
    both diameters the most is w/2. Contradictory limits (a slot wider than the largest
    outside) are not refused; the ratio is cut off at 1.

    Examples
    --------
    >>> lo, hi = closes_by_limits(4.9, 5.1, 30.8, 31.0, 34.8, 35.0)
    >>> round(lo, 3), round(hi, 3)
    (1.471, 1.54)
    >>> lo, hi = closes_by_limits(5.0, 5.0, 30.9, 30.9, -np.inf, np.inf)
    >>> round(lo, 3), round(hi, 3)
    (0.796, 1.599)
    """
    w_lo, w_hi = (np.maximum(np.asarray(w, dtype=float), 0.0) for w in (width_lo, width_hi))
    d_lo, d_hi = (np.maximum(np.asarray(d, dtype=float), 0.0) for d in (bore_lo, bore_hi))
    outer_lo = np.maximum(np.asarray(outside_lo, dtype=float), d_lo)
    outer_hi = np.maximum(np.asarray(outside_hi, dtype=float), outer_lo)
    w_lo, w_hi = np.minimum(w_lo, outer_hi), np.minimum(w_hi, outer_hi)
    # The largest ring may be endless; then only half of the thin wall's figure is left.
    endless = ~np.isfinite(outer_hi)
    some = np.where(endless | (outer_hi <= 0), 1.0, outer_hi)
    lo = np.where(endless, w_lo / (2 * np.pi), _closure(w_lo, np.minimum(d_lo, some), some))
    smallest = np.maximum(outer_lo, w_hi)
    unbounded = ~np.isfinite(smallest)
    some = np.where(unbounded | (smallest <= 0), 1.0, smallest)
    wide = _closure(np.minimum(w_hi, some), np.minimum(d_hi, some), some)
    hi = np.where(unbounded, np.inf, np.where(w_hi > 0, wide, 0.0))
    return plain(lo), plain(hi)


def width_to_close_by_mm(closure: Floats, bore: Floats, outside: Floats) -> Floats:
    """Return the least width of slot that lets a bore shrink by a diametral clearance.

    Parameters
    ----------
    closure : float or array
        What the bore has to lose [mm of diameter]; 0 or less takes no slot.
    bore, outside : float or array
        Diameters of the ring [mm].

    Returns
    -------
    float or array
        Width [mm]: D sin(2 pi closure/(D + d)), :func:`closes_by_mm` solved for it; infinity
        where no slot would do.

    Raises
    ------
    ValueError
        If the sizes are no ring.

    Examples
    --------
    >>> round(width_to_close_by_mm(1.506, 30.9, 34.9), 2)
    5.0
    """
    d, outer = np.asarray(bore), np.asarray(outside)
    require(d >= 0, "a bore cannot be less than 0 mm")
    require((outer > 0) & (outer >= d), "the outside cannot be less than the bore")
    angle = 2 * np.pi * np.maximum(np.asarray(closure), 0.0) / (outer + d)
    return plain(np.where(angle <= np.pi / 2, outer * np.sin(np.minimum(angle, 2.0)), np.inf))


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
    radius, wall = mean_radius_and_wall(outside, bore)
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
    radius, wall = mean_radius_and_wall(outside, bore)
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
    radius, wall = mean_radius_and_wall(outside, bore)
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
    limit = np.asarray(elastic_gap_mm(outside, bore, modulus_gpa, yield_mpa)) / np.pi
    return plain(np.minimum(limit, np.asarray(closes_by_mm(slot_width, bore, outside))))
