"""A dimensioned drawing of a turned part, as lines, arcs, texts and dimensions in mm.

The drawing is a list of items on a sheet, origin at its lower left, that one writer each turns
into SVG, PDF and DXF. A tube is shown in full section beside its end view, with its slot at
the back, so that the section shows the slot's edges; a solid part is not cut.

References
----------
.. [1] ISO 128-2:2020: line types 01.2 (continuous wide), 01.1 (continuous narrow) and 04.1
   (long-dashed dotted narrow), wide to narrow 2:1. ISO 128-3: sections, hatching at 45 degrees.
.. [2] ISO 129-1:2018: dimension lines, extension lines, terminators, the diameter sign, tolerance
   classes with limits in brackets. ISO 3098: heights of lettering. ISO 5455: scales. ISO 5456-2:
   first angle projection. ISO 5457: sizes of sheets. ISO 7200: title blocks. From memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from fitgraph.adapters.sheet import Sheet, Size
from fitgraph.draw.svg import shorten
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Reference
from fitgraph.units import show_mass

#: An A4 sheet lying down, its margins, and the title block, in mm.
PAPER = (297.0, 210.0)
_MARGIN, _BINDING = 10.0, 20.0
_BLOCK = (180.0, 36.0)

#: Heights of lettering in mm.
SMALL, NORMAL, LARGE = 2.5, 3.5, 5.0

#: An arrow's length and half its width in mm (15 degrees).
ARROW = (3.0, 0.4)

#: How far extension lines reach beyond the dimension line, and start off the outline, in mm.
BEYOND, OFF = 2.0, 1.0

#: Distance of the hatching's lines in mm.
_PITCH = 2.5

#: Scales of ISO 5455, the largest first.
_SCALES = (10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1)


class Line(Enum):
    """Kinds of lines, with their width in mm and their dashes in mm."""

    OUTLINE = ("outline", 0.5, ())
    THIN = ("thin", 0.25, ())
    HATCH = ("hatch", 0.18, ())
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
    line: Line = Line.OUTLINE


@dataclass(frozen=True, slots=True)
class Arc:
    """An arc, counter-clockwise from one angle to another in degrees; 0 to 360 is a circle."""

    x: float
    y: float
    radius: float
    start: float = 0.0
    stop: float = 360.0
    line: Line = Line.OUTLINE


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
class Area:
    """A rectangle, hatched at 45 degrees."""

    x1: float
    y1: float
    x2: float
    y2: float


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


Item = Stroke | Arc | Label | Area | Measure


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


def scale_text(scale: float) -> str:
    """Return a scale as drawings write it.

    Examples
    --------
    >>> scale_text(2.0), scale_text(0.5)
    ('2:1', '1:2')
    """
    return f"{scale:g}:1" if scale >= 1 else f"1:{1 / scale:g}"


def hatching(area: Area) -> list[Stroke]:
    """Return the lines that hatch a rectangle at 45 degrees."""
    low, high = area.y1 - area.x2, area.y2 - area.x1  # y - x along the lines
    lines = []
    at = math.ceil(low / (_PITCH * math.sqrt(2))) * _PITCH * math.sqrt(2)
    while at < high:
        x1, x2 = max(area.x1, area.y1 - at), min(area.x2, area.y2 - at)
        if x2 - x1 > 1e-6:
            lines.append(Stroke(x1, x1 + at, x2, x2 + at, Line.HATCH))
        at += _PITCH * math.sqrt(2)
    return lines


def arrow(x: float, y: float, direction: float) -> list[tuple[float, float]]:
    """Return the corners of an arrow whose point is at a place, in mm.

    Parameters
    ----------
    direction : float
        Where it points to, in degrees counter-clockwise from the right.
    """
    angle = math.radians(direction)
    back = (x - ARROW[0] * math.cos(angle), y - ARROW[0] * math.sin(angle))
    side = (-ARROW[1] * math.sin(angle), ARROW[1] * math.cos(angle))
    return [
        (x, y),
        (back[0] + side[0], back[1] + side[1]),
        (back[0] - side[0], back[1] - side[1]),
    ]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A dimension as strokes, arrows and texts."""

    strokes: tuple[Stroke, ...]
    arrows: tuple[tuple[tuple[float, float], ...], ...]
    labels: tuple[Label, ...]


def drawn(measure: Measure) -> Drawn:
    """Return a dimension as lines, arrows and its text, the way ISO 129-1 has it."""
    m = measure
    if m.upright:
        low, high = sorted((m.y1, m.y2))
        ends = ((m.x1, m.y1), (m.x2, m.y2))
    else:
        low, high = sorted((m.x1, m.x2))
        ends = ((m.x1, m.y1), (m.x2, m.y2))
    strokes = []
    for x, y in ends:
        start = x if m.upright else y
        sign = 1.0 if m.at > start else -1.0
        near, far = start + sign * OFF, m.at + sign * BEYOND
        if abs(m.at - start) > OFF:
            strokes.append(
                Stroke(near, y, far, y, Line.THIN)
                if m.upright
                else Stroke(x, near, x, far, Line.THIN)
            )
    reach = 3 * ARROW[0] if m.outside else 0.0
    middle, flip = (low + high) / 2, 180.0 if m.outside else 0.0
    labels = []
    if m.upright:
        strokes.append(Stroke(m.at, low - reach, m.at, high + reach, Line.THIN))
        arrows = (arrow(m.at, low, 270.0 - flip), arrow(m.at, high, 90.0 + flip))
        if m.outside:
            labels.append(Label(m.text, m.at - 1.2, high + reach + 1, anchor="middle", turned=90))
        else:
            labels.append(Label(m.text, m.at - 1.2, middle, anchor="middle", turned=90))
        if m.limits:
            below = m.at + 1.2 + SMALL
            labels.append(Label(m.limits, below, middle, SMALL, "middle", 90))
    else:
        strokes.append(Stroke(low - reach, m.at, high + reach, m.at, Line.THIN))
        arrows = (arrow(low, m.at, 180.0 - flip), arrow(high, m.at, flip))
        labels.append(Label(m.text, middle, m.at + 1.2, anchor="middle"))
        if m.limits:
            labels.append(Label(m.limits, middle, m.at - 1.2 - SMALL, SMALL, "middle"))
    return Drawn(tuple(strokes), tuple(map(tuple, arrows)), tuple(labels))


def size_text(size: Size, *, diameter: bool) -> str:
    """Return a dimension as a drawing writes it, with its class or its deviations."""
    sign = "Ø" if diameter else ""
    low, high = size.dimension.lo - size.nominal, size.dimension.hi - size.nominal
    if size.klass:
        return f"{sign}{size.nominal:g} {size.klass}"
    if high - low < 1e-6:
        return f"{sign}{size.nominal:g}"
    if math.isclose(-low, high, abs_tol=1e-6):
        return f"{sign}{size.nominal:g} ±{round(high, 4):g}"
    return f"{sign}{size.nominal:g} {round(high, 4):+g}/{round(low, 4):+g}"


def limits_text(size: Size) -> str:
    """Return the limits of size behind a tolerance class, the upper one first."""
    return f"({size.dimension.hi:.3f} / {size.dimension.lo:.3f})" if size.klass else ""


@dataclass(frozen=True, slots=True)
class _Plan:
    """The nominal sizes that are drawn, in mm on paper; zero where there is none."""

    outer: float
    bore: float
    slot: float
    long: float


def _plan(sheet: Sheet, scale: float) -> _Plan:
    nominal = {s.reference: s.nominal for s in sheet.sizes}
    make, shape = sheet.make, sheet.shape
    bore = 0.0 if make.bore is None or shape.bore is None else nominal[make.bore]
    slot = 0.0 if make.slot is None or shape.slot is None else nominal[make.slot]
    long = nominal[make.length] if isinstance(make.length, Reference) else make.length
    return _Plan(
        nominal[make.outside] / 2 * scale, bore / 2 * scale, slot / 2 * scale, long * scale
    )


def _scale_for(length: float, outside: float) -> float:
    """Return the largest scale at which both views and their dimensions have room."""
    room_x, room_y = PAPER[0] - _BINDING - _MARGIN - 82, PAPER[1] - 2 * _MARGIN - _BLOCK[1] - 62
    for scale in _SCALES:
        if (length + outside) * scale <= room_x and outside * scale <= room_y:
            return scale
    return _SCALES[-1]


def _frame() -> list[Item]:
    left, low, right, high = _BINDING, _MARGIN, PAPER[0] - _MARGIN, PAPER[1] - _MARGIN
    return _box(left, low, right, high, Line.OUTLINE)


def _box(x1: float, y1: float, x2: float, y2: float, line: Line) -> list[Item]:
    return [
        Stroke(x1, y1, x2, y1, line),
        Stroke(x2, y1, x2, y2, line),
        Stroke(x2, y2, x1, y2, line),
        Stroke(x1, y2, x1, y1, line),
    ]


def _projection_sign(x: float, y: float) -> list[Item]:
    """Return the sign of first angle projection: a cone's side view and its end."""
    return [
        Stroke(x, y - 1.5, x, y + 1.5, Line.THIN),
        Stroke(x + 7, y - 3, x + 7, y + 3, Line.THIN),
        Stroke(x, y - 1.5, x + 7, y - 3, Line.THIN),
        Stroke(x, y + 1.5, x + 7, y + 3, Line.THIN),
        Stroke(x - 1.5, y, x + 8.5, y, Line.CENTRE),
        Arc(x + 13, y, 3, line=Line.THIN),
        Arc(x + 13, y, 1.5, line=Line.THIN),
        Stroke(x + 8.8, y, x + 17.2, y, Line.CENTRE),
        Stroke(x + 13, y - 4.2, x + 13, y + 4.2, Line.CENTRE),
    ]


def _breadth(text: str) -> float:
    """Return about how wide a text is, in heights of its capitals."""
    return max(sum(0.95 if c.isupper() else 0.72 for c in text), 0.1)


def _title_block(sheet: Sheet, scale: float) -> list[Item]:
    right, low = PAPER[0] - _MARGIN, _MARGIN
    left, high = right - _BLOCK[0], low + _BLOCK[1]
    material = MATERIALS[sheet.make.material].title
    columns = (left, left + 82, left + 136, right)
    rows = (low, low + 9, low + 18, low + 27, high)
    items: list[Item] = _box(left, low, right, high, Line.OUTLINE)
    items += [Stroke(left, y, right, y, Line.THIN) for y in rows[1:-1]]
    items += [Stroke(x, low, x, rows[3], Line.THIN) for x in columns[1:-1]]

    def cell(column: int, row: int, name: str, text: str, height: float = NORMAL) -> None:
        x, y = columns[column] + 1.5, rows[row]
        width = (columns[column + 1] if row < 3 else right) - x
        # A long text is set smaller, and ends in dots where it would be too small to read.
        height = max(min(height, width / _breadth(text)), SMALL)
        while len(text) > 1 and _breadth(text) * height > width:
            text = shorten(text, len(text) - 1)
        items.append(Label(name, x, y + 6.4, 1.8))
        items.append(Label(text, x, y + 1.9, height))

    maker = next((w for w in sheet.worth.candidate.words.values() if w), None)
    title = sheet.part.name + (f", for {maker}" if maker else "")
    cell(0, 3, "Title", title, LARGE - 1)
    cell(0, 2, "Drawing number", sheet.part.sku, 3.0)
    cell(1, 2, "Material", material, 3.0)
    cell(2, 2, "Mass", show_mass(sheet.part.mass_g or 0.0), 3.0)
    cell(0, 1, "Made by", sheet.make.process, 2.5)
    cell(1, 1, "General tolerances", "ISO 2768-m", 3.0)
    cell(2, 1, "Scale", scale_text(scale), 3.0)
    cell(0, 0, "Document", "proposal, not released", 3.0)
    cell(1, 0, "Edges", "deburr all, 0.2 at most", 3.0)
    items.append(Label("Projection", columns[2] + 1.5, rows[0] + 6.4, 1.8))
    items += _projection_sign(columns[2] + 20, rows[0] + 4.5)
    return items


def _end_view(sheet: Sheet, x: float, y: float, scale: float) -> list[Item]:
    """Return the end view, its slot to the left, where the back is."""
    plan = _plan(sheet, scale)
    outer, bore, half = plan.outer, plan.bore, plan.slot
    items: list[Item] = []
    for radius in (outer, bore):
        if radius <= 0:
            continue
        gap = math.degrees(math.asin(min(half / radius, 1.0)))
        items.append(
            Arc(x, y, radius, gap - 180.0 + 0.0, 180.0 - gap) if half else Arc(x, y, radius)
        )
    if half:
        for side in (-half, half):
            items.append(
                Stroke(
                    x - math.sqrt(outer**2 - half**2),
                    y + side,
                    x - math.sqrt(max(bore**2 - half**2, 0.0)),
                    y + side,
                )
            )
    reach = outer + 4
    items += [
        Stroke(x - reach, y, x + reach, y, Line.CENTRE),
        Stroke(x, y - reach, x, y + reach, Line.CENTRE),
    ]
    if bore:
        # The cutting plane: thick at its ends, looked at towards the back.
        for sign in (-1, 1):
            end = y + sign * reach
            items += [
                Stroke(x, end, x, end + sign * 5),
                Stroke(x, end + sign * 4, x + 6, end + sign * 4, Line.THIN),
                Label("A", x + 7, end + sign * 4 - 1.7, LARGE),
                *_flat(arrow(x + 0.4, end + sign * 4, 180.0)),
            ]
    return items


def _flat(corners: Sequence[tuple[float, float]]) -> list[Item]:
    """Return an arrow's outline as thin strokes, filled by a stroke through its middle."""
    (x0, y0), (x1, y1), (x2, y2) = corners
    return [
        Stroke(x0, y0, x1, y1, Line.THIN),
        Stroke(x0, y0, x2, y2, Line.THIN),
        Stroke(x1, y1, x2, y2, Line.THIN),
        Stroke(x0, y0, (x1 + x2) / 2, (y1 + y2) / 2, Line.OUTLINE),
    ]


def _side_view(sheet: Sheet, x: float, y: float, scale: float) -> list[Item]:
    """Return the section along the axis, or the view of a solid part."""
    plan = _plan(sheet, scale)
    outer, long, bore, half = plan.outer, plan.long, plan.bore, plan.slot
    items: list[Item] = list(_box(x, y - outer, x + long, y + outer, Line.OUTLINE))
    items.append(Stroke(x - 4, y, x + long + 4, y, Line.CENTRE))
    if bore:
        for sign in (-1, 1):
            low, high = sorted((y + sign * bore, y + sign * outer))
            items += [
                Stroke(x, y + sign * bore, x + long, y + sign * bore),
                Area(x, low, x + long, high),
            ]
        if half:
            items += [Stroke(x, y + s * half, x + long, y + s * half) for s in (-1, 1)]
        items.append(Label("A–A", x + long / 2, y + outer + 7, LARGE, "middle"))
    return items


def _measures(sheet: Sheet, x: float, y: float, end: float, scale: float) -> list[Item]:
    make, plan, by_reference = (
        sheet.make,
        _plan(sheet, scale),
        {s.reference: s for s in sheet.sizes},
    )
    outer, long = plan.outer, plan.long
    items: list[Item] = []
    outside = by_reference[make.outside]
    items.append(
        Measure(
            x,
            y - outer,
            x,
            y + outer,
            x - 25,
            size_text(outside, diameter=True),
            limits_text(outside),
            True,
        )
    )
    if plan.bore and make.bore is not None:
        inside = by_reference[make.bore]
        text = size_text(inside, diameter=True)
        items.append(
            Measure(x, y - plan.bore, x, y + plan.bore, x - 11, text, limits_text(inside), True)
        )
    if isinstance(make.length, Reference):
        text = size_text(by_reference[make.length], diameter=False)
    else:
        text = f"{make.length:g}"
    items.append(Measure(x, y - outer, x + long, y - outer, y - outer - 11, text))
    if plan.slot and make.slot is not None:
        half = plan.slot
        edge = end - math.sqrt(outer**2 - half**2)
        text = size_text(by_reference[make.slot], diameter=False)
        items.append(Measure(edge, y - half, edge, y + half, end - outer - 9, text, "", True, True))
    return items


def _notes(sheet: Sheet) -> list[Item]:
    """Return the notes above the title block."""
    texts = [
        "Dimensions in mm. Diameters apply after deburring, with the slot relaxed."
        if sheet.shape.slot is not None
        else "Dimensions in mm, after deburring.",
        f"Least wall {sheet.make.least_wall:g} mm; here {sheet.shape.least_wall:.2f} mm at the "
        "worst sizes."
        if sheet.shape.bore is not None
        else "",
        "Slot along the whole length, both faces parallel to the axis."
        if sheet.shape.slot is not None
        else "",
    ]
    shown = [t for t in texts if t]
    top = _MARGIN + _BLOCK[1] + 5 + 4.2 * (len(shown) - 1)
    left = PAPER[0] - _MARGIN - _BLOCK[0] + 1.5
    return [Label(t, left, top - 4.2 * n, SMALL) for n, t in enumerate(shown)]


def drawing(sheet: Sheet) -> Drawing:
    """Return the dimensioned drawing of a part on an A4 sheet.

    Parameters
    ----------
    sheet : Sheet
        What is known of the part.
    """
    shape = sheet.shape
    scale = _scale_for(shape.length, shape.outside.mid)
    plan = _plan(sheet, scale)
    outer, long = plan.outer, plan.long
    wide = PAPER[0] - _BINDING - _MARGIN
    gap = 32.0
    x = _BINDING + 29 + max((wide - 29 - long - gap - 2 * outer - 12) / 2, 4)
    y = (PAPER[1] - _MARGIN + _MARGIN + _BLOCK[1] + 12) / 2 + 2
    end = x + long + gap + outer
    items: list[Item] = [
        *_frame(),
        *_side_view(sheet, x, y, scale),
        *_end_view(sheet, end, y, scale),
        *_measures(sheet, x, y, end, scale),
        *_notes(sheet),
        *_title_block(sheet, scale),
    ]
    return Drawing(f"{sheet.part.name} {sheet.part.sku}", scale, tuple(items))
