"""``fitgraph import``: a shop's own spreadsheets, price lists and databases as a catalogue."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from fitgraph.cli.output import BAD_INPUT, BadInputError, complain, put_out, remark, show
from fitgraph.cli.shared_options import AsCsv, AsJson, WhichTable

if TYPE_CHECKING:
    from fitgraph.intake.guess import Choice
    from fitgraph.intake.job import Job

Said = TypeVar("Said")


def _asked(job: Job, *, yes: bool, quiet: bool) -> list[Choice]:
    """Return the choices with what was unsure decided by whoever sits there."""
    from dataclasses import replace

    from fitgraph.intake.job import chosen
    from fitgraph.shop import imports

    unsure = [c for c in job.choices if not c.sure]
    if not unsure or yes:
        return job.choices
    if quiet or not sys.stdin.isatty():
        named = ", ".join(f"{c.column!r} ({imports.meaning(c.taken)}?)" for c in unsure[:5])
        raise BadInputError(
            f"it is not certain what {named} {'is' if len(unsure) == 1 else 'are'}; say so in a "
            "file for --mapping, or take the guesses in brackets with --yes"
        )

    def decide(choice: Choice) -> Choice:
        show(imports.question(choice))

        def said(answer: str) -> Choice:
            place = _place(answer, len(choice.options))
            if place is None:
                return chosen(job, choice, answer)
            return replace(choice, taken=choice.options[place], sure=True)

        return _answered("What is it", said)

    return [c if c.sure else decide(c) for c in job.choices]


def _place(answer: str, most: int) -> int | None:
    """Return which of the numbered options an answer is; None where it is no such number."""
    number = int(answer) if re.fullmatch(r"[0-9]{1,4}", answer) else 0
    return number - 1 if 0 < number <= most else None


def _answered(question: str, said: Callable[[str], Said]) -> Said:
    """Ask until an answer can be used."""
    from fitgraph.intake.mapping import MappingError

    while True:
        try:
            return said(typer.prompt(question, default="1").strip())
        except MappingError as error:
            complain(str(error))


def _kinds_asked(job: Job, choices: list[Choice]) -> Job:
    """Return a job in which whoever sits there has said what unknown kinds of parts are."""
    from fitgraph.intake.job import kinds_asked, with_kind
    from fitgraph.shop import imports

    options = imports.kinds(job.vocabulary)
    named = {told.casefold(): name for name, told in options}
    for kind in kinds_asked(job, choices):
        show(imports.kind_question(kind, job.vocabulary))

        def said(answer: str, word: str = kind.word, job: Job = job) -> Job:
            place = _place(answer, len(options))
            meant = named.get(answer.casefold(), answer) if place is None else options[place][0]
            return with_kind(job, word, meant)

        job = _answered("What kind of part is it", said)
    return job


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
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Make a catalogue of your own spreadsheets, price lists and databases."""
    from fitgraph.intake.job import prepared, serving
    from fitgraph.shop import imports

    words, mapping = serving(into, words, mapping)
    quiet = json or csv or table is not None
    job = prepared(sources, words, mapping)
    choices = _asked(job, yes=yes, quiet=quiet)
    if not yes and not quiet and sys.stdin.isatty():
        job = _kinds_asked(job, choices)
    report = imports.import_tables(job, choices, into)
    usable = report.loaded is not None
    try:
        put_out(
            imports.ImportAnswer(report, choices),
            json=json,
            csv=csv,
            table=table,
            code=None if usable else BAD_INPUT,
        )
    finally:
        if usable and not quiet:
            remark(f"Ask it: fitgraph builds --catalogue {into}")
