"""Their own data: spreadsheets, price lists and databases become a catalogue."""

from __future__ import annotations

import contextlib
import csv
import datetime
import functools
import importlib
import json
import os
import pty
import re
import shlex
import shutil
import sqlite3
import subprocess
import sys
import tomllib
import unicodedata
from html import escape
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import sqlalchemy
from typer.testing import CliRunner

from fitgraph.catalogue import CatalogueError, demo_folder, load
from fitgraph.cli.main import app
from fitgraph.intake import MappingError, SourceError, read_mapping, read_source
from fitgraph.intake.job import prepared
from fitgraph.intake.phrases import Phrases, TitleWords, read_phrases
from fitgraph.intake.sources import SourceSheet, frame_sheet
from fitgraph.model import Presence
from fitgraph.shop.imports import import_tables
from tests.make_messy_shop import Product, products, text
from tests.postgres import server
from tests.workbooks import bomb, changed, ods, xlsx

DEMO = demo_folder()
HEAD = ["Item no", "Title", "Brand", "Price", "Weight (g)", "Stock"]
ROWS = [
    ["A-1", "Culmory bar 34.9 OD / 31.8 ID slotted CrMo", "Vendlemoor", "89.90", "950", "3"],
    ["A-2", "Gorsewick fork 28.6 steerer for 110 mm wheels", "Skerrowby", "79.90", "480", "0"],
    ["A-3", "Triple clamp for 34.9 bars", "Ostrathby", "29.90", "160", "12"],
]


def run(*words: object, stdin: str | None = None):
    return CliRunner().invoke(app, ["import", *map(str, words)], input=stdin)


def csv_file(path: Path, rows: list[list[str]], delimiter: str = ",") -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=delimiter).writerows(rows)
    return path


def taken(source: object, into: Path, mapping: object = None):
    """Import a source, every guess taken, and return the report."""
    job = prepared([source if isinstance(source, SourceSheet) else str(source)], DEMO, mapping)
    return import_tables(job, job.choices, into)


def as_read(folder: Path) -> dict[str, tuple]:
    """Return what a catalogue holds, for comparison."""
    return {
        sku: (
            p.role,
            p.name,
            p.maker,
            p.price,
            p.mass_g,
            p.material,
            p.stock,
            {
                (f, d): (round(size.lo, 6), round(size.hi, 6))
                for f, feature in p.features.items()
                for d, size in feature.lengths.items()
                if size.known
            },
        )
        for sku, p in load(folder).catalogue.parts.items()
    }


@pytest.fixture(scope="module")
def wanted(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple]:
    folder = tmp_path_factory.mktemp("wanted")
    taken(csv_file(folder / "list.csv", [HEAD, *ROWS]), folder / "shop")
    read = as_read(folder / "shop")
    assert set(read) == {"A-1", "A-2", "A-3"}
    role, _, maker, price, mass, material, stock, sizes = read["A-1"]
    assert (role, maker, price, mass, material, stock) == (
        *("bar", "Vendlemoor", 8990, 950.0, "steel-4130", 3),
    )
    # Nominal sizes have 0.1 mm to either side in the demo's vocabulary.
    assert sizes == {("outside", "diameter"): (34.8, 35.0), ("bore", "diameter"): (31.7, 31.9)}
    return read


# ---------------------------------------------------------------- the messy shop


def test_400_titles_are_read_as_they_are_meant(tmp_path: Path) -> None:
    made = products()
    (tmp_path / "wares.csv").write_bytes(text(made))
    report = taken(tmp_path / "wares.csv", tmp_path / "shop")
    (tally,) = report.intake.tallies
    bad = [p for p in made if p.fault]
    assert len(made) == 400 and len(bad) > 10
    assert (tally.read, tally.loaded, len(tally.aside)) == (401, 400 - len(bad), len(bad) + 1)
    parts = load(tmp_path / "shop").catalogue.parts
    for product in made:
        if product.fault:
            continue
        part = parts[product.cells[0]]
        assert part.role == product.role, product
        _agrees(product, part)
    assert any(p.figures for p in made)


def _agrees(product: Product, part) -> None:
    price = product.cells[2].replace("€", "").strip().replace(",", ".")
    readable = price.replace(".", "").isdigit() and len(price.split(".")[-1]) == 2
    assert part.price == (round(float(price) * 100) if readable else None), product
    known = {
        f"{f}.{d}": size.mid
        for f, feature in part.features.items()
        for d, size in feature.lengths.items()
        if size.known
    }
    assert known == {path: pytest.approx(mm) for path, mm in product.figures.items()}, product
    assert part.stock == int(product.cells[3])


def test_what_was_read_from_words_is_nominal_with_the_words_beside_it(tmp_path: Path) -> None:
    taken(csv_file(tmp_path / "list.csv", [HEAD, *ROWS]), tmp_path / "shop")
    with (tmp_path / "shop" / "features.csv").open(encoding="utf-8") as file:
        rows = {(r["sku"], r["feature"], r["dimension"]): r for r in csv.DictReader(file)}
    bore = rows["A-1", "bore", "diameter"]
    assert (bore["value"], bore["basis"], bore["note"]) == ("31.8", "nominal", "read from: 31.8 ID")
    assert rows["A-1", "slot", ""]["value"] == "yes"
    assert rows["A-3", "bolts", "count"]["value"] == "3"


# ---------------------------------------------------------------- every kind of source


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "latin-1"]
)
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_csv_of_any_usual_kind(tmp_path: Path, wanted, encoding: str, delimiter: str) -> None:
    rows = [[cell.replace("Culmory", "Cülm ½") for cell in row] for row in [HEAD, *ROWS]]
    out = csv_file(tmp_path / "a.csv", rows, delimiter).read_text(encoding="utf-8")
    (tmp_path / "list.csv").write_bytes(out.encode(encoding))
    taken(tmp_path / "list.csv", tmp_path / "shop")
    read = as_read(tmp_path / "shop")
    assert read["A-1"][1].startswith("Cülm ½")
    assert {s: r[2:] for s, r in read.items()} == {s: r[2:] for s, r in wanted.items()}


@pytest.mark.parametrize("write", [xlsx, ods])
def test_workbooks(tmp_path: Path, wanted, write) -> None:
    rows = [[r[0], r[1], r[2], float(r[3]), int(r[4]), int(r[5])] for r in ROWS]
    sheets = {"Notes": [["What we sell"]], "List": [["Prices"], [], HEAD, *rows]}
    taken(write(tmp_path / f"list.{write.__name__}", sheets), tmp_path / "shop")
    assert as_read(tmp_path / "shop") == wanted


@pytest.mark.parametrize("write", [xlsx, ods])
def test_a_cell_that_became_a_date_is_caught(tmp_path: Path, write) -> None:
    rows = [HEAD, *ROWS, ["A-4", "Culmory bar", "V", datetime.date(2026, 8, 1), 900, 1]]
    report = taken(write(tmp_path / f"l.{write.__name__}", {"L": rows}), tmp_path / "shop")
    assert report.loaded.catalogue.parts["A-4"].price is None
    told = [f for f in report.findings if f.code == "no-price"]
    assert "date" in told[0].message and told[0].row == 5


@pytest.mark.parametrize("write", [xlsx, ods])
def test_long_numbers_are_digits_as_far_as_a_workbook_keeps_them(tmp_path: Path, write) -> None:
    """A number of eight bytes tells whole numbers apart up to 2**53 (IEEE 754)."""
    kept = [1_000_000_000_000_000, 2**53 - 1, 1_230_000_000_000_000, 123_456_789_012_345]
    lost = [2**53 + 2, 12_345_678_901_234_567_890]
    rows = [HEAD, *([float(n), *ROWS[0][1:]] for n in [*kept, *lost])]
    report = taken(write(tmp_path / f"l.{write.__name__}", {"L": rows}), tmp_path / "shop")
    assert [p.sku for p in report.intake.parts] == list(map(str, kept))
    aside = {f.row: f for f in report.findings if f.code == "set-aside"}
    assert set(aside) == {6, 7}
    assert "9.00719925474099E+15" in aside[6].message and HEAD[0] in aside[6].message
    assert "1.23456789012346E+19" in aside[7].value and "as text" in aside[7].remedy
    (told,) = [f for f in report.findings if f.code == "rounded"]
    assert (told.row, told.value) == (2, "1000000000000000")
    assert "column A, and in row 4 of it" in told.message


def test_frames_and_parquet(tmp_path: Path, wanted) -> None:
    columns = {
        head: [(float(r[n]) if n == 3 else int(r[n]) if n > 3 else r[n]) for r in ROWS]
        for n, head in enumerate(HEAD)
    }
    pq.write_table(pa.table(columns), tmp_path / "list.parquet")
    for n, source in enumerate(
        (
            tmp_path / "list.parquet",
            frame_sheet(pd.DataFrame(columns)),
            frame_sheet(pa.table(columns)),
        )
    ):
        taken(source, tmp_path / f"shop{n}")
        assert as_read(tmp_path / f"shop{n}") == wanted


def fill(address: str) -> None:
    engine = sqlalchemy.create_engine(address)
    meta = sqlalchemy.MetaData()
    kinds = (
        *(sqlalchemy.String, sqlalchemy.String, sqlalchemy.String, sqlalchemy.Numeric(10, 2)),
        *(sqlalchemy.Float, sqlalchemy.Integer),
    )
    table = sqlalchemy.Table("wares; drop table wares", meta, *map(sqlalchemy.Column, HEAD, kinds))
    meta.create_all(engine)
    with engine.begin() as connection:
        for row in ROWS:
            typed = [*row[:3], float(row[3]), float(row[4]), int(row[5])]
            connection.execute(table.insert().values(dict(zip(HEAD, typed, strict=True))))
    engine.dispose()


def test_sqlite_is_read_and_not_written(tmp_path: Path, wanted) -> None:
    file = tmp_path / "stock.db"
    fill(f"sqlite:///{file}")
    before = file.read_bytes()
    file.chmod(0o444)
    taken(f"sqlite:///{file}", tmp_path / "shop")
    assert as_read(tmp_path / "shop") == wanted
    assert file.read_bytes() == before
    with pytest.raises(SourceError, match="has no table"):
        read_source(f"sqlite:///{file}#parts")
    with pytest.raises(SourceError, match="cannot be read"):
        read_source(f"sqlite:///{tmp_path / 'nowhere.db'}#x")
    assert not (tmp_path / "nowhere.db").exists()


def test_postgresql_equals_the_csv_row_by_row(tmp_path: Path, wanted) -> None:
    with server() as address:
        fill(address.replace("postgresql:", "postgresql+psycopg:"))
        (sheet,) = read_source(address)
        taken(address, tmp_path / "shop")
        assert as_read(tmp_path / "shop") == wanted
        cells = [cells for _, cells in sheet.rows]
        (plain,) = read_source(str(csv_file(tmp_path / "list.csv", [HEAD, *ROWS])))
        assert [c[:3] for c in cells] == [c[:3] for _, c in plain.rows]
        for ours, theirs in zip(cells[1:], [c for _, c in plain.rows][1:], strict=True):
            assert [float(x) for x in ours[3:]] == [float(x) for x in theirs[3:]]
        (again,) = read_source(f"{address}#wares; drop table wares")
        assert again.rows == sheet.rows
        with pytest.raises(SourceError, match="has no table"):
            read_source(f"{address}#pg_shadow")
    with pytest.raises(SourceError, match="cannot be read"):
        read_source(address)


def test_nothing_can_be_written_through_our_connection(tmp_path: Path) -> None:
    file = tmp_path / "stock.db"
    fill(f"sqlite:///{file}")
    with (
        sqlite3.connect(f"file:{file}?mode=ro", uri=True) as opened,
        pytest.raises(sqlite3.OperationalError, match="readonly"),
    ):
        opened.execute("create table x (a)")


# ---------------------------------------------------------------- faults and ceilings


def test_a_workbook_that_unpacks_to_very_much_is_refused(tmp_path: Path) -> None:
    file = bomb(tmp_path / "list.xlsx")
    assert file.stat().st_size < 4_000_000
    with pytest.raises(SourceError, match="unpacks to more"):
        read_source(str(file))


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.xlsx", b"PK\x03\x04 not really"),
        ("a.ods", b"nothing of the kind"),
        ("a.parquet", b"PAR1 no"),
        ("a.csv", b""),
        ("a.csv", b"   \n \n"),
        ("a.csv", b"only words\nand more words\n"),
        ("a.csv", bytes(range(256)) * 50),
        ("a.csv", b"Item no,\x00;"),
    ],
)
def test_what_is_no_table_ends_in_words(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(SourceError) as caught:
        prepared([str(tmp_path / name)], DEMO)
    assert str(caught.value).isprintable()


def test_pipes_folders_and_nothing_end_in_words(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    for name in ("pipe.csv", "nowhere.csv", "."):
        with pytest.raises(SourceError):
            read_source(str(tmp_path / name))
    result = run(tmp_path / "pipe.csv", "--into", tmp_path / "shop")
    assert result.exit_code == 2 and "no file" in result.output
    assert not (tmp_path / "shop").exists()


def test_a_cell_of_a_hundred_megabytes_is_set_aside(tmp_path: Path) -> None:
    lines = [
        ",".join(HEAD),
        ",".join(ROWS[0]).replace("Culmory", "x" * 100_000_000),
        ",".join(ROWS[1]),
    ]
    (tmp_path / "list.csv").write_text("\n".join(lines) + "\n")
    report = taken(tmp_path / "list.csv", tmp_path / "shop")
    assert set(report.loaded.catalogue.parts) == {"A-2"}
    assert [t.aside for t in report.intake.tallies if t.aside] == [[2]]


def test_an_open_quotation_mark_over_millions_of_lines_is_no_reason_to_wait(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fitgraph.intake.sources.MOST_ROWS", 1000)
    (tmp_path / "list.csv").write_text('Item no,Title\nA-1,"' + "x\n" * 2000 + '"\n')
    with pytest.raises(SourceError, match="more than 1,000 lines; divide it"):
        read_source(str(tmp_path / "list.csv"))


@pytest.mark.parametrize(
    ("encoding", "mark"), [("utf-8", b""), ("utf-8", b"\xef\xbb\xbf"), ("utf-16-le", b"\xff\xfe")]
)
def test_a_row_with_a_broken_letter_is_set_aside_and_the_others_go_on(
    tmp_path: Path, encoding: str, mark: bytes
) -> None:
    broken = {"utf-8": "ß".encode("cp1252"), "utf-16-le": b"\x00\xd8"}[encoding]
    lines = ["Nr;Bezeichnung;Preis", "A-1;Lenker süß;9,50", "A-2;Lenker weiß;9,50", "A-3;Klemme;9"]
    data = "\n".join(lines).encode(encoding).replace("weiß".encode(encoding), b"@")
    data = data.replace(b"@", "wei".encode(encoding) + broken)
    file = tmp_path / "list.csv"
    file.write_bytes(mark + data)
    report = taken(file, tmp_path / "shop")
    assert [p.name for p in report.intake.parts] == ["Lenker süß", "Klemme"]
    (aside,) = report.intake.aside
    assert (aside.row, aside.cells["Nr"], aside.cells["Bezeichnung"]) == (
        3,
        "A-2",
        "Lenker wei\ufffd",
    )
    (told,) = [f for f in report.findings if f.row == 3]
    assert "wei\ufffd" in told.value and "UTF-8" in told.remedy
    mend = (tmp_path / "shop" / "set-aside.csv").read_text(encoding="utf-8")
    assert "A-2,Lenker wei\ufffd" in mend


def test_a_broken_letter_in_the_header_is_told(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    lines = [b"Nr;Bezeichnung;Gr\xf6\xdfe", "A-1;Lenker süß;weiß".encode(), b"A-2;Klemme;x"]
    file.write_bytes(b"\n".join(lines))
    report = taken(file, tmp_path / "shop")
    assert [p.sku for p in report.intake.parts] == ["A-1", "A-2"]
    (told,) = [f for f in report.findings if f.code == "not-utf8"]
    assert told.row == 1 and "Gr\ufffde" in told.value


def test_a_row_with_too_many_cells_or_an_open_quote_is_set_aside(tmp_path: Path) -> None:
    rows = [HEAD, *ROWS, ["A-4", "bar", "V", "6", "50", "900", "1"]]
    file = csv_file(tmp_path / "list.csv", rows)
    file.write_text(file.read_text() + 'A-5,"bar,V,1.00,900,1\n')
    report = taken(file, tmp_path / "shop")
    assert set(report.loaded.catalogue.parts) == {"A-1", "A-2", "A-3"}
    assert sum(len(t.aside) for t in report.intake.tallies) == 2


# ---------------------------------------------------------------- the mapping


def test_a_second_time_asks_nothing_and_gives_the_same(tmp_path: Path, wanted) -> None:
    head = ["Zahl", "Wort", "Haus", "Betrag", "Last", "Menge"]
    file = csv_file(tmp_path / "list.csv", [head, *ROWS])
    first = run(file, "--into", tmp_path / "shop", "--json")
    assert first.exit_code == 2 and "--mapping" in first.output
    means = ("sku", "name", "maker", "price", "mass", "stock")
    lines = "\n".join(f'"{h}" = {{ means = "{m}" }}' for h, m in zip(head, means, strict=True))
    (tmp_path / "map.toml").write_text(
        f'version = 1\n[[tables]]\nsource = "list.csv"\n[tables.columns]\n{lines}\n'
    )
    second = run(file, "--into", tmp_path / "shop", "--mapping", tmp_path / "map.toml", "--json")
    assert second.exit_code == 0, second.output
    assert as_read(tmp_path / "shop") == wanted
    third = run(file, "--into", tmp_path / "shop", "--json")
    assert third.exit_code == 0 and json.loads(third.output)["columns"][0]["sure"]
    assert as_read(tmp_path / "shop") == wanted


def test_the_command_tells_what_it_understood(tmp_path: Path) -> None:
    file = csv_file(tmp_path / "list.csv", [HEAD, *ROWS, ["", "bar", "", "1", "1", "1"]])
    result = run(file, "--into", tmp_path / "shop")
    assert result.exit_code == 1
    assert "4 rows read, 3 loaded, 1 set aside" in result.output
    told = json.loads(run(file, "--into", tmp_path / "two", "--json").output)
    assert told["tables"] == [{"source": "list.csv", "read": 4, "loaded": 3, "set_aside": 1}]
    assert {c["column"]: c["means"] for c in told["columns"]} == dict(
        zip(HEAD, ("sku", "name", "maker", "price", "mass", "stock"), strict=True)
    )
    assert told["set_aside"][0]["row"] == 5 and told["usable"] and told["parts"] == 3


KINDS = [
    ["Item no", "Category", "Title", "Price", "Stock"],
    ["A-1", "Steering", "Bar 34.9 OD", "81.50", "3"],
    ["A-2", "Things", "Sedgarth 600", "79.50", "2"],
    ["A-3", "Clothes", "Hat", "19.50", "5"],
    ["A-4", "Clothes", "Mug with bar print", "19.50", "5"],
    ["A-5", "Things", "Sedgarth 650", "79.50", "2"],
]


def answered(arguments: list[object], answers: list[str]) -> tuple[int, str]:
    """Run the command at a terminal of its own and type answers; return its code and its words."""
    ours, its = pty.openpty()
    told, left = b"", list(answers)
    with subprocess.Popen(
        [sys.executable, "-m", "fitgraph", *map(str, arguments)], stdin=its, stdout=its, stderr=its
    ) as process:
        os.close(its)
        with contextlib.suppress(OSError):  # the terminal is gone with the process
            while piece := os.read(ours, 4096):
                told += piece
                if told.endswith(b"]: ") and left:
                    os.write(ours, f"{left.pop(0)}\n".encode())
                    told += b"\n"
    os.close(ours)
    assert not left
    return process.returncode, told.decode()


def test_at_a_terminal_it_asks_what_unknown_kinds_of_part_are(tmp_path: Path) -> None:
    file, shop = csv_file(tmp_path / "list.csv", KINDS), tmp_path / "shop"
    code, told = answered(["import", file, "--into", shop], ["bra", "Bar", "2"])
    assert code == 1
    assert "Things: 2 rows, such as Sedgarth 600, Sedgarth 650" in told
    assert "'bra', which is no role" in told and told.count("What kind of part is it") == 3
    assert read_mapping(shop / "mapping.toml").roles == {"Things": "bar", "Clothes": ""}
    assert set(load(shop).catalogue.parts) == {"A-1", "A-2", "A-5"}
    # What was said is asked once.
    code, told = answered(["import", file, "--into", shop], [])
    assert code == 1 and "What kind of part" not in told
    told = json.loads(run(file, "--into", shop, "--json").output)
    assert told["kinds"] == [] and [a["row"] for a in told["set_aside"]] == [4, 5]
    assert told["set_aside"][0]["reason"] == "is of the kind 'Clothes', which is no part of ours"


def test_nobody_asked_rows_of_unknown_kinds_are_set_aside_and_told(tmp_path: Path) -> None:
    file = csv_file(tmp_path / "list.csv", KINDS)
    result = run(file, "--into", tmp_path / "shop", "--yes")
    assert result.exit_code == 1 and "not known: Things (2 rows), Clothes (2 rows)" in " ".join(
        result.output.split()
    )
    told = json.loads(run(file, "--into", tmp_path / "two", "--json", "--yes").output)
    assert told["kinds"] == [
        {"word": "Things", "rows_set_aside": 2},
        {"word": "Clothes", "rows_set_aside": 2},
    ]
    assert [(a["row"], a["reason"]) for a in told["set_aside"]] == [
        (3, "is of the kind 'Things', which is not known"),
        (4, "is of the kind 'Clothes', which is not known"),
        (
            5,
            "is of the kind 'Clothes', which is not known (names bar as what it is for or comes "
            "with)",
        ),
        (6, "is of the kind 'Things', which is not known"),
    ]
    by_title = [f for f in told["findings"] if f["code"] == "kind-by-title"]
    assert [(f["row"], f["value"]) for f in by_title] == [(2, "Steering")]
    assert "1 row of it" in by_title[0]["message"] and "taken for a bar" in by_title[0]["message"]
    # "?" says that titles tell it, so nothing is told of those.
    mapping = tmp_path / "two" / "mapping.toml"
    mapping.write_text(mapping.read_text() + '[roles]\nSteering = "?"\nClothes = ""\n')
    told = json.loads(run(file, "--into", tmp_path / "two", "--json", "--yes").output)
    assert not [f for f in told["findings"] if f["code"] == "kind-by-title"]
    assert told["kinds"] == [{"word": "Things", "rows_set_aside": 2}]


def test_rows_set_aside_can_be_mended_and_fed_again(tmp_path: Path) -> None:
    file = csv_file(
        tmp_path / "list.csv", [HEAD, *ROWS, ["", "Sedgarth bar", "V", "1.50", "900", "1"]]
    )
    assert run(file, "--into", tmp_path / "shop").exit_code == 1
    aside = tmp_path / "shop" / "set-aside.csv"
    with aside.open(encoding="utf-8", newline="") as opened:
        head, row = csv.reader(opened)
    row[head.index("Item no")] = "A-9"
    csv_file(tmp_path / "mended.csv", [head, row])
    assert run(tmp_path / "mended.csv", "--into", tmp_path / "shop").exit_code == 0
    parts = load(tmp_path / "shop").catalogue.parts
    assert set(parts) == {"A-1", "A-2", "A-3", "A-9"}
    assert parts["A-9"].price == 150 and not aside.exists()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "version = 1"),
        ("version = 1\n[[tables", "no valid TOML"),
        ("version = 1\nx = 2\n", "not known"),
        ("version = 1\ntables = 3\n", "no list"),
        ('version = 1\n[[tables]]\nsource = 1\ncolumns = { a = "sku" }\n', "no text"),
        ('version = 1\n[[tables]]\nsource = "l"\ncolumns = { a = 3 }\n', "no column"),
        ('version = 1\n[[tables]]\nsource = "l"\ncolumns = { a = "girth.length" }\n', "no field"),
        ('version = 1\n[roles]\nBuch = "book"\n', "no role"),
        ("version = 1\na = " + "[" * 5000 + "]" * 5000, "nest too deep"),
        ("version = 1\n[" + ".".join("a" * 50_000) + "]\n", "nest too deep"),
        ("version = " + "9" * 5000, "number in it is too long"),
        ("version = 1\n[roles]\n'T\xf6pfe' = 'bar'\n", "not in UTF-8"),
        ('version = 1\n[[tables]]\nsource = "l"\nheader = true\n', "number of a row"),
        (
            'version = 1\n[[tables]]\nsource = "l"\n'
            'columns = { a = { means = "mass", unit = "furlong" } }\n',
            "none of mass; use one of",
        ),
    ],
)
def test_a_mapping_with_a_mistake_says_where(tmp_path: Path, content: str, says: str) -> None:
    (tmp_path / "map.toml").write_text(content, encoding="latin-1")
    file = csv_file(tmp_path / "list.csv", [HEAD, *ROWS])
    with pytest.raises(MappingError, match=says):
        read_mapping(tmp_path / "map.toml")
        prepared([str(file)], DEMO, tmp_path / "map.toml")


# ---------------------------------------------------------------- safe


HOSTILE = "<script>alert(1)</script>\u202e\x1b[2J=cmd|'/c calc'!A0 {{7*7}} $\\input{x}$ bar"


def test_hostile_text_neither_runs_nor_renders(tmp_path: Path) -> None:
    rows = [[*HEAD, "Remarks"], *[[*r, ""] for r in ROWS]]
    rows.append(["A-4", HOSTILE, "=1+1", "9.00", "1", "1", "@SUM(A1)"])
    rows.append(["=A-5", "-2+3 bar", HOSTILE, HOSTILE, HOSTILE, HOSTILE, HOSTILE])
    result = run(csv_file(tmp_path / "list.csv", rows), "--into", tmp_path / "shop", "--yes")
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert not set(result.output) & {"\x1b", "\u202e"}
    page = (tmp_path / "shop" / "import.html").read_text(encoding="utf-8")
    assert "<script" not in page and "\u202e" not in page and "\x1b" not in page
    for table in ("parts.csv", "features.csv", "stock.csv"):
        with (tmp_path / "shop" / table).open(encoding="utf-8", newline="") as file:
            for row in csv.reader(file):
                assert not any(cell.startswith(("=", "+", "@")) for cell in row)
    parts = load(tmp_path / "shop").catalogue.parts
    assert parts["A-4"].maker == "=1+1" and "=A-5" in parts


# ---------------------------------------------------------------- across fields, and phrases


def test_what_is_odd_beside_its_kin_is_told(tmp_path: Path) -> None:
    head = [*HEAD, "bore diameter"]
    rows = [[f"A-{n}", f"bar model {n}", "V", "90.00", "900", "1", "31.8"] for n in range(12)]
    rows.append(["A-90", "bar far", "V", "9000.00", "900", "1", "31.8"])
    rows.append(["A-91", "bar model 3", "V", "90.00", "900", "1", "31.8"])
    rows.append(["A-92", "bar in", "V", "90.00", "900", "1", "1.25 in"])
    rows.append(["A-93", "bar odd", "V", "90.00", "900", "1", "1.25"])
    report = taken(csv_file(tmp_path / "list.csv", [head, *rows]), tmp_path / "shop")
    codes = {(f.row, f.code) for f in report.findings}
    assert {(14, "price-far"), (15, "twins"), (17, "no-figure")} <= codes
    assert not any(row == 16 for row, _ in codes)


def test_words_in_several_languages_mean_the_same() -> None:
    vocabulary = load(DEMO).catalogue.vocabulary
    phrases = read_phrases(DEMO, vocabulary)
    for title in (
        "Culmory bar 34.9 OD / 31.8 ID slotted chromoly black",
        "Culmory Lenker 34,9 außen / 31,8 innen geschlitzt CrMo schwarz",
        "Culmory guidon 34,9 ext / 31,8 int fendu 4130 noir",
    ):
        said = phrases.read(title)
        sizes = {p: v.replace(",", ".") for p, (v, _) in said.figures.items()}
        assert sizes == {"outside.diameter": "34.9", "bore.diameter": "31.8", "slot": "yes"}, title
        assert (said.role, said.material, said.doubts) == ("bar", "steel-4130", ()), title


@pytest.mark.parametrize(
    ("title", "doubt"),
    [
        ("bar and fork", "names bar and fork"),
        ("Culmory bar 34.9", "of which the phrases say nothing"),
        ("bar 34.9 OD 31.8 OD", "outside.diameter"),
        ("titanium chromoly bar", "names steel-4130 and titanium"),
    ],
)
def test_what_could_be_meant_in_two_ways_is_not_guessed(title: str, doubt: str) -> None:
    vocabulary = load(DEMO).catalogue.vocabulary
    said = read_phrases(DEMO, vocabulary).read(title)
    assert any(doubt in d for d in said.doubts), said
    assert "outside.diameter" not in said.figures


@pytest.mark.parametrize(
    "entry",
    [
        {"say": []},
        {"say": ["x"], "role": "book"},
        {"say": ["x"], "reads": "bore.diameter"},
        {"say": ["#"], "role": "bar"},
        {"say": ["#"], "of": "bar", "reads": "bore.girth"},
        {"say": ["x"], "material": "unobtainium"},
        {"say": ["x"], "sets": 3},
        {"says": ["x"]},
    ][1:],
)
def test_a_phrase_that_means_nothing_here_is_told(entry: dict) -> None:
    with pytest.raises(CatalogueError):
        Phrases([entry], load(DEMO).catalogue.vocabulary)


# ---------------------------------------------------------------- the page


PAGE = (Path(__file__).resolve().parents[1] / "docs" / "your-data.md").read_text(encoding="utf-8")


def test_the_page_can_be_followed_as_it_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("wares.csv").write_bytes(text(products()))
    blocks = re.findall(r"^```(sh|text)\n(.*?)^```$", PAGE, re.M | re.S)
    followed, last = [], ""
    for language, content in blocks:
        if language == "text":
            assert content in last
            continue
        (line,) = content.splitlines()
        if line.startswith("pip "):
            assert line == "pip install 'fitgraph[intake]'"
            continue
        if "mended.csv" in line:
            mend(Path("my-shop/set-aside.csv"), Path("mended.csv"))
        result = CliRunner().invoke(app, shlex.split(line)[1:])
        assert result.exception is None or isinstance(result.exception, SystemExit), line
        assert result.exit_code in (0, 1), line
        last = result.stdout
        followed.append(line.split()[1])
    assert followed == ["import", "import", "why", "measure", "import", "check"]
    assert not Path("my-shop/set-aside.csv").exists()


@pytest.mark.parametrize("into", [".", "..", "../here"])
def test_nobody_is_left_in_a_folder_that_is_not_there_any_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, into: str
) -> None:
    here = tmp_path / "here"
    here.mkdir()
    csv_file(here / "list.csv", [HEAD, *ROWS])
    monkeypatch.chdir(here)
    result = run("list.csv", "--into", into, "--yes")
    assert result.exit_code == 2 and "go out of it (cd " in result.stderr
    assert [*here.iterdir()] == [here / "list.csv"]
    assert run("list.csv", "--into", "../shop", "--yes").exit_code == 0
    monkeypatch.chdir(tmp_path / "shop")
    told = CliRunner().invoke(app, ["check", "."]).stdout
    assert told.startswith("shop: 3 parts")
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path / "empty")
    told = CliRunner().invoke(app, ["builds", "--catalogue", "."]).stderr
    assert "is not in the folder 'empty'" in told


def test_what_the_page_says_of_python_runs(tmp_path: Path) -> None:
    (tmp_path / "wares.csv").write_bytes(text(products()))
    (code,) = re.findall(r"^```python\n(.*?)^```$", PAGE, re.M | re.S)
    names = {"words": DEMO, "into": tmp_path / "shop"}
    exec(code.replace("wares.csv", str(tmp_path / "wares.csv")), names)
    assert len(names["report"].intake.parts) == 388 and len(names["report"].intake.aside) == 13


def mend(aside: Path, mended: Path) -> None:
    """Do what the page says: give a number, delete what is no part."""
    with aside.open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    number, title = head.index("Art.-Nr."), head.index("Bezeichnung")
    kept = []
    for n, row in enumerate(rows):
        if "voucher" in row[title]:
            continue
        row[number] = f"NEW-{n}"
        kept.append(row)
    assert kept
    csv_file(mended, [head, *kept])


def test_the_blocks_of_the_page_can_be_used(tmp_path: Path) -> None:
    mapping, phrases = re.findall(r"^```toml\n(.*?)^```$", PAGE, re.M | re.S)
    (tmp_path / "map.toml").write_text(mapping, encoding="utf-8")
    read = read_mapping(tmp_path / "map.toml")
    assert read.tables["wares.csv"].columns["Gewicht"].unit == "g"
    vocabulary = load(DEMO).catalogue.vocabulary
    said = Phrases(tomllib.loads(phrases)["phrases"], vocabulary).read("Klemme für 34,9 Lenker")
    assert {p: v for p, (v, _) in said.figures.items()} == {"bore.diameter": "34,9"}


def test_rows_that_cannot_be_taken_apart_are_kept_whole_for_mending(tmp_path: Path) -> None:
    """A row with an open quotation mark, and what stands beyond the header's columns."""
    file = tmp_path / "list.csv"
    file.write_text(
        'Item no,Title,Price\nA-1,bar 34.9 OD,50.00\nA-2,"bar 34.9 OD,60.00\n'
        "A-3,bar 34,9 OD,70.00\n",
        encoding="utf-8",
    )
    assert run(file, "--into", tmp_path / "shop", "--yes").exit_code == 1
    with (tmp_path / "shop" / "set-aside.csv").open(encoding="utf-8", newline="") as aside:
        rows = list(csv.DictReader(aside))
    kept = [[row.get(n) for n in ("Item no", "Title", "Price", "column D")] for row in rows]
    assert kept == [
        ["A-2", '"bar 34.9 OD', "60.00", ""],
        ["A-3", "bar 34", "9 OD", "70.00"],
    ]


@pytest.mark.parametrize("library", ["rapidfuzz.fuzz", "python_calamine", "sqlalchemy"])
def test_a_library_that_is_missing_is_named_with_its_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, library: str
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    importlib.import_module("fitgraph.intake.guess")._KNOWN.clear()
    file = csv_file(tmp_path / "list.csv", [HEAD, *ROWS])
    source = {
        "rapidfuzz.fuzz": file,
        "python_calamine": xlsx(tmp_path / "l.xlsx", {"L": [HEAD, *ROWS]}),
        "sqlalchemy": "sqlite:///x.db",
    }[library]
    result = run(source, "--into", tmp_path / "shop")
    assert result.exit_code == 2 and "pip install 'fitgraph[intake]'" in result.output


@pytest.mark.parametrize(
    ("header", "cell", "minor"),
    [
        ("Price (EUR)", "10.00", 1000),
        ("Preis in €", "10,00", 1000),
        ("Price (cents)", "1000", 1000),
        ("Price in GBP", "10.00", None),
        ("Price £", "10.00", None),
        ("Price per pair", "10.00", None),
        ("Price/100", "10.00", None),
        ("Price per piece", "10.00", 1000),
        ("Price $", "€10.00", 1000),  # the cell's own currency goes first
    ],
)
def test_a_column_of_prices_is_in_what_its_name_says(
    tmp_path: Path, header: str, cell: str, minor: int | None
) -> None:
    rows = [["Item no", "Title", header], ["A-1", "Bar 34.9 OD", cell]]
    report = taken(csv_file(tmp_path / "list.csv", rows, ";"), tmp_path / "shop")
    (part,) = report.intake.parts
    assert part.price == minor
    assert bool([f for f in report.intake.findings if f.code == "no-price"]) is (minor is None)


@pytest.mark.parametrize(
    ("header", "cells", "grams"),
    [
        ("Weight (g)", ["0.95", "950"], [0.95, 950]),
        ("Weight kg", ["0.95", "1.2"], [950, 1200]),
        ("Weight", ["0.95", "1.2"], [None, None]),
        ("Weight", ["0.95", "950"], [None, 950]),
        ("Weight", ["0.95 kg", "950"], [950, 950]),
        ("Weight", ["4", "950"], [4, 950]),
        ("Weight", ["4", "5"], [None, None]),
    ],
)
def test_a_mass_without_a_unit_that_may_be_kilograms_is_not_taken_for_grams(
    tmp_path: Path, header: str, cells: list[str], grams: list[float | None]
) -> None:
    rows = [["Item no", "Title", header], *(["A-1", "Bar", cells[0]], ["A-2", "Bar", cells[1]])]
    file = csv_file(tmp_path / "list.csv", rows)
    report = taken(file, tmp_path / "shop")
    assert [p.mass_g for p in report.intake.parts] == grams
    job = prepared([str(file)], DEMO)
    (choice,) = [c for c in job.choices if c.column == header]
    assert choice.sure is (None not in grams)
    if None in grams:  # what is meant is one of the answers
        assert [c.unit for c in choice.options if c.means == "mass"] == ["?", "g", "kg"]


@pytest.mark.parametrize(
    ("header", "cell", "value"),
    [
        ("Outside diameter (in)", "1 1/4", (31.65, 31.85)),
        ("Outside diameter (in)", "1.250 ±0.002", (31.6992, 31.8008)),
        ("Outside diameter (in)", "1.248..1.252", (31.6992, 31.8008)),
        ("Outside diameter (in)", "34.9 mm", (34.8, 35.0)),
        ('Outside diameter "', "1-1/4", (31.65, 31.85)),
        ("Durchmesser außen in mm", "34,9", (34.8, 35.0)),
        ("Durchmesser außen [cm]", "3,49", (34.8, 35.0)),
        ("Diamètre extérieur (mm)", "34,9 h9", (34.838, 34.9)),
    ],
)
def test_a_column_of_sizes_is_in_what_its_name_says(
    tmp_path: Path, header: str, cell: str, value: tuple[float, float]
) -> None:
    rows = [["Item no", "Title", header], ["A-1", "Bar", cell]]
    taken(csv_file(tmp_path / "list.csv", rows, ";"), tmp_path / "shop")
    size = load(tmp_path / "shop").catalogue.parts["A-1"].features["outside"].lengths["diameter"]
    assert (size.lo, size.hi) == pytest.approx(value)


@pytest.mark.parametrize("header", ["Depth (cm)", "Phone", "Shelf", "Year", "Diameter (mm)"])
def test_numbers_under_a_name_that_says_something_else_are_no_amounts(
    tmp_path: Path, header: str
) -> None:
    rows = [["Item no", "Title", header], ["A-1", "Bar", "34"], ["A-2", "Bar", "35"]]
    report = taken(csv_file(tmp_path / "list.csv", rows), tmp_path / "shop")
    assert [(p.price, p.mass_g, p.stock, p.figures) for p in report.intake.parts] == [
        (None, None, None, {})
    ] * 2


def over_rows(path: Path) -> Path:
    """Write a workbook of which the first cell of the second row stands over two rows."""
    rows = [["Kind", "Item no", "Price"], ["Bar", "A-1", 1.5], [None, "A-2", 2.5]]
    if path.suffix == ".xlsx":
        joined = '</sheetData><mergeCells count="1"><mergeCell ref="A2:A3"/></mergeCells>'
        return changed(xlsx(path, {"List": rows}), "xl/worksheets/s1.xml", ("</sheetData>", joined))
    cell = '<table:table-cell office:value-type="string"><text:p>Bar'
    spans = cell.replace(" office", ' table:number-rows-spanned="2" office')
    # A row that is repeated, and one of a single repeated cell, stand before it.
    before = '<table:table-row table:number-rows-repeated="3"><table:table-cell'
    before += ' table:number-columns-repeated="3"/></table:table-row><table:table-row>'
    return changed(
        ods(path, {"List": rows}),
        "content.xml",
        (cell, spans),
        ("<table:table-row><table:table-cell/>", "<table:table-row><table:covered-table-cell/>"),
        ('table:name="List"><table:table-row>', f'table:name="List">{before}'),
    )


@pytest.mark.parametrize("name, first", [("list.xlsx", 2), ("list.ods", 5)])
def test_a_cell_over_several_rows_goes_for_each_of_them(
    tmp_path: Path, name: str, first: int
) -> None:
    report = taken(over_rows(tmp_path / name), tmp_path / "shop")
    assert [(p.sku, p.role, p.price) for p in report.intake.parts] == [
        ("A-1", "bar", 150),
        ("A-2", "bar", 250),
    ]
    (told,) = [f for f in report.intake.findings if f.code == "joined-cells"]
    assert (told.row, told.value) == (first, "Bar")
    assert told.message == f"stands over rows {first} to {first + 1} and counts for each of them"


def test_a_cell_without_a_value_is_told_and_not_taken_for_a_blank_one(tmp_path: Path) -> None:
    # Programs that write workbooks keep formulas alone; spreadsheets keep errors (ECMA-376).
    rows = [["Item no", "Type", "Price", "Stock", "Weight (g)"]]
    rows += [[f"A-{n}", "Bar", 10.5, 4, 900] for n in range(1, 6)]
    file = changed(
        *(xlsx(tmp_path / "list.xlsx", {"Bars & more": rows}), "xl/worksheets/s1.xml"),
        ('<c r="C2"><v>10.5</v></c>', '<c r="C2"><f>2*5.25</f><v></v></c>'),
        ('<c r="D3"><v>4</v></c>', '<c r="D3"><f>SUM(D4:D5)</f></c>'),
        ('<c r="E4"><v>900</v></c>', '<c r="E4" t="e"><f>1/0</f><v>#DIV/0!</v></c>'),
        ('<c r="C5"><v>10.5</v></c>', '<c r="C5"><f>2*5</f><v>10</v></c>'),
        ('<c r="E5"><v>900</v></c>', '<c r="E5" t="str"><f>""</f><v></v></c>'),
        (
            '<c r="A6" t="inlineStr"><is><t>A-5</t></is></c>',
            '<c r="A6" t="e"><v>#N/A</v></c>',
        ),
    )
    report = taken(file, tmp_path / "shop")
    assert [(p.sku, p.price, p.stock, p.mass_g) for p in report.intake.parts] == [
        ("A-1", None, 4, 900),
        ("A-2", 1050, None, 900),
        ("A-3", 1050, 4, None),
        ("A-4", 1000, 4, None),
    ]
    told = {(f.row, f.code, f.value) for f in report.intake.findings}
    assert {
        (2, "no-price", "formula =2*5.25"),
        (3, "no-stock", "formula =SUM(D4:D5)"),
        (4, "no-mass", "#DIV/0!"),
    } <= told
    assert not any(row == 5 for row, _, _ in told)
    ((row, reason),) = [(a.row, a.reason) for a in report.intake.aside]
    assert row == 6 and reason.startswith("has an error or a formula without a value")


def test_headings_over_the_header_are_no_header(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_text(
        "Artikel;Artikel;Artikel;Artikel;Artikel;Maße;Maße;Maße;Maße;Maße;Maße\n"
        "Réf.;Type;Désignation;Prix;Qté;Hauteur;Ø ext;Ø int;Longueur;Largeur;Col 3\n"
        "A-1;Guidon;guidon Culmory;49,90;2;650;34,9;31,8;;;\n"
        "A-2;Guidon;guidon Gorsewick;59,90;3;700;31,8;28,6;;;\n"
        "A-3;Guidon;guidon Yarrith;69,90;1;600;34,9;28,6;;;\n"
    )
    report = taken(file, tmp_path / "shop")
    assert [(p.sku, p.price, p.mass_g) for p in report.intake.parts] == [
        ("A-1", 4990, None),
        ("A-2", 5990, None),
        ("A-3", 6990, None),
    ]
    assert report.intake.parts[0].figures["height.length"][0] == "650"


@pytest.mark.parametrize(
    "name",
    [
        *("Height", "Höhe", "Länge", "Breite", "Maß", "Abmessungen", "Max weight", "Max load (kg)"),
        *("Block", "Lock", "Quality", "Stock value", "Lagerwert", "Stock place", "Weight class"),
        *("Preisgruppe", "Reviews", "Freight", "Bestands-ID", "Stückliste", "Race"),
    ],
)
def test_a_name_like_that_of_an_amount_makes_no_amount(tmp_path: Path, name: str) -> None:
    # A trade whose vocabulary has no such size.
    hoses = DEMO.parent / "hoses"
    file = tmp_path / "list.csv"
    file.write_text(
        f"SKU;Type;Title;{name}\nA-1;hose;hose a;12\nA-2;hose;hose b;2000\nA-3;hose;hose c;35\n"
    )
    (choice,) = [c for c in prepared([str(file)], hoses).choices if c.column == name]
    assert choice.taken.means not in ("price", "mass", "stock")


@pytest.mark.parametrize(
    ("typed", "price", "rounded"),
    [
        ("59.4405", 5944, True),
        ("59,4450 €", 5945, True),
        ("1190.1250", 119013, True),
        ("59.9000", 5990, False),
        ("59.90", 5990, False),
        ("59.123", None, False),
        ("0.00001", None, False),
    ],
)
def test_a_price_that_was_worked_out_is_rounded_and_told(
    tmp_path: Path, typed: str, price: int | None, rounded: bool
) -> None:
    file = csv_file(tmp_path / "list.csv", [["SKU", "Type", "Price"], ["A-1", "Bar", typed]])
    report = taken(file, tmp_path / "shop")
    assert load(tmp_path / "shop").catalogue.parts["A-1"].price == price
    assert ("price-rounded" in {f.code for f in report.findings}) is rounded


def test_rows_that_do_not_say_what_they_are_are_what_their_sheet_is_called(tmp_path: Path) -> None:
    head = ["SKU", "Name", "Price"]
    sheets = {
        "Bars": [
            [*head, "Outside diameter"],
            ["B-1", "Skerrowby 600", 50, 34.9],
            ["B-2", "Skerrowby end plugs", 5, ""],
            ["B-3", "Skerrowby 650", 60, 31.8],
        ],
        "Forks": [[*head, "Stock"], ["F-1", "Ostrathby 110", 80, 2]],
        "Bars 2026": [head, ["X-1", "Tarnholt 3", 80]],
        "Clamps": [["SKU", "Quantity"], ["B-1", 7]],  # a count of the shelf, whatever it is called
    }
    report = taken(xlsx(tmp_path / "list.xlsx", sheets), tmp_path / "shop")
    parts = load(tmp_path / "shop").catalogue.parts
    assert {sku: (p.role, p.stock) for sku, p in parts.items()} == {
        "B-1": ("bar", 7),
        "B-2": ("plugs", 0),
        "B-3": ("bar", 0),
        "F-1": ("fork", 2),
    }
    told = [(f.value, f.row, f.message) for f in report.findings if f.code == "kind-by-sheet"]
    assert [(value, row) for value, row, _ in told] == [("Bars", 2), ("Forks", 2)]
    assert "(2 rows, the first of them here) was taken for a bar" in told[0][2]


def test_what_a_cell_s_format_shows_counts_as_typed(tmp_path: Path) -> None:
    """ECMA-376 part 1, 18.8.30 and 18.8.31: a number's format may hold its unit and its zeros."""
    codes = {
        "A": "00000",
        "D": '[$$-409]#,##0.00;[Red]"-"0.00',
        "E": '0.000\\ "in"',
        "F": '0.0," kg"',  # which shows thousandths
        "G": 'General" kg"',
    }
    rows = [
        ["SKU", "Name", "Type", "Price", "Outside diameter", "Weight (g)"],
        [123, "bar one", "Bar", 59.9, 1.375, 950],
        [124, "bar two", "Bar", 59.9, 34.9, 1.25],
    ]
    book = xlsx(tmp_path / "list.xlsx", {"Bars": rows})
    formats = "".join(
        f'<numFmt numFmtId="{200 + n}" formatCode="{escape(code)}"/>'
        for n, code in enumerate(codes.values())
    )
    styles = "".join(f'<xf numFmtId="{200 + n}"/>' for n in range(len(codes)))
    changed(
        book,
        "xl/styles.xml",
        ("<fonts ", f"<numFmts>{formats}</numFmts><fonts "),
        ("</cellXfs>", f"{styles}</cellXfs>"),
    )
    at = {"A2": "A", "D2": "D", "E2": "E", "F2": "F", "F3": "G", "A3": "A"}
    place = {column: 2 + n for n, column in enumerate(codes)}
    cells = [(f'r="{cell}"', f'r="{cell}" s="{place[how]}"') for cell, how in at.items()]
    changed(book, "xl/worksheets/s1.xml", *cells)
    report = taken(book, tmp_path / "shop")
    parts = load(tmp_path / "shop").catalogue.parts
    assert list(parts) == ["00123", "00124"]
    assert [p.price for p in parts.values()] == [None, 5990]
    assert [p.mass_g for p in parts.values()] == [950, 1250]
    sizes = [p.features["outside"].lengths["diameter"].mid for p in parts.values()]
    assert [round(size, 3) for size in sizes] == [34.925, 34.9]
    assert any("is in $, not in EUR" in f.message and f.sku == "00123" for f in report.findings)


def test_the_currency_of_an_ods_cell_counts(tmp_path: Path) -> None:
    """OpenDocument 1.3 part 3, 19.369: a cell of the type currency may name it."""
    rows = [
        ["SKU", "Name", "Type", "Stock", "Price"],
        ["A-1", "bar one", "Bar", 3, 59.9],
        ["A-2", "bar two", "Bar", 3, 69.9],
    ]
    book = ods(tmp_path / "list.ods", {"Other": [["a", "b"], [59.9, 1]], "Bars": rows})
    money = 'office:value-type="currency" office:currency'
    plain = 'office:value-type="float"'
    changed(
        book,
        "content.xml",
        (f'{plain} office:value="69.9"', f'{money}="EUR" office:value="69.9"'),
        (f'{plain} office:value="59.9"', f'{money}="USD" office:value="59.9"'),
        # Two blank rows before the table.
        (
            '<table:table table:name="Bars">',
            '<table:table table:name="Bars"><table:table-row table:number-rows-repeated="2">'
            '<table:table-cell table:number-columns-repeated="5"/></table:table-row>',
        ),
    )
    report = taken(book, tmp_path / "shop")
    assert [p.price for p in load(tmp_path / "shop").catalogue.parts.values()] == [None, 6990]
    (told,) = [f for f in report.findings if "is in USD, not in EUR" in f.message]
    assert (told.sku, told.value, told.row) == ("A-1", "59.9 USD", 4)


@pytest.mark.parametrize(
    ("title", "figures"),
    [
        ("bar OD 34.9-35.0", {}),
        ("bar OD 34.9 – 35.0 mm", {}),
        ("bar OD 34.9..35.0", {}),
        ("bar OD 34.9 or 31.8", {}),
        ("Lenker OD 34,9 bis 35,1", {}),
        ("wheels 110-120 mm", {}),
        ("bar OD 34.9 - 650 mm", {"outside.diameter": "34.9"}),
        ("bar OD 34.9 - ID 31.8", {"outside.diameter": "34.9", "bore.diameter": "31.8"}),
        ("sleeve 28.6 to 31.8", {"bore.diameter": "28.6", "outside.diameter": "31.8"}),
    ],
)
def test_one_end_of_a_range_in_a_title_is_no_size(title: str, figures: dict[str, str]) -> None:
    vocabulary = load(DEMO).catalogue.vocabulary
    said = read_phrases(DEMO, vocabulary).read(title)
    assert {path: value for path, (value, _) in said.figures.items()} == figures
    assert figures or "of which one size has to be told" in " ".join(said.doubts)


@pytest.mark.parametrize(
    ("title", "role"),
    [
        ("clamp for 31.8 to 34.9 bars", "clamp"),
        ("fork for max 120 mm wheels", "fork"),
        ("Klemme für 31,8 mm bis 34,9 mm Lenker", "clamp"),
        ("clamp for 34.9 mm strong oversized bars", "clamp"),
        ("fork and bar", ""),
    ],
)
def test_sizes_do_not_part_what_something_is_for_from_its_word(title: str, role: str) -> None:
    vocabulary = load(DEMO).catalogue.vocabulary
    assert read_phrases(DEMO, vocabulary).read(title).role == role


@pytest.mark.parametrize(
    ("title", "role"),
    [
        ("fork bolt M8", ""),
        ("Clamp bolts M6, 2 pieces", ""),
        ("brake pad", ""),
        ("Gabelschraube", ""),
        ("bar plugs, pair", "plugs"),
        ("clamp for 34.9 bars with clamp bolts M6", "clamp"),
    ],
)
def test_bolts_and_pads_of_a_part_are_none(title: str, role: str) -> None:
    vocabulary = load(DEMO).catalogue.vocabulary
    assert read_phrases(DEMO, vocabulary).read(title).role == role


def test_a_point_in_inches_marks_no_thousands_among_decimal_commas(tmp_path: Path) -> None:
    head = ["Art.-Nr.", "Bezeichnung", "VK", "Außendurchmesser (mm)", "Innendurchmesser (Zoll)"]
    rows = [
        ["A-1", "Lenker eins", "8,90", "34,9", "1,12"],
        ["A-2", "Lenker zwei", "8,90", "1.375 in", "1.125"],
        ["A-3", "Lenker drei", "8,90", '1.256"', "1,12"],
    ]
    taken(csv_file(tmp_path / "list.csv", [head, *rows], ";"), tmp_path / "shop")
    parts = load(tmp_path / "shop").catalogue.parts
    assert [
        round(parts[f"A-{n}"].features[f].lengths["diameter"].mid, 4)
        for f in ("outside", "bore")
        for n in (1, 2, 3)
    ] == [34.9, 34.925, 31.9024, 28.448, 28.575, 28.448]


def test_a_cell_without_a_value_is_told_as_that_and_not_as_a_number_badly_written(
    tmp_path: Path,
) -> None:
    head = ["SKU", "Name", "Price", "Weight (g)", "Outside diameter"]
    rows = [["A 1", "bar one", "#N/A", "#REF!", "formula =1+2"], ["A-2", "bar two", "9", "9", "35"]]
    report = taken(csv_file(tmp_path / "list.csv", [head, *rows]), tmp_path / "shop")
    told = [f for f in report.findings if f.sku == "A-1" and f.file == "list.csv"][1:]
    assert [f.column for f in told] == ["Price", "Weight (g)", "Outside diameter"]
    assert all("a formula whose value was not saved" in f.message for f in told)


def asked(folder: Path, *columns: tuple[str, str]) -> dict[str, tuple[str, bool, list[str]]]:
    """Return what columns beside number and title are taken for: meaning, sure, the others."""
    heads = ["SKU", "Name", *(head for head, _ in columns)]
    rows = [
        [f"B-{n}", f"bar {n} 34.9 OD", *(f"{n + 4}{end}" for _, end in columns)] for n in range(9)
    ]
    choices = prepared([str(csv_file(folder / "l.csv", [heads, *rows], ";"))], DEMO).choices
    return {c.column: (c.taken.means, c.sure, [o.means for o in c.others]) for c in choices}


@pytest.mark.parametrize("head", ["kaina", "Spalte 3", "Цена", "価格", "Rank"])
@pytest.mark.parametrize("end", ["9", "9,90", "9,90 €"])
def test_amounts_under_an_unknown_name_are_asked_about_where_nothing_gives_the_price(
    tmp_path: Path, head: str, end: str
) -> None:
    means, sure, others = asked(tmp_path, (head, end))[head]
    assert (means, sure, others[0]) == ("ignore", False, "price")
    means, sure, _ = asked(tmp_path, (head, end), ("Preis", "9,90"))["Preis"]
    assert (means, sure) == ("price", True)


@pytest.mark.parametrize(
    ("heads", "sure"),
    [
        (("RRP", "Sale price"), False),
        (("UVP", "Verkaufspreise"), False),
        (("Price", "Price net"), True),
        (("Price", "Cost"), True),
        (("Price", "Old price"), True),
    ],
)
def test_which_of_two_prices_counts_is_asked_about(
    tmp_path: Path, heads: tuple[str, str], sure: bool
) -> None:
    found = asked(tmp_path, (heads[0], "9.90"), (heads[1], "5.90"))
    assert [found[heads[0]][:2], found[heads[1]][1]] == [("price", sure), sure]


@pytest.mark.parametrize(
    ("head", "end"),
    [("EAN", "9012345678"), ("EK", "9,90"), ("Min. Bestand", "1")],
)
def test_amounts_under_a_name_that_says_what_else_they_are_are_not_asked_about(
    tmp_path: Path, head: str, end: str
) -> None:
    means, sure, _ = asked(tmp_path, (head, end))[head]
    assert (means, sure) == ("ignore", True)


@pytest.mark.parametrize(
    ("name", "means", "sure"),
    [
        ("Weight (g)", "mass", True),
        ("Wieght (g)", "mass", False),
        ("Versandgewicht (g)", "mass", False),
        ("Poids en g", "mass", None),
        ("Unit price", "price", True),
        ("Stocks", "stock", True),
        ("Stock at the shop", "stock", False),
    ],
)
def test_a_name_that_tells_an_amount_among_other_words_is_asked_about(
    tmp_path: Path, name: str, means: str, sure: bool | None
) -> None:
    hoses = DEMO.parent / "hoses"
    file = tmp_path / "list.csv"
    file.write_text(
        f"SKU;Type;Title;{name}\nA-1;hose;hose a;120\nA-2;hose;hose b;2000\nA-3;hose;hose c;350\n"
    )
    (choice,) = [c for c in prepared([str(file)], hoses).choices if c.column == name]
    assert choice.taken.means == means
    assert sure is None or choice.sure is sure


def test_sizes_in_german_are_no_mass(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_text(
        "Art.-Nr.;Art;Bezeichnung;Preis;Maße\n"
        "A-1;Lenker;Lenker Culmory;49,90;650\n"
        "A-2;Lenker;Lenker Gorsewick;59,90;700\n"
        "A-3;Lenker;Lenker Yarrith;69,90;600\n"
    )
    report = taken(file, tmp_path / "shop")
    assert [p.mass_g for p in report.intake.parts] == [None, None, None]


@pytest.mark.parametrize("name", ["list.xlsx", "list.ods"])
def test_a_hidden_sheet_is_passed_over_and_told(tmp_path: Path, name: str) -> None:
    sheets = {"Old": [["Item no", "Title", "Price"], ["A-1", "Bar", 1.5]], "New": []}
    sheets["New"] = [["Item no", "Title", "Price"], ["A-1", "Bar", 2.5]]
    if name.endswith("xlsx"):
        file = changed(
            *(xlsx(tmp_path / name, sheets), "xl/workbook.xml"),
            ('name="Old"', 'name="Old" state="hidden"'),
        )
    else:
        style = '<office:automatic-styles><style:style style:name="ta1" style:family="table">'
        style += '<style:table-properties table:display="false"/></style:style>'
        style += "</office:automatic-styles><office:body>"
        file = changed(
            *(ods(tmp_path / name, sheets), "content.xml"),
            ("<office:body>", style),
            ('table:name="Old"', 'table:name="Old" table:style-name="ta1"'),
            (
                "<office:document-content ",
                "<office:document-content "
                'xmlns:style="urn:oasis:names:tc:opendocument:xmlns:style:1.0" ',
            ),
        )
    report = taken(file, tmp_path / "shop")
    assert [(p.sku, p.price) for p in report.intake.parts] == [("A-1", 250)]
    assert [(f.file, f.code) for f in report.intake.findings] == [(f"{name} (Old)", "hidden-sheet")]


def test_numbers_in_four_bytes_dictionaries_and_nothing(tmp_path: Path) -> None:
    table = pa.table(
        {
            "sku": pa.array(["A-1", "A-2", None]).dictionary_encode(),
            "title": pa.array(["Bar", "Red bar", "x"]).dictionary_encode(),
            "outside diameter": pa.array([34.9, None, 1.0], pa.float32()),
            "weight kg": pa.array([0.95, float("nan"), 1.0], pa.float32()),
        }
    )
    pq.write_table(table, tmp_path / "list.parquet")
    for source in (tmp_path / "list.parquet", frame_sheet(table), frame_sheet(table.to_pandas())):
        report = taken(source, tmp_path / "shop")
        assert [(p.sku, p.mass_g) for p in report.intake.parts] == [("A-1", 950), ("A-2", None)]
        assert report.intake.parts[0].figures["outside.diameter"][0] == "34.9"
        (tally,) = report.intake.tallies
        assert (tally.read, tally.loaded) == (3, 2)


def test_a_part_is_taken_from_its_table_and_not_from_a_view_of_it(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "stock.db") as base:
        base.executescript(
            "create table parts (item_no text, title text, price numeric, qty integer);"
            "insert into parts values ('A-1', 'Bar 34.9 OD', 89.9, 3), ('A-2', 'Bar', null, null);"
            "create view cheap as select item_no, title, price from parts where price < 100;"
        )
    whole = taken(f"sqlite:///{tmp_path / 'stock.db'}", tmp_path / "whole").intake
    assert [(p.sku, p.price, p.stock) for p in whole.parts] == [
        ("A-1", 8990, 3),
        ("A-2", None, None),
    ]
    assert [(t.read, t.loaded) for t in whole.tallies] == [(2, 2), (1, 1)]
    view = taken(f"sqlite:///{tmp_path / 'stock.db'}#cheap", tmp_path / "view").intake
    assert [(p.sku, p.price, p.stock) for p in view.parts] == [("A-1", 8990, None)]


@pytest.mark.parametrize(
    "entry",
    [
        {"means": "nothing.such", "say": ["x"]},
        {"means": "outside.diameter", "say": "x"},
        {"means": "outside.diameter", "say": [" "]},
        {"means": "outside.diameter"},
        {"say": ["x"]},
        "x",
    ],
)
def test_a_name_for_columns_that_means_nothing_here_is_told(entry: object) -> None:
    vocabulary = load(DEMO).catalogue.vocabulary
    with pytest.raises(CatalogueError, match="columns #1"):
        Phrases([], vocabulary, [entry])


def test_a_diameter_of_which_nobody_says_where_it_is_measured_is_asked(tmp_path: Path) -> None:
    rows = [["Item no", "Title", "Diameter (mm)"], ["A-1", "Raw bar", "34.9"]]
    job = prepared([str(csv_file(tmp_path / "list.csv", rows))], DEMO)
    (choice,) = [c for c in job.choices if not c.sure]
    assert choice.column == "Diameter (mm)" and choice.taken.means == "ignore"
    offered = {c.means: c.unit for c in choice.options}
    assert offered.pop("ignore") == "" and set(offered.values()) == {"mm"} and len(offered) > 2


@pytest.mark.parametrize(
    "typed, price",
    [("19.91", 1991), ("81", 8100), ("12.50 ea", 1250), ("€12.50 each", 1250), ("7 € / St.", 700)],
)
def test_a_price_of_each_is_the_price(tmp_path: Path, typed: str, price: int) -> None:
    rows = [["Item no", "Title", "Price"], ["A-1", "Bar", typed], ["A-2", "Bar two", "9.95"]]
    report = taken(csv_file(tmp_path / "list.csv", rows), tmp_path / "shop")
    assert report.intake.parts[0].price == price


@pytest.mark.parametrize(
    "title, sizes",
    [
        ("Wheels set of 2 110 x 24", {"tyre.diameter": "110"}),
        ("Wheels 110 set", {"tyre.diameter": "110"}),
        ("2 x wheel 120x24", {"tyre.diameter": "120"}),
        ("Clamp 2-pack for 34.9 bars", {"bore.diameter": "34.9"}),
        ("Clamp 2 bolts for 34.9 bars", {"bore.diameter": "34.9", "bolts.count": "2"}),
    ],
)
def test_numbers_of_pieces_are_no_sizes(tmp_path: Path, title: str, sizes: dict[str, str]) -> None:
    rows = [["Item no", "Title", "Price"], ["A-1", title, "9.95"], ["A-2", "Bar", "9.95"]]
    report = taken(csv_file(tmp_path / "list.csv", rows), tmp_path / "shop")
    (part, _) = report.intake.parts
    assert {path: value for path, (value, _, _) in part.figures.items()} == sizes
    several = title not in ("Wheels 110 set", "Clamp 2 bolts for 34.9 bars")
    assert [f.code for f in report.intake.findings] == ["several-pieces"] * several


def columns(tmp_path: Path, *rows: str) -> dict[str, tuple[str, bool]]:
    """Return what each column is taken for, and whether nobody is asked about it."""
    file = csv_file(tmp_path / "list.csv", [row.split(",") for row in rows])
    return {c.column: (c.taken.means, c.sure) for c in prepared([str(file)], DEMO).choices}


def test_a_column_of_titles_is_no_column_of_kinds_though_each_title_names_one(
    tmp_path: Path,
) -> None:
    taken_for = columns(tmp_path, "code,product,price", "1,Bar A,49.90", "2,Fork B,39.90")
    assert taken_for["product"] == ("name", True)


def test_a_word_that_is_like_no_name_for_makers_names_none(tmp_path: Path) -> None:
    taken_for = columns(tmp_path, "SKU,Title,Größe", "1,Bar A,groß", "2,Fork B,groß")
    assert taken_for["Größe"][0] == "ignore"


def test_makers_numbers_are_offered_where_there_are_no_stock_numbers(tmp_path: Path) -> None:
    rows = ("4006381333931,Bar,49", "4006381333948,Fork,99")
    assert columns(tmp_path, "EAN,Title,Price", *rows)["EAN"] == ("sku", False)
    rows = ("1,4006381333931,Bar", "2,4006381333948,Fork")
    assert columns(tmp_path, "SKU,EAN,Title", *rows)["EAN"] == ("ignore", True)


@pytest.mark.parametrize(
    "names",
    [
        "Kod,Nazwa,Cena,Waga,Ilość",
        "Artikelnr,Benämning,Pris,Vikt,Antal",
        "Varenr,Varenavn,Pris,Vægt,Antal",
        "Kód,Název,Cena,Hmotnost,Skladem",
        "Cikkszám,Megnevezés,Ár,Súly,Készlet",
    ],
)
def test_names_of_columns_in_more_languages(tmp_path: Path, names: str) -> None:
    """The names are common ones, from memory."""
    found = columns(tmp_path, names, "7,Culmory bar,49.90,950 g,3", "8,Culmory fork,39.90,900 g,4")
    assert [means for means, _ in found.values()] == ["sku", "name", "price", "mass", "stock"]


def test_a_new_price_goes_before_an_old_one(tmp_path: Path) -> None:
    found = columns(
        tmp_path, "SKU,Title,Old price,New price", "7,Bar,59.90,49.90", "8,Fork,9.9,8.8"
    )
    assert (found["Old price"][0], found["New price"]) == ("ignore", ("price", True))


@pytest.mark.parametrize("number", ["Mar-05", "05.01.2026", "2026-01-05", "5. Jan"])
def test_a_stock_number_that_looks_like_a_day_is_told(tmp_path: Path, number: str) -> None:
    file = csv_file(tmp_path / "list.csv", [["SKU", "Title"], [number, "Bar"], ["A-1", "Bar"]])
    told = [f for f in taken(file, tmp_path / "shop").findings if f.code == "like-a-day"]
    assert [(f.row, f.value) for f in told] == [(2, number)]


def several(tmp_path: Path, into: Path, **lists: str):
    """Import lists at once; each is a name and its rows, parted by |."""
    files = [
        csv_file(tmp_path / f"{name}.csv", [row.split(",") for row in rows.split("|")])
        for name, rows in lists.items()
    ]
    job = prepared([*map(str, files)], DEMO)
    return import_tables(job, job.choices, into)


TITLES = "Item no,Title,Price|A-1,Bar 34.9 OD,49.90|A-2,Clamp for 34.9 bars,19.90|A-3,Bar,9.90"


@pytest.mark.parametrize("first", ["titles", "counts"])
def test_a_list_of_pieces_tells_of_the_parts_of_another_list(tmp_path: Path, first: str) -> None:
    lists = {"titles": TITLES, "counts": "Item no,Qty,Bore|a-2,7,34.95|A-1,5,|A-9,1,|A-1,2,"}
    ordered = dict(sorted(lists.items(), reverse=first == "titles"))
    report = several(tmp_path, tmp_path / "shop", **ordered)
    # As in stock.csv, pieces in two rows add up, which is told.
    assert {p.sku: p.stock for p in report.intake.parts} == {"A-1": 7, "A-2": 7, "A-3": None}
    assert report.intake.parts[1].figures["bore.diameter"][0] == "34.95"
    told = [(f.file, f.row, f.value) for f in report.findings if f.code == "another-list"]
    assert told == [("counts.csv", 5, "2")]
    assert [(a.source, a.row) for a in report.intake.aside] == [("counts.csv", 4)]
    assert all(t.read == t.loaded + len(t.aside) for t in report.intake.tallies)
    assert sum(t.read for t in report.intake.tallies) == 7


def test_what_two_lists_tell_otherwise_is_told_and_not_mixed(tmp_path: Path) -> None:
    report = several(
        tmp_path,
        tmp_path / "shop",
        one="Item no,Title,Price,Stock|A-1,Bar 34.9 OD,49.90,5",
        two="Item no,Title,Price,Stock,Weight|A-1,bar  34.9 OD,39.90,2,950 g|A-1,,49.90,3,",
        three="Item no,Title,Price|A-1,Fork,9.90",
    )
    (part,) = report.intake.parts
    assert (part.price, part.stock, part.mass_g) == (4990, 5, 950)
    told = [
        (f.row, f.message.split(" here")[0]) for f in report.findings if f.code == "another-list"
    ]
    assert told == [(2, "has another price"), (2, "has another stock"), (3, "has another stock")]
    # Another title is another part with a number that is taken.
    assert [(a.source, a.row) for a in report.intake.aside] == [("three.csv", 2)]


def test_next_weeks_count_changes_the_shelf_and_nothing_else(tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    several(tmp_path, shop, titles=TITLES)
    with (shop / "features.csv").open("a", encoding="utf-8") as file:
        file.write("A-1,bore,diameter,31.82..31.86,measured,mine\n")
    before = as_read(shop)
    for week, pieces in (("one", 3), ("two", 0)):
        report = several(tmp_path, shop, **{week: f"Item no,Qty|A-1,{pieces}|A-9,4"})
        (told,) = [f for f in report.findings if f.code == "another-list"]
        assert told.value == "A-1" and [a.cells["Item no"] for a in report.intake.aside] == ["A-9"]
        after = as_read(shop)
        assert after["A-1"][6] == pieces
        assert {s: (*p[:6], *p[7:]) for s, p in after.items()} == {
            s: (*p[:6], *p[7:]) for s, p in before.items()
        }


def test_two_ways_to_write_a_letter_mean_one_column_and_one_part(tmp_path: Path) -> None:
    """Unicode's canonical equivalence (UAX #15)."""
    rows = "Référence,Désignation,Prix|É-1,Bar 34.9 OD,49.90"
    apart = {"one": unicodedata.normalize("NFD", rows), "two": "Référence,Qté|É-1,3"}
    (part,) = several(tmp_path, tmp_path / "shop", **apart).intake.parts
    assert (part.sku, part.price, part.stock) == ("É-1", 4990, 3)


@pytest.mark.parametrize(
    ("name", "cells"),
    [
        ("Slot", ("yes", "no", "", "maybe")),
        ("Slotted", ("Ja", "Nein", "?", "vielleicht")),
        ("Slot (y/n)", ("1", "0", "", "maybe")),
        ("has slot", ("TRUE", "FALSE", "n/a", "perhaps")),
        ("geschlitzt", ("x", "nein", "-", "teils")),
    ],
)
def test_a_column_of_yes_and_no_says_whether_a_feature_is_there(
    tmp_path: Path, name: str, cells: tuple[str, ...]
) -> None:
    file = csv_file(
        tmp_path / "list.csv",
        [
            ["SKU", "Title", name],
            *([f"B-{n}", "Bar", c] for n, c in enumerate(cells)),
            *(["D-1", "Deck", cells[1]], ["D-2", "Deck", cells[0]]),
        ],
    )
    report = taken(file, tmp_path / "shop")
    figures = {p.sku: p.figures.get("slot", ("",))[0] for p in report.intake.parts}
    assert figures == {"B-0": "yes", "B-1": "no", "B-2": "", "B-3": "", "D-1": "", "D-2": ""}
    told = {(f.row, f.code) for f in report.intake.findings if f.column == name}
    assert told == {(5, "presence"), (7, "no-feature")}
    bars = load(tmp_path / "shop").catalogue.parts
    there = [bars[f"B-{n}"].features["slot"].presence for n in range(4)]
    assert there == [Presence.PRESENT, Presence.ABSENT, there[2], there[2]]
    # A mapping may say it too.
    again = taken(file, tmp_path / "again", tmp_path / "shop" / "mapping.toml")
    assert again.intake.parts == report.intake.parts


def test_prices_in_a_column_that_says_cents_with_a_stroke(tmp_path: Path) -> None:
    file = csv_file(tmp_path / "list.csv", [["SKU", "Title", "price_cents"], ["7", "Bar", "4990"]])
    assert taken(file, tmp_path / "shop").intake.parts[0].price == 4990


@functools.cache
def demo_phrases() -> Phrases:
    return read_phrases(DEMO, load(DEMO).catalogue.vocabulary)


def says(title: str, role: str = "") -> TitleWords:
    return demo_phrases().read(title, role)


@pytest.mark.parametrize(
    ("title", "role", "figures"),
    [
        ("Bar OD34.9/ID31.8", "bar", {"outside.diameter": "34.9", "bore.diameter": "31.8"}),
        ("Bar 34.9OD31.8ID", "bar", {"outside.diameter": "34.9", "bore.diameter": "31.8"}),
        ("Klemme für 34,9er Lenker", "clamp", {"bore.diameter": "34,9"}),
        ("Gabel für 120er Rollen", "fork", {"wheel_gap.diameter": "123..130"}),
        ("Bar 34.9mm OD", "bar", {"outside.diameter": "34.9mm"}),
    ],
)
def test_sizes_that_words_stick_to_are_read(title: str, role: str, figures: dict) -> None:
    said = says(title)
    assert (said.role, said.doubts) == (role, ())
    assert {path: size for path, (size, _) in said.figures.items()} == figures


@pytest.mark.parametrize(
    ("title", "doubt"),
    [
        *((f"Bar {word} 34.9 OD", "not certain") for word in ("~", "ca.", "approx.", "<", "etwa")),
        ("Bar 34.9 OD?", "not certain"),
        ("Bar 34.9 OD (TBC)", "not certain"),
        ("Bar Ø34,9/31,8 inside", "Ø34,9/31,8"),
        ("Cap for forks", "as what it is for"),
        ("Mug with bar print", "as what it is for"),
    ],
)
def test_what_a_title_does_not_say_for_certain_is_told(title: str, doubt: str) -> None:
    said = says(title)
    assert said.figures == {} and doubt in " ".join(said.doubts)


def test_a_part_is_not_of_the_material_of_what_it_is_for() -> None:
    assert says("Clamp for titanium bars").material == ""
    assert says("Clamp for titanium bars", "clamp").material == ""
    assert says("Titanium clamp for bars").material == "titanium"
    assert says("Fork for 110 mm wheels, titanium").material == "titanium"


@pytest.mark.parametrize(
    ("rows", "means", "sure"),
    [
        (("SKU,Title,OD,ID", "B-7,Bar,34.9,31.8", "B-8,Bar,31.8,28.6"), "bore.diameter", True),
        (("SKU,Title,ID [in]", "7,Bar,1.25", "8,Bar,1 1/8"), "bore.diameter", True),
        (("Title,ID (mm)", "Bar,31.8", "Bar,28.6"), "bore.diameter", True),
        (("ID,Title,Price", "1001,Bar,49.90", "1002,Fork,9.90"), "sku", True),
        # Sizes and stock numbers alike: it is asked.
        (("Title,ID", "Bar,31.8", "Bar,28.6"), "bore.diameter", False),
    ],
)
def test_id_is_an_inside_diameter_where_sizes_stand_under_it(
    tmp_path: Path, rows: tuple[str, ...], means: str, sure: bool
) -> None:
    found = columns(tmp_path, *rows)
    (of_id,) = (found[name] for name in found if name.startswith("ID"))
    assert of_id == (means, sure)


def test_a_list_that_cannot_be_read_says_what_to_do(tmp_path: Path) -> None:
    empty = tmp_path / "empty.csv"
    empty.write_bytes(b"\n \n")
    with pytest.raises(SourceError, match=r"empty\.csv is empty; save the list again"):
        read_source(str(empty))
    with pytest.raises(SourceError, match=r"missing\.csv cannot be read: .*; check its name"):
        read_source(str(tmp_path / "missing.csv"))


def test_a_folder_names_columns_in_a_language_that_is_not_known(tmp_path: Path) -> None:
    words = tmp_path / "words"
    shutil.copytree(DEMO, words)
    header = ["Prekės kodas", "Rūšis", "Kaina", "Svoris"]
    source = csv_file(
        tmp_path / "list.csv",
        [header, ["A-1", "bar", "89.90", "950 g"], ["A-2", "fork", "79.90", "840 g"]],
    )

    def understood() -> dict[str, str]:
        job = prepared([str(source)], words, None)
        return {
            c.column: c.taken.means for c in job.choices if c.sure and c.taken.means != "ignore"
        }

    assert not {"Prekės kodas", "Kaina", "Svoris"} & set(understood())
    said = {"sku": "prekės kodas", "role": "rūšis", "price": "kaina", "mass": "svoris"}
    with (words / "phrases.toml").open("a", encoding="utf-8") as file:
        for means, say in said.items():
            file.write(f'\n[[columns]]\nmeans = "{means}"\nsay = ["{say}"]\n')
    assert understood() == dict(zip(header, said, strict=True))
    with (words / "phrases.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[columns]]\nmeans = "prise"\nsay = ["x"]\n')
    with pytest.raises(CatalogueError, match="one of sku, name"):
        understood()
