"""Small pictures of what somebody may see on a part: answers to point at."""

from __future__ import annotations

import xml.etree.ElementTree as ET

from fitgraph.draw.svg import element, write

#: Size of a picture, in units of the drawing, and the largest radius in it.
_SIDE, _RADIUS = 64, 28

_EDGE = "stroke:var(--fg-ink);stroke-width:1.5"
_SOLID = f"fill:var(--fg-panel);{_EDGE}"
_HOLE = f"fill:var(--fg-paper);{_EDGE}"
_AWAY = "fill:none;stroke:var(--fg-muted);stroke-width:1.5;stroke-dasharray:3 3"


def _circle(radius: float, style: str, x: float = 32, y: float = 32) -> ET.Element:
    return element("circle", cx=x, cy=y, r=radius, style=style)


def _ring(outer: float, inner: float) -> list[ET.Element]:
    return [_circle(outer, _SOLID), _circle(inner, _HOLE)]


def _sized(kind: str, size: float, largest: float) -> list[ET.Element]:
    """Return a ring to scale; an arrow lies across what is measured."""
    radius = _RADIUS * size / largest
    if kind == "bore":
        drawn, reach = _ring(_RADIUS + 3, min(radius, _RADIUS)), min(radius, _RADIUS)
    else:
        drawn, reach = _ring(radius, radius * 0.72), radius
    left, right = 32 - reach, 32 + reach
    arrow = element(
        "path",
        d=f"M{left:.1f} 32H{right:.1f}M{left + 5:.1f} 29l-5 3l5 3M{right - 5:.1f} 29l5 3l-5 3",
        style="fill:none;stroke:var(--fg-fails);stroke-width:1.5",
    )
    return [*drawn, arrow]


def _counted(number: int) -> list[ET.Element]:
    """Return so many screws beside one another."""
    step = min(18.0, 56.0 / number)
    first = 32 - step * (number - 1) / 2
    drawn: list[ET.Element] = [
        element("rect", x=4, y=20, width=56, height=24, style=_SOLID),
    ]
    for n in range(number):
        drawn += [_circle(6, _HOLE, first + n * step), _circle(2, _SOLID, first + n * step)]
    return drawn


def _there(kind: str, there: bool) -> list[ET.Element]:
    """Return a tube that has something, or a dashed outline where it has not."""
    body = element("rect", x=16, y=8, width=32, height=48, style=_SOLID)
    if kind == "slot":
        mark = element("path", d="M29 26H35V56H29z", style=_HOLE if there else _AWAY)
    elif kind == "thread":
        mark = element(
            "path",
            d="M16 14l32 5M16 21l32 5M16 28l32 5M16 35l32 5",
            style=f"fill:none;{_EDGE}" if there else _AWAY,
        )
    elif kind == "bore":
        mark = element("rect", x=24, y=8, width=16, height=24, style=_HOLE if there else _AWAY)
    else:
        mark = element("path", d="M28 34H36V62H28z", style=_HOLE if there else _AWAY)
    return [body, mark]


def look_svg(kind: str, value: object, largest: float = 0.0) -> str:
    """Return a picture of an answer; beside its words it says nothing more.

    Parameters
    ----------
    kind : str
        Of the feature that is looked at.
    value : bool, float, str or None
        The answer: whether it is there, a size [mm], a word, or that it cannot be seen.
    largest : float
        The largest size among the answers [mm]; all are drawn to the same scale.
    """
    if isinstance(value, bool):
        drawn = _there(kind, value)
    elif isinstance(value, float):
        drawn = _sized(kind, value, max(largest, value))
    elif isinstance(value, str) and value.isdigit() and 0 < int(value) < 10:
        drawn = _counted(int(value))
    elif value is None:
        mark = "font-size:34px;font-weight:700;fill:var(--fg-muted)"
        drawn = [element("text", "?", x=32, y=44, text_anchor="middle", style=mark)]
    else:
        drawn = [_circle(_RADIUS, _AWAY), _circle(_RADIUS * 0.72, _AWAY)]
    root = element(
        "svg", *drawn, viewBox=f"0 0 {_SIDE} {_SIDE}", klass="fg-look", aria_hidden="true"
    )
    return write(root)
