"""A drafted sheet as SVG, in mm."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

from fitgraph.draw.drafting_items import (
    CAPITALS,
    PAPER,
    Arc,
    Drawing,
    FilledTriangle,
    Label,
    LineKind,
    Piece,
    Stroke,
    pieces_of,
)
from fitgraph.draw.svg import element, write

_FONT = "Helvetica, Arial, 'DejaVu Sans', sans-serif"


def _y(value: float) -> float:
    return PAPER[1] - value


def _stroked(line: LineKind) -> dict[str, float | str]:
    style: dict[str, float | str] = {
        "stroke": "#000",
        "stroke_width": line.width,
        "fill": "none",
        "stroke_linecap": "butt",
        "klass": f"line-{line.layer}",
    }
    if line.dashes:
        style["stroke_dasharray"] = " ".join(f"{d:g}" for d in line.dashes)
    return style


def _stroke(item: Stroke) -> ET.Element:
    return element(
        "line", x1=item.x1, y1=_y(item.y1), x2=item.x2, y2=_y(item.y2), **_stroked(item.line)
    )


def _arc(item: Arc) -> ET.Element:
    if item.stop - item.start >= 360:
        return element("circle", cx=item.x, cy=_y(item.y), r=item.radius, **_stroked(item.line))
    (x1, y1), (x2, y2) = (
        (
            item.x + item.radius * math.cos(math.radians(a)),
            _y(item.y + item.radius * math.sin(math.radians(a))),
        )
        for a in (item.start, item.stop)
    )
    large = 1 if item.stop - item.start > 180 else 0
    path = f"M{x1:.4f} {y1:.4f}A{item.radius:.4f} {item.radius:.4f} 0 {large} 0 {x2:.4f} {y2:.4f}"
    return element("path", d=path, **_stroked(item.line))


def _label(item: Label) -> ET.Element:
    turn = {}
    if item.turned:
        turn["transform"] = f"rotate({-item.turned:g} {item.x:.4f} {_y(item.y):.4f})"
    return element(
        "text",
        item.text,
        x=item.x,
        y=_y(item.y),
        font_size=item.height / CAPITALS,
        text_anchor=item.anchor,
        fill="#000",
        **turn,
    )


def _fill(item: FilledTriangle) -> ET.Element:
    points = " ".join(f"{x:.4f},{_y(y):.4f}" for x, y in item.corners)
    return element("polygon", points=points, fill="#000")


def _piece(item: Piece) -> ET.Element:
    if isinstance(item, Stroke):
        return _stroke(item)
    if isinstance(item, Arc):
        return _arc(item)
    if isinstance(item, Label):
        return _label(item)
    return _fill(item)


def sheet_svg(drawing: Drawing) -> str:
    """Return a drafted sheet as SVG.

    Parameters
    ----------
    drawing : Drawing
        From :func:`fitgraph.draw.drafting.drawing`.
    """
    root = element(
        "svg",
        element("title", drawing.title),
        element("rect", x=0, y=0, width=PAPER[0], height=PAPER[1], fill="#fff"),
        width=f"{PAPER[0]:g}mm",
        height=f"{PAPER[1]:g}mm",
        viewBox=f"0 0 {PAPER[0]:g} {PAPER[1]:g}",
        font_family=_FONT,
        role="img",
    )
    root.extend(_piece(piece) for piece in pieces_of(drawing.items))
    return write(root)
