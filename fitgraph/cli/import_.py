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
    styled,
)

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.intake import Choice, Report

#: Findings that are printed; the page holds all of them.
_SHOWN = 12


def _preview(choices: list[Choice]) -> list[RenderableType]:
    """Return what each column was taken for, beside what stands in it."""
    from rich.table import Table

    table = Table.grid(padding=(0, 2, 0, 0))
    for choice in choices:
        sure = "" if choice.sure else "?"
        table.add_row(
            styled(f"  {choice.column}"),
            styled(f"{choice.taken.means}{sure}", "dim" if choice.taken.means == "ignore" else ""),
            styled(", ".join(choice.samples)[:60], "dim"),
        )
    return [table]


def _asked(choices: list[Choice], *, yes: bool, quiet: bool) -> list[Choice]:
    """Return the choices with what was unsure decided by whoever sits there."""
    from dataclasses import replace

    from fitgraph.intake.mapping import FIELDS, Column

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
        show(
            styled(f"{choice.column}: {', '.join(choice.samples)}", "bold"),
            *(
                styled(f"  {n}  {means}  {FIELDS.get(means, 'a size')}")
                for n, means in enumerate(options, start=1)
            ),
        )
        answer = typer.prompt("What is it", default="1")
        means = (
            options[int(answer) - 1]
            if answer.isdigit() and 0 < int(answer) <= len(options)
            else answer.strip()
        )
        column = choice.taken if means == choice.taken.means else Column(means)
        decided.append(replace(choice, taken=column, sure=True))
    return decided


def _lines(report: Report, choices: list[Choice]) -> list[RenderableType]:
    from rich.table import Table

    intake, loaded = report.intake, report.loaded
    parts = 0 if loaded is None else len(loaded.catalogue.parts)
    lines: list[RenderableType] = [
        styled(f"{report.folder.name}: {parts:,} parts", "bold"),
        *_preview(choices),
        "",
    ]
    for tally in intake.tallies:
        lines.append(
            styled(
                f"{tally.file}: {tally.read:,} rows read, {tally.loaded:,} loaded, "
                f"{len(tally.aside):,} set aside"
            )
        )
    if report.findings:
        table = Table.grid(padding=(0, 2, 0, 0))
        table.add_column(no_wrap=True)
        table.add_column(overflow="fold")
        for finding in report.findings[:_SHOWN]:
            table.add_row(styled(f"  {finding.severity}", "dim"), styled(str(finding)))
        lines.append(table)
        if len(report.findings) > _SHOWN:
            lines.append(styled(f"  {len(report.findings) - _SHOWN:,} more in import.html", "dim"))
    if any(a.cells for a in intake.aside):
        lines.append(
            styled("Rows set aside are in set-aside.csv: mend them there and import that file.")
        )
    return lines


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
        show(*_lines(report, choices))
        if report.loaded is not None:
            remark(f"Ask it: fitgraph builds --catalogue {into}")
    if report.loaded is None:
        raise typer.Exit(BAD_INPUT)
    raise typer.Exit(NO if report.intake.aside else ANSWER)
