"""Reports as PDF on A4, to hand over or to keep, with their pictures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from fpdf import FPDF
from fpdf.fonts import FontFace

from fitgraph.draw.lettering import WRITTEN_PLAINLY, Lettering, printed
from fitgraph.draw.style import WORDS
from fitgraph.draw.svg import shorten
from fitgraph.draw.svg_print import add_drawing, drawn_height
from fitgraph.plain import plain
from fitgraph.report.blocks import Block, Items, Picture, Report, Say, Tone
from fitgraph.report.tables import Table

#: Sizes of type in points, and how far what explains stands set in, in mm.
_HEAD, _TITLE, _BODY, _SMALL, _DEEP_MM = 14, 11, 10, 8.5, 5.0

#: Letters of a title, of a cell and of a page's foot that are printed.
_LETTERS, _CELL, _FOOT = 160, 400, 60

#: What draws pages ahead of a report.
Ahead = Callable[[FPDF, Lettering], None]

#: Signs that a column counts at least and at most, when the width is shared out.
_LEAST, _MOST = 6, 44


def _shares(rows: Sequence[Sequence[str]]) -> tuple[int, ...]:
    """Return how wide each column is beside the others: as its longest cell, within bounds."""
    return tuple(
        max(_LEAST, min(_MOST, max(map(len, column)))) for column in zip(*rows, strict=True)
    )


class _Pages(FPDF):
    """Pages of A4; those after the first say what they are of, and which they are."""

    def __init__(self, lettering: Lettering, title: str) -> None:
        super().__init__(format="A4")
        lettering.begin(self)
        self._letters, self._foot = lettering, lettering.text(shorten(plain(title), _FOOT))
        self.set_title(shorten(title, _LETTERS))
        self.set_lang("en")
        self.set_margins(15, 15)

    def footer(self) -> None:
        """Write the foot of a page."""
        if self.page_no() > 1:
            self.set_y(-12)
            self.set_font(self._letters.family, size=_SMALL)
            self.cell(0, 5, self._foot)
            self.set_x(self.l_margin)
            self.cell(0, 5, f"page {self.page_no()}", align="R")


class _Paper:
    """A document that is being written.

    Parameters
    ----------
    lettering : Lettering
        What it is written with.
    title : str
        Its title.
    ahead : callable or None
        Draws pages that stand before it.
    """

    def __init__(self, lettering: Lettering, title: str, ahead: Ahead | None) -> None:
        self.lettering = lettering
        self.pdf = _Pages(lettering, title)
        if ahead is not None:
            ahead(self.pdf, lettering)
        self.pdf.add_page(orientation="P")

    def say(self, text: str, size: float, style: str = "", deep: int = 0) -> None:
        """Write a paragraph."""
        self.pdf.set_font(self.lettering.family, style, size)
        self.pdf.set_x(self.pdf.l_margin + deep * _DEEP_MM)
        words = self.lettering.text(plain(text))
        self.pdf.multi_cell(0, size * 0.5, words, align="L", new_x="LMARGIN", new_y="NEXT")
        self.pdf.ln(1)

    def table(self, table: Table) -> None:
        """Write a table; headings come again on each page."""
        if table.title:
            self.say(table.title, _SMALL)
        heads = [c.heading for c in table.columns]
        cells = table.shown()
        if not cells:
            return
        self.pdf.set_font(self.lettering.family, "", _SMALL)
        with self.pdf.table(
            col_widths=_shares([heads, *cells]),
            line_height=4.5,
            text_align=tuple("RIGHT" if c.unit.figures else "LEFT" for c in table.columns),
            headings_style=FontFace(emphasis="BOLD"),
            first_row_as_headings=table.headed,
        ) as grid:
            for row in [heads, *cells] if table.headed else cells:
                line = grid.row()
                for cell in row:
                    line.cell(self.lettering.text(shorten(plain(cell), _CELL)))
        self.pdf.ln(2)

    def said(self, say: Say) -> None:
        """Write a sentence in its tone."""
        sign = "" if say.verdict is None else f"{WORDS[say.verdict]}: "
        aside = f" ({say.aside})" if say.aside else ""
        text = f"{sign}{say.lead}{say.text}{aside}"
        loud = say.tone in (Tone.LOUD, Tone.FAULT)
        self.say(text, _BODY, "B" if loud else "", max(say.deep - 1, 0))

    def block(self, block: Block) -> None:
        """Write a sentence, a table, a picture's words or a section."""
        if isinstance(block, Table):
            self.table(block)
        elif isinstance(block, Say):
            self.said(block)
        elif isinstance(block, Items):
            for n, one in enumerate(block.says, start=1):
                number = f"{n}." if block.numbered else "–"
                self.said(replace(one, text=f"{number} {one.text}"))
        elif isinstance(block, Picture):
            add_drawing(self.pdf, block.svg, self.lettering, self.pdf.epw)
            self.pdf.ln(2)
        else:
            self.pdf.ln(1)
            first = next(iter(block.blocks), None)
            if isinstance(first, Picture):  # a heading stays with its picture
                high = drawn_height(first.svg, self.pdf.epw) + 2 * _TITLE
                if self.pdf.will_page_break(high):
                    self.pdf.add_page()
            if block.title:
                aside = f" ({block.aside})" if block.aside else ""
                self.say(block.heading + aside, _TITLE, "B")
            for inner in block.blocks:
                self.block(inner)


def pdf(report: Report, title: str, ahead: Ahead | None = None) -> bytes:
    """Return a report as a PDF.

    Parameters
    ----------
    report : Report
        The report.
    title : str
        What it is about; stands above the headline.
    ahead : callable, optional
        Draws pages that stand before it.

    Examples
    --------
    >>> pdf(Report("Fits.", (Say("By 0.02 mm."),)), "A fork and a bar")[:5]
    b'%PDF-'
    """

    def write(lettering: Lettering) -> bytes:
        paper = _Paper(lettering, title, ahead)
        paper.say(shorten(title, _LETTERS), _HEAD, "B")
        if report.headline:
            paper.say(report.headline, _TITLE, "B")
        for block in report.blocks:
            paper.block(block)
        for caution in report.cautions:
            paper.say(f"Caution. {caution}", _SMALL)
        if lettering.lacking:
            paper.say(WRITTEN_PLAINLY, _SMALL)
        return bytes(paper.pdf.output())

    return printed(write)
