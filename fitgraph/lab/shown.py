"""Blocks of reports as pages show them: part numbers open cards, long tables sort and fold."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from markupsafe import Markup

from fitgraph.lab.part_numbers import with_cards
from fitgraph.model import Catalogue, Verdict
from fitgraph.report.as_html import cautions_html, report_html, rows_html, unbroken
from fitgraph.report.blocks import Block, Report
from fitgraph.report.tables import Column, Table
from fitgraph.wording import capital

#: Rows shown at once; the others open on demand.
_MOST_ROWS = 10

#: So many columns of figures, and so many letters side by side, have room in a narrow window.
_FEW, _LETTERS = 6, 44

#: What a page shows: a report or blocks of one, and markup where it leads on to other pages.
Piece = Report | Block | Markup


def _headed(column: Column) -> Column:
    """Return a column whose heading begins with a capital, as buttons and fields do."""
    if isinstance(column.title, Verdict):
        return column
    return replace(column, title=capital(column.heading))


def _table(table: Table) -> Markup:
    """Return a table whose headers sort it (fitgraph/lab/sorting.py), which folds it as well.

    In a narrow window each row stands under itself, unless it has two columns or few figures only.
    """
    columns = tuple(map(_headed, table.folded().columns))
    table = replace(table.folded(), columns=columns)
    if not table.headed:
        return rows_html(table, table.title)
    _, *others = table.columns
    figures = len(others) < _FEW and all(c.unit.figures for c in others)
    few = len(others) < 2 or (figures and _letters(table) <= _LETTERS)
    kind = "fg-narrow" if few else "fg-rows"
    return rows_html(table, table.title, kind, len(table.rows) if table.whole else _MOST_ROWS)


def _letters(table: Table) -> int:
    """Return how wide a table is at least, in letters; only figures do not break between words."""
    rows, wide = table.shown(), 0
    for n, column in enumerate(table.columns):
        cells = [row[n] for row in rows]
        whole = cells if column.unit.figures else [word for cell in cells for word in cell.split()]
        wide += max(map(len, [*column.heading.split(), *whole]), default=0) + 1
    return wide


def _piece(piece: Piece) -> Markup:
    if isinstance(piece, Markup):
        return piece
    return report_html(piece if isinstance(piece, Report) else Report("", (piece,)), _table)


def shown(*pieces: Piece, catalogue: Catalogue | None = None, cautions: Iterable[str] = ()) -> str:
    """Return what a page shows of an answer, in the frame that the style sheet speaks to.

    Parameters
    ----------
    *pieces : Report, Block or Markup
        In reading order.
    catalogue : Catalogue, optional
        Whose stock numbers open the cards of their parts.
    cautions : iterable of str
        What has to be shown with it.
    """
    text = str(Markup("").join(map(_piece, pieces)) + cautions_html(cautions))
    if catalogue is not None:
        text = with_cards(text, catalogue)
    return f'<div class="fg fg-html">{unbroken(text)}</div>'
