"""Pages on a catalogue in which answers over all parts take much memory: what waits, and words."""

from __future__ import annotations

import re
from html import unescape

import pytest

from fitgraph.lab import AdapterMap, Counter, MapOfFits, OpenCatalogue, StockGaps, open_catalogue
from fitgraph.lab import opened as opened_module
from fitgraph.lab.answering import Answering
from fitgraph.lab.coverage_panel import CoveragePanel
from fitgraph.lab.look import html
from fitgraph.report import size_maps
from fitgraph.solve import TooWideError


@pytest.fixture
def wide(monkeypatch: pytest.MonkeyPatch) -> OpenCatalogue:
    """Return the demo, of which everything counts as wide."""
    monkeypatch.setattr(opened_module, "WIDE", 0.0)
    found = OpenCatalogue(open_catalogue().catalogue)
    assert found.is_wide
    return found


def words(widget) -> str:
    text = re.sub(r"<(style|svg).*?</\1>|<[^>]+>", " ", widget.value, flags=re.DOTALL)
    return " ".join(unescape(text).split())


def test_the_demo_is_not_wide() -> None:
    assert not open_catalogue().is_wide


def test_the_counter_looks_only_once_it_is_asked_to(wide: OpenCatalogue) -> None:
    page = Counter(wide)
    assert not wide.knows("rider")
    (offered,) = page.answers.items
    assert offered["label"] == "Ask me what can be seen"
    page._answer(offered["name"])
    assert wide.knows("rider")
    assert "?" in words(page.question) and len(page.answers.items) > 1
    # And somebody who never looks has their answer all the same.
    other = Counter(OpenCatalogue(wide.catalogue))
    other.take("FORK-OST-03")
    other._want("bar")
    assert other.whole is not None and other.whole.parts
    assert not other.opened.knows("rider")


def test_looking_that_is_refused_says_what_can_be_done(
    wide: OpenCatalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_self: OpenCatalogue) -> None:
        raise TooWideError(28e9, 2e9, ("fork", "bar"), ("a-joint",))

    page = Counter(wide)
    monkeypatch.setattr(OpenCatalogue, "rider", property(refuse))
    page._answer(page.answers.items[0]["name"])
    assert "Search for any word or size" in words(page.question)
    assert page.problems.value == "" and page.answers.items == []


def test_nothing_is_weighed_until_somebody_asks_for_it(
    wide: OpenCatalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = AdapterMap(wide)
    assert page.map.plane is None and page.scan is None
    assert page.meter.ask.layout.display is None
    assert "not been worked out yet" in words(page.verdict)
    assert "takes minutes" in words(page.meter.status)
    begun: list[object] = []
    monkeypatch.setattr(page, "work_out", lambda steps, *_: begun.extend(steps()))
    page.meter.ask.click()
    assert len(begun) == 3 and page.meter.ask.layout.display == "none"


def test_what_enquiries_lack_waits_for_a_press(wide: OpenCatalogue) -> None:
    panel = CoveragePanel(wide, lambda: None)
    panel.show(wide.coverage())
    panel.explain()
    assert not wide.lacking and panel.meter.ask.layout.display is None
    panel.meter.ask.click()
    assert len(wide.lacking) == 6 and panel.meter.ask.layout.display == "none"


def test_the_words_of_a_wide_map_end(wide: OpenCatalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(size_maps, "_MOST_ROWS", 100)
    everything = wide.sizes
    told = size_maps.whole(everything, 0.5)
    (section,) = told.blocks
    tables = [b for b in section.blocks if hasattr(b, "rows")]
    assert max(len(t.rows) for t in tables) == 100
    assert any(
        "of which the first 100 are listed" in getattr(b, "text", "") for b in section.blocks
    )


def test_a_map_is_made_beside_the_fields() -> None:
    found = open_catalogue()
    page = MapOfFits(found)
    assert found.knows("sizes") and "<svg" in page.map.svg


@pytest.mark.parametrize(("kind", "instead"), [(Counter, "Name parts"), (StockGaps, "The counter")])
def test_what_is_too_wide_is_told_in_words_of_a_page(kind: type[Answering], instead: str) -> None:
    page = kind.__new__(kind)
    page.opened = open_catalogue()
    place = html()
    with page.in_words(place):
        raise TooWideError(28e9, 2e9, ("fork", "bar", "sleeve"), ("a-joint",))
    told = words(place)
    assert "fork, bar and adapter sleeve together" in told and "28 GB" in told and instead in told
    assert "TooWideError" not in told and "report" not in told
