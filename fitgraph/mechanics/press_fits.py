"""Interference fits: pressure, force to press in, stresses in hub and shaft.

Lamé's thick cylinders, elastic, plane stress, even contact along the whole length, both parts
equally long. Roughness that flattens, end effects and yielding are left out, so real pressures
are mostly lower. Lengths are in mm and may be arrays; `interference` is diametral.

References
----------
Shigley's Mechanical Engineering Design, 10th ed., eq. 3-56 and 3-57 (press and shrink fits),
eq. 3-50 (tangential stress).
"""

from __future__ import annotations

import numpy as np

from fitgraph.mechanics.arrays import Floats, plain, require

#: Friction while pressing metal parts together, from oiled to dry (from memory).
PRESSING_FRICTION: tuple[float, float] = (0.08, 0.20)


def interference_pressure_mpa(
    interference: Floats,
    diameter: Floats,
    hub_outside: Floats,
    hub_modulus_gpa: Floats,
    shaft_modulus_gpa: Floats,
    shaft_bore: Floats = 0.0,
    hub_poisson: Floats = 0.3,
    shaft_poisson: Floats = 0.3,
) -> Floats:
    """Return the contact pressure of an interference fit in MPa; 0 where there is clearance.

    Parameters
    ----------
    interference : float or array
        By how much the shaft is larger than the hub's bore before assembly, in mm.
    diameter, hub_outside, shaft_bore : float or array
        Diameter of the fit, outside of the hub and bore of the shaft (0 if solid), in mm.
    hub_modulus_gpa, shaft_modulus_gpa : float or array
        Young's moduli in GPa.
    hub_poisson, shaft_poisson : float or array
        Poisson's ratios.

    Raises
    ------
    ValueError
        If the diameters are not in the order bore, fit, outside.

    Examples
    --------
    >>> round(interference_pressure_mpa(0.1, 100.0, 150.0, 210.0, 210.0), 1)
    58.3
    """
    d, outer, inner = np.asarray(diameter), np.asarray(hub_outside), np.asarray(shaft_bore)
    require(inner >= 0, "a bore cannot be less than 0 mm")
    require((inner < d) & (d < outer), "the fit has to lie between the bore and the outside")
    hub = (outer**2 + d**2) / (outer**2 - d**2) + hub_poisson
    shaft = (d**2 + inner**2) / (d**2 - inner**2) - shaft_poisson
    compliance = d * (hub / np.asarray(hub_modulus_gpa) + shaft / np.asarray(shaft_modulus_gpa))
    return plain(np.maximum(np.asarray(interference), 0.0) * 1e3 / compliance)


def pressing_force_n(
    pressure_mpa: Floats,
    diameter: Floats,
    length: Floats,
    friction: tuple[float, float] = PRESSING_FRICTION,
) -> tuple[Floats, Floats]:
    """Return the least and the most force in N at the end of pressing in.

    Parameters
    ----------
    pressure_mpa : float or array
        Contact pressure in MPa.
    diameter, length : float or array
        Diameter and length of the fit in mm.
    friction : tuple of float
        Least and most coefficient of friction.
    """
    normal = np.pi * np.asarray(diameter) * np.asarray(length) * np.asarray(pressure_mpa)
    return plain(friction[0] * normal), plain(friction[1] * normal)


def slip_torque_nm(
    pressure_mpa: Floats,
    diameter: Floats,
    length: Floats,
    friction: tuple[float, float] = PRESSING_FRICTION,
) -> tuple[Floats, Floats]:
    """Return the least and the most torque in N·m at which the fit slips."""
    least, most = pressing_force_n(pressure_mpa, diameter, length, friction)
    arm = np.asarray(diameter) / 2e3
    return plain(np.asarray(least) * arm), plain(np.asarray(most) * arm)


def hub_stress_mpa(pressure_mpa: Floats, diameter: Floats, hub_outside: Floats) -> Floats:
    """Return the tangential stress at the hub's bore, its largest, in MPa (tension)."""
    d, outer = np.asarray(diameter) ** 2, np.asarray(hub_outside) ** 2
    require(d < outer, "the outside has to be larger than the fit")
    return plain(np.asarray(pressure_mpa) * (outer + d) / (outer - d))


def hub_equivalent_stress_mpa(
    pressure_mpa: Floats, diameter: Floats, hub_outside: Floats
) -> Floats:
    """Return the von Mises stress at the hub's bore in MPa, to compare with yield."""
    tangential = np.asarray(hub_stress_mpa(pressure_mpa, diameter, hub_outside))
    p = np.asarray(pressure_mpa)
    return plain(np.sqrt(tangential**2 + tangential * p + p**2))


def shaft_stress_mpa(pressure_mpa: Floats, diameter: Floats, shaft_bore: Floats = 0.0) -> Floats:
    """Return the largest tangential stress in the shaft in MPa (negative: compression).

    At the bore of a hollow shaft; everywhere in a solid one.
    """
    d, inner = np.asarray(diameter) ** 2, np.asarray(shaft_bore) ** 2
    require(inner < d, "the fit has to be larger than the shaft's bore")
    factor = np.where(inner > 0, 2 * d / (d - inner), 1.0)
    return plain(-np.asarray(pressure_mpa) * factor)
