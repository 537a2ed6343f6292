"""A small chart of a few lines over named steps, as SVG with its figures in words.

For charts that nobody has to click: one of these is some kilobytes and stands at once, where
an interactive chart loads a library of its own for each.
"""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Sequence

from fitgraph.draw.drawing import drawing, identity_of
from fitgraph.draw.svg import element, number, write
from fitgraph.records import dataclass

#: Size of the drawing, and the plot's margins: left, top, right, bottom.
WIDTH, HEIGHT = 680.0, 280.0

#: Its width for a narrow window.
NARROW = 380.0

#: Height of a further line of the legend.
_LINE = 20.0
_LEFT, _TOP, _RIGHT, _BOTTOM = 66.0, 40.0, 24.0, 54.0

#: Marks of the lines, one after the other, with the dashes of their lines. Circles and squares
#: are parts on the map beside such charts.
_MARKS = (("up", ""), ("down", "2 5"), ("post", "8 4"))

#: Steps of an axis that people can reckon with.
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Series:
    """A line of a chart.

    Parameters
    ----------
    name : str
        What it is.
    values : tuple of float
        One for each step.
    labels : tuple of str
        What stands over each point; empty for nothing.
    """

    name: str
    values: tuple[float, ...]
    labels: tuple[str, ...] = ()


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round values that lie between two, their ends included.

    Examples
    --------
    >>> ticks(169, 236)
    [180.0, 200.0, 220.0]
    """
    if high <= low:
        return [low]
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(s * power for s in _STEPS if s * power >= rough - 1e-12)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(n * step, 10) for n in range(first, last + 1)]


def _mark(shape: str, x: float, y: float, klass: str) -> ET.Element:
    if shape == "post":
        return element("rect", x=x - 2, y=y - 6, width=4, height=12, klass=klass)
    way = 1 if shape == "up" else -1
    path = (
        f"M{number(x)} {number(y - 6 * way)}L{number(x + 6)} {number(y + 5 * way)}H{number(x - 6)}Z"
    )
    return element("path", d=path, klass=klass)


#: What is marked: the part that is looked at, or several together; as on the map beside it.
_RINGS = {
    "diamond": "M{x} {y}m0 -{r}l{r} {r}l-{r} {r}l-{r} -{r}Z",
    "hexagon": "M{x} {y}m-{h} -{r}h{r}l{h} {r}l-{h} {r}h-{r}l-{h} -{r}Z",
}


def _ring(sign: str, x: float, y: float, radius: float) -> ET.Element:
    """Return a sign around a point."""
    path = _RINGS[sign].format(x=number(x), y=number(y), r=number(radius), h=number(radius / 2))
    return element("path", d=path, fill="none", klass="fg-ring")


def _legend(
    lines: Sequence[Series], meaning: str, sign: str, width: float
) -> tuple[list[ET.Element], float]:
    """Return what the marks mean, and how much room its further lines take.

    A single line needs no name; the axis has it.
    """
    names = [line.name for line in lines] if len(lines) > 1 else []
    made: list[ET.Element] = []
    at, lower = _LEFT, 0.0
    for n, name in enumerate([*names, meaning]):
        if not name:
            continue
        wide = 40 + 6.4 * len(name)
        if at > _LEFT and at + wide > width:
            at, lower = _LEFT, lower + _LINE
        if n < len(names):
            made.append(_mark(_MARKS[n][0], at + 6, 16 + lower, f"fg-mark-{n}"))
            made.append(element("text", name, x=at + 18, y=20 + lower))
        else:
            made.append(_ring(sign, at + 8, 16 + lower, 8))
            made.append(element("text", name, x=at + 24, y=20 + lower))
        at += wide
    return made, lower


_CSS = (
    ".fg-svg .fg-line-0{fill:none;stroke:var(--fg-fits);stroke-width:2}"
    ".fg-svg .fg-line-1{fill:none;stroke:var(--fg-muted);stroke-width:2}"
    ".fg-svg .fg-line-2{fill:none;stroke:var(--fg-fails);stroke-width:2}"
    ".fg-svg .fg-mark-0{fill:var(--fg-fits)}"
    ".fg-svg .fg-mark-1{fill:var(--fg-muted)}"
    ".fg-svg .fg-mark-2{fill:var(--fg-fails)}"
    ".fg-svg .fg-ring{stroke:var(--fg-fails);stroke-width:2.5}"
    ".fg-svg .fg-grid{stroke:var(--fg-line);stroke-opacity:.35;stroke-width:1}"
)


def line_chart_svg(
    title: str,
    across: str,
    up: str,
    steps: Sequence[str],
    lines: Sequence[Series],
    *,
    marked: int | None = None,
    meaning: str = "",
    sign: str = "diamond",
    ends: tuple[float, float] | None = None,
    narrow: bool = False,
) -> str:
    """Return a chart.

    Parameters
    ----------
    title : str
        What it shows, for those who do not see it.
    across, up : str
        Labels of the axes, with units.
    steps : sequence of str
        Names of the steps along the lower axis.
    lines : sequence of Series
        At most three.
    marked : int, optional
        Place of the step that is marked on the first line.
    meaning : str
        What the mark means.
    sign : {'diamond', 'hexagon'}
        The mark.
    ends : tuple of float, optional
        Ends of the upright axis; by default as far as the values go, and a little more.
    narrow : bool
        Whether it is as narrow as a small window.

    Raises
    ------
    ValueError
        If there are more lines than marks to tell them apart.
    """
    if len(lines) > len(_MARKS):
        raise ValueError(f"no more than {len(_MARKS)} lines can be told apart")
    values = [v for line in lines for v in line.values]
    low, high = ends or (min(values, default=0.0), max(values, default=1.0))
    if ends is None:
        room = max((high - low) * 0.2, 1.0)
        low, high = low - room if low - room > 0 else min(low, 0.0), high + room
    width = NARROW if narrow else WIDTH
    legend, lower = _legend(lines, meaning if marked is not None else "", sign, width)
    right, top, bottom = width - _RIGHT, _TOP + lower, HEIGHT + lower - _BOTTOM
    inset = 14 if narrow else 30

    def x(at: int) -> float:
        inner = right - _LEFT - 2 * inset
        return _LEFT + inset + inner * at / max(len(steps) - 1, 1)

    def y(value: float) -> float:
        return bottom - (bottom - top) * (value - low) / (high - low)

    told = "; ".join(
        f"{line.name}: "
        + ", ".join(f"{s} {v:,.4g}" for s, v in zip(steps, line.values, strict=True))
        for line in lines
    )
    if marked is not None:
        told += f". {meaning}: {steps[marked]}"
    root = drawing(
        title,
        f"{up} over {across}. {told}.",
        size=(width, HEIGHT + lower),
        identity=identity_of(f"{title}{told}") + "n" * narrow,
        css=_CSS,
    )
    for tick in ticks(low, high):
        at = y(tick)
        root.append(
            element("path", d=f"M{number(_LEFT)} {number(at)}H{number(right)}", klass="fg-grid")
        )
        root.append(element("text", f"{tick:,g}", x=_LEFT - 8, y=at + 4, text_anchor="end"))
    for n, name in enumerate(steps):
        root.append(element("text", name, x=x(n), y=bottom + 18, text_anchor="middle"))
    middle = (_LEFT + right) / 2
    root.append(element("text", across, x=middle, y=bottom + 42, text_anchor="middle"))
    turned = f"rotate(-90 16 {number((top + bottom) / 2)})"
    root.append(
        element("text", up, x=16, y=(top + bottom) / 2, text_anchor="middle", transform=turned)
    )
    for n, line in enumerate(lines):
        shape, dash = _MARKS[n]
        points = " ".join(f"{number(x(k))},{number(y(v))}" for k, v in enumerate(line.values))
        style = {"stroke_dasharray": dash} if dash else {}
        root.append(element("polyline", points=points, klass=f"fg-line-{n}", **style))
        for k, value in enumerate(line.values):
            root.append(_mark(shape, x(k), y(value), f"fg-mark-{n}"))
        for k, label in enumerate(line.labels):
            root.append(
                element(
                    "text",
                    label,
                    x=x(k),
                    y=y(line.values[k]) - 16,
                    text_anchor="middle",
                    klass="fg-strong",
                )
            )
    if marked is not None and lines:
        root.append(_ring(sign, x(marked), y(lines[0].values[marked]), 12))
    root.extend(legend)
    return write(root)
