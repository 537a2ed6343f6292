"""Symbols of a workshop's drawing: texture, datum, tolerance frame, edges, projection.

Each is drawn about the origin, in mm, for lettering of a height *h*; lines are a tenth of it.

References
----------
.. [1] ISO 21920-1:2021 (which replaced ISO 1302:2002): texture. Two legs at 60 degrees, a bar
   where material has to be removed; heights 1.4 h and 3 h.
.. [2] ISO 1101:2017 and ISO 5459:2011 (a newer edition is of 2024): tolerance frames 2 h high,
   datum triangles.
.. [3] ISO 13715:2017: edges of undefined shape. Minus takes material off, plus leaves some.
.. [4] ISO 5456-2:1996: the sign of first angle projection (edition checked). Proportions from
   memory; ISO 7083:2021 has them and was not read.
"""

from __future__ import annotations

import math

from fitgraph.draw.drafting_items import (
    NORMAL,
    SMALL,
    Arc,
    FilledTriangle,
    Label,
    LineKind,
    Piece,
    Stroke,
    arrow,
    box,
    text_width,
)

#: Run of a leg to its rise.
_LEAN = 1 / math.sqrt(3)


def texture(text: str, h: float = NORMAL, *, removed: bool = True) -> list[Piece]:
    """Return the symbol of surface texture, its foot at the origin.

    Parameters
    ----------
    text : str
        What is asked for, such as ``Ra 1.6``; empty for the bare symbol.
    removed : bool
        Whether material has to be removed.
    """
    low, high = 1.4 * h, 3.0 * h
    symbol: list[Piece] = [
        Stroke(-low * _LEAN, low, 0.0, 0.0, LineKind.SYMBOL),
        Stroke(0.0, 0.0, high * _LEAN, high, LineKind.SYMBOL),
    ]
    if removed:
        symbol.append(Stroke(-low * _LEAN, low, low * _LEAN, low, LineKind.SYMBOL))
    if text:
        start = high * _LEAN + 0.3 * h
        end = start + text_width(text, h)
        symbol += [
            Stroke(high * _LEAN, high, end, high, LineKind.SYMBOL),
            Label(text, start, high - 1.3 * h, h),
        ]
    return symbol


def texture_width(text: str, h: float = NORMAL) -> float:
    """Return how far a texture symbol reaches to the right of its foot, in mm."""
    return (3.0 * _LEAN + 0.3) * h + text_width(text, h)


def bracketed(pieces: list[Piece], x1: float, x2: float, high: float) -> list[Piece]:
    """Return pieces between round brackets of a height, from `x1` to `x2`."""
    radius = high
    swing = math.degrees(math.asin(0.5))
    return [
        *pieces,
        Arc(x1 + radius, high / 2, radius, 180 - swing, 180 + swing, LineKind.SYMBOL),
        Arc(x2 - radius, high / 2, radius, -swing, swing, LineKind.SYMBOL),
    ]


def general_texture(text: str, h: float = SMALL) -> list[Piece]:
    """Return what holds for all faces, and the bare symbol in brackets: but where others stand."""
    start = texture_width(text, h) + 4.2
    bare = [
        Stroke(p.x1 + start, p.y1, p.x2 + start, p.y2, p.line)
        for p in texture("", h, removed=False)
        if isinstance(p, Stroke)
    ]
    return [*texture(text, h), *bracketed(list(bare), start - 2.8, start + 5.6, 3.0 * h)]


def frame(text: str, datum: str, h: float = NORMAL) -> tuple[list[Piece], float]:
    """Return a tolerance frame for coaxiality, its lower left at the origin, and its width in mm.

    Parameters
    ----------
    text : str
        The zone, such as ``Ø0.05``.
    datum : str
        The datum's letter.
    """
    high = 2.0 * h
    wide = text_width(text, h) + 0.8 * h
    cells = (0.0, high, high + wide, 2 * high + wide)
    base = 0.5 * h
    made: list[Piece] = [
        *box(0.0, 0.0, cells[3], high, LineKind.SYMBOL),
        *(Stroke(x, 0.0, x, high, LineKind.SYMBOL) for x in cells[1:3]),
        Arc(high / 2, high / 2, 0.6 * h, line=LineKind.SYMBOL),
        Arc(high / 2, high / 2, 0.32 * h, line=LineKind.SYMBOL),
        Label(text, (cells[1] + cells[2]) / 2, base, h, "middle"),
        Label(datum, (cells[2] + cells[3]) / 2, base, h, "middle"),
    ]
    return made, cells[3]


def datum_mark(letter: str, down: float, h: float = NORMAL) -> list[Piece]:
    """Return a datum's filled triangle at the origin, and its letter in a square below.

    Parameters
    ----------
    down : float
        How far below the square begins, in mm.
    """
    foot = 0.58 * h
    return [
        FilledTriangle(((-foot, 0.0), (foot, 0.0), (0.0, -h))),
        Stroke(0.0, -h, 0.0, -down, LineKind.SYMBOL),
        *box(-h, -down - 2 * h, h, -down, LineKind.SYMBOL),
        Label(letter, 0.0, -down - 1.5 * h, h, "middle"),
    ]


def edge(text: str, *, outside: bool, h: float = SMALL) -> list[Piece]:
    """Return the symbol of an edge's state: the edge, and its value in the angle beside it."""
    arm, high = 1.2 * h, 1.7 * h
    contour = (
        [Stroke(-arm, 0.0, 0.0, 0.0), Stroke(0.0, 0.0, 0.0, -arm)]
        if outside
        else [Stroke(-arm, 0.0, -arm, -arm), Stroke(-arm, -arm, 0.0, -arm)]
    )
    corner = (0.0, 0.0) if outside else (-arm, -arm)
    wide = text_width(text, h) + 0.6 * h
    return [
        *contour,
        Stroke(*corner, 0.0, 0.0, LineKind.THIN),
        Stroke(0.0, 0.0, 0.0, high, LineKind.THIN),
        Stroke(0.0, 0.0, wide, 0.0, LineKind.THIN),
        Label(text, 0.3 * h, 0.35 * h, h),
    ]


def leader(
    x: float, y: float, knee: tuple[float, float], text: str, h: float = NORMAL
) -> list[Piece]:
    """Return a line from an arrow at a place to a shelf that a text stands on.

    Parameters
    ----------
    x, y : float
        Where it points to.
    knee : tuple of float
        Where the shelf begins; it runs to the right.
    """
    direction = math.degrees(math.atan2(y - knee[1], x - knee[0]))
    return [
        Stroke(x, y, *knee, LineKind.THIN),
        arrow(x, y, direction),
        Stroke(*knee, knee[0] + text_width(text, h) + 1.0, knee[1], LineKind.THIN),
        Label(text, knee[0] + 0.8, knee[1] + 1.0, h),
    ]


def projection() -> list[Piece]:
    """Return the sign of first angle projection: a cone's side view and its end."""
    return [
        Stroke(0.0, -1.5, 0.0, 1.5, LineKind.THIN),
        Stroke(7.0, -3.0, 7.0, 3.0, LineKind.THIN),
        Stroke(0.0, -1.5, 7.0, -3.0, LineKind.THIN),
        Stroke(0.0, 1.5, 7.0, 3.0, LineKind.THIN),
        Stroke(-1.5, 0.0, 8.5, 0.0, LineKind.CENTRE),
        Arc(13.0, 0.0, 3.0, line=LineKind.THIN),
        Arc(13.0, 0.0, 1.5, line=LineKind.THIN),
        Stroke(8.8, 0.0, 17.2, 0.0, LineKind.CENTRE),
        Stroke(13.0, -4.2, 13.0, 4.2, LineKind.CENTRE),
    ]
