"""The table as text and as Markdown, and the curve of growth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from tests.bench.line import Line

HEAD = ("what", "bar", "found", "bar met")


def _cells(line: Line) -> tuple[str, str, str, str]:
    met = {True: "yes", False: "NO", None: ""}[line.met]
    return line.what, line.bar, line.found, met


def as_markdown(lines: Sequence[Line]) -> str:
    """Return the table in Markdown."""
    rows = [HEAD, ("---",) * len(HEAD), *map(_cells, lines)]
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


def as_text(line: Line) -> str:
    """Return a line for the screen."""
    what, bar, found, met = _cells(line)
    aim = f" [bar: {bar}{'' if not met else ', met: ' + met}]" if bar else ""
    return f"{what}: {found}{aim}"


def growth_svg(points: Sequence[tuple[int, float, float]]) -> str:
    """Return both curves on logarithmic scales, with a line of slope one to compare."""
    width, height, left, top, right, bottom = 640, 400, 70, 20, 150, 50
    xs = [p[0] for p in points]
    ys = [s * 1000 for p in points for s in p[1:]]
    x_low, x_high = min(xs) / 1.2, max(xs) * 1.2
    y_low, y_high = 10 ** math.floor(math.log10(min(ys))), 10 ** math.ceil(math.log10(max(ys)))

    def x(value: float) -> float:
        share = math.log(value / x_low) / math.log(x_high / x_low)
        return round(left + share * (width - left - right), 1)

    def y(value: float) -> float:
        share = math.log(value / y_low) / math.log(y_high / y_low)
        return round(height - bottom - share * (height - top - bottom), 1)

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        'font-family="sans-serif" font-size="13" fill="#767676" stroke="none">',
        "<title>Time to compile and to count, by number of parts</title>",
        "<desc>Both axes logarithmic. "
        + "; ".join(
            f"{n} parts: compile {c * 1e3:.0f} ms, count {k * 1e3:.1f} ms" for n, c, k in points
        )
        + ".</desc>",
    ]
    level = y_low
    while level <= y_high:
        out.append(
            f'<path d="M{left} {y(level)}H{width - right}" stroke="#767676" stroke-opacity=".3"/>'
            f'<text x="{left - 8}" y="{y(level) + 4}" text-anchor="end">{level:g} ms</text>'
        )
        level *= 10
    for n in xs:
        out.append(f'<text x="{x(n)}" y="{height - bottom + 20}" text-anchor="middle">{n:,}</text>')
    out.append(
        f'<text x="{(left + width - right) / 2}" y="{height - 8}" text-anchor="middle">parts</text>'
    )
    for name, at, colour in (("compile", 1, "#0b7285"), ("count after a pick", 2, "#c2410c")):
        line = [(x(p[0]), y(p[at] * 1000)) for p in points]
        path = "M" + "L".join(f"{a} {b}" for a, b in line)
        out.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="2"/>')
        out += [f'<circle cx="{a}" cy="{b}" r="3.5" fill="{colour}"/>' for a, b in line]
        out.append(
            f'<text x="{line[-1][0] + 10}" y="{line[-1][1] + 4}" fill="{colour}">{name}</text>'
        )
        # What linear growth from the last point back would be.
        start = points[-1][at] * 1000 * xs[0] / xs[-1]
        if start >= y_low:
            out.append(
                f'<path d="M{x(xs[0])} {y(start)}L{line[-1][0]} {line[-1][1]}" fill="none" '
                f'stroke="{colour}" stroke-dasharray="4 4" stroke-opacity=".6"/>'
            )
    out.append(f'<text x="{width - right + 10}" y="{top + 8}">dashed: linear</text></svg>')
    return "\n".join(out) + "\n"


def _time(milliseconds: float) -> str:
    """Return a time as a mark on an axis."""
    return f"{milliseconds:g} ms" if milliseconds < 1000 else f"{milliseconds / 1000:g} s"


def delay_svg(curves: Mapping[str, Sequence[tuple[int, float]]]) -> str:
    """Return seconds to the k-th build on logarithmic scales, a curve for each name."""
    width, height, left, top, right, bottom = 640, 400, 70, 20, 150, 50
    xs = [k for line in curves.values() for k, _ in line]
    ys = [s * 1000 for line in curves.values() for _, s in line]
    x_low, x_high = 10 ** math.floor(math.log10(min(xs))), max(xs) * 1.2
    y_low, y_high = 10 ** math.floor(math.log10(min(ys))), 10 ** math.ceil(math.log10(max(ys)))

    def x(value: float) -> float:
        share = math.log(value / x_low) / math.log(x_high / x_low)
        return round(left + share * (width - left - right), 1)

    def y(value: float) -> float:
        share = math.log(value / y_low) / math.log(y_high / y_low)
        return round(height - bottom - share * (height - top - bottom), 1)

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        'font-family="sans-serif" font-size="13" fill="#767676" stroke="none">',
        "<title>Time to the k-th cheapest build</title>",
    ]
    level = y_low
    while level <= y_high:
        out.append(
            f'<path d="M{left} {y(level)}H{width - right}" stroke="#767676" stroke-opacity=".35"/>'
            f'<text x="{left - 8}" y="{y(level) + 4}" text-anchor="end">{_time(level)}</text>'
        )
        level *= 10
    mark = x_low
    while mark <= x_high:
        out.append(
            f'<text x="{x(mark)}" y="{height - bottom + 20}" text-anchor="middle">{mark:,}</text>'
        )
        mark *= 10
    out.append(
        f'<text x="{(left + width - right) / 2}" y="{height - 8}" text-anchor="middle">'
        "the k-th build</text>"
    )
    colours = ("#0b7285", "#c2410c", "#5f3dc4", "#2b8a3e")
    ends = sorted(curves, key=lambda n: -curves[n][-1][1])
    lowest = -math.inf
    for name in ends:
        line = [(x(k), y(s * 1000)) for k, s in curves[name]]
        colour = colours[list(curves).index(name) % len(colours)]
        path = "M" + "L".join(f"{a} {b}" for a, b in line)
        out.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="2"/>')
        out += [f'<circle cx="{a}" cy="{b}" r="3.5" fill="{colour}"/>' for a, b in line]
        # Names that would cover one another move apart.
        lowest = max(line[-1][1] + 4, lowest + 16)
        out.append(
            f'<text x="{line[-1][0] + 10}" y="{round(lowest, 1)}" fill="{colour}">{name}</text>'
        )
    out.append("</svg>")
    return "\n".join(out) + "\n"
