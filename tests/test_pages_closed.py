"""Pages answer this computer only, behind a token, and their visitor cannot run anything.

The messages are those of the Jupyter protocol, version 5.3, which ipykernel says it speaks.
"""

from __future__ import annotations

import json
import re
import time
import urllib.error
import urllib.request
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import websocket

from tests.browser.harness import PAGES, Server


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    home = tmp_path_factory.mktemp("home")
    (home / "pages").mkdir()
    cell = {
        "cell_type": "code",
        "execution_count": None,
        "id": "a",
        "metadata": {},
        "outputs": [],
        "source": "print('shown')",
    }
    book = {"cells": [cell], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
    (home / "pages" / "a.ipynb").write_text(json.dumps(book))
    started = Server(PAGES, home / "pages", home)
    yield started
    started.stop()


def test_it_listens_on_loopback_only(server: Server) -> None:
    """The kernel's own table: local address and port in hexadecimal, state 0A listens."""
    listening = []
    for table in ("/proc/net/tcp", "/proc/net/tcp6"):
        if not Path(table).exists():
            continue
        for line in Path(table).read_text().splitlines()[1:]:
            _, local, _, state, *_ = line.split()
            if state == "0A" and int(local.split(":")[1], 16) == server.port:
                listening.append(local.split(":")[0])
    assert listening == ["0100007F"]


@pytest.mark.parametrize("path", ["/", "/voila/render/a.ipynb", "/api/kernels"])
@pytest.mark.parametrize("token", ["", "?token=", "?token=wrong"])
def test_without_the_token_there_is_nothing(server: Server, path: str, token: str) -> None:
    try:
        with urllib.request.urlopen(f"{server.root}{path}{token}", timeout=30) as answer:
            assert "/login" in answer.url
            assert "shown" not in answer.read().decode()
    except urllib.error.HTTPError as error:
        assert error.code in (401, 403, 404)


def test_a_name_that_is_not_this_computers_is_refused(server: Server) -> None:
    """Against pages elsewhere whose name is made to lead here (common practice, no source)."""
    asked = urllib.request.Request(
        f"{server.root}/voila/render/a.ipynb?token={server.token}",
        headers={"Host": f"pages.example:{server.port}"},
    )
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(asked, timeout=30)
    assert refused.value.code == 403


def message(kind: str, content: dict[str, Any]) -> str:
    header = {
        "msg_id": uuid.uuid4().hex,
        "msg_type": kind,
        "username": "visitor",
        "session": uuid.uuid4().hex,
        "date": "2026-03-01T00:00:00Z",
        "version": "5.3",
    }
    told = {"header": header, "parent_header": {}, "metadata": {}, "content": content}
    return json.dumps({**told, "channel": "shell", "buffers": []})


def test_a_visitor_cannot_run_anything(server: Server, tmp_path: Path) -> None:
    address = f"{server.root}/voila/render/a.ipynb?token={server.token}"
    with urllib.request.urlopen(address, timeout=120) as answer:
        page = answer.read().decode()
    assert "shown" in page
    (kernel,) = set(re.findall(r'"?kernelId"?\s*:\s*"([0-9a-f-]{36})"', page))
    channels = f"ws://127.0.0.1:{server.port}/api/kernels/{kernel}/channels"
    with pytest.raises(websocket.WebSocketBadStatusException):
        websocket.create_connection(channels, timeout=20)
    opened = websocket.create_connection(f"{channels}?token={server.token}", timeout=60)
    trace = tmp_path / "ran"
    code = {
        "code": f"open({str(trace)!r}, 'w').close()",
        "silent": False,
        "store_history": True,
        "user_expressions": {},
        "allow_stdin": False,
        "stop_on_error": True,
    }
    opened.send(message("execute_request", code))
    opened.send(message("kernel_info_request", {}))
    seen = []
    end = time.monotonic() + 60
    while "kernel_info_reply" not in seen and time.monotonic() < end:
        seen.append(json.loads(opened.recv())["header"]["msg_type"])
    opened.close()
    assert "kernel_info_reply" in seen  # what a page needs is answered, after the other
    assert not {"execute_reply", "execute_input"} & set(seen)
    assert not trace.exists()
