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

from fitgraph.mechanics.numbers import Floats, plain, require
from fitgraph.records import dataclass

Range = tuple[float, float]

#: Friction while pressing metal parts together, from oiled to dry: a choice. DIN 7190-1 has of
#: steel that slips 0.08 to 0.11 pressed and 0.20 shrunk, with aluminium 0.10 to 0.15, with brass to
#: 0.25 where dry (checked 2026-11-29, adoc.fva-service.de, in docs/mechanics.md).
PRESSING_FRICTION: Range = (0.08, 0.20)


@dataclass(frozen=True, slots=True)
class PressFit:
    """What pressing a part into a bore comes to within limits of size; a comparison.

    Parameters
    ----------
    interference_mm : tuple of float
        Least and most [mm of diameter]; negative is clearance.
    pressure_mpa : tuple of float
        Contact pressure [MPa].
    force_n : tuple of float
        Force at the end of pressing in [N], over the pressures and friction.
    hub_stress_mpa : tuple of float
        Von Mises stress at the hub's bore [MPa].
    yield_mpa : float
        Yield strength of the hub [MPa].
    """

    interference_mm: Range
    pressure_mpa: Range
    force_n: Range
    hub_stress_mpa: Range
    yield_mpa: float

    @property
    def share_of_yield(self) -> Range:
        """Return the hub's stress as shares of its yield strength."""
        return self.hub_stress_mpa[0] / self.yield_mpa, self.hub_stress_mpa[1] / self.yield_mpa

    @property
    def loose(self) -> bool:
        """Whether the least sizes leave it without interference."""
        return self.interference_mm[0] <= 0

    @property
    def possibly_yields(self) -> bool:
        """Whether the most interference yields the hub's bore."""
        return self.share_of_yield[1] > 1


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


def press_fit(
    bore: Range,
    spigot: Range,
    hub_outside: Range,
    length: float,
    hub_modulus_gpa: float,
    shaft_modulus_gpa: float,
    hub_yield_mpa: float,
    shaft_bore: Range = (0.0, 0.0),
    friction: Range = PRESSING_FRICTION,
) -> PressFit:
    """Return what pressing a part into a bore comes to, over limits of size.

    Parameters
    ----------
    bore, spigot, hub_outside, shaft_bore : tuple of float
        Least and most diameter [mm]; a bore of 0 is a solid shaft.
    length : float
        Length of the fit [mm].
    hub_modulus_gpa, shaft_modulus_gpa : float
        Young's moduli [GPa].
    hub_yield_mpa : float
        Yield strength of the hub [MPa].
    friction : tuple of float
        Least and most coefficient of friction while pressing.

    Returns
    -------
    PressFit
        The least at the largest bore, smallest spigot, thinnest hub and thinnest shaft for
        the pressure; the hub's stress also at the other hub, as a thin one takes less
        pressure and more stress from it.

    Raises
    ------
    ValueError
        If the diameters are not in the order shaft's bore, fit, hub's outside.

    Examples
    --------
    >>> cup = press_fit((43.95, 44.0), (44.05, 44.1), (49, 49), 12, 68.9, 68.9, 276, (40, 40))
    >>> [round(x, 2) for x in cup.interference_mm], [round(x, -2) for x in cup.force_n]
    ([0.05, 0.15], [500.0, 3900.0])
    """
    interference = spigot[0] - bore[1], spigot[1] - bore[0]
    diameter = (bore[0] + bore[1] + spigot[0] + spigot[1]) / 4
    pressures, forces, stresses = [], [], []
    for amount in interference:
        for outer in hub_outside:
            for inner in shaft_bore:
                pressure = float(
                    interference_pressure_mpa(
                        amount, diameter, outer, hub_modulus_gpa, shaft_modulus_gpa, inner
                    )
                )
                pressures.append(pressure)
                forces += [float(f) for f in pressing_force_n(pressure, diameter, length, friction)]
                stresses.append(float(hub_equivalent_stress_mpa(pressure, diameter, outer)))
    return PressFit(
        interference,
        (min(pressures), max(pressures)),
        (min(forces), max(forces)),
        (min(stresses), max(stresses)),
        hub_yield_mpa,
    )
