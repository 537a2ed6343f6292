"""An import, a mapping and a sheet are there whole or not at all, and two imports lose nothing."""

from __future__ import annotations

import csv
import multiprocessing
import os
import re
from pathlib import Path

import pymupdf
import pytest

from fitgraph.adapters import SpecSheet, sheet
from fitgraph.catalogue import demo_folder, load
from fitgraph.draw.drafting import drawing
from fitgraph.draw.drafting_dxf import dxf_bytes
from fitgraph.draw.drafting_svg import sheet_svg
from fitgraph.draw.sheet_step import write_step
from fitgraph.files import folder_whole, write_bytes_whole
from fitgraph.intake.job import Job, prepared
from fitgraph.intake.mapping import (
    MappingError,
    read_mapping,
)
from fitgraph.report.specification import sheet_pdf
from fitgraph.shop.imports import import_tables
from tests.killed import ENOUGH, TIMES, kill_at_every_write
from tests.made_catalogues import thinned, unweighed
from tests.turns import turns

DEMO = demo_folder()

LIST = """Item no,Kind,Title,Price,Stock
{0}-1,bar,Bar {0} one,81.50,3
{0}-2,grips,Grips {0},9.90,7
,bar,nobody gave it a number,70.00,1
{0}-3,bar,Bar {0} three,soon,0
"""


def job(folder: Path, word: str) -> Job:
    file = folder / f"{word}.csv"
    file.write_text(LIST.format(word))
    return prepared([str(file)], DEMO)


def listed(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir() if not p.name.startswith("."))


# ---------------------------------------------------------------- killed


@pytest.mark.parametrize("before", [False, True], ids=["new", "into another"])
def test_an_import_that_is_killed(tmp_path: Path, before: bool) -> None:
    old, new = job(tmp_path, "OLD"), job(tmp_path, "NEW")
    runs = tmp_path / "runs"
    runs.mkdir()

    def prepare(folder: Path) -> None:
        if before:
            import_tables(old, old.choices, folder / "shop")
            (folder / "shop" / "mine").mkdir()
            (folder / "shop" / "mine" / "notes.txt").write_text("measured on Tuesday")

    def check(folder: Path) -> None:
        assert listed(folder) in ([], ["shop"]) and (not before or listed(folder))
        if not listed(folder):
            return
        shop = folder / "shop"
        numbers = set(load(shop).catalogue.parts)
        is_new = "NEW-1" in numbers
        assert numbers == {f"{w}-{n}" for w in ("OLD", "NEW") for n in (1, 2, 3)} - {
            f"{w}-{n}"
            for w, gone in (("OLD", not before), ("NEW", not is_new))
            if gone
            for n in (1, 2, 3)
        }
        word = "NEW" if is_new else "OLD"
        assert f"{word}.csv, row 4" in (shop / "set-aside.csv").read_text()
        assert (shop / "import.html").read_text().endswith("</html>\n")
        assert f"{word}.csv" in (shop / "import.html").read_text()
        assert f"{word}.csv" in read_mapping(shop / "mapping.toml").tables
        if before:
            assert (shop / "mine" / "notes.txt").read_text() == "measured on Tuesday"
            assert (shop / "set-aside-before.csv").exists() == is_new

    killed = kill_at_every_write(
        prepare, lambda folder: import_tables(new, new.choices, folder / "shop"), check, runs, TIMES
    )
    assert killed >= ENOUGH


@pytest.fixture(scope="module")
def made() -> SpecSheet:
    demo = load(DEMO).catalogue
    return sheet(thinned(demo), unweighed(demo, "sleeve", 25.4, 31.8, word="Skerrowby"))


@pytest.mark.parametrize(
    "ending",
    ["svg", "pdf", *(pytest.param(e, marks=pytest.mark.long) for e in ("dxf", "step"))],
)
def test_a_sheet_that_is_killed(tmp_path: Path, ending: str, made: SpecSheet) -> None:
    drafted = drawing(made)
    files = {"svg": sheet_svg(drafted).encode(), "pdf": sheet_pdf(made)}
    if ending == "dxf":
        files["dxf"] = dxf_bytes(drafted)

    def write(folder: Path) -> None:
        path = folder / f"part.{ending}"
        if ending == "step":
            write_step(made, path)
        else:
            write_bytes_whole(path, files[ending])

    def check(folder: Path) -> None:
        path = folder / f"part.{ending}"
        assert listed(folder) in ([], [path.name])
        if not path.exists():
            return
        data = path.read_bytes()
        if ending == "svg":
            assert data == files["svg"]
        elif ending == "pdf":
            assert len(pymupdf.open(stream=data).load_page(0).get_drawings()) > 20
        elif ending == "dxf":
            assert data.rstrip().endswith(b"EOF") and b"ENTITIES" in data
        else:
            assert data.rstrip().endswith(b"END-ISO-10303-21;")

    assert kill_at_every_write(lambda folder: None, write, check, tmp_path, TIMES) >= ENOUGH


# ---------------------------------------------------------------- two writers


def import_often(folder: str, word: str, times: int) -> None:
    for n in range(times):
        made = job(Path(folder), f"{word}{n}")
        import_tables(made, made.choices, Path(folder) / "shop")


@pytest.mark.long
def test_two_imports_into_one_folder_lose_no_part(tmp_path: Path) -> None:
    context, often = multiprocessing.get_context("spawn"), turns(6, 3)
    both = [
        context.Process(target=import_often, args=(str(tmp_path), word, often))
        for word in ("A", "B")
    ]
    for one in both:
        one.start()
    for one in both:
        one.join(200)
        assert one.exitcode == 0
    parts = load(tmp_path / "shop").catalogue.parts
    assert set(parts) == {f"{w}{n}-{k}" for w in "AB" for n in range(often) for k in (1, 2, 3)}


# ---------------------------------------------------------------- what was there stays


def imported(folder: Path, word: str) -> None:
    made = job(folder, word)
    import_tables(made, made.choices, folder / "shop")


def test_what_a_folder_holds_beside_its_tables_stays(tmp_path: Path) -> None:
    imported(tmp_path, "OLD")
    shop = tmp_path / "shop"
    (shop / ".hidden").write_text("mine")
    (shop / "photos").mkdir()
    (shop / "photos" / "bar.txt").write_text("a bar")
    (shop / "photos" / "bar.txt").chmod(0o640)
    (shop / "elsewhere").symlink_to("/etc/passwd")
    parts = (shop / "parts.csv").read_text().splitlines()
    parts = [f"{line},{'shelf' if n == 0 else f'B{n}'}" for n, line in enumerate(parts)]
    (shop / "parts.csv").write_text("\n".join(parts) + "\n")
    imported(tmp_path, "NEW")
    assert (shop / ".hidden").read_text() == "mine"
    assert (shop / "photos" / "bar.txt").read_text() == "a bar"
    assert (shop / "photos" / "bar.txt").stat().st_mode & 0o777 == 0o640
    assert os.readlink(shop / "elsewhere") == "/etc/passwd"
    with (shop / "parts.csv").open(newline="") as file:
        rows = {row["sku"]: row["shelf"] for row in csv.DictReader(file)}
    assert rows == {
        "OLD-1": "B1",
        "OLD-2": "B2",
        "OLD-3": "B3",
        **dict.fromkeys(("NEW-1", "NEW-2", "NEW-3"), ""),
    }
    assert "OLD.csv, row 4" in (shop / "set-aside-before.csv").read_text()


@pytest.mark.parametrize(
    ("name", "spoil"),
    [
        ("parts.csv", lambda text: text + 'X-9,bar,"never closed\n'),
        ("stock.csv", lambda text: text + "X-9,1,2,3,4\n"),
        ("features.csv", lambda text: text.replace("sku,", "number,", 1)),
    ],
)
def test_an_import_that_would_lose_rows_does_nothing(tmp_path: Path, name: str, spoil) -> None:
    imported(tmp_path, "OLD")
    shop = tmp_path / "shop"
    (shop / name).write_text(spoil((shop / name).read_text()))
    before = {p.name: p.read_bytes() for p in shop.iterdir()}
    with pytest.raises(MappingError, match=rf"{re.escape(name)}.*Nothing was imported"):
        imported(tmp_path, "NEW")
    assert {p.name: p.read_bytes() for p in shop.iterdir()} == before


def test_a_folder_is_never_away_while_another_takes_its_place(tmp_path: Path) -> None:
    imported(tmp_path, "OLD")
    with folder_whole(tmp_path / "shop", replace=True) as made:
        (made / "parts.csv").write_text("sku,role\n")
        assert "OLD-1" in (tmp_path / "shop" / "parts.csv").read_text()
    assert listed(tmp_path / "shop") == ["parts.csv"]
