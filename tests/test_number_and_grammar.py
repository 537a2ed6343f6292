"""Sentences that count something are good English at none, one and several."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import fitgraph
from fitgraph.catalogue import shipped_folder
from fitgraph.explain.exchange import Aim, NotOffered
from fitgraph.explain.words_rider import not_offered_text
from fitgraph.lab import (
    AdapterMap,
    BuildExplorer,
    Counter,
    FitLesson,
    MapOfFits,
    Practice,
    StockGaps,
    WhyExplorer,
    open_catalogue,
)
from fitgraph.lab.arrival import within
from fitgraph.shop.front import Shop
from fitgraph.solve import Services
from fitgraph.wording import plural

#: What we count, one and several; a noun may have a word before it ("1 new rider").
_ONE = (
    "part|piece|build|way|joint|row|rider|step|size|counterpart|interface|role|figure|column|thing|"
    "remark|filling|pair|path|group|length|round|reason|enquiry|family"
)
_MANY = re.sub(r"\w+", lambda noun: re.sub("([^a])y$", r"\1ie", noun[0]) + "s", _ONE)
_VERBS = "are|have|do|go|fit|remain|hang|mate|lack|that (?:fit|mate|lack)"

FAULTS = (
    rf"(?<![\d.,])1 (?:[a-z]+ )?(?:{_MANY})\b",
    rf"(?<![\d.,])(?:0|[2-9]|\d\d+) (?:{_ONE})\b",
    rf"(?<![\d.,])1 (?:{_ONE}) (?:{_VERBS})\b",
    r"(?<![\d.,])1 (?:are|have|do not|go|cost|lack)\b",
    rf"\b(?:{_MANY}) (?:is|has|does|goes|fits|remains|hangs|lacks)\b",
)


def faults(text: str) -> list[str]:
    """Return what is wrong in number, with what stands around it."""
    plain = " ".join(re.sub(r"(?s)<(svg|style)\b.*?</\1>|<[^>]+>", " ", text).split())
    return [
        plain[max(0, found.start() - 30) : found.end() + 20]
        for pattern in FAULTS
        for found in re.finditer(pattern, plain)
    ]


def test_what_finds_faults_finds_them() -> None:
    for wrong in (
        "1 joints fit",
        "1 new riders",
        "1 joint that fit",
        "1 of them; 1 are of another material",
        "12 part",
        "3 parts remains",
        "1 part remain",
    ):
        assert faults(wrong), wrong
    for right in ("1 joint that fits", "21 joints fit", "1 of 3 parts", "0.1 parts", "11 are"):
        assert not faults(right), right


def test_none_one_and_several() -> None:
    assert [plural(n, "way is", "ways are") for n in (0, 1, 2)] == [
        "0 ways are",
        "1 way is",
        "2 ways are",
    ]
    assert plural(1_234_567.0, "rider") == "1,234,567 riders" and plural(0.5, "rider")[0] == "0"


@pytest.mark.parametrize("number", [0, 1, 2])
def test_reasons_not_to_offer_parts(number: int) -> None:
    for outcome in NotOffered:
        assert not faults(not_offered_text(outcome, Aim.LIGHTER, Services.OWNED, number))


@pytest.fixture(scope="module", params=["one enquiry", "one part a role", "nothing held"])
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of which little is left, so that most numbers are none or one."""
    target = tmp_path_factory.mktemp("few") / "hoses"
    shutil.copytree(shipped_folder("data") / "hoses", target)

    def keep(name: str, wanted: Callable[[dict[str, str]], bool]) -> None:
        file = target / name
        with file.open(encoding="utf-8", newline="") as read:
            rows = list(csv.DictReader(read))
        with file.open("w", encoding="utf-8", newline="") as write:
            writer = csv.DictWriter(write, list(rows[0]))
            writer.writeheader()
            writer.writerows(filter(wanted, rows))

    if request.param == "one enquiry":
        keep("enquiries.csv", lambda row: row["number"] == "H03")
    elif request.param == "one part a role":
        few = {"OUT-03", "TAIL-05", "BUSH-01", "HOSE-03", "CLIP-02"}
        for name in ("parts.csv", "features.csv", "stock.csv"):
            keep(name, lambda row: row["sku"] in few)
        keep("enquiries.csv", lambda row: row["number"] == "H05" and False)
    else:
        keep("stock.csv", lambda row: row["sku"] == "CLIP-01")
    return target


def test_answers_of_a_shop_with_little(folder: Path) -> None:
    shop = fitgraph.open(folder)
    catalogue = shop.catalogue
    skus = list(catalogue.parts)
    first, last = skus[0], skus[-1]
    asked: list[Callable[[Shop], object]] = [
        lambda s: s.check(),
        lambda s: s.builds(),
        lambda s: s.builds(have=[first]),
        lambda s: s.builds(budget=1),
        lambda s: s.remaining(have=[first]),
        lambda s: s.why(first, last),
        lambda s: s.coverage(),
        lambda s: s.gaps(),
        lambda s: s.measure(first),
        lambda s: s.map(),
        lambda s: s.around(first),
        lambda s: s.bridges(),
        lambda s: s.families(),
        lambda s: s.islands(),
        lambda s: s.near_misses(),
        *(lambda s, role=role: s.exchange(role, first) for role in catalogue.vocabulary.roles),
    ]
    told = []
    for ask in asked:
        text = ask(shop).to_text()  # type: ignore[attr-defined]
        assert text
        told += faults(text)
    assert told == [] and faults(repr(shop)) == []


@pytest.mark.parametrize(
    "component",
    [AdapterMap, BuildExplorer, Counter, FitLesson, MapOfFits, Practice, StockGaps, WhyExplorer],
)
def test_pages_of_a_shop_with_little(folder: Path, component: type) -> None:
    page = component(open_catalogue(folder))
    page.refresh()
    texts = [str(getattr(w, "value", "")) for w in within(page)]
    assert any("fg-html" in t for t in texts)
    assert [fault for text in texts for fault in faults(text)] == []
