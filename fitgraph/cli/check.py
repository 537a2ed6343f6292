"""``fitgraph check``: what is wrong in a catalogue, where, and how to mend it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder
from fitgraph.cli.output import ANSWER, BAD_INPUT, NO, show, show_json, styled

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.catalogue import Finding


def as_json(findings: Sequence[Finding], parts: int | None) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes.

    Parameters
    ----------
    findings : sequence of Finding
        What was found.
    parts : int or None
        Parts that can be used; None where nothing can go on.
    """
    return {
        "usable": parts is not None,
        "parts": parts or 0,
        "findings": [
            {
                "file": f.file,
                "row": f.row,
                "column": f.column,
                "value": f.value,
                "message": f.message,
                "remedy": f.remedy,
                "severity": f.severity,
                "code": f.code,
            }
            for f in findings
        ],
    }


def _lines(findings: Sequence[Finding], parts: int | None, name: str) -> list[RenderableType]:
    from rich.table import Table

    if parts is None:
        title = f"{name} cannot be used."
    elif not findings:
        return [styled(f"{name}: {parts:,} parts, nothing to mend.", "bold")]
    else:
        things = "1 thing" if len(findings) == 1 else f"{len(findings):,} things"
        title = f"{name}: {parts:,} parts, {things} to look at."
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    for finding in findings:
        table.add_row(styled(f"  {finding.severity}", "dim"), styled(str(finding)))
    return [styled(title, "bold"), table]


def check(catalogue: CatalogueFolder = None, json: AsJson = False) -> None:
    """List what is wrong in a catalogue, where, and how to mend it."""
    from fitgraph.catalogue import CatalogueError, demo_folder, load

    folder: Path = demo_folder() if catalogue is None else catalogue
    findings: Sequence[Finding]
    try:
        loaded = load(folder)
        findings, parts = loaded.findings, len(loaded.catalogue.parts)
    except CatalogueError as error:
        findings, parts = error.findings, None
    if json:
        show_json(as_json(findings, parts))
    else:
        show(*_lines(findings, parts, folder.name or str(folder)))
    raise typer.Exit(BAD_INPUT if parts is None else NO if findings else ANSWER)
