"""The part looked at: what it is worth, where its cell ends, its yield, its sheet and files."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fitgraph.adapters import (
    Edge,
    GradeYield,
    Scan,
    SpecSheet,
    edges,
    grade_of,
    grades_of,
    yields_by_grade,
)
from fitgraph.adapters.trials import ChangedMake
from fitgraph.lab.adapter_entries import Entry
from fitgraph.lab.adapter_files import files_of, lacking
from fitgraph.lab.answering import Panel, Task
from fitgraph.lab.look import fold, html, note
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import Saves
from fitgraph.report.blocks import Say
from fitgraph.report.made_parts import barred_blocks, edges_section, part_table, yield_blocks
from fitgraph.report.specification import sheet_blocks
from fitgraph.shop.weighed import Weighed

_NONE = Say("What cannot be made has none.")


class DesignPanel(Panel):
    """What is known of one part that could be made, or why it cannot be.

    Parameters
    ----------
    opened : OpenCatalogue
        The catalogue.

    Attributes
    ----------
    folds : tuple of Widget
        Its sheet and its yield, for where there is more room.
    """

    def __init__(self, opened: OpenCatalogue) -> None:
        super().__init__(opened)
        self.details, self.sheet, self.yields = html(), html(), html()
        self.files = Saves("Files of the part looked at")
        self.children = (self.details, self.files, *map(note, lacking()))
        about = (
            "The nominal sizes stay; only the grade changes that the process holds. Sizes are "
            "taken as uniform within their limits."
        )
        self.folds = (
            fold("Spec sheet", [self.sheet]),
            fold("Tolerance against yield", [note(about), self.yields]),
        )

    def clear(self) -> None:
        """Show nothing, and stop whatever is being answered."""
        self.drop(self.sheet)
        self.files.offer({})
        for place in (self.details, self.sheet, self.yields):
            self.write(place)

    def show(self, entry: Entry, found: Weighed, choice: ChangedMake, scan: Scan | None) -> None:
        """Show a part.

        Parameters
        ----------
        entry : Entry
            The part.
        found : Weighed
            What it was weighed against.
        choice : ChangedMake
            How it would be made.
        scan : Scan or None
            Where it was weighed.
        """
        self.files.offer({})
        self.work_out(lambda: self._steps(entry, found, choice, scan), self.sheet)

    def _steps(
        self, entry: Entry, found: Weighed, choice: ChangedMake, scan: Scan | None
    ) -> list[Task[Any]]:
        catalogue, candidate, worth = found.shop.catalogue, entry.candidate, entry.worth
        vocabulary = catalogue.vocabulary
        make = choice.variant(vocabulary)

        def barred(_nothing: None) -> None:
            assert entry.barred is not None
            self.write(self.details, *barred_blocks(entry.barred, make, vocabulary))
            for place in (self.sheet, self.yields):
                self.write(place, _NONE)

        if candidate is None:
            return [Task(lambda: None, barred, slow=False)]

        def told(ends: Sequence[Edge]) -> None:
            section = [edges_section(ends, vocabulary)] if ends else []
            self.write(self.details, part_table(candidate, worth, catalogue), *section)
            waits = [] if worth is None else [Say("The sheet follows in a moment …")]
            self.write(self.sheet, *waits)

        def yielded(shares: Sequence[GradeYield]) -> None:
            self.write(self.yields, *yield_blocks(shares, grade_of(make) or 0, vocabulary))

        def drawn(sheet: SpecSheet) -> None:
            self.write(self.sheet, *sheet_blocks(sheet), cautions=sheet.cautions)
            self.files.offer(files_of(sheet))

        steps: list[Task[Any]] = [
            Task(lambda: edges(catalogue, candidate, found.options), told, slow=False),
            Task(
                lambda: yields_by_grade(catalogue, candidate, grades_of(make, vocabulary)), yielded
            ),
        ]
        if worth is not None:
            gained = () if scan is None else scan.gained_by(worth)
            steps.append(Task(lambda: found.sheet(choice, worth, gained), drawn))
        return steps
