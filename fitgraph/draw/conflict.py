"""Parts and the joints between them as a graph, drawn as SVG: what holds and what does not.

References
----------
.. [1] T. Kamada, S. Kawai, "An algorithm for drawing general undirected graphs", Information
   Processing Letters 31 (1989) 7-15; by networkx.
"""

from __future__ import annotations

import hashlib
import math
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import networkx as nx

from fitgraph.draw.style import SIGNS, WORDS, drawing_css, theme_css, verdict_class
from fitgraph.draw.svg import element, number, shorten, write
from fitgraph.explain import Clash
from fitgraph.model import Option, Verdict, Vocabulary

#: Size of a part's box, and of the drawing, in units of the drawing.
_BOX = (150.0, 42.0)
_WIDTH = 760.0

#: Least room between two boxes.
_GAP = (46.0, 40.0)

#: How a verdict's line is drawn, so that its colour does not say it alone.
_LINES: Mapping[Verdict, Mapping[str, str]] = {
    Verdict.FITS: {"stroke_width": "1.5"},
    Verdict.UNKNOWN: {"stroke_width": "2", "stroke_dasharray": "3 5"},
    Verdict.FAILS: {"stroke_width": "3.5", "stroke_dasharray": "10 4"},
}


@dataclass(frozen=True, slots=True)
class DrawnLink:
    """What stands between two parts: the worst of their joints, and all their names."""

    ends: tuple[str, str]
    verdict: Verdict
    titles: tuple[str, ...]


def _ends(clash: Clash, shown: Mapping[str, Option]) -> tuple[str, str] | None:
    """Return the two roles a joint is drawn between: those whose figures it compares."""
    roles = list(dict.fromkeys([f.reference.role for f in clash.figures]))
    if clash.joint.subject is not None:
        roles.append(clash.joint.subject.role)
    roles = [r for r in dict.fromkeys([*roles, *clash.options]) if r in shown]
    return (roles[0], roles[1]) if len(roles) > 1 else None


def links(clashes: Sequence[Clash], shown: Mapping[str, Option]) -> tuple[DrawnLink, ...]:
    """Return the lines of the graph.

    Parameters
    ----------
    clashes : sequence of Clash
        Joints with their verdicts.
    shown : mapping of str to Option
        The parts that are drawn, by role.
    """
    found: dict[frozenset[str], DrawnLink] = {}
    for clash in clashes:
        ends = _ends(clash, shown)
        if ends is None:
            continue
        key = frozenset(ends)
        before = found.get(key)
        if before is None:
            found[key] = DrawnLink(ends, clash.verdict, (clash.joint.title,))
        elif clash.joint.title not in before.titles:
            titles = (
                (clash.joint.title, *before.titles)
                if clash.verdict < before.verdict
                else (*before.titles, clash.joint.title)
            )
            found[key] = DrawnLink(before.ends, min(clash.verdict, before.verdict), titles)
    return tuple(found.values())


def layout(roles: Sequence[str], lines: Sequence[DrawnLink]) -> dict[str, tuple[float, float]]:
    """Return where the middle of each part's box stands, no two boxes touching.

    Parameters
    ----------
    roles : sequence of str
        The nodes, in order.
    lines : sequence of DrawnLink
        The edges.
    """
    graph = nx.Graph()
    graph.add_nodes_from(roles)
    graph.add_edges_from(line.ends for line in lines)
    places: dict[str, tuple[float, float]] = {}
    top = 0.0
    lonely: list[str] = []
    for part in sorted(nx.connected_components(graph), key=len, reverse=True):
        ordered = [r for r in roles if r in part]
        if len(ordered) == 1:
            lonely += ordered
            continue
        around = nx.circular_layout(ordered)
        found = nx.kamada_kawai_layout(graph.subgraph(ordered), pos=around)
        spots = _apart({r: (float(found[r][0]), float(found[r][1])) for r in ordered})
        height = max(y for _, y in spots.values())
        places |= {r: (x, y + top) for r, (x, y) in spots.items()}
        top += height + _BOX[1] + _GAP[1]
    each_row = int((_WIDTH - 20) // (_BOX[0] + _GAP[0] / 2))
    for n, role in enumerate(lonely):
        line, column = divmod(n, each_row)
        x = 10 + _BOX[0] / 2 + column * (_BOX[0] + _GAP[0] / 2)
        places[role] = (x, top + _BOX[1] / 2 + line * (_BOX[1] + 14))
    return places


def _apart(spots: Mapping[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    """Scale places to the drawing's width and push boxes apart that would touch."""
    names = list(spots)
    reach = [max(abs(spots[n][k]) for n in names) or 1.0 for k in (0, 1)]
    room = (_WIDTH - _BOX[0] - 20) / 2
    tall = min(60.0 + 34.0 * len(names), 300.0)
    at = {
        n: [room + spots[n][0] / reach[0] * room, tall + spots[n][1] / reach[1] * tall]
        for n in names
    }
    wide, high = _BOX[0] + _GAP[0], _BOX[1] + _GAP[1]
    for _ in range(200):
        moved = False
        for i, a in enumerate(names):
            for b in names[i + 1 :]:
                dx, dy = at[b][0] - at[a][0], at[b][1] - at[a][1]
                if abs(dx) >= wide or abs(dy) >= high:
                    continue
                moved = True
                step = (high - abs(dy)) / 2 * (1 if dy >= 0 else -1)
                at[a][1] -= step
                at[b][1] += step
        if not moved:
            break
    least = min(y for _, y in at.values())
    return {n: (10 + _BOX[0] / 2 + x, y - least + _BOX[1] / 2) for n, (x, y) in at.items()}


def _border(middle: tuple[float, float], towards: tuple[float, float]) -> tuple[float, float]:
    """Return where a line from the middle of a box leaves it."""
    dx, dy = towards[0] - middle[0], towards[1] - middle[1]
    scale = min(
        _BOX[0] / 2 / abs(dx) if dx else math.inf, _BOX[1] / 2 / abs(dy) if dy else math.inf, 1.0
    )
    return middle[0] + dx * scale, middle[1] + dy * scale


def _line(link: DrawnLink, places: Mapping[str, tuple[float, float]]) -> list[ET.Element]:
    one, other = (places[r] for r in link.ends)
    (ax, ay), (bx, by) = _border(one, other), _border(other, one)
    klass = verdict_class(link.verdict)
    title = f"{', '.join(link.titles)}: {WORDS[link.verdict]}"
    made = [
        element(
            "path",
            element("title", title),
            d=f"M{number(ax)} {number(ay)}L{number(bx)} {number(by)}",
            klass=f"fg-link {klass}",
            **_LINES[link.verdict],
        )
    ]
    x, y = (ax + bx) / 2, (ay + by) / 2
    made.append(
        element(
            "g",
            element("title", title),
            element("circle", cx=x, cy=y, r=9, klass="fg-void fg-edge"),
            element(
                "text",
                SIGNS[link.verdict],
                x=x,
                y=y + 4,
                text_anchor="middle",
                klass=f"fg-strong {klass}",
            ),
        )
    )
    if link.verdict is not Verdict.FITS:
        made.append(
            element(
                "text", shorten(link.titles[0], 34), x=x + 13, y=y + 4, klass=f"fg-halo {klass}"
            )
        )
    return made


def conflict_svg(
    shown: Mapping[str, Option],
    clashes: Sequence[Clash],
    vocabulary: Vocabulary,
    free: frozenset[str] = frozenset(),
) -> str:
    """Return parts as boxes and the joints between them as lines, as SVG.

    Parameters
    ----------
    shown : mapping of str to Option
        The parts, by role.
    clashes : sequence of Clash
        Every joint between them, with its verdict.
    vocabulary : Vocabulary
        Names the roles.
    free : frozenset of str
        Roles that nobody named: their boxes are dashed, for what stands there is only the
        nearest there is.

    Returns
    -------
    str
        An SVG element, with a text alternative; empty where there are no parts.
    """
    roles = [r for r in vocabulary.roles if r in shown]
    if not roles:
        return ""
    lines = links(clashes, shown)
    places = layout(roles, lines)
    shift = 34.0
    places = {r: (x, y + shift) for r, (x, y) in places.items()}
    height = max(y for _, y in places.values()) + _BOX[1] / 2 + 12
    worst = min((line.verdict for line in lines), default=Verdict.FITS)
    heading = f"Parts and their joints, {SIGNS[worst]} {WORDS[worst]}"
    described = " ".join(
        f"{vocabulary.roles[a].title} and {vocabulary.roles[b].title}: {', '.join(line.titles)}, "
        f"{WORDS[line.verdict]}."
        for line in sorted(lines, key=lambda line: line.verdict)
        for a, b in [line.ends]
    )
    labels = "".join(shown[r].label for r in roles)
    content = (described + labels).encode("utf-8", "replace")
    identity = "fg" + hashlib.sha256(content).hexdigest()[:10]
    root = element(
        "svg",
        element("title", heading, id=f"{identity}-t"),
        element("desc", described or "No joint between these parts.", id=f"{identity}-d"),
        element(
            "style",
            theme_css() + drawing_css() + ".fg-svg .fg-link{fill:none;stroke:var(--fg-line)}"
            ".fg-svg .fg-link.fg-fits{stroke:var(--fg-fits)}"
            ".fg-svg .fg-link.fg-fails{stroke:var(--fg-fails)}"
            ".fg-svg .fg-link.fg-unknown{stroke:var(--fg-unknown)}"
            ".fg-svg .fg-halo{paint-order:stroke;stroke:var(--fg-paper);stroke-width:4px}"
            ".fg-svg .fg-box{fill:var(--fg-panel);stroke:var(--fg-ink);stroke-width:1.2}"
            ".fg-svg .fg-box.fg-free{stroke-dasharray:5 4}",
        ),
        klass="fg fg-svg",
        role="img",
        aria_labelledby=f"{identity}-t",
        aria_describedby=f"{identity}-d",
        viewBox=f"0 0 {number(_WIDTH)} {number(height)}",
    )
    root.append(element("text", heading, x=12, y=20, klass="fg-head"))
    for line in sorted(lines, key=lambda line: -line.verdict):
        root.extend(_line(line, places))
    for role in roles:
        x, y = places[role]
        option = shown[role]
        name = vocabulary.roles[role].title
        told = option.part.name if option.part is not None else ""
        root.append(
            element(
                "g",
                element("title", f"{name} {option.label} {told}"),
                element(
                    "rect",
                    x=x - _BOX[0] / 2,
                    y=y - _BOX[1] / 2,
                    width=_BOX[0],
                    height=_BOX[1],
                    rx=5,
                    klass="fg-box fg-free" if role in free else "fg-box",
                ),
                element(
                    "text",
                    shorten(name + (", nearest" if role in free else ""), 22),
                    x=x,
                    y=y - 4,
                    text_anchor="middle",
                    klass="fg-muted",
                ),
                element(
                    "text",
                    shorten(option.label, 21),
                    x=x,
                    y=y + 12,
                    text_anchor="middle",
                    klass="fg-strong",
                ),
                data_role=role,
            )
        )
    return write(root)
