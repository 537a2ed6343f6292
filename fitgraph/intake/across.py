"""Checks across the fields of parts: what can be true alone and not together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from statistics import median
from typing import TYPE_CHECKING

from fitgraph.catalogue.figures import parse_figure
from fitgraph.catalogue.findings import WARNING, Finding
from fitgraph.model import Basis, Vocabulary
from fitgraph.units import UnitError, show_mass

if TYPE_CHECKING:
    from fitgraph.intake.taken import Taken

#: How many times dearer or cheaper than its kin a part has to be to be told.
FAR = 8.0

#: Kin of a part, at least, before a price is called far.
_KIN = 5


def across(parts: Sequence[Taken], vocabulary: Vocabulary) -> Iterator[Finding]:
    """Yield what is odd about parts beside one another.

    Parameters
    ----------
    parts : sequence of Taken
        As they were understood.
    vocabulary : Vocabulary
        Its currency shows prices.
    """
    yield from _prices(parts, vocabulary)
    yield from _masses(parts, vocabulary)
    yield from _twins(parts)
    yield from _inches(parts)


def _prices(parts: Sequence[Taken], vocabulary: Vocabulary) -> Iterator[Finding]:
    kin: dict[str, list[Taken]] = defaultdict(list)
    for part in parts:
        if part.price:
            kin[part.role].append(part)
    for role, of in kin.items():
        if len(of) < _KIN:
            continue
        usual = median(p.price or 0 for p in of)
        title = vocabulary.roles[role].title
        for part in of:
            price = part.price or 0
            if usual / FAR <= price <= usual * FAR:
                continue
            shown = vocabulary.money(price)
            common = vocabulary.money(int(usual))
            yield Finding(
                part.source,
                part.row,
                "price",
                shown,
                f"is far from what a {title} costs here ({common} in the middle)",
                "Check the price and its decimal mark",
                WARNING,
                "price-far",
                part.sku,
            )


def _masses(parts: Sequence[Taken], vocabulary: Vocabulary) -> Iterator[Finding]:
    kin: dict[str, list[tuple[Taken, float]]] = defaultdict(list)
    for part in parts:
        if part.mass_g is not None:
            kin[part.role].append((part, part.mass_g))
    for role, of in kin.items():
        usual = median(mass for _, mass in of)
        for part, mass in of if len(of) >= _KIN else ():
            if not usual / FAR <= mass <= usual * FAR:
                yield Finding(
                    part.source,
                    part.row,
                    "mass",
                    show_mass(mass),
                    f"is far from what a {vocabulary.roles[role].title} weighs here "
                    f"({show_mass(usual)} in the middle)",
                    "Check the mass and its unit",
                    WARNING,
                    "mass-far",
                    part.sku,
                )


def _twins(parts: Sequence[Taken]) -> Iterator[Finding]:
    seen: dict[tuple[str, ...], Taken] = {}
    for part in parts:
        sizes = sorted(f"{path} {value}" for path, (value, _, _) in part.figures.items())
        key = (part.role, " ".join(part.name.casefold().split()), part.maker.casefold(), *sizes)
        other = seen.setdefault(key, part)
        if other is not part and part.name != part.sku:
            yield Finding(
                part.source,
                part.row,
                "",
                part.name[:60],
                f"looks like the part {other.sku} in row {other.row} of {other.source}",
                "Drop one of the two if they are one part",
                WARNING,
                "twins",
                part.sku,
            )


def _inches(parts: Sequence[Taken]) -> Iterator[Finding]:
    """Yield a finding for a column whose figures are inches among millimetres."""
    columns: dict[tuple[str, str], list[tuple[Taken, float]]] = defaultdict(list)
    for part in parts:
        for path, (value, _, note) in part.figures.items():
            if not note.startswith("column "):
                continue
            try:
                figure = parse_figure(value, Basis.NOMINAL, 0.0)
            except UnitError:
                continue
            if figure.known and figure.mid > 0:
                columns[(part.role, path)].append((part, figure.mid))
    for (_, path), sizes in columns.items():
        if len(sizes) < _KIN:
            continue
        usual = median(size for _, size in sizes)
        for part, size in sizes:
            if 0.7 < size * 25.4 / usual < 1.4:
                yield Finding(
                    part.source,
                    part.row,
                    path,
                    f"{size:g}",
                    "looks like inches among millimetres",
                    "Write its unit behind it, like 1.25 in",
                    WARNING,
                    "inches",
                    part.sku,
                )
