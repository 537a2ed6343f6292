"""Read what could be made: the ``[make.NAME]`` tables of a vocabulary file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from fitgraph.catalogue.figures import parse_figure
from fitgraph.catalogue.vocabulary_shape import GENERAL, MOST_NUMBER, ROUGHEST, entries_of
from fitgraph.mechanics.limits_and_fits import parse_tolerance_class
from fitgraph.mechanics.materials import FAMILIES, MATERIALS
from fitgraph.mechanics.preferred_sizes import RENARD, renard
from fitgraph.mechanics.rules import RULES
from fitgraph.model import (
    Basis,
    CostModel,
    FreeSize,
    Joint,
    Make,
    Presence,
    Reference,
    Role,
    Workmanship,
)
from fitgraph.units import UnitError, parse_money

if TYPE_CHECKING:
    from fitgraph.catalogue.vocabulary_file import _Reader as Reader

#: Sizes of a row that stands for gauges, and how one is written that goes by a step.
_MOST_GAUGES, _EVERY = 10_000, "every "


def _money(reader: Reader, where: str, value: object, digits: int) -> int:
    try:
        amount = parse_money(str(value), digits, reader.currency)
    except (UnitError, ArithmeticError) as error:
        reader.fault(where, value, str(error), "Write an amount")
        return 0
    if amount < 0:
        reader.fault(where, value, "is below zero", "Write an amount")
    return amount


def _free(reader: Reader, where: str, role: Role, table: Mapping[str, Any]) -> list[FreeSize]:
    """Return the free dimensions with what the process holds of each."""
    found = []
    for path, text in table.items():
        size = reader.reference(where, f"{role.name}.{path}")
        if size is None or size.feature is None:
            continue
        spec = role.features[size.feature].dimensions[size.name]
        if spec.worded or spec.plausible is None:
            reader.fault(
                f"{where}.{path}", path, "is no length with a plausible range", "Give it one"
            )
            continue
        try:
            klass = parse_tolerance_class(str(text))
        except ValueError:
            try:
                # The deviations come out of a size of their own, which is then taken off.
                figure = parse_figure(f"100 {text}", Basis.MAKER, 0.0)
            except UnitError as error:
                reader.fault(f"{where}.{path}", text, str(error), "Write h9, ±0.05 or +0.1/-0")
                continue
            found.append(FreeSize(size, "", round(figure.lo - 100, 6), round(figure.hi - 100, 6)))
            continue
        if klass.hole != spec.hole:
            kind = "holes" if spec.hole else "shafts"
            reader.fault(f"{where}.{path}", text, "is a class of the other kind", f"Use {kind}'")
        found.append(FreeSize(size, str(klass)))
    if not found:
        reader.fault(where, "", "names no free dimension", 'Write it like { "bore.d" = "H9" }')
    return found


def _gauges(
    reader: Reader, where: str, free: list[FreeSize], table: Mapping[str, Any]
) -> list[FreeSize]:
    """Return the free dimensions with the sizes that the workshop has gauges or cutters for."""
    known = {f"{f.size.feature}.{f.size.name}": f for f in free}
    found = {f.size: f for f in free}
    for path, entry in table.items():
        at, one = f"{where}.{path}", known.get(path)
        if one is None:
            reader.fault(where, path, "is no free dimension", f"Use one of {', '.join(known)}")
            continue
        spec = reader.roles[one.size.role].features[one.size.feature or ""]
        low, high = spec.dimensions[one.size.name].plausible or (0.0, 0.0)
        if isinstance(entry, list):
            sizes = [reader.length(at, text) for text in entry]
        elif isinstance(entry, str) and entry in RENARD:
            sizes = renard(entry, low, high)
        elif isinstance(entry, str) and entry.startswith(_EVERY):
            step = reader.length(at, entry.removeprefix(_EVERY))
            if step <= 0 or (high - low) / step > _MOST_GAUGES:
                reader.fault(at, entry, "is no step to gauge by", "Write it like every 0.1 mm")
                continue
            first, last = round(low / step), round(high / step)
            sizes = [round(n * step, 6) for n in range(first, last + 1)]
        else:
            names = ", ".join(RENARD)
            reader.fault(
                at, entry, "is no row of sizes", f"Write a list, every 0.1 mm, or one of {names}"
            )
            continue
        found[one.size] = replace(one, gauges=tuple(sorted({s for s in sizes if low <= s <= high})))
    return list(found.values())


def _left_open(role: Role, chosen: set[tuple[str, str]], worded: set[str]) -> list[str]:
    """Return the dimensions of features that the part has, of which nothing is said."""
    return [
        f"{feature.name}.{name}"
        for feature in role.features.values()
        if feature.if_missing is not Presence.ABSENT and feature.name not in worded
        for name in feature.dimensions
        if (feature.name, name) not in chosen
    ]


def _tangled(free: list[FreeSize], joints: tuple[Joint, ...]) -> Joint | None:
    """Return a joint that compares two free dimensions with each other."""
    sizes = {f.size for f in free}
    for joint in joints:
        lacking = RULES[joint.rule].may_lack
        compared = [r for name, r in joint.arguments.items() if name not in lacking]
        if not joint.check and sum(r in sizes for r in compared) > 1:
            return joint
    return None


def _stacked(free: list[FreeSize], joints: tuple[Joint, ...]) -> Joint | None:
    """Return a stack that a free dimension is in: what it asks depends on several other parts."""
    sizes = {f.size for f in free}
    return next((j for j in joints if any(s.length in sizes for s in j.spans)), None)


def _cost(reader: Reader, where: str, table: Mapping[str, Any], digits: int) -> CostModel:
    reader.known_keys(where, table, "cost")
    missing = [name for name in entries_of("cost") if name not in table]
    if missing:
        reader.fault(where, "", f"lacks {', '.join(missing)}", "Write every one of them")
    numbers = {
        name: float(reader.number(f"{where}.{name}", table.get(name, 1), MOST_NUMBER))
        for name in ("minutes", "removal", "setup_minutes", "lot")
    }
    for name in ("removal", "lot"):
        if not numbers[name]:
            reader.fault(f"{where}.{name}", 0, "cannot be zero", "Write a number above zero")
    return CostModel(
        _money(reader, f"{where}.material_per_kg", table.get("material_per_kg", "0"), digits),
        _money(reader, f"{where}.hour", table.get("hour", "0"), digits),
        numbers["minutes"],
        numbers["removal"],
        numbers["setup_minutes"],
        int(numbers["lot"]),
        reader.length(f"{where}.allowance", table.get("allowance", "0")),
    )


def _roughness(reader: Reader, where: str, value: object) -> dict[str, float]:
    """Return Ra in µm by surface; a plain number holds for all of them."""
    names = entries_of("roughness")
    table = dict.fromkeys(names, value) if isinstance(value, int | float) else value
    entries = reader.table(where, table)
    reader.known_keys(where, entries, "roughness")
    found = {}
    for name in names:
        if name in entries:
            ra = reader.number(f"{where}.{name}", entries[name], ROUGHEST)
            if not ra:
                reader.fault(
                    f"{where}.{name}", entries[name], "is not above zero", "Write Ra in µm"
                )
            found[f"roughness_{name}"] = float(ra)
    return found


def _work(
    reader: Reader, where: str, entry: Mapping[str, Any], wall: float, hollow: bool
) -> Workmanship:
    """Return what a drawing has to say beside sizes.

    Parameters
    ----------
    wall : float
        The least wall in mm; chamfers have to leave something of the end face.
    hollow : bool
        Whether the part has a bore.
    """
    found: dict[str, Any] = {}
    if "roughness" in entry:
        found |= _roughness(reader, f"{where}.roughness", entry["roughness"])
    lengths = {"coaxiality": entry.get("coaxiality"), "edges": entry.get("edges")}
    chamfers = reader.table(f"{where}.chamfer", entry.get("chamfer"))
    reader.known_keys(f"{where}.chamfer", chamfers, "chamfer")
    lengths |= {f"chamfer_{name}": chamfers.get(name) for name in entries_of("chamfer")}
    for name, text in lengths.items():
        if text is not None:
            path = f"{where}.{name.replace('_', '.')}"
            found[name] = reader.length(path, text)
            if found[name] < 0:
                reader.fault(path, text, "is below zero", "Write a length")
    if not hollow:
        for name in ("coaxiality", "chamfer_bore"):
            if found.get(name):
                path = f"{where}.{name.replace('_', '.')}"
                reader.fault(path, found[name], "needs a bore", "Name the bore, or leave it out")
    taken = found.get("chamfer_bore", 0.0) + found.get("chamfer_outside", 0.0)
    if hollow and taken and taken >= wall:
        reader.fault(
            f"{where}.chamfer",
            f"{taken:g} mm",
            f"leaves nothing of an end face at the least wall of {wall:g} mm",
            "Write smaller chamfers or a thicker wall",
        )
    if "general_tolerances" in entry:
        found["tolerances"] = str(entry["general_tolerances"])
        if found["tolerances"] not in GENERAL:
            reader.fault(
                f"{where}.general_tolerances",
                found["tolerances"],
                "is no class of ISO 2768-1",
                f"Use one of {', '.join(GENERAL)}",
            )
    found |= {name: reader.text(where, entry, name).strip() for name in ("finish", "deburring")}
    return Workmanship(**found)


def _worked(reader: Reader, where: str, listed: object, material: str) -> frozenset[str]:
    """Return the materials and families that a process can work; by default its own family."""
    if listed is None:
        return frozenset({MATERIALS[material].family} if material in MATERIALS else ())
    named = reader.listed(where, listed, '["aluminium", "steel"]')
    known = {*MATERIALS, *FAMILIES}
    for name in map(str, named):
        if name not in known:
            reader.fault(where, name, "is no material and no family", "See docs/mechanics.md")
    return frozenset(map(str, named))


def _make(
    reader: Reader, name: str, entry: Mapping[str, Any], joints: tuple[Joint, ...], digits: int
) -> Make | None:
    where = f"make.{name}"
    before = len(reader.faults)
    reader.known_keys(where, entry, "make")
    role = reader.roles.get(str(entry.get("role", name)))
    if role is None:
        reader.fault(
            f"{where}.role", entry.get("role", name), "is no known role", "Name a role from above"
        )
        return None
    free = _free(reader, f"{where}.free", role, reader.table(f"{where}.free", entry.get("free")))
    free = _gauges(
        reader, f"{where}.gauges", free, reader.table(f"{where}.gauges", entry.get("gauges"))
    )
    fixed = reader.features(
        f"{where}.fixed", role, reader.table(f"{where}.fixed", entry.get("fixed")), 0.0
    )
    listed = reader.listed(f"{where}.words", entry.get("words", []), '["feature.word"]')
    words = [reader.reference(f"{where}.words", f"{role.name}.{path}") for path in listed]
    worded = [w for w in words if w is not None and w.feature is not None]
    for word in worded:
        if not role.features[word.feature or ""].dimensions[word.name].worded:
            reader.fault(f"{where}.words", word, "is a length", "Name it under free")
    sources = {
        part: reader.reference(f"{where}.{part}", entry[part])
        for part in ("outside", "bore", "slot")
        if part in entry
    }
    for part, source in sources.items():
        if source is not None and (source.role != role.name or source.feature is None):
            reader.fault(f"{where}.{part}", source, "is of another part", "Name its own role")
    if "outside" not in sources:
        reader.fault(where, "", "lacks 'outside'", "Name the dimension")
    length: Reference | float | None
    if str(entry.get("length", "")).startswith(f"{role.name}."):
        length = reader.reference(f"{where}.length", entry["length"])
    else:
        length = reader.length(f"{where}.length", entry.get("length", ""))
        if length <= 0:
            reader.fault(f"{where}.length", length, "is not above zero", "Write a length")
    material = str(entry.get("material", ""))
    if material not in MATERIALS:
        reader.fault(
            f"{where}.material", material, "is no material of the table", "See docs/mechanics.md"
        )
    worked = _worked(reader, f"{where}.materials", entry.get("materials"), material)
    step = reader.length(f"{where}.step", entry.get("step", "0.05 mm"))
    wall = reader.length(f"{where}.least_wall", entry.get("least_wall", "0 mm"))
    if step <= 0 or wall < 0:
        reader.fault(where, "", "has a step or a wall below zero", "Write a length")
    said = {(f.size.feature or "", f.size.name) for f in free}
    said |= {(f, d) for f, (ls, ws) in fixed.items() for d in (*ls, *ws)}
    said |= {(w.feature or "", w.name) for w in worded}
    if open_ := _left_open(role, said, {w.feature or "" for w in worded}):
        reader.fault(where, open_[0], "is neither free nor fixed", "Say one of both")
    if joint := _tangled(free, joints):
        reader.fault(f"{where}.free", joint.name, "compares two free dimensions", "Fix one of them")
    if joint := _stacked(free, joints):
        reader.fault(f"{where}.free", joint.name, "adds up a free dimension", "Fix the dimension")
    work = _work(reader, where, entry, wall, "bore" in sources)
    price = _money(reader, f"{where}.price", entry.get("price", "0"), digits)
    cost = _cost(reader, f"{where}.cost", reader.table(f"{where}.cost", entry.get("cost")), digits)
    outside = sources.get("outside")
    if len(reader.faults) > before or outside is None or length is None:
        return None
    return Make(
        name,
        reader.text(where, entry, "title", role.title),
        role.name,
        tuple(free),
        tuple(worded),
        reader.flag(where, entry, "wordless", not worded),
        MappingProxyType(fixed),
        outside,
        sources.get("bore"),
        sources.get("slot"),
        length,
        wall,
        step,
        material,
        reader.text(where, entry, "process"),
        price,
        cost,
        reader.text(where, entry, "caution"),
        work,
        worked,
    )


def read_makes(reader: Reader, joints: tuple[Joint, ...], digits: int) -> dict[str, Make]:
    """Return what could be made, by name; faults go to the reader.

    Parameters
    ----------
    reader : Reader
        Of the vocabulary's document, with its roles read.
    joints : tuple of Joint
        The vocabulary's joints.
    digits : int
        Decimal digits of the currency's minor unit.
    """
    makes = {}
    for name, raw in reader.table("make", reader.document.get("make")).items():
        made = _make(reader, name, reader.table(f"make.{name}", raw), joints, digits)
        if made is not None:
            makes[name] = made
    return makes
