"""Read the tables of figures that ship with the package; every row names its source."""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

Row = TypeVar("Row")

#: How the columns end that hold figures: their units.
_UNITS = ("_mm", "_mm2", "_mpa", "_kg", "_nm")

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


def by_name(name: str, row: Callable[..., Row]) -> Mapping[str, Row]:
    """Return a table by its first column.

    Parameters
    ----------
    name : str
        As in :func:`rows`.
    row : callable
        Makes a row of its cells, from left to right; those of columns that end in a unit are
        numbers.
    """
    found = {}
    for cells in rows(name):
        values = [float(v) if c.endswith(_UNITS) else v for c, v in cells.items()]
        found[str(values[0])] = row(*values)
    return MappingProxyType(found)
