"""What squeezing from outside does to a closed tube: stress, flattening, collapse.

How a clamp's pressure spreads is not known, so results have two ends: even all around, which
only compresses the wall, and two opposite lines, which bend it as well. A tube that is bent
grows sideways until it touches the clamp's bore; from there on it is held all around. So the
room between both bounds the bending. The tube is taken as a ring as long as the clamp is high;
the tube beyond helps, so the figures are cautious. Lengths are in mm and may be arrays.

Leaves out: help of the tube beyond the clamp, edges of the clamp that bite, dents and
scratches, slots (see :mod:`fitgraph.mechanics.slots`), butted walls, plastics that creep.

References
----------
Young, Budynas: Roark's Formulas for Stress and Strain, 7th ed., table 9.2, case 1 (two
opposite loads), section 9.1 (curved beams), table 15.2, case 19 (collapse under pressure);
the thin ring's 0.149 and the collapse checked against worked figures, the rest in the tests.
"""

from __future__ import annotations

import numpy as np

from fitgraph.mechanics.numbers import Floats, plain, require
from fitgraph.mechanics.tubes import mean_radius_and_wall
from fitgraph.records import dataclass

Range = tuple[float, float]

#: How much a thin ring between two lines loses along them and gains across, by W R^3 / (E I).
_SHRINKS, _GROWS = np.pi / 4 - 2 / np.pi, 2 / np.pi - 0.5


@dataclass(frozen=True, slots=True)
class Crush:
    """How far a clamp goes towards crushing a tube; a comparison.

    Parameters
    ----------
    stress_mpa : tuple of float
        Largest stress in the wall [MPa]: pressed evenly, and between two lines.
    yield_mpa : float
        Yield strength of the tube [MPa].
    pressure_mpa, collapse_mpa : float
        Even pressure, and that at which an endless tube folds elastically [MPa].
    """

    stress_mpa: Range
    yield_mpa: float
    pressure_mpa: float
    collapse_mpa: float

    @property
    def share_of_yield(self) -> Range:
        """Return the stress as shares of yield: pressed evenly, and between two lines."""
        return self.stress_mpa[0] / self.yield_mpa, self.stress_mpa[1] / self.yield_mpa

    @property
    def for_certain(self) -> bool:
        """Whether even the most favourable spread of pressure yields or folds the wall."""
        return self.share_of_yield[0] > 1 or self.pressure_mpa > self.collapse_mpa

    @property
    def possibly(self) -> bool:
        """Whether the least favourable spread yields the wall somewhere."""
        return self.for_certain or self.share_of_yield[1] > 1


def even_stress_mpa(pressure_mpa: Floats, outside: Floats, bore: Floats) -> Floats:
    """Return the hoop stress at the bore of a closed tube under even outside pressure, in MPa.

    Parameters
    ----------
    pressure_mpa : float or array
        Pressure around the tube [MPa].
    outside, bore : float or array
        Diameters [mm].

    Notes
    -----
    Lamé, thick cylinder: 2 p D^2 / (D^2 - d^2); Shigley, section 3-14.
    """
    mean_radius_and_wall(outside, bore)
    outer = np.asarray(outside) ** 2
    return plain(2 * np.asarray(pressure_mpa) * outer / (outer - np.asarray(bore) ** 2))


def two_line_stress_mpa(force_n: Floats, outside: Floats, bore: Floats, height: Floats) -> Floats:
    """Return the largest stress in a ring that is squeezed between two lines, in MPa.

    Parameters
    ----------
    force_n : float or array
        Force on each of the two lines [N].
    outside, bore : float or array
        Diameters [mm].
    height : float or array
        Length of the ring along its axis [mm].

    Notes
    -----
    Under the load M = W R (1 - e/R) / pi, about 0.318 W R; the stress at the bore there is a
    curved beam's, M (r_n - r_i) / (A e r_i), with r_n = wall / ln(r_o / r_i) and
    e = R - r_n. For a thin wall that is 6 M / (height wall^2).

    Raises
    ------
    ValueError
        If the sizes are no ring.

    Examples
    --------
    >>> round(two_line_stress_mpa(2000.0, 34.9, 30.9, 40.0))
    409
    """
    radius, wall = (np.asarray(x) for x in mean_radius_and_wall(outside, bore))
    require(np.asarray(height) > 0, "a ring has to be higher than 0 mm")
    outer, inner = np.asarray(outside) / 2, np.asarray(bore) / 2
    neutral = wall / np.log(outer / inner)
    off = radius - neutral
    moment = np.asarray(force_n) * (radius - off) / np.pi
    area = np.asarray(height) * wall
    return plain(moment * (neutral - inner) / (area * off * inner))


def two_line_flattening_mm(
    force_n: Floats, outside: Floats, bore: Floats, height: Floats, modulus_gpa: Floats
) -> Floats:
    """Return by how much a ring's diameter shrinks between two lines, in mm.

    The modulus is in GPa; W R^3 (pi/4 - 2/pi) / (E I), which is 0.149 W R^3 / (E I).
    """
    radius, wall = (np.asarray(x) for x in mean_radius_and_wall(outside, bore))
    bending = np.asarray(modulus_gpa) * 1e3 * np.asarray(height) * wall**3 / 12
    return plain(_SHRINKS * np.asarray(force_n) * radius**3 / bending)


def force_that_fills_n(
    room: Floats, outside: Floats, bore: Floats, height: Floats, modulus_gpa: Floats
) -> Floats:
    """Return the force between two lines at which a ring has grown sideways by `room`, in N.

    Parameters
    ----------
    room : float or array
        Clearance between the ring and what it lies in [mm of diameter].
    outside, bore, height : float or array
        Diameters and length of the ring [mm].
    modulus_gpa : float or array
        Young's modulus [GPa].

    Notes
    -----
    Growth: W R^3 (2/pi - 1/2) / (E I), which is 0.137 W R^3 / (E I).
    """
    radius, wall = (np.asarray(x) for x in mean_radius_and_wall(outside, bore))
    require(np.asarray(room) >= 0, "there cannot be less room than none")
    bending = np.asarray(modulus_gpa) * 1e3 * np.asarray(height) * wall**3 / 12
    return plain(np.asarray(room) * bending / (_GROWS * radius**3))


def collapse_pressure_mpa(
    outside: Floats, bore: Floats, modulus_gpa: Floats, poisson: Floats = 0.3
) -> Floats:
    """Return the outside pressure at which an endless tube folds elastically, in MPa.

    E / (4 (1 - nu^2)) * (wall / R)^3; the modulus is in GPa.
    """
    radius, wall = (np.asarray(x) for x in mean_radius_and_wall(outside, bore))
    stiff = np.asarray(modulus_gpa) * 1e3 / (4 * (1 - np.asarray(poisson) ** 2))
    return plain(stiff * (wall / radius) ** 3)


def tube_crush(
    hoop_n: float,
    outside: float,
    bore: float,
    height: float,
    modulus_gpa: float,
    yield_mpa: float,
    room: float = np.inf,
) -> Crush:
    """Return how far a clamp around a closed tube goes towards crushing it.

    Parameters
    ----------
    hoop_n : float
        Hoop tension of the clamp, its bolts together [N].
    outside, bore : float
        The tube's diameters [mm].
    height : float
        Length of the tube that is squeezed [mm].
    modulus_gpa, yield_mpa : float
        The tube's Young's modulus [GPa] and yield strength [MPa].
    room : float
        Most clearance between the tube and the clamp's bore [mm of diameter]; left out where
        it is not known.

    Returns
    -------
    Crush
        The even pressure is 2 H / (D height), the force between two lines 2 H, or what lets
        the tube fill the room, if that is less; the even stress is added to its bending.

    Raises
    ------
    ValueError
        If the sizes are no tube or the tension or the room is below zero.

    Examples
    --------
    >>> thin = tube_crush(8000.0, 31.8, 29.0, 40.0, 68.9, 276.0, room=0.1)
    >>> [round(share, 2) for share in thin.share_of_yield], thin.possibly
    ([0.54, 0.72], False)
    """
    require(hoop_n >= 0, "a clamp's tension cannot be less than 0 N")
    require(height > 0, "a clamp has to be higher than 0 mm")
    pressure = 2 * hoop_n / (outside * height)
    even = float(even_stress_mpa(pressure, outside, bore))
    force = min(2 * hoop_n, float(force_that_fills_n(room, outside, bore, height, modulus_gpa)))
    return Crush(
        (even, even + float(two_line_stress_mpa(force, outside, bore, height))),
        yield_mpa,
        pressure,
        float(collapse_pressure_mpa(outside, bore, modulus_gpa)),
    )
