"""Charts of the gaps in stock: unmet demand by month, and what more money buys."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import plotly.graph_objects as go

from fitgraph.lab.charts import MARKS, SHAPES, blank, point_style
from fitgraph.model import Vocabulary
from fitgraph.report.purchases import serves_text
from fitgraph.report.standing_words import WORDS
from fitgraph.stock import OrderPlan, Standing

#: Fillings of stacked bars, so that no colour says anything alone, with their colours. A standing
#: is filled as in the matrix on the same page, where solid is what stock serves and nothing what
#: nobody sells; groups have fillings that mean nothing there.
STANDING_FILLINGS = {
    Standing.CATALOGUE: ("/", MARKS[0]),
    Standing.POSSIBLY: (".", MARKS[2]),
    Standing.NEITHER: ("", "rgba(0,0,0,0)"),
}
FILLINGS = (
    *(("x", MARKS[0]), ("-", MARKS[1]), ("|", MARKS[2]), ("+", MARKS[0])),
    *(("x", MARKS[1]), ("-", MARKS[2]), ("|", MARKS[0])),
)


#: Standings in the order of their bars.
_STANDINGS = tuple(STANDING_FILLINGS)


class TrendChart:
    """Enquiries a month that stock does not serve, stacked by group, and all that were made."""

    def __init__(self) -> None:
        bars = []
        for shape, colour in (*STANDING_FILLINGS.values(), *FILLINGS):
            pattern = {"shape": shape, "fillmode": "replace", "size": 7, "solidity": 0.35}
            edge = {"width": 1, "color": colour if shape else MARKS[2]}
            marker = {"color": colour, "line": edge, "pattern": pattern}
            bars.append(go.Bar(visible=False, marker=marker, hoverinfo="x+y+name"))
        asked = go.Scatter(
            name="all enquiries",
            mode="lines+markers",
            line={"color": MARKS[2], "dash": "dot", "width": 2},
            marker={"symbol": SHAPES[2], "size": 7, "color": MARKS[2]},
            hoverinfo="x+y+name",
        )
        self.widget = blank("Month of the enquiry", "Enquiries", [*bars, asked], height=340)
        self.figure = self.widget.figure
        with self.widget.change() as figure:
            figure.update_layout(barmode="stack", bargap=0.35)
            figure.update_xaxes(type="category", tickangle=0)
            figure.update_yaxes(rangemode="tozero")

    def show(
        self,
        months: Sequence[str],
        series: Mapping[str, Sequence[float]],
        asked: Sequence[float],
        *,
        by_standing: bool = False,
    ) -> None:
        """Show numbers by month; groups beyond those that can be told apart are put together.

        Parameters
        ----------
        months : sequence of str
            In order.
        series : mapping of str to sequence of float
            Unmet enquiries of each group, a number a month.
        asked : sequence of float
            All enquiries.
        by_standing : bool
            Whether a group is how its enquiries could be served.
        """
        if by_standing:
            shown = {n: (WORDS[s], series.get(WORDS[s], ())) for n, s in enumerate(_STANDINGS)}
        else:
            groups = _at_most(series, len(FILLINGS))
            shown = dict(enumerate(groups, start=len(STANDING_FILLINGS)))
        with self.widget.change():
            for n in range(len(STANDING_FILLINGS) + len(FILLINGS)):
                bars = self.figure.data[n]
                name, values = shown.get(n, ("", ()))
                bars.visible = bool(values)
                bars.name = _plain(name)
                bars.x, bars.y = list(months) if values else [], list(values)
            line = self.figure.data[-1]
            line.x, line.y = list(months), list(asked)


def _at_most(series: Mapping[str, Sequence[float]], most: int) -> list[tuple[str, Sequence[float]]]:
    """Return at most so many series; the last is then that of all others together."""
    listed = list(series.items())
    if len(listed) <= most:
        return listed
    rest = [sum(values) for values in zip(*(v for _, v in listed[most - 1 :]), strict=True)]
    return [*listed[: most - 1], ("all others", rest)]


def _plain(name: str) -> str:
    """Return a group's name without what a chart would take for a figure or for markup."""
    kept = name.replace("%", "").replace("{", "(").replace("}", ")")
    return kept.replace("<", "").replace(">", "")


class CurveChart:
    """What a sum spent on orders serves: a staircase, with the chosen step marked.

    Parameters
    ----------
    vocabulary : Vocabulary
        Gives the currency.
    """

    def __init__(self, vocabulary: Vocabulary) -> None:
        self._vocabulary = vocabulary
        self.widget = blank(
            f"Spent on orders and deliveries, {vocabulary.currency}",
            "Enquiries served from stock and orders",
            [
                go.Scatter(
                    name="the most a sum can serve",
                    mode="lines+markers",
                    line={"shape": "hv", "color": MARKS[0], "width": 2},
                    marker=point_style(0, 10),
                    hovertemplate="%{text}<extra></extra>",
                ),
                go.Scatter(
                    name="chosen",
                    mode="markers",
                    marker=point_style(1, 16, outline=2),
                    hoverinfo="skip",
                ),
            ],
        )
        self.figure = self.widget.figure

    def show(self, plans: Sequence[OrderPlan]) -> None:
        """Show the steps."""
        with self.widget.change():
            steps = self.figure.data[0]
            steps.x = [self._vocabulary.major(p.cost) for p in plans]
            steps.y = [p.served for p in plans]
            steps.text = [serves_text(p, self._vocabulary) for p in plans]

    def mark(self, plan: OrderPlan | None) -> None:
        """Mark the plan that is chosen."""
        shown = [] if plan is None else [plan]
        with self.widget.change():
            chosen = self.figure.data[1]
            chosen.x = [self._vocabulary.major(p.cost) for p in shown]
            chosen.y = [p.served for p in shown]
