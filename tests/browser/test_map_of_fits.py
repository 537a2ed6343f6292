"""The map of fits in JupyterLab and as a page: by mouse, by keyboard, for everybody."""

from __future__ import annotations

from typing import Any

import pytest

from .harness import DARK, LAB, LIGHT, PAGES, WIDE, Notebook, faults, number

MAP, WHY = "07-the-map-of-fits.ipynb", "03-why-not.ipynb"
NODE = "interface:bar.outside/34.8..34.9"
PART = "BAR-CUL-05"

#: Lines of joints that are to be seen.
LINES = (
    "() => [...document.querySelectorAll('.fg-pressable [data-joint]')]"
    ".filter(e => e.style.display !== 'none').length"
)


def ready(book: Notebook) -> None:
    book.page.wait_for_selector(".fg-pressable svg [role=button]")
    book.page.wait_for_selector("text=Step 1 of 2")


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_a_dot_is_unfolded_and_a_part_leads_on_by_mouse(opened: Any, kind: str) -> None:
    book = opened(kind, MAP)
    page = book.page
    ready(book)
    page.locator(f"[data-node='{NODE}']").first.click()
    page.wait_for_selector("strong:has-text('Bar, outside 34.8 to 34.9')")
    chip = page.locator("[data-part]").first
    sku = chip.get_attribute("data-part")
    chip.click()
    page.wait_for_selector(f"p:has-text('Go on with'):has-text('({sku})')")
    assert page.get_by_role("link", name="why it fits or not").get_attribute("href")
    assert faults(book) == []
    if kind == LAB:
        book.theme(DARK)
        assert faults(book) == []
        book.theme(LIGHT)
    page.locator(f"[data-node='{NODE}']").first.click()
    page.wait_for_selector("[data-part]", state="detached")


@pytest.mark.parametrize("kind", [LAB, PAGES])
def test_arrow_keys_go_from_dot_to_dot_and_enter_presses(opened: Any, kind: str) -> None:
    book = opened(kind, MAP)
    page = book.page
    ready(book)
    # One stop for the whole map, and from there by arrows.
    assert page.locator(".fg-pressable [role=button][tabindex='0']").count() == 1
    page.locator(f"[data-node='{NODE}']").first.focus()
    at = "() => document.activeElement.dataset.node || document.activeElement.dataset.part"
    place = (  # in the drawing, for the page may scroll to what has the focus
        "() => { const b = document.activeElement.getBoundingClientRect();"
        " const s = document.activeElement.closest('svg').getBoundingClientRect();"
        " return [b.x + b.width / 2 - s.x, b.y + b.height / 2 - s.y]; }"
    )
    for key, axis, sign in (("ArrowUp", 1, -1), ("ArrowLeft", 0, -1), ("ArrowDown", 1, 1)):
        before, name = page.evaluate(place), page.evaluate(at)
        page.keyboard.press(key)
        after = page.evaluate(place)
        assert page.evaluate(at) != name and (after[axis] - before[axis]) * sign > 0
    focused = page.evaluate(at)
    page.keyboard.press("Enter")
    page.wait_for_selector(".fg-pressable [aria-expanded=true]")
    expanded = page.locator(".fg-pressable [aria-expanded=true]").first
    assert expanded.get_attribute("data-node") == focused
    # The drawing was made anew, and the focus is where it was.
    book.until(f"(name) => ({at})() === name", focused)
    page.keyboard.press("Space")
    page.wait_for_selector(".fg-pressable [aria-expanded=true]", state="detached")


def test_lines_come_and_go_with_the_tolerance(opened: Any) -> None:
    book = opened(PAGES, MAP)
    ready(book)
    slider = book.labelled("Tolerance")
    slider.focus()
    at_zero = book.page.evaluate(LINES)
    for _ in range(5):
        slider.press("ArrowRight")
    book.until(f"(n) => ({LINES})() > n", at_zero)
    book.page.wait_for_selector("text=lack no more than 0.05 mm")
    for _ in range(8):
        slider.press("ArrowLeft")
    book.until(f"(n) => ({LINES})() < n", at_zero)
    book.page.wait_for_selector("text=with 0.03 mm to spare or more")
    book.labelled("Draw what cannot be told").uncheck()
    book.until("() => ![...document.querySelectorAll('.fg-pressable [data-joint].fg-unknown')]"
               ".some(e => e.style.display !== 'none')")  # fmt: skip
    book.labelled("Draw what cannot be told").check()
    for _ in range(3):
        slider.press("ArrowRight")
    book.until(f"(n) => ({LINES})() === n", at_zero)


def test_a_search_marks_what_it_finds(opened: Any) -> None:
    book = opened(PAGES, MAP)
    ready(book)
    book.labelled("Search").fill("34.9")
    book.page.wait_for_selector(f".fg-found[data-node='{NODE}']")
    status = book.page.locator("[role=status]:has-text('interfaces.')").first.inner_text()
    marked = book.page.locator(".fg-found").evaluate_all(
        "(all) => new Set(all.map((e) => e.dataset.node)).size"
    )
    assert number(status) == marked
    assert faults(book) == []
    book.labelled("Search").fill("")
    book.page.wait_for_selector(".fg-found", state="detached")


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_a_way_is_walked_by_keyboard_with_its_section(opened: Any, kind: str) -> None:
    book = opened(kind, MAP)
    page = book.page
    ready(book)
    step = book.button("Next step")
    step.focus()
    step.press("Enter")
    page.wait_for_selector("text=Step 2 of 2")
    # The map and the section come in messages of their own.
    book.until("() => document.querySelectorAll('.fg-pressable .fg-trace.fg-now').length === 1")
    # It is drawn twice, for wide windows and for narrow ones.
    drawn = page.locator(f"svg:has-text('Cross-section') text:has-text('{PART}')")
    drawn.locator("visible=true").first.wait_for()
    book.button("Step back").click()
    page.wait_for_selector("text=Step 1 of 2")
    before = book.labelled("Way").inner_text()
    book.labelled("From").fill("BAR-MAR-05")
    book.labelled("To").fill("CLMP-SKE-02")
    book.labelled("To").press("Tab")
    page.wait_for_selector("p:has-text('Step 1 of 2: '):has-text('(BAR-MAR-05) and')")
    book.until(
        "([e, before]) => e.innerText !== before", [book.labelled("Way").element_handle(), before]
    )
    for label, sku in (("From", "FORK-VEN-04"), ("To", PART)):
        book.labelled(label).fill(sku)
        book.labelled(label).press("Tab")
    page.wait_for_selector("p:has-text('Step 1 of 2'):has-text('(FORK-VEN-04) and')")


@pytest.mark.long
def test_a_part_is_handed_over_to_the_page_that_says_why(
    opened: Any, servers: Any, context: Any
) -> None:
    book = opened(PAGES, MAP)
    ready(book)
    page = book.page
    page.locator(f"[data-node='{NODE}']").first.click()
    chip = page.locator("[data-part]").first
    sku = chip.get_attribute("data-part")
    chip.click()
    page.wait_for_selector(f"p:has-text('Go on with'):has-text('({sku})')")
    link = page.get_by_role("link", name="why it fits or not").get_attribute("href")
    file, _, query = link.partition("?")
    assert file == WHY
    again = Notebook(servers[PAGES], context, WHY, query=query)
    assert again.labelled("Bar").input_value().endswith(f"· {sku}")
    # And that page leads here.
    assert again.page.get_by_role("link", name="Map", exact=True).get_attribute("href") == MAP
    again.close()


def test_a_number_typed_becomes_its_part_and_stands_whole_in_its_field(opened: Any) -> None:
    book = opened(PAGES, MAP)
    page = book.page
    ready(book)
    before = [book.labelled(label).input_value() for label in ("From", "To")]
    try:
        for width in (1280, 1920):
            page.set_viewport_size({"width": width, "height": 900})
            for label, typed in (("From", "fork-ske-01"), ("To", "ostrathby raftoe bar 630")):
                book.labelled(label).fill(typed)
                book.labelled(label).press("Tab")
            told = [book.labelled(label).input_value() for label in ("From", "To")]
            assert told == [
                "Skerrowby Gorsewick fork 110 x 24 · FORK-SKE-01",
                "Ostrathby Raftoe bar 630 x 700 · BAR-OST-03",
            ]
            for label in ("From", "To"):
                room = book.labelled(label).evaluate("(e) => e.clientWidth - e.scrollWidth")
                assert room >= 0, (width, label)
            book.labelled("To").fill("bar")  # many, so it stays as it was typed
            book.labelled("To").press("Tab")
            assert book.labelled("To").input_value() == "bar"
    finally:
        page.set_viewport_size({"width": WIDE[0], "height": WIDE[1]})
        for label, value in zip(("From", "To"), before, strict=True):
            book.labelled(label).fill(value)
            book.labelled(label).press("Tab")
        page.wait_for_selector("text=Step 1 of 2")
