"""A catalogue with parts that do not exist yet, so that everything can be asked again."""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from fitgraph.files import copy_folder_whole, write_bytes_whole
from fitgraph.model import Catalogue, Part, Presence
from fitgraph.plain import CsvWriter


def with_part(catalogue: Catalogue, *parts: Part) -> Catalogue:
    """Return a catalogue with further parts.

    Parameters
    ----------
    catalogue : Catalogue
        What there is.
    *parts : Part
        What is added.

    Raises
    ------
    ValueError
        If a stock number is taken, or a role is unknown.
    """
    added = dict(catalogue.parts)
    by_role = dict(catalogue.by_role)
    for part in parts:
        if part.sku in added:
            raise ValueError(f"the stock number {part.sku} is taken")
        if part.role not in catalogue.vocabulary.roles:
            raise ValueError(f"{part.sku} is of the role {part.role!r}, which is unknown")
        added[part.sku] = part
        by_role[part.role] = (*by_role.get(part.role, ()), part)
    return replace(catalogue, parts=MappingProxyType(added), by_role=MappingProxyType(by_role))


def only_parts(catalogue: Catalogue, role: str, parts: Iterable[Part]) -> Catalogue:
    """Return a catalogue in which a role has just these parts."""
    kept = {s: p for s, p in catalogue.parts.items() if p.role != role}
    emptied = {r: ps for r, ps in catalogue.by_role.items() if r != role}
    bare = replace(catalogue, parts=MappingProxyType(kept), by_role=MappingProxyType(emptied))
    return with_part(bare, *parts)


def _append(path: Path, columns: tuple[str, ...], rows: list[dict[str, str]]) -> None:
    """Add rows to a table, in its own order of columns and with its own separator."""
    before = path.read_bytes() if path.exists() else b""
    lines = before.decode("utf-8-sig", "replace").splitlines()
    header = lines[0] if lines else ",".join(columns)
    comma = max(",;\t", key=header.count)
    names = [name.strip().strip('"').lower() for name in header.split(comma)]
    out = io.StringIO()
    if not lines:
        out.write(header + "\n")
    elif not before.endswith(b"\n"):
        out.write("\n")
    writer = CsvWriter(out, delimiter=comma, lineterminator="\n")
    writer.rows([row.get(name, "") for name in names] for row in rows)
    write_bytes_whole(path, before + out.getvalue().encode())


def save_with(folder: Path, target: Path, catalogue: Catalogue, parts: Iterable[Part]) -> None:
    """Write a copy of a catalogue folder that has further parts, whole or not at all.

    Parameters
    ----------
    folder : Path
        The catalogue as it is.
    target : Path
        A folder that does not exist yet.
    catalogue : Catalogue
        The catalogue in the folder; its currency says how prices are written.
    parts : iterable of Part
        What is added.

    Raises
    ------
    FileExistsError
        If the target exists.
    """
    vocabulary = catalogue.vocabulary
    rows, figures, stock = [], [], []
    for part in parts:
        rows.append(
            {
                "sku": part.sku,
                "role": part.role,
                "name": part.name,
                "maker": part.maker,
                "price": "" if part.price is None else vocabulary.plain_money(part.price),
                "mass": "" if part.mass_g is None else f"{part.mass_g:g} g",
                "material": part.material or "",
                "note": part.note,
            }
        )
        stock.append({"sku": part.sku, "quantity": str(part.stock)})
        for name, feature in part.features.items():
            at = {"sku": part.sku, "feature": name, "basis": "maker"}
            if feature.presence is Presence.ABSENT:
                figures.append({**at, "value": "no"})
                continue
            for size, dimension in feature.lengths.items():
                limits = f"{dimension.lo:.6g}..{dimension.hi:.6g}"
                figures.append({**at, "dimension": size, "value": limits})
            for size, word in feature.words.items():
                figures.append({**at, "dimension": size, "value": word.value or "?"})

    def add(copy: Path) -> None:
        _append(copy / "parts.csv", ("sku", "role", "name", "price", "mass", "material"), rows)
        _append(copy / "features.csv", ("sku", "feature", "dimension", "value", "basis"), figures)
        _append(copy / "stock.csv", ("sku", "quantity"), stock)

    copy_folder_whole(folder, target, add)
