"""HTML made of data: pure functions, in which every text from a catalogue is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from fitgraph.draw import Nest
from fitgraph.errors import brief
from fitgraph.lab.part_numbers import with_cards as with_cards
from fitgraph.model import Vocabulary
from fitgraph.report.as_html import blocks_html, rows_html, unbroken
from fitgraph.report.blocks import Picture
from fitgraph.report.cautions import cautions_on
from fitgraph.report.cross_sections import cross_section, cross_sections
from fitgraph.report.tables import Table
from fitgraph.report.values import TOLD

#: Figures that are told in words of their own.
TOLD_FIGURE = TOLD


def plain_table(table: Table, caption: str = "", kind: str = "") -> str:
    """Return a table whose rows all stand there; one of the kind ``fg-narrow`` is narrow."""
    return str(rows_html(table, caption, kind))


def wrap(inner: str) -> str:
    """Return a fragment in the frame that the style sheet speaks to; no stock number is broken."""
    return f'<div class="fg fg-html">{unbroken(inner)}</div>'


def alert(message: str) -> str:
    """Return what went wrong, one paragraph a line."""
    lines = "".join(f"<p>{escape(line)}</p>" for line in brief(message).splitlines())
    return f'<div class="fg-alert" role="alert">{lines}</div>'


def status(text: str) -> str:
    """Return what is told as soon as it stands there."""
    return f'<p role="status">{escape(text)}</p>'


def cautions_html(texts: Iterable[str]) -> str:
    """Return cautions, a paragraph each."""
    return "".join(
        f'<p class="fg-caution"><strong>Caution.</strong> {escape(text)}</p>' for text in texts
    )


def cautions(vocabulary: Vocabulary, *topics: str) -> str:
    """Return the cautions on topics: the vocabulary's own, else the general ones."""
    return cautions_html(cautions_on(vocabulary, topics))


def drawn_html(wide: str, narrow: str) -> str:
    """Return a drawing that has another shape where there is little room."""
    return str(blocks_html([Picture(wide, "", narrow)]))


def section_html(nest: Nest, vocabulary: Vocabulary) -> str:
    """Return a cross-section, as wide as there is room for."""
    return str(blocks_html([cross_section(nest, vocabulary)]))


def sections_html(nests: Sequence[Nest], vocabulary: Vocabulary) -> str:
    """Return cross-sections; the first is shown, the others open on demand."""
    return str(blocks_html(cross_sections(nests, vocabulary)))
