"""One browser, one JupyterLab and one server of pages for all tests in a browser."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from .harness import (
    LAB,
    PAGES,
    WIDE,
    Server,
    Watch,
    browser_open,
    chromium,
    copy_of_notebooks,
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    if chromium() is not None:
        return
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(
                pytest.mark.skip(reason="Chromium is not installed (apt-get install chromium)")
            )


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    with browser_open() as opened:
        yield opened


@pytest.fixture(scope="session")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("home")


@pytest.fixture(scope="session")
def servers(home: Path) -> Iterator[dict[str, Server]]:
    folder = copy_of_notebooks(home / "notebooks")
    started: dict[str, Server] = {}
    try:
        for kind in (LAB, PAGES):
            started[kind] = Server(kind, folder, home)
        yield started
    finally:
        for server in started.values():
            server.stop()


@pytest.fixture(scope="session")
def context(browser: Any) -> Iterator[Any]:
    opened = browser.new_context(
        viewport={"width": WIDE[0], "height": WIDE[1]}, accept_downloads=True
    )
    opened.watch = Watch(opened)
    yield opened
    opened.close()
