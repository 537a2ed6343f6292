"""Parts along the assembly and the joints between them, drawn as SVG: what holds, what does not."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from itertools import accumulate

from fitgraph.draw.assembly_order import assembly_order
from fitgraph.draw.drawing import drawing, identity_of
from fitgraph.draw.style import SIGNS, WORDS, verdict_class, verdict_text
from fitgraph.draw.svg import badge, element, folded, number, shorten, text_lines, write
from fitgraph.explain import Clash
from fitgraph.model import Option, Verdict, Vocabulary
from fitgraph.records import dataclass

#: Height of a part's box with three lines or fewer, in units of the drawing, and of its lines.
_BOX, _BOX_LINE = 56.0, 15.0

#: Least room between two boxes and between two joints, and where the boxes stand.
_GAP, _ROW, _LEFT = 16.0, 26.0, 12.0

#: Room for the heading, and for a further line of words.
_TOP, _LINE = 40.0, 14.0

#: How a verdict's line is drawn, so that its colour does not say it alone.
_LINES: Mapping[Verdict, Mapping[str, str]] = {
    Verdict.FITS: {"stroke_width": "1.5"},
    Verdict.UNKNOWN: {"stroke_width": "2", "stroke_dasharray": "3 5"},
    Verdict.FAILS: {"stroke_width": "3", "stroke_dasharray": "10 4"},
}

#: Rules of lines and boxes.
_CSS = (
    ".fg-svg .fg-link{fill:none;stroke:var(--fg-line)}"
    ".fg-svg .fg-link.fg-fits{stroke:var(--fg-fits)}"
    ".fg-svg .fg-link.fg-fails{stroke:var(--fg-fails)}"
    ".fg-svg .fg-link.fg-unknown{stroke:var(--fg-unknown)}"
    ".fg-svg .fg-box{fill:var(--fg-panel);stroke:var(--fg-ink);stroke-width:1.2}"
    ".fg-svg .fg-box.fg-free{stroke-dasharray:5 4}"
)


@dataclass(frozen=True, slots=True)
class _Frame:
    """How wide a drawing and its boxes are, where the joints stand, and words beside them."""

    width: float
    box: float
    joint: float
    letters: int
    lines: int


_WIDE = _Frame(690.0, 190.0, 324.0, 48, 2)
_NARROW = _Frame(380.0, 142.0, 196.0, 22, 4)

#: Widths of a strong letter and of another, and room beside letters in a box.
_LETTER, _PLAIN, _PAD = 7.2, 6.5, 12.0

#: Most lines of a part's name in its box.
_NAME_LINES = 4


@dataclass(frozen=True, slots=True)
class DrawnJoint:
    """A joint with the roles it brings together, as far as they are drawn."""

    roles: tuple[str, ...]
    title: str
    verdict: Verdict


def drawn_joints(clashes: Sequence[Clash], shown: Mapping[str, Option]) -> tuple[DrawnJoint, ...]:
    """Return the joints that are drawn, each once.

    Parameters
    ----------
    clashes : sequence of Clash
        Joints with their verdicts.
    shown : mapping of str to Option
        The parts that are drawn, by role.
    """
    found: dict[str, DrawnJoint] = {}
    for clash in clashes:
        roles = [f.reference.role for f in clash.figures]
        if clash.joint.subject is not None:
            roles.append(clash.joint.subject.role)
        # A joint that compares no figures is between all the parts that it needs.
        if len(set(roles)) < 2:
            roles += clash.options
        roles = [r for r in dict.fromkeys(roles) if r in shown]
        if roles:
            found.setdefault(
                clash.joint.name, DrawnJoint(tuple(roles), clash.joint.title, clash.verdict)
            )
    return tuple(found.values())


def spread(wanted: Sequence[float], least: float | Sequence[float]) -> list[float]:
    """Return places as near to those wanted, in their order, as so much room between allows.

    Pool-adjacent-violators: places too close are moved as one block about their mean.

    Parameters
    ----------
    wanted : sequence of float
        Where each would stand best.
    least : float or sequence of float
        Least room from each to the next; of a sequence the last is not used.
    """
    rooms = [least] * len(wanted) if isinstance(least, float | int) else least
    before_it = [0.0, *accumulate(rooms)]
    blocks: list[tuple[float, int]] = []  # sums of what each block wants, and how many it holds
    for n, place in enumerate(wanted):
        total, size = place - before_it[n], 1
        while blocks and blocks[-1][0] / blocks[-1][1] > total / size:
            before, many = blocks.pop()
            total, size = total + before, size + many
        blocks.append((total, size))
    flat = [total / size for total, size in blocks for _ in range(size)]
    return [place + before_it[n] for n, place in enumerate(flat)]


def layout(
    roles: Sequence[str], joints: Sequence[DrawnJoint], lines: int = 1, box: float = _BOX
) -> tuple[dict[str, float], tuple[tuple[DrawnJoint, float], ...]]:
    """Return how far down the middle of each box and of each joint stands.

    Parameters
    ----------
    roles : sequence of str
        The parts, along the assembly.
    joints : sequence of DrawnJoint
        What is between them; each stands as near as can be to the middle of its parts.
    lines : int
        Lines of words beside each.
    box : float
        Height of a box.
    """
    least = _ROW + _LINE * (lines - 1)
    pitch = max(box + _GAP, least * len(joints) / max(len(roles), 1))
    places = {role: n * pitch for n, role in enumerate(roles)}
    middles = [sum(places[r] for r in j.roles) / len(j.roles) for j in joints]
    order = sorted(range(len(joints)), key=middles.__getitem__)
    rows = spread([middles[n] for n in order], least)
    shift = _TOP + box / 2 - min([0.0, *(row - box / 2 + least / 2 for row in rows)])
    return (
        {role: y + shift for role, y in places.items()},
        tuple((joints[n], row + shift) for n, row in zip(order, rows, strict=True)),
    )


def _line(
    joint: DrawnJoint, y: float, places: Mapping[str, float], frame: _Frame
) -> list[ET.Element]:
    klass = verdict_class(joint.verdict)
    title = f"{joint.title}: {WORDS[joint.verdict]}"
    begin, middle = _LEFT + frame.box, (_LEFT + frame.box + frame.joint) / 2
    made = [
        element(
            "path",
            element("title", title),
            d=f"M{number(begin)} {number(places[role])}C{number(middle)} {number(places[role])} "
            f"{number(middle)} {number(y)} {number(frame.joint)} {number(y)}",
            klass=f"fg-link {klass}",
            **_LINES[joint.verdict],
        )
        for role in joint.roles
    ]
    loud = f"fg-strong {klass}" if joint.verdict is not Verdict.FITS else ""
    told = folded(joint.title, frame.letters, frame.lines)
    first = y + 4 - _LINE / 2 * (len(told) - 1)
    made.append(
        element(
            "g",
            element("title", title),
            *badge(frame.joint, y, SIGNS[joint.verdict], klass, 9),
            *text_lines(told, frame.joint + 15, first, _LINE, klass=loud),
        )
    )
    return made


def _boxed(option: Option, role: str, frame: _Frame) -> list[tuple[str, str]]:
    """Return the lines in a part's box, each with its class: its name, then role and number."""
    most, plain = (int((frame.box - _PAD) / width) for width in (_LETTER, _PLAIN))
    if option.part is None or not option.part.name:
        return [(shorten(option.label, most), "fg-strong"), (shorten(role, plain), "fg-muted")]
    named = folded(" + ".join((option.part.name, *option.services)), most, _NAME_LINES)
    under = [f"{role}, {option.part.sku}"]
    if len(under[0]) > plain:
        under = [*folded(role, plain, 2), shorten(option.part.sku, plain)]
    return [*((line, "fg-strong") for line in named), *((line, "fg-muted") for line in under)]


def conflict_svg(
    shown: Mapping[str, Option],
    clashes: Sequence[Clash],
    vocabulary: Vocabulary,
    free: frozenset[str] = frozenset(),
    *,
    narrow: bool = False,
) -> str:
    """Return parts as boxes along the assembly and beside them the joints that they meet in.

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
    narrow : bool
        Whether it is as narrow as a small window.

    Returns
    -------
    str
        An SVG element, with a text alternative; empty where there are no parts.
    """
    roles = [r for r in assembly_order(vocabulary) if r in shown]
    if not roles:
        return ""
    frame = _NARROW if narrow else _WIDE
    joints = drawn_joints(clashes, shown)
    told = [folded(joint.title, frame.letters, frame.lines) for joint in joints]
    lines = max(map(len, told), default=1)
    titles = {r: vocabulary.roles[r].title for r in roles}
    boxed = {
        r: _boxed(shown[r], titles[r] + (", nearest" if r in free else ""), frame) for r in roles
    }
    tall = _BOX + _BOX_LINE * max(0, *(len(words) - 3 for words in boxed.values()))
    places, rows = layout(roles, joints, lines, tall)
    height = max([*places.values(), *(y for _, y in rows)]) + tall / 2 + 12
    worst = min((joint.verdict for joint, _ in rows), default=Verdict.FITS)
    heading = f"Parts and their joints, {verdict_text(worst)}"
    described = " ".join(
        f"{' and '.join(vocabulary.roles[r].title for r in joint.roles)}: {joint.title}, "
        f"{WORDS[joint.verdict]}."
        for joint, _ in sorted(rows, key=lambda row: row[0].verdict)
    )
    labels = "".join(shown[r].label for r in roles)
    root = drawing(
        heading,
        described or "No joint between these parts.",
        size=(frame.width, height),
        identity=identity_of(described + labels) + "n" * narrow,
        css=_CSS,
    )
    root.append(element("text", heading, x=12, y=20, klass="fg-head"))
    for joint, y in sorted(rows, key=lambda row: -row[0].verdict):
        root.extend(_line(joint, y, places, frame))
    for role in roles:
        x, y = _LEFT + frame.box / 2, places[role]
        words = boxed[role]
        first = y + 4 - _BOX_LINE * (len(words) - 1) / 2
        root.append(
            element(
                "g",
                element("title", f"{titles[role]} {shown[role].called}"),
                element(
                    "rect",
                    x=x - frame.box / 2,
                    y=y - tall / 2,
                    width=frame.box,
                    height=tall,
                    rx=5,
                    klass="fg-box fg-free" if role in free else "fg-box",
                ),
                *(
                    element(
                        "text",
                        line,
                        x=x,
                        y=first + _BOX_LINE * n,
                        text_anchor="middle",
                        klass=klass,
                    )
                    for n, (line, klass) in enumerate(words)
                ),
                data_role=role,
            )
        )
    return write(root)
