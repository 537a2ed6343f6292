"""Small pictures for the ways into the pages: what is done there, in a few lines."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable, Mapping
from types import MappingProxyType

from fitgraph.draw.svg import element, write

#: Size of a picture, in units of the drawing.
_WIDTH, _HEIGHT = 120, 76

#: Strokes in the colours of the page.
_INK = "stroke:var(--fg-ink);stroke-width:2;fill:none"
_THIN = "stroke:var(--fg-line);stroke-width:1.5;fill:none"
_GOOD = "stroke:var(--fg-fits);stroke-width:4;fill:none;stroke-linecap:round"
_BAD = "stroke:var(--fg-fails);stroke-width:2;fill:none;stroke-dasharray:4 3"


def _tint(n: int) -> str:
    return f"fill:var(--fg-part-{n});stroke:var(--fg-ink);stroke-width:1.5"


def _line(d: str, style: str) -> ET.Element:
    return element("path", d=d, style=style)


def _box(x: float, y: float, width: float, height: float, style: str) -> ET.Element:
    return element("rect", x=x, y=y, width=width, height=height, style=style)


def _counter() -> list[ET.Element]:
    """Return one ring that goes around another, and that it does."""
    return [
        element("circle", cx=36, cy=38, r=26, style=_tint(0)),
        element("circle", cx=36, cy=38, r=15, style=_tint(1)),
        element("circle", cx=36, cy=38, r=9, style="fill:var(--fg-paper);stroke:var(--fg-ink)"),
        _line("M80 40L90 51L110 24", _GOOD),
    ]


def _stock() -> list[ET.Element]:
    """Return two shelves, and a place on them where nothing stands."""
    boxes = [
        _box(x, y, 18, 18, _tint(n)) for n, (x, y) in enumerate([(16, 14), (38, 14), (82, 14)])
    ]
    boxes += [_box(x, 44, 18, 18, _tint(n)) for n, x in enumerate([16, 60, 82], start=2)]
    return [
        *boxes,
        _box(60, 14, 18, 18, _BAD),
        _box(38, 44, 18, 18, _BAD),
        _line("M8 33H112M8 63H112", _INK),
    ]


def _design() -> list[ET.Element]:
    """Return a sleeve in section with a dimension below it."""
    return [
        _box(34, 10, 9, 40, _tint(0)),
        _box(77, 10, 9, 40, _tint(0)),
        _line("M60 4V56", "stroke:var(--fg-line);stroke-width:1;stroke-dasharray:9 3 2 3"),
        _line("M34 54V72M86 54V72", _THIN),
        _line("M36 67H84M36 67l6-3v6zM84 67l-6-3v6z", _INK),
        _line("M43 10H77M43 50H77", _INK),
    ]


def _practice() -> list[ET.Element]:
    """Return a card with a question, and one that is answered."""
    mark = "font-size:30px;font-weight:700;fill:var(--fg-ink)"
    return [
        _box(14, 12, 40, 52, _tint(4)),
        element("text", "?", x=34, y=49, text_anchor="middle", style=mark),
        _box(66, 12, 40, 52, _tint(2)),
        _line("M75 40L83 49L98 28", _GOOD),
    ]


_DRAWN: Mapping[str, Callable[[], list[ET.Element]]] = MappingProxyType(
    {"counter": _counter, "stock": _stock, "design": _design, "practice": _practice}
)


def door_svg(name: str) -> str:
    """Return the picture of a door; beside its title it says nothing more.

    Parameters
    ----------
    name : str
        ``counter``, ``stock``, ``design`` or ``practice``.
    """
    root = element(
        "svg",
        *_DRAWN[name](),
        viewBox=f"0 0 {_WIDTH} {_HEIGHT}",
        klass="fg-door-picture",
        aria_hidden="true",
    )
    return write(root)
