"""What a drafted sheet is made of: lines, arcs, texts, hatched areas, dimensions; mm on paper.

References
----------
.. [1] ISO 128-2:2020: line types 01.2 (continuous wide), 01.1 (continuous narrow) and 04.1
   (long-dashed dotted narrow), wide to narrow 2:1. ISO 128-3:2020: hatching at 45 degrees.
.. [2] ISO 129-1:2018: dimension lines, extension lines, terminators. ISO 3098-1:2015: heights of
   lettering, and a tenth of them for the lines of symbols. Editions, the ratio of widths and the
   heights were looked up (ISO 128-2 and -3 have newer editions of 2022), as were the line types,
   the hatching, and narrow lines with filled arrows for dimensions (docs/mechanics.md, sources);
   the tenth is that of lettering of type B.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from enum import Enum
from functools import cache
from itertools import pairwise

from fpdf import FPDF

from fitgraph.records import dataclass

#: An A4 sheet lying down, in mm.
PAPER = (297.0, 210.0)

#: Heights of lettering in mm.
TINY, SMALL, NORMAL, LARGE = 1.8, 2.5, 3.5, 5.0

#: An arrow's length and half its width in mm (15 degrees).
ARROW = (3.0, 0.4)

#: How far extension lines reach beyond the dimension line, and start off the outline, in mm.
BEYOND, OFF = 2.0, 1.0

#: Distance of the hatching's lines in mm.
_PITCH = 2.5

#: How far text that stands beyond a dimension keeps off it, in mm.
_CLEAR = 3.0

#: Radius of the circle about a letter, from one to the next, and the letter's height, in mm.
_RING, _RING_STEP, _RINGED = 2.4, 5.6, 2.5

#: Share of a font's size that its capitals are high.
CAPITALS = 0.72

#: How much wider the widest face is that a text may be set in than the one that is measured.
_WIDEST = 1.12

#: Letters that are as wide as some that the measured face lacks; a wide one for all others.
_UNKNOWN = {"–": "n", "−": "+", "µ": "m"}


class LineKind(Enum):
    """Kinds of lines, with their width in mm and their dashes in mm."""

    OUTLINE = ("outline", 0.5, ())
    THIN = ("thin", 0.25, ())
    HATCH = ("hatch", 0.25, ())
    SYMBOL = ("symbols", 0.35, ())
    CENTRE = ("centre", 0.25, (6.0, 0.8, 0.4, 0.8))

    @property
    def layer(self) -> str:
        """Return the layer's name."""
        return str(self.value[0])

    @property
    def width(self) -> float:
        """Return the width in mm."""
        return float(self.value[1])

    @property
    def dashes(self) -> tuple[float, ...]:
        """Return lengths of dashes and gaps in mm."""
        return tuple(self.value[2])


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    line: LineKind = LineKind.OUTLINE


@dataclass(frozen=True, slots=True)
class Arc:
    """An arc, counter-clockwise from one angle to another in degrees; 0 to 360 is a circle."""

    x: float
    y: float
    radius: float
    start: float = 0.0
    stop: float = 360.0
    line: LineKind = LineKind.OUTLINE


@dataclass(frozen=True, slots=True)
class Label:
    """A text; `anchor` is start, middle or end, `turned` in degrees counter-clockwise."""

    text: str
    x: float
    y: float
    height: float = NORMAL
    anchor: str = "start"
    turned: float = 0.0


@dataclass(frozen=True, slots=True)
class FilledTriangle:
    """A filled triangle: an arrow's point, a datum's foot."""

    corners: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Area:
    """A convex outline that is hatched at 45 degrees, its corners in order."""

    corners: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Measure:
    """A linear dimension between two points of the drawing.

    Parameters
    ----------
    x1, y1, x2, y2 : float
        The points measured.
    at : float
        Where the dimension line stands: its x if `upright`, its y otherwise.
    text : str
        What it says.
    limits : str
        Limits of size below the dimension line; empty where there are none to say.
    upright : bool
        Whether it runs upwards.
    outside : bool
        Whether arrows and text stand outside of the extension lines.
    marks : str
        Letters in circles that follow the text.
    above : float
        Where text that has no room within begins at the earliest, if it is upright.

    Notes
    -----
    An upright dimension whose text is longer than what it measures has its text above it, on
    its line drawn further.
    """

    x1: float
    y1: float
    x2: float
    y2: float
    at: float
    text: str
    limits: str = ""
    upright: bool = False
    outside: bool = False
    marks: str = ""
    above: float = 0.0

    @property
    def span(self) -> tuple[float, float]:
        """Return where it begins and ends along its line, in mm."""
        low, high = sorted((self.y1, self.y2) if self.upright else (self.x1, self.x2))
        return low, high

    @property
    def wide(self) -> float:
        """Return the length of its text and marks in mm."""
        wide = text_width(self.text, NORMAL)
        return wide + 1.0 + len(self.marks) * _RING_STEP - 0.8 if self.marks else wide

    @property
    def tight(self) -> bool:
        """Whether its text is longer than what it measures."""
        low, high = self.span
        longest = max(self.wide, text_width(self.limits, SMALL))
        return self.upright and not self.outside and longest > high - low - 1.0

    @property
    def right(self) -> float:
        """Return where its line ends to the right, if it is level, in mm.

        A text that is longer than what it measures goes on to the right, over its line.
        """
        low, high = self.span
        reach = 3 * ARROW[0] if self.outside or high - low < 3 * ARROW[0] else 0.0
        return high + reach + (self.wide + 2.0 if self.wide > high - low - 1.0 else 0.0)

    @property
    def foot(self) -> float:
        """Return where a text that has no room within begins, in mm."""
        return max(self.span[1], self.above) + _CLEAR

    @property
    def top(self) -> float:
        """Return where its line ends above, if it is upright, in mm."""
        if not self.tight:
            return self.span[1]
        return self.foot + max(self.wide, text_width(self.limits, SMALL)) + 1.0


Piece = Stroke | Arc | Label | FilledTriangle
Item = Piece | Area | Measure


@dataclass(frozen=True, slots=True)
class Drawing:
    """A sheet.

    Parameters
    ----------
    title : str
        For readers of a file.
    scale : float
        Millimetres on paper to a millimetre of the part.
    items : tuple of Item
        In mm on paper.
    """

    title: str
    scale: float
    items: tuple[Item, ...]


# -- lettering ---------------------------------------------------------------------------


@cache
def _ruler() -> FPDF:
    """Return a document that knows how wide letters are, a hundred points high."""
    ruler = FPDF(unit="pt")
    ruler.set_font("Helvetica", size=100)
    return ruler


@cache
def _advance(letter: str) -> float:
    """Return how wide a letter is, in sizes of the font."""
    shown = letter if ord(letter) < 256 else _UNKNOWN.get(letter, "W")
    return float(_ruler().get_string_width(shown)) / 100


def text_width(text: str, height: float) -> float:
    """Return the room in mm that a text takes, in the widest face it may be set in.

    Parameters
    ----------
    text : str
        One line.
    height : float
        Of its capitals, in mm.
    """
    return sum(map(_advance, text)) * height / CAPITALS * _WIDEST


def cut(text: str, height: float, width: float) -> str:
    """Return as much of a text as a width in mm holds; what is cut ends in three dots.

    Examples
    --------
    >>> cut("a rather long name", 3.5, 30.0)
    'a rather...'
    """
    if text_width(text[:1000], height) <= width and len(text) <= 1000:
        return text
    room, kept = width - text_width("...", height), 0
    for letter in text:
        room -= text_width(letter, height)
        if room < 0:
            break
        kept += 1
    space = text.rfind(" ", 0, kept + 1)
    # Between words, unless a word is so long that little would be left.
    return text[: space if 2 * space > kept else kept].rstrip(" ,;:-") + "..."


def wrapped(text: str, height: float, width: float, most: int) -> list[str]:
    """Return a text in lines of a width in mm, broken between words.

    Parameters
    ----------
    most : int
        Lines that there is room for; the last ends in dots if the text goes on.
    """
    lines: list[str] = []
    words = text.split()
    while words and len(lines) < most:
        line, used = words[0], 1
        while used < len(words) and text_width(f"{line} {words[used]}", height) <= width:
            line, used = f"{line} {words[used]}", used + 1
        if len(lines) == most - 1 and used < len(words):
            line = f"{line} {words[used]}" if len(line) < 1000 else line
            line = cut(line + " ...", height, width)
        lines.append(cut(line, height, width))
        words = words[used:]
    return lines


# -- pieces ------------------------------------------------------------------------------


def box(x1: float, y1: float, x2: float, y2: float, line: LineKind) -> list[Piece]:
    """Return a rectangle's sides."""
    return [
        Stroke(x1, y1, x2, y1, line),
        Stroke(x2, y1, x2, y2, line),
        Stroke(x2, y2, x1, y2, line),
        Stroke(x1, y2, x1, y1, line),
    ]


def path(points: Sequence[tuple[float, float]], line: LineKind) -> list[Piece]:
    """Return the lines that join points, one after the other."""
    return [Stroke(*a, *b, line) for a, b in pairwise(points)]


def hatching(area: Area) -> list[Stroke]:
    """Return the lines that hatch an area at 45 degrees."""
    corners = area.corners
    sides = list(zip(corners, (*corners[1:], corners[0]), strict=True))
    offsets = [y - x for x, y in corners]  # y - x stays the same along a line
    step = _PITCH * math.sqrt(2)
    lines = []
    at = math.ceil(min(offsets) / step) * step
    while at < max(offsets):
        met = []
        for (x1, y1), (x2, y2) in sides:
            before, after = (y1 - x1) - at, (y2 - x2) - at
            if (before < 0) != (after < 0):
                share = before / (before - after)
                met.append(x1 + (x2 - x1) * share)
        if met and max(met) - min(met) > 1e-6:
            lines.append(Stroke(min(met), min(met) + at, max(met), max(met) + at, LineKind.HATCH))
        at += step
    return lines


def arrow(x: float, y: float, direction: float) -> FilledTriangle:
    """Return an arrow whose point is at a place, in mm.

    Parameters
    ----------
    direction : float
        Where it points to, in degrees counter-clockwise from the right.
    """
    angle = math.radians(direction)
    back = (x - ARROW[0] * math.cos(angle), y - ARROW[0] * math.sin(angle))
    side = (-ARROW[1] * math.sin(angle), ARROW[1] * math.cos(angle))
    return FilledTriangle(
        (
            (x, y),
            (back[0] + side[0], back[1] + side[1]),
            (back[0] - side[0], back[1] - side[1]),
        )
    )


def placed(pieces: Iterable[Piece], x: float, y: float, turned: float = 0.0) -> list[Piece]:
    """Return pieces drawn about the origin, turned and then moved to a place.

    Parameters
    ----------
    turned : float
        In degrees counter-clockwise.
    """
    cos, sin = math.cos(math.radians(turned)), math.sin(math.radians(turned))

    def moved(px: float, py: float) -> tuple[float, float]:
        return x + px * cos - py * sin, y + px * sin + py * cos

    found: list[Piece] = []
    for piece in pieces:
        if isinstance(piece, Stroke):
            found.append(Stroke(*moved(piece.x1, piece.y1), *moved(piece.x2, piece.y2), piece.line))
        elif isinstance(piece, FilledTriangle):
            a, b, c = (moved(*corner) for corner in piece.corners)
            found.append(FilledTriangle((a, b, c)))
        elif isinstance(piece, Arc):
            px, py = moved(piece.x, piece.y)
            start, stop = piece.start + turned, piece.stop + turned
            found.append(replace(piece, x=px, y=py, start=start, stop=stop))
        else:
            px, py = moved(piece.x, piece.y)
            found.append(replace(piece, x=px, y=py, turned=piece.turned + turned))
    return found


def ringed(letters: str) -> list[Piece]:
    """Return letters in circles from the origin to the right, in line with lettering of 3.5 mm."""
    found: list[Piece] = []
    for n, letter in enumerate(letters):
        x = _RING + n * _RING_STEP
        found += [
            Arc(x, NORMAL / 2, _RING, line=LineKind.THIN),
            Label(letter, x, NORMAL / 2 - _RINGED / 2, _RINGED, "middle"),
        ]
    return found


def _row(measure: Measure) -> list[Piece]:
    """Return what stands above a dimension line, from the origin to the right."""
    if not measure.marks:
        return [Label(measure.text, measure.wide / 2, 0.0, anchor="middle")]
    marks = placed(ringed(measure.marks), text_width(measure.text, NORMAL) + 1.0, 0.0)
    return [Label(measure.text, 0.0, 0.0), *marks]


def drawn(measure: Measure) -> list[Piece]:
    """Return a dimension as lines, arrows and its text, the way ISO 129-1 has it."""
    m = measure
    low, high = m.span
    found: list[Piece] = []
    for x, y in ((m.x1, m.y1), (m.x2, m.y2)):
        start = x if m.upright else y
        sign = 1.0 if m.at > start else -1.0
        near, far = start + sign * OFF, m.at + sign * BEYOND
        if abs(m.at - start) > OFF:
            found.append(
                Stroke(near, y, far, y, LineKind.THIN)
                if m.upright
                else Stroke(x, near, x, far, LineKind.THIN)
            )
    # Where there is no room for arrows between the extension lines, they stand outside of them.
    outside = m.outside or high - low < 3 * ARROW[0]
    reach = 3 * ARROW[0] if outside else 0.0
    middle, flip = (low + high) / 2, 180.0 if outside else 0.0
    if m.upright:
        top = max(high + reach, m.top)
        found.append(Stroke(m.at, low - reach, m.at, top, LineKind.THIN))
        found += [arrow(m.at, low, 270.0 - flip), arrow(m.at, high, 90.0 + flip)]
        if m.tight:
            middle = (m.foot + m.top - 1.0) / 2
        # Outside, the text ends where the lower arrow begins.
        start = low - reach - m.wide if m.outside else middle - m.wide / 2
        found += placed(_row(m), m.at - 1.2, start, 90.0)
        if m.limits:
            found.append(Label(m.limits, m.at + 1.2 + SMALL, middle, SMALL, "middle", 90.0))
    else:
        over = m.right > high + reach
        found.append(Stroke(low - reach, m.at, m.right, m.at, LineKind.THIN))
        found += [arrow(low, m.at, 180.0 - flip), arrow(high, m.at, flip)]
        start = high + reach + 1.0 if over else middle - m.wide / 2
        found += placed(_row(m), start, m.at + 1.2)
        if m.limits:
            found.append(Label(m.limits, middle, m.at - 1.2 - SMALL, SMALL, "middle"))
    return found


# -- room --------------------------------------------------------------------------------

#: Left, low, right and high, in mm.
Room = tuple[float, float, float, float]


def label_room(label: Label) -> Room:
    """Return the upright rectangle that a label takes, for quarter turns."""
    wide = text_width(label.text, label.height)
    start = {"start": 0.0, "middle": -wide / 2, "end": -wide}[label.anchor]
    # Below the line hang about two tenths of a capital's height.
    corners = [(start, -0.2 * label.height), (start + wide, label.height)]
    angle = math.radians(label.turned)
    cos, sin = math.cos(angle), math.sin(angle)
    xs = [label.x + x * cos - y * sin for x, y in corners]
    ys = [label.y + x * sin + y * cos for x, y in corners]
    return min(xs), min(ys), max(xs), max(ys)


def pieces_of(items: Iterable[Item]) -> Iterator[Piece]:
    """Yield items with dimensions and hatched areas taken apart."""
    for item in items:
        if isinstance(item, Measure):
            yield from drawn(item)
        elif isinstance(item, Area):
            yield from hatching(item)
        else:
            yield item
