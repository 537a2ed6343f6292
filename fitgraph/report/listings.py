"""What a catalogue holds, as tidy tables: parts, features, stock, enquiries, offers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Dimension, Presence, Supply, Word
from fitgraph.report.blocks import Report, Say, Tone
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import (
    COUNT,
    DATE,
    DAYS,
    LENGTH,
    LIST,
    MASS,
    WEIGHT,
    WORD,
    money_of,
    number,
)
from fitgraph.wording import plural

#: Rows of a listing that people see.
_ROWS = 20


def _family(material: str | None) -> str | None:
    known = MATERIALS.get(material or "")
    return None if known is None else known.family


def parts_table(catalogue: Catalogue) -> Table:
    """Return the parts, a row each."""
    return Table.of(
        "parts",
        list(catalogue.parts.values()),
        (Column("sku"), lambda p: p.sku),
        (Column("role"), lambda p: p.role),
        (Column("name"), lambda p: p.name),
        (Column("maker"), lambda p: p.maker),
        (Column("price", money_of(catalogue.vocabulary)), lambda p: p.price),
        (Column("mass_g", MASS), lambda p: p.mass_g),
        (Column("material"), lambda p: p.material),
        (Column("family"), lambda p: _family(p.material)),
        (Column("stock", COUNT), lambda p: p.stock),
        (Column("note"), lambda p: p.note or None),
    )


def called_table(skus: Sequence[str], catalogue: Catalogue) -> Table:
    """Return parts by name and number, a row each."""
    return Table.of("parts", skus, (Column("part"), catalogue.called), headed=False)


def _figure(figure: Dimension | Word) -> tuple[Any, ...]:
    """Return limits of size, a word and where it comes from."""
    if isinstance(figure, Word):
        return (None, None, figure.value, figure.basis)
    ends = (figure.lo, figure.hi) if figure.known else (None, None)
    return (*map(number, ends), None, figure.basis)


def features_table(catalogue: Catalogue) -> Table:
    """Return the figures of all parts: a row each, limits of size in mm."""
    rows: list[tuple[Any, ...]] = []
    for part in catalogue.parts.values():
        for name, feature in part.features.items():
            there = feature.presence.word
            figures: list[tuple[str, Dimension | Word]] = []
            if feature.presence is not Presence.ABSENT:
                figures = [*feature.lengths.items(), *feature.words.items()]
            rows += [
                (part.sku, part.role, name, there, dimension, *_figure(figure))
                for dimension, figure in figures
            ] or [(part.sku, part.role, name, there, None, None, None, None, None)]
    columns = (
        *(Column("sku"), Column("role"), Column("feature"), Column("there"), Column("dimension")),
        *(Column("lo_mm", LENGTH), Column("hi_mm", LENGTH), Column("word"), Column("basis", WORD)),
    )
    return Table("features", columns, tuple(rows))


def stock_table(catalogue: Catalogue) -> Table:
    """Return what is held: a row for each part with pieces on the shelf."""
    money = money_of(catalogue.vocabulary)
    return Table.of(
        "stock",
        [p for p in catalogue.parts.values() if p.stock > 0],
        (Column("sku"), lambda p: p.sku),
        (Column("role"), lambda p: p.role),
        (Column("pieces", COUNT), lambda p: p.stock),
        (Column("price", money), lambda p: p.price),
        (Column("value", money), lambda p: None if p.price is None else p.price * p.stock),
    )


def asked_table(catalogue: Catalogue) -> Table:
    """Return what riders asked for: a row for each enquiry."""
    return Table.of(
        "enquiries",
        catalogue.enquiries,
        (Column("number"), lambda e: e.number),
        (Column("date", DATE), lambda e: e.date),
        (Column("have", LIST), lambda e: e.have),
        (Column("budget", money_of(catalogue.vocabulary)), lambda e: e.budget),
        (Column("max_mass_g", MASS), lambda e: e.max_mass_g),
        (Column("material"), lambda e: e.material),
        (Column("style"), lambda e: e.style or None),
        (Column("count", WEIGHT), lambda e: e.weight),
        (Column("note"), lambda e: e.note or None),
    )


def offers_table(supply: Supply, catalogue: Catalogue) -> Table:
    """Return what can be ordered: a row for each offer."""
    money = money_of(catalogue.vocabulary)
    return Table.of(
        "offers",
        supply.offers,
        (Column("sku"), lambda o: o.sku),
        (Column("supplier"), lambda o: o.supplier),
        (Column("pieces_in_pack", COUNT), lambda o: o.pack),
        (Column("pack_price", money), lambda o: o.pack_price),
        (Column("lead_days", DAYS), lambda o: o.lead_days),
        (Column("max_packs", COUNT), lambda o: o.max_packs),
    )


def listing_report(table: Table, what: str) -> Report:
    """Return the first rows of a table, without the columns that are blank in all of them."""
    shown = table.first(_ROWS)
    blank = [
        c.key
        for n, c in enumerate(shown.columns)
        if all(row[n] is None or row[n] == "" for row in shown.rows)
    ]
    left = len(table.rows) - len(shown.rows)
    rest = (
        (Say(f"{plural(left, 'more row')}: to_frame() or records()", Tone.QUIET),)
        if left > 0
        else ()
    )
    listed = replace(shown.without(*blank), clipped=True)
    return Report(plural(len(table.rows), what), (listed, *rest))
