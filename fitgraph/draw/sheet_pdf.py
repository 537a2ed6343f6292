"""A specification sheet as PDF: the drawing to scale, then what has to be known."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fpdf import FPDF
from fpdf.enums import VAlign
from fpdf.fonts import FontFace

from fitgraph.adapters.sheet import Sheet
from fitgraph.draw.drafting import drawing
from fitgraph.draw.drafting_items import (
    CAPITALS,
    Arc,
    Drawing,
    Label,
    LineKind,
    Piece,
    Stroke,
    pieces_of,
)
from fitgraph.draw.lettering import WRITTEN_PLAINLY, Lettering, printed
from fitgraph.draw.sheet_text import TextTable, facts, mates_table, sizes_table, worth_lines
from fitgraph.draw.svg import shorten

#: Mating parts listed in print; the page has them all.
_MATES = 60

#: Letters of a name, of a cell and of a page's foot that are printed; the page has all of them.
_LETTERS, _CELL, _FOOT = 160, 400, 60

#: Points to a millimetre.
_POINTS = 72 / 25.4

#: Margins of the pages of text in mm.
_MARGIN = 18.0


def _dashed(stroke: Stroke) -> list[tuple[float, float, float, float]]:
    """Return the pieces of a stroke that are drawn, its first and last dash whole."""
    length = math.hypot(stroke.x2 - stroke.x1, stroke.y2 - stroke.y1)
    dashes = stroke.line.dashes
    if not dashes or length <= dashes[0]:
        return [(stroke.x1, stroke.y1, stroke.x2, stroke.y2)]
    # The pattern is stretched a little, so that it ends as it begins.
    period = sum(dashes)
    stretch = length / (max(round((length - dashes[0]) / period), 1) * period + dashes[0])
    ux, uy = (stroke.x2 - stroke.x1) / length, (stroke.y2 - stroke.y1) / length
    pieces, at, n = [], 0.0, 0
    while at < length - 1e-6:
        end = min(at + dashes[n % len(dashes)] * stretch, length)
        if n % 2 == 0:
            pieces.append(
                (
                    stroke.x1 + ux * at,
                    stroke.y1 + uy * at,
                    stroke.x1 + ux * end,
                    stroke.y1 + uy * end,
                )
            )
        at, n = end, n + 1
    return pieces


class _Page:
    """Draws items of a sheet on a page whose origin is at the upper left."""

    def __init__(self, pdf: _Document) -> None:
        self.pdf, self.high = pdf, pdf.h

    def stroke(self, item: Stroke) -> None:
        self.pdf.set_line_width(item.line.width)
        for x1, y1, x2, y2 in _dashed(item):
            self.pdf.line(x1, self.high - y1, x2, self.high - y2)

    def arc(self, item: Arc) -> None:
        self.pdf.set_line_width(item.line.width)
        if item.stop - item.start >= 360:
            self.pdf.circle(item.x, self.high - item.y, item.radius)
            return
        steps = max(math.ceil(item.stop - item.start), 2)
        turn = [
            math.radians(item.start + (item.stop - item.start) * n / steps)
            for n in range(steps + 1)
        ]
        self.pdf.polyline(
            [
                (
                    item.x + item.radius * math.cos(a),
                    self.high - item.y - item.radius * math.sin(a),
                )
                for a in turn
            ]
        )

    def label(self, item: Label) -> None:
        text = self.pdf.lettering.text(item.text)
        self.pdf.set_font(self.pdf.lettering.family, size=item.height / CAPITALS * _POINTS)
        share = {"start": 0.0, "middle": 0.5, "end": 1.0}[item.anchor]
        x, y = item.x, self.high - item.y
        with self.pdf.rotation(item.turned, x, y):
            self.pdf.text(x - share * self.pdf.get_string_width(text), y, text)

    def add(self, item: Piece) -> None:
        if isinstance(item, Stroke):
            self.stroke(item)
        elif isinstance(item, Arc):
            self.arc(item)
        elif isinstance(item, Label):
            self.label(item)
        else:
            self.pdf.set_line_width(0.05)
            self.pdf.polygon([(x, self.high - y) for x, y in item.corners], style="F")


class _Document(FPDF):
    """Pages of text with a stock number and a page number below."""

    def __init__(self, foot: str, lettering: Lettering) -> None:
        super().__init__(format="A4")
        self.lettering = lettering
        lettering.begin(self)
        self.foot = lettering.text(foot)
        self.set_auto_page_break(True, margin=16)
        self.set_margins(_MARGIN, 15, _MARGIN)

    def footer(self) -> None:
        if self.page_no() == 1:
            return
        self.set_y(-12)
        self.set_font(self.lettering.family, size=8)
        self.cell(0, 5, self.foot)
        self.set_x(_MARGIN)
        self.cell(0, 5, f"page {self.page_no()}", align="R")

    def paragraph(self, text: str, size: float = 9.5, style: str = "", above: float = 0) -> None:
        if above:
            self.ln(above)
        self.set_font(self.lettering.family, style=style, size=size)
        self.multi_cell(
            0, size * 0.46, self.lettering.text(text), align="L", new_x="LMARGIN", new_y="NEXT"
        )

    def rows(self, table: TextTable, widths: Sequence[float]) -> None:
        self.paragraph(table.heading, 11, "B", above=3.5)
        self.ln(1)
        self.set_font(self.lettering.family, size=8)
        self.set_draw_color(170)
        headed = any(table.columns)
        with self.table(
            borders_layout="HORIZONTAL_LINES",
            col_widths=tuple(widths),
            line_height=4,
            padding=(0.6, 1, 0.6, 0),
            text_align="LEFT",
            v_align=VAlign.T,
            first_row_as_headings=headed,
            headings_style=FontFace(emphasis="BOLD"),
        ) as grid:
            for cells in ([table.columns] if headed else []) + list(table.rows):
                grid.row([self.lettering.text(shorten(cell, _CELL)) for cell in cells])


def _draw(pdf: _Document, made: Drawing) -> None:
    pdf.add_page(orientation="L")
    page = _Page(pdf)
    pdf.set_auto_page_break(False)
    for piece in pieces_of(made.items):
        page.add(piece)
    pdf.set_auto_page_break(True, margin=16)
    pdf.set_line_width(LineKind.HATCH.width)


def _written(sheet: Sheet, lettering: Lettering) -> bytes:
    made = drawing(sheet)
    pdf = _Document(shorten(sheet.part.sku, _FOOT), lettering)
    title = shorten(made.title, _LETTERS)
    pdf.set_title(title)
    pdf.set_subject("specification sheet")
    _draw(pdf, made)
    pdf.add_page(orientation="P")
    pdf.paragraph(title, 14, "B")
    pdf.ln(2)
    for line in worth_lines(sheet):
        pdf.paragraph(line)
    pdf.rows(sizes_table(sheet), (50, 50, 22, 22, 30))
    pdf.rows(TextTable("The part", ("", ""), tuple(facts(sheet))), (40, 134))
    listed = mates_table(sheet, _MATES)
    pdf.rows(listed, (40, 33, 46, 22, 18, 15))
    more = len(sheet.mates) - len(listed.rows)
    if more > 0:
        pdf.paragraph(f"and {more} more, in the page.", 8)
    pdf.paragraph("Cautions", 11, "B", above=4)
    for caution in sheet.cautions:
        pdf.paragraph(caution, 8.5, above=1)
    if lettering.lacking:
        pdf.paragraph(WRITTEN_PLAINLY, 8.5, above=3)
    return bytes(pdf.output())


def sheet_pdf(sheet: Sheet) -> bytes:
    """Return a specification sheet as a PDF file.

    Parameters
    ----------
    sheet : Sheet
        From :func:`fitgraph.adapters.sheet`. Its texts are set as text, never as markup.
    """
    return printed(lambda lettering: _written(sheet, lettering))
