"""A list of one's own, from the start page to the counter, in a narrow window."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fitgraph.catalogue import load

from .harness import DARK, LAB, PAGES, WIDE, faults

START, OWN, COUNTER = "00-start.ipynb", "09-your-data.ipynb", "08-the-counter.ipynb"

LIST = "Item no;Title;Weight;Price\nA-1;Raw bar 34,9 OD;0,95;89,90 €\nA-2;hat;0,1;9,90 €\n"


def test_a_list_is_handed_over_asked_about_and_imported(
    opened: Any, context: Any, home: Path, few: Path, tmp_path: Path
) -> None:
    file = tmp_path / "list.csv"
    file.write_text(LIST, encoding="cp1252")
    start = opened(PAGES, START)
    assert start.page.locator(f".fg-form a[href='{OWN}']").count() == 1
    book = opened(PAGES, OWN)
    page = book.page
    page.set_viewport_size({"width": 400, "height": 900})
    try:
        with page.expect_file_chooser() as choosing:
            book.button("Choose a file").click()
        choosing.value.set_files(file)
        page.wait_for_selector("[role=status]:has-text('list.csv: 2 rows, 4 columns')")
        page.wait_for_selector("td:has-text('0,95 can mean 0.95 g or 0.95 kg')")
        book.labelled("Weight").select_option(label="mass [kg]: mass")
        page.wait_for_selector("td:has-text('950 g')")
        assert page.evaluate("document.querySelector('#rendered_cells').scrollWidth") <= 400
        assert faults(book) == []
        page.set_viewport_size({"width": WIDE[0], "height": WIDE[1]})
        book.labelled("Catalogue").fill(str(tmp_path / "shop"))
        # As a hand presses, right after the folder: the list is read once more with its words.
        book.button("Import it").click(delay=150)
        page.wait_for_selector("[role=status]:has-text('shop: 1 part')")
        part = load(tmp_path / "shop").catalogue.parts["A-1"]
        assert (part.mass_g, part.price) == (950.0, 8990)
        with page.expect_download() as saving:
            page.get_by_role("link", name="Save set-aside.csv").click()
        assert b"A-2,hat" in Path(saving.value.path()).read_bytes()
        page.wait_for_selector(f".fg-form a[href='{COUNTER}']")
    finally:
        (home / "opened").write_text(str(few))  # what the pages of other tests are about


@pytest.mark.long
@pytest.mark.parametrize("theme", [None, DARK])
def test_the_same_in_jupyterlab(opened: Any, tmp_path: Path, home: Path, theme: str | None) -> None:
    file = tmp_path / "list.csv"
    file.write_text(LIST, encoding="utf-8")
    book = opened(LAB, OWN)
    if theme is not None:
        book.theme(theme)
    book.labelled("List").fill(str(file))
    book.button("Read it").click()
    book.page.wait_for_selector("[role=status]:has-text('list.csv: 2 rows, 4 columns')")
    book.labelled("Weight").select_option(label="mass [kg]: mass")
    book.page.wait_for_selector("td:has-text('950 g')")
    assert faults(book) == []
