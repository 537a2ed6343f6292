"""What the formats of a workbook's numbers say beside them: a unit, a currency, zeros before.

A cell that shows 59.90 $ or 00123 holds 59.9 and 123: whoever reads only values takes dollars for
the shop's own money, and another stock number. ECMA-376 part 1 (``numFmt``, ``xf`` and ``c`` of
SpreadsheetML; 18.8.31 for the codes) and OpenDocument 1.3 part 3 (``office:currency``).
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator

from fitgraph.intake.lost_values import attributes, sheet_files
from fitgraph.intake.unpacked import column_number, pieces, table_name, tags, times
from fitgraph.records import dataclass
from fitgraph.units import LENGTH_WORDS, MASS_WORDS, MONEY_WORDS, folded

_PIECE = 1 << 20
#: A tag is longer than this in no workbook, and its styles take no more room.
_LONGEST_TAG, _MOST_STYLES = 1 << 12, 1 << 24
_STYLES = "xl/styles.xml"
_FORMAT = re.compile(r"<(?:\w+:)?numFmt\b([^<>]*)>")
_USED = re.compile(r"<(?:\w+:)?cellXfs\b.*?</(?:\w+:)?cellXfs>", re.DOTALL)
_STYLE = re.compile(r"<(?:\w+:)?xf\b([^<>]*)>")
_AT = re.compile(rb'\br="([A-Z]{1,3})([0-9]{1,9})"')
#: A piece of a format: a text in quotes, a letter that stands for itself, a currency, what is said
#: of colour or language, room, and anything else.
_TOKEN = re.compile(r'"([^"]*)"|\\(.)|\[\$([^\]-]*)[^\]]*\]|(\[[^\]]*\]|[_*].)|(.)', re.DOTALL)
_CURRENCY = re.compile(rb'\bcurrency="([A-Z]{3})"')
_WORDS = LENGTH_WORDS | MASS_WORDS | MONEY_WORDS


@dataclass(frozen=True, slots=True)
class CellFormat:
    """What a format says of a number.

    Parameters
    ----------
    beside : str
        A unit or a currency; empty without one.
    digits : int
        How many digits a whole number is filled up to with zeros; zero if it is not.
    """

    beside: str = ""
    digits: int = 0


def cell_format(code: str) -> CellFormat | None:
    """Return what a format's code says of a number; None where that is nothing of use.

    Examples
    --------
    >>> codes = '#,##0.00 "€"', "[$$-409]0.00;[Red]-0", 'General" mm"'
    >>> [cell_format(code).beside for code in codes]
    ['€', '$', 'mm']
    >>> cell_format("00000").digits
    5
    >>> [cell_format(code) for code in ("0.00", "dd.mm.yyyy", "0%", '0" off"', '0.0," kg"')]
    [None, None, None, None, None]
    """
    literal, rest = "", ""
    for quoted, escaped, money, _, other in _TOKEN.findall(code):
        if other == ";":
            break  # how numbers below zero are shown
        if other and other in "$€£¥":
            literal += other
        else:
            literal += quoted + escaped + money
            rest += other
    word, rest = literal.strip(), rest.replace("General", "0")
    if re.search(r"[^0#?., ]|,(?![0#?])", rest):
        return None  # a day, a share, a fraction, a power of ten, thousands
    if folded(word).casefold() in _WORDS:
        return CellFormat(beside=word)
    return CellFormat(digits=len(rest)) if not word and re.fullmatch("00+", rest) else None


def _styles(packed: zipfile.ZipFile) -> dict[bytes, CellFormat]:
    """Return the styles of cells whose format says something, by their number."""
    with packed.open(_STYLES) as file:
        text = file.read(_MOST_STYLES).decode("utf-8", "replace")
    named = [attributes(tag) for tag in _FORMAT.findall(text)]
    codes = {one.get("numFmtId"): one.get("formatCode", "") for one in named}
    told = {number: how for number, code in codes.items() if (how := cell_format(code)) is not None}
    used = _USED.search(text)
    if not told or used is None:
        return {}
    each = [attributes(style).get("numFmtId") for style in _STYLE.findall(used[0])]
    return {str(n).encode(): told[number] for n, number in enumerate(each) if number in told}


def _currencies(packed: zipfile.ZipFile, sheet: str) -> Iterator[tuple[int, int, CellFormat]]:
    """Yield the cells of an OpenDocument table that are amounts in a currency."""
    here, row, rows, column = False, 0, 1, 0
    for name, told, alone in tags(pieces(packed, "content.xml")):
        by = times(told)
        if name == b"table":
            here, row, rows = table_name(told) == sheet, -1, 1
        elif name == b"table-row":
            row, rows, column = row + rows, by, 0
        elif name in (b"table-cell", b"covered-table-cell"):
            money = _CURRENCY.search(told) if here and not alone else None
            if money is not None:
                how = CellFormat(beside=money[1].decode("ascii"))
                for at in range(row, row + rows):
                    yield from ((at, place, how) for place in range(column, column + by))
            column += by


def formatted(data: bytes, sheet: str) -> Iterator[tuple[int, int, CellFormat]]:
    """Yield the cells of a sheet of an XLSX or ODS file of whose number its format says more.

    Parameters
    ----------
    data : bytes
        Of a file that :func:`fitgraph.intake.unpacked.check_unpacked` has looked at.
    sheet : str
        The sheet's name.

    Yields
    ------
    tuple of (int, int, CellFormat)
        Row and column from 0, and what is said.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        inside = set(packed.namelist())
        if "content.xml" in inside:
            yield from _currencies(packed, sheet)
        if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels", _STYLES} <= inside:
            return
        styles = _styles(packed)
        names = [n for n, called in sheet_files(packed).items() if called == sheet and n in inside]
        if not styles or not names:
            return
        cell = re.compile(rb'<(?:\w+:)?c\b(?=[^<>]*\bs="(' + b"|".join(styles) + rb')")([^<>]*)>')
        rest = b""
        with packed.open(names[0]) as file:
            while piece := file.read(_PIECE):
                text = rest + piece
                end = text.rfind(b">") + 1
                for match in cell.finditer(text, 0, end):
                    at = _AT.search(match[2])
                    if at is not None:
                        yield int(at[2]) - 1, column_number(at[1]) - 1, styles[match[1]]
                rest = text[max(end, len(text) - _LONGEST_TAG) :]
