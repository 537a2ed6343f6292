"""How much is served, by group; and what the enquiries of a chosen group lack."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

from markupsafe import Markup

from fitgraph.explain import RequestExplanation
from fitgraph.explain.glosses import glosses, titles
from fitgraph.lab.answering import Panel, Task
from fitgraph.lab.cell_grid import CellGrid
from fitgraph.lab.fields import Fields, field
from fitgraph.lab.leads import why_link
from fitgraph.lab.look import button, dropdown, grid, heading, html, note, row, sides
from fitgraph.lab.meter import Meter
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import csv_link
from fitgraph.model import Enquiry
from fitgraph.report import unserved
from fitgraph.report.as_html import blocks_html, signed_html
from fitgraph.report.blocks import Items, Say, Tone, fault, say_all
from fitgraph.report.standing_words import ORDER, WORDS, signed, tally_text
from fitgraph.report.tables import Column, Table
from fitgraph.report.tallies import (
    NO_ENQUIRIES,
    PIVOTS,
    enquiries_table,
    matrix_table,
    meanings,
    standings_table,
)
from fitgraph.report.unasked import unasked_lines, without_lines
from fitgraph.report.values import WEIGHT
from fitgraph.stock import Coverage, Matrix, Standing, StandingTally
from fitgraph.stock.gaps import default_groupings
from fitgraph.stock.groups import grouper
from fitgraph.wording import capital

#: The key of all groups together.
ALL = ""

#: Enquiries listed at once; what each lacks takes a moment.
PAGE = 6

#: What cells may count, and how it is said.
_FIGURES = {**{s.word: WORDS[s] for s in ORDER}, "unmet": "not from stock"}


class CoveragePanel(Panel):
    """How many are served, the matrix, and the enquiries of its chosen cell."""

    def __init__(self, opened: OpenCatalogue, changed: Callable[[], None]) -> None:
        super().__init__(opened, changed)
        self.coverage: Coverage | None = None
        self.listed: list[tuple[Enquiry, Standing]] = []
        self._shown = PAGE
        self._titles = titles(opened.catalogue)
        options = [(title, name) for name, title in self._titles.items()]
        down, across = default_groupings(opened.catalogue)
        self.rows = dropdown("Rows", options, value=down)
        self.columns = dropdown("Columns", options, value=across)
        self.figure = dropdown("Cells count", [(told, word) for word, told in _FIGURES.items()])
        self.standings, self.glosses, self.problems = html(), html(), html()
        self.cells = CellGrid()
        self.matrix_links = html()
        self.list, self.list_links = html(), html()
        self.list.add_class("fg-unserved")  # its sentences get most of the width
        self.meter = Meter(
            "Stop working out",
            "Stop working out what the enquiries lack",
            self.stop,
            button("Work out what each lacks", self._ask),
        )
        self.more = button(
            f"Show {PAGE} more",
            self._show_more,
            disabled=True,
            tooltip="Show more enquiries of the chosen cell",
        )
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
            row([self.more, self.meter, self.list_links]),
        ]
        self.children = (sides(question, answer, halves=True),)

    # ------------------------------------------------------------ showing

    def show(self, coverage: Coverage) -> None:
        """Show how much is served."""
        self.coverage = coverage
        if not coverage.enquiries:
            self.write(self.standings, Say(NO_ENQUIRIES))
        else:
            drawn = [_SWATCH.format(n) for n in range(len(ORDER))]
            table = standings_table(coverage.total).beside(Column("drawn"), drawn)
            left = unasked_lines(coverage.left_out, PAGE)
            told = [fault("\n".join(say.text for say in left))] if left else []
            self.write(self.standings, table, *without_lines(coverage.told_without), *told)
        self.refresh()

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
            self.cells.show()
            self._list()
            return
        with self.in_words(self.problems):
            self.write(self.problems)
            down, across = self.rows.value, self.columns.value
            matrix, catalogue = self.coverage.matrix(down, across), self.opened.catalogue
            rows, columns, found = cells(matrix, self.figure.value)
            meant = glosses(catalogue, down)
            with self.fields.quietly():
                if self.cells.chosen[0] not in rows or self.cells.chosen[1] not in columns:
                    self.cells.chosen = [ALL, ALL]
                self.cells.show(
                    f"{self._titles[down]} down, {self._titles[across]} across",
                    f"{capital(_FIGURES[self.figure.value])}, of all asked; the bar shows all four "
                    "kinds, as in the table above.",
                    [{"key": r, "label": r or "all", "note": meant.get(r, "")} for r in rows],
                    [{"key": c, "label": c or "all"} for c in columns],
                    found,
                )
            # The rows say themselves what they mean.
            told = meanings(catalogue, across, columns)
            self.write(self.glosses, *([Items(say_all(told, Tone.QUIET))] if told else []))
            everything = enquiries_table(self.coverage)
            self.write(
                self.matrix_links,
                csv_link("Save the matrix as CSV", "coverage.csv", matrix_table(matrix)),
                csv_link("Save all enquiries as CSV", "enquiries.csv", everything),
            )
            self._list()

    # ------------------------------------------------------------ the chosen cell

    def _list(self) -> None:
        self._shown = PAGE
        self.listed = []
        if self.coverage is not None:
            by = [grouper(self.opened.catalogue, n) for n in (self.rows.value, self.columns.value)]
            chosen = [
                (of, key) for of, key in zip(by, self.cells.chosen, strict=True) if key != ALL
            ]
            self.listed = [
                (e, s) for e, s in self.coverage.unserved if all(of(e) == key for of, key in chosen)
            ]
        self._write()

    def _write(self) -> None:
        """Show what is listed, with what each lacks as far as that is known."""
        self.more.disabled = len(self.listed) <= self._shown
        if not self.listed:
            asked = self.coverage is not None and self.coverage.enquiries
            none = Say(f"{self._where()}: every enquiry is served from stock.")
            self.write(self.list, *([none] if asked else []))
            self.write(self.list_links)
            return
        catalogue, listed = self.opened.catalogue, self.listed[: self._shown]
        caution = unserved.cautions((self.opened.lacking.get(e) for e, _ in listed), catalogue)
        self.write(self.list, self._table(listed), self._on_paper(), cautions=caution)
        whole = unserved.table(self.listed, self.opened.lacking, catalogue)
        self.write(self.list_links, csv_link("Save the list as CSV", "unserved.csv", whole))

    def _table(self, listed: Sequence[unserved.Unserved]) -> Table:
        catalogue = self.opened.catalogue

        def first(enquiry: Enquiry, standing: Standing) -> Markup:
            """Return a number with date and standing, and a way to why it is not served."""
            date = Markup('<span class="fg-code fg-note">{}</span>').format(enquiry.date or "")
            owned = [sku for sku in enquiry.have if sku in catalogue.parts]
            way = why_link(owned, catalogue, "Why?") if owned else ""
            lines = (enquiry.number, enquiry.date and date, signed_html(signed(standing)), way)
            return Markup("<br>").join(line for line in lines if line)

        def lacking(said: RequestExplanation | str | None) -> Markup:
            first, whole = unserved.lacks(said, catalogue), unserved.in_full(said, catalogue)
            return blocks_html(first) + blocks_html(whole)

        return Table.of(
            "unserved",
            listed,
            (Column("number", title="no."), lambda row: first(*row)),
            (Column("count", WEIGHT), lambda row: row[0].weight),
            (Column("enquiry"), lambda row: blocks_html(unserved.asked(row[0], catalogue))),
            (
                Column("lacks", title="what it lacks"),
                lambda row: lacking(self.opened.lacking.get(row[0])),
            ),
            title=f"{self._where()}: {unserved.listed_text(self.listed, len(listed))}",
            whole=True,
        )

    def _on_paper(self) -> Markup:
        return Markup(
            '<p class="fg-note fg-on-paper">On paper are the rows that the page shows. Its '
            "“Save the list as CSV” has all {}, and every reason.</p>"
        ).format(len(self.listed))

    def _where(self) -> str:
        """Return the chosen cell in words."""
        pairs = zip((self.rows.value, self.columns.value), self.cells.chosen, strict=True)
        named = [f"{self._titles[name]} {key}" for name, key in pairs if key != ALL]
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
        if self.opened.is_wide and not self._asked and self._open():
            self.meter.wait("In a catalogue as large as this one, what each lacks takes a while.")
        else:
            self.work_out(self._steps, self.problems, self._over)

    def _ask(self) -> None:
        self._asked = True
        self.explain()

    def _open(self) -> list[Enquiry]:
        """Return those shown of which nobody knows yet what they lack."""
        shown = self.listed[: self._shown]
        return [enquiry for enquiry, _ in shown if enquiry not in self.opened.lacking]

    def _steps(self) -> Iterator[Task[object]]:
        todo = self._open()
        for n, enquiry in enumerate(todo):
            self.meter.begin(f"Working out what each lacks: {n} of {len(todo)} so far …")
            yield Task(partial(self.opened.lacks, enquiry), lambda _: self._write())

    def _over(self, whole: bool) -> None:
        self.meter.end("" if whole else "Stopped. Choose a cell to go on.", stopped=not whole)


def _cell(entry: Sequence[object]) -> list[str]:
    row_key, column_key = entry
    return [str(row_key), str(column_key)]


#: How a standing is drawn in the bars of cells.
_SWATCH = Markup('<span class="fg-swatch fg-piece-{}" aria-hidden="true"></span>')


def _told(tally: StandingTally, figure: str, where: str) -> dict[str, object] | None:
    """Return a cell as the grid takes it; None for one in which nobody asks."""
    if not tally.total:
        return None
    number = PIVOTS[figure][0](tally)
    return {
        "text": f"{number:g} of {tally.total:g}",
        "small": f"{number / tally.total:.0%}",
        "label": f"{where}: {tally_text(tally)}",
        "parts": [tally.of(s) for s in ORDER],
    }


def cells(
    matrix: Matrix, figure: str
) -> tuple[list[str], list[str], list[list[dict[str, object] | None]]]:
    """Return keys of rows and columns, the last of each for all together, and the cells.

    Parameters
    ----------
    matrix : Matrix
        Enquiries by two groupings.
    figure : str
        What cells count: a standing's word, or ``"unmet"``.
    """
    rows, columns = [*matrix.rows, ALL], [*matrix.columns, ALL]
    found = [
        [_told(matrix.cell(r, c), figure, f"{r or 'all'}, {c or 'all'}") for c in columns]
        for r in rows
    ]
    return rows, columns, found
