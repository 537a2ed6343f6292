"""Small workbooks, written by hand as their standards say.

ECMA-376 part 1 (SpreadsheetML: workbook, worksheet, styles) and OpenDocument 1.3 part 3
(spreadsheet tables), as little of them as a reader needs.
"""

from __future__ import annotations

import datetime
import io
import zipfile
from html import escape
from pathlib import Path
from typing import Any

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"

#: Days in a workbook count from here.
_EPOCH = datetime.date(1899, 12, 30)


def _letter(place: int) -> str:
    return chr(65 + place)


def xlsx(path: Path, sheets: dict[str, list[list[Any]]]) -> Path:
    """Write an XLSX file; texts, numbers and dates stay what they are."""
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/>'
        '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
        "</Types>",
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="r" '
        f'Type="{_REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/styles.xml": f'<styleSheet xmlns="{_MAIN}"><fonts count="1"><font/></fonts><fills count="1"><fill/></fills>'
        '<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>'
        '<cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="14" applyNumberFormat="1"/></cellXfs></styleSheet>',
    }
    listed, related = [], [f'<Relationship Id="s" Type="{_REL}/styles" Target="styles.xml"/>']
    for n, (name, rows) in enumerate(sheets.items(), start=1):
        listed.append(f'<sheet name="{escape(name)}" sheetId="{n}" r:id="r{n}"/>')
        related.append(
            f'<Relationship Id="r{n}" Type="{_REL}/worksheet" Target="worksheets/s{n}.xml"/>'
        )
        body = []
        for r, row in enumerate(rows, start=1):
            cells = []
            for c, value in enumerate(row):
                at = f"{_letter(c)}{r}"
                if value is None or value == "":
                    continue
                if isinstance(value, datetime.date):
                    cells.append(f'<c r="{at}" s="1"><v>{(value - _EPOCH).days}</v></c>')
                elif isinstance(value, int | float):
                    cells.append(f'<c r="{at}"><v>{value!r}</v></c>')
                else:
                    cells.append(
                        f'<c r="{at}" t="inlineStr"><is><t>{escape(str(value))}</t></is></c>'
                    )
            body.append(f'<row r="{r}">{"".join(cells)}</row>')
        parts[f"xl/worksheets/s{n}.xml"] = (
            f'<worksheet xmlns="{_MAIN}"><sheetData>{"".join(body)}</sheetData></worksheet>'
        )
    parts["xl/workbook.xml"] = (
        f'<workbook xmlns="{_MAIN}" xmlns:r="{_REL}"><sheets>{"".join(listed)}</sheets></workbook>'
    )
    parts["xl/_rels/workbook.xml.rels"] = (
        f'<Relationships xmlns="{_PACKAGE}/relationships">{"".join(related)}</Relationships>'
    )
    path.write_bytes(_packed(parts))
    return path


def ods(path: Path, sheets: dict[str, list[list[Any]]]) -> Path:
    """Write an ODS file."""
    spaces = " ".join(
        f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{long}:1.0"'
        for short, long in (("office", "office"), ("table", "table"), ("text", "text"))
    )
    tables = []
    for name, rows in sheets.items():
        body = []
        for row in rows:
            cells = []
            for value in row:
                if value is None or value == "":
                    cells.append("<table:table-cell/>")
                elif isinstance(value, datetime.date):
                    cells.append(
                        f'<table:table-cell office:value-type="date" office:date-value="{value}"><text:p>{value}</text:p></table:table-cell>'
                    )
                elif isinstance(value, int | float):
                    cells.append(
                        f'<table:table-cell office:value-type="float" office:value="{value!r}"><text:p>{value}</text:p></table:table-cell>'
                    )
                else:
                    cells.append(
                        f'<table:table-cell office:value-type="string"><text:p>{escape(str(value))}</text:p></table:table-cell>'
                    )
            body.append(f"<table:table-row>{''.join(cells)}</table:table-row>")
        tables.append(f'<table:table table:name="{escape(name)}">{"".join(body)}</table:table>')
    parts = {
        "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
        "META-INF/manifest.xml": '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        '<manifest:file-entry manifest:full-path="/" manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>',
        "content.xml": f'<?xml version="1.0"?><office:document-content {spaces}><office:body>'
        f"<office:spreadsheet>{''.join(tables)}</office:spreadsheet></office:body></office:document-content>",
    }
    path.write_bytes(_packed(parts))
    return path


def _packed(parts: dict[str, str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, content)
    return out.getvalue()


def bomb(path: Path, megabytes: int = 420) -> Path:
    """Write a workbook of a few hundred kilobytes that unpacks to very much."""
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed,
        packed.open("xl/worksheets/s1.xml", "w", force_zip64=True) as sheet,
    ):
        block = b" " * (1 << 20)
        for _ in range(megabytes):
            sheet.write(block)
    return path


def changed(path: Path, name: str, *changes: tuple[str, str]) -> Path:
    """Change the text of one file in a workbook."""
    parts = {}
    with zipfile.ZipFile(path) as packed:
        for inside in packed.namelist():
            text = packed.read(inside).decode()
            for old, new in changes if inside == name else ():
                assert old in text
                text = text.replace(old, new)
            parts[inside] = text
    path.write_bytes(_packed(parts))
    return path


def lying_bomb(path: Path) -> Path:
    """Write a workbook that unpacks to very much and says that it does not."""
    data = bytearray(bomb(path, 64).read_bytes())
    true, told = (64 << 20).to_bytes(4, "little"), (1000).to_bytes(4, "little")
    at = data.rfind(b"PK\x01\x02") + 24  # uncompressed size in the central directory
    assert data[at : at + 4] in (true, b"\xff" * 4)
    data[at : at + 4] = told
    path.write_bytes(data)
    return path
