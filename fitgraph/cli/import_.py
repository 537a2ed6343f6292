"""``fitgraph import``: a shop's own spreadsheets, price lists and databases as a catalogue."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitgraph.cli.options import AsJson
from fitgraph.cli.output import (
    ANSWER,
    BAD_INPUT,
    NO,
    BadInputError,
    remark,
    show,
    show_json,
)

if TYPE_CHECKING:
    from fitgraph.intake import Choice, Report
    from fitgraph.report.blocks import Report as Shown
    from fitgraph.report.tables import Table

#: Findings that are printed; the page holds all of them.
_SHOWN = 12


def _preview(choices: list[Choice]) -> Table:
    """Return what each column was taken for, beside what stands in it."""
    from fitgraph.report.tables import Column, Table

    return Table.of(
        "columns",
        choices,
        (Column("column"), lambda c: c.column),
        (Column("means"), lambda c: f"{c.taken.means}{'' if c.sure else '?'}"),
        (Column("samples"), lambda c: ", ".join(c.samples)[:60]),
        headed=False,
    )


def _question(choice: Choice, options: list[str]) -> Shown:
    """Return what is asked about a column of which it is not certain what it is."""
    from fitgraph.intake.mapping import FIELDS
    from fitgraph.report.blocks import Report
    from fitgraph.report.tables import Column, Table
    from fitgraph.report.values import PLACE

    listed = Table.of(
        "options",
        list(enumerate(options, start=1)),
        (Column("place", PLACE), lambda pair: pair[0]),
        (Column("means"), lambda pair: pair[1]),
        (Column("told"), lambda pair: FIELDS.get(pair[1], "a size")),
        headed=False,
    )
    return Report(f"{choice.column}: {', '.join(choice.samples)}", (listed,))


def _asked(choices: list[Choice], *, yes: bool, quiet: bool) -> list[Choice]:
    """Return the choices with what was unsure decided by whoever sits there."""
    from dataclasses import replace

    from fitgraph.intake.mapping import Column

    unsure = [c for c in choices if not c.sure]
    if not unsure or yes:
        return choices
    if quiet or not sys.stdin.isatty():
        named = ", ".join(repr(c.column) for c in unsure[:5])
        raise BadInputError(
            f"it is not certain what {named} {'is' if len(unsure) == 1 else 'are'}; say so in a "
            "file for --mapping, or take the guesses with --yes"
        )
    decided = []
    for choice in choices:
        if choice.sure:
            decided.append(choice)
            continue
        options = [choice.taken.means, *choice.others, "ignore"]
        options = list(dict.fromkeys(options))
        show(_question(choice, options))
        answer = typer.prompt("What is it", default="1")
        means = (
            options[int(answer) - 1]
            if answer.isdigit() and 0 < int(answer) <= len(options)
            else answer.strip()
        )
        column = choice.taken if means == choice.taken.means else Column(means)
        decided.append(replace(choice, taken=column, sure=True))
    return decided


def _shown(report: Report, choices: list[Choice]) -> Shown:
    """Return what an import came to, for people."""
    from fitgraph.report import faults
    from fitgraph.report.blocks import Block, Say, Section, Tone, say_all
    from fitgraph.report.blocks import Report as Told

    intake, loaded = report.intake, report.loaded
    parts = 0 if loaded is None else len(loaded.catalogue.parts)
    read = [
        f"{tally.file}: {tally.read:,} rows read, {tally.loaded:,} loaded, "
        f"{len(tally.aside):,} set aside"
        for tally in intake.tallies
    ]
    rows: list[Block] = [*say_all(read, deep=0)]
    if report.findings:
        rows.append(faults.listed(report.findings[:_SHOWN]))
        if (more := len(report.findings) - _SHOWN) > 0:
            rows.append(Say(f"{more:,} more in import.html", Tone.QUIET, deep=1))
    if any(a.cells for a in intake.aside):
        rows.append(
            Say("Rows set aside are in set-aside.csv: mend them there and import that file.")
        )
    return Told(
        f"{report.folder.name}: {parts:,} parts", (_preview(choices), Section("", tuple(rows)))
    )


def import_(
    sources: Annotated[
        list[str],
        typer.Argument(
            metavar="SOURCE...",
            help="CSV, XLSX, ODS, Parquet, or a database as sqlite:///stock.db#parts.",
            show_default=False,
        ),
    ],
    into: Annotated[
        Path, typer.Option("--into", metavar="DIR", help="The catalogue to make or to add to.")
    ],
    mapping: Annotated[
        Path | None,
        typer.Option(
            "--mapping",
            metavar="FILE",
            help="Which column is what.  [default: mapping.toml in DIR, if it is there]",
            show_default=False,
        ),
    ] = None,
    words: Annotated[
        Path | None,
        typer.Option(
            "--words",
            metavar="DIR",
            help="A catalogue whose vocabulary and phrases serve.  [default: DIR's, or the demo's]",
            show_default=False,
        ),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Take every guess; ask nothing.")] = False,
    json: AsJson = False,
) -> None:
    """Make a catalogue of your own spreadsheets, price lists and databases."""
    from fitgraph.catalogue import demo_folder
    from fitgraph.intake.job import import_tables, prepared
    from fitgraph.intake.mapping import MappingError
    from fitgraph.intake.report import as_data
    from fitgraph.intake.sources import SourceError

    serving = words or (into if (into / "vocabulary.toml").exists() else demo_folder())
    if mapping is None and (into / "mapping.toml").exists():
        mapping = into / "mapping.toml"
    try:
        job = prepared(sources, serving, mapping)
        choices = _asked(job.choices, yes=yes, quiet=json)
        report = import_tables(job, choices, into)
    except (SourceError, MappingError) as error:
        raise BadInputError(str(error)) from None
    if json:
        show_json(as_data(report, choices))
    else:
        show(_shown(report, choices))
        if report.loaded is not None:
            remark(f"Ask it: fitgraph builds --catalogue {into}")
    if report.loaded is None:
        raise typer.Exit(BAD_INPUT)
    raise typer.Exit(NO if report.intake.aside else ANSWER)
