"""Materials by name: density, stiffness, yield and a word on fatigue.

The table is ``tables/materials.toml``; every row names its source. Figures are typical ones
for comparing tubes with each other. A mill certificate or a maker's figure goes first.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Material:
    """A material and the figures that the formulas take.

    Parameters
    ----------
    name : str
        Identifier, for example ``"steel-4130"``.
    title : str
        Name for readers.
    family : str
        Group of alloys, itself often an identifier (``"steel"``).
    density_kg_m3 : float
        Density in kg/m3.
    modulus_gpa : float or None
        Young's modulus in GPa; None where the material carries no load.
    yield_mpa : float or None
        Yield strength (0.2 % proof) in MPa.
    yield_range_mpa : tuple of float or None
        Spread of the yield strength over conditions, in MPa.
    tensile_mpa : float or None
        Tensile strength in MPa.
    tensile_range_mpa : tuple of float or None
        Spread of the tensile strength over conditions, in MPa.
    tensile_source : str
        Where it comes from.
    neuber_root : tuple of float or None
        Least and most square root of Neuber's constant, in mm^0.5; see
        :mod:`fitgraph.mechanics.notches`.
    endurance_mpa : float or None
        Fully reversed stress that smooth specimens bear again and again, in
        MPa: at 5e8 cycles for aluminium alloys, at 1e7 for the others.
    endurance_range_mpa : tuple of float or None
        Spread of that stress over conditions and sources, in MPa.
    endurance_source : str
        Where it comes from.
    fatigue : str
        A caution on repeated loads.
    source : str
        Where the figures come from.
    designation : str
        What a drawing calls it by; empty where the name alone does not say which one it is.
    standards : str
        Standards of that designation and of the bar that it is bought as, with editions.
    """

    name: str
    title: str
    family: str
    density_kg_m3: float
    modulus_gpa: float | None
    yield_mpa: float | None
    yield_range_mpa: tuple[float, float] | None
    tensile_mpa: float | None
    tensile_range_mpa: tuple[float, float] | None
    tensile_source: str
    neuber_root: tuple[float, float] | None
    endurance_mpa: float | None
    endurance_range_mpa: tuple[float, float] | None
    endurance_source: str
    fatigue: str
    source: str
    designation: str = ""
    standards: str = ""

    @property
    def bears_load(self) -> bool:
        """Whether stiffness and yield are known, so that strength can be compared."""
        return self.modulus_gpa is not None and self.yield_mpa is not None


def _pair(spread: list[float] | None) -> tuple[float, float] | None:
    return (float(spread[0]), float(spread[1])) if spread else None


def _row(name: str, row: Mapping[str, Any]) -> Material:
    return Material(
        name=name,
        title=row["title"],
        family=row["family"],
        density_kg_m3=float(row["density"]),
        modulus_gpa=float(row["modulus"]) if "modulus" in row else None,
        yield_mpa=float(row["yield"]) if "yield" in row else None,
        yield_range_mpa=_pair(row.get("yield_range")),
        tensile_mpa=float(row["tensile"]) if "tensile" in row else None,
        tensile_range_mpa=_pair(row.get("tensile_range")),
        tensile_source=row.get("tensile_source", ""),
        neuber_root=_pair(row.get("neuber_root")),
        endurance_mpa=float(row["endurance"]) if "endurance" in row else None,
        endurance_range_mpa=_pair(row.get("endurance_range")),
        endurance_source=row.get("endurance_source", ""),
        fatigue=row["fatigue"],
        source=row["source"],
        designation=row.get("designation", ""),
        standards=row.get("standards", ""),
    )


def _load() -> Mapping[str, Material]:
    text = (Path(__file__).parent / "tables" / "materials.toml").read_text(encoding="utf-8")
    return MappingProxyType({name: _row(name, row) for name, row in tomllib.loads(text).items()})


MATERIALS: Mapping[str, Material] = _load()

#: What they are called together, in order.
FAMILIES = tuple(sorted({m.family for m in MATERIALS.values()}))


def material(name: str) -> Material:
    """Return the material called `name`.

    Parameters
    ----------
    name : str
        Identifier; case and surrounding blanks do not matter.

    Raises
    ------
    KeyError
        If the table has no such material; the message names close matches.

    Examples
    --------
    >>> material("steel-4130").family
    'steel'
    """
    key = name.strip().casefold()
    if key in MATERIALS:
        return MATERIALS[key]
    import difflib  # only a slip of the keyboard needs it

    close = difflib.get_close_matches(key, MATERIALS, n=3)
    hint = f"did you mean {' or '.join(close)}?" if close else f"known are {', '.join(MATERIALS)}"
    raise KeyError(f"no material called {name!r}: {hint}")
