"""What an import asks, shows beforehand and came to, for commands and pages alike."""

from __future__ import annotations

from collections.abc import Sequence

from fitgraph.intake.build import ASIDE, PAGE, Report, Taken
from fitgraph.intake.guess import Choice
from fitgraph.intake.mapping import FIELDS
from fitgraph.intake.mapping import Column as Meant
from fitgraph.intake.values import UNSAID
from fitgraph.model import Vocabulary
from fitgraph.report import faults
from fitgraph.report.blocks import Block, Say, Section, Tone, say_all
from fitgraph.report.blocks import Report as Shown
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import PLACE
from fitgraph.units import show_mass, show_money

#: Findings that are shown; the page in the folder holds all of them.
_SHOWN = 12


def meaning(column: Meant) -> str:
    """Return what a column is taken for, in a word or two.

    Examples
    --------
    >>> meaning(Meant("mass", "kg")), meaning(Meant("name"))
    ('mass [kg]', 'name')
    """
    return f"{column.means} [{column.unit}]" if column.unit else column.means


def told(column: Meant) -> str:
    """Return what a column is taken for, in a sentence."""
    if column.unit == UNSAID:
        return "mass, in grams or kilograms: not certain which"
    return FIELDS.get(column.means, "a size")


def choices_table(choices: Sequence[Choice], *, headed: bool = False) -> Table:
    """Return what each column was taken for, beside what stands in it."""
    return Table.of(
        "columns",
        choices,
        (Column("column", title="Your column"), lambda c: c.column),
        (Column("means", title="Means"), lambda c: meaning(c.taken) + ("" if c.sure else "?")),
        (Column("samples", title="Holds"), lambda c: ", ".join(c.samples)[:60]),
        headed=headed,
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


def understood(parts: Sequence[Taken], vocabulary: Vocabulary) -> Table:
    """Return parts as they were understood, a row each."""
    digits, currency = vocabulary.minor_digits, vocabulary.currency

    def price(part: Taken) -> str:
        return "" if part.price is None else show_money(part.price, currency, digits)

    return Table.of(
        "",
        parts,
        (Column("sku", title="Number"), lambda p: p.sku),
        (Column("role", title="Kind"), lambda p: vocabulary.roles[p.role].title),
        (Column("price", title="Price"), price),
        (Column("mass", title="Mass"), lambda p: "" if p.mass_g is None else show_mass(p.mass_g)),
        (Column("stock", title="Stock"), lambda p: "" if p.stock is None else str(p.stock)),
        (
            Column("figures", title="Sizes"),
            lambda p: ", ".join(f"{path} {value}" for path, (value, _, _) in p.figures.items()),
        ),
    )


def rows_read(report: Report) -> tuple[Say, ...]:
    """Return how many rows of each table were read, loaded and set aside."""
    return say_all(
        (
            f"{tally.file}: {tally.read:,} rows read, {tally.loaded:,} loaded, "
            f"{len(tally.aside):,} set aside"
            for tally in report.intake.tallies
        ),
        deep=0,
    )


def report(done: Report, choices: Sequence[Choice]) -> Shown:
    """Return what an import came to, for people."""
    loaded = done.loaded
    parts = 0 if loaded is None else len(loaded.catalogue.parts)
    rows: list[Block] = [*rows_read(done)]
    if done.findings:
        rows.append(faults.listed(done.findings[:_SHOWN]))
        if (more := len(done.findings) - _SHOWN) > 0:
            rows.append(Say(f"{more:,} more in {PAGE}", Tone.QUIET, deep=1))
    if any(a.cells for a in done.intake.aside):
        rows.append(Say(f"Rows set aside are in {ASIDE}: mend them there and import that file."))
    return Shown(
        f"{done.folder.name}: {parts:,} parts", (choices_table(choices), Section("", tuple(rows)))
    )
