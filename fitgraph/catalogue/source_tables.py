"""Read what figures are worked out of: what is weighed, holds, is pressed, and how all looks."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

from fitgraph.catalogue.entries import FileTable
from fitgraph.catalogue.vocabulary_shape import MOST_UNITS
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.standards import PROPERTY_CLASSES, SCREWS
from fitgraph.model import (
    HoldSource,
    Joint,
    Outline,
    PressSource,
    Silhouette,
    StrengthSource,
    WeighSource,
)


def read_strength(file: FileTable) -> StrengthSource | None:
    """Return the tube whose strength is compared, None where the file has none."""
    table = file.inner("strength", "strength")
    if not table:
        return None
    read = {name: table.reference(name) for name, _ in table}
    outside, bore = read.get("outside"), read.get("bore")
    if outside is None or bore is None:
        table.fault("", "", "lacks outside or bore", "Name both")
        return None
    return StrengthSource(outside, bore, read.get("slot"))


def read_weigh(file: FileTable) -> WeighSource | None:
    """Return the tube whose mass is checked, None where the file has none."""
    table = file.inner("weigh", "weigh")
    if not table:
        return None
    needed = ("outside", "bore", "length")
    found = table.references(needed)
    more = table.figure("more", "300..900 mm", "0..0")
    if more is None or len(found) < len(needed):
        return None
    return WeighSource(**found, more=(more.lo, more.hi))


def read_hold(file: FileTable) -> HoldSource | None:
    """Return what holds a tube, None where the file says nothing of it."""
    table = file.inner("hold", "hold")
    if not table:
        return None
    needed = ("thread", "count", "height", "outside", "bore")
    found = table.references(needed, ("slot", "slot_length"))
    torques: dict[str, float] = {}
    told = table.inner("torque_nm")
    for thread, torque in told:
        if isinstance(torque, (int, float)) and torque > 0 and thread in SCREWS:
            torques[thread] = float(torque)
        else:
            told.fault(
                thread,
                torque,
                "is no torque of a known coarse thread",
                f"Use one of {', '.join(SCREWS)} and a number of N m",
            )
    strength = table.one_of(
        "property_class", PROPERTY_CLASSES, "8.8", "is no ISO 898-1 property class"
    )
    demand = table.get("demand_nm")
    if demand is not None and not (isinstance(demand, (int, float)) and demand > 0):
        table.fault("demand_nm", demand, "is no moment", "Write a number of N m above 0")
        demand = None
    if any(name not in found for name in needed):
        return None
    return HoldSource(
        found["thread"],
        found["count"],
        found["height"],
        found["outside"],
        found["bore"],
        found.get("slot"),
        found.get("slot_length"),
        strength,
        MappingProxyType(torques),
        None if demand is None else float(demand),
        table.text("demand"),
    )


def read_silhouette(file: FileTable) -> Silhouette | None:
    """Return the product from the side, None where the file has none."""
    table = file.inner("silhouette", "silhouette")
    if not table:
        return None
    width, height = (table.number(name, MOST_UNITS, None) for name in ("width", "height"))
    for name, size in (("width", width), ("height", height)):
        if not size:
            table.fault(name, size, "leaves no room", "Write a number above 0")
    drawn, roles = {}, table.inner("roles")
    for role, entries in roles:
        if role not in file.read.roles:
            remedy = f"Use one of {', '.join(file.read.roles)}"
            roles.fault(role, role, "names no known role", remedy)
        if not isinstance(entries, list):
            roles.fault(role, entries, "is no list", "Write it like [{ ring = [9, 9, 4] }]")
            continue
        found = [_outline(roles, role, each, width, height) for each in entries]
        drawn[role] = tuple(o for o in found if o is not None)
    return Silhouette(width, height, MappingProxyType(drawn))


def _outline(
    roles: FileTable, role: str, entry: object, width: float, height: float
) -> Outline | None:
    table = FileTable(roles.read, roles.at(role), entry, "outline")
    kind = "ring" if "ring" in table else "line"
    values = table.get(kind)
    if not isinstance(values, list) or ("ring" in table and "line" in table):
        remedy = "Write line = [x, y, x, y]"
        table.fault("", entry, "is neither a line nor a ring", remedy)
        return None
    figures = [table.as_number(kind, value, MOST_UNITS) for value in values]
    wide = table.number("wide", MOST_UNITS, 4)
    ring = kind == "ring"
    if len(figures) != 3 if ring else len(figures) < 4 or len(figures) % 2:
        remedy = "Write ring = [x, y, radius]" if ring else "Write line = [x, y, x, y]"
        table.fault(kind, values, "has not so many numbers as it needs", remedy)
        return None
    radius = figures.pop() if ring else 0.0
    points = tuple(zip(figures[::2], figures[1::2], strict=True))
    if any(x > width or y > height for x, y in points):
        table.fault(kind, values, "leaves the silhouette", "Stay within its size")
        return None
    return Outline(points, wide, radius)


def read_press(file: FileTable, joints: Sequence[Joint]) -> tuple[PressSource, ...]:
    """Return the press fits, each by the joint that presses."""
    found = []
    joined = {j.name for j in joints if {"bore", "spigot"} <= set(j.arguments)}
    for name, table in file.each("press", "press"):
        if name not in joined:
            remedy = f"Use one of {', '.join(sorted(joined)) or 'no joint there is'}"
            table.fault("", name, "is no joint of a bore and a spigot", remedy)
            continue
        materials = {}
        for side in ("bored", "pressed"):
            material = MATERIALS.get(str(table.get(side, "")))
            if material is None or not material.bears_load:
                remedy = "Name a material that bears load, such as aluminium or steel"
                table.fault(side, table.get(side), "is no such material", remedy)
            else:
                materials[side] = material.name
        wall = table.figure("bored_wall", "2..4 mm")
        if wall is None:
            continue
        length, inside = table.length("length"), table.length("pressed_wall", "0 mm")
        if not wall.lo > 0 or not length > 0 or inside < 0:
            table.fault("", "", "has a size that is none", "Write sizes above 0 mm")
        elif len(materials) == 2:
            walls = (wall.lo, wall.hi)
            found.append(
                PressSource(name, walls, length, materials["bored"], materials["pressed"], inside)
            )
    return tuple(found)
