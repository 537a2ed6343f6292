"""Read what could be made: the ``[make.NAME]`` tables of a vocabulary file."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Any

from fitgraph.catalogue.entries import FileTable, given_features
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
from fitgraph.units import UnitError

#: Sizes of a row that stands for gauges, and how one is written that goes by a step.
_MOST_GAUGES, _EVERY = 10_000, "every "


def _free(make: FileTable, role: Role) -> list[FreeSize]:
    """Return the free dimensions with what the process holds of each."""
    table, found = make.inner("free"), []
    for path, text in table:
        size = make.as_reference("free", f"{role.name}.{path}")
        if size is None or size.feature is None:
            continue
        spec = role.features[size.feature].dimensions[size.name]
        if spec.worded or spec.plausible is None:
            table.fault(path, path, "is no length with a plausible range", "Give it one")
            continue
        try:
            klass = parse_tolerance_class(str(text))
        except ValueError:
            try:
                # The deviations come out of a size of their own, which is then taken off.
                figure = parse_figure(f"100 {text}", Basis.MAKER, 0.0)
            except UnitError as error:
                table.fault(path, text, str(error), "Write h9, ±0.05 or +0.1/-0")
                continue
            found.append(FreeSize(size, "", round(figure.lo - 100, 6), round(figure.hi - 100, 6)))
            continue
        if klass.hole != spec.hole:
            kind = "holes" if spec.hole else "shafts"
            table.fault(path, text, "is a class of the other kind", f"Use {kind}'")
        found.append(FreeSize(size, str(klass)))
    if not found:
        make.fault("free", "", "names no free dimension", 'Write it like { "bore.d" = "H9" }')
    return found


def _gauges(make: FileTable, free: list[FreeSize]) -> list[FreeSize]:
    """Return the free dimensions with the sizes that the workshop has gauges or cutters for."""
    table = make.inner("gauges")
    known = {f"{f.size.feature}.{f.size.name}": f for f in free}
    found = {f.size: f for f in free}
    for path, entry in table:
        one = known.get(path)
        if one is None:
            make.fault("gauges", path, "is no free dimension", f"Use one of {', '.join(known)}")
            continue
        spec = make.read.roles[one.size.role].features[one.size.feature or ""]
        low, high = spec.dimensions[one.size.name].plausible or (0.0, 0.0)
        if isinstance(entry, list):
            sizes = [table.as_length(path, text) for text in entry]
        elif isinstance(entry, str) and entry in RENARD:
            sizes = renard(entry, low, high)
        elif isinstance(entry, str) and entry.startswith(_EVERY):
            step = table.as_length(path, entry.removeprefix(_EVERY))
            if step <= 0 or (high - low) / step > _MOST_GAUGES:
                table.fault(path, entry, "is no step to gauge by", "Write it like every 0.1 mm")
                continue
            first, last = round(low / step), round(high / step)
            sizes = [round(n * step, 6) for n in range(first, last + 1)]
        else:
            remedy = f"Write a list, every 0.1 mm, or one of {', '.join(RENARD)}"
            table.fault(path, entry, "is no row of sizes", remedy)
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


def _cost(table: FileTable) -> CostModel:
    missing = [name for name in entries_of("cost") if name not in table]
    if missing:
        table.fault("", "", f"lacks {', '.join(missing)}", "Write every one of them")
    numbers = {
        name: float(table.number(name, MOST_NUMBER, 1))
        for name in ("minutes", "removal", "setup_minutes", "lot")
    }
    for name in ("removal", "lot"):
        if not numbers[name]:
            table.fault(name, 0, "cannot be zero", "Write a number above zero")
    return CostModel(
        table.amount("material_per_kg"),
        table.amount("hour"),
        numbers["minutes"],
        numbers["removal"],
        numbers["setup_minutes"],
        int(numbers["lot"]),
        table.length("allowance", "0"),
    )


def _roughness(make: FileTable) -> dict[str, float]:
    """Return Ra in µm by surface; a plain number holds for all of them."""
    names, value = entries_of("roughness"), make.get("roughness")
    same = dict.fromkeys(names, value) if isinstance(value, int | float) else value
    table = FileTable(make.read, make.at("roughness"), same, "roughness")
    found = {}
    for name in names:
        if name in table:
            ra = table.number(name, ROUGHEST)
            if not ra:
                table.fault(name, table.get(name), "is not above zero", "Write Ra in µm")
            found[f"roughness_{name}"] = float(ra)
    return found


def _work(make: FileTable, wall: float, hollow: bool) -> Workmanship:
    """Return what a drawing has to say beside sizes.

    Parameters
    ----------
    wall : float
        The least wall in mm; chamfers have to leave something of the end face.
    hollow : bool
        Whether the part has a bore.
    """
    found: dict[str, Any] = _roughness(make) if "roughness" in make else {}
    chamfers = make.inner("chamfer", "chamfer")
    lengths = [("coaxiality", make, "coaxiality"), ("edges", make, "edges")]
    lengths += [(f"chamfer_{name}", chamfers, name) for name in entries_of("chamfer")]
    for key, table, name in lengths:
        if table.get(name) is not None:
            found[key] = table.length(name)
            if found[key] < 0:
                table.fault(name, table.get(name), "is below zero", "Write a length")
    if not hollow:
        for key, table, name in (
            ("coaxiality", make, "coaxiality"),
            ("chamfer_bore", chamfers, "bore"),
        ):
            if found.get(key):
                table.fault(name, found[key], "needs a bore", "Name the bore, or leave it out")
    taken = found.get("chamfer_bore", 0.0) + found.get("chamfer_outside", 0.0)
    if hollow and taken and taken >= wall:
        make.fault(
            "chamfer",
            f"{taken:g} mm",
            f"leaves nothing of an end face at the least wall of {wall:g} mm",
            "Write smaller chamfers or a thicker wall",
        )
    if "general_tolerances" in make:
        found["tolerances"] = make.one_of(
            "general_tolerances", GENERAL, GENERAL[0], "is no class of ISO 2768-1"
        )
    found |= {name: make.text(name).strip() for name in ("finish", "deburring")}
    return Workmanship(**found)


def _worked(make: FileTable, material: str) -> frozenset[str]:
    """Return the materials and families that a process can work; by default its own family."""
    if make.get("materials") is None:
        return frozenset({MATERIALS[material].family} if material in MATERIALS else ())
    named = frozenset(map(str, make.listed("materials", '["aluminium", "steel"]')))
    for name in sorted(named - {*MATERIALS, *FAMILIES}):
        make.fault("materials", name, "is no material and no family", "See docs/mechanics.md")
    return named


def _length(make: FileTable, role: Role) -> Reference | float | None:
    """Return the length of what is made, or the dimension that is."""
    if str(make.get("length", "")).startswith(f"{role.name}."):
        return make.reference("length")
    length = make.length("length")
    if length <= 0:
        make.fault("length", length, "is not above zero", "Write a length")
    return length


def _make(name: str, make: FileTable, joints: tuple[Joint, ...]) -> Make | None:
    before = len(make.read.faults)
    role = make.role(name)
    if role is None:
        return None
    free = _gauges(make, _free(make, role))
    fixed = given_features(make.inner("fixed"), role, 0.0)
    listed = make.listed("words", '["feature.word"]')
    words = [make.as_reference("words", f"{role.name}.{path}") for path in listed]
    worded = [w for w in words if w is not None and w.feature is not None]
    for word in worded:
        if not make.read.worded(word):
            make.fault("words", word, "is a length", "Name it under free")
    sources = {part: make.reference(part) for part in ("outside", "bore", "slot") if part in make}
    for part, source in sources.items():
        if source is not None and (source.role != role.name or source.feature is None):
            make.fault(part, source, "is of another part", "Name its own role")
    if "outside" not in sources:
        make.lacks("outside", "Name the dimension")
    length = _length(make, role)
    material = str(make.get("material", ""))
    if material not in MATERIALS:
        remedy = "See docs/mechanics.md"
        make.fault("material", material, "is no material of the table", remedy)
    worked = _worked(make, material)
    step, wall = make.length("step", "0.05 mm"), make.length("least_wall", "0 mm")
    if step <= 0 or wall < 0:
        make.fault("", "", "has a step or a wall below zero", "Write a length")
    said = {(f.size.feature or "", f.size.name) for f in free}
    said |= {(f, d) for f, (ls, ws) in fixed.items() for d in (*ls, *ws)}
    said |= {(w.feature or "", w.name) for w in worded}
    if open_ := _left_open(role, said, {w.feature or "" for w in worded}):
        make.fault("", open_[0], "is neither free nor fixed", "Say one of both")
    if joint := _tangled(free, joints):
        make.fault("free", joint.name, "compares two free dimensions", "Fix one of them")
    if joint := _stacked(free, joints):
        make.fault("free", joint.name, "adds up a free dimension", "Fix the dimension")
    work = _work(make, wall, "bore" in sources)
    price = make.amount("price")
    cost = _cost(FileTable(make.read, make.at("cost"), make.get("cost", {}), "cost"))
    outside = sources.get("outside")
    if len(make.read.faults) > before or outside is None or length is None:
        return None
    return Make(
        name,
        make.text("title", role.title),
        role.name,
        tuple(free),
        tuple(worded),
        make.flag("wordless", not worded),
        MappingProxyType(fixed),
        outside,
        sources.get("bore"),
        sources.get("slot"),
        length,
        wall,
        step,
        material,
        make.text("process"),
        price,
        cost,
        make.text("caution"),
        work,
        worked,
    )


def read_makes(file: FileTable, joints: tuple[Joint, ...]) -> dict[str, Make]:
    """Return what could be made, by name, of a vocabulary file whose roles have been read."""
    made = ((name, _make(name, entry, joints)) for name, entry in file.each("make", "make"))
    return {name: one for name, one in made if one is not None}
