"""What stands in cells of a workbook that have no value: errors, and formulas never worked out.

Whoever reads only values takes such a cell for a blank one. A spreadsheet keeps the value of a
formula beside it; a program that writes workbooks may keep the formula alone. ECMA-376 part 1
(``c``, ``f`` and ``v`` of SpreadsheetML).
"""

from __future__ import annotations

import html
import io
import re
import zipfile
from collections.abc import Iterator

from fitgraph.intake.unpacked import column_number

#: A cell without a value: its row and column from 0, and what stands there.
LostValue = tuple[int, int, str]

#: What a formula without a value begins with, as it is told.
FORMULA = "formula ="

#: What stands in a cell that came to nothing: an error, or a formula alone.
WITHOUT_VALUE = re.compile(rf"{FORMULA}.+|#(?:N/A|NAME\?|(?:REF|VALUE|DIV/0|NUM|NULL|SPILL|CALC)!)")

_PIECE = 1 << 20
#: No cell that is looked for is longer; pieces overlap so much that none is cut.
_LONGEST_CELL = 1 << 14
#: So much of a formula is told.
_LONGEST_FORMULA = 60

_CELL = re.compile(
    rb"<(?:\w+:)?c\b([^<>]*)>\s*"
    rb"(?:<(?:\w+:)?f\b[^<>]*?(?:/>|>([^<]{0,9000})</(?:\w+:)?f>))?\s*"
    rb"(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>([^<]{0,200})</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)
_AT = re.compile(rb'\br="([A-Z]{1,3})([0-9]{1,9})"')
_KIND = re.compile(rb'\bt="(\w+)"')
_SHEET = re.compile(r"<(?:\w+:)?sheet\b([^<>]*)>")
_RELATION = re.compile(r"<(?:\w+:)?Relationship\b([^<>]*)>")
_ATTRIBUTE = re.compile(r"""([\w:]+)=(?:"([^"]*)"|'([^']*)')""")


def attributes(tag: str) -> dict[str, str]:
    """Return the attributes of a tag by their names, without prefixes."""
    return {n.split(":")[-1]: html.unescape(a or b) for n, a, b in _ATTRIBUTE.findall(tag)}


def sheet_files(packed: zipfile.ZipFile) -> dict[str, str]:
    """Return the name of each worksheet by the file that holds it."""
    book = packed.read("xl/workbook.xml").decode("utf-8", "replace")
    relations = packed.read("xl/_rels/workbook.xml.rels").decode("utf-8", "replace")
    targets = {a["Id"]: a["Target"] for a in map(attributes, _RELATION.findall(relations))}
    found = {}
    for sheet in map(attributes, _SHEET.findall(book)):
        target = targets.get(sheet.get("id", ""), "")
        inside = target.removeprefix("/") if target.startswith("/") else f"xl/{target}"
        found[inside] = sheet.get("name", "")
    return found


def _cells(packed: zipfile.ZipFile, name: str) -> Iterator[re.Match[bytes]]:
    rest = b""
    with packed.open(name) as file:
        while piece := file.read(_PIECE):
            text = rest + piece
            # What errors and formulas have in common; most pieces of most sheets have neither.
            if b't="e"' in text or b"<f" in text or b":f" in text:
                yield from _CELL.finditer(text)
            rest = text[max(text.rfind(b"</row>"), len(text) - _LONGEST_CELL, 0) :]


def lost_values(data: bytes) -> dict[str, list[LostValue]]:
    """Return the cells of each sheet of an XLSX file that hold an error or no value.

    Parameters
    ----------
    data : bytes
        Of a file that :func:`fitgraph.intake.unpacked.check_unpacked` has looked at.

    Returns
    -------
    dict
        Of each sheet by its name: the cells with what stands there, an error such as ``#N/A``
        or a formula behind :data:`FORMULA`.
    """
    found: dict[str, list[LostValue]] = {}
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        inside = set(packed.namelist())
        if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= inside:
            return {}
        for name, sheet in sheet_files(packed).items():
            if name not in inside:
                continue
            cells: dict[tuple[int, int], str] = {}
            for cell in _cells(packed, name):
                at, kind = _AT.search(cell[1]), _KIND.search(cell[1])
                sort = kind[1] if kind else b"n"
                if at is None or (sort != b"e" and (cell[2] is None or cell[3])):
                    continue
                if sort == b"str":
                    continue  # a formula that comes to an empty text
                text = cell[3] if sort == b"e" else cell[2][:_LONGEST_FORMULA]
                told = html.unescape((text or b"").decode("utf-8", "replace"))
                told = told if sort == b"e" else FORMULA + told
                cells[int(at[2]) - 1, column_number(at[1]) - 1] = told
            found[sheet] = [(*at, told) for at, told in cells.items() if told]
    return found
