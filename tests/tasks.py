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
        return done + desk.sees(".fg-verdict:has-text('fit and are lighter')")

    def other_wish() -> int:
        return desk.press("What it is to be", "stronger") + desk.sees(
            ".fg-verdict:has-text('are stronger'), .fg-verdict:has-text('none is what')"
        )

    def why_not() -> int:
        desk.page.get_by_role("button", name="Why not the others").click()
        desk.page.locator("summary:has-text('do not fit what is kept')").click()
        desk.page.locator("details[open] a").first.click()
        return 3 + desk.sees(".fg-form p:has-text('does not fit')")

    def named() -> int:
        return desk.fill("Wheels", "WHL-MAR-02") + desk.sees(".fg-form p:has-text('WHL-MAR-02')")

    return [
        ("all", "first words of the counter", lambda: desk.go(counter, "h1")),
        ("all", "the counter, ready", lambda: desk.go(counter, ".fg-choices[aria-label] button")),
        ("new staff", "this scooter, new bars, lighter, under 150", scooter),
        ("new staff", "the same, stronger", other_wish),
        ("new staff", "why one of the others does not fit", why_not),
        ("new staff", "one more part named, and why", named),
        ("all", "first words of why not", lambda: desk.go(why, "h1")),
        ("all", "why not, with its first answer", lambda: desk.go(why, ".fg-form li")),
        ("analyst", "who cannot be served", lambda: desk.go("04-gaps-in-stock.ipynb", ".fg-cells")),
        ("designer", "what to make", lambda: desk.go("05-next-adapter.ipynb", ".fg-form .point")),
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
                actions = do()
                taken = time.monotonic() - begun
                print(f"| {who} | {what} | {actions} | {taken:.1f} |", flush=True)
    finally:
        server.stop()


if __name__ == "__main__":
    main()
