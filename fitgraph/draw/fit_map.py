"""The map of fits: interfaces by size, and the joints between them, as SVG.

Each dimension that joints bring together has a lane, and all lanes share one axis of sizes in
mm; so a bore and a spigot that fit are joined by a line that hardly leans. What nobody has
measured stands apart at the left. Nothing is said by colour alone: a
joint's line has its own width and dashes by verdict, and its words when it is pointed at.
"""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

import networkx as nx

from fitgraph.draw.drawing import drawing, identity_of
from fitgraph.draw.line_chart import ticks
from fitgraph.draw.style import SIGNS, WORDS, verdict_class
from fitgraph.draw.svg import clean, element, folded, number, shorten, write
from fitgraph.explain.tracing import WayStep
from fitgraph.graph.size_map import Joints, SizeMap, appears_at, joints_with_ends
from fitgraph.model import Part, Reference, Verdict, Vocabulary
from fitgraph.records import dataclass
from fitgraph.units import show_length
from fitgraph.wording import plural

#: Size of a node, in units of the drawing.
_NODE = 6.0

#: Size of a part's chip, and most of them.
_CHIP, _MOST_CHIPS = (147.0, 52.0), 24

#: Letters in a line of a chip.
_CHIP_LETTERS = 19

#: More joints are not drawn.
_MOST_JOINTS = 3000

#: Height of what stands over and under all lanes, and of a line of the legend.
_TOP, _BOTTOM, _LINE = 74.0, 52.0, 20.0

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
    ".fg-svg .fg-trace{fill:none;stroke:var(--fg-ink);stroke-width:4}"
    ".fg-svg .fg-trace.fg-now{stroke:var(--fg-fits);stroke-width:6}"
    ".fg-svg .fg-trace.fg-ahead{stroke-width:2;stroke-dasharray:1 5;stroke-linecap:round}"
    ".fg-svg .fg-inside{stroke:var(--fg-ink);stroke-width:1.5;stroke-dasharray:3 3;fill:none}"
    ".fg-svg .fg-turn{fill:var(--fg-paper);stroke:var(--fg-ink);stroke-width:1.2}"
    ".fg-svg .fg-over{paint-order:stroke;stroke:var(--fg-paper);stroke-width:4}"
    ".fg-svg .fg-open{fill:none;pointer-events:none;stroke:var(--fg-fits);stroke-width:2}"
    ".fg-svg .fg-chip{fill:var(--fg-panel);stroke:var(--fg-line);stroke-dasharray:3 3}"
    ".fg-svg .fg-chip.fg-stock{stroke:var(--fg-ink);stroke-dasharray:none}"
)


@dataclass(frozen=True, slots=True)
class Frame:
    """How wide a map is, and what stands where in it, in units of the drawing.

    Parameters
    ----------
    width, left, right : float
        Of the drawing, and of its margins.
    unknown : float
        Room at the left of the axis for sizes that nobody knows.
    lane, line : float
        Height of a lane (one feature of one role), and where its line is in it.
    chips : int
        Chips of parts in a row.
    ticks : int
        Most marks of the axis.
    """

    width: float
    left: float
    right: float
    unknown: float
    lane: float
    line: float
    chips: int
    ticks: int


#: Lanes have their names beside them, or over them where a window is narrow.
WIDE = Frame(760.0, 152.0, 18.0, 72.0, 46.0, 23.0, 4, 9)
NARROW = Frame(380.0, 8.0, 12.0, 66.0, 62.0, 38.0, 2, 6)


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


def default_lanes(found: SizeMap) -> tuple[Reference, ...]:
    """Return the dimensions that joints bring together, those that meet near each other.

    In spectral order [1]_: the sum of squared distances between lanes that meet, or are of one
    part, is as small as it can be for places on a line.

    References
    ----------
    .. [1] M. Juvan, B. Mohar, "Optimal linear labelings and eigenvalues of graphs", Discrete
       Applied Mathematics 36 (1992) 153-168 (reference checked); by networkx.
    """
    meet = nx.Graph()
    for _, _, one, other, _ in joints_with_ends(found.view, found.vocabulary):
        meet.add_edge(one, other, weight=1.0)
    for one, other in itertools.combinations(list(meet), 2):
        if one.role == other.role and not meet.has_edge(one, other):
            meet.add_edge(one, other, weight=0.6 if one.feature != other.feature else 1.5)
    roles = list(found.vocabulary.roles)
    lanes_in_order: list[Reference] = []
    for piece in nx.connected_components(meet):
        lanes = [n for n in meet if n in piece]
        order = lanes
        if len(lanes) > 2:
            # Of places in the list: sets of names would give another map at every run.
            at = {lane: n for n, lane in enumerate(lanes)}
            plain = nx.Graph()
            plain.add_nodes_from(at.values())
            plain.add_edges_from(
                (at[a], at[b], d) for a, b, d in meet.edges(data=True) if a in piece
            )
            order = [lanes[n] for n in nx.spectral_ordering(plain, method="tracemin_lu", seed=1)]
        middle = len(order) // 2
        sums = [
            sum(roles.index(r.role) for r in side) for side in (order[:middle], order[-middle:])
        ]
        lanes_in_order += order if sums[0] <= sums[-1] else order[::-1]
    return tuple(lanes_in_order)


def tops(
    lanes: Sequence[Reference], bands: Mapping[Reference, float], frame: Frame = WIDE
) -> list[float]:
    """Return where each lane begins, and where the last ends; bands stand under their lanes."""
    found = [_TOP + (_LINE if frame is NARROW else 0.0)]
    for lane in lanes:
        found.append(found[-1] + frame.lane + bands.get(lane, 0.0))
    return found


def layout(
    view: nx.MultiDiGraph,
    lanes: Sequence[Reference],
    bands: Mapping[Reference, float] = MappingProxyType({}),
    frame: Frame = WIDE,
) -> tuple[dict[tuple[str, Reference], Spot], tuple[float, float]]:
    """Return where each interface stands in each of its lanes, and the ends of the axis [mm].

    Parameters
    ----------
    view : networkx.MultiDiGraph
        Interfaces and joints of a map.
    lanes : sequence of Reference
        The dimensions that are drawn, from above.
    bands : mapping of Reference to float
        Room under a lane for what is unfolded.
    frame : Frame
        How wide it is.
    """
    sizes = {
        (node, lane): _size(data, lane)
        for node, data in view.nodes(data=True)
        for lane in lanes
        if (lane.role, lane.feature) == (data["role"], data["feature"])
    }
    mids = [sum(s) / 2 for s in sizes.values() if s is not None]
    low, high = (min(mids), max(mids)) if mids else (0.0, 1.0)
    room = max((high - low) * 0.04, 0.5)
    low, high = low - room, high + room
    found: dict[tuple[str, Reference], Spot] = {}
    for lane, top in zip(lanes, tops(lanes, bands, frame), strict=False):
        y = top + frame.line
        here = {node: size for (node, on), size in sizes.items() if on == lane}
        # Beside each other in three rows, as near to their size as there is room.
        ends = {0: -1e9, -1: -1e9, 1: -1e9}
        known = sorted((size, node) for node, size in here.items() if size is not None)
        for (lo, hi), node in known:
            x = _across((lo + hi) / 2, low, high, frame)
            free = [r for r, end in ends.items() if x - end >= 2 * _NODE + 1]
            row = free[0] if free else min(ends, key=ends.__getitem__)
            ends[row] = max(x, ends[row] + 2 * _NODE + 1)
            found[(node, lane)] = Spot(ends[row], y + row * (2 * _NODE + 1), lo, hi)
        unknown = [node for node, size in here.items() if size is None]
        for k, node in enumerate(unknown):
            found[(node, lane)] = Spot(frame.left + 14 + k * (2 * _NODE + 2), y, None, None)
    return found, (low, high)


def _across(mm: float, low: float, high: float, frame: Frame) -> float:
    """Return where a size stands on the axis."""
    begin = frame.left + frame.unknown
    return begin + (frame.width - frame.right - begin) * (mm - low) / (high - low)


def _title(data: Mapping[str, Any], vocabulary: Vocabulary) -> str:
    role = vocabulary.roles[data["role"]].title
    sizes = data["sizes"].replace("..", " to ") if data["sizes"] != "?" else "size not known"
    feature = data["feature"].replace("_", " ")
    parts = plural(data["parts"], "part")
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


def _legend(frame: Frame) -> list[ET.Element]:
    made: list[ET.Element] = []
    x, y = 12.0, 44.0
    for verdict in (Verdict.FITS, Verdict.UNKNOWN, Verdict.FAILS):
        text = f"{SIGNS[verdict]} {WORDS[verdict]}"
        if x + 60 + 7.0 * len(text) > frame.width:
            x, y = 12.0, y + _LINE
        klass = f"fg-joint {verdict_class(verdict)}"
        look = _LINES[verdict.word]
        made.append(element("path", d=f"M{number(x)} {number(y)}h34", klass=klass, **look))
        made.append(element("text", text, x=x + 40, y=y + 4, klass=verdict_class(verdict)))
        x += 60 + 7.0 * len(text)
    for klass, text in (("fg-node fg-stock", "in stock"), ("fg-node", "to order")):
        made.append(element("circle", cx=x + 8, cy=y, r=_NODE - 1, klass=klass))
        made.append(element("text", text, x=x + 20, y=y + 4))
        x += 40 + 6.6 * len(text)
    return made


def _axis(
    ends: tuple[float, float], frame: Frame, top: float, bottom: float, *, unknown: bool
) -> list[ET.Element]:
    made = []
    for tick in ticks(*ends, frame.ticks):
        x = _across(tick, *ends, frame)
        made.append(
            element("path", d=f"M{number(x)} {number(top)}V{number(bottom)}", klass="fg-lane")
        )
        made.append(element("text", f"{tick:g}", x=x, y=bottom + 18, text_anchor="middle"))
    middle = _across(sum(ends) / 2, *ends, frame)
    made.append(element("text", "size in mm", x=middle, y=bottom + 38, text_anchor="middle"))
    if unknown:
        x = frame.left + (6 if frame is WIDE else 0)
        made.append(element("text", "not known", x=x, y=bottom + 18, klass="fg-muted"))
    return made


def _lane(y: float, frame: Frame) -> ET.Element:
    across = f"M{number(frame.left)} {number(y)}H{number(frame.width - frame.right)}"
    return element("path", d=across, klass="fg-lane")


def _lane_name(lane: Reference, y: float, vocabulary: Vocabulary, frame: Frame) -> list[ET.Element]:
    feature = " ".join(x for x in (lane.feature, lane.name) if x).replace("_", " ")
    role = vocabulary.roles[lane.role].title
    if frame is WIDE:
        return [
            element("text", shorten(role, 20), x=12, y=y - 2, klass="fg-strong"),
            element("text", shorten(feature, 24), x=12, y=y + 12, klass="fg-muted"),
        ]
    # Over its line, and over what crosses it.
    text = f"{shorten(role, 24)}, {shorten(feature, 24)}"
    return [element("text", text, x=frame.left, y=y - 24, klass="fg-strong fg-over")]


def map_words(found: SizeMap) -> str:
    """Return the map in words."""
    lanes = default_lanes(found)
    joints = joints_with_ends(found.view, found.vocabulary)
    return _told(lanes, layout(found.view, lanes)[0], joints)


def _told(
    lanes: Sequence[Reference], spots: Iterable[tuple[str, Reference]], joints: Joints
) -> str:
    """Return the drawing in words."""
    of_lane = Counter(lane for _, lane in spots)
    verdicts = Counter(data["verdict"] for *_, data in joints)
    pieces = [
        f"{plural(verdicts[v.word], 'joint')}: {WORDS[v]}"
        for v in reversed(Verdict)
        if verdicts[v.word]
    ]
    features = [
        f"{str(lane).replace('.', ' ').replace('_', ' ')} {of_lane[lane]}" for lane in lanes
    ]
    return f"Interfaces by size: {', '.join(features)}. {'; '.join(pieces) or 'No joints'}."


def _joint(one: Spot, other: Spot, ends: str, data: Mapping[str, Any]) -> ET.Element:
    least = appears_at(data)
    verdict = data["verdict"]
    made = element(
        "path",
        element("title", _joint_title(data)),
        d=_curve(one, other),
        klass=f"fg-joint fg-{verdict}",
        data_joint=data["joint"],
        data_ends=ends,
        **_LINES[verdict],
    )
    if least is not None:
        made.set("data-least", number(least))
    return made


def _button(made: ET.Element, label: str, **attributes: str) -> ET.Element:
    """Return an element as a button that arrow keys lead to and a press tells of."""
    for name, value in {"role": "button", "tabindex": "-1", "aria-label": label}.items():
        made.set(name, clean(value))
    for name, value in attributes.items():
        made.set(name.replace("_", "-"), clean(value))
    return made


def _node(spot: Spot, data: Mapping[str, Any], title: str, node: str) -> ET.Element:
    klass = "fg-node" + " fg-stock" * bool(data["stock"])
    return element(
        "g",
        element("title", title),
        element("circle", cx=spot.x, cy=spot.y, r=_NODE, klass=klass),
        data_node=node,
    )


def _parts_band(parts: Sequence[Part], top: float, frame: Frame) -> list[ET.Element]:
    """Return the parts of an unfolded interface as chips under their lane."""
    made = []
    for n, part in enumerate(parts[:_MOST_CHIPS]):
        row, column = divmod(n, frame.chips)
        x, y = frame.left + column * _CHIP[0], top + row * _CHIP[1]
        klass = "fg-chip" + " fg-stock" * bool(part.stock)
        name = folded(part.name, _CHIP_LETTERS, 2) if part.name else []
        told = [(line, "") for line in name]
        told.append((shorten(part.sku, _CHIP_LETTERS), "fg-muted" if name else ""))
        chip = element(
            "g",
            element("title", f"{part.called}: {part.stock:,} in stock"),
            element("rect", x=x, y=y, width=_CHIP[0] - 6, height=_CHIP[1] - 4, rx=3, klass=klass),
            *(
                element("text", line, x=x + 8, y=y + 15 + 14 * n, klass=style)
                for n, (line, style) in enumerate(told)
            ),
        )
        made.append(_button(chip, part.called, data_part=part.sku))
    if (more := len(parts) - _MOST_CHIPS) > 0:
        y = top + _MOST_CHIPS // frame.chips * _CHIP[1] + 14
        made.append(element("text", f"and {more:,} more", x=frame.left, y=y, klass="fg-muted"))
    return made


def _band(parts: int, frame: Frame) -> float:
    """Return the height that the parts of an unfolded interface take."""
    rows = -(-min(parts, _MOST_CHIPS) // frame.chips) + (parts > _MOST_CHIPS)
    return rows * _CHIP[1] + 8


def _trace(
    trace: Sequence[WayStep],
    at: int,
    heights: Mapping[Reference, float],
    axis: tuple[float, float],
    frame: Frame,
) -> list[ET.Element]:
    """Return a way as a line that goes from size to size, up to a step or beyond, thinner."""
    made = []
    before: tuple[str, float, float] | None = None
    for n, step in enumerate(trace):
        points: list[tuple[str, float, float]] = []
        for (lane, size), option in zip(step.ends, step.options, strict=True):
            if lane in heights:
                known = size is not None and size.known
                x = frame.left + 14
                if known and size is not None:
                    x = _across(size.mid, *axis, frame)
                points.append((option.label, x, heights[lane]))
        if before is not None and points and before[0] == points[0][0]:
            d = f"M{number(before[1])} {number(before[2])}L{number(points[0][1])} "
            made.append(element("path", d=d + number(points[0][2]), klass="fg-inside"))
        before = points[-1] if points else None
        if len(points) < 2:
            continue
        (_, x1, y1), (_, x2, y2) = points
        klass = "fg-trace" + (" fg-now" if n == at else "" if n < at else " fg-ahead")
        curve = _curve(Spot(x1, y1, None, None), Spot(x2, y2, None, None))
        made.append(element("path", d=curve, klass=klass))
        x, y = (x1 + x2) / 2, (y1 + y2) / 2
        made.append(element("circle", cx=x, cy=y, r=9, klass="fg-turn"))
        made.append(element("text", f"{n + 1}", x=x, y=y + 4, text_anchor="middle"))
    return made


def fit_map_svg(
    found: SizeMap,
    *,
    lanes: Sequence[Reference] | None = None,
    trace: Sequence[WayStep] = (),
    at: int = -1,
    unfolded: str | None = None,
    pressable: bool = False,
    narrow: bool = False,
) -> str:
    """Return interfaces by size, and the joints between them, as SVG.

    Parameters
    ----------
    found : SizeMap
        From :func:`fitgraph.graph.size_map.size_map`.
    lanes : sequence of Reference, optional
        The dimensions that are drawn, from above; by default all that joints bring together.
    trace : sequence of WayStep
        A way that is drawn over it.
    at : int
        Its step that is looked at; those behind it are drawn thinner.
    unfolded : str, optional
        An interface whose parts are drawn under its lane.
    pressable : bool
        Whether nodes and parts are buttons. Without it the drawing is one picture.
    narrow : bool
        Whether it is as narrow as a small window, with the lanes' names over them.

    Returns
    -------
    str
        An SVG element with a text alternative. Nodes have ``data-node``, parts ``data-part``,
        joints ``data-joint``, ``data-ends`` and ``data-least``: the tolerance from which they
        are drawn [mm]. Of more joints than 3,000 those that are nearest to their limit are left.
    """
    frame = NARROW if narrow else WIDE
    lanes = default_lanes(found) if lanes is None else tuple(lanes)
    parts = [found.catalogue.parts[s] for s in found.parts.get(unfolded or "", ())]
    home = next(
        (
            lane
            for lane in lanes
            if unfolded in found.view
            and (lane.role, lane.feature)
            == (found.view.nodes[unfolded]["role"], found.view.nodes[unfolded]["feature"])
        ),
        None,
    )
    bands = {home: _band(len(parts), frame)} if home is not None else {}
    spots, axis = layout(found.view, lanes, bands, frame)
    begins = tops(lanes, bands, frame)
    joints = [
        (a, b, one, other, data)
        for a, b, one, other, data in joints_with_ends(found.view, found.vocabulary)
        if (a, one) in spots and (b, other) in spots
    ]
    told = _told(lanes, spots, joints)
    if (more := len(joints) - _MOST_JOINTS) > 0:
        joints = sorted(joints, key=lambda j: abs(appears_at(j[4]) or 0.0))[:_MOST_JOINTS]
        far = "joint that is far from its limits is", "joints that are far from their limits are"
        told += f" {plural(more, *far)} not drawn."
    root = drawing(
        "The map of fits",
        told,
        size=(frame.width, begins[-1] + _BOTTOM),
        identity=identity_of(told) + "n" * narrow,
        css=_CSS,
        klass="fg-map",
        role="group" if pressable else "img",
    )
    root.append(element("text", "The map of fits", x=12, y=22, klass="fg-head"))
    root.extend(_legend(frame))
    unknown = any(s.lo_mm is None for s in spots.values())
    root.extend(_axis(axis, frame, begins[0], begins[-1], unknown=unknown))
    heights = {lane: top + frame.line for lane, top in zip(lanes, begins, strict=False)}
    root.extend(_lane(y, frame) for y in heights.values())
    order = {"unknown": 0, "fits": 1, "fails": 2}
    for a, b, one, other, data in sorted(joints, key=lambda j: order[j[4]["verdict"]]):
        root.append(_joint(spots[(a, one)], spots[(b, other)], f"{a}|{b}", data))
    for lane, y in heights.items():
        root.extend(_lane_name(lane, y, found.vocabulary, frame))
    root.extend(_trace(trace, at, heights, axis, frame))
    for (node, lane), spot in spots.items():
        data = found.view.nodes[node]
        title = _title(data, found.vocabulary)
        made = _node(spot, data, title, node)
        if pressable:
            open_ = "true" if node == unfolded else "false"
            _button(made, title, aria_expanded=open_)
        root.append(made)
        if lane == home and node == unfolded:
            root.append(element("circle", cx=spot.x, cy=spot.y, r=_NODE + 4, klass="fg-open"))
    if home is not None:
        root.extend(_parts_band(parts, heights[home] + frame.lane - frame.line, frame))
    return write(root)
