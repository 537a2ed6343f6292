"""``fitgraph check`` and ``tour``: whether a catalogue is sound, and what fitgraph can do."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import fitgraph
from fitgraph.cli.output import ANSWER, BAD_INPUT, NO, complain, put_out
from fitgraph.cli.shared_options import AsCsv, AsJson, CatalogueFolder, WhichTable, either


def check(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="[DIR]", help="Folder with the catalogue, as with --catalogue."),
    ] = None,
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """List what is wrong in a catalogue, where, and how to mend it."""
    from fitgraph.shop import check_folder

    answer = check_folder(either(folder, catalogue, "--catalogue"))
    code = BAD_INPUT if answer.parts is None else ANSWER if answer.yes else NO
    put_out(answer, json=json, csv=csv, table=table, code=code)


def tour(json: AsJson = False, csv: AsCsv = False, table: WhichTable = None) -> None:
    """Answer one enquiry of the demo from end to end."""
    story = fitgraph.open().story()
    if story is None:
        complain("no enquiry of the demo shows both a build and a clash")
        raise typer.Exit(NO)
    put_out(story, json=json, csv=csv, table=table)
