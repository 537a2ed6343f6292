"""Unmet demand over time, by what is lacking or by group."""

from __future__ import annotations

from collections.abc import Callable

from fitgraph.explain.glosses import titles
from fitgraph.lab.answering import Panel
from fitgraph.lab.fields import Fields, field
from fitgraph.lab.gap_charts import TrendChart
from fitgraph.lab.look import dropdown, framed, grid, html, note
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import csv_link
from fitgraph.report.blocks import Section, status
from fitgraph.report.months import BY_STANDING, months_table, months_text, unmet_by_month
from fitgraph.stock import Coverage

_TODAY, _THEN = "today", "then"

#: Said where no enquiry has a month, by the shelf it is measured by.
_NO_MONTHS = {
    _TODAY: "No enquiry has a date.",
    _THEN: "No enquiry has a date on or after a count of the shelf: write some into "
    "stock_counts.csv.",
}


class TrendPanel(Panel):
    """The chart with its fields and its table."""

    def __init__(self, opened: OpenCatalogue, changed: Callable[[], None]) -> None:
        super().__init__(opened, changed)
        self._of: dict[str, Coverage] = {}
        groups = [(title, n) for n, title in titles(opened.catalogue).items() if n != "month"]
        self.by = dropdown("Bars by", [("how it could be served", BY_STANDING), *groups])
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

    def refresh(self) -> None:
        """Show what the fields ask for."""
        with self.in_words(self.status):
            shelf, by = self.shelf.value, self.by.value
            if shelf not in self._of:
                self.write(self.status, status("Not worked out yet."))
                return
            unmet = unmet_by_month(self._of[shelf], by)
            self.chart.show(unmet.months, unmet.series, unmet.asked, by_standing=by == BY_STANDING)
            if not unmet.months:
                self.write(self.status, status(_NO_MONTHS[shelf]))
                self.write(self.table)
                return
            self.write(self.status, status(months_text(unmet)))
            table = months_table(unmet)
            self.write(
                self.table,
                Section("The chart as a table", (table,), folded=True),
                csv_link("Save the months as CSV", "months.csv", table.without("unmet")),
            )
