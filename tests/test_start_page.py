"""The start page without a browser: what is open, how it is, and how another is opened."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import pytest

from fitgraph.catalogue import shipped_folder
from fitgraph.cli.notebooks import OPENED, START, server_command
from fitgraph.draw.doors import _DRAWN, door_svg
from fitgraph.lab import Start, open_catalogue
from fitgraph.lab.chosen import VARIABLE, choose, chosen_folder
from fitgraph.lab.leads import PAGES
from fitgraph.lab.start import DOORS, doors

HOSES = Path(__file__).parents[1] / "data" / "hoses"


def notebooks() -> list[Path]:
    return sorted(shipped_folder("notebooks").glob("*.ipynb"))


def test_the_page_tells_what_check_finds_in_one_line_and_opens_the_rest() -> None:
    opened = open_catalogue()
    page = Start(opened)
    health = unescape(re.sub(r"<[^>]+>", "", page.health.value))  # figures stand unbroken
    assert opened.shop.check().report().headline in health
    for finding in opened.findings:
        assert str(finding) in health


def test_another_folder_is_for_all_pages_of_a_server(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "opened"))
    assert VARIABLE == OPENED  # the command and the pages name the same file
    page = Start(open_catalogue())
    page.folder.value = str(tmp_path / "nothing <b>there</b>")
    page.take()
    assert "nothing &lt;b&gt;there" in page.message.value and 'role="alert"' in page.message.value
    assert chosen_folder() is None
    page.folder.value = str(HOSES)
    page.take()
    assert chosen_folder() == HOSES
    assert open_catalogue().catalogue.name == open_catalogue(HOSES).catalogue.name
    assert "hoses" in page.health.value
    page.folder.value = ""
    page.take()
    assert chosen_folder() is None and "demo" in page.health.value


def test_a_name_that_no_folder_can_have_is_told_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """As where a server has a catalogue ready, and looks whether it is still the same."""
    shop = open_catalogue(demo=True)
    monkeypatch.setattr("fitgraph.lab.opened._ready", [(None, ()), shop])
    page = Start(shop)
    page.folder.value = "my\0shop"
    page.take()
    assert "is no folder" in unescape(page.message.value)
    assert page.opened is shop


def test_without_a_server_of_pages_nothing_is_chosen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(VARIABLE, raising=False)
    assert not choose(HOSES) and chosen_folder() is None
    page = Start(open_catalogue())
    page.folder.value = str(HOSES)
    page.take()
    assert "open_catalogue(...)" in page.message.value


def test_doors_have_pictures_and_lead_to_notebooks_that_are_there() -> None:
    names = {path.name for path in notebooks()}
    assert {door.name for door in DOORS} == set(_DRAWN)
    assert set(PAGES.values()) == names
    for door in DOORS:
        assert {PAGES[p] for p in (door.page, *(page for _, page in door.more))} <= names
        assert door_svg(door.name) in doors()
        assert len(ElementTree.fromstring(door_svg(door.name))) >= 3


def test_every_page_has_a_way_to_every_other() -> None:
    names = {path.name for path in notebooks()}
    for path in notebooks():
        ways = json.loads(path.read_text(encoding="utf-8"))["cells"][0]
        assert ways["metadata"]["tags"] == ["ways"]
        told = "".join(ways["source"])
        linked = {other for other in names if f"]({other})" in told}
        assert linked == names - {path.name}
        assert told.count("**") == 2


def test_jupyterlab_opens_the_start_page_first() -> None:
    folder = shipped_folder("notebooks")
    command = server_command(folder, pages=False, port=None, browser=False, root=False)
    assert f"--LabApp.default_url=/lab/tree/{START}" in command and (folder / START).exists()


def test_a_wish_to_end_is_passed_on_to_the_server() -> None:
    """SIGTERM to the command ends what it started, and the command itself says nothing of it."""
    server = "import time; print('up', flush=True); time.sleep(600)"
    code = (
        "import sys; from fitgraph.cli.notebooks import _serve; "
        f"print(_serve([sys.executable, '-c', {server!r}], {{}}))"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as own:
        assert own.stdout is not None
        assert own.stdout.readline() == "up\n"
        own.send_signal(signal.SIGTERM)
        assert own.stdout.readline() == f"{-signal.SIGTERM}\n"
        assert own.wait(60) == 0
