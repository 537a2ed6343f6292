"""Read one plain table, keep every row that can be used, and report the rest."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fitgraph.catalogue.findings import ERROR, WARNING, CatalogueError, Finding, shorten

#: A longer line is taken for damage, not for data.
LONGEST_LINE = 100_000


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
        If there is no header, or a required column is missing.
    """
    file = path.name
    lines = _decode(path.read_bytes(), file, findings)
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
                    "is empty",
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
                    column,
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
    reader = csv.reader([text for _, text in body], delimiter=delimiter)
    while True:
        before = reader.line_num
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            number = body[min(before, len(body) - 1)][0]
            findings.append(
                Finding(
                    file,
                    number,
                    "",
                    shorten(body[min(before, len(body) - 1)][1]),
                    f"cannot be read as CSV ({error})",
                    "Check its quotes",
                )
            )
            continue
        number = body[before][0]
        if not any(cell.strip() for cell in cells):
            continue
        if reader.line_num - before > 1:
            findings.append(
                Finding(
                    file,
                    number,
                    "",
                    shorten(cells[0]),
                    f"runs over {reader.line_num - before} lines",
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
