"""A cross-section to scale through parts that sit one inside the other, as SVG."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence

from fitgraph.draw.drawing import drawing, identity_of
from fitgraph.draw.nested import DrawnRing, Mating, Nest, main_nest, nests
from fitgraph.draw.style import PART_TINTS, SIGNS, WORDS, verdict_class, verdict_text
from fitgraph.draw.svg import badge, element, folded, number, scale_bar, text_lines, write
from fitgraph.draw.tints import tints
from fitgraph.explain.words import size_text, the_part
from fitgraph.model import Dimension, Option, Presence, Verdict, Vocabulary
from fitgraph.records import dataclass

#: Size of the drawing and radius of its largest circle, in units of the drawing.
WIDTH, RADIUS = 760.0, 150.0

#: Width of a drawing whose words stand under the section, for a narrow window.
NARROW = 372.0

#: Where the axis stands, and where the words beside the section begin.
_AXIS = (178.0, 208.0)
_WORDS_X = 374.0

#: Height of a row of words with one line under its head, of a further line, and letters across.
_ROW, _LINE, _ACROSS = 40.0, 15.0, 54

#: The same under the section.
_ACROSS_NARROW = 46

#: A gap thinner than this, in units of the drawing, gets an enlarged detail.
_THIN = 5.0

#: Size of a detail, and the width its limits may take up.
_DETAIL, _DETAIL_SPAN = (176.0, 132.0), 62.0

#: Letters in a line of a detail's title, and from one of its lines to the next.
_DETAIL_LETTERS, _DETAIL_LINE = 25, 14.0

#: Enlargements that people can reckon with.
_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500)

#: Wall, in mm, drawn where only one side of a part is known and the other is a guess.
_GUESSED_WALL = 3.0

#: Angles of the hatching, one a tint.
_HATCHING = (45, -45, 0, 70, -70, 90, 20)


@dataclass(frozen=True, slots=True)
class DrawnDiameters:
    """The diameters a ring is drawn with, in mm, and which of them are guesses."""

    outside: float
    bore: float
    outside_guessed: bool
    bore_guessed: bool
    solid: bool

    @property
    def contradictory(self) -> bool:
        """Whether its outside is no wider than its bore."""
        return not self.solid and self.outside <= self.bore


def drawn_sizes(nest: Nest) -> tuple[DrawnDiameters, ...]:
    """Return the diameters to draw each ring with.

    An unknown size is drawn where its mate is, a millimetre off, or a plain wall away from
    the part's other side; the drawing marks it as a guess.
    """
    count = len(nest.rings)
    outer: list[float | None] = [_mid(r.outside) for r in nest.rings]
    inner: list[float | None] = [_mid(r.bore) for r in nest.rings]
    given = [(o is not None, i is not None) for o, i in zip(outer, inner, strict=True)]
    solid = [r.bore is None for r in nest.rings]
    for attempt in range(2 * count + 1):
        for n in range(count):
            mate = outer[n + 1] if n + 1 < count else None
            around = inner[n - 1] if n else None
            own_outer, own_inner = outer[n], inner[n]
            if own_inner is None and not solid[n]:
                if mate is not None:
                    inner[n] = mate + 1.0
                elif own_outer is not None and attempt:
                    inner[n] = max(own_outer - 2 * _GUESSED_WALL, own_outer / 2)
            if own_outer is None:
                if around is not None:
                    outer[n] = max(around - 1.0, around / 2)
                elif own_inner is not None and (n == 0 or attempt):
                    outer[n] = own_inner + 2 * max(_GUESSED_WALL, own_inner / 10)
        if attempt >= count and inner[-1] is None and outer[-1] is None:
            outer[-1] = 10.0
    return tuple(
        DrawnDiameters(o or 10.0, i or 0.0, not known[0], not known[1] and not s, s)
        for o, i, known, s in zip(outer, inner, given, solid, strict=True)
    )


def _mid(dimension: Dimension | None) -> float | None:
    if dimension is None or not dimension.known or dimension.mid <= 0:
        return None
    return dimension.mid


def _point(radius: float, angle: float) -> tuple[float, float]:
    return (_AXIS[0] + radius * math.cos(angle), _AXIS[1] + radius * math.sin(angle))


def ring_path(outer: float, inner: float, slot: float = 0.0) -> str:
    """Return the path of a ring, open at the back where it has a slot.

    Parameters
    ----------
    outer, inner : float
        Radii, in units of the drawing; zero inside for a disc.
    slot : float
        Width of the slot, in the same units. Its sides are parallel.
    """
    if inner <= 0:
        return _circle(outer)
    if slot <= 0:
        return _circle(outer) + " " + _circle(inner)
    half = min(slot / 2, inner * 0.95)
    x, y = _AXIS
    low_out, low_in = y + math.sqrt(outer**2 - half**2), y + math.sqrt(inner**2 - half**2)
    return (
        f"M{number(x + half)} {number(low_out)} "
        f"A{number(outer)} {number(outer)} 0 1 0 {number(x - half)} {number(low_out)} "
        f"L{number(x - half)} {number(low_in)} "
        f"A{number(inner)} {number(inner)} 0 1 1 {number(x + half)} {number(low_in)} Z"
    )


def _circle(radius: float) -> str:
    x, y = _AXIS
    r, at = number(radius), number(y)
    left, right = number(x - radius), number(x + radius)
    return f"M{left} {at} A{r} {r} 0 1 0 {right} {at} A{r} {r} 0 1 0 {left} {at} Z"


def _patterns(identity: str) -> ET.Element:
    defs = element("defs")
    for n in range(PART_TINTS):
        step = 7 + n % 3
        defs.append(
            element(
                "pattern",
                element(
                    "rect", width=step, height=step, style=f"fill:var(--fg-part-{n})", stroke="none"
                ),
                element("line", x1=0, y1=0, x2=0, y2=step, klass="fg-hatch"),
                id=f"{identity}-p{n}",
                width=step,
                height=step,
                patternUnits="userSpaceOnUse",
                patternTransform=f"rotate({_HATCHING[n]})",
            )
        )
    defs.append(
        element(
            "pattern",
            element("rect", width=5, height=5, klass="fg-void"),
            element("path", d="M0 0L5 5M5 0L0 5", klass="fg-clash"),
            id=f"{identity}-x",
            width=5,
            height=5,
            patternUnits="userSpaceOnUse",
        )
    )
    return defs


def _length(value: float) -> str:
    return f"{value:.2f}"


def gap_text(mating: Mating) -> str:
    """Return the gap of a joint in mm on the diameter, as people read it."""
    if not mating.known:
        return "gap unknown until it is measured"
    lo, hi = (round(x, 2) + 0.0 for x in mating.clearance)
    spread = _length(abs(lo)) if lo == hi else ""
    if hi < 0:
        return f"overlap {spread or f'{_length(-hi)} to {_length(-lo)}'} mm"
    if lo >= 0:
        return f"clearance {spread or f'{_length(lo)} to {_length(hi)}'} mm"
    return f"overlap {_length(-lo)} to clearance {_length(hi)} mm"


def _ring_sizes(ring: DrawnRing, drawn: DrawnDiameters, *, outermost: bool) -> str:
    sides = [("bore", ring.bore), ("outside", ring.outside)]
    if ring.slot_presence is Presence.PRESENT:
        sides.append(("slot", ring.slot))
    known = [f"{n} {size_text(d).removesuffix(' mm')}" for n, d in sides if d and d.known]
    pieces = [", ".join(known) + " mm"] if known else []
    pieces += [f"{n} unknown" for n, d in sides if d and not d.known]
    if ring.slot_presence is Presence.UNKNOWN:
        pieces.append("perhaps a slot")
    if outermost and ring.outside is None:
        pieces.append("outside not to scale")
    if drawn.contradictory:
        pieces.append("these contradict: measure again")
    return ", ".join(pieces)


def _head(ring: DrawnRing, vocabulary: Vocabulary) -> str:
    """Return a part by its name, with its role before it unless the name says that already."""
    title, named = vocabulary.roles[ring.role].title, _named(ring)
    if not named:
        return f"{title} {ring.option.called}"
    return the_part(title, " + ".join((named, *ring.option.services)), "")


def _named(ring: DrawnRing) -> str:
    part = ring.option.part
    return "" if part is None or part.name == part.sku else part.name


def _section(
    nest: Nest,
    sizes: Sequence[DrawnDiameters],
    scale: float,
    identity: str,
    tint: Mapping[str, int],
) -> list[ET.Element]:
    made: list[ET.Element] = []
    x, y = _AXIS
    reach = RADIUS + 10
    cuts: list[float] = []
    for ring, drawn in zip(nest.rings, sizes, strict=True):
        outer, inner = drawn.outside / 2 * scale, drawn.bore / 2 * scale
        group = element("g", element("title", ring.option.called), data_role=ring.role)
        width = _mid(ring.slot) or (2.0 if ring.slot is not None else 0.0)
        open_slot = width * scale if ring.slot_presence is Presence.PRESENT else 0.0
        cuts.append(open_slot)
        if drawn.contradictory:
            for radius in (outer, inner):
                group.append(
                    element("path", d=_circle(radius), fill="none", klass="fg-edge fg-guess")
                )
        else:
            group.append(
                element(
                    "path",
                    d=ring_path(outer, inner, open_slot),
                    fill=f"url(#{identity}-p{tint[ring.role]})",
                    fill_rule="evenodd",
                    klass="fg-edge"
                    + (" fg-guess" if drawn.outside_guessed or drawn.bore_guessed else ""),
                )
            )
        if ring.slot is not None and (
            ring.slot_presence is Presence.UNKNOWN or _mid(ring.slot) is None
        ):
            half = width * scale / 2
            group.append(
                element(
                    "path",
                    d=f"M{number(x - half)} {number(y + inner)}V{number(y + outer)}"
                    f"M{number(x + half)} {number(y + inner)}V{number(y + outer)}",
                    klass="fg-edge fg-guess",
                )
            )
            group.append(
                element("text", "?", x=x, y=y + (inner + outer) / 2 + 4, text_anchor="middle")
            )
        made.append(group)
    for n, mating in enumerate(nest.matings):
        bore, spigot = sizes[n].bore / 2 * scale, sizes[n + 1].outside / 2 * scale
        if mating.known and spigot > bore:
            made.append(
                element(
                    "path",
                    element("title", f"overlap: {gap_text(mating)}"),
                    d=ring_path(spigot, bore, max(cuts[n], cuts[n + 1])),
                    fill=f"url(#{identity}-x)",
                    fill_rule="evenodd",
                    klass="fg-overlap",
                )
            )
        if mating.verdict is not Verdict.FITS:
            px, py = _point((bore + spigot) / 2, math.radians(160 + 24 * n))
            made += badge(px, py, SIGNS[mating.verdict], verdict_class(mating.verdict))
    made.append(
        element(
            "path",
            d=f"M{number(x - reach)} {y}H{number(x + reach)}M{x} {number(y - reach)}"
            f"V{number(y + reach)}",
            klass="fg-axis",
        )
    )
    made.append(
        element("text", "front", x=x, y=y - reach - 5, text_anchor="middle", klass="fg-muted")
    )
    made.append(
        element("text", "back", x=x, y=y + reach + 14, text_anchor="middle", klass="fg-muted")
    )
    return made


def _words(
    nest: Nest,
    sizes: Sequence[DrawnDiameters],
    scale: float,
    vocabulary: Vocabulary,
    under: float | None = None,
) -> tuple[list[ET.Element], float]:
    """Return the words beside the section, and how far down they reach.

    Each part is led to by a line. Words under the section, from `under` on, would be crossed by
    such lines: there each part has a number, in the section and before its words.
    """
    across = _ACROSS if under is None else _ACROSS_NARROW
    told: list[tuple[list[str], list[str]]] = []
    for n, (ring, drawn) in enumerate(zip(nest.rings, sizes, strict=True)):
        if n and nest.matings:
            mating = nest.matings[n - 1]
            gap = f"{mating.joint.title}: {gap_text(mating)}"
            told.append(([verdict_text(mating.verdict, mating.margin_mm)], folded(gap, across, 2)))
        sized = _ring_sizes(ring, drawn, outermost=n == 0)
        if _named(ring) and ring.option.part is not None:
            sized = f"{ring.option.part.sku}: {sized}"
        told.append((folded(_head(ring, vocabulary), across - 2, 2), folded(sized, across, 3)))
    heights = [_ROW + _LINE * max(len(heads) + len(lines) - 2, 0) for heads, lines in told]
    top = max(62.0, _AXIS[1] - sum(heights) / 2) if under is None else under
    left = _WORDS_X if under is None else 34.0
    made: list[ET.Element] = []
    y = top + 14
    for at, ((heads, lines), height) in enumerate(zip(told, heights, strict=True)):
        n, joint = divmod(at, 2) if nest.matings else (at, 0)
        x = left + (14 if joint else 0)
        if joint:
            mating = nest.matings[n]
            title, klass = mating.joint.title, f"fg-strong {verdict_class(mating.verdict)}"
        else:
            drawn = sizes[n]
            title, klass = f"{' '.join(heads)}: {' '.join(lines)}", "fg-strong"
            angle = math.radians(-58 + 74 * n / max(1, len(nest.rings) - 1))
            middle = drawn.outside / 4 + (0 if drawn.solid else drawn.bore / 4)
            px, py = _point(middle * scale, angle)
            if under is None:
                made.append(element("circle", cx=px, cy=py, r=2.5, klass="fg-dot"))
                made.append(_leader(px, py, y - 4))
            else:
                made += [*badge(px, py, str(n + 1), ""), *badge(20, y - 4, str(n + 1), "")]
        row = element(
            "g",
            element("title", title),
            *text_lines(heads, x, y, _LINE, klass=klass),
        )
        row.extend(text_lines(lines, x, y + _LINE * len(heads), _LINE, klass="fg-muted"))
        made.append(row)
        y += height
    return made, top + sum(heights)


def _leader(px: float, py: float, y: float) -> ET.Element:
    knee = _WORDS_X - 26
    return element(
        "path",
        d=f"M{number(px)} {number(py)}L{knee} {number(y)}H{_WORDS_X - 6}",
        klass="fg-lead",
    )


def enlargement(mating: Mating, scale: float) -> int:
    """Return how many times a detail enlarges the section.

    Parameters
    ----------
    mating : Mating
        The joint, with both sizes known.
    scale : float
        Of the section, in units of the drawing per mm.
    """
    ends = (mating.bore.lo, mating.bore.hi, mating.spigot.lo, mating.spigot.hi)
    span = (max(ends) - min(ends)) / 2 * scale
    fits = [step for step in _STEPS if step * span <= _DETAIL_SPAN]
    return fits[-1] if fits else 1


def _detail_title(mating: Mating) -> list[str]:
    """Return what joint a detail is of, in two lines at most."""
    return folded(mating.joint.title, _DETAIL_LETTERS, 2)


def _detail(
    nest: Nest,
    n: int,
    scale: float,
    identity: str,
    tint: Mapping[str, int],
    left: float,
    top: float,
    lines: int,
) -> ET.Element:
    """Return one joint enlarged: the part inside on the left, the part around it on the right.

    Its title has as many lines as the longest of them, so that all stand level.
    """
    mating = nest.matings[n]
    times = enlargement(mating, scale)
    per_mm = scale * times
    width, _ = _DETAIL
    ends = (mating.bore.lo, mating.bore.hi, mating.spigot.lo, mating.spigot.hi)
    middle = (max(ends) + min(ends)) / 2

    def at(diameter: float) -> float:
        return left + (width - 16) / 2 + (diameter - middle) / 2 * per_mm

    right = left + width - 16
    band_top, band = top + 22 + _DETAIL_LINE * (lines - 1), 52.0
    bore, spigot = at(mating.bore.mid), at(mating.spigot.mid)
    group = element("g", element("title", f"{mating.joint.title}, enlarged"), klass="fg-detail")
    title = _detail_title(mating)
    first = band_top - 10 - _DETAIL_LINE * (len(title) - 1)
    group.extend(text_lines(title, left, first, _DETAIL_LINE))
    for start, end, ring in ((left, min(spigot, right), n + 1), (max(bore, left), right, n)):
        group.append(
            element(
                "rect",
                x=start,
                y=band_top,
                width=max(0.0, end - start),
                height=band,
                fill=f"url(#{identity}-p{tint[nest.rings[ring].role]})",
                stroke="none",
            )
        )
    if spigot > bore:
        group.append(
            element(
                "rect",
                x=bore,
                y=band_top,
                width=spigot - bore,
                height=band,
                fill=f"url(#{identity}-x)",
                klass="fg-overlap",
            )
        )
    for at_x in (bore, spigot):
        group.append(
            element("path", d=f"M{number(at_x)} {band_top}V{band_top + band}", klass="fg-edge")
        )
    for limit in ends:
        group.append(
            element(
                "path", d=f"M{number(at(limit))} {band_top}V{band_top + band}", klass="fg-limit"
            )
        )
    group.append(
        element("rect", x=left, y=band_top, width=right - left, height=band, klass="fg-frame")
    )
    middle_gap = mating.bore.mid - mating.spigot.mid
    word = "gap" if middle_gap >= 0 else "overlap"
    group.append(
        element(
            "text",
            f"{word} {_length(abs(middle_gap) / 2)} mm each side",
            x=left,
            y=band_top + band + 15,
        )
    )
    length = next((m for m in (5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02) if m * per_mm <= 60), 0.01)
    y = band_top + band + 28
    group.extend(scale_bar(length, per_mm, left + 1, y, 3, f", {times}×", "fg-muted"))
    return group


def _describe(nest: Nest, sizes: Sequence[DrawnDiameters], vocabulary: Vocabulary) -> str:
    pieces = []
    for n, (ring, drawn) in enumerate(zip(nest.rings, sizes, strict=True)):
        sized = _ring_sizes(ring, drawn, outermost=n == 0)
        if _named(ring) and ring.option.part is not None:
            sized = f"{ring.option.part.sku}: {sized}"
        pieces.append(f"{_head(ring, vocabulary)}: {sized or 'no size on this axis'}.")
        if n < len(nest.matings):
            mating = nest.matings[n]
            pieces.append(f"{mating.joint.title}: {gap_text(mating)}; {WORDS[mating.verdict]}.")
    return " ".join(pieces)


def nest_svg(nest: Nest, vocabulary: Vocabulary, *, narrow: bool = False) -> str:
    """Return one nest as a drawing to scale.

    Parameters
    ----------
    nest : Nest
        Parts around one axis, seen from above; one without joints is drawn, but not judged.
    vocabulary : Vocabulary
        Names the roles.
    narrow : bool
        Whether the words stand under the section and not beside it.

    Returns
    -------
    str
        An SVG element. ``data-units-per-mm`` is its scale. Diameters and slots are drawn at
        the middle of their limits; what is unknown is dashed and marked with a question mark.
    """
    sizes = drawn_sizes(nest)
    scale = 2 * RADIUS / max(max(d.outside, d.bore) for d in sizes)
    title = "Cross-section: " + ", around ".join(_head(r, vocabulary) for r in nest.rings)
    description = _describe(nest, sizes, vocabulary)
    identity = identity_of(title + description) + "n" * narrow
    width, section_end = (NARROW if narrow else WIDTH), _AXIS[1] + RADIUS + 56
    under = section_end + 14 if narrow else None
    words, words_end = _words(nest, sizes, scale, vocabulary, under)
    thin = [
        n
        for n, m in enumerate(nest.matings)
        if m.known and abs(m.bore.mid - m.spigot.mid) / 2 * scale < _THIN
    ]
    details_top = max(section_end, words_end) + 8
    each_row = int((width - 12) // _DETAIL[0])
    detail_rows = math.ceil(len(thin) / each_row)
    lines = max((len(_detail_title(nest.matings[n])) for n in thin), default=1)
    detail = _DETAIL[1] + _DETAIL_LINE * (lines - 1)
    height = details_top + (22 + detail_rows * detail if thin else 0)
    root = drawing(
        title,
        description,
        _patterns(identity),
        size=(width, height),
        identity=identity,
        data_units_per_mm=scale,
    )
    root.append(
        element(
            "text",
            f"Cross-section, {verdict_text(nest.verdict)}" if nest.matings else "Cross-section",
            x=12,
            y=22,
            klass="fg-head",
        )
    )
    tint = tints(vocabulary)
    root.extend(_section(nest, sizes, scale, identity, tint))
    bar = next(m for m in (50, 20, 10, 5, 2, 1, 0.5) if m * scale <= 110 or m == 0.5)
    root.extend(scale_bar(bar, scale, 16, section_end - 8, 4))
    root.extend(words)
    if thin:
        root.append(
            element(
                "text",
                "Enlarged (×); dotted lines are the limits of each size"
                if narrow
                else "Enlarged, so many times (×) the section; dotted lines are the limits of "
                "each size",
                x=12,
                y=details_top + 8,
                klass="fg-muted",
            )
        )
    for place, n in enumerate(thin):
        row, column = divmod(place, each_row)
        root.append(
            _detail(
                nest,
                n,
                scale,
                identity,
                tint,
                12 + column * (_DETAIL[0] + 8),
                details_top + 20 + row * detail,
                lines,
            )
        )
    return write(root)


def section_svg(options: Mapping[str, Option], vocabulary: Vocabulary) -> str:
    """Return the cross-section through the tube whose strength is compared, as SVG.

    Parameters
    ----------
    options : mapping of str to Option
        A combination, by role; a role that is missing is taken as empty.
    vocabulary : Vocabulary
        Its joints say what sits inside what.

    Returns
    -------
    str
        An SVG element; empty where no part sits inside another.
    """
    nest = main_nest(nests(options, vocabulary), vocabulary)
    return "" if nest is None else nest_svg(nest, vocabulary)
