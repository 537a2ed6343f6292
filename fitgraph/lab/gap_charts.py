"""Charts of the gaps in stock: unmet demand by month, and what more money buys."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import plotly.graph_objects as go

from fitgraph.lab.charts import MARKS, SHAPES, blank, keep_state
from fitgraph.model import Vocabulary
from fitgraph.stock import Plan
from fitgraph.units import major, show_money

#: Fillings of stacked bars, so that no colour says anything alone.
FILLINGS = ("", "/", ".", "x", "-", "\\", "|", "+")


class TrendChart:
    """Enquiries a month that stock does not serve, stacked by group, and all that were made."""

    def __init__(self) -> None:
        self.figure = blank("Month of the enquiry", "Enquiries", height=340)
        self.figure.update_layout(barmode="stack", bargap=0.35)
        self.figure.update_xaxes(type="category", tickangle=0)
        self.figure.update_yaxes(rangemode="tozero")

    def show(
        self, months: Sequence[str], series: Mapping[str, Sequence[float]], asked: Sequence[float]
    ) -> None:
        """Show numbers by month.

        Parameters
        ----------
        months : sequence of str
            In order.
        series : mapping of str to sequence of float
            Unmet enquiries of each group, a number a month.
        asked : sequence of float
            All enquiries.
        """
        traces: list[go.Bar | go.Scatter] = [
            go.Bar(
                name=_plain(name),
                x=list(months),
                y=list(values),
                marker={
                    "color": MARKS[n % len(MARKS)],
                    "line": {"width": 1, "color": MARKS[n % len(MARKS)]},
                    "pattern": {
                        "shape": FILLINGS[n % len(FILLINGS)],
                        "fillmode": "replace",
                        "size": 7,
                        "solidity": 0.35,
                    },
                },
                hovertemplate=f"%{{x}}, {_plain(name)}: %{{y:g}}<extra></extra>",
            )
            for n, (name, values) in enumerate(series.items())
        ]
        traces.append(
            go.Scatter(
                name="all enquiries",
                x=list(months),
                y=list(asked),
                mode="lines+markers",
                line={"color": MARKS[2], "dash": "dot", "width": 2},
                marker={"symbol": SHAPES[2], "size": 7, "color": MARKS[2]},
                hovertemplate="%{x}, all enquiries: %{y:g}<extra></extra>",
            )
        )
        with self.figure.batch_update():
            self.figure.data = []
            self.figure.add_traces(traces)
        keep_state(self.figure)


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
        self.figure = blank(
            f"Spent on orders and deliveries, {vocabulary.currency}",
            "Enquiries served from stock and orders",
        )
        self.figure.add_trace(
            go.Scatter(
                name="the most a sum can serve",
                mode="lines+markers",
                line={"shape": "hv", "color": MARKS[0], "width": 2},
                marker={
                    "symbol": SHAPES[0],
                    "size": 10,
                    "color": MARKS[0],
                    "line": {"width": 1, "color": "#ffffff"},
                },
                hovertemplate="%{text}<extra></extra>",
            )
        )
        self.figure.add_trace(
            go.Scatter(
                name="chosen",
                mode="markers",
                marker={
                    "symbol": SHAPES[1],
                    "size": 16,
                    "color": MARKS[1],
                    "line": {"width": 2, "color": "#ffffff"},
                },
                hoverinfo="skip",
            )
        )

    def text(self, plan: Plan) -> str:
        """Return a step in one line."""
        vocabulary = self._vocabulary
        money = show_money(plan.cost, vocabulary.currency, vocabulary.minor_digits)
        return f"{money} serve {plan.served:g} of {plan.total:g} ({plan.share:.0%})"

    def show(self, plans: Sequence[Plan]) -> None:
        """Show the steps."""
        with self.figure.batch_update():
            steps = self.figure.data[0]
            steps.x = [major(p.cost, self._vocabulary.minor_digits) for p in plans]
            steps.y = [p.served for p in plans]
            steps.text = [self.text(p) for p in plans]
        keep_state(self.figure)

    def mark(self, plan: Plan | None) -> None:
        """Mark the plan that is chosen."""
        shown = [] if plan is None else [plan]
        with self.figure.batch_update():
            chosen = self.figure.data[1]
            chosen.x = [major(p.cost, self._vocabulary.minor_digits) for p in shown]
            chosen.y = [p.served for p in shown]
        keep_state(self.figure)
