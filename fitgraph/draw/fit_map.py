"""The map of fits: interfaces by size, and the joints between them, as SVG.

Each dimension that joints bring together has a lane, and all lanes share one axis of sizes in
mm; so a bore and a spigot that fit are joined by a line that hardly leans. What nobody has
measured stands apart at the left. Nothing is said by colour alone: a
joint's line has its own width and dashes by verdict, and its words when it is pointed at.
"""

from __future__ import annotations

import hashlib
import itertools
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import networkx as nx

from fitgraph.draw.line_chart import ticks
from fitgraph.draw.style import SIGNS, WORDS, drawing_css, theme_css, verdict_class
from fitgraph.draw.svg import element, number, shorten, write
from fitgraph.graph.fit_graph import fit_graph
from fitgraph.graph.interfaces import pair_joints, pair_of
from fitgraph.graph.views import by_interface, joints_of
from fitgraph.model import Catalogue, Reference, Verdict, Vocabulary
from fitgraph.units import show_length

#: Width of the drawing, its margins and the size of a node, in units of the drawing.
_WIDTH, _LEFT, _RIGHT, _NODE = 960.0, 164.0, 24.0, 6.0

#: Room at the left of the axis for sizes that nobody knows.
_UNKNOWN = 76.0

#: Height of a lane (one feature of one role) and of what stands over and under all.
_LANE, _TOP, _BOTTOM = 46.0, 74.0, 52.0

_VERDICTS = {v.word: v for v in Verdict}

#: How a verdict's line is drawn, so that its colour does not say it alone.
_LINES: Mapping[str, Mapping[str, str]] = {
    "fits": {"stroke_width": "1.8"},
    "unknown": {"stroke_width": "1.4", "stroke_dasharray": "2 4"},
    "fails": {"stroke_width": "2.6", "stroke_dasharray": "9 4"},
}

_CSS = (
    ".fg-svg .fg-joint{fill:none;stroke:var(--fg-line);stroke-opacity:.75}"
    ".fg-svg .fg-joint.fg-fits{stroke:var(--fg-fits)}"
    ".fg-svg .fg-joint.fg-fails{stroke:var(--fg-fails)}"
    ".fg-svg .fg-joint.fg-unknown{stroke:var(--fg-unknown)}"
    ".fg-svg .fg-node{fill:var(--fg-panel);stroke:var(--fg-ink);stroke-width:1.2}"
    ".fg-svg .fg-node.fg-stock{fill:var(--fg-ink)}"
    ".fg-svg .fg-lane{stroke:var(--fg-line);stroke-opacity:.35;stroke-width:1}"
    ".fg-svg .fg-joint.fg-way{stroke-width:4;stroke-opacity:1}"
    ".fg-svg .fg-node.fg-way{stroke:var(--fg-fits);stroke-width:3.5}"
)


@dataclass(frozen=True, slots=True)
class Spot:
    """Where an interface stands.

    Parameters
    ----------
    x, y : float
        In units of the drawing.
    lo_mm, hi_mm : float or None
        The size it stands at [mm]; None where it has none.
    """

    x: float
    y: float
    lo_mm: float | None
    hi_mm: float | None


def _size(data: Mapping[str, Any], lane: Reference) -> tuple[float, float] | None:
    """Return an interface's size in a lane [mm], None where it has none."""
    key = f"{lane.feature}.{lane.name}"
    if f"{key}_lo_mm" not in data:
        return None
    return float(data[f"{key}_lo_mm"]), float(data[f"{key}_hi_mm"])


def drawn_joints(vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the joints of two diameters, which a map by size can show; without any, all."""
    pairs = pair_joints(vocabulary.joints)
    return tuple(j.name for j in pairs if "bore" in j.arguments) or tuple(j.name for j in pairs)


def map_view(
    catalogue: Catalogue, skus: Iterable[str] | None = None, *, misses_mm: float = 0.0
) -> nx.MultiDiGraph:
    """Return the interfaces and joints that the map draws.

    Parameters
    ----------
    catalogue : Catalogue
        Its parts as they are, and its words.
    skus : iterable of str, optional
        The parts that are drawn; all by default.
    misses_mm : float
        Joints that fail by no more than this [mm] are drawn as well.
    """
    graph = fit_graph(
        catalogue,
        skus,
        services=False,
        misses_mm=misses_mm,
        joints=drawn_joints(catalogue.vocabulary),
    )
    return by_interface(graph, "fails")


Joints = list[tuple[str, str, Reference, Reference, dict[str, Any]]]


def _joints(view: nx.MultiDiGraph, vocabulary: Vocabulary) -> Joints:
    """Return the joints, with the dimension that each brings together at either end."""
    found = []
    for a, b, data in joints_of(view, "fails"):
        pair = pair_of(vocabulary.joint(data["joint"]))
        if pair is not None:
            found.append((a, b, *pair, data))
    return found


def default_lanes(view: nx.MultiDiGraph, vocabulary: Vocabulary) -> tuple[Reference, ...]:
    """Return the dimensions that joints bring together, those that meet near each other.

    In spectral order [1]_: the sum of squared distances between lanes that meet, or are of one
    part, is as small as it can be for places on a line.

    References
    ----------
    .. [1] M. Juvan, B. Mohar, "Optimal linear labelings and eigenvalues of graphs", Discrete
       Applied Mathematics 36 (1992) 153-168 (from memory); by networkx.
    """
    meet = nx.Graph()
    for _, _, one, other, _ in _joints(view, vocabulary):
        meet.add_edge(one, other, weight=1.0)
    for one, other in itertools.combinations(list(meet), 2):
        if one.role == other.role and not meet.has_edge(one, other):
            meet.add_edge(one, other, weight=0.6 if one.feature != other.feature else 1.5)
    roles = list(vocabulary.roles)
    found: list[Reference] = []
    for piece in nx.connected_components(meet):
        lanes = [n for n in meet if n in piece]
        order = lanes
        if len(lanes) > 2:
            # In an order of its own: a view of a set would give another map at every run.
            plain = nx.Graph()
            plain.add_nodes_from(lanes)
            plain.add_edges_from((a, b, d) for a, b, d in meet.edges(data=True) if a in piece)
            order = nx.spectral_ordering(plain, method="lanczos", seed=1)
        middle = len(order) // 2
        sums = [
            sum(roles.index(r.role) for r in side) for side in (order[:middle], order[-middle:])
        ]
        found += order if sums[0] <= sums[-1] else order[::-1]
    return tuple(found)


def layout(
    view: nx.MultiDiGraph, lanes: Sequence[Reference]
) -> tuple[dict[tuple[str, Reference], Spot], tuple[float, float]]:
    """Return where each interface stands in each of its lanes, and the ends of the axis [mm].

    Parameters
    ----------
    view : networkx.MultiDiGraph
        Interfaces and joints, from :func:`map_view`.
    lanes : sequence of Reference
        The dimensions that are drawn, from above.
    """
    of_lane: dict[Reference, list[str]] = {lane: [] for lane in lanes}
    sizes: dict[tuple[str, Reference], tuple[float, float] | None] = {}
    for node, data in view.nodes(data=True):
        for lane in lanes:
            if (lane.role, lane.feature) == (data["role"], data["feature"]):
                of_lane[lane].append(node)
                sizes[(node, lane)] = _size(data, lane)
    mids = [sum(s) / 2 for s in sizes.values() if s is not None]
    low, high = (min(mids), max(mids)) if mids else (0.0, 1.0)
    room = max((high - low) * 0.04, 0.5)
    low, high = low - room, high + room
    found: dict[tuple[str, Reference], Spot] = {}
    for n, lane in enumerate(lanes):
        y = _TOP + _LANE * (n + 0.5)
        placed: list[tuple[float, int]] = []
        known = [(s, m) for m in of_lane[lane] if (s := sizes[(m, lane)]) is not None]
        for (lo, hi), node in sorted(known):
            x = _across((lo + hi) / 2, low, high)
            # Beside each other in three rows, as near to their size as there is room.
            ends = {r: max((px for px, pr in placed if pr == r), default=-1e9) for r in (0, -1, 1)}
            free = [r for r, end in ends.items() if x - end >= 2 * _NODE + 1]
            row = free[0] if free else min(ends, key=ends.__getitem__)
            x = max(x, ends[row] + 2 * _NODE + 1)
            placed.append((x, row))
            found[(node, lane)] = Spot(x, y + row * (2 * _NODE + 1), lo, hi)
        unknown = [m for m in of_lane[lane] if sizes[(m, lane)] is None]
        for k, node in enumerate(unknown):
            found[(node, lane)] = Spot(_LEFT + 14 + k * (2 * _NODE + 2), y, None, None)
    return found, (low, high)


def _across(mm: float, low: float, high: float) -> float:
    """Return where a size stands on the axis."""
    return _LEFT + _UNKNOWN + (_WIDTH - _LEFT - _RIGHT - _UNKNOWN) * (mm - low) / (high - low)


def _title(data: Mapping[str, Any], vocabulary: Vocabulary) -> str:
    role = vocabulary.roles[data["role"]].title
    sizes = data["sizes"].replace("..", " to ") if data["sizes"] != "?" else "size not known"
    parts = "1 part" if data["parts"] == 1 else f"{data['parts']:,} parts"
    feature = data["feature"].replace("_", " ")
    return f"{role}, {feature} {sizes}: {parts}, {data['stock']:,} in stock"


def _joint_title(data: Mapping[str, Any]) -> str:
    text = f"{data['title']}: {WORDS[_VERDICTS[data['verdict']]]}"
    if "margin_mm" in data:
        length = show_length(abs(data["margin_mm"]))
        text += f", lacks {length}" if data["verdict"] == "fails" else f", {length} to spare"
    return text + (f" (given {data['given']})" if data.get("given") else "")


def _curve(one: Spot, other: Spot) -> str:
    half = number((one.y + other.y) / 2)
    return (
        f"M{number(one.x)} {number(one.y)}C{number(one.x)} {half} "
        f"{number(other.x)} {half} {number(other.x)} {number(other.y)}"
    )


def _legend() -> list[ET.Element]:
    made: list[ET.Element] = []
    x = 12.0
    for verdict in (Verdict.FITS, Verdict.UNKNOWN, Verdict.FAILS):
        klass = f"fg-joint {verdict_class(verdict)}"
        made.append(element("path", d=f"M{number(x)} 44h34", klass=klass, **_LINES[verdict.word]))
        text = f"{SIGNS[verdict]} {WORDS[verdict]}"
        made.append(element("text", text, x=x + 40, y=48, klass=verdict_class(verdict)))
        x += 60 + 7.0 * len(text)
    for klass, text in (("fg-node fg-stock", "in stock"), ("fg-node", "to order")):
        made.append(element("circle", cx=x + 8, cy=44, r=_NODE - 1, klass=klass))
        made.append(element("text", text, x=x + 20, y=48))
        x += 40 + 6.6 * len(text)
    return made


def _axis(low: float, high: float, bottom: float, *, unknown: bool) -> list[ET.Element]:
    made = []
    for tick in ticks(low, high, 9):
        x = _across(tick, low, high)
        made.append(
            element("path", d=f"M{number(x)} {number(_TOP)}V{number(bottom)}", klass="fg-lane")
        )
        made.append(element("text", f"{tick:g}", x=x, y=bottom + 18, text_anchor="middle"))
    middle = _across((low + high) / 2, low, high)
    made.append(element("text", "size in mm", x=middle, y=bottom + 38, text_anchor="middle"))
    if unknown:
        made.append(element("text", "not known", x=_LEFT + 6, y=bottom + 18, klass="fg-muted"))
    return made


def _lane(lane: Reference, y: float, vocabulary: Vocabulary) -> list[ET.Element]:
    feature = " ".join(x for x in (lane.feature, lane.name) if x).replace("_", " ")
    across = f"M{number(_LEFT)} {number(y)}H{number(_WIDTH - _RIGHT)}"
    title = shorten(vocabulary.roles[lane.role].title, 20)
    return [
        element("path", d=across, klass="fg-lane"),
        element("text", title, x=12, y=y - 2, klass="fg-strong"),
        element("text", shorten(feature, 24), x=12, y=y + 12, klass="fg-muted"),
    ]


def map_words(view: nx.MultiDiGraph, vocabulary: Vocabulary) -> str:
    """Return the map in words."""
    lanes, joints = default_lanes(view, vocabulary), _joints(view, vocabulary)
    return _told(lanes, layout(view, lanes)[0], joints)


def _told(
    lanes: Sequence[Reference], spots: Iterable[tuple[str, Reference]], joints: Joints
) -> str:
    """Return the drawing in words."""
    of_lane = Counter(lane for _, lane in spots)
    verdicts = Counter(data["verdict"] for *_, data in joints)
    pieces = [
        f"{verdicts[v.word]:,} joints: {WORDS[v]}" for v in reversed(Verdict) if verdicts[v.word]
    ]
    features = [
        f"{str(lane).replace('.', ' ').replace('_', ' ')} {of_lane[lane]}" for lane in lanes
    ]
    return f"Interfaces by size: {', '.join(features)}. {'; '.join(pieces) or 'No joints'}."


def fit_map_svg(
    view: nx.MultiDiGraph,
    vocabulary: Vocabulary,
    *,
    lanes: Sequence[Reference] | None = None,
    way: Sequence[str] = (),
) -> str:
    """Return the interfaces of a graph by size, and the joints between them, as SVG.

    Parameters
    ----------
    view : networkx.MultiDiGraph
        Interfaces and joints, from :func:`map_view`.
    vocabulary : Vocabulary
        Names the roles.
    lanes : sequence of Reference, optional
        The dimensions that are drawn, from above; by default all that joints bring together.
    way : sequence of str
        Interfaces that are marked, such as those of a way.

    Returns
    -------
    str
        An SVG element with a text alternative. Nodes have ``data-node``, joints ``data-joint``
        and ``data-ends``, so that a page can follow a press.
    """
    lanes = default_lanes(view, vocabulary) if lanes is None else tuple(lanes)
    spots, (low, high) = layout(view, lanes)
    bottom = _TOP + _LANE * max(len(lanes), 1)
    joints = [
        (a, b, one, other, data)
        for a, b, one, other, data in _joints(view, vocabulary)
        if (a, one) in spots and (b, other) in spots
    ]
    told = _told(lanes, spots, joints)
    identity = "fg" + hashlib.sha256(told.encode("utf-8", "replace")).hexdigest()[:10]
    root = element(
        "svg",
        element("title", "The map of fits", id=f"{identity}-t"),
        element("desc", told, id=f"{identity}-d"),
        element("style", theme_css() + drawing_css() + _CSS),
        klass="fg fg-svg",
        role="img",
        aria_labelledby=f"{identity}-t",
        aria_describedby=f"{identity}-d",
        viewBox=f"0 0 {number(_WIDTH)} {number(bottom + _BOTTOM)}",
    )
    root.append(element("text", "The map of fits", x=12, y=22, klass="fg-head"))
    root.extend(_legend())
    root.extend(_axis(low, high, bottom, unknown=any(s.lo_mm is None for s in spots.values())))
    for n, lane in enumerate(lanes):
        root.extend(_lane(lane, _TOP + _LANE * (n + 0.5), vocabulary))
    order = {"unknown": 0, "fits": 1, "fails": 2}
    for a, b, one, other, data in sorted(joints, key=lambda j: order[j[4]["verdict"]]):
        marked = " fg-way" if a in way and b in way else ""
        root.append(
            element(
                "path",
                element("title", _joint_title(data)),
                d=_curve(spots[(a, one)], spots[(b, other)]),
                klass=f"fg-joint fg-{data['verdict']}{marked}",
                data_joint=data["joint"],
                data_ends=f"{a}|{b}",
                **_LINES[data["verdict"]],
            )
        )
    for (node, _), spot in spots.items():
        data = view.nodes[node]
        klass = "fg-node" + " fg-stock" * bool(data["stock"]) + " fg-way" * (node in way)
        radius = _NODE + 2 * (node in way)
        root.append(
            element(
                "g",
                element("title", _title(data, vocabulary)),
                element("circle", cx=spot.x, cy=spot.y, r=radius, klass=klass),
                data_node=node,
            )
        )
    return write(root)
