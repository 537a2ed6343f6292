"""Read the tables of figures that ship with the package; every row names its source."""

from __future__ import annotations

import csv
from importlib.resources import files


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
    table = files(__package__) / "tables" / f"{name}.csv"
    with table.open(encoding="utf-8") as stream:
        return tuple(csv.DictReader(stream))
