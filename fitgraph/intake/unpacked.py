"""How many cells the sheets of a packed workbook ask for, before anybody makes room for them.

A workbook of a few kilobytes may unpack to gigabytes, or name a single cell in its last row and
last column: whoever makes a table of that fills the memory. ECMA-376 part 1 (``row`` and ``c`` of
SpreadsheetML) and OpenDocument 1.3 part 3 (``table-row``, ``table-cell`` and their repetitions).
"""

from __future__ import annotations

import html
import io
import re
import zipfile
from collections.abc import Iterator

#: Bytes that a workbook may unpack to, files in it, and cells of one of its sheets.
MOST_UNPACKED, MOST_FILES, MOST_CELLS = 400_000_000, 10_000, 20_000_000

_PIECE = 1 << 20
#: A tag is longer than this in no workbook; pieces overlap so much that none is cut.
_LONGEST_TAG = 1 << 12

_SHEET = re.compile(r"xl/worksheets/[^/]*\.xml|content\.xml", re.IGNORECASE)
_BINARY = re.compile(r"xl/.*\.bin", re.IGNORECASE)
_TAG = re.compile(
    rb"<(?:\w+:)?(row|c|table|table-row|table-cell|covered-table-cell)"
    rb"(?=[\s/>])([^<>]{0,4000}?)(/?)>"
)
_AT = re.compile(rb'\br="([A-Za-z]{0,3})([0-9]{1,9})"')
_SPANS = re.compile(rb'number-rows-spanned="([0-9]{1,9})"')
_NAME = re.compile(rb"""\bname=(?:"([^"]*)"|'([^']*)')""")
_TIMES = re.compile(rb'number-(?:rows|columns)-repeated="([0-9]{1,9})"')


class TooLargeError(ValueError):
    """A workbook that asks for more than there may be; the message says of what."""


def pieces(packed: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    """Yield what a file of a workbook unpacks to, piece by piece."""
    with packed.open(name) as file:
        while piece := file.read(_PIECE):
            yield piece


def tags(texts: Iterator[bytes]) -> Iterator[tuple[bytes, bytes, bool]]:
    """Yield the tags of rows and cells: name, attributes, and whether it closes itself."""
    rest = b""
    for piece in texts:
        text = rest + piece
        end = text.rfind(b">") + 1
        for tag in _TAG.finditer(text, 0, end):
            yield tag[1], tag[2], bool(tag[3])
        rest = text[max(end, len(text) - _LONGEST_TAG) :]


def times(told: bytes) -> int:
    """Return how often a row or a cell of an OpenDocument table stands there, by its attributes."""
    repeated = _TIMES.search(told)
    return int(repeated[1]) if repeated else 1


def table_name(told: bytes) -> str:
    """Return the name of an OpenDocument table, by its attributes."""
    called = _NAME.search(told)
    name = (called[1] or called[2] or b"") if called else b""
    return html.unescape(name.decode("utf-8", "replace"))


def column_number(letters: bytes) -> int:
    """Return the number of a column from 1, by its letters."""
    place = 0
    for letter in letters.upper():
        place = place * 26 + letter - 64
    return place


def _check(found: Iterator[tuple[bytes, bytes, bool]]) -> None:
    """Make sure that no sheet is larger than it may be.

    Raises
    ------
    TooLargeError
        If one is.
    """
    rows = columns = row = column = 0
    for name, told, alone in found:
        at, by = _AT.search(told), times(told)
        if name == b"table":
            rows = columns = row = column = 0
        elif name == b"row":
            row, column = int(at[2]) if at else row + 1, 0
        elif name == b"table-row":
            row, column = row + by, 0
        elif name == b"c":
            column = column_number(at[1]) if at else column + 1
        else:
            column += by
        if name in (b"c", b"table-cell", b"covered-table-cell") and not alone:  # it holds something
            rows, columns = max(rows, row), max(columns, column)
            if rows * columns > MOST_CELLS:
                raise TooLargeError(f"has a sheet of {rows:,} rows and {columns:,} columns")


def check_unpacked(data: bytes) -> None:
    """Make sure that a packed workbook unpacks to what can be read.

    Parameters
    ----------
    data : bytes
        Of an XLSX or ODS file.

    Raises
    ------
    TooLargeError
        If it asks for too much.
    zipfile.BadZipFile
        If it is damaged, or says something else of its size than what it unpacks to.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        inside = packed.infolist()
        if len(inside) > MOST_FILES or sum(i.file_size for i in inside) > MOST_UNPACKED:
            raise TooLargeError(f"unpacks to more than {MOST_UNPACKED:,} bytes")
        for entry in inside:
            if entry.flag_bits & 1:
                raise zipfile.BadZipFile("it has a password")
            if _BINARY.fullmatch(entry.filename) and "sheet" in entry.filename.lower():
                raise zipfile.BadZipFile("its sheets are binary")
            # Reading to the end proves the size that it tells of itself.
            read = pieces(packed, entry.filename)
            if _SHEET.fullmatch(entry.filename):
                _check(tags(read))
            for _ in read:
                pass


def joined_over_rows(data: bytes) -> dict[str, list[tuple[tuple[int, int], tuple[int, int]]]]:
    """Return the cells of an OpenDocument spreadsheet that are joined over several rows.

    Parameters
    ----------
    data : bytes
        Of an ODS file that :func:`check_unpacked` has looked at.

    Returns
    -------
    dict
        Of each sheet by its name: first and last row and column of such cells, from 0.
    """
    found: dict[str, list[tuple[tuple[int, int], tuple[int, int]]]] = {}
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        if "content.xml" not in packed.namelist():
            return {}
        here: list[tuple[tuple[int, int], tuple[int, int]]] = []
        row = column = 0
        for name, told, _ in tags(pieces(packed, "content.xml")):
            by = times(told)
            if name == b"table":
                here, row, column = found.setdefault(table_name(told), []), 0, 0
            elif name == b"table-row":
                row, column = row + by, 0
            elif name in (b"table-cell", b"covered-table-cell"):
                if (spans := _SPANS.search(told)) and int(spans[1]) > 1:
                    at = row - 1
                    here.append(((at, column), (at + int(spans[1]) - 1, column)))
                column += by
    return found
