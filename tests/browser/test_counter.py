"""From nothing to a right answer at the counter, by keyboard and in a narrow window."""

from __future__ import annotations

import re
import time
from typing import Any

from .harness import PAGES, WIDE, Notebook, faults

COUNTER = "08-the-counter.ipynb"
HAVE = ("FORK-OST-03", "CLMP-SKE-02", "BAR-VEN-04")

#: "I have this scooter, I want new bars, lighter, under 150": presses and entries, and seconds.
MOST_ACTIONS, MOST_S = 12, 60.0


def in_view(book: Notebook) -> bool:
    """Return whether the verdict can be seen without scrolling."""
    return bool(
        book.page.evaluate(
            "() => { const box = document.querySelector('.fg-verdict').getBoundingClientRect();"
            " return box.top >= -1 && box.bottom <= innerHeight; }"
        )
    )


def test_an_answer_in_twelve_actions_by_keyboard_in_a_narrow_window(opened: Any, shop: Any) -> None:
    book = opened(PAGES, COUNTER)
    page = book.page
    page.set_viewport_size({"width": 400, "height": 800})
    begun, actions = time.monotonic(), 0

    def press(group: str, name: str) -> None:
        nonlocal actions
        button = page.get_by_role("group", name=re.compile(group)).get_by_role(
            "button", name=re.compile(re.escape(name))
        )
        button.first.focus()
        page.keyboard.press("Enter")
        actions += 1

    for sku in HAVE:
        book.labelled("Search").focus()
        page.keyboard.type(sku.lower())
        actions += 1
        press("Parts found", sku)
        page.wait_for_selector(f".fg-choices[aria-label^='What they have'] [data-name='{sku}']")
        # The button that was pressed is gone; who has no mouse goes on at the search.
        book.until("() => document.activeElement.matches('.fg-form input[type=text]')")
    press("another of", "bar")
    press("What it is to be", "lighter")
    book.labelled("Budget").focus()
    page.keyboard.type("150")
    actions += 1
    found = shop.shop.exchange("bar", *HAVE, aim="lighter", budget=150, limit=6, ends=True).found
    page.wait_for_selector(f".fg-verdict:has-text('{found.count} lighter bars')")
    taken = time.monotonic() - begun
    assert actions <= MOST_ACTIONS
    assert taken <= MOST_S
    shown = [r.part.sku for r in found.parts]
    # The offers come in a message of their own, after the verdict.
    book.until(
        "(shown) => [...document.querySelectorAll(\".fg-choices[aria-label^='Parts that fit'] \""
        " + 'button')].map((b) => b.dataset.name).join() === shown.join()",
        shown,
    )
    press("Parts that fit", shown[1])
    page.wait_for_selector(f".fg-form p:has-text('{shown[1]}'):has-text('for certain')")
    with page.expect_download() as saving:
        page.get_by_role("button", name=re.compile("Sheet to hand over")).click()
    assert saving.value.suggested_filename == "sheet.pdf"
    # What fits is never out of sight, nor wider than the window.
    assert in_view(book)
    assert page.evaluate("document.querySelector('#rendered_cells').scrollWidth") <= 400
    assert faults(book) == []
    page.set_viewport_size({"width": 1920, "height": 900})
    assert in_view(book)
    left, right = (page.locator(f".fg-sides>*:nth-child({n})").bounding_box() for n in (1, 2))
    assert right["x"] >= left["x"] + left["width"] and right["x"] + right["width"] > 1700
    page.set_viewport_size({"width": WIDE[0], "height": WIDE[1]})
    # The others lead to why.
    book.button("Why not the others").click()
    page.locator("summary:has-text('cannot be told')").click()
    link = page.locator("details[open] a").first
    assert link.get_attribute("href").startswith("03-why-not.ipynb?session=")
