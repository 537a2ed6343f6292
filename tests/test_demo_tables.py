"""The demo is what the tables of ``tests/demo`` and the seeds make of it, byte for byte."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitgraph.catalogue import demo_folder, load
from tests import make_demo, make_supply


def test_the_demo_is_what_the_scripts_write(tmp_path: Path) -> None:
    make_demo.write(tmp_path, make_demo.build())
    make_demo.write(tmp_path, make_supply.build(tmp_path))
    written = {path.name for path in tmp_path.iterdir()}
    assert written == {path.name for path in demo_folder().glob("*.csv")}
    for name in written:
        assert (tmp_path / name).read_bytes() == (demo_folder() / name).read_bytes(), name
    told = {finding.file for finding in load(demo_folder()).findings}
    assert not told & {"supply.csv", "suppliers.csv", "stock_counts.csv"}


def test_a_part_that_comes_later_leaves_all_others_as_they_are(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = make_demo.build()
    first, *rest = make_demo.BY_ROLE["insert"]
    late = {**first, "sku": "INS-OXE-01", "price": "7..13", "known": "", "late": "yes"}
    monkeypatch.setitem(make_demo.BY_ROLE, "insert", [first, late, *rest])
    after = make_demo.build()
    added = {name: set(rows) - set(before[name]) for name, rows in after.items()}
    assert {row[0] for name in ("parts.csv", "features.csv") for row in added[name]} == {
        late["sku"]
    }
    assert len(added["parts.csv"]) == len(added["stock.csv"]) == 1
    for name, rows in after.items():
        assert [row for row in rows if row not in added[name]] == before[name]


@pytest.mark.parametrize(
    ("role", "cells", "words"),
    [
        ("fork", {"system": "ICH"}, ("fork.csv, FORK-SKE-01, system", "'ICH'", "IHC, HIC")),
        ("wheels", {"sku": "WHL-SKA-01"}, ("wheels.csv, WHL-SKA-01", "'SKA'", "SKE, VEN")),
        ("deck", {"wheel": "11o"}, ("deck.csv, DECK-SKE-01, wheel + 6", "'11o'")),
        ("sleeve", {"sku": "SLV-WYN-02"}, ("features.csv", "SLV-WYN-01")),
    ],
)
def test_a_slip_in_a_table_is_told_with_its_place(
    monkeypatch: pytest.MonkeyPatch, role: str, cells: dict[str, str], words: tuple[str, ...]
) -> None:
    rows = make_demo.BY_ROLE[role]
    place = -1 if role == "sleeve" else 0
    spoilt = [*rows]
    spoilt[place] = {**rows[place], **cells}
    monkeypatch.setitem(make_demo.BY_ROLE, role, spoilt)
    with pytest.raises(SystemExit) as told:
        make_demo.build()
    assert all(word in str(told.value) for word in words)
