"""Letters of drawings in PDFs that are kept and handed over can be read on paper."""

from __future__ import annotations

import pymupdf
import pytest

from fitgraph.lab import Counter, FitLesson, WhyExplorer, open_catalogue
from fitgraph.lab.saves import Saves

#: The least letters of a page [pt]; a footnote in print has as many (common practice, no source).
_LEAST_PT = 7.5


def least_letters(content: bytes) -> float:
    """Return the size of the smallest letters on any page, in points."""
    return min(
        span["size"]
        for page in pymupdf.open(stream=content, filetype="pdf")
        for block in page.get_text("dict")["blocks"]
        for line in block.get("lines", [])
        for span in line["spans"]
        if span["text"].strip()
    )


def _counter() -> Saves:
    page = Counter(open_catalogue())
    for sku in ("FORK-OST-03", "CLMP-SKE-02", "BAR-VEN-04"):
        page.take(sku)
    page._want("bar")
    return page.sheet


def _why() -> Saves:
    return WhyExplorer(open_catalogue(), ("FORK-SKE-01", "BAR-OST-03")).saves


def _lesson() -> Saves:
    return FitLesson(open_catalogue(), {"one": ("FORK-VEN-04", "BAR-MAR-05", "CLMP-SKE-02")}).saves


@pytest.mark.parametrize("saves", [_counter, _why, _lesson])
def test_letters_of_drawings_on_paper_can_be_read(saves) -> None:
    made = saves()
    content = made.made(next(item for item in made.items if "PDF" in item)).content
    assert content[:5] == b"%PDF-"
    assert least_letters(content) >= _LEAST_PT


def test_a_lesson_on_paper_says_verdicts_as_the_page_does() -> None:
    made = _lesson()
    content = made.made(next(item for item in made.items if "PDF" in item)).content
    told = "".join(page.get_text() for page in pymupdf.open(stream=content, filetype="pdf"))
    assert "does not fit\nclamp around the bar" in told
    assert "\nfails\n" not in told
