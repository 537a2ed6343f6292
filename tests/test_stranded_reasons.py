"""Why a part on the shelf has no use, where lengths or an unknown figure stand in the way.

Two-joint trades that can be judged by hand; sizes are this file's own.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import fitgraph

HEAD = """
[trade]
name = "Three of a kind"
currency = "EUR"
minor_digits = 2
"""
ROLE = """
[roles.{0}]
fill = "always"
[roles.{0}.features.long]
kind = "length"
dimensions.d = {{ plausible = "5..30 mm" }}
[roles.{0}.features.thread]
kind = "thread"
dimensions.size = {{ worded = true }}
"""
JOINTS = """
[[joints]]
id = "one"
title = "first thread"
rule = "equal"
one = "a.thread.size"
other = "b.thread.size"
[[joints]]
id = "two"
title = "second thread"
rule = "equal"
one = "c.thread.size"
other = "b.thread.size"
[[joints]]
id = "reach"
title = "reach"
rule = "stack"
least = "20 mm"
spans = [{ add = "a.long.d" }, { add = "b.long.d" }, { take = "c.long.d" }]
"""
FIGURES = ["a,long,d,15", "b,long,d,15", "c,long,d,5"]


@pytest.mark.parametrize(
    ("figures", "standing", "joints", "words"),
    [
        # 15 + 15 − 10 ± 0.3 mm may be 20 mm or not.
        ([*FIGURES[:2], "c,long,d,10"], "possibly", ["one", "two", "reach"], "to be measured:"),
        # 15 + 15 − 15 mm are 5 mm short.
        ([*FIGURES[:2], "c,long,d,15"], "neither", ["reach"], "Nothing sold goes with it: reach"),
        # The unknown thread cannot be both.
        (
            [*FIGURES, "a,thread,size,M6", "c,thread,size,M8"],
            "neither",
            ["one", "two"],
            "Nothing sold goes with it: first thread, second thread",
        ),
    ],
)
def test_what_a_part_without_a_use_lacks_is_named(
    tmp_path: Path, figures: list[str], standing: str, joints: list[str], words: str
) -> None:
    vocabulary = HEAD + "".join(map(ROLE.format, "abc")) + JOINTS
    (tmp_path / "vocabulary.toml").write_text(vocabulary)
    (tmp_path / "parts.csv").write_text("sku,role,price\na,a,1\nb,b,1\nc,c,1\n")
    (tmp_path / "features.csv").write_text("\n".join(["sku,feature,dimension,value", *figures]))
    (tmp_path / "stock.csv").write_text("sku,quantity\na,1\nb,1\nc,1\n")
    answer = fitgraph.open(tmp_path).gaps()
    found = answer.to_dict()["stranded"]
    assert [(s["standing"], s["joints"]) for s in found] == [(standing, joints)] * 3
    assert words in answer.to_text()


def test_of_what_a_part_may_go_with_the_combination_with_the_fewest_doubts_is_told(
    tmp_path: Path,
) -> None:
    (tmp_path / "vocabulary.toml").write_text(HEAD + "".join(map(ROLE.format, "abc")) + JOINTS)
    # b, which stands first, has a thread that nobody knows; b2's is known, and c's.
    (tmp_path / "parts.csv").write_text("sku,role,price\na,a,1\nb,b,1\nb2,b,1\nc,c,1\n")
    figures = [*FIGURES, "b2,long,d,15", "b2,thread,size,M6", "c,thread,size,M6"]
    (tmp_path / "features.csv").write_text("\n".join(["sku,feature,dimension,value", *figures]))
    (tmp_path / "stock.csv").write_text("sku,quantity\na,1\nb,1\nb2,1\nc,1\n")
    shop = fitgraph.open(tmp_path)
    lacking = {s["sku"]: s["joints"] for s in shop.gaps().to_dict()["stranded"]}
    assert lacking == {"a": ["one"], "b": ["one", "two"], "b2": ["one"], "c": ["one"]}
    # The page of a single part says the same.
    assert [c["joint"] for c in shop.why("a").to_dict()["conflicts"]] == ["one"]


def test_a_part_of_the_demo_without_a_use_lacks_what_its_why_tells() -> None:
    shop = fitgraph.open()
    found = {s["sku"]: s for s in shop.gaps().to_dict()["stranded"]}
    for sku, joints in (
        ("BRG-QUA-01", {"bearing-in-wheel"}),
        ("DECK-OXE-01", {"wheel-in-deck"}),
        ("AXL-QUA-02", {"axle-in-bearing", "axle-in-fork", "axle-in-deck"}),
    ):
        told = shop.why(sku).to_dict()["conflicts"]
        assert {c["joint"] for c in told} == set(found[sku]["joints"]) == joints
