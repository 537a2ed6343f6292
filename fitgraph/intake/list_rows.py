"""A row of one of their tables: where it stands, and its cells by what they mean."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from collections.abc import Mapping as MappingLike

from fitgraph.catalogue.figures import UNKNOWN_TEXTS
from fitgraph.catalogue.findings import ERROR, Notes
from fitgraph.intake.grid import Found
from fitgraph.intake.mapping import Mapping, Meant
from fitgraph.records import dataclass

#: Columns of a table by what they mean: the name, the place and what is said of each.
Columns = MappingLike[str, list[tuple[str, int, Meant]]]


@dataclass(frozen=True, slots=True)
class ListRow:
    """A row, and the notes in which what is doubtful about it goes.

    Parameters
    ----------
    source : str
        The table it is from.
    number : int
        Its number there.
    cells : sequence of str
        What stands in it; cells at its end may be missing.
    columns : mapping
        Of the table, by what they mean.
    notes : Notes
        Those of the import.
    """

    source: str
    number: int
    cells: Sequence[str]
    columns: Columns
    notes: Notes

    def _cells(self, means: str) -> Iterator[tuple[str, str, Meant]]:
        """Give the name, the text and the column of each cell of a meaning."""
        for name, place, column in self.columns[means]:
            yield name, self.cells[place].strip() if place < len(self.cells) else "", column

    def texts(self, *means: str) -> list[str]:
        """Return what stands in all columns of some meanings, the empty cells too."""
        return [text for each in means for _, text, _ in self._cells(each)]

    def text(self, means: str) -> str:
        """Return the first text there is of a meaning."""
        return next(filter(None, self.texts(means)), "")

    @property
    def sku(self) -> str:
        """Return its stock number as the catalogue has it, without spaces."""
        return "-".join(self.text("sku").split())

    def column(self, means: str) -> str:
        """Return the name of the column with that text; of the first column where none has any."""
        cells = [*self._cells(means)]
        return next((name for name, text, _ in cells if text), cells[0][0] if cells else "")

    def known(self, means: str) -> Iterator[tuple[str, str, Meant]]:
        """Give the name, the text and the column of each cell that tells something."""
        return (cell for cell in self._cells(means) if cell[1].casefold() not in UNKNOWN_TEXTS)

    def doubt(
        self, code: str, column: str, value: str, message: str, remedy: str, severity: str = ERROR
    ) -> None:
        """Note what is wrong or doubtful."""
        place = self.source, self.number, column, value
        self.notes.add(code, *place, message, remedy, severity, self.sku)


def columns_of(table: Found, mapping: Mapping) -> Columns:
    """Return the columns of a table by what they mean."""
    known = mapping.of(table.source, table.header)
    places = {name: place for place, name in enumerate(table.header)}
    found: dict[str, list[tuple[str, int, Meant]]] = defaultdict(list)
    for name, column in ({} if known is None else known.columns).items():
        if name in places and column.means != "ignore":
            found[column.means].append((name, places[name], column))
    return found


def stock_numbers(table: Found, mapping: Mapping) -> set[str]:
    """Return what stands in a table's column of stock numbers."""
    return {c.strip() for n, _, _ in columns_of(table, mapping)["sku"] for c in table.column(n)}
