"""Lists that tell a size in two columns, its least and its most."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from fitgraph.catalogue import demo_folder
from fitgraph.intake import MappingError, read_mapping
from fitgraph.intake.job import prepared
from fitgraph.intake.mapping import Meant
from fitgraph.shop.imports import import_tables


def imported(tmp_path: Path, rows: list[list[str]], delimiter: str = ","):
    path = tmp_path / "list.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=delimiter).writerows(rows)
    job = prepared([str(path)], demo_folder())
    return import_tables(job, job.choices, tmp_path / "shop")


def bore(report, sku: str):
    return report.loaded.catalogue.parts[sku].features["bore"].lengths["diameter"]


@pytest.mark.parametrize(
    ("least", "most", "cells", "limits"),
    [
        ("Bore min (mm)", "Bore max (mm)", ("34.90", "35.10"), (34.9, 35.1)),
        ("min. bore", "max. bore", ("34,90", "35,10"), (34.9, 35.1)),
        ("Bore minimum (in)", "Bore maximum (in)", ("1.374", "1.382"), (34.8996, 35.1028)),
        ("Bore lower", "Bore upper", ("34.9 mm", "35.1 mm"), (34.9, 35.1)),
    ],
)
def test_least_and_most_are_the_limits_of_one_size(
    tmp_path: Path, least: str, most: str, cells: tuple[str, str], limits: tuple[float, float]
) -> None:
    rows = [
        ["SKU", "Type", most, "Price", least],
        ["A-1", "clamp", cells[1], "29.90", cells[0]],
        ["A-2", "clamp", cells[1], "19.90", cells[0]],
    ]
    report = imported(tmp_path, rows)
    found = bore(report, "A-1")
    assert (found.lo, found.hi) == pytest.approx(limits)
    columns = report.intake.mapping.tables["list.csv"].columns
    assert {columns[least].end, columns[most].end} == {"least", "most"}
    # What was written is read again as it was.
    assert read_mapping(tmp_path / "shop" / "mapping.toml") == report.intake.mapping
    again = imported(tmp_path, rows)
    assert bore(again, "A-1") == found


def test_an_end_that_is_missing_or_wrong_is_told_and_the_row_goes_on(tmp_path: Path) -> None:
    rows = [
        ["SKU", "Type", "Bore min", "Bore max", "Price"],
        ["A-1", "clamp", "34.90", "35.10", "29.90"],
        ["A-2", "clamp", "34.90", "", "29.90"],
        ["A-3", "clamp", "35.10", "34.90", "29.90"],
        ["A-4", "clamp", "", "", "29.90"],
    ]
    report = imported(tmp_path, rows)
    assert len(report.loaded.catalogue.parts) == 4
    assert not any(bore(report, f"A-{n}").known for n in (2, 3, 4))
    told = {f.row: f for f in report.findings if f.code == "no-figure"}
    assert set(told) == {3, 4}
    assert "only the least" in told[3].message
    assert (told[4].column, told[4].value) == ("Bore min and Bore max", "35.10 and 34.90")


def test_one_end_alone_is_no_size(tmp_path: Path) -> None:
    rows = [
        ["SKU", "Type", "Bore max", "Price"],
        ["A-1", "clamp", "35.10", "29.90"],
        ["A-2", "clamp", "35.10", "19.90"],
    ]
    report = imported(tmp_path, rows)
    assert report.intake.mapping.tables["list.csv"].columns["Bore max"].means == "ignore"
    assert not bore(report, "A-1").known


@pytest.mark.parametrize(("means", "end"), [("bore.diameter", "middle"), ("price", "least")])
def test_a_mapping_with_a_strange_end_is_refused(tmp_path: Path, means: str, end: str) -> None:
    path = tmp_path / "mapping.toml"
    text = 'version = 1\n[[tables]]\nsource = "x"\n[tables.columns]\n'
    path.write_text(f'{text}"A" = {{ means = "{means}", end = "{end}" }}\n', encoding="utf-8")
    with pytest.raises(MappingError, match="least or most"):
        read_mapping(path)


def test_a_size_and_its_ends_stand_beside_one_another(tmp_path: Path) -> None:
    rows = [
        ["SKU", "Type", "Bore", "Bore min", "Bore max"],
        ["A-1", "clamp", "35.0", "34.90", "35.10"],
        ["A-2", "clamp", "35.0", "", ""],
    ]
    report = imported(tmp_path, rows)
    columns = report.intake.mapping.tables["list.csv"].columns
    assert [columns[n].end for n in rows[0][2:]] == ["", "least", "most"]
    assert columns["Bore"] == Meant("bore.diameter", decimal=".")
    assert (bore(report, "A-1").lo, bore(report, "A-1").hi) == pytest.approx((34.9, 35.1))
    assert bore(report, "A-2").known
