"""Light, strong, affordable: the bars of a catalogue, and what each family of materials reaches."""

from __future__ import annotations

import ipywidgets as widgets
import plotly.graph_objects as go
from markupsafe import escape

from fitgraph.explain.triangle import TubeFigures, tube_figures
from fitgraph.lab.answering import Answering
from fitgraph.lab.charts import blank, point_style
from fitgraph.lab.look import framed, html, row, style
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.report.advised import triangle_report
from fitgraph.units import show_mass

#: What stands along an axis: its label, and the figure of a part.
_FIGURES = ("mass", "price", "strength", "stiffness")


class MaterialTriangle(Answering):
    """A chart of the compared parts by family of materials, and its table.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    """

    invites = "see the chart"

    def __init__(self, opened: OpenCatalogue) -> None:
        super().__init__()
        self.opened = opened
        self.figures = tube_figures(opened.catalogue)
        self.across, self.up = (
            widgets.Dropdown(
                options=list(_FIGURES), value=v, description=d, layout=widgets.Layout(width="16em")
            )
            for v, d in (("mass", "Across"), ("strength", "Up"))
        )
        families = list(dict.fromkeys(f.family for f in self.figures))
        dots = [
            go.Scatter(
                name=family,
                mode="markers",
                hovertemplate="%{text}<extra></extra>",
                text=[self._text(f) for f in self.figures if f.family == family],
                marker=point_style(n, 9),
            )
            for n, family in enumerate(families)
        ]
        self.chart = blank("", "", dots)
        self.table = html()
        self.write(self.table, triangle_report(opened.catalogue))
        self.fields.watch(self._show, self.across, self.up)
        self.children = (style(self), row([self.across, self.up]), framed(self.chart), self.table)
        self._show()

    def _text(self, figures: TubeFigures) -> str:
        called = self.opened.catalogue.called(figures.sku)
        return (
            f"{escape(called)}: {self.opened.catalogue.vocabulary.money(figures.price)}, "
            f"{show_mass(figures.mass_g)}, {figures.strength_nm:,.0f} N·m"
        )

    def _value(self, figures: TubeFigures, name: str) -> float:
        return {
            "mass": figures.mass_g,
            "price": self.opened.catalogue.vocabulary.major(figures.price),
            "strength": figures.strength_nm,
            "stiffness": figures.stiffness_nm2,
        }[name]

    def _label(self, name: str) -> str:
        currency = self.opened.catalogue.vocabulary.currency
        return {
            "mass": "Mass, g",
            "price": f"Price, {currency}",
            "strength": "Plain tube bears again and again, N·m",
            "stiffness": "Bending stiffness, N·m²",
        }[name]

    def _show(self) -> None:
        with self.in_words(self.table), self.chart.change() as figure:
            for trace in figure.data:
                mine = [f for f in self.figures if f.family == trace.name]
                trace.x = [self._value(f, self.across.value) for f in mine]
                trace.y = [self._value(f, self.up.value) for f in mine]
            figure.layout.xaxis.title.text = self._label(self.across.value)
            figure.layout.yaxis.title.text = self._label(self.up.value)
