"""A build as a sheet to print or to send: HTML, PDF and CSV from the same rows."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from fpdf import FPDF
from fpdf.fonts import FontFace

from fitgraph.draw import section_svg
from fitgraph.draw.lettering import WRITTEN_PLAINLY, Lettering, printed
from fitgraph.draw.style import page_css
from fitgraph.explain import held_texts
from fitgraph.graph.hold import hold
from fitgraph.graph.pressed import pressed
from fitgraph.lab.tables import cautions_html
from fitgraph.model import Option, Vocabulary
from fitgraph.plain import csv_text
from fitgraph.records import dataclass
from fitgraph.report.cautions import cautions_on
from fitgraph.solve.engine import Build
from fitgraph.units import show_mass


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
class Sheet:
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
    """

    title: str
    rows: tuple[SheetRow, ...]
    price: int
    mass_g: float | None
    strength_nm: float | None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def _note(option: Option, owned: frozenset[str]) -> str:
    part = option.part
    if part is None or part.sku in owned:
        return "yours"
    return f"in stock: {part.stock}" if part.stock > 0 else "not in stock"


def sheet_of(
    build: Build, owned: frozenset[str], vocabulary: Vocabulary, title: str = "Build sheet"
) -> Sheet:
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
    return Sheet(
        title, (*parts, *work), build.price, build.mass_g, build.strength_nm, notes, cautions
    )


def _totals(sheet: Sheet, vocabulary: Vocabulary) -> list[tuple[str, str]]:
    money = vocabulary.money(sheet.price)
    mass = "not known" if sheet.mass_g is None else show_mass(sheet.mass_g)
    bears = "not known" if sheet.strength_nm is None else f"{sheet.strength_nm:,.0f} N·m"
    return [("To pay", money), ("Mass", mass), ("Tube bears, compared", bears)]


_HEADS = ("Role", "Number", "Name", "Mass", "To pay", "Note")


def _cells(row: SheetRow, vocabulary: Vocabulary) -> tuple[str, ...]:
    price = vocabulary.money(row.price)
    mass = "not known" if row.mass_g is None else show_mass(row.mass_g)
    return (row.role, row.sku, row.name, mass, price, row.note)


def holding_html(sheet: Sheet, otherwise: str = "") -> str:
    """Return how hard a build holds, and its cautions; something else where it is not known."""
    notes = "".join(f"<p>{escape(n)}</p>" for n in sheet.notes)
    return (notes or otherwise) + cautions_html(sheet.cautions)


def sheet_html(sheet: Sheet, options: Mapping[str, Option], vocabulary: Vocabulary) -> str:
    """Return a sheet as a page of its own, with the cross-section; it needs nothing else.

    Parameters
    ----------
    sheet : Sheet
        From :func:`sheet_of`.
    options : mapping of str to Option
        The build's, for the drawing.
    vocabulary : Vocabulary
        Names roles and the currency.
    """
    heads = "".join(f'<th scope="col">{h}</th>' for h in _HEADS)
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(c)}</td>" for c in _cells(r, vocabulary)) + "</tr>"
        for r in sheet.rows
    )
    totals = "".join(
        f"<dt>{escape(k)}</dt><dd>{escape(v)}</dd>" for k, v in _totals(sheet, vocabulary)
    )
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(sheet.title)}</title><style>{page_css()}"
        "body{max-width:60em;margin:1.5em auto;padding:0 1em}"
        "dl{display:grid;grid-template-columns:max-content 1fr;gap:.2em 1em}dd{margin:0}"
        "</style></head>"
        f'<body class="fg"><main class="fg fg-html"><h1>{escape(sheet.title)}</h1>'
        f"<dl>{totals}</dl><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
        f"{section_svg(options, vocabulary)}"
        f"<h3>Bolts and torque</h3>{holding_html(sheet, '<p>Not known for these parts.</p>')}"
        "</main></body></html>"
    )


def sheet_csv(sheet: Sheet, vocabulary: Vocabulary) -> str:
    """Return a sheet's rows as CSV (RFC 4180); no cell can begin a formula.

    Parameters
    ----------
    sheet : Sheet
        From :func:`sheet_of`.
    vocabulary : Vocabulary
        Gives the currency.
    """
    heads = ["role", "number", "name", "maker", "mass_g", f"to_pay_{vocabulary.currency}", "note"]
    rows = []
    for row in sheet.rows:
        price = vocabulary.plain_money(row.price)
        rows.append([row.role, row.sku, row.name, row.maker, row.mass_g, price, row.note])
    return csv_text(heads, rows)


def sheet_pdf(sheet: Sheet, vocabulary: Vocabulary) -> bytes:
    """Return a sheet as a PDF on A4.

    Parameters
    ----------
    sheet : Sheet
        From :func:`sheet_of`.
    vocabulary : Vocabulary
        Gives the currency.
    """
    return printed(lambda lettering: _written(sheet, vocabulary, lettering))


def _written(sheet: Sheet, vocabulary: Vocabulary, lettering: Lettering) -> bytes:
    pdf = FPDF(format="A4")
    lettering.begin(pdf)
    pdf.set_title(sheet.title)
    pdf.set_lang("en")
    pdf.set_margins(15, 15)
    pdf.add_page()

    def say(text: str, size: float, style: str = "") -> None:
        pdf.set_font(lettering.family, style, size)
        pdf.multi_cell(0, size * 0.5, lettering.text(text), new_x="LMARGIN", new_y="NEXT")

    say(sheet.title, 16, "B")
    for name, value in _totals(sheet, vocabulary):
        say(f"{name}: {value}", 11)
    pdf.ln(3)
    pdf.set_font(lettering.family, "", 9)
    with pdf.table(
        col_widths=(26, 30, 62, 18, 24, 24),
        line_height=5,
        text_align=("LEFT", "LEFT", "LEFT", "RIGHT", "RIGHT", "LEFT"),
        headings_style=FontFace(emphasis="BOLD"),
    ) as table:
        for cells in (_HEADS, *(_cells(r, vocabulary) for r in sheet.rows)):
            line = table.row()
            for cell in cells:
                line.cell(lettering.text(cell))
    pdf.ln(4)
    say("Bolts and torque", 12, "B")
    for text in sheet.notes or ("Not known for these parts.",):
        say(text, 10)
    pdf.ln(2)
    for text in sheet.cautions:
        say(f"Caution. {text}", 9)
        pdf.ln(1)
    if lettering.lacking:
        say(WRITTEN_PLAINLY, 9)
    return bytes(pdf.output())
