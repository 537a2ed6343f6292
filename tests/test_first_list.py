"""A newcomer's first list: a few kinds of parts, titles in their own words, and what is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

import fitgraph
from fitgraph.cli.main import app

LIST = """Article no;Description;Qty;Retail
B-1;Vasterby bar 600 x 620 chromoly 34.9 OD, 28.6 bore, slotted;3;69,90
C-1;Hollowick clamp for 34.9 bars, two bolt;5;24,90
F-1;Hollowick fork, 28.6 steerer;4;59,90
K-1;Hollowick IHC kit;7;12,90
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("home")
    (home / "list.csv").write_text(LIST, encoding="utf-8")
    done = CliRunner().invoke(app, ["import", str(home / "list.csv"), "--into", str(home / "my")])
    assert done.exit_code == 0, done.output  # nothing has to be asked
    told = " ".join(done.output.split())
    assert "4 rows read, 4 loaded, 0 set aside" in told
    assert "has '600' and '620', of which the phrases say nothing" in told
    return home / "my"


def test_what_its_words_say_is_read(folder: Path) -> None:
    parts = fitgraph.open(folder).catalogue.parts
    assert {sku: part.price for sku, part in parts.items()} == {
        "B-1": 6990,
        "C-1": 2490,
        "F-1": 5990,
        "K-1": 1290,
    }
    assert parts["K-1"].role == "kit"
    assert parts["B-1"].features["bore"].lengths["diameter"].mid == pytest.approx(28.6)
    assert parts["C-1"].features["bolts"].words["count"].value == "2"


def test_what_no_build_can_do_without_is_named_everywhere(folder: Path) -> None:
    shop = fitgraph.open(folder)
    missing = "it has no part for deck, headset, grips, end plugs, wheels"
    for answer in (shop.why("B-1", "F-1"), shop.builds()):
        told = " ".join(answer.to_text().split())
        assert f"No build of this catalogue can be complete: {missing}" in told
    gaps = " ".join(shop.gaps().to_text().split())
    assert "Nothing sold goes with it: no part for" in gaps and "no enquiries" in gaps
    for answer in (shop.adapters(), shop.restock(spend=100)):
        assert " of 0 " not in answer.to_text() and "enquiries" in answer.to_text()
