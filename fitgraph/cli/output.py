"""Plain, safe output: text on the terminal, JSON or CSV for programs, one line for an error."""

from __future__ import annotations

import shlex
import shutil
import sys
from collections.abc import Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any, NoReturn

import typer

from fitgraph.errors import InputError, brief
from fitgraph.plain import plain
from fitgraph.wording import plural

if TYPE_CHECKING:
    from rich.console import Console

    from fitgraph.report.blocks import Report
    from fitgraph.shop import Answer, Shop

#: Exit codes.
ANSWER, NO, BAD_INPUT, STOPPED = 0, 1, 2, 130

#: Columns where the output is no terminal.
PLAIN_WIDTH = 100


class BadInputError(InputError):
    """An option that cannot be used; the message says how to mend it."""


def screen(*, error: bool = False) -> Console:
    """Return the console for an answer, or for a remark beside it."""
    from fitgraph.report.as_text import console

    stream = sys.stderr if error else sys.stdout
    return console(stream, None if stream.isatty() else PLAIN_WIDTH)


def terminal_width() -> int:
    """Return the columns there are."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else PLAIN_WIDTH


def complain(message: str) -> None:
    """Print one line on the error stream; the exit code has to tell it where that is full."""
    with suppress(OSError):
        sys.stderr.write(plain(brief(f"fitgraph: {message}")) + "\n")


def remark(message: str) -> None:
    """Print one quiet line on the error stream."""
    from fitgraph.report.as_text import styled

    screen(error=True).print(styled(message, "dim"), soft_wrap=True)


def remark_findings(shop: Shop) -> None:
    """Print one quiet line if there is something to look at in a catalogue."""
    findings = shop.check().found
    if findings:
        which = [] if shop.folder is None else ["--catalogue", str(shop.folder)]
        command = shlex.join(["fitgraph", "check", *which])
        remark(f"{plural(len(findings), 'thing')} to look at in this catalogue: {command}")


def show(report: Report) -> None:
    """Print a report for people."""
    from fitgraph.report.as_text import lines, text

    console = screen()
    if console.is_terminal:
        console.print(*lines(report, terminal_width()), sep="\n")
    else:
        sys.stdout.write(text(report, console.width) + "\n")


def show_json(data: Mapping[str, Any]) -> None:
    """Print data for programs."""
    from fitgraph.report.as_json import json_text

    sys.stdout.write(json_text(data) + "\n")


def show_csv(answer: Answer, table: str | None) -> None:
    """Print a table of an answer for programs."""
    if table is None and not answer.table().rows:
        others = [name for name in answer.tables if answer.table(name).rows]
        if others:
            remark(f"no rows in {answer.tables[0]}; with rows: --table {' or '.join(others)}")
    sys.stdout.write(answer.to_csv(table).replace("\r\n", "\n"))


def put_out(
    answer: Answer,
    shop: Shop | None = None,
    *,
    json: bool,
    csv: bool,
    table: str | None,
    code: int | None = None,
) -> NoReturn:
    """Print an answer as it was asked for, and end with the exit code that it has.

    Parameters
    ----------
    answer : Answer
        The answer.
    shop : Shop, optional
        The shop whose findings are told beside it; without, they are the answer.
    json, csv : bool
        Whether it is printed for programs.
    table : str or None
        Which table is printed as CSV.
    code : int, optional
        The exit code; by default 0 for an answer and 1 for a no.

    Raises
    ------
    BadInputError
        If JSON and CSV are asked for at once, or there is no such table.
    """
    from fitgraph.report.hints import Hints

    if json and (csv or table):
        raise BadInputError("--json and --csv are two forms of one answer; take one of them")
    if csv or table:
        show_csv(answer, table)
    elif json:
        data = answer.to_dict()
        if shop is not None:
            data["findings"] = len(shop.check().found)
        show_json(data)
    else:
        if shop is not None:
            remark_findings(shop)
        show(answer.report(Hints("--json", True, None if shop is None else shop.folder)))
    if code is None:
        code = ANSWER if answer.yes else NO
    raise typer.Exit(code)
