"""Stock without a use, and parts on which much depends."""

from __future__ import annotations

from collections.abc import Callable

from fitgraph.lab import tables
from fitgraph.lab.answering import Panel
from fitgraph.lab.fields import Fields, field
from fitgraph.lab.held_tables import stranded_html, stranded_table, weak_html
from fitgraph.lab.look import dropdown, grid, html, note
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import csv_link
from fitgraph.report.shelf import weak_table
from fitgraph.stock import Reliance, Standing, Stranded

_ANY = "all"

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
                self.table.value = tables.wrap('<p class="fg-note">Not worked out yet.</p>')
                return
            catalogue = self.opened.catalogue
            shown = [
                s
                for s in self.stranded
                if self.lacks.value in (_ANY, s.standing.word)
                and self.role.value in (_ANY, catalogue.parts[s.sku].role)
            ]
            self.table.value = tables.wrap(
                stranded_html(shown, catalogue)
                if shown or not self.stranded
                else "<p>No stranded part is of this kind.</p>"
            )
            self.links.value = tables.wrap(
                csv_link(
                    "Save these parts as CSV", "stranded.csv", stranded_table(shown, catalogue)
                )
            )


class WeakPanel(Panel):
    """Parts, and pairs of them, whose absence ends most."""

    def __init__(self, opened: OpenCatalogue) -> None:
        super().__init__(opened)
        self.reliance: Reliance | None = None
        self.parts, self.pairs, self.links = html(), html(), html()
        waits = tables.wrap('<p class="fg-note">Not worked out yet.</p>')
        self.parts.value = self.pairs.value = waits
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
        self.reliance = reliance
        catalogue, builds = self.opened.catalogue, tables.builds_text(reliance.builds)
        self.parts.value = tables.wrap(weak_html(reliance.parts, builds, catalogue, pairs=False))
        if not pairs:
            return
        self.pairs.value = tables.wrap(weak_html(reliance.pairs, builds, catalogue, pairs=True))
        files = (("parts", reliance.parts), ("pairs", reliance.pairs))
        self.links.value = tables.wrap(
            "".join(
                csv_link(f"Save the {name} as CSV", f"weak-{name}.csv", weak_table(weak))
                for name, weak in files
            )
        )
