"""The page of one's own data without a browser: what it asks, shows, and writes."""

from __future__ import annotations

import datetime
import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from fitgraph.catalogue import load
from fitgraph.intake import read_mapping
from fitgraph.intake.mapping import MAPPING
from fitgraph.lab import OwnData
from fitgraph.lab.chosen import VARIABLE, chosen_folder

LIST = """Item no,Kind,Title,Weight,Price,Stock
A-1,Bar,Raw 34.9 OD,0.95,89.90,3
A-2,Thing,Blue 31.8 OD,1.2,79.90,2
A-3,Hat,one size,0.1,<b>19</b>,4
"""


NOW = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)


def words(place: Any) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", place.value)).split())


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> OwnData:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "opened"))
    (tmp_path / "list.csv").write_text(LIST, encoding="utf-8")
    made = OwnData()
    made.into.value = str(tmp_path / "shop")
    return made


def dropdown(box: Any, name: str) -> Any:
    return next(r.children[0] for r in box.children if r.children[0].description == name)


def choose(field: Any, begins: str) -> None:
    field.value = next(value for label, value in field.options if label.startswith(begins))


def test_it_asks_only_where_it_is_unsure_and_writes_what_was_said(
    page: OwnData, tmp_path: Path
) -> None:
    page.source.value = str(tmp_path / "list.csv")
    page.read.click()
    assert "list.csv: 3 rows, 6 columns" in words(page.message)
    assert [r.children[0].description for r in page.questions.children] == ["Weight"]
    assert [r.children[0].description for r in page.kinds.children] == ["Thing", "Hat"]
    assert len(page.certain.children) == 5
    # The rows as they stand, beside what is understood of them.
    assert "Raw 34.9 OD" in words(page.standing) and "&lt;b&gt;19" in page.standing.value
    assert "outside.diameter 34.9" in words(page.seen)
    assert "0.95 can mean 0.95 g or 0.95 kg" in words(page.seen) and "950 g" not in words(page.seen)
    choose(dropdown(page.questions, "Weight"), "mass [kg]")
    assert "950 g" in words(page.seen)
    dropdown(page.kinds, "Thing").value = "bar"
    assert "A-2 bar" in words(page.seen)
    assert not (tmp_path / "shop").exists()  # nothing is written before it is asked for
    page.take.click()
    assert "shop: 2 parts" in words(page.done)
    assert "list.csv: 3 rows read, 2 loaded, 1 set aside" in words(page.done)
    assert "Save set-aside.csv" in words(page.done) and "Save mapping.toml" in words(page.done)
    parts = load(tmp_path / "shop").catalogue.parts
    assert {sku: (p.role, p.mass_g, p.price) for sku, p in parts.items()} == {
        "A-1": ("bar", 950.0, 8990),
        "A-2": ("bar", 1200.0, 7990),
    }
    kept = read_mapping(tmp_path / "shop" / MAPPING)
    assert kept.tables["list.csv"].columns["Weight"].unit == "kg"
    assert kept.roles == {"Thing": "bar", "Hat": "?"}
    assert chosen_folder() == tmp_path / "shop"
    # The next list of this kind is read without a question.
    page.read.click()
    assert page.questions.children == () and page.kinds.children == ()


def test_a_column_that_was_taken_for_something_else_can_be_changed(
    page: OwnData, tmp_path: Path
) -> None:
    page.source.value = str(tmp_path / "list.csv")
    page.read.click()
    choose(dropdown(page.certain, "Price"), "ignore")
    assert "89.90 EUR" not in words(page.seen)
    choose(dropdown(page.certain, "Price"), "price")
    assert "89.90 EUR" in words(page.seen)


def test_another_folder_takes_back_nothing_that_was_said(page: OwnData, tmp_path: Path) -> None:
    page.source.value = str(tmp_path / "list.csv")
    page.read.click()
    choose(dropdown(page.questions, "Weight"), "mass [kg]")
    dropdown(page.kinds, "Thing").value = "bar"
    page.into.value = str(tmp_path / "other")
    assert "950 g" in words(page.seen) and "A-2 bar" in words(page.seen)
    page.take.click()
    assert load(tmp_path / "other").catalogue.parts["A-2"].mass_g == 1200


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "Type the path of your list"),
        ("nothing/there.csv", "cannot be read"),
        ("sqlite:///nothing.db#parts", "cannot be read"),
        (".", "is a folder; name the files in it"),
    ],
)
def test_what_cannot_be_read_is_told_in_words(page: OwnData, typed: str, says: str) -> None:
    page.source.value = typed
    page.read.click()
    assert says in words(page.message) and 'role="alert"' in page.message.value
    assert page.take.disabled and page.answer.layout.display == "none"


def test_a_file_is_handed_over_by_the_browser(page: OwnData) -> None:
    held = {"name": "../<i>list.csv", "content": memoryview(LIST.encode())}
    page.upload.value = ({**held, "type": "", "size": len(LIST), "last_modified": NOW},)
    assert "list" in words(page.message) and "3 rows" in words(page.message)
    assert "<i>" not in page.message.value + page.standing.value
    held["content"] = memoryview(b"x" * 6_000_001)
    page.upload.value = ({**held, "type": "", "size": 1, "last_modified": NOW},)
    assert "type its path instead" in words(page.message)


def test_no_catalogue_is_made_in_a_folder_of_other_things(page: OwnData, tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    for n in range(20):
        (home / f"{n}.txt").write_text("mine")
    page.into.value = str(home)
    page.source.value = str(tmp_path / "list.csv")
    page.read.click()
    page.take.click()
    assert "holds other things and no catalogue" in words(page.done)
    assert len(list(home.iterdir())) == 20 and not page.take.disabled
