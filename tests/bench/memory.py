"""Memory of each page's kernel: ``python -m tests.bench.memory``.

Opens each page of the notebooks in a browser, one at a time, and uses it ten times. Prints a row
a page: the kernel's share of memory (PSS, proc(5)) and what it alone holds, after the first
answer and after the last use, in MB. Linux only.
"""

from __future__ import annotations

import argparse
import re
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from playwright.sync_api import Error as PlaywrightError

from tests.browser.harness import (
    PAGES,
    Notebook,
    Server,
    Watch,
    browser_open,
    click_dot,
    copy_of_notebooks,
    notebook_names,
)

#: How long the server is up before the first page: what pages ask first is asked by then [s].
_SETTLE_S = 60.0

#: How long a page has to say the same until it is at rest, and how long is waited for that [s].
_REST_S, _MOST_S = 3.0, 60.0

#: How often a page is used.
_USES = 10

#: Longest wait for what is pressed [ms].
_PRESS_MS = 20_000

#: A use of a page: the notebook and which time it is.
Use = Callable[[Notebook, int], None]


def _children(process: int) -> list[int]:
    """Return the processes that came of one, and of those, and so on."""
    found = []
    for task in Path(f"/proc/{process}/task").iterdir():
        for child in map(int, (task / "children").read_text().split()):
            found += [child, *_children(child)]
    return found


def _kernels(server: Server) -> list[int]:
    """Return the kernels of a server: they lead a group of their own, and came of the source."""
    found = []
    for child in _children(server.process_id):
        with suppress(FileNotFoundError, ProcessLookupError):  # it may have ended since
            named = Path(f"/proc/{child}/cmdline").read_bytes()
            ours = b"fitgraph.lab.warm" in named and _parent(child) != server.process_id
            if ours and _leads(child):
                found.append(child)
    return found


def _parent(process: int) -> int:
    return int(Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[1])


def _leads(process: int) -> bool:
    return int(Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[2]) == process


def weight(process: int) -> dict[str, float]:
    """Return a process's memory in MB, as the system's roll-up names it."""
    text = Path(f"/proc/{process}/smaps_rollup").read_text()
    return {name: int(kb) / 1000 for name, kb in re.findall(r"(\w+): +(\d+) kB", text)}


def _at_rest(book: Notebook) -> None:
    """Wait until what a page says has been the same for a while."""
    end, since, before = time.monotonic() + _MOST_S, time.monotonic(), ""
    while time.monotonic() < end and time.monotonic() - since < _REST_S:
        now = book.page.inner_text("body")
        if now != before:
            since, before = time.monotonic(), now
        book.page.wait_for_timeout(200)


def _fill(label: str, texts: tuple[str, ...]) -> Use:
    def use(book: Notebook, time_: int) -> None:
        field = book.page.get_by_label(label, exact=True).first
        field.fill(texts[time_ % len(texts)], timeout=_PRESS_MS)
        field.press("Enter")

    return use


def _press(selector: str) -> Use:
    """Press one after the other of what there is."""

    def use(book: Notebook, time_: int) -> None:
        found = book.page.locator(f"{selector} >> visible=true")
        found.nth(time_ % max(found.count(), 1)).click(timeout=_PRESS_MS)

    return use


def _pick(book: Notebook, time_: int) -> None:
    """Press one dot of a chart after the other."""
    click_dot(book, book.page.locator(".fg-form .point >> visible=true").nth(time_))


def _select(label: str) -> Use:
    """Choose one after the other of what a list offers."""

    def use(book: Notebook, time_: int) -> None:
        field = book.page.get_by_label(label, exact=True).first
        options = field.locator("option").count()
        field.select_option(index=time_ % options, timeout=_PRESS_MS)

    return use


def _practise(book: Notebook, time_: int) -> None:
    """Answer a question, of a new round where none is open."""
    page = book.page
    if not time_:
        _fill("Name", ("Quill",))(book, 0)
        page.wait_for_selector("text=rounds finished")
    for name in ("Next question", "Start a round"):
        button = page.get_by_role("button", name=name)
        if button.count() and button.first.is_enabled() and button.first.is_visible():
            button.first.click(timeout=_PRESS_MS)
            break
    page.get_by_role("radio").first.check(timeout=_PRESS_MS)
    page.get_by_role("button", name="Answer").click(timeout=_PRESS_MS)


def _hand_over(book: Notebook, time_: int) -> None:
    """Hand over a list of a thousand parts."""
    rows = (f"A-{n};Raw bar 34,{n % 10} OD;0,95;{time_ + n},90 EUR" for n in range(1000))
    text = "\n".join(["Item no;Title;Weight;Price", *rows])
    with book.page.expect_file_chooser() as choosing:
        book.button("Choose a file").click(timeout=_PRESS_MS)
    file = {"name": f"list{time_}.csv", "mimeType": "text/csv", "buffer": text.encode()}
    choosing.value.set_files(file)  # type: ignore[arg-type]


#: How each page is used, by what its file's name holds.
_USED: dict[str, Use] = {
    "start": _press(".fg-form button:not([disabled])"),
    "how-fitment": _select("Example"),
    "what-can": _fill("Budget", tuple(str(150 + 25 * n) for n in range(_USES))),
    "why-not": _fill("Bar", tuple(f"BAR-MAR-{n:02}" for n in range(1, _USES + 1))),
    "gaps": _press(".fg-cells button"),
    "next-adapter": _pick,
    "practice": _practise,
    "map": _press("[data-node^='interface']"),
    "counter": _fill("Budget", tuple(str(100 + 10 * n) for n in range(_USES))),
    "your-data": _hand_over,
}


def _row(name: str, server: Server, context: Any, uses: int) -> str:
    before = set(_kernels(server))
    book = Notebook(server, context, name)
    try:
        _at_rest(book)
        (kernel,) = set(_kernels(server)) - before
        first = weight(kernel)
        use = next(u for part, u in _USED.items() if part in name)
        done = 0
        for n in range(uses):
            try:
                use(book, n)
                done += 1
            except PlaywrightError as error:
                print("  not done:", str(error).splitlines()[0])
            _at_rest(book)
        last = weight(kernel)
    finally:
        # As somebody who goes on to another page: the kernel that was left ends.
        book.page.goto("about:blank")
        book.close()
    own = "Private_Dirty"
    return (
        f"| {name} | {first['Pss']:.0f} | {first[own]:.0f} | {last['Pss']:.0f} | "
        f"{last[own]:.0f} | {done} |"
    )


def main() -> None:
    """Weigh the pages and print a row for each."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.memory", description=__doc__)
    parser.add_argument("names", nargs="*", help="parts of notebooks' names; all by default")
    parser.add_argument("--uses", type=int, default=_USES)
    parser.add_argument("--settle", type=float, default=_SETTLE_S, help="seconds before the first")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as where:
        home = Path(where)
        server = Server(PAGES, copy_of_notebooks(home / "notebooks"), home)
        try:
            with browser_open() as browser:
                time.sleep(given.settle)
                print("| page | first: PSS | own | after uses: PSS | own | uses |", flush=True)
                for name in notebook_names():
                    if given.names and not any(part in name for part in given.names):
                        continue
                    context = browser.new_context(viewport={"width": 1280, "height": 900})
                    context.watch = Watch(context)  # type: ignore[attr-defined]
                    print(_row(name, server, context, given.uses), flush=True)
                    context.close()
                    end = time.monotonic() + 15
                    while _kernels(server) and time.monotonic() < end:
                        time.sleep(0.3)
        finally:
            server.stop()


if __name__ == "__main__":
    main()
