"""What people do in the notebooks, done in a real browser.

Every notebook is opened in JupyterLab and as a page, and axe-core (see ``faults``) finds no
serious fault in our part of the page, in the light and in the dark theme. That nothing writes an
error to the console or asks another computer for anything is looked at once all pages of all
files are done, in ``conftest``.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pymupdf
import pytest

from fitgraph.practice.rounds import question
from fitgraph.solve import Request

from .harness import (
    DARK,
    LAB,
    LIGHT,
    NARROW,
    PAGES,
    WIDE,
    Notebook,
    changes,
    click_dot,
    faults,
    notebook_names,
)

START, LESSON, BUILDS, WHY, DESIGN, PRACTICE, MAP = (
    "00-start.ipynb",
    "01-how-fitment-works.ipynb",
    "02-what-can-i-build.ipynb",
    "03-why-not.ipynb",
    "05-next-adapter.ipynb",
    "06-staff-practice.ipynb",
    "07-the-map-of-fits.ipynb",
)
FORK, BAR = "FORK-SKE-01", "BAR-OST-03"

#: Where each notebook is opened. Every one of the folder is, in both; those that no other test
#: uses in JupyterLab take long there.
OPENED = [
    pytest.param(
        *(kind, name),
        marks=pytest.mark.long if kind == LAB and name != MAP else (),
        id=f"{kind}-{name}",
    )
    for name in notebook_names()
    for kind in (LAB, PAGES)
]


@pytest.mark.parametrize(("kind", "name"), OPENED)
def test_opens_and_can_be_used_by_all(opened: Any, kind: str, name: str) -> None:
    book = opened(kind, name)
    page = book.page
    assert page.locator(".fg-form").first.is_visible()
    assert page.locator(".jp-RenderedText[data-mime-type*='stderr']").all_inner_texts() == []
    assert "Traceback" not in page.locator("body").inner_text()
    # What is for readers of code is in JupyterLab only.
    code = page.get_by_role("heading", name=re.compile("in code|How it works")).count()
    assert code == 0 if kind == PAGES else code == (0 if name in (START, LESSON) else 1)
    assert faults(book) == []
    if kind == LAB:
        book.theme(DARK)
        assert faults(book) == []
        book.theme(LIGHT)
    page.set_viewport_size({"width": NARROW[0], "height": NARROW[1]})
    # Nothing is cut off at 800 px.
    book.until(
        "() => { const end = document.querySelector('.fg-form').getBoundingClientRect().right;"
        " return innerWidth === 800 && [...document.querySelectorAll("
        "'.fg-form input, .fg-form select, .fg-form button')]"
        ".filter(e => e.offsetParent && !e.closest('.fg-scroll'))"
        ".every(e => e.getBoundingClientRect().right <= end + 1); }"
    )
    page.set_viewport_size({"width": WIDE[0], "height": WIDE[1]})


def test_lesson_follows_a_slider_and_a_part(opened: Any) -> None:
    book = opened(PAGES, LESSON)
    page = book.page
    told = ".fg-form [role=status] strong"
    assert book.text(told).startswith("Fits: ")
    bore = page.get_by_label("Bore of the clamp")
    drawn = page.locator(".fg-form svg.fg-svg desc").first.text_content()
    verdict = book.text(told)
    bore.fill("34.5")
    assert changes(book, told, verdict).startswith("Does not fit: ")
    # The drawing comes in a message of its own, after the verdict.
    book.until(
        "(drawn) => document.querySelector('.fg-form svg.fg-svg desc').textContent !== drawn",
        drawn,
    )
    book.button("Sizes as they are").click()
    book.until(
        "() => document.querySelector('.fg-form [role=status] strong').innerText"
        ".startsWith('Fits: ')"
    )
    bore.focus()
    before = bore.input_value()
    bore.press("ArrowRight")  # by keyboard
    assert float(bore.input_value()) > float(before)
    book.labelled("Example").select_option(label="Does not go: no slot to close the gap")
    book.until(
        "() => document.querySelector('.fg-form [role=status] strong').innerText"
        ".startsWith('Does not fit: ')"
    )


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_builds_are_counted_picked_and_handed_out(
    opened: Any, shop: Any, kind: str, tmp_path: Path
) -> None:
    book = opened(kind, BUILDS)
    page = book.page
    shown = ".fg-form .fg-count [role=status]"
    counts = (
        f"(n) => document.querySelector({shown!r})?.innerText.match(/([0-9,]+) build/)?.[1] === n"
    )
    first = shop.engine.count(Request(have=(FORK,))).number
    book.until(counts, f"{first:,}")
    # A slider moved by keyboard to its left end, then typed over.
    slider = page.get_by_label("Budget slider")
    slider.focus()
    before = book.text(shown)
    slider.press("Home")
    least = int(float(slider.input_value()))
    page.wait_for_function(
        "(least) => [...document.querySelectorAll('.fg-form input[type=text]')]"
        ".some(e => e.value.startsWith(least + ' '))",
        arg=least,
    )
    book.labelled("Budget").fill("300")
    expected = shop.engine.count(Request(have=(FORK,), budget=300_00))
    book.until(counts, f"{expected.number:,}")
    assert book.text(shown) != before
    # A dot of the front, clicked.
    book.until(
        "() => [...document.querySelectorAll('.fg-form [role=status]')]"
        ".some(e => e.innerText.includes('bettered by no other'))"
    )
    chart = page.locator(".fg-form .js-plotly-plot")
    chart.scroll_into_view_if_needed()
    dot = page.locator(".fg-form .scatterlayer .trace").nth(0).locator(".point").first
    click_dot(book, dot)
    page.wait_for_selector("th:has-text('Pick 1')")
    # Another from the list, by keyboard; then both side by side.
    front = shop.engine.front(Request(have=(FORK,), budget=300_00))
    prices = {shop.catalogue.vocabulary.money(build.price) for build in front}
    assert any(
        p in page.locator(".fg-form table:has(th:has-text('Pick 1'))").inner_text() for p in prices
    )
    builds = book.labelled("Builds")
    builds.focus()
    builds.press("End")
    picking = book.button("Pick this build")
    picking.focus()
    picking.press("Enter")
    page.wait_for_selector("th:has-text('Pick 2')")
    sheet = page.get_by_role("group", name="Build sheet")
    files = (
        ("as CSV", b"role,number"),
        ("Save as PDF", b"%PDF"),
        ("as a page", b"<!DOCTYPE html>"),
    )
    for name, begins in files:
        with page.expect_download() as saving:
            sheet.get_by_role("button", name=name).click()
        file = tmp_path / saving.value.suggested_filename
        saving.value.save_as(file)
        assert file.read_bytes().startswith(begins)
    rows = (tmp_path / "build-sheet.csv").read_text()
    assert FORK in rows and "yours" in rows
    with page.expect_download() as saving:
        page.get_by_role("link", name="Save this session").first.click()
    saving.value.save_as(tmp_path / "session.json")
    kept = json.loads((tmp_path / "session.json").read_text())
    assert kept["entries"]["budget"] == "300"
    assert len(kept["entries"]["picks"]) == 2
    # Emptied, and opened again from the file.
    book.button("Start afresh").click()
    book.until(
        "() => [...document.querySelectorAll('.fg-form input[type=text]')]"
        ".every(e => e.value !== '300')"
    )
    with page.expect_file_chooser() as choosing:
        book.button("Open a session").click()
    choosing.value.set_files(tmp_path / "session.json")
    book.until(
        "() => [...document.querySelectorAll('.fg-form input[type=text]')]"
        ".some(e => e.value === '300')"
    )
    book.until(counts, f"{expected.number:,}")
    # Nonsense is told in words.
    book.labelled("Budget").fill("cheap")
    page.wait_for_selector(".fg-form [role=alert]:has-text('is no amount of money')")
    book.labelled("Budget").fill("")
    page.wait_for_selector(".fg-form [role=alert]", state="detached")


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_a_change_is_applied_and_taken_back(opened: Any, shop: Any, kind: str) -> None:
    book = opened(kind, WHY)
    page = book.page
    answer = (
        f"() => (t => t.includes('{FORK}') && t.includes('{BAR}') && t)"
        "(document.querySelector('.fg-verdict p').innerText)"
    )
    assert "does not fit" in page.evaluate(answer)
    first = shop.explainer.why((FORK, BAR)).changes[0]
    button = book.button(shop.catalogue.vocabulary.money(first.price))
    button.focus()
    button.press("Enter")
    page.wait_for_selector(".fg-form p:has-text('Nothing has to change')")
    undo = book.button("Take the last change back")
    undo.click()
    page.wait_for_function(answer)
    book.until(f"() => ({answer})()?.includes('does not fit')")
    book.until(
        "() => [...document.querySelectorAll('.fg-form svg.fg-svg title')]"
        ".filter(t => t.textContent.includes('does not fit')).length >= 2"  # joints and section
    )


def test_a_session_travels_in_an_address(opened: Any, servers: Any, context: Any) -> None:
    book = opened(PAGES, WHY)
    book.labelled("Wheels").fill("WHL-MAR-02")
    book.labelled("Wheels").press("Tab")
    page = book.page
    page.wait_for_selector(".fg-form p:has-text('WHL-MAR-02')")
    link = page.get_by_role("link", name="Address of this session").get_attribute("href")
    again = Notebook(servers[PAGES], context, WHY, query=link.removeprefix("?"))
    assert again.labelled("Wheels").input_value().endswith("WHL-MAR-02")
    again.close()


def test_a_page_is_printed_whole(opened: Any) -> None:
    """On paper nothing is cut off at the right, and the answer begins below the introduction."""
    page = opened(PAGES, WHY).page
    page.set_viewport_size({"width": 1920, "height": 900})
    with pymupdf.open(stream=page.pdf(format="A4")) as printed:
        first = printed[0]
        assert "The parts" in first.get_text()
        right = max(word[2] for sheet in printed for word in sheet.get_text("words"))
        assert right <= first.rect.width
        # The first paragraph, which is as wide as the page lets it be, is there to its last word.
        assert "what to measure where nobody can tell" in " ".join(first.get_text().split())


@pytest.mark.parametrize("name", [LESSON, DESIGN, PRACTICE])
def test_nothing_of_a_page_is_cut_off_on_paper(opened: Any, name: str) -> None:
    """Sheet by sheet: no word and no line reaches into the margin, folded sections are open."""
    page = opened(PAGES, name).page
    page.set_viewport_size({"width": 1920, "height": 900})
    with pymupdf.open(stream=page.pdf(format="A4")) as printed:
        text = " ".join(" ".join(sheet.get_text() for sheet in printed).split())
        for sheet in printed:
            ends = [word[2] for word in sheet.get_text("words")]
            assert max(ends, default=0) <= sheet.rect.width, sheet.number
            picture = sheet.get_pixmap(dpi=72, colorspace=pymupdf.csGRAY)
            margin = [
                picture.pixel(x, y)[0]
                for x in range(picture.width - 12, picture.width)
                for y in range(picture.height)
            ]
            assert min(margin) > 250, sheet.number
    page.set_viewport_size({"width": WIDE[0], "height": WIDE[1]})
    for fold in page.locator(".fg-form .fg-fold>.jupyter-button").all_inner_texts():
        assert fold.strip("▸▾ ") in text
    assert "Start afresh" not in text and "Dark theme" not in text


def test_a_lessons_answer_stands_beside_the_question_and_is_saved(
    opened: Any, tmp_path: Path
) -> None:
    book = opened(PAGES, LESSON)
    page = book.page
    page.wait_for_selector(".fg-form svg.fg-svg")

    def box(selector: str) -> Any:
        return page.locator(selector).first.bounding_box()

    field, drawing = box(".fg-form input[type=text]"), box(".fg-form svg.fg-svg")
    assert drawing["x"] > field["x"] + field["width"] and drawing["y"] < 400
    # The verdict stays in view at the page's end.
    page.get_by_role("button", name="Start afresh").scroll_into_view_if_needed()
    verdict = box(".fg-form .fg-verdict")
    assert 0 <= verdict["y"] < 900
    # On a narrow window they stand under one another, and the page is no scroll without end.
    page.set_viewport_size({"width": 400, "height": 900})
    book.until("() => document.querySelector('.fg-form').offsetHeight < 2600")
    assert box(".fg-form svg.fg-svg:visible")["y"] > box(".fg-form input[type=range]")["y"]
    page.set_viewport_size({"width": WIDE[0], "height": WIDE[1]})
    for name, begins in (
        ("Save this answer (PDF)", b"%PDF"),
        ("as a page", b"<!DOCTYPE html>"),
    ):
        with page.expect_download() as saving:
            page.get_by_role("button", name=name).click()
        file = tmp_path / saving.value.suggested_filename
        saving.value.save_as(file)
        assert file.read_bytes().startswith(begins)


def test_a_question_stands_beside_its_section_and_its_answer_is_in_view(opened: Any) -> None:
    book = opened(PAGES, PRACTICE)
    page = book.page
    book.labelled("Name").fill("Sides")
    book.labelled("Name").press("Enter")
    page.wait_for_selector(".fg-form p:has-text('rounds finished')")
    book.button("Start a round").click()
    page.wait_for_selector(".fg-verdict:has-text('Question 1 of 5')")
    radio = page.get_by_role("radio").first
    radio.check()
    sizes = page.locator(".fg-form table").first.bounding_box()
    choice = radio.bounding_box()
    assert choice["x"] > sizes["x"] + sizes["width"] / 2 and choice["y"] < 400
    book.button("Answer").click()
    page.wait_for_selector(".fg-verdict:has-text('Question 1 of 5') strong")
    assert page.locator(".fg-verdict strong").bounding_box()["y"] < 400
    page.wait_for_selector(".fg-form svg.fg-svg")


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_arrow_keys_choose_a_level(opened: Any, kind: str) -> None:
    """In JupyterLab they would else walk through the notebook's cells."""
    book = opened(kind, PRACTICE)
    level = book.labelled("Level")
    level.focus()
    before = level.input_value()
    level.press("ArrowDown")
    assert level.input_value() != before
    level.press("ArrowUp")
    assert level.input_value() == before
    assert book.page.evaluate("document.activeElement.tagName") == "SELECT"


@pytest.mark.long
def test_practice_is_found_again_after_a_restart(
    opened: Any, servers: Any, context: Any, shop: Any, home: Path
) -> None:
    book = opened(PAGES, PRACTICE)
    page = book.page
    book.labelled("Name").fill("Quill")
    book.labelled("Name").press("Enter")
    page.wait_for_selector("text=0 rounds finished")
    book.button("Start a round").click()
    files = list(home.rglob("quill.json"))
    for at in range(5):
        page.wait_for_selector(f".fg-verdict:has-text('Question {at + 1} of 5')")
        if not files:
            files = list(home.rglob("quill.json"))
        kept = json.loads(files[0].read_text())["open"]
        right = question(shop, kept["topics"][at], kept["seed"] + at)
        choice = right.choices[right.right if at != 1 else right.right - 1]
        page.get_by_role("radio", name=choice, exact=True).check()
        book.button("Answer").click()
        page.wait_for_selector("text=Right." if at != 1 else "text=Not so.")
        if at == 2:  # in the middle of a round everything is closed, and opened again
            book.close()
            book = Notebook(servers[PAGES], context, PRACTICE)
            page = book.page
            book.labelled("Name").fill("Quill")
            book.labelled("Name").press("Enter")
            page.wait_for_selector("text=waits at question 4")
            book.button("Go on with the round").click()
        elif at < 4:
            book.button("Next question").click()
    page.wait_for_selector("text=The round is over: 4 of 5 right.")
    page.wait_for_selector(".fg-form svg.fg-svg")
    book.close()
    book = Notebook(servers[PAGES], context, PRACTICE)
    book.labelled("Name").fill("Quill")
    book.labelled("Name").press("Enter")
    book.page.wait_for_selector("text=1 round finished")
    book.button("For the trainer").click()
    book.button("Show the summary").click()
    book.page.wait_for_selector("td:has-text('4 of 5 (80%)')")
    book.close()
