"""A page whose kernel or server is gone says so within three seconds, and greys its answers."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest

from fitgraph.catalogue import shipped_folder

from .harness import LAB, PAGES, Notebook, Server, copy_of_notebooks

START, WHY = "00-start.ipynb", "03-why-not.ipynb"

#: What is asked about, by the labels of its fields, and where that is told.
PARTS = (("Hose", "HOSE-02"), ("Hose clip", "CLIP-05"))
ANSWER = ".fg-form p:has-text('HOSE-02'):has-text('CLIP-05')"

#: How long a page may show an old answer as if it were today's [s].
MOST_S = 3.0


@pytest.fixture
def own(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """Return what starts a server of one's own, to be killed, and a context beside it.

    Its catalogue is a small one: what its pages ask first is soon answered.
    """
    (tmp_path / "opened").write_text(str(shipped_folder("data") / "hoses"), encoding="utf-8")
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    started: list[Server] = []

    def start(kind: str, cell: str = "") -> tuple[Server, Any]:
        folder = copy_of_notebooks(tmp_path / "notebooks")
        if cell:
            book = nbformat.read(folder / WHY, 4)
            book.cells.append(nbformat.v4.new_code_cell(cell))
            nbformat.write(book, folder / WHY)
        started.append(Server(kind, folder, tmp_path))
        return started[-1], context

    yield start
    context.close()
    for server in started:
        server.stop()


def kernels(server: Server) -> list[int]:
    """Return the processes of a server's kernels, from the system's own table.

    Each leads a session of its own; the process that they are forked from is the server's.
    """
    found: dict[int, tuple[bytes, int, int]] = {}
    for entry in Path("/proc").iterdir():
        try:
            command = (entry / "cmdline").read_bytes()
            _, parent, _, session, *_ = (entry / "stat").read_text().rpartition(")")[2].split()
            found[int(entry.name)] = (command, int(parent), int(session))
        except (OSError, ValueError, IndexError):
            continue
    first = [p for p, (c, up, _) in found.items() if b"lab.warm" in c and up == server.process_id]
    # One that has made more ready answers in the place of the first, in its session.
    warm = [p for p, (_, _, session) in found.items() if session in first]
    return [p for p, (_, up, session) in found.items() if up in warm and session == p]


def told(book: Notebook, what: str) -> float:
    """Return after how long the banner stands there [s]."""
    begun = time.monotonic()
    book.page.wait_for_selector(f".fg-banner[data-what={what}]")
    after = time.monotonic() - begun
    assert "what is shown may be out of date" in book.text(".fg-banner[role=alert]")
    assert book.page.locator(".fg-form.fg-stale").count() == 1
    assert book.page.evaluate("[...document.querySelector('.fg-form').children].every(e=>e.inert)")
    return after


def answered(book: Notebook) -> None:
    """Name two parts, and wait until they are answered."""
    for label, sku in PARTS:
        book.labelled(label).fill(sku)
        book.labelled(label).press("Tab")
    book.page.wait_for_selector(ANSWER)


def test_a_page_tells_when_its_kernel_or_its_server_is_killed(own: Any) -> None:
    server, context = own(PAGES)
    book = Notebook(server, context, WHY)
    page = book.page
    answered(book)
    assert page.locator(".fg-banner").count() == 0
    (kernel,) = kernels(server)
    os.kill(kernel, signal.SIGKILL)
    assert told(book, "kernel") <= MOST_S
    # What was entered is still there once the page is loaded again.
    book.button("Load the page again").click()
    page.wait_for_selector(".fg-banner", state="detached")
    page.wait_for_selector(ANSWER)
    assert page.locator(".fg-form.fg-stale").count() == 0
    server.stop()
    assert told(book, "server") <= MOST_S


#: A cell that keeps the kernel busy, as a long question does, once a file is there.
_BUSY = """
import asyncio, pathlib, time
async def busy(file, seconds):
    while not file.exists():
        await asyncio.sleep(0.1)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        sorted(range(10**6))
    file.unlink()
asyncio.get_running_loop().create_task(busy(pathlib.Path({file!r}), {seconds}));
"""


def hanging(book: Notebook, server: Any, kernel: int) -> Iterator[None]:
    """Let a server hang, then a kernel; yield once it goes on and its banner went."""
    for process, what in ((server.process_id, "server"), (kernel, "hung")):
        os.kill(process, signal.SIGSTOP)
        try:
            assert told(book, what) <= MOST_S
        finally:
            os.kill(process, signal.SIGCONT)
        book.page.wait_for_selector(".fg-banner", state="detached")
        yield


def test_a_page_tells_that_its_kernel_or_its_server_hangs_and_not_that_it_computes(
    own: Any, tmp_path: Path
) -> None:
    busy = tmp_path / "busy"
    server, context = own(PAGES, _BUSY.format(file=str(busy), seconds=2 * MOST_S))
    book = Notebook(server, context, WHY)
    page = book.page
    (kernel,) = kernels(server)
    for _ in hanging(book, server, kernel):
        assert page.locator(".fg-form.fg-stale").count() == 0
        assert page.evaluate("![...document.querySelector('.fg-form').children].some(e=>e.inert)")
    page.evaluate(
        "() => { window.banners = 0; new MutationObserver(() => {"
        " window.banners += document.querySelectorAll('.fg-banner').length;"
        " }).observe(document.body, {childList: true}); }"
    )
    busy.touch()
    while busy.exists():
        page.wait_for_timeout(100)
    assert page.evaluate("window.banners") == 0
    # What was typed meanwhile is answered.
    answered(book)


def test_a_page_that_goes_closes_its_kernel(servers: Any, context: Any) -> None:
    server = servers[PAGES]
    before = set(kernels(server))
    book = Notebook(server, context, START)
    (own,) = set(kernels(server)) - before
    book.until("() => /_xsrf=/.test(document.cookie)")
    context.watch.closing.append(book.page)
    book.page.goto("about:blank")
    end = time.monotonic() + 60
    while own in kernels(server) and time.monotonic() < end:
        time.sleep(0.2)
    assert own not in kernels(server)
    book.page.close()


@pytest.mark.long
def test_a_notebook_tells_when_its_kernel_is_killed(own: Any) -> None:
    server, context = own(LAB)
    book = Notebook(server, context, WHY)
    answered(book)
    (kernel,) = kernels(server)
    for _ in hanging(book, server, kernel):
        pass
    os.kill(kernel, signal.SIGKILL)
    assert told(book, "kernel") <= MOST_S
