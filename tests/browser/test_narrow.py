"""In a narrow window drawings have another shape; what is wider than its place says so."""

from __future__ import annotations

from typing import Any

import pytest

from .harness import PAGES, Notebook, faults

LESSON, BUILDS, WHY, GAPS, DESIGN, MAP = (
    "01-how-fitment-works.ipynb",
    "02-what-can-i-build.ipynb",
    "03-why-not.ipynb",
    "04-gaps-in-stock.ipynb",
    "05-next-adapter.ipynb",
    "07-the-map-of-fits.ipynb",
)

#: What can be seen and is wider than its place, or reaches over the window's edge.
_WIDER = """() => [...document.querySelectorAll(
  '.fg-form :is(.fg-scroll, .fg-cells, .fg-pressable, .fg-drawn, svg, table)')]
  .filter((e) => e.checkVisibility({ visibilityProperty: true }) && (
    e.scrollWidth > e.clientWidth + 1 || e.getBoundingClientRect().right > innerWidth))
  .map((e) => e.outerHTML.slice(0, 120))"""

#: Words of drawings that reach over the edge of the drawing.
_CUT = """() => [...document.querySelectorAll('.fg-form svg.fg-svg')]
  .filter((svg) => svg.checkVisibility({ visibilityProperty: true }))
  .flatMap((svg) => [...svg.querySelectorAll('text')].filter((text) => {
    const [whole, word] = [svg, text].map((e) => e.getBoundingClientRect());
    return word.right > whole.right + 1 || word.left < whole.left - 1; }))
  .map((text) => text.textContent)"""


#: Stock numbers, and figures with their units, that stand in more than one line.
_BROKEN = """() => [...document.querySelectorAll('.fg-form :is(.fg-whole, .fg-sku:not(.fg-long))')]
  .filter((e) => e.checkVisibility({ visibilityProperty: true }) && e.getClientRects().length > 1)
  .map((e) => e.textContent)"""


@pytest.mark.parametrize("width", [400, 1100])
def test_a_part_in_a_field_is_seen_with_its_number(opened: Any, width: int) -> None:
    book: Notebook = opened(PAGES, WHY)
    try:
        book.page.set_viewport_size({"width": width, "height": 900})
        cut = book.page.evaluate(
            "() => [...document.querySelectorAll('.fg-form input[list]')].filter((e) => e.value"
            " && e.checkVisibility() && e.scrollWidth > e.clientWidth).map((e) => e.value)"
        )
        named = book.page.locator(".fg-form input[list]:not(:placeholder-shown)")
        assert named.count() >= 2 and cut == []
        if width == 1100:  # the longest name of any fork has room as well
            assert named.first.evaluate("(e) => e.clientWidth") > 440
    finally:
        book.page.set_viewport_size({"width": 1280, "height": 900})


@pytest.mark.parametrize(
    ("name", "drawn"),
    [
        (LESSON, "svg text:has-text('Cross-section')"),
        (MAP, ".fg-map"),
        pytest.param(DESIGN, ".fg-drawn svg", marks=pytest.mark.long),
        pytest.param(GAPS, ".fg-cells table", marks=pytest.mark.long),
        pytest.param(WHY, "svg text:has-text('Cross-section')", marks=pytest.mark.long),
        pytest.param(BUILDS, "table:has-text('kept out')", marks=pytest.mark.long),
    ],
)
def test_nothing_goes_on_at_the_side(opened: Any, name: str, drawn: str) -> None:
    book: Notebook = opened(PAGES, name)
    page = book.page
    page.wait_for_selector(f".fg-form {drawn}", state="attached")
    try:
        page.set_viewport_size({"width": 400, "height": 800})
        if name == MAP:
            book.until("() => document.querySelector('.fg-map').viewBox.baseVal.width < 400")
        page.wait_for_timeout(1000)
        shown = page.locator(f".fg-form {drawn}").locator("visible=true")
        assert shown.count() > 0
        assert page.evaluate(_WIDER) == []
        assert page.evaluate(_CUT) == []
        assert page.evaluate(_BROKEN) == []
        assert faults(book) == []
    finally:
        page.set_viewport_size({"width": 1280, "height": 900})


def test_what_is_wider_than_its_place_says_so_and_moves_by_keyboard(opened: Any) -> None:
    page = opened(PAGES, LESSON).page
    page.evaluate(
        "() => { const frame = document.createElement('div'); frame.className = 'fg-scroll';"
        " frame.id = 'wide'; frame.innerHTML = '<p style=\"width:3000px;margin:0\">far</p>';"
        " document.querySelector('.fg-form .fg-html').append(frame); }"
    )
    try:
        page.wait_for_selector("#wide.fg-goes-on.fg-at-right:not(.fg-at-left)")
        told = "getComputedStyle(document.querySelector('#wide'), '::after').content"
        assert "more at the side" in page.evaluate(told)
        page.locator("#wide").focus()
        page.keyboard.press("ArrowRight")
        page.wait_for_selector("#wide.fg-at-left.fg-at-right")
        page.evaluate("() => { document.querySelector('#wide').scrollLeft = 1e6; }")
        page.wait_for_selector("#wide.fg-at-left:not(.fg-at-right)")
        page.evaluate("() => { document.querySelector('#wide p').style.width = '10px'; }")
        page.wait_for_selector("#wide:not(.fg-goes-on)")
    finally:
        page.evaluate("document.querySelector('#wide').remove()")
