"""A dimensioned drawing of a turned part, as lines, arcs, texts and dimensions in mm.

The drawing is a list of items on a sheet, origin at its lower left, that one writer each turns
into SVG, PDF and DXF. A tube is shown in full section beside its end view, with its slot at
the back, so that the section shows the slot's edges; a solid part is not cut, and its diameter
sign makes an end view needless.

References
----------
.. [1] ISO 128-3:2020: sections and cutting planes. ISO 129-1:2018: the diameter sign, tolerance
   classes with limits in brackets, chamfers. ISO 5455:1979: scales. From memory.
.. [2] ISO 10579:2010: what does not hold its shape is named ISO 10579-NR; requirements hold as
   mounted, those with an encircled F in the free state.
.. [3] ISO 14405-1:2016: an encircled E asks for the envelope (from memory). Fits are judged by
   limits of size, so form must not take up what the limits leave.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from fitgraph.adapters.sheet import Sheet, Size
from fitgraph.draw.drafting_block import (
    BINDING,
    HIGH,
    MARGIN,
    frame,
    notes,
    one_texture,
    roughness_text,
    title_block,
)
from fitgraph.draw.drafting_items import (
    LARGE,
    NORMAL,
    PAPER,
    Arc,
    Area,
    Drawing,
    Item,
    Label,
    Line,
    Measure,
    Piece,
    Room,
    Stroke,
    arrow,
    label_room,
    path,
    pieces_of,
    placed,
)
from fitgraph.draw.drafting_profile import Turned, turned
from fitgraph.draw.drafting_symbols import (
    datum_mark,
    leader,
    texture,
    texture_width,
)
from fitgraph.draw.drafting_symbols import (
    frame as tolerance_frame,
)
from fitgraph.model import Reference

#: Scales of ISO 5455, the largest first.
_SCALES = (10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1)

#: The letter of the bore's axis; sections have A.
_DATUM = "B"

#: Room in mm left of the views for upright dimensions, between the views, and around them.
_LEFT, _BETWEEN, _RIGHT, _ABOVE, _BELOW = 33.0, 37.0, 9.0, 27.0, 17.0

#: How far dimension lines stand off the outline, in mm.
_FIRST, _SECOND, _UNDER = 12.0, 26.5, 11.0

#: Circles of the end view are at least so far apart, in mm.
_LEAST_APART = 1.0 - 1e-9


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


def chamfer_text(size: float) -> str:
    """Return a chamfer at both ends as a drawing writes it.

    Examples
    --------
    >>> chamfer_text(0.5)
    '2× 0.5 × 45°'
    """
    return f"2× {size:g} × 45°"


def _across(part: Turned) -> float:
    """Return the width of the views in mm, and of what stands between them."""
    end = _BETWEEN + part.outside + _RIGHT if part.bore else _BETWEEN
    return _LEFT + part.length + end


def _scale_for(part: Turned) -> float:
    """Return the largest scale at which the views and their dimensions have room."""
    room_x = PAPER[0] - BINDING - MARGIN - 2
    room_y = PAPER[1] - 2 * MARGIN - HIGH - _ABOVE - _BELOW
    for scale in _SCALES:
        shown = part.scaled(scale)
        if _across(shown) <= room_x and shown.outside <= room_y:
            return scale
    return _SCALES[-1]


def _broken(x: float, half: float, gap: float, y: float) -> list[Piece]:
    """Return an upright line about the axis, broken where the slot is."""
    if not gap:
        return [Stroke(x, y - half, x, y + half)]
    return [Stroke(x, y - half, x, y - gap), Stroke(x, y + gap, x, y + half)]


def _side_view(part: Turned, x: float, y: float) -> list[Item]:
    """Return the section along the axis, or the view of a solid part."""
    half = part.half_section
    upper = [(x + along, y + away) for along, away in half]
    lower = [(x + along, y - away) for along, away in half]
    long, outer, inner = part.length, part.outside / 2, part.bore / 2
    items: list[Item] = [Stroke(x - 4, y, x + long + 4, y, Line.CENTRE)]
    if not part.bore:
        # The axis is no edge: the outline runs from one end's middle to the other's.
        items += path(upper, Line.OUTLINE) + path(lower, Line.OUTLINE)
        if part.chamfer_outside:
            for at in (part.chamfer_outside, long - part.chamfer_outside):
                items += _broken(x + at, outer, 0.0, y)
        return items
    gap, near = part.slot / 2, part.chamfer_bore
    for corners in (upper, lower):
        items += [Area(tuple(corners)), *path([*corners, corners[0]], Line.OUTLINE)]
    for at in (0.0, long):
        items += _broken(x + at, inner + near, gap, y)
    if near:
        for at in (near, long - near):
            items += _broken(x + at, inner, gap, y)
    if gap:
        items += [Stroke(x, y + s * gap, x + long, y + s * gap) for s in (-1, 1)]
    items.append(Label("A–A", x + long / 2, y + outer + _ABOVE - 7.5, LARGE, "middle"))
    return items


def _end_view(part: Turned, x: float, y: float) -> list[Item]:
    """Return the end view, its slot to the left, where the back is."""
    outer, inner, half = part.outside / 2, part.bore / 2, part.slot / 2
    items: list[Item] = []
    # Circles of a chamfer would run into its edge's where it is small on paper.
    far, near = (c if c >= _LEAST_APART else 0.0 for c in (part.chamfer_outside, part.chamfer_bore))
    radii = {outer, outer - far, inner + near, inner}
    for radius in sorted(radii):
        gap = math.degrees(math.asin(min(half / radius, 1.0)))
        items.append(Arc(x, y, radius, gap - 180.0, 180.0 - gap) if half else Arc(x, y, radius))
    if half:
        left, right = math.sqrt(outer**2 - half**2), math.sqrt(max(inner**2 - half**2, 0.0))
        items += [Stroke(x - left, y + s * half, x - right, y + s * half) for s in (-1, 1)]
    reach = outer + 4
    items += [
        Stroke(x - reach, y, x + reach, y, Line.CENTRE),
        Stroke(x, y - reach, x, y + reach, Line.CENTRE),
    ]
    # The cutting plane: thick at its ends, looked at towards the back.
    for sign in (-1, 1):
        end = y + sign * reach
        items += [
            Stroke(x, end, x, end + sign * 5),
            Stroke(x, end + sign * 4, x + 6, end + sign * 4, Line.THIN),
            Label("A", x + 7, end + sign * 4 - 1.7, LARGE),
            arrow(x, end + sign * 4, 180.0),
        ]
    return items


def _measures(sheet: Sheet, part: Turned, x: float, y: float, end: float) -> list[Item]:
    """Return the dimensions."""
    make, sizes = sheet.make, {s.reference: s for s in sheet.sizes}
    outer, inner, long, half = part.outside / 2, part.bore / 2, part.length, part.slot / 2

    def diameter(reference: Reference, radius: float, at: float) -> Measure:
        size = sizes[reference]
        marks = ("E" if size.klass else "") + ("F" if half else "")
        text, limits = size_text(size, diameter=True), limits_text(size)
        return Measure(x, y - radius, x, y + radius, at, text, limits, True, marks=marks)

    hollow = make.bore is not None and part.bore > 0
    items: list[Item] = [diameter(make.outside, outer, x - (_SECOND if hollow else _FIRST))]
    if hollow and make.bore is not None:
        items.append(diameter(make.bore, inner, x - _FIRST))
    if isinstance(make.length, Reference):
        text = size_text(sizes[make.length], diameter=False)
    else:
        text = f"{make.length:g}"
    items.append(Measure(x, y - outer, x + long, y - outer, y - outer - _UNDER, text))
    if half and make.slot is not None:
        edge = end - math.sqrt(outer**2 - half**2)
        text = size_text(sizes[make.slot], diameter=False)
        items.append(
            Measure(edge, y - half, edge, y + half, end - outer - 9, text, "", True, True, "F")
        )
    return items


def _coaxial(sheet: Sheet, part: Turned, x: float, y: float) -> list[Item]:
    """Return the tolerance of the outside's axis, and the bore's axis as its datum.

    Both stand in line with a dimension line, which makes them speak of the axis.
    """
    zone = sheet.make.work.coaxiality
    if not zone or not part.bore:
        return []
    outer, inner = part.outside / 2, part.bore / 2
    at, top = x - _SECOND, y + outer + 9.0
    made, _ = tolerance_frame(f"Ø{zone:g}", _DATUM)
    return [
        Stroke(at, y + outer, at, top, Line.SYMBOL),
        arrow(at, y + outer, 270.0),
        *placed(made, at - 3.5, top),
        *placed(datum_mark(_DATUM, 7.0), x - _FIRST, y - inner),
    ]


def _chamfers(sheet: Sheet, part: Turned, x: float, y: float) -> list[Item]:
    """Return leaders to the lead-ins at the right end."""
    work, right = sheet.make.work, x + part.length
    outer, inner = part.outside / 2, part.bore / 2
    items: list[Item] = []
    below = y
    if part.chamfer_bore:
        below = y + max(inner - 7.0, part.slot / 2 + 6.0)
        near = part.chamfer_bore / 2
        foot = (right - near, y + inner + near)
        items += leader(*foot, (right + 5.0, below), chamfer_text(work.chamfer_bore))
    if part.chamfer_outside:
        far = part.chamfer_outside / 2
        knee = (right + 5.0, max(y + outer + 7.0, below + 8.0))
        text = chamfer_text(work.chamfer_outside)
        items += leader(right - far, y + outer - far, knee, text)
    return items


def _rooms(items: Iterable[Item]) -> list[Room]:
    """Return the rectangles that texts take."""
    return [label_room(piece) for piece in pieces_of(items) if isinstance(piece, Label)]


def _apart(a: Room, b: Room, gap: float = 0.5) -> bool:
    return a[2] + gap <= b[0] or b[2] + gap <= a[0] or a[3] + gap <= b[1] or b[3] + gap <= a[1]


def _textures(sheet: Sheet, part: Turned, x: float, y: float, taken: list[Room]) -> list[Item]:
    """Return the texture of the fitting surfaces, each where there is room for its symbol."""
    if one_texture(sheet):
        return []
    work = sheet.make.work
    outer, inner, long, half = part.outside / 2, part.bore / 2, part.length, part.slot / 2
    items: list[Item] = []

    def stand(ra: float, line: float, ceiling: float) -> None:
        """Put a symbol on a line of the view, or on a shelf above it where it has no room."""
        text = roughness_text(ra)
        wide, high = texture_width(text), 3.0 * NORMAL
        places = [x + long * share for share in (0.62, 0.3, 0.12, 0.75)]
        for at in places:
            room = (at - 3.0, line + 0.5, at + wide, line + high + 0.5)
            inside = at + wide <= x + long or line >= y + outer
            if inside and room[3] <= ceiling and all(_apart(room, t) for t in taken):
                items.extend(placed(texture(text), at, line))
                taken.append(room)
                return
        # A shelf right of the view, below everything that is said there.
        knee = (x + long + 5.0, y - outer - 9.0)
        while True:
            room = (knee[0], knee[1], knee[0] + wide + 4.0, knee[1] + high)
            if all(_apart(room, t) for t in taken):
                break
            knee = (knee[0], knee[1] - 2.0)
        start = (x + long * 0.9, line)
        direction = math.degrees(math.atan2(start[1] - knee[1], start[0] - knee[0]))
        items.extend(
            [
                Stroke(*start, *knee, Line.THIN),
                arrow(*start, direction),
                Stroke(*knee, knee[0] + 6.0, knee[1], Line.THIN),
                *placed(texture(text), knee[0] + 3.5, knee[1]),
            ]
        )
        taken.append(room)

    stand(work.roughness_outside, y + outer, math.inf)
    if part.bore:
        # In the section, on the bore's lower line, below the slot or the axis.
        stand(work.roughness_bore, y - inner, y - half - 1.0)
    return items


def drawing(sheet: Sheet) -> Drawing:
    """Return the dimensioned drawing of a part on an A4 sheet.

    Parameters
    ----------
    sheet : Sheet
        What is known of the part.
    """
    true = turned(sheet)
    scale = _scale_for(true)
    part = true.scaled(scale)
    spare = PAPER[0] - BINDING - MARGIN - _across(part)
    x = BINDING + _LEFT + max(spare / 2, 0.0)
    low = MARGIN + HIGH
    y = (low + _BELOW + PAPER[1] - MARGIN - _ABOVE) / 2
    end = x + part.length + _BETWEEN + part.outside / 2
    items: list[Item] = [
        *_side_view(part, x, y),
        *(_end_view(part, end, y) if part.bore else ()),
        *_measures(sheet, part, x, y, end),
        *_coaxial(sheet, part, x, y),
        *_chamfers(sheet, part, x, y),
    ]
    items += _textures(sheet, part, x, y, _rooms(items))
    items += [*frame(), *notes(sheet), *title_block(sheet, scale)]
    return Drawing(f"{sheet.part.name} {sheet.part.sku}", scale, tuple(items))
