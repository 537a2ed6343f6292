"""A build as a sheet to print or to send: a report, and its rows as a table."""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.draw import section_svg
from fitgraph.explain import held_texts
from fitgraph.graph.hold import hold
from fitgraph.graph.pressed import pressed
from fitgraph.model import Option, Vocabulary
from fitgraph.records import dataclass
from fitgraph.report.blocks import Picture, Report, Section, say_all
from fitgraph.report.cautions_told import cautions_on
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import MASS_TOLD, MOMENT_TOLD, money_of
from fitgraph.solve.engine import Build


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One line of a sheet: a part, or work done to one.

    Parameters
    ----------
    role, sku, name, maker : str
        What it is; for work the title of the service stands in `name`.
    mass_g : float or None
        In g; None where it is not known.
    price : int
        To pay, in minor currency units; zero for what is owned.
    note : str
        Whether it is owned, or how long the work takes.
    """

    role: str
    sku: str
    name: str
    maker: str
    mass_g: float | None
    price: int
    note: str


@dataclass(frozen=True, slots=True)
class BuildSheet:
    """A build in words and rows.

    Parameters
    ----------
    title : str
        Its heading.
    rows : tuple of SheetRow
        Parts, then work.
    price : int
        To pay, in minor currency units.
    mass_g, strength_nm : float or None
        Of the whole; None where not known.
    notes : tuple of str
        On the torque of the clamp's bolts.
    cautions : tuple of str
        That go with it.
    drawn : str
        What is to be known of its drawing.
    """

    title: str
    rows: tuple[SheetRow, ...]
    price: int
    mass_g: float | None
    strength_nm: float | None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    drawn: str = ""


def _note(option: Option, owned: frozenset[str]) -> str:
    part = option.part
    if part is None or part.sku in owned:
        return "yours"
    return f"in stock: {part.stock}" if part.stock > 0 else "not in stock"


def sheet_of(
    build: Build, owned: frozenset[str], vocabulary: Vocabulary, title: str = "Build sheet"
) -> BuildSheet:
    """Return the sheet of a build.

    Parameters
    ----------
    build : Build
        The build.
    owned : frozenset of str
        Stock numbers that cost nothing.
    vocabulary : Vocabulary
        Names the roles and services, and words the cautions.
    title : str
        Its heading.
    """
    parts, work = [], []
    topics = dict.fromkeys(["torque", "strength"])
    for role, option in build.options.items():
        part = option.part
        if part is None:
            continue
        named = vocabulary.roles[role].title
        price = 0 if part.sku in owned else (part.price or 0)
        parts.append(
            SheetRow(
                named, part.sku, part.name, part.maker, part.mass_g, price, _note(option, owned)
            )
        )
        for name in option.services:
            service = vocabulary.services[name]
            topics.setdefault(service.caution)
            work.append(
                SheetRow(
                    named,
                    part.sku,
                    f"Work: {service.title}",
                    "",
                    option.service_mass_g,
                    service.price,
                    f"about {service.minutes:g} min",
                )
            )
    whole = {r: build.options.get(r) or Option(r, None) for r in vocabulary.roles}
    told = held_texts(hold(whole, vocabulary), pressed(whole, vocabulary))
    notes = tuple(text for _, text in told)
    topics.update(dict.fromkeys(topic for topic, _ in told))
    cautions = cautions_on(vocabulary, topics)
    return BuildSheet(
        title, (*parts, *work), build.price, build.mass_g, build.strength_nm, notes, cautions
    )


def sheet_table(sheet: BuildSheet, vocabulary: Vocabulary) -> Table:
    """Return a sheet's rows."""
    return Table.of(
        "sheet",
        sheet.rows,
        (Column("role", title="Role"), lambda row: row.role),
        (Column("number", title="Number"), lambda row: row.sku),
        (Column("name", title="Name"), lambda row: row.name),
        (Column("maker", title="Maker"), lambda row: row.maker),
        (Column("mass_g", MASS_TOLD, "Mass"), lambda row: row.mass_g),
        (Column("to_pay", money_of(vocabulary), "To pay"), lambda row: row.price),
        (Column("note", title="Note"), lambda row: row.note),
    )


def sheet_report(
    sheet: BuildSheet, options: Mapping[str, Option], vocabulary: Vocabulary
) -> Report:
    """Return a sheet as what is handed over, with the cross-section.

    Parameters
    ----------
    sheet : BuildSheet
        From :func:`sheet_of`.
    options : mapping of str to Option
        The build's, and what else is drawn with them.
    vocabulary : Vocabulary
        Names roles and the currency.
    """
    totals = (
        ("To pay", vocabulary.money(sheet.price)),
        ("Mass", MASS_TOLD.show(sheet.mass_g)),
        ("Tube bears, compared", MOMENT_TOLD.show(sheet.strength_nm)),
    )
    svg = section_svg(options, vocabulary)
    return Report(
        "",
        (
            Table("totals", (Column("what"), Column("figure")), totals, headed=False),
            sheet_table(sheet, vocabulary).without("maker"),
            *((Picture(svg, ""),) if svg else ()),
            *say_all((sheet.drawn,) if svg and sheet.drawn else (), deep=0),
            Section(
                "Bolts and torque", say_all(sheet.notes or ("Not known for these parts.",), deep=0)
            ),
        ),
        sheet.cautions,
    )
