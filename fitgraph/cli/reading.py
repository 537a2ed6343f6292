"""The catalogue a command works on."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

from fitgraph.cli.output import remark

if TYPE_CHECKING:
    from fitgraph.catalogue import Loaded


def read(folder: Path | None) -> Loaded:
    """Return a catalogue, the demo where no folder is named.

    Raises
    ------
    CatalogueError
        If nothing can go on.
    """
    from fitgraph.catalogue import demo_folder, load

    return load(demo_folder() if folder is None else folder)


def remark_findings(loaded: Loaded, folder: Path | None) -> None:
    """Print one quiet line if there is something to look at in a catalogue."""
    if loaded.findings:
        things = "1 thing" if len(loaded.findings) == 1 else f"{len(loaded.findings)} things"
        which = [] if folder is None else ["--catalogue", str(folder)]
        command = shlex.join(["fitgraph", "check", *which])
        remark(f"{things} to look at in this catalogue: {command}")
