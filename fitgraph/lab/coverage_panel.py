"""How much is served, by group; and what the enquiries of a chosen group lack."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

from fitgraph.explain import RequestExplanation
from fitgraph.explain.glosses import glosses, titles
from fitgraph.lab import tables
from fitgraph.lab.answering import Panel, Task
from fitgraph.lab.cell_grid import CellGrid
from fitgraph.lab.coverage_tables import (
    cells,
    glosses_html,
    matrix_table,
    standings_html,
)
from fitgraph.lab.fields import Fields, field
from fitgraph.lab.lacking_tables import PAGE, unserved, unserved_html, unserved_table
from fitgraph.lab.look import button, dropdown, grid, heading, html, note, row, sides
from fitgraph.lab.meter import Meter
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import csv_link
from fitgraph.model import Enquiry
from fitgraph.report.standing_words import ORDER, WORDS
from fitgraph.report.tallies import enquiries_table
from fitgraph.report.unasked import unasked_text
from fitgraph.stock import Coverage, Standing, grouping_names
from fitgraph.stock.gaps import default_groupings
from fitgraph.stock.groups import grouper
from fitgraph.wording import plural

#: The key of all groups together.
ALL = ""


class CoveragePanel(Panel):
    """How many are served, the matrix, and the enquiries of its chosen cell."""

    def __init__(self, opened: OpenCatalogue, changed: Callable[[], None]) -> None:
        super().__init__(opened, changed)
        self.coverage: Coverage | None = None
        #: By the enquiry itself: numbers may be blank, or given twice.
        self.said: dict[Enquiry, RequestExplanation | str] = {}
        self.listed: list[tuple[Enquiry, Standing]] = []
        self._all_link = ""
        self._shown = PAGE
        names = grouping_names(opened.catalogue)
        told = titles(opened.catalogue)
        options = [(told.get(n, n), n) for n in names]
        down, across = default_groupings(opened.catalogue)
        self.rows = dropdown("Rows", options, value=down)
        self.columns = dropdown("Columns", options, value=across)
        self.figure = dropdown(
            "Cells count", [*((WORDS[s], s.word) for s in ORDER), ("not from stock", "unmet")]
        )
        self.standings, self.glosses, self.problems = html(), html(), html()
        self.cells = CellGrid()
        self.matrix_links = html()
        self.list, self.list_links = html(), html()
        self.meter = Meter(
            "Stop working out", "Stop working out what the enquiries lack", self.stop
        )
        self.more = button(
            f"Show {PAGE} more",
            self._show_more,
            disabled=True,
            tooltip="Show more enquiries of the chosen cell",
        )
        self.ask = button("Work out what each lacks", self._ask)
        self.ask.layout.display = "none"
        self._asked = False
        self.fields = Fields(
            rows=field(self.rows),
            columns=field(self.columns),
            figure=field(self.figure),
            cell=field(self.cells, _cell, "chosen"),
        )
        self.fields.watch(self._regroup, self.rows, self.columns, self.figure)
        self.fields.watch(self._choose, self.cells, names="chosen")
        question = [
            heading("Coverage"),
            self.standings,
            grid([self.rows, self.columns, self.figure], "250px"),
            self.problems,
            self.cells,
            self.glosses,
            self.matrix_links,
        ]
        answer = [
            heading("What the unserved lack"),
            note("Of the cell that is chosen in the table, the most frequent first."),
            self.list,
            row([self.more, self.meter, self.ask, self.list_links]),
        ]
        self.children = (sides(question, answer, halves=True),)

    # ------------------------------------------------------------ showing

    def show(self, coverage: Coverage) -> None:
        """Show how much is served."""
        self.coverage = coverage
        self._all_link = csv_link(
            "Save all enquiries as CSV", "enquiries.csv", enquiries_table(coverage)
        )
        text = standings_html(coverage.total) + tables.without_html(coverage.told_without)
        self.standings.value = tables.wrap(text + self._left_out())
        self.refresh()

    def _left_out(self) -> str:
        left = () if self.coverage is None else self.coverage.left_out
        if not left:
            return ""
        lines = "\n".join(unasked_text(x) for x in left[:PAGE])
        more = f"\nAnd {len(left) - PAGE} more." if len(left) > PAGE else ""
        return tables.alert(lines + more)

    def _regroup(self) -> None:
        self.refresh()
        self._changed()
        self.explain()

    def _choose(self) -> None:
        with self.in_words(self.problems):
            self._list()
            self._changed()
            self.explain()

    def refresh(self) -> None:
        """Show the matrix, and the enquiries of what is chosen in it."""
        if self.coverage is None or not self.coverage.enquiries:
            self.cells.show("", "", [], [], [])
            self._list()
            return
        with self.in_words(self.problems):
            self.problems.value = ""
            by = (self.rows.value, self.columns.value)
            matrix = self.coverage.matrix(*by)
            shown = None if self.figure.value == "unmet" else self._standing()
            rows, columns, found = cells(matrix, shown)
            told = titles(self.opened.catalogue)
            names = [told.get(n, n) for n in by]
            meant = glosses(self.opened.catalogue, by[0])
            with self.fields.quietly():
                if self.cells.chosen[0] not in rows or self.cells.chosen[1] not in columns:
                    self.cells.chosen = [ALL, ALL]
                self.cells.show(
                    f"{names[0]} down, {names[1]} across",
                    "Of all enquiries of a cell, those "
                    f"{'not served from stock' if shown is None else _served(shown)}; the bar "
                    "shows all four kinds, as in the table above.",
                    [{"key": r, "label": r or "all", "note": meant.get(r, "")} for r in rows],
                    [{"key": c, "label": c or "all"} for c in columns],
                    found,
                )
            self._gloss(by[1], columns)
            self.matrix_links.value = tables.wrap(
                csv_link("Save the matrix as CSV", "coverage.csv", matrix_table(matrix))
                + self._all_link
            )
            self._list()

    def _standing(self) -> Standing:
        return next(s for s in Standing if s.word == self.figure.value)

    def _gloss(self, name: str, present: list[str]) -> None:
        """Say what the columns mean; the rows say it themselves."""
        meant = glosses(self.opened.catalogue, name)
        title = titles(self.opened.catalogue).get(name, name)
        terms = [(f"{title} {group}", text) for group, text in meant.items() if group in present]
        self.glosses.value = tables.wrap(glosses_html(terms))

    # ------------------------------------------------------------ the chosen cell

    def _list(self) -> None:
        self._shown = PAGE
        coverage, catalogue = self.coverage, self.opened.catalogue
        self.listed = []
        if coverage is not None:
            row_key, column_key = self.cells.chosen
            one = grouper(catalogue, self.rows.value)
            other = grouper(catalogue, self.columns.value)
            self.listed = [
                (e, s)
                for e, s in unserved(coverage)
                if row_key in (ALL, one(e)) and column_key in (ALL, other(e))
            ]
        self._write()

    def _write(self) -> None:
        if self.coverage is None or not self.coverage.enquiries:
            self.list.value = self.list_links.value = ""
            self.more.disabled = True
            return
        where = self._where()
        count = sum(e.weight for e, _ in self.listed)
        caption = f"{where}: {count:g} not served from stock, in {plural(len(self.listed), 'row')}"
        if not self.listed:
            caption = f"{where}: every enquiry is served from stock."
        elif len(self.listed) > self._shown:
            caption += f"; the first {self._shown} are shown"
        shown = self.listed[: self._shown]
        catalogue = self.opened.catalogue
        text = unserved_html(caption, shown, self.said, catalogue)
        if self.listed:
            text += (
                '<p class="fg-note fg-on-paper">On paper are the rows that the page shows. Its '
                f"“Save the list as CSV” has all {len(self.listed)}, and every reason.</p>"
            )
        self.list.value = tables.wrap(tables.with_cards(text, catalogue))
        self.more.disabled = len(self.listed) <= self._shown
        self.list_links.value = ""
        if self.listed:
            listed = unserved_table(self.listed, self.said, catalogue)
            self.list_links.value = tables.wrap(
                csv_link("Save the list as CSV", "unserved.csv", listed)
            )

    def _where(self) -> str:
        """Return the chosen cell in words."""
        told = titles(self.opened.catalogue)
        by = (self.rows.value, self.columns.value)
        pairs = zip(by, self.cells.chosen, strict=True)
        named = [f"{told.get(name, name)} {key}" for name, key in pairs if key != ALL]
        return ", ".join(named) or "All enquiries"

    def _show_more(self) -> None:
        self._shown += PAGE
        self._write()
        self.explain()

    # ------------------------------------------------------------ what each lacks

    def explain(self) -> None:
        """Work out what the listed enquiries lack, one after the other.

        In a catalogue in which that takes much memory, once somebody asks for it.
        """
        wanted = [e for e, _ in self.listed[: self._shown]]
        waits = self.opened.is_wide and not self._asked
        waits = waits and any(e not in self.opened.lacking for e in wanted)
        self.ask.layout.display = None if waits else "none"
        if waits:
            self.meter.end("In a catalogue as large as this one, what each lacks takes a while.")
            return
        self.work_out(self._steps, self.problems, self._over)

    def _ask(self) -> None:
        self._asked = True
        self.explain()

    def _steps(self) -> Iterator[Task[RequestExplanation | str]]:
        wanted = [e for e, _ in self.listed[: self._shown]]
        todo = [e for e in wanted if e not in self.said]
        for n, enquiry in enumerate(todo):
            self.meter.begin(f"Working out what each lacks: {n} of {len(todo)} so far …")
            yield Task(
                partial(self.opened.lacks, enquiry),
                partial(self._say, enquiry),
                slow=enquiry not in self.opened.lacking,
            )

    def _say(self, enquiry: Enquiry, said: RequestExplanation | str) -> None:
        self.said[enquiry] = said
        self._write()

    def _over(self, whole: bool) -> None:
        self.meter.end("" if whole else "Stopped. Choose a cell to go on.", stopped=not whole)


def _cell(entry: Sequence[object]) -> list[str]:
    row_key, column_key = entry
    return [str(row_key), str(column_key)]


def _served(standing: Standing) -> str:
    return {
        Standing.STOCK: "served from stock",
        Standing.CATALOGUE: "that can be served by ordering",
        Standing.POSSIBLY: "of which nobody can tell",
        Standing.NEITHER: "that nothing sold serves",
    }[standing]
