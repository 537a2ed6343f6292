"""The map of fits in a notebook: what its fields, presses and steps show."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from types import MappingProxyType

import pytest

from fitgraph.catalogue import shipped_folder
from fitgraph.explain.map_search import search
from fitgraph.explain.ways import ways
from fitgraph.lab import MapOfFits, OpenCatalogue, open_catalogue
from fitgraph.lab.session import SessionError, from_address
from fitgraph.report import size_maps

FORK, BAR = "FORK-VEN-04", "BAR-CUL-05"


@pytest.fixture(scope="module")
def shop() -> OpenCatalogue:
    return open_catalogue()


@pytest.fixture
def page(shop: OpenCatalogue) -> MapOfFits:
    return MapOfFits(shop, "bar", (FORK, BAR))


def words(html) -> str:
    told = re.sub(r"</?(button|small)[^>]*>", "", html.value)  # a number leads to its card
    text = re.sub(r"<(style|svg).*?</\1>|<[^>]+>", " ", told, flags=re.DOTALL)
    return " ".join(unescape(text).split())


def press(page: MapOfFits, sort: str, name: str) -> None:
    page.map.pressed = [sort, name, page.map.pressed[2] + 1]


def test_a_press_unfolds_an_interface_and_tells_of_it(page: MapOfFits) -> None:
    node = max(page.shown.view, key=lambda n: len(page.whole.parts[n]))
    press(page, "node", node)
    assert page.map.svg.count("data-part=") == 24
    assert size_maps.interface(page.shown, node).headline in words(page.details)
    press(page, "node", node)
    assert "data-part=" not in page.map.svg and words(page.details) == "Nothing yet."
    press(page, "node", "interface:none of this map")
    assert "data-part=" not in page.map.svg and not words(page.problems)


def test_a_part_pressed_leads_on_and_becomes_an_end_of_a_way(page: MapOfFits) -> None:
    sku = "BAR-MAR-05"
    assert page.from_here.disabled
    press(page, "part", sku)
    told = words(page.details)
    assert (
        told.startswith(f"Marrowick Fallowick bar 540 x 560 ({sku}).")
        and "what can be built with it" in told
    )
    assert 'href="03-why-not.ipynb"' in page.details.value
    page.from_here.click()
    assert page.one.value.endswith(sku)
    press(page, "part", "CLMP-SKE-02")
    page.to_here.click()
    found = ways(page.opened.explainer, sku, "CLMP-SKE-02")
    assert len(page.way.options) == len(found) == 3
    assert page.way.options[0][0].startswith(" > ".join(o.called for o in found[0].options[1:-1]))


def test_on_a_page_links_hand_the_part_over(page, monkeypatch) -> None:
    monkeypatch.setenv("VOILA_REQUEST_URL", "x")
    press(page, "part", BAR)
    query = re.search(r'href="03-why-not.ipynb\?([^"]+)"', page.details.value)
    state = from_address(unescape(query[1]), "why")
    assert state["parts"]["bar"].endswith(BAR)


def test_a_way_is_walked_step_by_step_with_its_section(page: MapOfFits) -> None:
    assert words(page.step_told).startswith(
        f"✓ Step 1 of 2: Vendlemoor Yarrith fork 120 x 30 ({FORK}) and "
        "Vendlemoor adapter sleeve 25.4 to 31.8 (SLV-VEN-01)"
    )
    assert page.back.disabled and not page.on.disabled
    first = page.section.value
    page.on.click()
    assert words(page.step_told).startswith(
        "✓ Step 2 of 2: Vendlemoor adapter sleeve 25.4 to 31.8 (SLV-VEN-01) and "
        f"Culverdane Fenvoe bar 580 x 600 ({BAR})"
    )
    assert page.on.disabled and not page.back.disabled
    assert page.section.value.count("fg-drawn") == 1 and page.section.value != first
    assert "fg-trace fg-now" in page.map.svg
    page.back.click()
    assert page.section.value == first
    # The lanes of the way are drawn, whatever the map is drawn around.
    features = {(r.role, r.feature) for step in page.trace for r, _ in step.ends}
    page.around.value = "wheels"
    drawn = {(d["role"], d["feature"]) for _, d in page.shown.view.nodes(data=True)}
    assert features <= drawn


def test_no_way_and_names_that_are_none_are_told_in_words(page: MapOfFits) -> None:
    page.other.value = "FORK-VEN-01"
    assert "No path" in words(page.step_told) and page.way.options == (("no path", -1),)
    page.other.value = "BAR-CUL-5"
    assert "did you mean" in words(page.problems)
    page.other.value = ""
    assert "Name two parts" in words(page.step_told) and not words(page.problems)


def test_search_and_tolerance_mark_and_count(page: MapOfFits) -> None:
    page.search.value = "34.9"
    wanted = search(page.shown, "34.9").interfaces
    assert tuple(page.map.marked) == wanted and words(page.status).startswith("4 interfaces")
    page.search.value = "nothing like it"
    assert page.map.marked == [] and "Nothing here" in words(page.status)
    page.search.value = ""
    page.tolerance.value = 0.05
    assert words(page.status) == size_maps.tolerance(page.shown, 0.05)
    assert "lacks" not in words(page.status) and "0.05 mm" in words(page.status)
    page.doubt.value = False
    assert page.map.hidden == ["fg-unknown"]


def test_the_map_is_in_words_as_well(page: MapOfFits) -> None:
    told = words(page.in_words_table)
    assert "Interfaces drawn" in told and "Joints drawn" in told
    assert all(page.whole.parts[n][0] in told for n in page.shown.view)


def test_a_session_is_found_again(shop: OpenCatalogue, page: MapOfFits) -> None:
    page.search.value, page.tolerance.value, page.around.value = "28.6", 0.03, ""
    page.any_part.value = True
    other = MapOfFits(shop)
    other.restore(page.state())
    assert other.state() == page.state()
    assert other.way.options == page.way.options and other.map.marked == page.map.marked


@pytest.mark.parametrize("wrong", [{"drawn": "spaceship"}, {"tolerance": "wide"}, {"from": 7}])
def test_a_strange_session_is_told_in_words(page: MapOfFits, wrong: dict) -> None:
    with pytest.raises(SessionError):
        page.restore(wrong)


def test_catalogue_text_is_never_markup(shop: OpenCatalogue) -> None:
    evil = '<img src=x onerror="alert(1)">'
    catalogue = shop.catalogue
    bar = replace(catalogue.parts["BAR-MAR-05"], name=evil)
    hostile = replace(
        catalogue,
        parts=MappingProxyType({**catalogue.parts, bar.sku: bar}),
        by_role=MappingProxyType(
            {
                **catalogue.by_role,
                "bar": tuple(bar if p.sku == bar.sku else p for p in catalogue.of("bar")),
            }
        ),
    )
    page = MapOfFits(OpenCatalogue(hostile), "bar")
    press(page, "node", next(n for n in page.whole.interfaces[bar.sku]))
    press(page, "part", bar.sku)
    assert "&lt;img" in page.details.value and "<img" not in page.details.value
    assert "<img" not in page.map.svg
    page.search.value = evil
    assert "<img" not in page.status.value


def test_controls_are_labelled(page: MapOfFits) -> None:
    controls = [
        page.search, page.around, page.tolerance, page.doubt, page.one, page.other, page.any_part,
        page.way, page.back, page.on, page.from_here, page.to_here,
    ]  # fmt: skip
    labels = [c.description for c in controls]
    assert all(labels) and len(set(labels)) == len(labels)


def test_another_trade_has_its_map_as_well() -> None:
    page = MapOfFits(open_catalogue(shipped_folder("data") / "hoses"))
    assert len(page.shown.view) > 3 and not words(page.problems)
    press(page, "node", next(iter(page.shown.view)))
    assert "part" in words(page.details)
