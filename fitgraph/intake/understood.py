"""What rows of their tables say: what is understood, what is set aside and why."""

from __future__ import annotations

import re
from collections.abc import Mapping as MappingLike
from collections.abc import Sequence
from dataclasses import field
from itertools import zip_longest

from fitgraph.catalogue.figures import UNKNOWN_TEXTS
from fitgraph.catalogue.findings import WARNING, Finding, Notes, RowTally
from fitgraph.catalogue.reading import LONGEST_TEXT
from fitgraph.catalogue.table_reader import TOTALS
from fitgraph.intake.across import across
from fitgraph.intake.cell_texts import like_a_day
from fitgraph.intake.filled import Filling
from fitgraph.intake.grid import Found
from fitgraph.intake.list_rows import ListRow, columns_of
from fitgraph.intake.lost_values import WITHOUT_VALUE
from fitgraph.intake.mapping import MAPPING, Mapping
from fitgraph.intake.phrases import Phrases
from fitgraph.intake.row_kinds import RowKinds, heading
from fitgraph.intake.sources import SourceSheet, letter
from fitgraph.intake.taken import Taken
from fitgraph.model import Vocabulary
from fitgraph.records import dataclass
from fitgraph.wording import plural

#: What a spreadsheet makes of a long number: 4.00638E+12.
_SHORTENED = re.compile(r"\d(?:[.,]\d+)?E\+\d+", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Aside:
    """A row that could not be used.

    Parameters
    ----------
    source : str
        The table it is from.
    row : int
        Its number there.
    cells : mapping of str to str
        What stands in it, by their own columns.
    reason, remedy : str
        Why, and how to mend it.
    """

    source: str
    row: int
    cells: MappingLike[str, str]
    reason: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Intake:
    """What was understood of some tables.

    Parameters
    ----------
    parts : tuple of Taken
        Parts, in their order.
    aside : tuple of Aside
        Rows that could not be used.
    findings : tuple of Finding
        What is wrong or doubtful, with its row in their own table.
    tallies : tuple of RowTally
        Of each table: read = loaded + set aside.
    mapping : Mapping
        By which it was read.
    kinds : mapping of str to int
        Words for kinds of parts that are not known, and how many rows were set aside for each.
    more : tuple of Taken
        What is told of parts that are known already, from before.
    """

    parts: tuple[Taken, ...]
    aside: tuple[Aside, ...]
    findings: tuple[Finding, ...]
    tallies: tuple[RowTally, ...]
    mapping: Mapping
    kinds: MappingLike[str, int] = field(default_factory=dict)
    more: tuple[Taken, ...] = ()


class _Reader:
    def __init__(
        self,
        mapping: Mapping,
        vocabulary: Vocabulary,
        phrases: Phrases,
        held: MappingLike[str, str],
    ) -> None:
        self.mapping, self.roles = mapping, vocabulary.roles
        self.kinds = RowKinds(mapping, vocabulary, phrases)
        self.filling = Filling(vocabulary, phrases)
        #: Parts of which rows may tell more that do not say what they are.
        self.held = {sku.casefold(): (sku, role) for sku, role in held.items()}
        self.more: dict[str, Taken] = {}
        #: In which row a list told first of a part that another one has.
        self.first: dict[tuple[str, str], int] = {}
        self.notes = Notes()
        self.sheet_names: dict[str, str] = {}
        self.parts: dict[str, Taken] = {}
        self.capitals: dict[str, str] = {}
        self.aside: list[Aside] = []
        self.tallies: list[RowTally] = []
        #: Rows of a kind that is not known, of which the title told it: first row, and how many.
        self.by_title: dict[tuple[str, str], list[int]] = {}

    def set_aside(
        self,
        tally: RowTally,
        number: int,
        reason: str,
        remedy: str,
        cells: MappingLike[str, str] | None = None,
    ) -> None:
        tally.aside.append(number)
        self.aside.append(Aside(tally.file, number, cells or {}, reason, remedy))

    def table(self, table: Found) -> None:
        tally = RowTally(table.source)
        self.tallies.append(tally)
        for number in table.sums:
            tally.read += 1
            self.set_aside(tally, number, "is a row of sums, or the header again", "Leave it")
        self.header(table)
        columns = columns_of(table, self.mapping)
        section = called = self.called(table)
        by_sheet: list[int] = []
        self.by_title.clear()
        for number, cells in table.rows:
            tally.read += 1
            over = heading(table, cells)
            if over is not None:
                section = over
            if over and (role := self.kinds.meant(over)):
                below = f"is a heading: what stands below it is a {self.roles[role].title}"
                self.set_aside(tally, number, below, "Leave it")
                continue
            row = ListRow(table.source, number, cells, columns, self.notes)
            fault = self.row(table, row, section)
            if fault is None:
                tally.loaded += 1
                silent = section and section is called and not row.text("role")
                titles = row.texts("name", "text") if silent else []
                if silent and not any(said.role for said in self.kinds.read(titles, "")):
                    by_sheet.append(number)
                continue
            self.set_aside(tally, number, *fault, _shown(table.header, cells))
            row.doubt("set-aside", "", " ".join(cells)[:80], *fault)
        if by_sheet:
            kind = self.roles[self.kinds.meant(called)].title
            many = f"{plural(len(by_sheet), 'row')}, the first of them here"
            self.notes.add(
                "kind-by-sheet",
                table.source,
                by_sheet[0],
                "",
                called,
                f"is what the sheet is called; what does not say what it is ({many}) was taken "
                f"for a {kind}",
                "Say what they are in a column if they are something else",
                WARNING,
            )
        for (word, role), (first, *rows) in self.by_title.items():
            self.notes.add(
                "kind-by-title",
                table.source,
                first,
                next((name for name, _, _ in columns["role"]), ""),
                word,
                f"is no known kind of part; {plural(len(rows), 'row')} of it, the first of them "
                f"here, {'was' if len(rows) == 1 else 'were'} taken for a "
                f"{self.roles[role].title} by the title",
                f"Say what it means under [roles] of {MAPPING}",
                WARNING,
            )
        tally.check()

    def called(self, table: Found) -> str:
        """Return the name of a table's sheet where that names a kind of part, as a heading does.

        Rows without titles tell more of parts that another sheet has, whatever theirs is called.
        """
        name = self.sheet_names.get(table.source, "")
        plain = len(name.split()) < 3 and not any(map(str.isdigit, name))
        return name if plain and _titled(table, self.mapping) and self.kinds.meant(name) else ""

    def header(self, table: Found) -> None:
        """Tell what is doubtful about the names of a table's columns."""
        names = ", ".join(table.header)[:80]
        if table.short:
            self.notes.add(
                "short-header",
                table.source,
                table.at,
                "",
                names,
                "has fewer names than the rows below it have cells",
                "Look whether each column means what is said here, and name the one that has none",
                WARNING,
            )
        heads = {table.at, *table.under}
        for number in sorted(heads & table.broken):
            self.notes.add(
                "not-utf8",
                table.source,
                number,
                "",
                names,
                "holds bytes that are no letters, in the names of its columns",
                "Look whether each column means what is said here",
                WARNING,
            )

    def outside(self, sheet: SourceSheet, found: Sequence[Found]) -> None:
        """Tell of the rows of a sheet that are in no table."""
        inside = {number for t in found for number in t.numbers}
        tally = RowTally(sheet.title)
        for told in sheet.remarks:
            at = (sheet.title, told.row, "", told.value)
            self.notes.add(told.code, *at, told.message, told.remedy, WARNING)
        for number, value, fault, torn in sheet.damaged:
            tally.read += 1
            remedy = "Check its quotation marks and its length"
            above = [t.header for t in found if t.at < number][-1:]
            shown = _shown(above[0] if above else (), torn)
            self.set_aside(tally, number, fault, remedy, shown)
            at = (sheet.title, number, "", value)
            self.notes.add("damaged", *at, f"{fault}; set aside", remedy)
        for number, cells in sheet.rows:
            if number not in inside:
                self.notes.add(
                    "outside",
                    sheet.title,
                    number,
                    "",
                    " ".join(cells)[:80],
                    "stands outside of every table and was passed over",
                    "Say in the mapping which row is the header, if it belongs to one",
                    WARNING,
                )
        if tally.read:
            self.tallies.append(tally)

    def row(self, table: Found, row: ListRow, section: str) -> tuple[str, str] | None:
        """Take one row under a heading; return why it cannot be used, and how to mend it."""
        fault = _unreadable(table, row)
        if fault is not None:
            return fault
        typed, sku = row.text("sku"), row.sku
        titles = row.texts("name", "text")
        word = row.text("role")
        mute = not (word or section or any(titles))
        before = self.capitals.get(sku.casefold())
        if before is not None:
            other = self.parts[before]
            alike = _same(other, titles) if any(titles) else self.kinds.meant(word) == other.role
            if other.source == table.source or not (mute or alike):
                return (
                    f"has the stock number of row {other.row} of {other.source}",
                    "Give each part its own stock number, or drop the row",
                )
            self.tell_more(other, row, titles)
            return None
        if mute and sku.casefold() in self.held:
            sku, role = self.held[sku.casefold()]
            known = self.more.setdefault(sku, Taken(sku, role, row.number, row.source))
            self.tell_more(known, row, titles)
            return None
        if any(map(_summed, (typed, *titles[:1]))):
            return (
                "looks like a row of sums",
                "Leave it, or write its title otherwise if it is a part",
            )
        role, said = self.kinds.of(word, titles, section)
        if not role and mute:
            return (
                "has a stock number that no list of parts has, and does not say what it is",
                "Import it with the list that has its title, or into the folder that has the part",
            )
        if not role:
            return self.kinds.none(word or section, said)
        if word and word.casefold() not in self.kinds.said and not self.kinds.meant(word):
            self.by_title.setdefault((word, role), [row.number]).append(row.number)
        part = Taken(sku, role, row.number, row.source)
        if sku != typed:
            row.doubt(
                "spaces",
                row.column("sku"),
                typed,
                f"has spaces; it is written {sku}",
                "Use the new number",
                WARNING,
            )
        if like_a_day(typed):
            row.doubt(
                "like-a-day",
                row.column("sku"),
                typed,
                "looks like a day; a spreadsheet makes such days of stock numbers like 3-5",
                "Compare it with the true number, and write that in a cell formatted as text",
                WARNING,
            )
        part.name = (titles[0] if titles else "")[:LONGEST_TEXT] or sku
        self.filling.fill(part, row, said)
        self.parts[sku] = part
        self.capitals[sku.casefold()] = sku
        return None

    def tell_more(self, part: Taken, row: ListRow, titles: Sequence[str]) -> None:
        """Take what a row tells of a part that another list has."""
        more = Taken(part.sku, part.role, row.number, row.source)
        self.filling.fill(more, row, self.kinds.read(titles, part.role))
        if part.name == part.sku and titles and titles[0]:
            part.name = titles[0][:LONGEST_TEXT]
        first = self.first.get((part.sku, row.source))
        if more.stock is None:
            pass
        elif part.stock is None:
            self.first[part.sku, row.source] = row.number
        elif first is not None:
            # As in a catalogue's own stock.csv: so many here, so many there.
            row.doubt(
                "another-list",
                row.column("stock"),
                str(more.stock),
                f"is of a part that row {first} counts as well; they are added up",
                "Drop one of the two if they are the same pieces",
                WARNING,
            )
            part.stock, more.stock = part.stock + more.stock, None
        for name in part.add(more):
            row.doubt(
                "another-list",
                "",
                part.sku,
                f"has another {name} here than in row {part.row} of {part.source}; that of there "
                "is used",
                "Look which one is right, and drop the other",
                WARNING,
            )


def _shown(header: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    """Return the cells of a row by the names of their columns, those beyond them by letters."""
    beyond = [f"column {letter(n)}" for n in range(len(header), len(cells))]
    return dict(zip_longest((*header, *beyond), cells, fillvalue="")) if cells else {}


def _unreadable(table: Found, row: ListRow) -> tuple[str, str] | None:
    """Return why a row or its stock number cannot be read, and how to mend it."""
    if row.number in table.broken:
        return (
            "holds bytes that are no letters of this file (\ufffd)",
            "Type them again and save the list as CSV in UTF-8",
        )
    if len(row.cells) > len(table.header):
        return (
            f"has {len(row.cells)} cells where the header has {len(table.header)}",
            "Put cells that hold a separator in quotes",
        )
    typed = row.text("sku")
    if typed.startswith("date "):
        return ("has a date for its stock number", "Write it again in a cell formatted as text")
    if _SHORTENED.fullmatch(typed):
        return (
            f"has {typed} for its stock number (column {row.column('sku')!r}), of which a "
            "spreadsheet has cut off digits",
            "Write it again in a cell formatted as text",
        )
    if WITHOUT_VALUE.fullmatch(typed):
        return (
            "has an error or a formula without a value for its stock number",
            "Write the number itself, or save the workbook once more in a spreadsheet",
        )
    sku = row.sku
    if not any(c.isalnum() for c in sku) or sku.casefold() in UNKNOWN_TEXTS | {"none"}:
        return "has no stock number", "Give it one"
    if len(sku) > 100:
        return "has a stock number of more than 100 letters", "Give it a shorter one"
    return None


def _same(part: Taken, titles: Sequence[str]) -> bool:
    """Say whether a title is that of a part, or the first that it gets."""
    title = " ".join((titles[0] if titles else "").casefold().split())[:LONGEST_TEXT]
    return part.name == part.sku or title == " ".join(part.name.casefold().split())


def _summed(text: str) -> bool:
    """Say whether a title is rather that of a sum: "Total bars", "Grand total all".

    Examples
    --------
    >>> _summed("Total bars"), _summed("Bars, grand total"), _summed("Totally black bar")
    (True, True, False)
    """
    words = [w.strip(".:*=()") for w in text.casefold().split()]
    return 0 < len(words) <= 5 and bool(TOTALS & {words[0], words[-1], *words[1:2]})


def take_in(
    tables: Sequence[Found],
    mapping: Mapping,
    vocabulary: Vocabulary,
    phrases: Phrases,
    sheets: Sequence[SourceSheet] = (),
    held: MappingLike[str, str] | None = None,
) -> Intake:
    """Return what is understood of some tables.

    Parameters
    ----------
    tables : sequence of Found
        Of their sheets.
    mapping : Mapping
        Which column is what.
    vocabulary, phrases
        What words mean.
    sheets : sequence of SourceSheet
        Where the tables stand; rows that could not be read, or stand outside of every table,
        are told.
    held : mapping of str to str, optional
        Role of each part that is known already: rows that do not say what they are tell more of
        it.
    """
    reader = _Reader(mapping, vocabulary, phrases, held or {})
    reader.sheet_names = {sheet.title: sheet.name for sheet in sheets}
    for sheet in sheets:
        reader.outside(sheet, [t for t in tables if t.source == sheet.title])
    # What has no titles may tell of parts that another table has.
    for table in sorted(tables, key=lambda t: not _titled(t, mapping)):
        reader.table(table)
    parts = tuple(reader.parts.values())
    for finding in across(parts, vocabulary):
        reader.notes.take(finding)
    return Intake(
        parts,
        tuple(reader.aside),
        reader.notes.all(),
        tuple(reader.tallies),
        mapping,
        dict(reader.kinds.unknown.most_common()),
        tuple(reader.more.values()),
    )


def _titled(table: Found, mapping: Mapping) -> bool:
    return not {"name", "text", "role"}.isdisjoint(columns_of(table, mapping))
