"""Charts in one style: the colours of a theme come from the style sheet, see ``look``."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import plotly.graph_objects as go
from plotly.basedatatypes import BaseTraceType

from fitgraph.lab.chart import Chart
from fitgraph.model import Vocabulary
from fitgraph.solve.engine import Build
from fitgraph.solve.histogram import Histogram
from fitgraph.units import show_mass

#: These three stand out from white and from a dark page alike, at least 3 to 1 [1]_, and
#: keep apart for the colour-blind (see fitgraph.draw.style).
#:
#: .. [1] W3C, "Web Content Accessibility Guidelines 2.2", criterion 1.4.11.
MARKS = ("#2f7fc1", "#c05a1c", "#7a818b")

#: A shape for each colour, so that none says anything alone.
SHAPES = ("circle", "diamond", "square")

#: More points than this are thinned out for the chart, evenly along the front.
MOST_POINTS = 400

_AXIS = {"showgrid": True, "zeroline": False, "automargin": True, "fixedrange": True}


def point_style(n: int, size: int, outline: int = 1) -> dict[str, object]:
    """Return how the n-th kind of points is marked: its colour, its shape, a thin outline.

    Parameters
    ----------
    n : int
        From 0; colours and shapes begin again after the last.
    size, outline : int
        In px.
    """
    return {
        "color": MARKS[n % len(MARKS)],
        "symbol": SHAPES[n % len(SHAPES)],
        "size": size,
        "line": {"width": outline, "color": "#ffffff"},
    }


def blank(x: str, y: str, traces: Sequence[BaseTraceType], height: int = 380) -> Chart:
    """Return a chart with labelled axes.

    Parameters
    ----------
    x, y : str
        Labels, with units.
    traces : sequence of trace
        All that it will ever have, still without data.
    height : int
        In px.
    """
    return Chart(
        traces,
        go.Layout(
            height=height,
            margin={"l": 64, "r": 12, "t": 28, "b": 56},
            autosize=True,
            paper_bgcolor="rgba(0,0,0,0)",
            plot_bgcolor="rgba(0,0,0,0)",
            xaxis={**_AXIS, "title": {"text": x}},
            yaxis={**_AXIS, "title": {"text": y}},
            # An entry as wide as its words are drawn, which may be wider than they are measured.
            legend={
                "orientation": "h",
                "yanchor": "bottom",
                "y": 1.0,
                "x": 0,
                "entrywidth": 180,
            },
            hoverlabel={"bgcolor": "#ffffff", "bordercolor": "#1b1f24", "align": "left"},
            dragmode=False,
        ),
    )


def thinned(count: int) -> npt.NDArray[np.intp]:
    """Return the places of at most so many points, the first and the last among them."""
    if count <= MOST_POINTS:
        return np.arange(count)
    return np.unique(np.linspace(0, count - 1, MOST_POINTS).astype(np.intp))


def build_text(build: Build, vocabulary: Vocabulary) -> str:
    """Return price, mass and strength of a build in one line."""
    money = vocabulary.money(build.price)
    mass = "mass not known" if build.mass_g is None else show_mass(build.mass_g)
    bears = "" if build.strength_nm is None else f", tube bears {build.strength_nm:,.0f} N·m"
    return f"{money}, {mass}{bears}"


class FrontChart:
    """Price against mass: where builds lie, those no other betters, and those picked.

    Parameters
    ----------
    vocabulary : Vocabulary
        Gives the currency.
    """

    def __init__(self, vocabulary: Vocabulary) -> None:
        self._vocabulary = vocabulary
        self.widget = blank(
            f"To pay, {vocabulary.currency}",
            "Mass of the whole, g",
            [
                go.Heatmap(
                    name="all builds",
                    showscale=False,
                    hoverongaps=False,
                    xgap=1,
                    ygap=1,
                    colorscale=[[0, "rgba(122,129,139,0.10)"], [1, "rgba(122,129,139,0.65)"]],
                    hovertemplate="%{x:.0f}, %{y:.0f} g<br>%{text} builds<extra></extra>",
                ),
                go.Scatter(
                    name="bettered by no other",
                    mode="markers",
                    marker=point_style(0, 9),
                    hovertemplate="%{text}<extra></extra>",
                ),
                go.Scatter(
                    name="picked",
                    mode="markers+text",
                    textposition="top center",
                    marker=point_style(1, 15, outline=2),
                    hoverinfo="skip",
                ),
            ],
        )
        self.figure = self.widget.figure

    def show(self, spread: Histogram | None, front: Sequence[Build] | None) -> None:
        """Show where builds lie, and the front; None leaves what is shown."""
        with self.widget.change():
            if spread is not None:
                heat = self.figure.data[0]
                builds = spread.builds.T
                # Plain lists with None for nothing: the messages to a page hold no NaN.
                heat.z = [
                    [math.log10(max(b, 1)) if b > 0 else None for b in row]
                    for row in builds.tolist()
                ]
                heat.text = [
                    [f"{'' if spread.exact else 'about '}{b:,.3g}" for b in row] for row in builds
                ]
                x = (spread.price_edges[:-1] + spread.price_edges[1:]) / 2
                heat.x = [self._vocabulary.major(v) for v in x]
                heat.y = ((spread.mass_edges[:-1] + spread.mass_edges[1:]) / 2).tolist()
            if front is not None:
                points = self.figure.data[1]
                places = thinned(len(front))
                shown = [front[n] for n in places]
                points.x = [self._vocabulary.major(b.price) for b in shown]
                points.y = [b.mass_g for b in shown]
                points.text = [build_text(b, self._vocabulary) for b in shown]
                points.customdata = [int(n) for n in places]

    def mark(self, picked: Sequence[Build]) -> None:
        """Mark the builds that are picked, by their number in order."""
        with self.widget.change():
            marks = self.figure.data[2]
            marks.x = [self._vocabulary.major(b.price) for b in picked]
            marks.y = [b.mass_g for b in picked]
            marks.text = [str(n) for n in range(1, len(picked) + 1)]
