"""Unmet demand over time, by what is lacking or by group."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from fitgraph.explain.glosses import titles
from fitgraph.lab import tables
from fitgraph.lab.answering import Panel
from fitgraph.lab.coverage_tables import trend_table
from fitgraph.lab.fields import Fields, field
from fitgraph.lab.gap_charts import TrendChart
from fitgraph.lab.look import dropdown, framed, grid, html, note
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import csv_link
from fitgraph.lab.tables import long_table
from fitgraph.report.standing_words import ORDER, WORDS
from fitgraph.stock import Coverage, Standing, grouping_names, trend
from fitgraph.wording import plural

#: Splits the bars by standing.
_BY_STANDING = "standing"

_TODAY, _THEN = "today", "then"


def unmet_by_month(
    coverage: Coverage, by: str
) -> tuple[list[str], dict[str, list[float]], list[float]]:
    """Return months, unmet enquiries of each group a month, and all enquiries a month.

    Parameters
    ----------
    coverage : Coverage
        Standings of enquiries; those without a date are left out.
    by : str
        A grouping, or ``standing``.
    """
    tallies = trend(coverage)
    months = list(tallies)
    series: dict[str, list[float]] = {}
    if by == _BY_STANDING:
        for standing in ORDER:
            if standing is not Standing.STOCK:
                series[WORDS[standing]] = [t.of(standing) for t in tallies.values()]
    else:
        matrix = coverage.matrix("month", by)
        for group in matrix.columns:
            series[group] = [matrix.cell(month, group).unmet for month in months]
    kept = {name: values for name, values in series.items() if any(values)}
    return months, kept, [t.total for t in tallies.values()]


class TrendPanel(Panel):
    """The chart with its fields and its table."""

    def __init__(self, opened: OpenCatalogue, changed: Callable[[], None]) -> None:
        super().__init__(opened, changed)
        self._of: dict[str, Coverage | None] = {_TODAY: None, _THEN: None}
        told = titles(opened.catalogue)
        names = [n for n in grouping_names(opened.catalogue) if n != "month"]
        self.by = dropdown(
            "Bars by",
            [("how it could be served", _BY_STANDING), *((told.get(n, n), n) for n in names)],
        )
        self.shelf = dropdown(
            "Measured by", [("today's shelf", _TODAY), ("the shelf of the day", _THEN)]
        )
        self.chart = TrendChart()
        self.status, self.table = html(), html()
        self.fields = Fields(bars=field(self.by), shelf=field(self.shelf))
        self.fields.watch(self._entered, self.by, self.shelf)
        self.children = (
            note(
                "Enquiries a month that stock does not serve, as bars; all enquiries as the dotted "
                "line. By today's shelf, or by what was last counted on the day of each enquiry."
            ),
            grid([self.by, self.shelf], "300px"),
            self.status,
            framed(self.chart.widget),
            self.table,
        )

    def show(self, coverage: Coverage) -> None:
        """Show enquiries against today's shelf."""
        self._of[_TODAY] = coverage
        self.refresh()

    def show_then(self, coverage: Coverage) -> None:
        """Show enquiries against the shelf of their day."""
        self._of[_THEN] = coverage
        self.refresh()

    def _tell(self, text: str) -> None:
        self.status.value = tables.wrap(f'<p role="status">{text}</p>')

    def refresh(self) -> None:
        """Show what the fields ask for."""
        with self.in_words(self.status):
            coverage = self._of[self.shelf.value]
            if coverage is None:
                self._tell("Not worked out yet.")
                return
            months, series, asked = unmet_by_month(coverage, self.by.value)
            by_standing = self.by.value == _BY_STANDING
            self.chart.show(months, series, asked, by_standing=by_standing)
            if not months:
                self._tell(
                    "No enquiry has a date."
                    if self.shelf.value == _TODAY
                    else "No enquiry has a date on or after a count of the shelf: write some into "
                    "stock_counts.csv."
                )
                self.table.value = ""
                return
            self._tell(_summary(months, series, asked))
            told = trend_table(months, series, asked)
            inner = long_table(told, len(told.rows))
            self.table.value = tables.wrap(
                f"<details><summary>The chart as a table</summary>{inner}</details>"
                + csv_link("Save the months as CSV", "months.csv", told.without("unmet"))
            )


def _summary(
    months: Sequence[str], series: Mapping[str, Sequence[float]], asked: Sequence[float]
) -> str:
    unmet = [sum(values) for values in zip(*series.values(), strict=True)] or [0.0] * len(months)
    worst = max(range(len(months)), key=lambda n: unmet[n])
    dated = plural(sum(asked), "enquiry with a date is", "enquiries with a date are")
    return (
        f"{sum(unmet):g} of {dated} not served, most of them in {months[worst]}: "
        f"{unmet[worst]:g} of {asked[worst]:g}."
    )
