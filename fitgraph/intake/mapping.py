"""The mapping file: which of their columns is what, written once and read ever after."""

from __future__ import annotations

import json
from collections.abc import Mapping as MappingLike
from dataclasses import field
from pathlib import Path
from typing import Any

from fitgraph.catalogue.table_reader import MOST_COLUMNS
from fitgraph.catalogue.toml_text import TomlError, read_toml
from fitgraph.errors import InputError
from fitgraph.files import require_plain
from fitgraph.plain import plain
from fitgraph.records import dataclass

#: What a column can be beside a dimension, which is written ``feature.dimension``, and a feature,
#: of which it says whether it is there.
FIELDS = {
    "sku": "stock number",
    "name": "name or title; sizes are read out of it",
    "text": "description; sizes are read out of it",
    "role": "kind of part",
    "maker": "maker",
    "price": "selling price",
    "per": "what the price is of: each, a pair, a box of 10",
    "mass": "mass",
    "material": "material",
    "stock": "pieces held",
    "note": "note",
    "ignore": "not used",
}

#: The file's name in the folder of a catalogue.
MAPPING = "mapping.toml"

VERSION = 1

#: What ``[roles]`` says of a word that names no part of the shop, and of one that says nothing:
#: there each title tells what kind of part it is.
NO_PART, BY_TITLE = "", "?"


#: What a column can hold of a size: its least, and its most; both columns make its limits.
ENDS = ("least", "most")


class MappingError(InputError):
    """A mapping file that cannot be used; the message says where and how to mend it."""


@dataclass(frozen=True, slots=True)
class Meant:
    """What one of their columns is.

    Parameters
    ----------
    means : str
        A key of :data:`FIELDS`, ``feature.dimension`` or ``feature``.
    unit : str
        Unit of numbers that come without one.
    decimal : str
        The decimal mark of the column, ``.`` or ``,``; empty where each cell speaks for itself.
    end : str
        Which of :data:`ENDS` of a size it holds; empty where it holds the size.
    """

    means: str
    unit: str = ""
    decimal: str = ""
    end: str = ""


@dataclass(frozen=True, slots=True)
class TableMap:
    """What the columns of one table are.

    Parameters
    ----------
    columns : mapping of str to Meant
        By the name in their header.
    header : int or None
        The header's row, where it has to be told.
    """

    columns: MappingLike[str, Meant]
    header: int | None = None


@dataclass(frozen=True, slots=True)
class Mapping:
    """A mapping file.

    Parameters
    ----------
    tables : mapping of str to TableMap
        By their source, as reports call it.
    roles : mapping of str to str
        The role that each of their words for a kind of part means, :data:`NO_PART` or
        :data:`BY_TITLE`.
    """

    tables: MappingLike[str, TableMap] = field(default_factory=dict)
    roles: MappingLike[str, str] = field(default_factory=dict)

    def of(self, source: str, header: tuple[str, ...]) -> TableMap | None:
        """Return the map of a table: that of its source, or one whose columns are all there."""
        named = self.tables.get(source)
        if named is not None:
            return named
        for table in self.tables.values():
            if table.columns and set(table.columns) <= set(header):
                return table
        return None


def _quoted(text: str) -> str:
    return json.dumps(plain(text), ensure_ascii=False)


def written(mapping: Mapping) -> str:
    """Return a mapping as the text of its file."""
    lines = [
        "# Which of your columns is what. Change it and import again; no question is asked then.",
        "# A column is: " + ", ".join(FIELDS) + ", or a feature's dimension like outside.diameter.",
        f"version = {VERSION}",
    ]
    for source, table in mapping.tables.items():
        lines += ["", "[[tables]]", f"source = {_quoted(source)}"]
        if table.header is not None:
            lines.append(f"header = {table.header}")
        lines.append("[tables.columns]")
        for name, column in table.columns.items():
            entries = [f"means = {_quoted(column.means)}"]
            if column.unit:
                entries.append(f"unit = {_quoted(column.unit)}")
            if column.decimal:
                entries.append(f"decimal = {_quoted(column.decimal)}")
            if column.end:
                entries.append(f"end = {_quoted(column.end)}")
            lines.append(f"{_quoted(name)} = {{ {', '.join(entries)} }}")
    if mapping.roles:
        lines += [
            "",
            "# Your words for kinds of parts, and the roles they mean.",
            f'# "{NO_PART}": no part of ours, set aside; "{BY_TITLE}": as each title says.',
            "[roles]",
        ]
        lines += [f"{_quoted(word)} = {_quoted(role)}" for word, role in mapping.roles.items()]
    return "\n".join(lines) + "\n"


def _text(where: str, value: object) -> str:
    if not isinstance(value, str) or len(value) > 400:
        raise MappingError(f"{where} is no text; put it in quotes")
    return value


def _column(where: str, entry: object) -> Meant:
    if isinstance(entry, str):
        return Meant(entry)
    if not isinstance(entry, dict) or set(entry) - {"means", "unit", "decimal", "end"}:
        raise MappingError(f'{where} is no column; write it like {{ means = "price" }}')
    decimal = _text(f"{where}.decimal", entry.get("decimal", ""))
    if decimal not in ("", ".", ","):
        raise MappingError(f"{where}.decimal is {decimal!r}; write a point or a comma")
    means = _text(f"{where}.means", entry.get("means", "ignore"))
    end = _text(f"{where}.end", entry.get("end", ""))
    if end and (end not in ENDS or "." not in means):
        raise MappingError(f"{where}.end is {end!r}; of a size it may be {' or '.join(ENDS)}")
    return Meant(means, _text(f"{where}.unit", entry.get("unit", "")), decimal, end)


def read_mapping(path: Path) -> Mapping:
    """Return a mapping file.

    Raises
    ------
    MappingError
        If it cannot be used.
    """
    try:
        if require_plain(path).st_size > 1 << 22:
            raise MappingError(f"{path.name} is too large for a mapping file")
        document: dict[str, Any] = read_toml(path.read_text(encoding="utf-8-sig"))
    except MappingError:
        raise
    except OSError as error:
        raise MappingError(
            f"{path} cannot be read: {error.strerror}; check its name, and who may read it"
        ) from None
    except UnicodeDecodeError:
        raise MappingError(
            f"{path.name} is no valid TOML (it is not in UTF-8); save it in UTF-8"
        ) from None
    except TomlError as error:
        raise MappingError(f"{path.name} is no valid TOML ({error}); mend that line") from None
    if document.get("version") != VERSION:
        raise MappingError(f"{path.name} has no 'version = {VERSION}'; write it as its first line")
    stray = set(document) - {"version", "tables", "roles"}
    if stray:
        raise MappingError(f"{path.name} has the entry {sorted(stray)[0]!r}, which is not known")
    tables: dict[str, TableMap] = {}
    listed = document.get("tables", [])
    if not isinstance(listed, list):
        raise MappingError(f"{path.name}: tables is no list; write each as [[tables]]")
    for place, entry in enumerate(listed, start=1):
        where = f"{path.name}, table {place}"
        if not isinstance(entry, dict) or set(entry) - {"source", "header", "columns"}:
            raise MappingError(f"{where} takes source, header and columns, and nothing else")
        columns = entry.get("columns", {})
        if not isinstance(columns, dict) or len(columns) > MOST_COLUMNS:
            raise MappingError(f"{where}: columns is no table of columns")
        header = entry.get("header")
        if header is not None and (type(header) is not int or header < 1):
            raise MappingError(f"{where}: header is the number of a row, from 1")
        read = {name: _column(f"{where}, {name!r}", c) for name, c in columns.items()}
        tables[_text(f"{where}: source", entry.get("source"))] = TableMap(read, header)
    roles = document.get("roles", {})
    if not isinstance(roles, dict):
        raise MappingError(f"{path.name}: roles is no table")
    return Mapping(tables, {word: _text(f"roles.{word}", role) for word, role in roles.items()})
