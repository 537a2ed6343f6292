"""Tables sort by their headers and filter by words; the theme is chosen by a visible control."""

from __future__ import annotations

import re
from typing import Any

from .harness import PAGES, Notebook, faults

BUILDS, START, WHY = "02-what-can-i-build.ipynb", "00-start.ipynb", "03-why-not.ipynb"


def column(book: Notebook, table: Any, place: int) -> list[str]:
    """Return the cells of a column that can be seen."""
    rows = table.locator("tbody tr:visible").all()
    return [row.locator("th,td").nth(place).inner_text().split("\n")[0] for row in rows]


def test_a_table_sorts_by_its_headers_and_filters_by_keyboard(opened: Any) -> None:
    book = opened(PAGES, BUILDS)
    page = book.page
    table = page.locator("table:has(th:has-text('kept out'))").first
    button = table.locator("thead .fg-sort").filter(has_text=re.compile("^Of$"))
    button.wait_for()
    before = column(book, table, 5)
    assert len(before) > 9 and before != sorted(before, key=int)
    button.focus()
    for order, state in ((1, "ascending"), (-1, "descending")):
        page.keyboard.press("Enter")
        assert column(book, table, 5) == sorted(before, key=lambda n: order * int(n))
        assert table.locator("thead th").nth(5).get_attribute("aria-sort") == state
        assert table.locator("thead th[aria-sort=none]").count() == 5
    page.keyboard.press("Enter")
    assert column(book, table, 5) == before
    # The page is one that other tests use as well: its other tables may have filters too.
    above = table.locator("xpath=ancestor::*[contains(@class,'fg-scroll')][1]").locator(
        "xpath=preceding-sibling::label[contains(@class,'fg-filter')][1]"
    )
    field = above.locator("input")
    field.focus()
    page.keyboard.type("wheel")
    assert all("wheel" in name for name in column(book, table, 0))
    shown = len(column(book, table, 0))
    assert above.locator("[role=status]").inner_text().strip() == f"{shown} of {len(before)}"
    field.fill("")
    assert column(book, table, 5) == before
    assert faults(book) == []


def test_a_stock_number_opens_its_card_and_closes_again(opened: Any) -> None:
    book = opened(PAGES, WHY)
    page = book.page
    number = page.locator(".fg-sku").first
    sku = number.inner_text()
    number.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(f".fg-card[open] :text('{sku}')")
    page.wait_for_selector(".fg-card[open] h3:has-text('Joints')")
    assert page.locator(".fg-card[open] svg").count() >= 1
    assert faults(book) == []
    page.keyboard.press("Escape")
    page.wait_for_selector(".fg-card[open]", state="hidden")
    assert page.evaluate("document.activeElement.dataset.sku") == sku
    page.keyboard.press("Enter")  # the same again
    page.wait_for_selector(".fg-card[open] h3:has-text('Joints')")
    page.keyboard.press("Escape")


def test_the_theme_is_chosen_by_a_button_and_kept_on_the_way(servers: Any, context: Any) -> None:
    book = Notebook(servers[PAGES], context, START)
    page = book.page
    colour = "getComputedStyle(document.body).backgroundColor"
    light = page.evaluate(colour)
    page.get_by_role("button", name="Dark theme").click()
    page.wait_for_selector("#theme:has-text('Light theme')")
    page.wait_for_selector(".fg-form .fg-doors")
    assert page.evaluate(colour) != light
    context.watch.closing.append(page)
    page.get_by_role("link", name="Lesson", exact=True).click()
    page.wait_for_selector("#theme:has-text('Light theme')")
    assert "theme=dark" in page.url
    page.close()
