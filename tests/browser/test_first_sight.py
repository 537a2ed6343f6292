"""What is pressed or typed the moment it can be seen is not lost, whatever is still on its way."""

from __future__ import annotations

from typing import Any

import pytest

from .harness import LAB, PAGES, Notebook

WHY, COUNTER = "03-why-not.ipynb", "08-the-counter.ipynb"

#: Notes in the page when a button of a change is first painted, and presses it in that moment.
_PRESS_AT_SIGHT = """
() => new Promise((done) => {
  const look = () => {
    const button = document.querySelector(
      ".fg-choices[aria-label^='Changes'] button:not([disabled])");
    const shut = !button || button.closest("[inert]") ||
      getComputedStyle(button).pointerEvents === "none";
    if (shut) return requestAnimationFrame(look);
    button.click();
    done(button.innerText);
  };
  look();
})
"""

#: Puts the focus into the counter's search, if that is there and takes it.
_FOCUS_AT_SIGHT = """
() => {
  const field = document.querySelector(".fg-form input[placeholder^='number, name']");
  field?.focus();
  return field && document.activeElement === field;
}
"""


def pressed(book: Notebook, times: int) -> int:
    """Press a change as soon as it is there, take it back, and so on; return how many answered."""
    page, answered = book.page, 0
    for _ in range(times):
        page.evaluate(_PRESS_AT_SIGHT)
        page.wait_for_selector(".fg-form p:has-text('Nothing has to change')")
        undo = page.get_by_role("button", name="Take the last change back")
        undo.click()
        page.wait_for_selector(".fg-form p:has-text('does not fit')")
        answered += 1
    return answered


def test_presses_at_first_sight_are_answered(servers: Any, context: Any) -> None:
    book = Notebook(servers[PAGES], context, WHY, at_sight=True)
    try:
        assert pressed(book, 3) == 3
        # Nothing new is made for a new answer, so a long day does not fill the page.
        count = "async () => Object.keys(document.querySelectorAll('.jupyter-widgets')).length"
        before = book.page.evaluate(count)
        assert pressed(book, 1) == 1
        assert book.page.evaluate(count) == before
        assert book.page.locator(".fg-form [inert]").count() == 0
    finally:
        book.close()


def typed(book: Notebook, text: str) -> None:
    """Type into the search as soon as it takes the focus, at the pace of a quick typist."""
    book.page.wait_for_function(_FOCUS_AT_SIGHT, polling="raf")
    book.page.keyboard.type(text, delay=60)


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_no_letter_typed_at_first_sight_is_lost(servers: Any, context: Any, kind: str) -> None:
    book = Notebook(servers[kind], context, COUNTER, at_sight=True)
    try:
        typed(book, "fork-ost-03")
        book.page.wait_for_selector(".fg-choices[aria-label^='Parts found'] button")
        assert book.labelled("Search").input_value() == "fork-ost-03"
        assert book.page.evaluate("document.activeElement.labels[0].innerText") == "Search"
    finally:
        book.close()


@pytest.mark.long
@pytest.mark.parametrize("kind", [PAGES, LAB])
def test_fifty_presses_at_first_sight_are_answered(servers: Any, context: Any, kind: str) -> None:
    answered = 0
    for _ in range(5):
        book = Notebook(servers[kind], context, WHY, at_sight=True)
        answered += pressed(book, 5)
        book.close()
    assert answered == 25


@pytest.mark.long
def test_a_hundred_changes_leave_a_page_as_large_as_it_was(servers: Any, context: Any) -> None:
    """Fifty applied and fifty taken back; what the page holds is counted."""
    elements = "() => document.querySelectorAll('*').length"
    kept = "() => document.querySelectorAll('.jupyter-widgets').length"
    book = Notebook(servers[PAGES], context, WHY, at_sight=True)
    try:
        assert pressed(book, 2) == 2
        before = [book.page.evaluate(count) for count in (elements, kept)]
        assert pressed(book, 48) == 48
        after = [book.page.evaluate(count) for count in (elements, kept)]
        assert after == before
    finally:
        book.close()


def test_widgets_have_time_to_begin_on_a_busy_computer(opened: Any) -> None:
    """anywidget would give up after two seconds, and the page stay shut for good."""
    aborted = (
        "() => new Promise((done) => { const signal = AbortSignal.timeout(1);"
        " setTimeout(() => done(signal.aborted), 500); })"
    )
    assert opened(PAGES, COUNTER).page.evaluate(aborted) is False
