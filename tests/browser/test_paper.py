"""What a page prints: charts as wide as the paper, lists and tables whole, then the page again."""

from __future__ import annotations

import re
from typing import Any

import pymupdf

from .harness import PAGES, Notebook

GAPS, COUNTER, DESIGN = (
    "04-gaps-in-stock.ipynb",
    "08-the-counter.ipynb",
    "05-next-adapter.ipynb",
)

#: Least size of letters on paper [pt].
LEAST_PT = 8.0


def _spans(printed: pymupdf.Document) -> list[tuple[int, str, float, Any]]:
    """Return each piece of text with its sheet, its size [pt] and its place."""
    return [
        (sheet.number, span["text"].strip(), span["size"], span["bbox"])
        for sheet in printed
        for block in sheet.get_text("dict")["blocks"]
        for line in block.get("lines", ())
        for span in line["spans"]
        if span["text"].strip()
    ]


def _joined(text: str) -> str:
    """Return a text without blanks, for it may be broken anywhere."""
    return "".join(text.split())


def test_charts_lists_and_tables_are_whole_on_paper(servers: Any, context: Any) -> None:
    book = Notebook(servers[PAGES], context, GAPS)  # as it opens, whatever other tests pressed
    page = book.page
    page.wait_for_selector("text=The curve is complete", state="attached")
    page.wait_for_selector("caption:has-text('the first 6 are shown')", state="attached")
    page.wait_for_selector("caption:has-text('Dearest first')", state="attached")
    page.wait_for_function("document.querySelectorAll('.widget-select option').length > 3")
    steps = page.locator("select[aria-label='Steps'], .widget-select select").first
    lines = steps.locator("option").all_inner_texts()
    held = page.locator("table:has(caption:has-text('Dearest first'))")
    names = [n.split("\n")[0] for n in held.locator("tbody th").all_text_contents()]
    folded = held.locator("tbody tr.fg-beyond").count()
    assert len(lines) > 3 and 0 < folded < len(names)
    shown = "() => document.querySelector('.fg-chart .main-svg').getBoundingClientRect().width"
    wide = page.evaluate(shown)
    with pymupdf.open(stream=page.pdf(format="A4")) as printed:
        spans = _spans(printed)
        text = " ".join(" ".join(sheet.get_text() for sheet in printed).split())
        room = printed[0].rect.width
    assert min(size for _, _, size, _ in spans) >= LEAST_PT
    # The chart goes from the letters at its left to the end of its axis, over most of the paper.
    sheet, _, _, _ = next(s for s in spans if s[1].startswith("Spent on orders"))
    chart = [
        box
        for at, words, _, box in spans
        if at == sheet and (words.isdigit() or words.startswith(("Enquiries served", "Spent on")))
    ]
    assert min(b[0] for b in chart) < 0.2 * room
    title = next(b for a, w, _, b in spans if a == sheet and w.startswith("Spent on"))
    assert 0.4 * room < (title[0] + title[2]) / 2 < 0.65 * room
    for line in lines:
        assert _joined(line) in _joined(text)
    for row in held.locator("tbody tr").all_text_contents():
        assert " ".join(row.split())[:14] in text
    rows = re.search(r"in ([0-9,]+) rows; the first 6 are shown", text)
    assert rows is not None and f"has all {rows[1]}, and every reason" in text
    # Afterwards the page is as it was.
    assert page.locator(".fg-form .fg-lines").count() == 0
    assert held.locator("tbody tr.fg-beyond").count() == folded
    assert page.locator(".fg-form details[open]").count() == 0
    page.wait_for_function(f"(wide) => Math.abs(({shown})() - wide) < 2", arg=wide)
    book.close()


def test_a_long_list_stands_behind_the_chart_that_it_is_beside(opened: Any) -> None:
    page = opened(PAGES, DESIGN).page  # whatever is looked at, the list is long
    page.wait_for_function("document.querySelectorAll('.widget-select option').length > 60")
    page.wait_for_selector(".fg-chart .main-svg")
    lines = page.locator(".widget-select option").all_inner_texts()
    with pymupdf.open(stream=page.pdf(format="A4")) as printed:
        spans = _spans(printed)
        text = " ".join(" ".join(sheet.get_text() for sheet in printed).split())
    where = {words: (sheet, box[1]) for sheet, words, _, box in reversed(spans)}
    told = f"{len(lines)} lines in all: they stand at the end."
    # The first lines, then the chart, then what belongs to it; all lines at the end.
    assert where[told] < where["The map"] < where["The best few together"]
    last = next(b for b in reversed(spans) if b[1].startswith(lines[-1][:20]))
    assert (last[0], last[3][1]) > where["If it were made"]
    for line in lines:
        assert _joined(line) in _joined(text)
    assert page.locator(".fg-form :is(.fg-lines, .fg-lines-end)").count() == 0


def test_what_holds_nothing_is_not_printed(servers: Any, context: Any) -> None:
    book = Notebook(servers[PAGES], context, COUNTER)
    page = book.page
    page.locator(".fg-form").get_by_text("What they have:").wait_for()
    with pymupdf.open(stream=page.pdf(format="A4")) as printed:
        text = " ".join(" ".join(sheet.get_text() for sheet in printed).split())
    assert "What they want:" in text and "Why not the others" not in text
    assert book.button("▾ Point at it").is_visible()
    book.close()
