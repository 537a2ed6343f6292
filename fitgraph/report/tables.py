"""Tables as data: columns with their units, rows of values as the package has them inside."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from fitgraph.draw.style import WORDS
from fitgraph.explain.words import the_part
from fitgraph.model import Verdict
from fitgraph.records import dataclass
from fitgraph.report.as_json import plain_value
from fitgraph.report.values import TEXT, Unit


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table.

    Parameters
    ----------
    key : str
        Its name for programs: in a frame, as CSV, in a record.
    unit : Unit
        How its values are shown and handed on.
    title : str or Verdict
        Its heading for people; the key where none is given, nothing for a blank one.
    joined : bool
        Whether it is put into one column with the others so marked where room is short.
    """

    key: str
    unit: Unit = TEXT
    title: str | Verdict | None = None
    joined: bool = False

    @property
    def heading(self) -> str:
        """Return what stands above it."""
        if isinstance(self.title, Verdict):
            return WORDS[self.title]
        return self.key if self.title is None else self.title.strip()


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of values under columns.

    Parameters
    ----------
    name : str
        Its name for programs.
    columns : tuple of Column
        The columns.
    rows : tuple of tuple
        Values as they are inside: mm, g, minor currency units, None where nobody knows.
    title : str
        What it shows, for people.
    headed : bool
        Whether people see the headings.
    clipped : bool
        Whether a text that is too long for its column is cut off for people, so that a row is
        a line.
    joined : str
        Heading of the one column into which the marked ones are put where room is short.
    whole : bool
        Whether a page shows all rows at once.
    """

    name: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Any, ...], ...] = ()
    title: str = ""
    headed: bool = True
    joined: str = "with"
    clipped: bool = False
    whole: bool = False

    @staticmethod
    def of(
        name: str,
        things: Sequence[Any],
        *columns: tuple[Column, Callable[[Any], Any]],
        title: str = "",
        headed: bool = True,
        whole: bool = False,
    ) -> Table:
        """Return a table of things, a row each; every column says what it takes of a thing."""
        rows = tuple(tuple(take(thing) for _, take in columns) for thing in things)
        return Table(name, tuple(c for c, _ in columns), rows, title, headed, whole=whole)

    @property
    def keys(self) -> tuple[str, ...]:
        """Return the names of the columns for programs."""
        return tuple(c.key for c in self.columns)

    @property
    def units(self) -> dict[str, str]:
        """Return the units of those columns that have one."""
        return {c.key: c.unit.name for c in self.columns if c.unit.name}

    def data(self) -> dict[str, list[Any]]:
        """Return plain values, by column."""
        return {
            c.key: [c.unit.data(row[n]) for row in self.rows] for n, c in enumerate(self.columns)
        }

    def records(self) -> list[dict[str, Any]]:
        """Return plain values, a mapping for each row."""
        return [
            {c.key: c.unit.data(v) for c, v in zip(self.columns, row, strict=True)}
            for row in self.rows
        ]

    def with_currency(self) -> Table:
        """Return it with keys of amounts that say their currency, for a file that stands alone."""
        columns = (
            replace(c, key=f"{c.key}_{c.unit.name}") if c.unit.currency else c for c in self.columns
        )
        return replace(self, columns=tuple(columns))

    def entries(self) -> list[dict[str, Any]]:
        """Return plain values as JSON has them: several in one cell as a list."""
        return [
            {
                c.key: list(v) if c.unit.several else plain_value(c.unit.data(v))
                for c, v in zip(self.columns, row, strict=True)
            }
            for row in self.rows
        ]

    def shown(self) -> list[list[str]]:
        """Return the cells as people read them."""
        return [
            [c.unit.show(v) for c, v in zip(self.columns, row, strict=True)] for row in self.rows
        ]

    def first(self, most: int | None) -> Table:
        """Return the first rows; all of them where there is no limit."""
        return self if most is None else replace(self, rows=self.rows[:most])

    def beside(self, column: Column, values: Sequence[Any]) -> Table:
        """Return the table with one more column, a value a row."""
        rows = ((*row, value) for row, value in zip(self.rows, values, strict=True))
        return replace(self, columns=(*self.columns, column), rows=tuple(rows))

    def folded(self) -> Table:
        """Return it with the columns that are so marked in one, which names the others' headings.

        A heading is left out where its cell says it already.
        """
        joined = [n for n, c in enumerate(self.columns) if c.joined]
        if not joined:
            return self
        kept = [n for n in range(len(self.columns)) if n not in joined]
        heads = [c.heading for c in self.columns]
        rows = (
            (*(row[n] for n in kept), ", ".join(the_part(heads[n], told[n], "") for n in joined))
            for row, told in zip(self.rows, self.shown(), strict=True)
        )
        columns = (*(self.columns[n] for n in kept), Column("joined", title=self.joined))
        return replace(self, columns=columns, rows=tuple(rows))

    def without(self, *keys: str) -> Table:
        """Return the table without some columns."""
        kept = [n for n, c in enumerate(self.columns) if c.key not in keys]
        return replace(
            self,
            columns=tuple(self.columns[n] for n in kept),
            rows=tuple(tuple(row[n] for n in kept) for row in self.rows),
        )
