"""Makes the gallery in docs from the notebooks, as they look in a browser today.

Run it from a checkout with the test tools installed, and Chromium::

    python -m tests.gallery

It opens every notebook of the folder as a page, does what :data:`SCENES` says and saves the
pictures as ``docs/gallery/*.png``. A notebook without a scene is shown as it opens.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from tests.browser.harness import (
    DARK,
    LIGHT,
    PAGES,
    WIDE,
    Notebook,
    Server,
    browser_open,
    chromium,
    copy_of_notebooks,
    notebook_names,
)

DOCS = Path(__file__).resolve().parents[1] / "docs"

#: Room above and below a picture's part of the page, in px.
_ROOM = 400


def _lesson(book: Notebook) -> None:
    book.labelled("Example").select_option(label="An adapter sleeve: a wide bar on a thin steerer")
    book.page.wait_for_selector(".fg-form svg text:has-text('SLV-OXE-01')")


def _builds(book: Notebook) -> None:
    page = book.page
    book.labelled("Budget").fill("450")
    page.wait_for_timeout(1000)
    book.until(
        "() => [...document.querySelectorAll('.fg-form [role=status]')]"
        ".some(e => e.innerText.includes('bettered by no other, from'))"
    )
    for key in ("Home", "End"):
        book.labelled("Builds").focus()
        book.labelled("Builds").press(key)
        book.button("Pick this build").click()
        page.wait_for_timeout(500)
    page.wait_for_selector("th:has-text('Pick 2')")


def _why(book: Notebook) -> None:
    for label, sku in (("Clamp", "CLMP-TAR-04"), ("Compression kit", "KIT-SKE-01")):
        book.labelled(label).fill(sku)
        book.labelled(label).press("Tab")
    book.page.wait_for_selector(".fg-form p:has-text('KIT-SKE-01')")
    book.until(
        "() => ![...document.querySelectorAll('.fg-form [role=status]')]"
        ".some(e => e.innerText.includes('Looking'))"
    )


def _gaps(book: Notebook) -> None:
    page = book.page
    page.wait_for_selector("text=The curve is complete", state="attached")
    book.labelled("Budget").fill("120")
    page.locator(".fg-cells button[aria-label^='IHC, titanium:']").click()
    page.wait_for_selector("caption:has-text('system IHC, material titanium')")
    page.wait_for_selector("th:has-text('Enquiries lost')", state="attached")
    book.until(
        "() => ![...document.querySelectorAll('.fg-form [role=status]')]"
        ".some(e => e.innerText.includes('Looking'))"
    )
    page.wait_for_selector("td:has-text('not worked out yet')", state="detached")
    page.wait_for_timeout(3000)


def _adapters(book: Notebook) -> None:
    page = book.page
    page.wait_for_selector("button:has-text('Save as PDF')")
    book.labelled("Made at most").focus()
    book.labelled("Made at most").press("ArrowRight")
    page.wait_for_selector("p:has-text('Gap 0.0%')")
    page.wait_for_timeout(1000)


def _practice(book: Notebook) -> None:
    book.labelled("Name").fill("Quill")
    book.labelled("Name").press("Enter")
    book.page.wait_for_selector("text=rounds finished")
    book.button("Start a round").click()
    for at in range(1, 6):  # on to the first that a cross-section answers
        book.page.wait_for_selector(f".fg-verdict:has-text('Question {at} of 5')")
        book.page.get_by_role("radio").first.check()
        book.button("Answer").click()
        book.page.wait_for_selector(".fg-verdict strong")
        book.page.wait_for_selector(".fg-form svg.fg-svg")
        if at == 5 or book.page.locator("svg:has-text('Cross-section, ')").count():
            break
        book.button("Next question").click()


def _map(book: Notebook) -> None:
    page = book.page
    page.wait_for_selector("text=Step 1 of 2")
    page.locator("[data-node='interface:bar.bore/31.8..32']").first.click()
    page.wait_for_selector("[data-part]")
    for _ in range(5):
        book.labelled("Tolerance").press("ArrowRight")
    page.wait_for_selector("text=lack no more than 0.05 mm")
    book.button("Next step").click()
    page.wait_for_selector("text=Step 2 of 2")


def _counter(book: Notebook) -> None:
    page = book.page

    def press(group: str, name: str) -> None:
        page.locator(f".fg-choices[aria-label^='{group}'] [data-name='{name}']").click()

    for sku in ("FORK-OST-03", "CLMP-SKE-02", "BAR-VEN-04"):
        book.labelled("Search").fill(sku)
        press("Parts found", sku)
        page.wait_for_selector(f".fg-choices[aria-label^='What they have'] [data-name='{sku}']")
    press("What they want another of", "bar")
    press("What it is to be", "lighter")
    book.labelled("Budget").fill("150")
    page.wait_for_selector(".fg-verdict:has-text('lighter bars')")
    book.button("The cross-section").click()
    page.wait_for_selector(".fg-form svg:has-text('Cross-section')")


#: A list as a shop keeps it: comma decimals, a weight without a unit, and a thing that is no part.
_LIST = """Item no;Title;Weight;Price;Qty
Q-101;Raw steel bar 34,9 OD, slotted;1,35;64,90 €;3
Q-102;Bar 31.8 OD, 560 x 610;0,98;89,90 €;1
Q-201;Double clamp 34,9;0,19;24,50 €;6
Q-301;IHC compression kit;0,12;19,90 €;4
Q-900;Woolly hat;0,10;9,90 €;12
"""


def _own_data(book: Notebook) -> None:
    page = book.page
    with page.expect_file_chooser() as choosing:
        book.button("Choose a file").click()
    choosing.value.set_files(
        {"name": "list.csv", "mimeType": "text/csv", "buffer": _LIST.encode("utf-8")}
    )
    page.wait_for_selector("[role=status]:has-text('list.csv: 5 rows, 5 columns')")
    book.labelled("Weight").select_option(label="mass [kg]: mass")
    page.wait_for_selector("td:has-text('1,350 g')")


#: What is done before the picture is taken, the theme and the width.
SCENES: Mapping[str, tuple[Callable[[Notebook], None], str, tuple[int, int]]] = {
    "01-how-fitment-works.ipynb": (_lesson, LIGHT, WIDE),
    "02-what-can-i-build.ipynb": (_builds, LIGHT, WIDE),
    "03-why-not.ipynb": (_why, DARK, WIDE),
    "04-gaps-in-stock.ipynb": (_gaps, LIGHT, WIDE),
    "05-next-adapter.ipynb": (_adapters, LIGHT, WIDE),
    "06-staff-practice.ipynb": (_practice, LIGHT, WIDE),
    "07-the-map-of-fits.ipynb": (_map, LIGHT, WIDE),
    "08-the-counter.ipynb": (_counter, LIGHT, WIDE),
    "09-your-data.ipynb": (_own_data, LIGHT, WIDE),
}


def picture(server: Server, context: Any, name: str, target: Path) -> Path:
    """Save the picture of a notebook, and return its file."""
    scene, theme, size = SCENES.get(name, (lambda _book: None, LIGHT, WIDE))
    book = Notebook(server, context, name, theme)
    page = book.page
    page.set_viewport_size({"width": size[0], "height": size[1]})
    scene(book)
    height = page.evaluate("() => document.querySelector('.fg-form').scrollHeight")
    page.set_viewport_size({"width": size[0], "height": int(height) + _ROOM})
    page.wait_for_timeout(1500)
    file = target / f"{Path(name).stem}.png"
    page.locator(".fg-form").first.screenshot(path=file)
    book.close()
    return file


def main() -> int:
    """Make all pictures."""
    if chromium() is None:
        print("Chromium is not installed (apt-get install chromium)", file=sys.stderr)
        return 2
    target = DOCS / "gallery"
    target.mkdir(exist_ok=True)
    wanted = sys.argv[1:] or notebook_names()
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        server = Server(PAGES, copy_of_notebooks(home / "notebooks"), home)
        try:
            with browser_open() as browser:
                context = browser.new_context(viewport={"width": WIDE[0], "height": WIDE[1]})
                for name in wanted:
                    print(picture(server, context, name, target).relative_to(DOCS.parent))
        finally:
            server.stop()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
