"""Standard sizes of the trade: tubes, head tubes, bearings, screws, rider classes.

The figures are in ``tables/*.csv``; every row names its source. They are there to recognise a
figure, not to replace a measurement or a maker's drawing.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import TypeVar

from fitgraph.mechanics.published import by_name, rows
from fitgraph.records import dataclass

_MM_PER_INCH = Fraction(254, 10)
_Row = TypeVar("_Row")


@dataclass(frozen=True, slots=True)
class InchTube:
    """A tube size named in inches; `exact_mm` by definition, `trade_mm` as people write it."""

    name: str
    exact_mm: float
    trade_mm: float
    source: str


@dataclass(frozen=True, slots=True)
class HeadTube:
    """A head tube's code in the Standardized Headset Identification System, and its bore."""

    code: str
    cup: str
    bore_mm: float
    source: str


@dataclass(frozen=True, slots=True)
class Bearing:
    """A radial ball bearing's boundary dimensions in mm (ISO 15)."""

    name: str
    bore_mm: float
    outside_mm: float
    width_mm: float
    source: str


@dataclass(frozen=True, slots=True)
class Screw:
    """A metric coarse thread: diameter and pitch in mm, nominal stress area in mm2."""

    thread: str
    diameter_mm: float
    pitch_mm: float
    stress_area_mm2: float
    source: str


@dataclass(frozen=True, slots=True)
class PropertyClass:
    """A screw's property class: stress under proof load and tensile strength in MPa."""

    name: str
    proof_stress_mpa: float
    tensile_mpa: float
    source: str


@dataclass(frozen=True, slots=True)
class RiderClass:
    """A class of kick scooters by the rider's mass, in kg (EN 14619)."""

    name: str
    over_kg: float
    upto_kg: float
    source: str


INCH_TUBES: Mapping[str, InchTube] = MappingProxyType(
    {
        r["name"]: InchTube(
            r["name"],
            float(Fraction(r["inches"]) * _MM_PER_INCH),
            float(r["trade_mm"]),
            r["source"],
        )
        for r in rows("inch_tubes")
    }
)

HEAD_TUBES: Mapping[str, HeadTube] = by_name("head_tubes", HeadTube)

BEARINGS: Mapping[str, Bearing] = by_name("bearings", Bearing)

SCREWS: Mapping[str, Screw] = by_name("screws", Screw)

PROPERTY_CLASSES: Mapping[str, PropertyClass] = by_name("property_classes", PropertyClass)

RIDER_CLASSES: Mapping[str, RiderClass] = by_name("rider_classes", RiderClass)


def _named(table: Mapping[str, _Row], name: str, what: str) -> _Row:
    key = name.strip().upper()
    if key in table:
        return table[key]
    raise KeyError(f"no {what} called {name!r}; known are {', '.join(table)}")


def screw(thread: str) -> Screw:
    """Return the coarse thread called such as ``"M6"``.

    Raises
    ------
    KeyError
        If it is not in the table.
    """
    return _named(SCREWS, thread, "coarse thread")


def property_class(name: str) -> PropertyClass:
    """Return the property class called such as ``"8.8"``.

    Raises
    ------
    KeyError
        If it is not in the table.
    """
    return _named(PROPERTY_CLASSES, name, "property class")


def bearing(name: str) -> Bearing:
    """Return the bearing called such as ``"608"``.

    Raises
    ------
    KeyError
        If it is not in the table.
    """
    return _named(BEARINGS, name, "bearing")


def head_tube(code: str) -> HeadTube:
    """Return the head tube with a code such as ``"ZS44"``.

    Raises
    ------
    KeyError
        If it is not in the table.
    """
    return _named(HEAD_TUBES, code, "head tube code")


def rider_classes(mass_kg: float) -> tuple[RiderClass, ...]:
    """Return the classes of kick scooters made for a rider of a mass in kg; may be none.

    Examples
    --------
    >>> [c.name for c in rider_classes(42)]
    ['A', 'B']
    """
    return tuple(c for c in RIDER_CLASSES.values() if c.over_kg < mass_kg <= c.upto_kg)
