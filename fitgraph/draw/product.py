"""The product with its roles, to see what is named and to choose by pressing.

A vocabulary may say how the product looks from the side; without it the roles stand along the
assembly as its joints have it, with a line between those that meet.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from fitgraph.draw.assembly_order import assembly_order, role_graph
from fitgraph.draw.conflict import spread
from fitgraph.draw.drawing import drawing, identity_of
from fitgraph.draw.style import SIGNS, WORDS, verdict_class
from fitgraph.draw.svg import element, folded, number, shorten, text_lines, write
from fitgraph.model import Catalogue, Outline, Silhouette, Verdict, Vocabulary, split_label

#: Width of the drawing and of the labels beside it, and the least room for a label.
_WIDTH, _LABEL, _ROW = 640.0, 190.0, 32.0

#: Letters in a line of a label, lines that a part's name may take, and from one to the next.
_LETTERS, _LINES, _LINE = 19, 4, 15.0

#: The plain one: a block a role.
_BLOCK, _PITCH, _ACROSS = (70.0, 150.0), 15.0, 220.0

_CSS = (
    ".fg-svg .fg-body{fill:none;stroke:var(--fg-line);stroke-linecap:round;"
    "stroke-linejoin:round}"
    ".fg-svg .fg-hollow{fill:none;stroke:var(--fg-panel);stroke-linecap:round;"
    "stroke-linejoin:round}"
    ".fg-svg .fg-named .fg-body{stroke:var(--fg-ink)}"
    ".fg-svg .fg-named .fg-hollow{stroke:var(--fg-fits)}"
    ".fg-svg .fg-named.fg-bad .fg-hollow{stroke:var(--fg-fails)}"
    ".fg-svg .fg-named.fg-doubt .fg-hollow{stroke:var(--fg-unknown)}"
    ".fg-svg .fg-plate{fill:transparent;stroke:none}"
    ".fg-svg [role=button]:hover .fg-body{stroke:var(--fg-fits)}"
    ".fg-svg .fg-meets{fill:none;stroke:var(--fg-line);stroke-width:1;opacity:.6}"
)


def schematic(vocabulary: Vocabulary) -> Silhouette:
    """Return a silhouette made of the joints alone: a block a role, along the assembly.

    Parameters
    ----------
    vocabulary : Vocabulary
        Its roles and joints.
    """
    left, right = _BLOCK
    drawn = {}
    for n, role in enumerate(assembly_order(vocabulary)):
        y = _PITCH * (n + 0.5)
        ends = ((left, y), (right, y))
        drawn[role] = (Outline(ends if n % 2 == 0 else ends[::-1], 9.0),)
    return Silhouette(_ACROSS, _PITCH * len(drawn), MappingProxyType(drawn))


def _stroke(outline: Outline, klass: str, wide: float, scale: float) -> ET.Element:
    points = [(x * scale, y * scale) for x, y in outline.points]
    if outline.radius:
        (x, y), r = points[0], outline.radius * scale
        return element("circle", cx=x, cy=y, r=r, klass=klass, stroke_width=number(wide))
    d = "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return element("path", d=d, klass=klass, stroke_width=number(wide))


def _anchors(shape: Silhouette, scale: float) -> dict[str, tuple[float, float]]:
    """Return where the line from each role's label ends."""
    found = {}
    for role, outlines in shape.roles.items():
        if outlines:
            x, y = outlines[0].points[0]
            found[role] = (x * scale, (y - outlines[0].radius) * scale)
    return found


def _labels(
    anchors: Mapping[str, tuple[float, float]],
    roles: list[str],
    middle: float,
    more: Mapping[str, float],
) -> dict[str, tuple[bool, float]]:
    """Return on which side each label stands, and how far down."""
    by_place = sorted(roles, key=lambda r: anchors.get(r, (middle, 0.0))[0])
    half = (len(by_place) + 1) // 2
    found: dict[str, tuple[bool, float]] = {}
    for right, side in ((False, by_place[:half]), (True, by_place[half:])):
        side = sorted(side, key=lambda r: anchors.get(r, (0.0, 1e9))[1])
        last = max((y for _, y in anchors.values()), default=0.0)
        wanted = [min(anchors.get(r, (0.0, last))[1], last) for r in side]
        rooms = [_ROW + more.get(r, 0.0) for r in side]
        for role, y in zip(side, spread(wanted, rooms), strict=True):
            found[role] = (right, y)
    return found


def product_svg(
    catalogue: Catalogue,
    named: Mapping[str, str] = MappingProxyType({}),
    verdicts: Mapping[str, Verdict] = MappingProxyType({}),
    *,
    pressable: bool = True,
) -> str:
    """Return the product with a button for each role, as SVG.

    Parameters
    ----------
    catalogue : Catalogue
        Its vocabulary has a silhouette, or joints; its parts have names.
    named : mapping of str to str
        What stands in each role so far: a stock number, with services behind it where there are
        any. Drawn is the name; what is read out or pointed at has the number as well.
    verdicts : mapping of str to Verdict
        The worst joint of each such role.
    pressable : bool
        Whether each role is a button.

    Returns
    -------
    str
        An SVG element with a text alternative; the buttons have ``data-node``.
    """
    vocabulary = catalogue.vocabulary
    shape = vocabulary.silhouette or schematic(vocabulary)
    roles = list(vocabulary.roles)
    across = _WIDTH - 2 * _LABEL
    scale = across / shape.width
    anchors = _anchors(shape, scale)
    lines = {r: folded(_name(catalogue, label), _LETTERS, _LINES) for r, label in named.items()}
    more = {role: _LINE * (len(name) - 1) for role, name in lines.items()}
    labels = _labels(anchors, roles, across / 2, more)
    ends = [y + more.get(role, 0.0) for role, (_, y) in labels.items()]
    top = 18.0 - min([0.0, *(y for _, y in labels.values())])
    height = top + max([shape.height * scale, *ends]) + 24
    told = [
        f"{vocabulary.roles[r].title}: {catalogue.called(named[r])}"
        + (f", {WORDS[verdicts[r]]}" if r in verdicts else "")
        for r in roles
        if r in named
    ]
    desc = "; ".join(told) or "Nothing is named yet."
    root = drawing(
        "The product and its roles",
        desc,
        size=(_WIDTH, height),
        identity=identity_of(f"p{desc}"),
        css=_CSS,
        klass="fg-product",
        role="group" if pressable else "img",
    )
    if vocabulary.silhouette is None:
        root.append(_meetings(vocabulary, anchors, scale, top))
    order = [*(r for r in shape.roles if r in vocabulary.roles)]
    order += [r for r in roles if r not in order]
    for role in order:
        drawn = _drawn(
            vocabulary,
            role,
            shape,
            scale,
            top,
            anchors.get(role),
            labels[role],
            catalogue.called(named[role]) if role in named else "",
            lines.get(role, ()),
            verdicts.get(role),
        )
        if pressable:
            drawn.attrib |= {"role": "button", "tabindex": "-1", "data-node": role}
            drawn.set("aria-label", drawn[0].text or "")  # its title
        root.append(drawn)
    return write(root)


def _meetings(
    vocabulary: Vocabulary, anchors: Mapping[str, tuple[float, float]], scale: float, top: float
) -> ET.Element:
    """Return the lines between roles that meet in a joint."""
    middle = _LABEL + sum(_BLOCK) / 2 * scale
    made = element("g")
    for one, other in role_graph(vocabulary).edges:
        y1, y2 = anchors[one][1] + top, anchors[other][1] + top
        bow = 0.5 * abs(y2 - y1) if abs(y2 - y1) > 1.5 * _PITCH * scale else 0.0
        d = f"M{number(middle)} {number(y1)}Q{number(middle + bow)} {number((y1 + y2) / 2)} "
        made.append(element("path", d=d + f"{number(middle)} {number(y2)}", klass="fg-meets"))
    return made


def _drawn(
    vocabulary: Vocabulary,
    role: str,
    shape: Silhouette,
    scale: float,
    top: float,
    anchor: tuple[float, float] | None,
    label: tuple[bool, float],
    named: str,
    lines: Sequence[str],
    verdict: Verdict | None,
) -> ET.Element:
    title = vocabulary.roles[role].title
    says = f"{title}: {named or 'not named'}"
    if verdict is not None:
        says += f", {WORDS[verdict]}"
    klass = "fg-named" * bool(named)
    if named and verdict is Verdict.FAILS:
        klass += " fg-bad"
    elif named and verdict is Verdict.UNKNOWN:
        klass += " fg-doubt"
    drawn = element("g", transform=f"translate({number(_LABEL)} {number(top)})")
    for outline in shape.roles.get(role, ()):
        wide = max(outline.wide * scale, 3.0)
        drawn.append(_stroke(outline, "fg-body", wide, scale))
        drawn.append(_stroke(outline, "fg-hollow", max(wide - 2.4, 0.8), scale))
    right, y = label
    y += top
    x = _WIDTH - _LABEL + 12 if right else _LABEL - 12
    made = element("g", element("title", says), drawn, klass=klass)
    if anchor is not None:
        end = f"{number(anchor[0] + _LABEL)} {number(anchor[1] + top)}"
        made.append(element("path", d=f"M{number(x)} {number(y)}L{end}", klass="fg-lead"))
    side = "start" if right else "end"
    at = x + 4 if right else x - 4
    sign = f"{SIGNS[verdict]} " if named and verdict is not None else ""
    left = x if right else 2
    made.append(
        element(
            "rect",
            x=left,
            y=y - 14,
            width=_LABEL - 14,
            height=_ROW - 3 + _LINE * max(len(lines) - 1, 0),
            klass="fg-plate",
        )
    )
    made.append(
        element(
            "text",
            sign + shorten(title, 20),
            x=at,
            y=y - 1 if named else y + 4,
            text_anchor=side,
            klass="fg-strong" if named else "",
        )
    )
    colour = verdict_class(verdict) if verdict is not None else "fg-muted"
    made.extend(text_lines(lines, at, y + 13, _LINE, text_anchor=side, klass=colour))
    return made


def _name(catalogue: Catalogue, label: str) -> str:
    """Return a part's name, or its number where it has none, with the work done to it."""
    sku, work = split_label(label)
    part = catalogue.parts.get(sku)
    return " + ".join(((part.name if part else "") or sku, *work))
