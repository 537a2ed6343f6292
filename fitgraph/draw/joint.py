"""One joint as SVG: the figures it rests on, and what they come to beside what is wanted.

Lengths stand on a number line to scale, words and what is there or not in boxes. How each rule
is drawn stands in one table, beside nothing else that knows a rule's name.
"""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Callable, Mapping, Sequence

from fitgraph.draw.drawing import drawing, identity_of
from fitgraph.draw.line_chart import ticks
from fitgraph.draw.style import SIGNS, verdict_class, verdict_text
from fitgraph.draw.svg import element, number, shorten, text_lines, write
from fitgraph.explain import Clash
from fitgraph.explain.series import wanted_of_unknown
from fitgraph.explain.words import figure_text
from fitgraph.model import Presence, Verdict
from fitgraph.records import dataclass
from fitgraph.wording import capital

#: Width of the drawing, and where a number line begins and ends, in units of the drawing.
_WIDTH, _LEFT, _RIGHT = 760.0, 236.0, 736.0

#: Height of a line of text, and of a row of a number line.
_LINE, _ROW = 18.0, 30.0

#: Letters that a line of text, and a row's name, have room for.
_ACROSS, _NAME = 104, 34

#: Signs between two words: the same, not the same, nobody knows.
_BETWEEN = {Verdict.FITS: "=", Verdict.FAILS: "≠", Verdict.UNKNOWN: "?"}

_CSS = (
    ".fg-svg .fg-band{fill:var(--fg-panel);stroke:var(--fg-line);stroke-width:1}"
    ".fg-svg .fg-is{stroke:var(--fg-ink);stroke-width:1}"
    ".fg-svg .fg-is.fg-fits{fill:var(--fg-fits)}"
    ".fg-svg .fg-is.fg-fails{fill:var(--fg-fails)}"
    ".fg-svg .fg-is.fg-unknown{fill:var(--fg-unknown)}"
    ".fg-svg .fg-box{fill:var(--fg-panel);stroke:var(--fg-ink);stroke-width:1.2}"
)

#: Elements of a drawing, and how far down they reach.
Drawn = tuple[list[ET.Element], float]


@dataclass(frozen=True, slots=True)
class _Span:
    """A row of a number line: from where to where [mm], and the class it is drawn with."""

    name: str
    lo: float
    hi: float
    klass: str


def _mm(value: float) -> str:
    return f"{value:.2f}".replace("-", "−") if abs(value) >= 5e-3 else "0.00"


def interval_text(lo: float, hi: float) -> str:
    """Return an interval of lengths as people read it.

    Examples
    --------
    >>> interval_text(0.0, 0.35), interval_text(2.0, math.inf)
    ('0.00 to 0.35 mm', '2.00 mm or more')
    """
    if math.isfinite(lo) and math.isfinite(hi):
        return f"{_mm(lo)} mm" if hi - lo < 5e-3 else f"{_mm(lo)} to {_mm(hi)} mm"
    if math.isfinite(lo):
        return f"{_mm(lo)} mm or more"
    return f"{_mm(hi)} mm or less" if math.isfinite(hi) else "not known"


def _line(spans: Sequence[_Span], top: float) -> Drawn:
    """Return rows over one number line, to scale; an open end runs out of the drawing."""
    ends = [end for s in spans for end in (s.lo, s.hi) if math.isfinite(end)]
    low, high = min(ends, default=0.0), max(ends, default=0.0)
    room = max((high - low) * 0.15, 0.05)
    low, high = low - room, high + room

    def x(value: float) -> float:
        share = (min(max(value, low), high) - low) / (high - low)
        return _LEFT + share * (_RIGHT - _LEFT)

    made: list[ET.Element] = []
    bottom = top + _ROW * len(spans)
    for tick in ticks(low, high):
        at = number(x(tick))
        made.append(element("path", d=f"M{at} {number(top)}V{number(bottom)}", klass="fg-limit"))
        label = f"{tick:g}".replace("-", "−")
        made.append(element("text", label, x=x(tick), y=bottom + 14, text_anchor="middle"))
    made.append(
        element("path", d=f"M{number(_LEFT)} {number(bottom)}H{number(_RIGHT)}", klass="fg-rule")
    )
    # Clear of a tick that stands at the very end of the axis.
    made.append(element("text", "mm", x=_LEFT - 24, y=bottom + 14, text_anchor="end"))
    for n, span in enumerate(spans):
        y = top + n * _ROW
        told = interval_text(span.lo, span.hi)
        made.append(element("text", shorten(span.name, _NAME), x=12, y=y + 12, klass="fg-muted"))
        made.append(element("text", told, x=12, y=y + 25, klass="fg-strong"))
        left, right = x(span.lo), x(span.hi)
        made.append(
            element(
                "rect",
                element("title", f"{span.name}: {told}"),
                x=left,
                y=y + 7,
                width=max(right - left, 2.5),
                height=16,
                klass=span.klass,
            )
        )
    return made, bottom + 24


def _measured(name: str) -> Callable[[Clash, float], Drawn]:
    """Return how a rule is drawn whose lengths come to one interval."""

    def draw(clash: Clash, top: float) -> Drawn:
        lo, hi = clash.interval_mm or (-math.inf, math.inf)
        least, most = clash.wanted_mm or (-math.inf, math.inf)
        return _line(
            (
                _Span("wanted", least, most, "fg-band"),
                _Span(name, lo, hi, f"fg-is {verdict_class(clash.verdict)}"),
            ),
            top,
        )

    return draw


def _box(x: float, y: float, lines: Sequence[str], *, guess: bool) -> list[ET.Element]:
    made = [
        element("rect", x=x, y=y, width=260, height=44, rx=5, klass="fg-box" + " fg-guess" * guess)
    ]
    for n, line in enumerate(lines):
        klass = "fg-muted" if n == 0 else "fg-strong"
        made.append(element("text", shorten(line, 38), x=x + 10, y=y + 18 + n * 17, klass=klass))
    return made


def _sign(x: float, y: float, sign: str, verdict: Verdict) -> ET.Element:
    klass = f"fg-head {verdict_class(verdict)}"
    return element("text", sign, x=x, y=y, text_anchor="middle", klass=klass)


def _words(clash: Clash, top: float) -> Drawn:
    """Return two words side by side, with whether they are the same."""
    made: list[ET.Element] = []
    for n, figure in enumerate(clash.figures[:2]):
        word = figure.word or "not known"
        made += _box(12 + n * 320, top, (figure.option.called, word), guess=not figure.word)
    made.append(_sign(302, top + 28, _BETWEEN[clash.verdict], clash.verdict))
    return made, top + 54


def _presence(clash: Clash, top: float) -> Drawn:
    """Return what has to be there, or must not, and whether it is."""
    subject = clash.joint.subject
    if subject is None:
        return [], top
    option = clash.options.get(subject.role)
    name = (subject.feature or subject.role).replace("_", " ")
    there = clash.verdict
    if clash.joint.rule == "absent":
        there = Verdict(Verdict.FITS - there)
    state = {Verdict.FITS: "is there", Verdict.FAILS: "is not there"}.get(there, "not known")
    whose = "" if option is None or subject.feature is None else f" of {option.called}"
    made = _box(12, top, (f"{name}{whose}", state), guess=there is not Verdict.FITS)
    made.append(_sign(302, top + 28, SIGNS[clash.verdict], clash.verdict))
    return made, top + 54


def _one_figure(clash: Clash, top: float) -> Drawn:
    """Return what each joint takes of a figure that nobody knows, on one number line."""
    klass = f"fg-is {verdict_class(clash.verdict)}"
    spans = [_Span(j.title, lo, hi, klass) for j, lo, hi in wanted_of_unknown(clash)]
    return _line(spans, top) if spans else ([], top)


#: How each rule is drawn below its figures.
DRAWN: Mapping[str, Callable[[Clash, float], Drawn]] = {
    "clearance": _measured("clearance"),
    "closes-by-slot": _measured("clearance"),
    "at-least": _measured("longer by"),
    "equal": _words,
    "key": _words,
    "present": _presence,
    "absent": _presence,
    "nest": _measured("to spare"),
    "stack": _measured("together"),
    "one-figure": _one_figure,
}


def joint_svg(clash: Clash) -> str:
    """Return a joint with its figures, and what they come to, as SVG.

    Parameters
    ----------
    clash : Clash
        The joint with its verdict; one that fits can be drawn as well.

    Returns
    -------
    str
        An SVG element, with a text alternative.
    """
    heading = capital(clash.joint.title)
    verdict = verdict_text(clash.verdict, clash.margin_mm)
    figures, named = list[str](), set[str]()
    for f in clash.figures:
        if f.presence is not Presence.ABSENT or f.argument == "slot":
            text, part = figure_text(f), f.option.part
            if part is not None and part.name and part.sku in named:
                text = text.replace(part.called, part.name)  # its number stands above already
            named.add("" if part is None else part.sku)
            figures.append(text)
    y = 66.0 + _LINE * len(figures)
    below, bottom = DRAWN[clash.joint.rule](clash, y - 8)
    told = f"{heading}: {verdict}. {'; '.join(figures)}."
    if clash.interval_mm is not None and clash.wanted_mm is not None:
        told += f" It comes to {interval_text(*clash.interval_mm)}, where "
        told += f"{interval_text(*clash.wanted_mm)} is wanted."
    root = drawing(
        f"{heading}, {verdict}",
        told,
        size=(_WIDTH, bottom + 6),
        identity=identity_of(told),
        css=_CSS,
    )
    root.append(element("text", shorten(heading, 84), x=12, y=20, klass="fg-head"))
    root.append(
        element("text", verdict, x=12, y=40, klass=f"fg-strong {verdict_class(clash.verdict)}")
    )
    root.extend(text_lines((shorten(figure, _ACROSS) for figure in figures), 12, 60, _LINE))
    root.extend(below)
    return write(root)
