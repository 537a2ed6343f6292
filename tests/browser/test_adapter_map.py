"""What a designer does on the map of what could be made, done in a real browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ezdxf
import pymupdf
import pytest

from fitgraph.adapters import Scan, frontier, scan
from fitgraph.lab import OpenCatalogue

from .harness import LAB, PAGES, Notebook, number

NOTEBOOK = "05-next-adapter.ipynb"


@pytest.fixture(scope="module")
def found(shop: OpenCatalogue) -> Scan:
    make = next(iter(shop.catalogue.vocabulary.makes.values()))
    return scan(shop.catalogue, make, engine=shop.engine)


def weighed(book: Notebook) -> None:
    """Wait until the first part's sheet can be saved."""
    book.page.wait_for_selector(".fg-form button:has-text('Save as PDF')")


def served(book: Notebook, coverage: float) -> None:
    """Wait until the best few serve so many riders."""
    book.until(
        "(n) => [...document.querySelectorAll('.fg-form p[role=status] strong')]"
        ".some(e => e.innerText === n)",
        f"{coverage:,g}",
    )


def test_rims_of_dots_are_of_the_papers_colour(opened: Any) -> None:
    book = opened(PAGES, NOTEBOOK)  # in the dark theme
    weighed(book)
    rims = book.page.evaluate(
        "() => [...document.querySelectorAll('.fg-chart .points path')].filter((e) =>"
        " e.style.stroke === 'rgb(255, 255, 255)').map((e) => getComputedStyle(e).stroke)"
    )
    assert rims and set(rims).isdisjoint({"rgb(255, 255, 255)"})


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_how_many_are_made_is_changed_by_keyboard(opened: Any, found: Scan, kind: str) -> None:
    book = opened(kind, NOTEBOOK)
    weighed(book)
    steps = list(frontier([found], 8))
    slider = book.labelled("Made at most")
    slider.focus()
    slider.press("Home")
    served(book, steps[0].coverage)
    slider.press("ArrowRight")
    served(book, steps[1].coverage)
    told = book.page.locator(".fg-form p:has-text('enquiries served')").first.inner_text()
    assert number(told) == steps[1].coverage
    assert "proven" in told
    rows = book.page.locator(".fg-form table:has(caption:has-text('serves alone')) tbody tr")
    assert rows.count() == len(steps[1].worths)
    assert f"{found.total:,g}" in told


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_a_dot_is_clicked_and_its_part_told(opened: Any, found: Scan, kind: str) -> None:
    book = opened(kind, NOTEBOOK)
    page = book.page
    weighed(book)
    chart = page.locator(".fg-form .js-plotly-plot")
    chart.scroll_into_view_if_needed()
    parts = book.labelled("Parts")
    parts.focus()
    parts.press("Home")
    page.wait_for_selector(f"caption:has-text('{found.worths[0].candidate.part.sku}')")
    # The second lies far from the first, among some that differ from it by hundredths.
    x, y = found.worths[1].candidate.sizes.values()
    near = {}
    for worth in found.worths:
        sizes = worth.candidate.sizes.values()
        if all(abs(a - b) < 0.15 for a, b in zip(sizes, (x, y), strict=True)):
            sku = worth.candidate.part.sku
            near[f".fg-form table:has(caption:has-text('{sku}'))"] = worth
    at = page.evaluate(
        """([x, y]) => {
            const plot = document.querySelector('.fg-form .js-plotly-plot');
            const { xaxis, yaxis } = plot._fullLayout;
            const box = plot.getBoundingClientRect();
            return [box.x + xaxis._offset + xaxis.d2p(x), box.y + yaxis._offset + yaxis.d2p(y)];
        }""",
        [x, y],
    )
    page.mouse.move(*at)
    page.mouse.click(*at)
    page.wait_for_selector(", ".join(near))
    (told,) = [selector for selector in near if page.locator(selector).count()]
    text = page.locator(told).first.inner_text()
    assert f"{near[told].gained:,g} enquiries that nothing serves now" in text
    assert f"{near[told].builds:,}" in text
    # From the list, by keyboard: down to what no wall is left for.
    parts.focus()
    parts.press("ArrowDown")
    parts.press("End")
    page.wait_for_selector(".fg-form h3:has-text('Cannot be made')")
    parts.press("Home")
    page.wait_for_selector(f"caption:has-text('{found.worths[0].candidate.part.sku}')")


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_sheets_are_saved_and_open(opened: Any, found: Scan, kind: str, tmp_path: Path) -> None:
    book = opened(kind, NOTEBOOK)
    page = book.page
    parts = book.labelled("Parts")
    parts.focus()
    parts.press("Home")
    part = found.worths[0].candidate.part
    page.wait_for_selector(f".fg-verdict:has-text('{found.worths[0].candidate.by_size}')")
    page.wait_for_selector(f"caption:has-text('{part.sku}')")  # not the buttons of one before it
    weighed(book)
    files = {}
    for name in ("SVG", "PDF", "DXF", "STEP", "HTML"):
        with page.expect_download() as saving:
            page.get_by_role("button", name=f"Save as {name}").click()
        page.wait_for_selector(f".fg-saves p:has-text('{part.sku}.{name.lower()} is saved.')")
        files[name] = tmp_path / saving.value.suggested_filename
        saving.value.save_as(files[name])
    with pymupdf.open(files["PDF"]) as document:
        text = " ".join(" ".join(p.get_text() for p in document).split())
    assert part.sku in text and "H9" in text
    drawn = ezdxf.readfile(files["DXF"])
    measured = {round(d.get_measurement(), 2) for d in drawn.modelspace().query("DIMENSION")}
    assert {round(v, 2) for v in found.worths[0].candidate.sizes.values()} <= measured
    with pymupdf.open(files["SVG"]) as picture:
        assert picture.page_count == 1
    assert f"PRODUCT('{part.sku}'" in files["STEP"].read_text(encoding="ascii")
    assert part.sku in files["HTML"].read_text(encoding="utf-8")


@pytest.mark.long
def test_a_part_is_added_for_a_trial_and_taken_out_again(opened: Any, found: Scan) -> None:
    book = opened(PAGES, NOTEBOOK)
    page = book.page
    parts = book.labelled("Parts")
    parts.focus()
    parts.press("Home")
    worth = found.worths[0]
    page.wait_for_selector(f".fg-verdict:has-text('{worth.candidate.by_size}')")
    weighed(book)
    add = book.button("Add the part looked at")
    add.focus()
    add.press("Enter")
    row = page.wait_for_selector(
        ".fg-form table:has(caption:has-text('Served from the catalogue')) tbody tr:first-child"
    )
    before, after = (int(n) for n in row.inner_text().split()[1:3])
    assert (before, after) == (found.covered, found.covered + worth.gained)
    book.button("Take ").click()
    page.wait_for_selector(".fg-form p:has-text('Nothing has been added yet')")
    weighed(book)
