"""A drawing for the screen, made ready for print: the style sheet's rules stand in its elements.

What writes PDF knows neither style sheets nor patterns. So every rule is taken from the same
style sheet that a page has, in the colours of paper, and a pattern becomes a tint with its lines
over it, clipped to the shape.
"""

from __future__ import annotations

import io
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping, Sequence

from fpdf import FPDF

from fitgraph.draw.lettering import Lettering
from fitgraph.draw.style import LIGHT, SIGNS, drawing_css
from fitgraph.draw.svg import element, number, write
from fitgraph.model import Verdict
from fitgraph.records import dataclass

_SVG = "{http://www.w3.org/2000/svg}"

#: A rule of a drawing's style sheet: the tag and the classes it is for, and what it says.
_RULE = re.compile(r"\.fg-svg(?: (\w+)?((?:\.fg-[\w-]+)*))?\{(.*?)\}")

#: Corners that a whole circle is clipped by.
_CORNERS = 180

#: What is only read out, never shown.
_UNSEEN = ("title", "desc", "style", "defs")


def _resolved(value: str) -> str:
    """Return a colour of the style sheet as it is on paper."""
    return re.sub(r"var\(--fg-([\w-]+)\)", lambda found: LIGHT[found[1]], value)


@dataclass(frozen=True, slots=True)
class _Rule:
    """What a style sheet says of elements with a tag and classes; an empty tag is any."""

    tag: str
    classes: frozenset[str]
    properties: Mapping[str, str]


def _rules(sheet: str) -> list[_Rule]:
    """Return the rules of a style sheet, the more special ones last, as they win."""
    found = []
    for tag, classes, body in _RULE.findall(sheet):
        pairs = (entry.split(":", 1) for entry in body.split(";") if ":" in entry)
        properties = {name.strip(): _resolved(value.strip()) for name, value in pairs}
        found.append(_Rule(tag, frozenset(classes.split(".")[1:]), properties))
    return sorted(found, key=lambda rule: (len(rule.classes), bool(rule.tag)))


def _properties(node: ET.Element, tag: str, rules: Sequence[_Rule]) -> None:
    """Write what the rules say of an element into it, and take out what only a page needs."""
    classes = frozenset(node.attrib.pop("class", "").split())
    for rule in rules:
        if (rule.tag or rule.classes) and rule.tag in ("", tag) and rule.classes <= classes:
            node.attrib.update(rule.properties)
    for entry in node.attrib.pop("style", "").split(";"):
        name, _, value = entry.partition(":")
        if value:
            node.set(name.strip(), _resolved(value.strip()))
    for name in [n for n in node.attrib if n.startswith(("data-", "aria-")) or n == "role"]:
        del node.attrib[name]


def _worded(text: str) -> str:
    """Return a text without the signs that few fonts have; a sign alone has a stand-in."""
    fits, fails = SIGNS[Verdict.FITS], SIGNS[Verdict.FAILS]
    if text == fails:
        return "×"
    return " ".join(text.replace(fits, "").replace(fails, "").split())


class _Pattern:
    """A tint, and the lines over it."""

    def __init__(self, node: ET.Element, rules: Sequence[_Rule]) -> None:
        parts = [(child, child.tag.removeprefix(_SVG)) for child in node]
        for child, tag in parts:
            _properties(child, tag, rules)
        self.fill = next(c.get("fill", "none") for c, tag in parts if tag == "rect")
        lines, tag = next((c, tag) for c, tag in parts if tag != "rect")
        self.look = {n: v for n, v in lines.attrib.items() if n.startswith("stroke")}
        step = float(node.get("width", "5"))
        turned = re.search(r"rotate\(([-\d.]+)\)", node.get("patternTransform", ""))
        angle = float(turned[1]) if turned else 0.0
        # Crossed lines from corner to corner of the tile, else one line along its side.
        self.angles = (angle,) if tag == "line" else (angle + 45, angle - 45)
        self.step = step if tag == "line" else step / math.sqrt(2)

    def lines(self, reach: float) -> str:
        """Return a path of all lines as far as `reach` from the origin."""
        pieces = []
        for angle in self.angles:
            c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
            for k in range(-int(reach / self.step), int(reach / self.step) + 1):
                x, y = k * self.step * c, k * self.step * s
                ends = (x - s * reach, y + c * reach), (x + s * reach, y - c * reach)
                (a, b), (u, v) = ends
                pieces.append(f"M{number(a)} {number(b)}L{number(u)} {number(v)}")
        return "".join(pieces)


def _arc(
    start: tuple[float, float], end: tuple[float, float], radius: float, large: bool, sweep: bool
) -> list[tuple[float, float]]:
    """Return points along an arc of a circle, its end among them (SVG 1.1, appendix F.6.5)."""
    dx, dy = (end[0] - start[0]) / 2, (end[1] - start[1]) / 2
    half = math.hypot(dx, dy)
    radius = max(radius, half)
    away = math.sqrt(max(radius**2 - half**2, 0.0)) / (half or 1.0) * (1 if large == sweep else -1)
    x, y = (start[0] + end[0]) / 2 + away * dy, (start[1] + end[1]) / 2 - away * dx
    first = math.atan2(start[1] - y, start[0] - x)
    turn = (math.atan2(end[1] - y, end[0] - x) - first) % math.tau
    turn = turn if sweep else turn - math.tau
    steps = max(math.ceil(abs(turn) / math.tau * _CORNERS), 1)
    angles = [first + turn * n / steps for n in range(1, steps + 1)]
    return [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles]


def outline(path: str) -> list[list[tuple[float, float]]]:
    """Return the corners of each closed piece of a path made of lines and arcs of circles.

    Parameters
    ----------
    path : str
        With the commands M, L, A and Z, as sections have them.

    Examples
    --------
    >>> outline("M0 0L2 0L2 1Z")
    [[(0.0, 0.0), (2.0, 0.0), (2.0, 1.0)]]
    """
    pieces: list[list[tuple[float, float]]] = []
    for command, told in re.findall(r"([MLAZ])([^MLAZ]*)", path):
        figures = [float(v) for v in told.split()]
        if command == "M":
            pieces.append([(figures[0], figures[1])])
        elif command == "L":
            pieces[-1].append((figures[0], figures[1]))
        elif command == "A":
            radius, _, _, large, sweep, x, y = figures
            pieces[-1] += _arc(pieces[-1][-1], (x, y), radius, bool(large), bool(sweep))
    return pieces


def _inside(pieces: list[list[tuple[float, float]]]) -> str:
    """Return the corners of one polygon for a shape and the hole in it, joined by a seam."""

    def turns(piece: list[tuple[float, float]]) -> bool:
        pairs = zip(piece, [*piece[1:], piece[0]], strict=True)
        return sum(a * y - x * b for (a, b), (x, y) in pairs) > 0

    first, *holes = pieces
    corners = [*first, first[0]]
    for hole in holes:
        around = hole[::-1] if turns(hole) == turns(first) else hole
        corners += [*around, around[0], first[0]]
    return " ".join(f"{number(x)},{number(y)}" for x, y in corners)


def _units(size: str) -> str:
    """Return a size of letters in units of the drawing.

    What writes PDF takes pixels for three quarters of a unit, and would draw all letters smaller
    than the drawing has room for.
    """
    return size.removesuffix("px")


def print_svg(svg: str, lettering: Lettering) -> str:
    """Return a drawing in which everything that is shown stands in its elements.

    Parameters
    ----------
    svg : str
        From :mod:`fitgraph.draw`.
    lettering : Lettering
        What its words are written with; signs beside words are left out, few fonts have them.
    """
    root = ET.fromstring(svg)
    own = "".join(node.text or "" for node in root.iter(f"{_SVG}style"))
    rules = _rules(own or drawing_css())
    patterns: dict[str, _Pattern] = {
        f"url(#{node.get('id')})": _Pattern(node, rules) for node in root.iter(f"{_SVG}pattern")
    }
    box = [float(v) for v in root.get("viewBox", "0 0 760 400").split()]
    reach = math.hypot(box[2], box[3])
    clips = element("defs")

    def kept(node: ET.Element) -> Iterator[ET.Element]:
        tag = node.tag.removeprefix(_SVG)
        if tag in _UNSEEN:
            return
        made = ET.Element(tag, dict(node.attrib))
        _properties(made, tag, rules)
        if tag == "text":
            made.text = lettering.text(_worded(node.text or ""))
            made.set("font-family", lettering.family)
            if "font-size" in made.attrib:
                made.set("font-size", _units(made.attrib["font-size"]))
            if made.get("font-weight") == "600":
                made.set("font-weight", "bold")
        pattern = patterns.get(made.get("fill", ""))
        if pattern is None:
            for child in node:
                made.extend(kept(child))
            yield made
            return
        name = f"bounds{len(clips)}"
        bare = {n: v for n, v in made.attrib.items() if not n.startswith(("stroke", "fill"))}
        clip = element("clipPath", id=name)
        # Clipping to a path does nothing in fpdf2 (2.8); to a polygon or a rectangle it does.
        clip.append(
            element("polygon", points=_inside(outline(bare["d"])))
            if tag == "path"
            else ET.Element(tag, bare)
        )
        clips.append(clip)
        tint = ET.Element(tag, {**bare, "fill": pattern.fill, "stroke": "none"})
        if "fill-rule" in made.attrib:
            tint.set("fill-rule", made.attrib["fill-rule"])
        yield tint
        look: Mapping[str, str] = {**pattern.look, "clip-path": f"url(#{name})", "fill": "none"}
        yield ET.Element("path", {"d": pattern.lines(reach), **look})
        made.set("fill", "none")
        yield made

    shown = ET.Element("svg", {n: v for n, v in root.attrib.items() if n == "viewBox"})
    size = next(r.properties["font-size"] for r in rules if "font-size" in r.properties)
    group = element("g", font_size=_units(size))
    for child in root:
        group.extend(kept(child))
    shown.append(clips)
    shown.append(group)
    shown.set("width", number(box[2]))
    shown.set("height", number(box[3]))
    return write(shown)


def drawn_height(svg: str, width: float) -> float:
    """Return how high a drawing is at a width, in the unit of the width.

    Examples
    --------
    >>> drawn_height('<svg viewBox="0 0 40 10"/>', 20.0)
    5.0
    """
    _, _, wide, high = map(float, ET.fromstring(svg).get("viewBox", "0 0 1 1").split())
    return width * high / wide


def add_drawing(pdf: FPDF, svg: str, lettering: Lettering, width: float) -> None:
    """Draw a drawing where a document has got to.

    Parameters
    ----------
    pdf : FPDF
        The document.
    svg : str
        From :mod:`fitgraph.draw`.
    lettering : Lettering
        What the document is written with.
    width : float
        In mm.
    """
    ready = print_svg(svg, lettering)
    pdf.image(io.BytesIO(ready.encode()), w=width)
