"""The map of what could be made, and what its signs mean."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial

import numpy as np
import plotly.graph_objects as go
from markupsafe import Markup

from fitgraph.adapters import Region
from fitgraph.adapters.trials import Plane
from fitgraph.lab.adapter_entries import Entry, Mark
from fitgraph.lab.charts import MARKS, blank

#: The shape and the colour of each kind of part, so that neither says anything alone.
LOOKS: Mapping[Mark, tuple[str, str]] = {
    Mark.GAINS: ("circle", MARKS[0]),
    Mark.JOINS: ("square", MARKS[2]),
    Mark.IDLE: ("circle-open", MARKS[2]),
    Mark.WAITING: ("circle-open-dot", MARKS[2]),
    Mark.BARRED: ("x-thin", MARKS[2]),
}

#: Diameters of the smallest and the largest dot, in px.
_LEAST_PX, _MOST_PX = 10, 34

#: Room around all parts on the map, as a share of their spread and at least so many mm.
_ROOM, _LEAST_ROOM_MM = 0.18, 0.8

#: The same at the sides, where figures stand beside dots in narrow windows too.
_ROOM_BESIDE = 0.36

#: Between a dot and its label, wide enough for the sign around the one that is looked at.
_ROOM_FOR_SIGNS = "\u2003\u2002"

#: Labels nearer to one another than these shares of the map are one blur: across, and up.
_NEAR = (0.12, 0.05)

#: Traces of the map behind the kinds of parts: shaded cells and the wall.
_HEAT, _WALL = 0, 1


def diameter_px(value: float, most: float, *, steep: bool) -> float:
    """Return how wide a dot is drawn: its area follows the value, or its logarithm.

    Parameters
    ----------
    value, most : float
        Its value, and the largest.
    steep : bool
        Whether values differ by powers of ten.
    """
    if value <= 0 or most <= 0:
        return _LEAST_PX
    share = math.log1p(value) / math.log1p(most) if steep else value / most
    return _LEAST_PX + (_MOST_PX - _LEAST_PX) * math.sqrt(share)


def _ring(symbol: str, size: int, width: int) -> dict[str, object]:
    """Return an open sign that stands around dots."""
    return {"symbol": symbol, "color": MARKS[1], "size": size, "line": {"width": width}}


def _window(values: Sequence[float], share: float = _ROOM) -> tuple[float, float]:
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    room = max((high - low) * share, _LEAST_ROOM_MM)
    return low - room, high + room


class AdapterChart:
    """Inner against outer diameter: shaded cells, the wall, and a dot for each part.

    Parameters
    ----------
    picked : callable
        Is told the key of a part that was clicked.
    """

    def __init__(self, picked: Callable[[str], None]) -> None:
        heat = go.Heatmap(
            name="counterparts on both sides",
            showscale=False,
            hoverongaps=False,
            colorscale=[[0, "rgba(122,129,139,0.10)"], [1, "rgba(122,129,139,0.5)"]],
            hovertemplate="%{text}<extra></extra>",
        )
        wall = go.Scatter(
            name="wall too thin",
            mode="lines",
            fill="toself",
            fillcolor="rgba(0,0,0,0)",
            fillpattern={
                "shape": "/",
                "size": 9,
                "solidity": 0.12,
                "fgcolor": MARKS[1],
                "bgcolor": "rgba(0,0,0,0)",
            },
            line={"color": MARKS[1], "width": 2, "dash": "dash"},
            hoverinfo="skip",
        )
        dots = [
            go.Scatter(
                name=kind.value,
                mode="markers+text",
                textposition="middle left",
                marker={
                    "symbol": shape,
                    "color": colour,
                    "line": {"width": 2, "color": colour if "x" in shape else "#ffffff"},
                },
                hovertemplate="%{hovertext}<extra></extra>",
            )
            for kind, (shape, colour) in LOOKS.items()
        ]
        best = go.Scatter(
            name="best together",
            mode="markers+text",
            textposition="middle right",
            marker=_ring("hexagon2-open", 30, 2),
            hoverinfo="skip",
        )
        chosen = go.Scatter(
            name="looked at",
            mode="markers",
            marker=_ring("diamond-open", 42, 3),
            hoverinfo="skip",
        )
        self.widget = blank("mm", "mm", [heat, wall, *dots, best, chosen], height=460)
        self.figure = self.widget.figure
        # The legend stands above it in words that wrap, which plotly's does not.
        with self.widget.change() as figure:
            figure.update_layout(margin={"l": 64, "r": 12, "t": 12, "b": 56}, showlegend=False)
        self._span = (1.0, 1.0)
        self._of_kind = {kind: 2 + n for n, kind in enumerate(LOOKS)}
        self._best, self._chosen = 2 + len(dots), 3 + len(dots)
        for at in self._of_kind.values():
            self.widget.on_press(at, partial(self._clicked, at))
        self._picked = picked

    def _clicked(self, trace: int, point: int) -> None:
        self._picked(self.figure.data[trace].customdata[point])

    def plane(self, plane: Plane, titles: tuple[str, str], shown: Sequence[Entry]) -> None:
        """Show the cells and the wall, in the window that the parts take up."""
        area = plane.region
        x = _window([e.x for e in shown], _ROOM_BESIDE)
        y = _window([e.y for e in shown])
        self._span = (x[1] - x[0], y[1] - y[0])
        with self.widget.change():
            self.figure.layout.xaxis.title.text = titles[0]
            self.figure.layout.yaxis.title.text = titles[1]
            self.figure.layout.xaxis.range = x
            self.figure.layout.yaxis.range = y
            self.figure.layout.yaxis.showticklabels = area.up is not None
            self._heat(area, x, y)
            self._wall(area, plane.make.least_wall, x, y)

    def _heat(self, area: Region, x: tuple[float, float], y: tuple[float, float]) -> None:
        heat = self.figure.data[_HEAT]
        columns = _within(area.columns, x)
        rows = _within(area.rows, y) if area.up is not None else range(1)
        pairs = area.pairs
        shade = np.log1p(pairs).tolist()
        heat.z = [[shade[r][c] if pairs[r, c] else None for c in columns] for r in rows]
        heat.x = [float(area.columns[c]) for c in columns] + [float(area.columns[columns[-1] + 1])]
        ends = area.rows if area.up is not None else np.array(y)
        heat.y = [float(ends[r]) for r in rows] + [float(ends[rows[-1] + 1])]
        across = [
            f"{area.columns[c]:.2f} to {area.columns[c + 1]:.2f} mm: "
            f"{area.fits_across[c]} sizes of counterparts"
            for c in columns
        ]
        up = [
            f"<br>{ends[r]:.2f} to {ends[r + 1]:.2f} mm: {area.fits_up[r]}" if area.up else ""
            for r in rows
        ]
        heat.text = [[one + other for one in across] for other in up]

    def _wall(
        self, area: Region, least: float, x: tuple[float, float], y: tuple[float, float]
    ) -> None:
        wall = self.figure.data[_WALL]
        wall.visible = bool(len(area.wall))
        notes = []
        if len(area.wall):
            low, high = y[0] - 5, x[1] + 5
            points = [(float(a), float(b)) for a, b in area.wall if x[0] - 5 <= a <= high]
            points = [(x[0] - 5, float(np.interp(x[0] - 5, *area.wall.T))), *points]
            points = [*points, (high, float(np.interp(high, *area.wall.T)))]
            corners = [*points, (high, low), (x[0] - 5, low), points[0]]
            wall.x, wall.y = [a for a, _ in corners], [b for _, b in corners]
            wall.name = f"wall under {least:g} mm"
            notes = [
                {
                    "text": f"no part: wall under {least:g} mm",
                    "x": 0.97,
                    "y": 0.03,
                    "xref": "paper",
                    "yref": "paper",
                    "xanchor": "right",
                    "yanchor": "bottom",
                    "showarrow": False,
                    "bgcolor": "rgba(127,127,127,0.25)",
                }
            ]
        self.figure.layout.annotations = notes

    def parts(
        self,
        shown: Sequence[Entry],
        value: Callable[[Entry], float],
        text: Callable[[Entry], str],
        told: Callable[[Entry], str],
        *,
        steep: bool,
    ) -> None:
        """Show a dot for each part.

        Parameters
        ----------
        shown : sequence of Entry
            The parts, the best first; of those at one place the first is the dot.
        value : callable
            What decides the size of a dot.
        text, told : callable
            What stands over it, and what it says when it is pointed at.
        steep : bool
            Whether values differ by powers of ten.
        """
        places: dict[tuple[float, float], list[Entry]] = {}
        for entry in shown:
            places.setdefault(entry.place, []).append(entry)
        first = [max(of, key=value) for of in places.values()]
        most = max(map(value, first), default=0.0)
        labelled = self._apart(e for e in sorted(first, key=value, reverse=True) if text(e))
        with self.widget.change():
            for kind, at in self._of_kind.items():
                mine = [e for e in first if e.kind is kind]
                # Small dots last, so that they lie above the large ones.
                mine.sort(key=lambda e: -value(e))
                dots = self.figure.data[at]
                dots.x, dots.y = [e.x for e in mine], [e.y for e in mine]
                dots.marker.size = [diameter_px(value(e), most, steep=steep) for e in mine]
                dots.text = [
                    f"{text(e)}{_ROOM_FOR_SIGNS}" if e.key in labelled else "" for e in mine
                ]
                dots.customdata = [e.key for e in mine]
                dots.hovertext = ["<br>".join(map(told, places[e.place])) for e in mine]
                dots.visible = bool(mine)

    def _apart(self, ranked: Iterable[Entry]) -> frozenset[str]:
        """Return which of some parts are labelled: none so near to a better one that both blur."""
        wide, high = _NEAR[0] * self._span[0], _NEAR[1] * self._span[1]
        kept: list[Entry] = []
        for one in ranked:
            if not any(abs(one.x - k.x) < wide and abs(one.y - k.y) < high for k in kept):
                kept.append(one)
        return frozenset(entry.key for entry in kept)

    def mark(self, chosen: Entry | None, best: Sequence[Entry]) -> None:
        """Mark the part that is looked at, and the best few together by number."""
        with self.widget.change():
            one = self.figure.data[self._chosen]
            one.x = [] if chosen is None else [chosen.x]
            one.y = [] if chosen is None else [chosen.y]
            few = self.figure.data[self._best]
            few.x, few.y = [e.x for e in best], [e.y for e in best]
            few.text = [f"{_ROOM_FOR_SIGNS}no. {n}" for n in range(1, len(best) + 1)]
            few.visible = bool(best)


#: The signs of the legend as paths in a box of 20 by 16 about its middle.
_SIGNS: Mapping[str, str] = {
    "circle": "M4 8A6 6 0 1 0 16 8A6 6 0 1 0 4 8Z",
    "square": "M5 3H15V13H5Z",
    "circle-open": "M4 8A6 6 0 1 0 16 8A6 6 0 1 0 4 8Z",
    "circle-open-dot": "M4 8A6 6 0 1 0 16 8A6 6 0 1 0 4 8ZM9 8A1 1 0 1 0 11 8A1 1 0 1 0 9 8Z",
    "x-thin": "M5 3L15 13M15 3L5 13",
    "hexagon": "M6 1H14L18 8L14 15H6L2 8Z",
    "diamond": "M10 1L17 8L10 15L3 8Z",
    "dash": "M0 8H8M12 8H20",
}


#: One of them beside what it means.
_SIGN = Markup(
    '<span><svg viewBox="0 0 20 16" width="20" height="16" aria-hidden="true"><path d="{}" '
    'fill="{}" stroke="{}" stroke-width="2"/></svg> {}</span>'
)


def legend(kinds: Sequence[Mark], *, wall: bool) -> Markup:
    """Return what the signs on the map mean, as one list that wraps where it is narrow.

    Parameters
    ----------
    kinds : sequence of Mark
        Those on the map.
    wall : bool
        Whether a wall bounds it.
    """
    entries = [(*LOOKS[kind], kind.value) for kind in Mark if kind in kinds]
    entries += [("diamond", MARKS[1], "looked at"), ("hexagon", MARKS[1], "best together")]
    if wall:
        entries.append(("dash", MARKS[1], "the wall is too thin under it"))
    signs = (
        _SIGN.format(_SIGNS[sign], colour if sign in ("circle", "square") else "none", colour, told)
        for sign, colour, told in entries
    )
    return Markup('<p class="fg-legend">{}</p>').format(Markup("").join(signs))


def _within(ends: np.ndarray, window: tuple[float, float]) -> range:
    """Return the cells that a window shows."""
    begin = max(int(np.searchsorted(ends, window[0], side="right")) - 1, 0)
    end = min(int(np.searchsorted(ends, window[1], side="left")), len(ends) - 1)
    return range(begin, max(end, begin + 1))
