"""What a catalogue holds, as tidy tables: parts, features, stock, enquiries, offers; and what
remains of each role."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Dimension, Presence, Supply, Verdict, Word
from fitgraph.report.blocks import Report, Say, Section, Tone
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

if TYPE_CHECKING:
    from fitgraph.explain.standing import PartStanding

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


def remaining_table(standing: Mapping[str, Sequence[PartStanding]]) -> Table:
    """Return how every part stands to a request."""
    return Table.of(
        "remaining",
        [s for of_role in standing.values() for s in of_role],
        (Column("sku"), lambda s: s.part.sku),
        (Column("role"), lambda s: s.part.role),
        (Column("verdict", WORD), lambda s: s.verdict),
        (Column("builds", COUNT), lambda s: s.builds),
        (Column("kept_out"), lambda s: s.kept_out or None),
        (Column("services", LIST), lambda s: s.services),
    )


def remaining_data(standing: Mapping[str, Sequence[PartStanding]]) -> dict[str, Any]:
    """Return how every part stands to a request, by role."""
    return {
        "roles": {
            role: remaining_table({role: of_role}).without("role").entries()
            for role, of_role in standing.items()
        }
    }


def stand_counts(parts: Sequence[PartStanding]) -> tuple[int, int, int, int]:
    """Return how many parts remain, may remain, do not fit, and are kept out otherwise."""
    fits = sum(s.remains for s in parts)
    perhaps = sum(s.verdict is Verdict.UNKNOWN and not s.kept_out for s in parts)
    fails = sum(s.verdict is Verdict.FAILS for s in parts)
    kept = sum(bool(s.kept_out) and s.verdict is not Verdict.FAILS for s in parts)
    return fits, perhaps, fails, kept


def left_out_text(left_out: Sequence[str]) -> str:
    """Return in words what did not count where it cannot be told whether a part fits."""
    return (
        "Which parts cannot be told was worked out without what lengths add up to "
        f"({', '.join(left_out)}), which would need too much memory here: some of them do not "
        "fit. What fits is told with everything."
    )


def remaining_report(
    standing: Mapping[str, Sequence[PartStanding]],
    catalogue: Catalogue,
    left_out: Sequence[str] = (),
) -> Report:
    """Return how many parts of each role remain, may, do not, or are kept out.

    Parameters
    ----------
    standing : mapping of str to sequence of PartStanding
        By role.
    catalogue : Catalogue
        Whose words are meant.
    left_out : sequence of str
        Conditions that did not count where it cannot be told.
    """
    rows = []
    for role, parts in standing.items():
        title = catalogue.vocabulary.roles[role].title
        rows.append((title, *stand_counts(parts), len(parts)))
    columns = (
        *(Column("role"), Column("fits", COUNT), Column("unknown", COUNT, "cannot be told")),
        *(Column("fails", COUNT, "does not fit"), Column("kept_out", COUNT, "kept out")),
        Column("of", COUNT),
    )
    total = sum(row[1] for row in rows)
    note = (
        "By size, limits of budget and mass aside. Kept out: would go, but is out of stock, of "
        "another material or without a price."
    )
    if left_out:
        note += f" {left_out_text(left_out)}"
    blocks = (Section("", (Table("roles", columns, tuple(rows)),)), Say(note, Tone.QUIET))
    return Report(f"{plural(total, 'part remains', 'parts remain')} for certain.", blocks)


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
