"""Tasks of the three users, done in a browser and measured: ``python -m tests.tasks``.

Prints a row a task: how many presses and entries it takes, and how many seconds from the first of
them (or from the address, where a page is opened) to the answer. Seconds are this machine's.
"""

from __future__ import annotations

import os
import re
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import TimeoutError as PlaywrightTimeoutError

from tests.browser.harness import (
    PAGES,
    PATIENCE_MS,
    Server,
    browser_open,
    copy_of_notebooks,
)

#: A task: who does it, what it is, and what does it; it returns how many actions it took.
Task = tuple[str, str, Callable[[], int]]


class Desk:
    """A browser at a server of pages, in which tasks are done one after the other."""

    def __init__(self, server: Server, context: Any) -> None:
        self.server, self.context = server, context
        self.page = context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)

    def go(self, name: str, sees: str) -> int:
        """Open a page and wait for something in it."""
        address = f"{self.server.root}/voila/render/{name}?token={self.server.token}"
        self.page.goto(address, wait_until="commit")
        self.page.wait_for_selector(sees)
        return 1

    def press(self, group: str, name: str) -> int:
        """Press one of the counter's choices."""
        within = self.page.get_by_role("group", name=re.compile(group))
        within.get_by_role("button", name=re.compile(re.escape(name))).first.click()
        return 1

    def fill(self, label: str, text: str) -> int:
        """Enter a text."""
        self.page.get_by_label(label, exact=True).first.fill(text)
        return 1

    def sees(self, selector: str) -> int:
        """Wait for something; that is no action."""
        self.page.wait_for_selector(selector)
        return 0

    def owns(self, sku: str) -> int:
        """Find a part at the counter and take it."""
        taken = f".fg-choices[aria-label^='What they have'] [data-name='{sku}']"
        return self.fill("Search", sku) + self.press("Parts found", sku) + self.sees(taken)


def tasks(desk: Desk) -> list[Task]:
    """Return the tasks, in an order in which each finds what the one before left."""
    counter, why = "08-the-counter.ipynb", "03-why-not.ipynb"

    def scooter() -> int:
        done = sum(map(desk.owns, ("FORK-OST-03", "CLMP-SKE-02", "BAR-VEN-04")))
        done += desk.press("another of", "bar") + desk.press("What it is to be", "lighter")
        done += desk.fill("Budget", "150")
        return done + desk.sees(".fg-verdict:has-text('lighter bars')")

    def other_wish() -> int:
        return desk.press("What it is to be", "stronger") + desk.sees(
            ".fg-verdict:has-text('stronger bar'), .fg-verdict:has-text('none is what')"
        )

    def why_not() -> int:
        done = desk.press("Parts that fit", " for ")
        desk.page.get_by_role("link", name="why not with all they have").click()
        return 1 + done + desk.sees(".fg-form p:has-text('does not fit')")

    def named() -> int:
        return desk.fill("Wheels", "WHL-MAR-02") + desk.sees(".fg-form p:has-text('WHL-MAR-02')")

    def from_shelf() -> int:
        before = desk.page.locator(".fg-verdict").first.inner_text()
        done = desk.press("What it is to be", "from the shelf")
        desk.page.wait_for_function(
            "(before) => { const now = document.querySelector('.fg-verdict').innerText;"
            " return now !== before && !now.includes('Looking'); }",
            arg=before,
        )
        return done

    def applied() -> int:
        change = ".fg-choices[aria-label^='Changes'] button:not([disabled])"
        desk.sees(change)
        desk.page.locator(change).first.click()
        return 1 + desk.sees(".fg-form p:has-text('Nothing has to change')")

    def taken_back() -> int:
        desk.page.get_by_role("button", name="Take the last change back").click()
        return 1 + desk.sees(".fg-form p:has-text('does not fit')")

    def card() -> int:
        desk.page.locator(".fg-sku").first.click()
        done = 1 + desk.sees(".fg-card[open] h3:has-text('Joints')")
        desk.page.keyboard.press("Escape")
        return done

    def fillings() -> int:
        desk.page.locator(".fg-choices[aria-label^='Ways'] button").nth(1).click()
        return 1 + desk.sees(".fg-form table:has(th:has-text('strength'))")

    def budget() -> int:
        before = desk.page.locator(".fg-count strong").first.inner_text()
        done = desk.fill("Budget", "300")
        desk.page.wait_for_function(
            "(before) => document.querySelector('.fg-count strong').innerText !== before",
            arg=before,
        )
        return done

    def sort() -> int:
        desk.page.locator("th:has-text('does not fit') .fg-sort").first.click()
        return 1 + desk.sees("th[aria-sort=ascending]:has-text('does not fit')")

    def sift() -> int:
        desk.page.locator(".fg-filter input").first.fill("wheel")
        return 1 + desk.sees(".fg-filter [role=status]:has-text('of')")

    def lost() -> int:
        desk.page.locator(".fg-cells button").first.click()
        return 1 + desk.sees("th:has-text('What it lacks'), caption:has-text('enquiries')")

    def round_() -> int:
        done = desk.go("06-staff-practice.ipynb", ".fg-form:not(.fg-waiting) input")
        done += desk.fill("Name", "Quill")
        desk.page.keyboard.press("Enter")
        desk.sees("text=rounds finished")
        desk.page.get_by_role("button", name="Start a round").click()
        desk.sees(".fg-verdict:has-text('Question 1 of 5')")
        desk.page.get_by_role("radio").first.check()
        desk.page.get_by_role("button", name="Answer").click()
        return done + 4 + desk.sees("button:has-text('Next question'):not([disabled])")

    def unfolded() -> int:
        desk.page.locator("[data-node^='interface']").first.click()
        return 1 + desk.sees("[data-part]")

    ways = ".fg-choices[aria-label^='Ways'] button"
    return [
        (
            "all",
            "the start page, with the catalogue's health",
            lambda: desk.go("00-start.ipynb", ".fg-form [role=status]"),
        ),
        ("all", "first words of the counter", lambda: desk.go(counter, "h1")),
        ("all", "the counter, ready", lambda: desk.go(counter, ".fg-choices[aria-label] button")),
        ("new staff", "this scooter, new bars, lighter, under 150", scooter),
        ("new staff", "the same, stronger", other_wish),
        ("new staff", "the same, from the shelf only", from_shelf),
        ("new staff", "why one of the others does not fit", why_not),
        ("new staff", "one more part named, and why", named),
        ("all", "first words of why not", lambda: desk.go(why, "h1")),
        (
            "all",
            "why not, with its first answer",
            lambda: desk.go(why, ":is(.fg-early, .fg-form) li"),
        ),
        ("new staff", "a change made that mends it", applied),
        ("new staff", "and taken back", taken_back),
        ("all", "a part's sizes, joints and stock", card),
        (
            "new staff",
            "what can be built with a fork: the ways",
            lambda: desk.go("02-what-can-i-build.ipynb", ways),
        ),
        ("new staff", "the fillings of a way", fillings),
        ("analyst", "which role fails most: a table sorted", sort),
        ("analyst", "rows with a word", sift),
        ("new staff", "how many builds under 300", budget),
        ("analyst", "who cannot be served", lambda: desk.go("04-gaps-in-stock.ipynb", ".fg-cells")),
        ("analyst", "who is lost in one cell, and why", lost),
        ("designer", "what to make", lambda: desk.go("05-next-adapter.ipynb", ".fg-form .point")),
        ("new staff", "a first question of a round, answered", round_),
        (
            "designer",
            "the map of fits",
            lambda: desk.go("07-the-map-of-fits.ipynb", "[data-node^='interface']"),
        ),
        ("designer", "the parts of a size", unfolded),
    ]


def main() -> None:
    """Do all tasks and print them."""
    home = Path(tempfile.mkdtemp())
    server = Server(PAGES, copy_of_notebooks(home / "notebooks"), home)
    try:
        with browser_open() as browser:
            desk = Desk(server, browser.new_context(viewport={"width": 1280, "height": 900}))
            print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
            for who, what, do in tasks(desk):
                begun = time.monotonic()
                try:
                    actions = do()
                except PlaywrightTimeoutError as error:  # told, and on to the next
                    print(f"| {who} | {what} | failed: {str(error).splitlines()[0]} |", flush=True)
                    continue
                taken = time.monotonic() - begun
                print(f"| {who} | {what} | {actions} | {taken:.1f} |", flush=True)
    finally:
        server.stop()


if __name__ == "__main__":
    main()
