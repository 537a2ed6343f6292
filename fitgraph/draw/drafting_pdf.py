"""A drafted sheet as a page of a PDF, to scale."""

from __future__ import annotations

import math

from fpdf import FPDF

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
from fitgraph.draw.lettering import Lettering

#: Points to a millimetre.
_POINTS = 72 / 25.4


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

    def __init__(self, pdf: FPDF, lettering: Lettering) -> None:
        self.pdf, self.lettering, self.high = pdf, lettering, pdf.h

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
        text = self.lettering.text(item.text)
        self.pdf.set_font(self.lettering.family, size=item.height / CAPITALS * _POINTS)
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


def draw_sheet(pdf: FPDF, made: Drawing, lettering: Lettering) -> None:
    """Draw a drafted sheet to scale on a page of its own.

    Parameters
    ----------
    pdf : FPDF
        Gets the page, as wide as the sheet.
    made : Drawing
        From :func:`fitgraph.draw.drafting.drawing`.
    lettering : Lettering
        What its texts are written with.
    """
    pdf.add_page(orientation="L")
    page = _Page(pdf, lettering)
    pdf.set_auto_page_break(False)
    for piece in pieces_of(made.items):
        page.add(piece)
    pdf.set_auto_page_break(True, margin=pdf.b_margin)
    pdf.set_line_width(LineKind.HATCH.width)
