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
    from fitgraph.intake.guess import Choice
    from fitgraph.intake.job import Job


def _asked(job: Job, *, yes: bool, quiet: bool) -> list[Choice]:
    """Return the choices with what was unsure decided by whoever sits there."""
    from dataclasses import replace

    from fitgraph.intake.job import chosen
    from fitgraph.shop import imports

    unsure = [c for c in job.choices if not c.sure]
    if not unsure or yes:
        return job.choices
    if quiet or not sys.stdin.isatty():
        named = ", ".join(repr(c.column) for c in unsure[:5])
        raise BadInputError(
            f"it is not certain what {named} {'is' if len(unsure) == 1 else 'are'}; say so in a "
            "file for --mapping, or take the guesses with --yes"
        )
    decided = []
    for choice in job.choices:
        if choice.sure:
            decided.append(choice)
            continue
        options = choice.options
        show(imports.question(choice))
        answer = typer.prompt("What is it", default="1").strip()
        if answer.isdigit() and 0 < int(answer) <= len(options):
            decided.append(replace(choice, taken=options[int(answer) - 1], sure=True))
        else:
            decided.append(chosen(job, choice, answer))
    return decided


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
    from fitgraph.intake.job import import_tables, prepared, serving
    from fitgraph.intake.mapping import MappingError
    from fitgraph.intake.report import as_data
    from fitgraph.intake.sources import SourceError
    from fitgraph.shop import imports

    words, mapping = serving(into, words, mapping)
    try:
        job = prepared(sources, words, mapping)
        choices = _asked(job, yes=yes, quiet=json)
        report = import_tables(job, choices, into)
    except (SourceError, MappingError) as error:
        raise BadInputError(str(error)) from None
    if json:
        show_json(as_data(report, choices))
    else:
        show(imports.report(report, choices))
        if report.loaded is not None:
            remark(f"Ask it: fitgraph builds --catalogue {into}")
    if report.loaded is None:
        raise typer.Exit(BAD_INPUT)
    raise typer.Exit(NO if report.intake.aside else ANSWER)
