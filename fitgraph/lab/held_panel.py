"""Stock without a use, and parts on which much depends."""

from __future__ import annotations

from collections.abc import Callable

from fitgraph.lab.answering import Panel
from fitgraph.lab.fields import Fields, field
from fitgraph.lab.leads import with_whys
from fitgraph.lab.look import dropdown, grid, html, note
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import csv_link
from fitgraph.report.blocks import Block, Say, quiet, status
from fitgraph.report.shelf import (
    builds_lost,
    held_text,
    stranded_shown,
    stranded_table,
    weak_shown,
    weak_table,
)
from fitgraph.stock import Reliance, Standing, Stranded

_ANY = "all"

#: Stands where an answer will.
NOT_YET = quiet("Not worked out yet.")

#: What a part held without a use lacks, as an entry.
_LACKS = (
    ("anything", _ANY),
    ("parts to order", Standing.CATALOGUE.word),
    ("a measurement", Standing.POSSIBLY.word),
    ("any part that is sold", Standing.NEITHER.word),
)


class StrandedPanel(Panel):
    """Parts held that no complete build from stock can use."""

    def __init__(self, opened: OpenCatalogue, changed: Callable[[], None]) -> None:
        super().__init__(opened, changed)
        self.stranded: tuple[Stranded, ...] | None = None
        roles = opened.catalogue.vocabulary.roles.values()
        self.lacks = dropdown("It lacks", _LACKS)
        self.role = dropdown("Role", [("any", _ANY), *((r.title, r.name) for r in roles)])
        self.table, self.links = html(), html()
        self.fields = Fields(lacks=field(self.lacks), role=field(self.role))
        self.fields.watch(self._entered, self.lacks, self.role)
        self.children = (
            note(
                "Parts held that are in no complete build from stock, and what would release them: "
                "the fewest parts to order, joints that a measurement would decide, or nothing "
                "that is sold."
            ),
            grid([self.lacks, self.role], "300px"),
            self.table,
            self.links,
        )
        self.refresh()

    def show(self, stranded: tuple[Stranded, ...]) -> None:
        """Show parts held without a use."""
        self.stranded = stranded
        self.refresh()

    def refresh(self) -> None:
        """Show what the fields ask for."""
        with self.in_words(self.table):
            if self.stranded is None:
                self.write(self.table, NOT_YET)
                return
            catalogue = self.opened.catalogue
            shown = [
                s
                for s in self.stranded
                if self.lacks.value in (_ANY, s.standing.word)
                and self.role.value in (_ANY, catalogue.parts[s.sku].role)
            ]
            told: list[Block] = [Say("No stranded part is of this kind.")]
            if not self.stranded:
                told = [Say("Every part held is in some build from stock.")]
            elif shown:
                table = with_whys(
                    stranded_shown(shown, catalogue), [[s.sku] for s in shown], catalogue
                )
                told = [status("", f"{held_text(shown, catalogue.vocabulary)}."), table]
            self.write(self.table, *told)
            file = stranded_table(shown, catalogue)
            self.write(self.links, csv_link("Save these parts as CSV", "stranded.csv", file))


class WeakPanel(Panel):
    """Parts, and pairs of them, whose absence ends most."""

    def __init__(self, opened: OpenCatalogue) -> None:
        super().__init__(opened)
        self.parts, self.pairs, self.links = html(), html(), html()
        for place in (self.parts, self.pairs):
            self.write(place, NOT_YET)
        self.children = (
            note(
                "Parts in stock whose absence would end the most enquiries that are served today, "
                "and the most builds. In a pair, either part does for the other."
            ),
            grid([self.parts, self.pairs], "430px"),
            self.links,
        )

    def show(self, reliance: Reliance, *, pairs: bool) -> None:
        """Show what stock depends on.

        Parameters
        ----------
        reliance : Reliance
            The answer.
        pairs : bool
            Whether pairs were looked for.
        """
        place, weak = (self.pairs, reliance.pairs) if pairs else (self.parts, reliance.parts)
        told: list[Block] = [weak_shown(weak, self.opened.catalogue, pairs=pairs)]
        if not weak:
            kind = "pair" if pairs else "part"
            told = [Say(f"No enquiry and no build from stock hangs on one {kind}.")]
        elif not pairs:
            told.append(builds_lost(reliance))
        self.write(place, *told)
        files = {"parts": reliance.parts, "pairs": reliance.pairs}
        self.write(
            self.links,
            *(
                csv_link(f"Save the {name} as CSV", f"weak-{name}.csv", weak_table(found))
                for name, found in files.items()
                if found or pairs
            ),
        )
