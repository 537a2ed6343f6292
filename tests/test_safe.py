"""Probes: hostile text in any field neither runs nor renders, and files stay where they belong.

Payloads after OWASP's pages on cross-site scripting and on CSV injection, UAX #9 (overrides of
writing direction) and ECMA-48 (control sequences). OWASP's first characters of formulas were
looked up. Checked 2026-11-29: script, image, closing tags and svg are kinds that OWASP's cheat
sheet on evading filters has (github.com/OWASP/CheatSheetSeries, cheatsheets/
XSS_Filter_Evasion_Cheat_Sheet.md); overrides, in Python's unicodedata; the controls of eight bit
and a terminal's link, at ansicode.eversources.app; the first two templates, at techearl.com,
server-side-template-injection; TeX, in the manual of web2c (shell escapes) and at
go-latex.floatpane.com/security. Other brackets and the rest are from memory.
"""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import sqlite3
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pymupdf
import pytest
from typer.testing import CliRunner

import fitgraph
from fitgraph.adapters import SpecSheet, sheet
from fitgraph.adapters.candidates import label
from fitgraph.catalogue import CatalogueError, demo_folder, load
from fitgraph.catalogue.vocabulary_file import read_vocabulary
from fitgraph.cli.main import app
from fitgraph.draw.drafting import drawing
from fitgraph.draw.drafting_svg import sheet_svg
from fitgraph.intake.job import prepared
from fitgraph.intake.mapping import read_mapping
from fitgraph.intake.phrases import read_phrases
from fitgraph.intake.sources import SourceError, read_source
from fitgraph.report.specification import sheet_html, sheet_pdf
from fitgraph.shop.answers import Answer
from fitgraph.shop.front import Shop
from fitgraph.shop.imports import import_tables
from tests.made_catalogues import thinned, unweighed
from tests.shared import the_demo
from tests.test_cli import FEATURES, PARTS, write_plugs
from tests.workbooks import bomb, changed, lying_bomb, ods, xlsx

PAYLOADS = {
    "script": "<script>alert(1)</script>",
    "image": "<img src=x onerror=alert(1)>",
    "closing": "\"'></td></style></title><svg onload=alert(1)>",
    "comment": "--><iframe src=javascript:alert(1)>",
    "markdown": "[bar](javascript:alert(1)) ![x](http://example.org/x.png)",
    "formula": '=HYPERLINK("http://example.org")',
    "plus": "+cmd|'/c calc'!A0",
    "at": "@SUM(A1)",
    "tab": "\t=1+1",
    "full width": "＝1+1",
    "colours": "\x1b[31mred\x1b[2J",
    "link of a terminal": "\x1b]8;;http://example.org\x07bar\x1b]8;;\x07",
    "eight bit": "\x9b31m\x9d0;title\x9c",
    "override": "bar\u202egnp.exe\u2066\u2069",
    "template": "{{7*7}} ${7*7} #{7*7} %(x)s {0}",
    "tex": "$\\input{/etc/passwd}$ \\write18{ls}",
    "markup of ours": "[bold red]x[/] [link=file:///etc]y",
}

#: What a screen obeys, or what shows a text in another order.
OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


class Tags(HTMLParser):
    """What a browser would make of a page: its elements and attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [(tag, "", ""), *((tag, name, value or "") for name, value in attrs)]


def runs_nothing(page: str) -> None:
    """Check that a page holds nothing that runs or that is fetched."""
    tags = Tags()
    tags.feed(page)
    assert tags.found
    for tag, name, value in tags.found:
        assert tag not in ("script", "iframe", "img", "object", "embed", "link", "base", "form")
        assert not name.startswith("on") and "javascript:" not in value.lower()
        assert name not in ("src", "href") or value.startswith("#"), value
    assert not OBEYED.search(page.replace("\n", "").replace("\t", ""))


def no_formulas(table: str) -> None:
    for row in csv.reader(io.StringIO(table, newline="")):
        for cell in row:
            assert not cell.lstrip().startswith(("=", "+", "@", "＝", "＋", "＠")), cell
            assert not OBEYED.search(cell.replace("\n", ""))


def told(shop: Shop) -> list[Answer]:
    return [shop.why("HOLE-1", "PLUG-B"), shop.builds(have=["PLUG-B"]), shop.parts, shop.check()]


@pytest.fixture(scope="module")
def made() -> SpecSheet:
    demo = the_demo().catalogue
    return sheet(thinned(demo), unweighed(demo, "sleeve", 25.4, 31.8, word="Skerrowby"))


def quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def hostile_shop(folder: Path, payload: str) -> Path:
    """Return a catalogue with a payload in every field that holds words."""
    name = quoted(payload)
    parts = PARTS.replace("steel-s355", name).replace(",Plug,", f",{name},")
    assert parts != PARTS
    features = f"{FEATURES}PLUG-A,{name},{name},{name},{name}\n"
    return write_plugs(folder / "plugs", parts=parts, features=features)


def on_a_screen(payload: str, folder: Path, _: SpecSheet) -> None:
    place = hostile_shop(folder, payload)
    for words in (["why", "HOLE-1", "PLUG-B"], ["builds", "--have", "PLUG-B"], ["check"]):
        for form in ([], ["--json"]):
            result = CliRunner().invoke(app, [*words, "--catalogue", str(place), *form])
            assert result.exception is None or isinstance(result.exception, SystemExit)
            assert not OBEYED.search(result.output.replace("\n", ""))
            if form:
                json.loads(result.stdout)


def in_a_notebook(payload: str, folder: Path, _: SpecSheet) -> None:
    for answer in told(fitgraph.open(hostile_shop(folder, payload))):
        runs_nothing(answer._repr_html_())
        assert not OBEYED.search(repr(answer).replace("\n", ""))


def in_a_spreadsheet(payload: str, folder: Path, _: SpecSheet) -> None:
    for answer in told(fitgraph.open(hostile_shop(folder, payload))):
        for table in answer.tables:
            no_formulas(answer.to_csv(table))


def through_an_import(payload: str, folder: Path, _: SpecSheet) -> None:
    with (folder / "list.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["Item no", "Kind", "Title", "Maker", "Price", "Stock", f"x {payload}"])
        writer.writerow(["A-1", "bar", payload, payload, "81.50", "3", payload])
        writer.writerow([payload, payload, payload, payload, payload, payload, payload])
        writer.writerow(["A-3", payload, "bar", "", payload, payload, payload])
    job = prepared([str(folder / "list.csv")], demo_folder())
    report = import_tables(job, job.choices, folder / "shop")
    shop = folder / "shop"
    assert "A-1" in report.loaded.catalogue.parts
    runs_nothing((shop / "import.html").read_text(encoding="utf-8"))
    for table in ("parts.csv", "features.csv", "stock.csv", "set-aside.csv"):
        if (shop / table).exists():
            no_formulas((shop / table).read_text(encoding="utf-8"))
    columns = next(iter(read_mapping(shop / "mapping.toml").tables.values())).columns
    assert not any(OBEYED.search(name) for name in columns)
    for finding in report.findings:
        assert not OBEYED.search(str(finding))


def on_a_sheet(payload: str, folder: Path, made: SpecSheet) -> None:
    part = replace(made.part, name=payload)
    candidate = replace(made.worth.candidate, part=part)
    worse = replace(made, worth=replace(made.worth, candidate=candidate))
    runs_nothing(sheet_html(worse).replace("http://www.w3.org/2000/svg", ""))
    root = ET.fromstring(sheet_svg(drawing(worse)))
    for element in root.iter():
        assert element.tag.rpartition("}")[2] not in ("script", "foreignObject", "image", "a")
        assert not any(name.startswith("on") for name in element.attrib)
    printed = sheet_pdf(worse)
    # In packed bytes any three letters may come together; what acts stands between them.
    bare = re.sub(rb"stream\r?\n.*?endstream", b"", printed, flags=re.DOTALL)
    for sign in (b"/JavaScript", b"/JS", b"/Launch", b"/URI"):
        assert sign not in bare
    (page, *_) = pymupdf.open(stream=printed)
    assert not OBEYED.search(page.get_text().replace("\n", ""))


WAYS: tuple[Callable[[str, Path, SpecSheet], None], ...] = (
    on_a_screen,
    in_a_notebook,
    in_a_spreadsheet,
    through_an_import,
    on_a_sheet,
)


@pytest.mark.some(29)
@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.__name__)
@pytest.mark.parametrize("payload", PAYLOADS.values(), ids=PAYLOADS)
def test_hostile_text_neither_runs_nor_renders(
    payload: str, way: Callable[[str, Path, SpecSheet], None], tmp_path: Path, made: SpecSheet
) -> None:
    way(payload, tmp_path, made)


# ---------------------------------------------------------------- what is packed


def far_cell(path: Path) -> Path:
    xlsx(path, {"a": [["Item no", "Title"], ["A-1", "bar"]]})
    cell = '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    return changed(path, "xl/worksheets/s1.xml", ("</sheetData>", cell))


def wide_rows(path: Path) -> Path:
    xlsx(path, {"a": [["Item no", "Title"], ["A-1", "bar"]]})
    cells = "<row>" + "<c><v>1</v></c>" * 16_000 + '</row><row r="99999"><c><v>1</v></c></row>'
    return changed(path, "xl/worksheets/s1.xml", ("</sheetData>", cells + "</sheetData>"))


def repeated(path: Path) -> Path:
    ods(path, {"a": [["Item no", "Title"], ["A-1", "bar"]]})
    rows = ("<table:table-row>", '<table:table-row table:number-rows-repeated="90000">')
    cell = "<table:table-cell office"
    cells = (cell, cell.replace(" office", ' table:number-columns-repeated="9000" office'))
    return changed(path, "content.xml", rows, cells)


def hidden_rows(path: Path) -> Path:
    ods(path, {"a": [["Item no", "Title"], ["A-1", "bar"]]})
    before = '<table:table-row table:number-rows-repeated="99999999"/><table:table-row>'
    return changed(path, "content.xml", ("<table:table-row>", before))


def binary(path: Path) -> Path:
    xlsx(path, {"a": [["Item no", "Title"], ["A-1", "bar"]]})
    data = path.read_bytes().replace(b"xl/worksheets/s1.xml", b"xl/worksheets/s1.bin")
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    ("make", "name", "says"),
    [
        (bomb, "a.xlsx", "unpacks to more"),
        (lying_bomb, "a.xlsx", "damaged"),
        (far_cell, "a.xlsx", "1,048,576 rows"),
        (wide_rows, "a.xlsx", "99,999 rows"),
        (repeated, "a.ods", "columns"),
        (hidden_rows, "a.ods", "100,000,000 rows"),
        (binary, "a.xlsx", "binary"),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_a_workbook_that_asks_for_too_much_ends_in_words(
    tmp_path: Path, make: Callable[[Path], Path], name: str, says: str
) -> None:
    """In a process of its own: where it is read as it stands, it fills the memory."""
    file = make(tmp_path / name)
    code = (
        "import resource, sys\n"
        "resource.setrlimit(resource.RLIMIT_AS, (1 << 31, 1 << 31))\n"
        "from fitgraph.intake.sources import SourceError, read_source\n"
        "try:\n    read_source(sys.argv[1])\n"
        "except SourceError as error:\n    print(error)\n"
    )
    came = subprocess.run(
        [sys.executable, "-c", code, str(file)], capture_output=True, text=True, check=False
    )
    assert came.returncode == 0, came.stderr[-300:]
    assert says in came.stdout and "CSV" in came.stdout


def test_a_sheet_that_is_formatted_to_its_end_is_read(tmp_path: Path) -> None:
    one = xlsx(tmp_path / "a.xlsx", {"a": [["Item no", "Title"], ["A-1", "bar"]]})
    changed(
        one,
        "xl/worksheets/s1.xml",
        ("</sheetData>", '<row r="1048576"><c r="XFD1048576" s="1"/></row></sheetData>'),
    )
    two = ods(tmp_path / "a.ods", {"a": [["Item no", "Title"], ["A-1", "bar"]]})
    end = (
        '<table:table-row table:number-rows-repeated="1048574">'
        '<table:table-cell table:number-columns-repeated="16384"/></table:table-row></table:table>'
    )
    changed(two, "content.xml", ("</table:table>", end))
    for file in (one, two):
        (found,) = read_source(str(file))
        assert [cells for _, cells in found.rows] == [["Item no", "Title"], ["A-1", "bar"]]


# ---------------------------------------------------------------- files and databases


@pytest.mark.parametrize("name", ["../../x", "/etc/x", "..", "a/b", "a\\b", "~/x", "C:x"])
def test_what_is_made_names_no_file_elsewhere(tmp_path: Path, name: str, made: SpecSheet) -> None:
    """The files of a sheet are named after its make, its sizes and its words."""
    candidate = made.worth.candidate
    make = replace(the_demo().catalogue.vocabulary.makes["sleeve"], name=name)
    words = dict.fromkeys(candidate.words, name)
    number = label(make, candidate.sizes, words)
    assert candidate.words and number != label(make, candidate.sizes, {})
    assert (tmp_path / f"{number}.svg").resolve().parent == tmp_path.resolve()
    assert not set(number) & set('/\\:*?"<>|~')


@pytest.mark.parametrize(
    "name", ["vocabulary.toml", "phrases.toml", "parts.csv", "features.csv", "supply.csv"]
)
def test_a_link_out_of_the_folder_is_not_read(tmp_path: Path, name: str) -> None:
    shop, outside = tmp_path / "shop", tmp_path / "secret"
    shutil.copytree(demo_folder(), shop)
    outside.write_text("sku,role\nSECRET-1,bar\n")
    (shop / name).unlink()
    (shop / name).symlink_to(outside)
    try:
        findings = [str(f) for f in load(shop).findings]
        if name == "phrases.toml":
            with pytest.raises(CatalogueError, match="leads out of the folder"):
                read_phrases(shop, read_vocabulary(shop / "vocabulary.toml"))
            return
    except CatalogueError as error:
        findings = [str(f) for f in error.findings]
    assert any(f.startswith(name) and "leads out of the folder" in f for f in findings)
    assert not any("SECRET" in f for f in findings)


@pytest.mark.parametrize(
    "wanted", ["parts; drop table parts", "parts where 1=1", "parts' or '1'='1", "x--", "parts)"]
)
def test_what_is_typed_behind_an_address_is_no_sql(tmp_path: Path, wanted: str) -> None:
    base = tmp_path / "stock.db"
    with sqlite3.connect(base) as opened:
        opened.execute("create table parts (sku text, title text)")
        opened.execute("insert into parts values ('A-1', '''; drop table parts; --')")
    with pytest.raises(SourceError, match="has no table"):
        read_source(f"sqlite:///{base}#{wanted}")
    (found,) = read_source(f"sqlite:///{base}#parts")
    assert found.rows[1][1] == ["A-1", "'; drop table parts; --"]
    with sqlite3.connect(base) as opened:
        assert opened.execute("select count(*) from parts").fetchone() == (1,)
