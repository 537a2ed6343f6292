"""What an import asks, shows beforehand and came to, for commands and pages alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from fitgraph.files import folder_name
from fitgraph.intake.build import ASIDE, PAGE, Imported
from fitgraph.intake.cell_texts import UNSAID
from fitgraph.intake.grid import Found
from fitgraph.intake.guess import Choice
from fitgraph.intake.job import Job
from fitgraph.intake.job import import_tables as tables_imported
from fitgraph.intake.mapping import BY_TITLE, FIELDS, MAPPING, NO_PART, Meant
from fitgraph.intake.row_kinds import UnknownKind
from fitgraph.intake.understood import Intake
from fitgraph.model import Vocabulary
from fitgraph.records import dataclass
from fitgraph.report import as_html, faults
from fitgraph.report.blocks import Block, Say, Section, Tone, say_all
from fitgraph.report.blocks import Report as Shown
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, MASS, PLACE, money_of
from fitgraph.shop.answers import Answer
from fitgraph.wording import plural

#: Findings that are shown; the page in the folder holds all of them.
_SHOWN = 12

#: Words for kinds that are named.
_KINDS = 8


def meaning(column: Meant) -> str:
    """Return what a column is taken for, in a word or two.

    Examples
    --------
    >>> meaning(Meant("mass", "kg")), meaning(Meant("name"))
    ('mass [kg]', 'name')
    >>> meaning(Meant("bore.diameter", "mm", end="least"))
    'bore.diameter, least [mm]'
    """
    means = f"{column.means}, {column.end}" if column.end else column.means
    return f"{means} [{column.unit}]" if column.unit else means


def told(column: Meant) -> str:
    """Return what a column is taken for, in a sentence."""
    if column.unit == UNSAID:
        return "in g or in kg?" if column.means == "mass" else "whole, or in hundredths?"
    if column.end:
        return f"the {column.end} that a size can be"
    return FIELDS.get(column.means, "a size" if "." in column.means else "whether it is there")


def choices_table(choices: Sequence[Choice]) -> Table:
    """Return what each column was taken for, beside what stands in it."""
    return Table.of(
        "columns",
        choices,
        (Column("column", title="Your column"), lambda c: c.column),
        (Column("means", title="Means"), lambda c: meaning(c.taken) + ("" if c.sure else "?")),
        (Column("samples", title="Holds"), lambda c: ", ".join(c.samples)[:60]),
        headed=False,
    )


def question(choice: Choice) -> Shown:
    """Return what is asked about a column of which it is not certain what it is."""
    listed = Table.of(
        "options",
        list(enumerate(choice.options, start=1)),
        (Column("place", PLACE), lambda pair: pair[0]),
        (Column("means"), lambda pair: meaning(pair[1])),
        (Column("told"), lambda pair: told(pair[1])),
        headed=False,
    )
    return Shown(f"{choice.column}: {', '.join(choice.samples)}", (listed,))


def kinds(vocabulary: Vocabulary) -> tuple[tuple[str, str], ...]:
    """Return what a word for a kind of part can mean, and how that is told to people.

    The first is what counts as long as nobody says.
    """
    return (
        (BY_TITLE, "nothing: each title says it, and what does not is set aside"),
        (NO_PART, "no part of ours: set aside"),
        *((name, role.title) for name, role in vocabulary.roles.items()),
    )


def which_rows(kind: UnknownKind) -> str:
    """Return in how many rows a word for a kind stands, and what some of them are called."""
    rows = plural(kind.rows, "row")
    return f"{rows}, such as {', '.join(kind.samples)}"[:120] if kind.samples else rows


def kind_question(kind: UnknownKind, vocabulary: Vocabulary) -> Shown:
    """Return what is asked about a word for a kind of part that is not known."""
    listed = Table.of(
        "options",
        list(enumerate(kinds(vocabulary), start=1)),
        (Column("place", PLACE), lambda pair: pair[0]),
        (Column("told"), lambda pair: pair[1][1]),
        headed=False,
    )
    return Shown(f"{kind.word[:60]}: {which_rows(kind)}", (listed,))


def as_they_stand(table: Found) -> Table:
    """Return the first rows of a table as somebody wrote them."""
    columns = (Column("row", PLACE, "Row"), *(Column(name, title=name) for name in table.header))
    width = len(table.header)
    rows = tuple(
        (number, *(c[:80] for c in cells[:width]), *("",) * (width - len(cells)))
        for number, cells in table.rows
    )
    return Table("rows", columns, rows, f"{table.source}, as it stands")


def understood(intake: Intake, vocabulary: Vocabulary) -> Table:
    """Return rows as they were understood: the part, or why it is none, and what was left out."""
    remarks: dict[int | None, list[str]] = {}
    for finding in intake.findings:
        if finding.code != "set-aside":
            value = f"{finding.value} " if finding.value and finding.column else ""
            told_of = f"{value}{finding.message}".split(";")[0]
            remarks.setdefault(finding.row, []).append(told_of)
    rows: list[tuple[Any, ...]] = []
    for p in (*intake.parts, *intake.more):
        sizes = [f"{path} {value}" for path, (value, _, _) in p.figures.items()]
        more = [*sizes, *(f"({r})" for r in remarks.get(p.row, ()))]
        title = vocabulary.roles[p.role].title if p.role else "told in another list"
        rows.append((p.row, p.sku, title, p.price, p.mass_g, p.stock, "; ".join(more)))
    for aside in intake.aside:
        why = f"{aside.reason}. {aside.remedy}"
        rows.append((aside.row, "", "set aside", None, None, None, why))
    price, mass, stock = (replace(u, blank="") for u in (money_of(vocabulary), MASS, COUNT))
    columns = (
        Column("row", PLACE, "Row"),
        Column("number", title="Number"),
        Column("kind", title="Kind"),
        Column("price", price, "Price"),
        Column("mass", mass, "Mass"),
        Column("stock", stock, "Stock"),
        Column("sizes", title="Sizes, and what was left out"),
    )
    rows.sort(key=lambda row: row[:2])
    return Table("understood", columns, tuple(rows), "What it is understood as")


def rows_read(report: Imported) -> tuple[Say, ...]:
    """Return how many rows of each table were read, loaded and set aside."""
    return say_all(
        (
            f"{tally.file}: {plural(tally.read, 'row')} read, {tally.loaded:,} loaded, "
            f"{len(tally.aside):,} set aside"
            for tally in report.intake.tallies
        ),
        deep=0,
    )


def report(done: Imported, choices: Sequence[Choice]) -> Shown:
    """Return what an import came to, for people."""
    loaded = done.loaded
    parts = 0 if loaded is None else len(loaded.catalogue.parts)
    rows: list[Block] = [*rows_read(done)]
    if done.findings:
        rows.append(faults.listed(done.findings[:_SHOWN]))
        if (more := len(done.findings) - _SHOWN) > 0:
            rows.append(Say(f"{more:,} more in {PAGE}", Tone.QUIET, deep=1))
    if of := done.intake.kinds:
        named = ", ".join(f"{w[:40]} ({plural(n, 'row')})" for w, n in [*of.items()][:_KINDS])
        more_kinds = f" and {len(of) - _KINDS:,} more" if len(of) > _KINDS else ""
        rows.append(
            Say(
                f"Kinds of part that are not known: {named}{more_kinds}. Say under [roles] of "
                f"{MAPPING} what they mean."
            )
        )
    if any(a.cells for a in done.intake.aside):
        rows.append(Say(f"Rows set aside are in {ASIDE}: mend them there and import that file."))
    return Shown(
        f"{folder_name(done.folder)}: {plural(parts, 'part')}",
        (choices_table(choices), Section("", tuple(rows))),
    )


def as_data(report: Imported, choices: Sequence[Choice]) -> dict[str, Any]:
    """Return a report in the shape that docs/commands.md describes."""
    intake = report.intake
    return {
        "folder": folder_name(report.folder),
        "usable": report.loaded is not None,
        "parts": 0 if report.loaded is None else len(report.loaded.catalogue.parts),
        "tables": [
            {
                "source": t.file,
                "read": t.read,
                "loaded": t.loaded,
                "set_aside": len(t.aside),
            }
            for t in intake.tallies
        ],
        "columns": [
            {
                "source": c.source,
                "column": c.column,
                "means": c.taken.means,
                "unit": c.taken.unit,
                "decimal": c.taken.decimal,
                "end": c.taken.end,
                "sure": c.sure,
                "samples": list(c.samples),
            }
            for c in choices
        ],
        "kinds": [{"word": word, "rows_set_aside": rows} for word, rows in intake.kinds.items()],
        "set_aside": [
            {"source": a.source, "row": a.row, "reason": a.reason, "remedy": a.remedy}
            for a in intake.aside
        ],
        "findings": [asdict(f) for f in report.findings],
    }


@dataclass(frozen=True, eq=False, repr=False)
class ImportAnswer(Answer):
    """What an import came to.

    Parameters
    ----------
    found : Imported
        The rows that were read, and what was found in them.
    choices : sequence of Choice
        What each column was taken for.
    """

    found: Imported
    choices: Sequence[Choice]

    @property
    def yes(self) -> bool:
        """Whether every row could be used."""
        return not self.found.intake.aside

    def report(self, hints: Hints | None = None) -> Shown:
        """Return what it came to, for people."""
        return report(self.found, self.choices)

    def _tables(self) -> Sequence[Table]:
        intake = self.found.intake
        rows = Table.of(
            "rows",
            intake.tallies,
            (Column("source"), lambda t: t.file),
            (Column("read", COUNT), lambda t: t.read),
            (Column("loaded", COUNT), lambda t: t.loaded),
            (Column("set_aside", COUNT, "set aside"), lambda t: len(t.aside)),
        )
        columns = Table.of(
            "columns",
            self.choices,
            (Column("source"), lambda c: c.source),
            (Column("column"), lambda c: c.column),
            (Column("means"), lambda c: c.taken.means),
            (Column("unit"), lambda c: c.taken.unit),
            (Column("sure"), lambda c: "yes" if c.sure else "no"),
            (Column("samples", title="holds"), lambda c: ", ".join(c.samples)),
        )
        aside = Table.of(
            "set_aside",
            intake.aside,
            (Column("source"), lambda a: a.source),
            (Column("row", PLACE), lambda a: a.row),
            (Column("reason"), lambda a: a.reason),
            (Column("remedy"), lambda a: a.remedy),
        )
        findings, _ = faults.tables(self.found.findings)
        return (rows, columns, aside, findings)

    def to_dict(self) -> dict[str, Any]:
        """Return it in the shape that docs/commands.md describes."""
        return as_data(self.found, self.choices)

    def page(self) -> str:
        """Return all of it as a page that needs nothing else and runs nothing."""
        titles = ("Rows", "Columns", "Rows that were set aside", "Findings")
        listed = (
            Section(title, (table,))
            for title, table in zip(titles, self._tables(), strict=True)
            if table.rows
        )
        told = f"Rows that were set aside are in {ASIDE}: mend them there and import that file."
        remark = () if self.yes else (Say(told),)
        shown = Shown(self.report().headline, (*remark, *listed))
        return f"{as_html.page(shown, f'Import into {folder_name(self.found.folder)}')}\n"


def import_tables(job: Job, choices: Sequence[Choice], into: Path) -> Imported:
    """Make or extend a catalogue folder by what the choices say, with a page of what it came to.

    Raises
    ------
    MappingError
        If a choice names what the vocabulary does not have.
    OSError
        If the folder cannot be written.
    """
    return tables_imported(job, choices, into, lambda done: ImportAnswer(done, choices).page())
