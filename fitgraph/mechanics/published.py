"""Read the tables of figures that ship with the package; every row names its source."""

from __future__ import annotations

import csv
from pathlib import Path

_FOLDER = Path(__file__).parent / "tables"


def rows(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of ``tables/<name>.csv`` as they are written.

    Parameters
    ----------
    name : str
        Name of the table, without the ending.

    Raises
    ------
    FileNotFoundError
        If no table of that name ships with the package.
    """
    with (_FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return tuple(csv.DictReader(stream))
