"""Text from anywhere, made harmless for a terminal, a page, a sheet and a spreadsheet.

Control codes could move a terminal's cursor, bidirectional overrides could show a text in
another order than it is read, and a cell that begins like a formula could be run.

Examples
--------
>>> plain("bar\\x1b[31m\\u202egnp")
'bar [31m gnp'
>>> cell("=1+1")
"'=1+1"
"""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Iterable, Sequence
from typing import IO, Any

#: What a spreadsheet would take for the beginning of a formula; full-width forms, since some
#: fold them (OWASP, "CSV Injection").
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def plain(text: str, keep: str = "") -> str:
    """Return a text in which whatever a screen would obey instead of showing it is a space.

    Control codes, embeddings, overrides and isolates of writing direction (UAX #9), signs
    without width, and letters that no standard knows.

    Parameters
    ----------
    text : str
        Anything.
    keep : str
        Letters that stay nevertheless, such as a line break.
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in keep else " " for c in text)


def composed(text: str) -> str:
    """Return a text with each letter and its marks as one sign where there is one (Unicode's NFC).

    Some systems keep é as one sign and others as two, which look the same and mean the same.

    Examples
    --------
    >>> composed("e\\u0301") == "é"
    True
    """
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def cell(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula and no screen obeys."""
    harmless = plain(text, keep="\n")
    if harmless.lstrip(" \N{NO-BREAK SPACE}").startswith(_FORMULA) or text.startswith(_FORMULA):
        return f"'{harmless}"
    return harmless


def csv_row(values: Iterable[Any]) -> list[str]:
    """Return the cells of a row: texts guarded, nothing for None, numbers as numbers.

    A number below zero is no formula: with a guard before it a program would read a text.

    Examples
    --------
    >>> csv_row(["-2", -2.5, 12.0, None, 10**13 + 1])
    ["'-2", '-2.5', '12', '', '10000000000001']
    """
    return [_csv_cell(value) for value in values]


def _csv_cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return cell(value)
    return f"{value:.12g}" if isinstance(value, float) else str(value)


class CsvWriter:
    """Writes tables as CSV (RFC 4180), headings and cells guarded alike.

    Parameters
    ----------
    file : file
        Open for text, with ``newline=""``.
    delimiter, lineterminator : str
        As in :mod:`csv`.
    """

    def __init__(
        self, file: IO[str], *, delimiter: str = ",", lineterminator: str = "\r\n"
    ) -> None:
        self._writer = csv.writer(file, delimiter=delimiter, lineterminator=lineterminator)

    def row(self, values: Iterable[Any]) -> None:
        """Write one row."""
        self._writer.writerow(csv_row(values))

    def rows(self, rows: Iterable[Iterable[Any]]) -> None:
        """Write rows."""
        self._writer.writerows(csv_row(r) for r in rows)


def csv_text(heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return a table as CSV; numbers in as many digits as they need (twelve).

    Examples
    --------
    >>> csv_text(["part", "=mass"], [["@x", -1.5], ["b", None]])
    "part,'=mass\\r\\n'@x,-1.5\\r\\nb,\\r\\n"
    """
    out = io.StringIO()
    writer = CsvWriter(out)
    writer.row(heads)
    writer.rows(rows)
    return out.getvalue()
