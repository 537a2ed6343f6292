"""One browser, one JupyterLab and one server of pages for all tests in a browser."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fitgraph.catalogue import demo_folder
from fitgraph.lab import OpenCatalogue, open_catalogue

from .harness import (
    DARK,
    LIGHT,
    PAGES,
    WIDE,
    Notebook,
    Server,
    Watch,
    browser_open,
    copy_of_notebooks,
    notebook_names,
)


class Servers(dict[str, Server]):
    """The servers, each started when a test first asks for it."""

    def __init__(self, folder: Path, home: Path) -> None:
        self.folder, self.home = folder, home

    def __missing__(self, kind: str) -> Server:
        self[kind] = Server(kind, self.folder, self.home)
        return self[kind]


@pytest.fixture(scope="package")
def browser() -> Iterator[Any]:
    with browser_open() as opened:
        yield opened


@pytest.fixture(scope="package")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("home")


@pytest.fixture(scope="package")
def few(home: Path) -> Path:
    """Return the folder that the pages are about: the demo with a third of its enquiries.

    Each enquiry is weighed with every part that could be made or ordered, here and in a kernel.
    """
    folder = home / "demo"
    shutil.copytree(demo_folder(), folder)
    head, *rows = (folder / "enquiries.csv").read_text(encoding="utf-8").splitlines()
    (folder / "enquiries.csv").write_text("\n".join([head, *rows[::3], ""]), encoding="utf-8")
    return folder


@pytest.fixture(scope="package")
def servers(home: Path, few: Path) -> Iterator[dict[str, Server]]:
    (home / "opened").write_text(str(few), encoding="utf-8")
    started = Servers(copy_of_notebooks(home / "notebooks"), home)
    try:
        yield started
    finally:
        for server in started.values():
            server.stop()


@pytest.fixture(scope="package")
def context(browser: Any) -> Iterator[Any]:
    """Return where pages open; at its end no page went wrong, and none asked outside."""
    opened = browser.new_context(
        viewport={"width": WIDE[0], "height": WIDE[1]}, accept_downloads=True
    )
    watch = opened.watch = Watch(opened)
    yield opened
    errors, outside = list(watch.errors), list(watch.outside)  # closing is no fault of a page
    opened.close()
    assert errors == []
    assert outside == []
    assert watch.seen > 0


@pytest.fixture(scope="package")
def shop(few: Path) -> OpenCatalogue:
    return open_catalogue(few)


@pytest.fixture(scope="package")
def opened(servers: dict[str, Server], context: Any) -> Iterator[Any]:
    """Return what opens a notebook, once for all tests."""
    books: dict[tuple[str, str], Notebook] = {}

    def get(kind: str, name: str) -> Notebook:
        if (kind, name) not in books:
            # Pages take turns at the themes; in JupyterLab the theme is changed while open.
            dark = kind == PAGES and notebook_names().index(name) % 2
            books[kind, name] = Notebook(servers[kind], context, name, DARK if dark else LIGHT)
        books[kind, name].page.bring_to_front()
        return books[kind, name]

    yield get
