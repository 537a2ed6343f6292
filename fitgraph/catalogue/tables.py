"""Read one plain table, keep every row that can be used, and report the rest."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fitgraph.catalogue.findings import ERROR, WARNING, CatalogueError, Finding, shorten

#: A longer line is taken for damage, not for data.
LONGEST_LINE = 100_000

#: A quoted cell that runs over more lines was never closed.
MOST_LINES = 40


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table: its line number, from 1, and its cells by column."""

    number: int
    cells: dict[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "").strip()


@dataclass(frozen=True, slots=True)
class Table:
    """A table as read."""

    file: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]


def _decode(data: bytes, file: str, findings: list[Finding]) -> list[tuple[int, str]]:
    lines: list[tuple[int, str]] = []
    if data.startswith(b"\xef\xbb\xbf"):
        data = data[3:]
    for number, raw in enumerate(data.splitlines(), start=1):
        if len(raw) > LONGEST_LINE:
            findings.append(
                Finding(
                    file,
                    number,
                    "",
                    shorten(raw[:80].decode("utf-8", "replace")),
                    f"is a line of {len(raw):,} bytes and was left out",
                    f"Cut it into rows of at most {LONGEST_LINE:,} bytes",
                )
            )
            continue
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError:
            text = None
        if text is None or "\0" in text:
            findings.append(
                Finding(
                    file,
                    number,
                    "",
                    shorten(raw.decode("utf-8", "replace")),
                    "holds bytes that are no UTF-8 text and was left out",
                    "Save the table as CSV in UTF-8",
                )
            )
            continue
        lines.append((number, text))
    return lines


def _delimiter(header: str) -> str:
    # Spreadsheets with a decimal comma write semicolons.
    return max(",;\t", key=header.count)


class _Feed:
    """Lines for one row; notes whether the row asked for more than there may be."""

    def __init__(self, lines: Sequence[tuple[int, str]], at: int) -> None:
        self.lines, self.at = lines, at
        self.last = min(at + MOST_LINES, len(lines))
        self.ran_out = False

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> str:
        if self.at == self.last:
            self.ran_out = True
            raise StopIteration
        self.at += 1
        return self.lines[self.at - 1][1]


def _row_at(
    lines: Sequence[tuple[int, str]], at: int, delimiter: str, width: int
) -> tuple[list[str] | None, int, str]:
    """Return the cells of the row that begins at a line, its number of lines, and what is wrong.

    A quotation mark that is never closed would swallow the rows behind it; such a
    row is given up alone (None), and reading goes on at the next line.
    """
    feed = _Feed(lines, at)
    try:
        cells = next(csv.reader(feed, delimiter=delimiter))
    except csv.Error as error:
        return None, 1, f"cannot be read as CSV ({error})"
    taken = feed.at - at
    inside = (text for _, text in lines[at + 1 : feed.at])
    if (
        feed.ran_out
        or (taken > 1 and len(cells) > width)
        or any(text.count(delimiter) >= width - 1 > 0 for text in inside)  # a whole row in a cell
    ):
        return None, 1, "has a quotation mark that is not closed"
    return cells, taken, ""


def read_table(
    path: Path, required: Sequence[str], optional: Sequence[str], findings: list[Finding]
) -> Table:
    """Return the usable rows of a CSV file.

    Parameters
    ----------
    path : Path
        The file; comma, semicolon or tab separated, in UTF-8.
    required, optional : sequence of str
        Column names; an unknown column is reported and passed over.
    findings : list of Finding
        Is added to.

    Raises
    ------
    CatalogueError
        If it cannot be read, there is no header, or a required column is missing.
    """
    file = path.name
    try:
        data = path.read_bytes()
    except OSError as error:
        raise CatalogueError(
            [Finding(file, None, "", "", f"cannot be read ({error.strerror})", "Check the file")]
        ) from None
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        raise CatalogueError(
            [Finding(file, None, "", "", "is saved in UTF-16", "Save the table as CSV in UTF-8")]
        )
    damaged = len(findings)
    lines = _decode(data, file, findings)
    while lines and not lines[0][1].strip():
        lines.pop(0)
    if not lines:
        raise CatalogueError(
            [
                Finding(
                    file,
                    None,
                    "",
                    "",
                    "is empty" if len(findings) == damaged else "has no line that can be read",
                    f"Give it a header line: {','.join((*required, *optional))}",
                )
            ]
        )
    delimiter = _delimiter(lines[0][1])
    csv.field_size_limit(LONGEST_LINE)
    header_at, header = lines[0]
    columns = [c.strip().lower() for c in next(csv.reader([header], delimiter=delimiter))]
    missing = [c for c in required if c not in columns]
    if missing:
        raise CatalogueError(
            [
                Finding(
                    file,
                    header_at,
                    column,
                    shorten(header),
                    f"has no column {column!r}",
                    f"Add the column; the header is {','.join((*required, *optional))}",
                )
                for column in missing
            ]
        )
    known = {*required, *optional}
    for column in columns:
        if column not in known:
            findings.append(
                Finding(
                    file,
                    header_at,
                    shorten(column),
                    "",
                    "is a column that is not used",
                    f"Use one of {', '.join((*required, *optional))}, or leave it",
                    WARNING,
                )
            )
        if columns.count(column) > 1 and column in known:
            raise CatalogueError(
                [Finding(file, header_at, column, "", "stands twice in the header", "Keep one")]
            )
    rows: list[Row] = []
    body = lines[1:]
    at = 0
    while at < len(body):
        number, text = body[at]
        cells, taken, fault = _row_at(body, at, delimiter, len(columns))
        at += taken
        if cells is None:
            findings.append(
                Finding(
                    file,
                    number,
                    "",
                    shorten(text),
                    f"{fault} and was left out",
                    "Check its quotation marks: each needs a partner",
                )
            )
            continue
        if not any(cell.strip() for cell in cells):
            continue
        if taken > 1:
            findings.append(
                Finding(
                    file,
                    number,
                    "",
                    shorten(cells[0]),
                    f"runs over {taken} lines",
                    "Close the quotation mark, or keep a row on one line",
                    WARNING,
                )
            )
        if len(cells) > len(columns):
            findings.append(
                Finding(
                    file,
                    number,
                    "",
                    shorten(delimiter.join(cells)),
                    f"has {len(cells)} cells where the header has {len(columns)} and was left out",
                    f"Put cells that hold a {delimiter!r} in double quotes",
                    ERROR,
                )
            )
            continue
        rows.append(Row(number, dict(zip(columns, cells, strict=False))))
    return Table(file, tuple(columns), tuple(rows))
