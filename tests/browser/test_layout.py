"""Where things stand: the answer beside the question, the verdict in view, nothing too long."""

from __future__ import annotations

from typing import Any

import pymupdf
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

#: Where the first question and its answer stand, and the verdict while one looks further down.
_PLACES = """() => {
  const [one, other] = document.querySelector('.fg-sides').children;
  const [a, b] = [one, other].map((e) => e.getBoundingClientRect());
  return { beside: b.left >= a.right, top: b.top, left: a.top,
           wide: b.right / innerWidth };
}"""
_VERDICT = """() => {
  const box = [...document.querySelectorAll('.fg-verdict')].at(-1).getBoundingClientRect();
  return [box.top, box.bottom, innerHeight];
}"""

_THEME = "document.getElementById('theme').getBoundingClientRect()"

#: How long a page may be in a narrow window [px].
MOST_PX = {BUILDS: 6_900, WHY: 4_000, GAPS: 8_000, MAP: 4_000}


@pytest.mark.parametrize(
    "name", [WHY, GAPS, *(pytest.param(n, marks=pytest.mark.long) for n in (BUILDS, MAP))]
)
def test_the_answer_is_in_sight_and_no_page_is_endless(opened: Any, name: str) -> None:
    book: Notebook = opened(PAGES, name)
    page = book.page
    book.until("() => document.querySelector('.fg-verdict')?.innerText.trim()")
    try:
        for width in (1280, 1920):
            page.set_viewport_size({"width": width, "height": 900})
            page.wait_for_function("(width) => innerWidth === width", arg=width)
            page.evaluate("document.querySelector('.fg-form').scrollIntoView()")
            places = page.evaluate(_PLACES)
            assert places["beside"] and abs(places["top"] - places["left"]) < 2
            assert places["top"] < 300 and places["wide"] > 0.9
            page.mouse.move(width / 2, 600)
            page.mouse.wheel(0, 500)
            page.wait_for_timeout(300)
            top, bottom, height = page.evaluate(_VERDICT)
            assert -1 <= top < bottom < height / 3
            # The button for the theme goes with the page and lies over nothing.
            assert page.evaluate(f"{_THEME}.bottom") <= 0
        page.set_viewport_size({"width": 400, "height": 800})
        form = "document.querySelector('.fg-form')"
        assert page.evaluate(f"{form}.scrollHeight") < MOST_PX[name]
        assert page.evaluate(f"{form}.scrollWidth <= {form}.clientWidth + 1")
        # A name without a space breaks, however long it is.
        page.evaluate("document.querySelector('.fg-verdict p').prepend('a'.repeat(300))")
        assert page.evaluate(f"{form}.scrollWidth <= {form}.clientWidth + 1")
        page.evaluate("document.querySelector('.fg-verdict p').firstChild.remove()")
    finally:
        page.set_viewport_size({"width": 1280, "height": 900})
        page.evaluate("document.querySelector('.fg-form').scrollIntoView()")


#: Fields of parts in sight in which a line of their list would be cut off, and by how much [px].
_CUT = """() => [...document.querySelectorAll('.fg-picker input[list]')]
  .filter((field) => field.offsetParent).flatMap((field) => {
    const before = field.value, cut = [];
    for (const { value } of document.getElementById(field.getAttribute('list')).options) {
      field.value = value;
      if (field.scrollWidth > field.clientWidth)
        cut.push([value, field.scrollWidth - field.clientWidth]);
    }
    field.value = before;
    return cut;
  })"""


@pytest.mark.parametrize("name", [WHY, LESSON])
def test_every_part_of_the_demo_stands_whole_in_its_field(opened: Any, name: str) -> None:
    book: Notebook = opened(PAGES, name)
    book.page.wait_for_selector(".fg-picker input[list]")
    for width in (1280, 1920):
        book.page.set_viewport_size({"width": width, "height": 900})
        book.until("(width) => innerWidth === width", width)
        lines = book.page.evaluate(
            "document.querySelectorAll('.fg-picker input[list]')[1].list.options.length"
        )
        assert lines > 10
        assert book.page.evaluate(_CUT) == []
    book.page.set_viewport_size({"width": 1280, "height": 900})


def test_what_is_folded_away_stands_on_paper(opened: Any) -> None:
    book = opened(PAGES, GAPS)
    page = book.page
    held = page.locator("caption:has-text('Dearest first')")
    held.wait_for(state="attached")
    assert not held.is_visible()
    with pymupdf.open(stream=page.pdf(format="A4")) as printed:
        text = " ".join(" ".join(sheet.get_text() for sheet in printed).split())
    assert "Gaps in stock" in text and "Dearest first" in text
    book.button("Stranded stock").click()
    held.wait_for(state="visible")
    # A part without a use leads to why, and its number opens its card.
    table = page.locator("table:has(caption:has-text('Dearest first'))")
    assert table.get_by_role("link", name="Why?").first.get_attribute("href").startswith("03-why")
    table.locator(".fg-sku").first.click()
    page.wait_for_selector(".fg-card[open] h3:has-text('Joints')")
    page.keyboard.press("Escape")
    assert faults(book) == []


def test_a_role_of_the_product_is_pressed_by_mouse_and_by_keyboard(opened: Any) -> None:
    book = opened(PAGES, WHY)
    page = book.page
    page.locator(".fg-product [data-node=deck] text").first.click()
    field = "() => document.activeElement.labels?.[0]?.innerText.toLowerCase()"
    book.until(f"{field} === 'deck'")
    page.locator(".fg-product [tabindex='0']").focus()
    page.keyboard.press("ArrowUp")
    role = page.evaluate("document.activeElement.getAttribute('aria-label').split(':')[0]")
    assert role != "deck"
    page.keyboard.press("Enter")
    book.until(f"(role) => ({field})() === role", role)
    assert faults(book) == []


@pytest.mark.long
def test_charts_keep_their_height_while_a_window_grows(servers: Any, context: Any) -> None:
    book = Notebook(servers[PAGES], context, DESIGN)
    page = book.page
    height = "() => document.querySelector('.fg-form .js-plotly-plot')?.offsetHeight"
    try:
        for width in (400, 1280, 400, 1920):
            page.set_viewport_size({"width": width, "height": 900})
            page.wait_for_selector(".fg-form .point", state="attached")
            page.wait_for_timeout(1000)
            assert page.evaluate(height) > 300
    finally:
        page.set_viewport_size({"width": 1280, "height": 900})
        book.close()
