"""A dimensioned drawing of a turned part, as lines, arcs, texts and dimensions in mm.

The drawing is a list of items on a sheet, origin at its lower left, that one writer each turns
into SVG, PDF and DXF. A tube is shown in full section beside its end view, with its slot at
the back, so that the section shows the slot's edges; a solid part is not cut, and its diameter
sign makes an end view needless.

References
----------
.. [1] ISO 128-3:2020: sections and cutting planes. ISO 129-1:2018: the diameter sign, tolerance
   classes with limits in brackets, chamfers. ISO 5455:1979: scales. Editions
   checked (ISO 128-3 has a newer one of 2022), and that values stand above the line, to be read
   from below or from the right (ISO 129-1, an excerpt); what else they ask is from memory.
.. [2] ISO 10579:2010: what does not hold its shape is named ISO 10579-NR; requirements hold as
   mounted, those with an encircled F in the free state.
.. [3] ISO 14405-1:2016: an encircled E asks for the envelope (looked up; a newer edition is of
   2025). Fits are judged by limits of size, so form must not take up what the limits leave.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from fitgraph.adapters.sheet import Size, SpecSheet
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
    ARROW,
    LARGE,
    NORMAL,
    PAPER,
    Arc,
    Area,
    Drawing,
    Item,
    Label,
    LineKind,
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
_SCALES = (10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02)

#: The letter of the bore's axis; sections have A.
_DATUM = "B"

#: Room between the views, and from the section up to its name, in mm.
_BETWEEN, _NAMED = 37.0, 19.5

#: How far the views keep off the frame and the title block, in mm.
_KEEP_OFF = 3.0

#: How far dimension lines stand off the outline, in mm.
_FIRST, _SECOND, _UNDER = 12.0, 26.5, 11.0

#: From the end of a level dimension's text to the end view, in mm.
_BESIDE = 16.0

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
    items: list[Item] = [Stroke(x - 4, y, x + long + 4, y, LineKind.CENTRE)]
    if not part.bore:
        # The axis is no edge: the outline runs from one end's middle to the other's.
        items += path(upper, LineKind.OUTLINE) + path(lower, LineKind.OUTLINE)
        if part.chamfer_outside:
            for at in (part.chamfer_outside, long - part.chamfer_outside):
                items += _broken(x + at, outer, 0.0, y)
        return items
    gap, near = part.slot / 2, part.chamfer_bore
    for corners in (upper, lower):
        items += [Area(tuple(corners)), *path([*corners, corners[0]], LineKind.OUTLINE)]
    for at in (0.0, long):
        items += _broken(x + at, inner + near, gap, y)
    if near:
        for at in (near, long - near):
            items += _broken(x + at, inner, gap, y)
    if gap:
        items += [Stroke(x, y + s * gap, x + long, y + s * gap) for s in (-1, 1)]
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
        Stroke(x - reach, y, x + reach, y, LineKind.CENTRE),
        Stroke(x, y - reach, x, y + reach, LineKind.CENTRE),
    ]
    # The cutting plane: thick at its ends, looked at towards the back.
    for sign in (-1, 1):
        end = y + sign * reach
        items += [
            Stroke(x, end, x, end + sign * 5),
            Stroke(x, end + sign * 4, x + 6, end + sign * 4, LineKind.THIN),
            Label("A", x + 7, end + sign * 4 - 1.7, LARGE),
            arrow(x, end + sign * 4, 180.0),
        ]
    return items


def _measures(sheet: SpecSheet, part: Turned, x: float, y: float, end: float) -> list[Item]:
    """Return the dimensions."""
    make, sizes = sheet.make, {s.reference: s for s in sheet.sizes}
    outer, inner, long, half = part.outside / 2, part.bore / 2, part.length, part.slot / 2

    def diameter(reference: Reference, radius: float, at: float) -> Measure:
        size = sizes[reference]
        marks = ("E" if size.klass else "") + ("F" if half else "")
        text, limits = size_text(size, diameter=True), limits_text(size)
        ends = (x, y - radius, x, y + radius)
        # Text that stands above keeps off the outside's extension line.
        return Measure(*ends, at, text, limits, True, marks=marks, above=y + outer)

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


def _coaxial(
    sheet: SpecSheet, part: Turned, x: float, y: float, measures: list[Item]
) -> list[Item]:
    """Return the tolerance of the outside's axis, and the bore's axis as its datum.

    Both stand in line with a dimension line, which makes them speak of the axis.
    """
    zone = sheet.make.work.coaxiality
    if not zone or not part.bore:
        return []
    outer, inner = part.outside / 2, part.bore / 2
    upright = [m for m in measures if isinstance(m, Measure) and m.upright and not m.outside]
    at, top = x - _SECOND, max(y + outer + 9.0, *(m.top + 2.0 for m in upright))
    made, _ = tolerance_frame(f"Ø{zone:g}", _DATUM)
    # Where the bore's arrows stand outside, the triangle takes the place of the lower one.
    down = max(7.0, outer - inner + 1.5, 0.0 if part.bore >= 3 * ARROW[0] else 3 * ARROW[0] + 1.5)
    return [
        Stroke(at, y + outer, at, top, LineKind.SYMBOL),
        # The dimension's own arrow serves where it stands outside.
        *([arrow(at, y + outer, 270.0)] if part.outside >= 3 * ARROW[0] else ()),
        *placed(made, at - 3.5, top),
        *placed(datum_mark(_DATUM, down), x - _FIRST, y - inner),
    ]


def _chamfers(sheet: SpecSheet, part: Turned, x: float, y: float) -> list[Item]:
    """Return leaders to the lead-ins at the right end."""
    work, right = sheet.make.work, x + part.length
    outer, inner = part.outside / 2, part.bore / 2
    items: list[Item] = []
    below = y
    if part.chamfer_bore:
        # Above the arrow of the slot's dimension, which stands to the right.
        below = y + max(inner - 7.0, part.slot / 2 + 3 * ARROW[0] + 2.0)
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


def _on_shelf(text: str, foot: tuple[float, float], knee: tuple[float, float]) -> list[Item]:
    """Return a texture symbol on a shelf, with a leader to the face that it speaks of."""
    direction = math.degrees(math.atan2(foot[1] - knee[1], foot[0] - knee[0]))
    return [
        Stroke(*foot, *knee, LineKind.THIN),
        arrow(*foot, direction),
        Stroke(*knee, knee[0] + 6.0, knee[1], LineKind.THIN),
        *placed(texture(text), knee[0] + 3.5, knee[1]),
    ]


def _textures(sheet: SpecSheet, part: Turned, x: float, y: float, taken: list[Room]) -> list[Item]:
    """Return the texture of the fitting surfaces, each where there is room for its symbol."""
    if one_texture(sheet):
        return []
    work, high = sheet.make.work, 3.0 * NORMAL
    outer, inner, long, half = part.outside / 2, part.bore / 2, part.length, part.slot / 2
    right = x + long

    def free(room: Room) -> bool:
        return all(_apart(room, other) for other in taken)

    def stand(ra: float, line: float, ceiling: float, radius: float) -> list[Item]:
        """Return a symbol on a line of the view, or on a shelf where it has no room there."""
        text = roughness_text(ra)
        wide = texture_width(text)
        for share in (0.62, 0.3, 0.12, 0.75):
            at = x + long * share
            room = (at - 3.0, line + 0.5, at + wide, line + high + 0.5)
            if room[2] <= right - 1.0 and room[3] <= ceiling and free(room):
                taken.append(room)
                return list(placed(texture(text), at, line))
        for knee in (y + outer + 7.0 + n for n in range(60)):
            room = (right + 5.0, knee - 0.5, right + 9.0 + wide, knee + high + 0.5)
            if free(room):
                break
        taken.append(room)
        return _on_shelf(text, (right - long * 0.1, y + radius), (right + 5.0, knee))

    items = stand(work.roughness_outside, y + outer, math.inf, outer)
    if part.bore:
        # In the section, on the bore's lower line, below the slot or the axis.
        items += stand(work.roughness_bore, y - inner, y - half - 1.0, inner)
    return items


def _views(sheet: SpecSheet, part: Turned, x: float, y: float) -> list[Item]:
    """Return the views and what is said beside them, the section's left end at a place."""
    end = x + part.length + _BETWEEN + part.outside / 2
    measures = _measures(sheet, part, x, y, end)
    level = [m.right for m in measures if isinstance(m, Measure) and not m.upright]
    if part.bore and (nearest := max(level) + part.outside / 2 + _BESIDE) > end:
        # The slot's dimension, beside the end view, keeps off the length's text.
        end = nearest
        measures = _measures(sheet, part, x, y, end)
    items: list[Item] = [
        *_side_view(part, x, y),
        *(_end_view(part, end, y) if part.bore else ()),
        *measures,
        *_coaxial(sheet, part, x, y, measures),
        *_chamfers(sheet, part, x, y),
    ]
    items += _textures(sheet, part, x, y, _rooms(items))
    return [*items, _name(part, x, y, items)] if part.bore else items


def _name(part: Turned, x: float, y: float, items: list[Item]) -> Label:
    """Return the section's name above it, where nothing else is."""
    rooms = [_room_of(piece) for piece in pieces_of(items)]
    for up in range(60):
        high = y + part.outside / 2 + _NAMED + up
        name = Label("A–A", x + part.length / 2, high, LARGE, "middle")
        if all(_apart(label_room(name), room, 1.0) for room in rooms):
            break
    return name


def _extent(items: Iterable[Item]) -> Room:
    """Return the rectangle that items take."""
    rooms = [_room_of(piece) for piece in pieces_of(items)]
    lows = [min(room[n] for room in rooms) for n in (0, 1)]
    highs = [max(room[n] for room in rooms) for n in (2, 3)]
    return lows[0], lows[1], highs[0], highs[1]


def _room_of(piece: Piece) -> Room:
    if isinstance(piece, Label):
        return label_room(piece)
    if isinstance(piece, Arc):
        return (
            piece.x - piece.radius,
            piece.y - piece.radius,
            piece.x + piece.radius,
            piece.y + piece.radius,
        )
    if isinstance(piece, Stroke):
        corners = [(piece.x1, piece.y1), (piece.x2, piece.y2)]
    else:
        corners = list(piece.corners)
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return min(xs), min(ys), max(xs), max(ys)


def _clear(items: Iterable[Item]) -> bool:
    """Return whether no text meets another."""
    rooms = _rooms(items)
    return all(_apart(a, b, 0.0) for n, a in enumerate(rooms) for b in rooms[:n])


def drawing(sheet: SpecSheet) -> Drawing:
    """Return the dimensioned drawing of a part on an A4 sheet.

    It has the largest scale at which the views and all that is said beside them have room.

    Parameters
    ----------
    sheet : SpecSheet
        What is known of the part.
    """
    true = turned(sheet)
    left, right = BINDING + _KEEP_OFF, PAPER[0] - MARGIN - _KEEP_OFF
    low, high = MARGIN + HIGH + _KEEP_OFF, PAPER[1] - MARGIN - _KEEP_OFF
    for scale in _SCALES:
        part = true.scaled(scale)
        if part.length > right - left or part.outside > high - low:
            continue
        views = _views(sheet, part, 0.0, 0.0)
        x1, y1, x2, y2 = _extent(views)
        if x2 - x1 <= right - left and y2 - y1 <= high - low and _clear(views):
            break
    items = [
        *_views(sheet, part, (left + right - x1 - x2) / 2, (low + high - y1 - y2) / 2),
        *frame(),
        *notes(sheet),
        *title_block(sheet, scale),
    ]
    return Drawing(f"{sheet.part.name} {sheet.part.sku}", scale, tuple(items))
