"""A drafted sheet as SVG, in mm."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

from fitgraph.draw.drafting import (
    PAPER,
    Arc,
    Area,
    Drawing,
    Label,
    Line,
    Measure,
    Stroke,
    drawn,
    hatching,
)
from fitgraph.draw.svg import element, write

_FONT = "Helvetica, Arial, 'DejaVu Sans', sans-serif"


def _y(value: float) -> float:
    return PAPER[1] - value


def _stroked(line: Line) -> dict[str, float | str]:
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
        # Capitals are about seven tenths of a font's size.
        font_size=item.height / 0.72,
        text_anchor=item.anchor,
        fill="#000",
        **turn,
    )


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
    for item in drawing.items:
        if isinstance(item, Stroke):
            root.append(_stroke(item))
        elif isinstance(item, Arc):
            root.append(_arc(item))
        elif isinstance(item, Label):
            root.append(_label(item))
        elif isinstance(item, Area):
            root.extend(_stroke(s) for s in hatching(item))
        elif isinstance(item, Measure):
            made = drawn(item)
            root.extend(_stroke(s) for s in made.strokes)
            for corners in made.arrows:
                points = " ".join(f"{x:.4f},{_y(y):.4f}" for x, y in corners)
                root.append(element("polygon", points=points, fill="#000"))
            root.extend(_label(label) for label in made.labels)
    return write(root)
