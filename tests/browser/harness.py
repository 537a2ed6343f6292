"""Servers, a browser and pages for the tests in a browser and for the gallery.

Everything here works on a list of notebooks: a new notebook in the folder is opened in
JupyterLab and as a page, in both themes, without a change to this file.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from playwright.sync_api import TimeoutError as PlaywrightTimeoutError

from fitgraph.catalogue import shipped_folder
from fitgraph.cli.notebooks import own_copy, server_command, server_environment

#: Where Debian's package puts the browser, and its name elsewhere.
CHROMIUM = "/usr/bin/chromium"

#: The browser itself asks nobody for anything.
ARGUMENTS = (
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-gpu",
    # All pages are of one computer: what they share is compiled once, not for each of them.
    "--process-per-site",
)

LAB, PAGES = "lab", "pages"
LIGHT, DARK = "light", "dark"
WIDE, NARROW = (1280, 900), (800, 900)

#: Longest wait for one thing to appear, in ms; a busy machine is slow to start a kernel.
PATIENCE_MS = 120_000

#: A component that can be pressed and typed into; until then its controls are shut, and what is
#: sent to them by program goes nowhere.
READY = ".fg-form:not(.fg-waiting):not([aria-busy])"

#: Addresses on this computer.
_HERE = {"127.0.0.1", "localhost", ""}


def chromium() -> str | None:
    """Return where the browser is, None without one."""
    return CHROMIUM if Path(CHROMIUM).exists() else shutil.which("chromium")


def notebook_names() -> list[str]:
    """Return the names of all notebooks, in order."""
    return sorted(p.name for p in shipped_folder("notebooks").glob("*.ipynb"))


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


#: No question about news in the way, and every cell in the page, not only those in sight.
_SETTINGS = {
    "@jupyterlab/apputils-extension/notification": {"fetchNews": "false"},
    "@jupyterlab/notebook-extension/tracker": {"windowingMode": "none"},
}


class Server:
    """JupyterLab or the pages, started as the command line starts them.

    Parameters
    ----------
    kind : {'lab', 'pages'}
        Which.
    folder : Path
        With the notebooks.
    home : Path
        Where everything goes that a user's own folders would take.
    """

    def __init__(self, kind: str, folder: Path, home: Path) -> None:
        self.kind, self.folder, self.home = kind, folder, home
        self.token = secrets.token_hex(12)
        self.port = _free_port()
        pages = kind == PAGES
        command = server_command(
            folder, pages=pages, port=self.port, browser=False, root=os.geteuid() == 0
        )
        command += (
            [f"--Voila.token={self.token}"]
            if pages
            else [f"--IdentityProvider.token={self.token}", "--LabApp.expose_app_in_browser=True"]
        )
        own = {
            "JUPYTER_CONFIG_DIR": home / "config",
            "JUPYTER_DATA_DIR": home / "jupyter",
            "JUPYTER_RUNTIME_DIR": home / "runtime",
            "JUPYTERLAB_SETTINGS_DIR": home / "settings",
            "JUPYTERLAB_WORKSPACES_DIR": home / "workspaces",
            "IPYTHONDIR": home / "ipython",
            "XDG_DATA_HOME": home / "data",
        }
        for name, setting in _SETTINGS.items():
            file = home / "settings" / f"{name}.jupyterlab-settings"
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(json.dumps(setting), encoding="utf-8")
        # The interpreter of the kernels is found by name on the path.
        path = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")])
        self.log = (home / f"{kind}.log").open("wb")
        self._process = subprocess.Popen(
            command,
            env={
                **os.environ,
                **{k: str(v) for k, v in own.items()},
                "PATH": path,
                **server_environment(pages=pages, opened=home / "opened"),
            },
            stdout=self.log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        self._wait()

    @property
    def root(self) -> str:
        """Return the address without a token."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def process_id(self) -> int:
        """Return the number of its process."""
        return self._process.pid

    def _wait(self) -> None:
        end = time.monotonic() + PATIENCE_MS / 1000
        while time.monotonic() < end:
            if self._process.poll() is not None:
                break
            try:
                urllib.request.urlopen(f"{self.root}/", timeout=2)
                return
            except urllib.error.HTTPError:
                return  # it answers, if only to ask for the token
            except OSError:
                time.sleep(0.2)
        raise RuntimeError(f"{self.kind} did not start: {Path(self.log.name).read_text()[-2000:]}")

    def stop(self) -> None:
        """End it at once; its kernels end as they see that it is gone."""
        if self._process.poll() is None:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
        self.log.close()


class Watch:
    """What a page did that it should not have: errors, and requests to other computers."""

    def __init__(self, context: BrowserContext) -> None:
        self.errors: list[str] = []
        self.closing: list[Page] = []
        self.outside: list[str] = []
        self.seen = 0
        context.on("console", self._console)
        context.on("weberror", self._uncaught)
        context.on("request", self._request)

    def _uncaught(self, error: Any) -> None:
        if error.page not in self.closing:  # what was still on its way is no fault of a page
            self.errors.append(f"uncaught: {error.error}")

    def _console(self, message: Any) -> None:
        if message.type == "error" and message.page not in self.closing:
            where = message.location.get("url", "")
            self.errors.append(f"{message.text} ({urlsplit(where).path})")

    def _request(self, request: Any) -> None:
        self.seen += 1
        parts = urlsplit(request.url)
        if parts.scheme in ("http", "https", "ws", "wss") and parts.hostname not in _HERE:
            self.outside.append(request.url)


class Notebook:
    """A notebook in a browser, with everything in it run.

    Parameters
    ----------
    server : Server
        Which serves it.
    context : BrowserContext
        Where its page opens.
    name : str
        The file's name.
    theme : {'light', 'dark'}
        Theme of JupyterLab or of the page.
    query : str
        Added to a page's address.
    at_sight : bool
        Whether it is there once it can be seen; else once it can be used.
    """

    def __init__(
        self,
        server: Server,
        context: BrowserContext,
        name: str,
        theme: str = LIGHT,
        query: str = "",
        *,
        at_sight: bool = False,
    ) -> None:
        self.server, self.name = server, name
        self.page: Page = context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        if server.kind == LAB:
            self._open_lab(theme)
        else:
            more = f"&{query}" if query else ""
            self.page.goto(
                f"{server.root}/voila/render/{name}?token={server.token}&theme={theme}{more}",
                wait_until="domcontentloaded",
            )
        try:
            self.page.wait_for_selector(".fg-form" if at_sight else READY, state="visible")
        except PlaywrightTimeoutError:
            self.page.screenshot(path=server.home / f"{server.kind}-{Path(name).stem}.png")
            raise

    def _open_lab(self, theme: str) -> None:
        space = f"{Path(self.name).stem}-{secrets.token_hex(3)}"
        page = self.page
        page.goto(
            f"{self.server.root}/lab/workspaces/{space}/tree/{self.name}?token={self.server.token}",
            wait_until="domcontentloaded",
        )
        page.wait_for_selector(".jp-Notebook .jp-Cell")
        self.theme(theme)
        self._command("application:toggle-left-area")
        page.wait_for_selector(
            '.jp-Notebook-ExecutionIndicator[data-status="idle"]', state="attached"
        )
        # Asked to run without a kernel, JupyterLab shows a dialogue.
        page.wait_for_function(
            "() => { const at = jupyterapp.shell.currentWidget?.sessionContext;"
            " return at?.isReady && at.session?.kernel?.connectionStatus === 'connected'; }"
        )
        # A command that comes before the notebook is ready does nothing, so it is repeated
        # until the first code cell is marked as running or run.
        for _ in range(12):
            self._command("notebook:run-all-cells")
            try:
                page.wait_for_function(
                    "() => [...document.querySelectorAll('.jp-InputPrompt')]"
                    ".some(e => /\\[(\\*|\\d+)\\]/.test(e.innerText))",
                    timeout=5_000,
                )
                return
            except PlaywrightTimeoutError:
                continue

    def _command(self, name: str) -> None:
        # Nothing is returned, for a command's promise may wait for a dialogue.
        self.page.evaluate("(name) => { jupyterapp.commands.execute(name); }", name)

    def theme(self, theme: str) -> None:
        """Change the theme while the page is open (in JupyterLab)."""
        name = "JupyterLab Dark" if theme == DARK else "JupyterLab Light"
        self.page.evaluate(
            "(theme) => { jupyterapp.commands.execute('apputils:change-theme', {theme}); }", name
        )
        self.page.wait_for_selector(f'body[data-jp-theme-name="{name}"]', state="attached")

    def labelled(self, label: str) -> Any:
        """Return the control with this label."""
        return self.page.get_by_label(label, exact=True).first

    def button(self, name: str) -> Any:
        """Return the button that says this."""
        return self.page.get_by_role("button", name=name).first

    def text(self, selector: str) -> str:
        """Return the text of the first such element."""
        return str(self.page.locator(selector).first.inner_text())

    def until(self, what: str, argument: Any = None) -> None:
        """Wait until an expression in the page is true; it is not asked at every frame."""
        self.page.wait_for_function(what, arg=argument, polling=100)

    def close(self) -> None:
        """Close the page; in JupyterLab its kernel ends as well."""
        if self.server.kind == LAB:
            self.page.evaluate("() => jupyterapp.serviceManager.sessions.shutdownAll()")
        watch = getattr(self.page.context, "watch", None)
        if watch is not None:
            watch.closing.append(self.page)
        self.page.close()


def faults(book: Notebook) -> list[str]:
    """Return the serious faults that axe-core [1]_ finds in our part of the page.

    References
    ----------
    .. [1] Deque Systems, axe-core: rules after W3C, "Web Content Accessibility Guidelines 2.2".
    """
    found = Axe().run(book.page, context={"include": [[".fg-form"]]}).response["violations"]
    return [
        f"{fault['id']}: {node['html'][:200]}"
        for fault in found
        if fault["impact"] in ("serious", "critical")
        for node in fault["nodes"]
    ]


def number(text: str) -> int:
    """Return the first number in a text."""
    found = re.search(r"[\d,]+", text)
    assert found is not None, text
    return int(found[0].replace(",", ""))


def changes(book: Notebook, selector: str, before: str) -> str:
    """Wait until the first such element says something else, and return it."""
    book.until(
        "([s, before]) => { const e = document.querySelector(s);"
        " return e && e.innerText !== before; }",
        [selector, before],
    )
    return book.text(selector)


def click_dot(book: Notebook, dot: Any) -> None:
    """Click a dot of a chart, as soon as it has come to rest."""
    before, box = None, dot.bounding_box()
    while box != before:
        book.page.wait_for_timeout(300)
        before, box = box, dot.bounding_box()
    book.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


@contextmanager
def browser_open() -> Iterator[Browser]:
    """Start the browser, and end it again."""
    found = chromium()
    if found is None:
        raise RuntimeError("Chromium is not installed (apt-get install chromium)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=list(ARGUMENTS))
        try:
            yield browser
        finally:
            browser.close()


def copy_of_notebooks(target: Path) -> Path:
    """Return a folder with a copy of the notebooks, so that a test changes none.

    What is for readers of code is run by the notebook tests, and not once more here.
    """
    folder = own_copy(shipped_folder("notebooks"), target)
    for file in folder.glob("*.ipynb"):
        book = json.loads(file.read_text(encoding="utf-8"))
        book["cells"] = [
            cell
            for cell in book["cells"]
            if cell["cell_type"] != "code" or "in-code" not in cell["metadata"].get("tags", ())
        ]
        for cell in book["cells"]:
            if cell["cell_type"] == "code":  # so that what is shown is what was run here
                cell["outputs"], cell["execution_count"] = [], None
        file.write_text(json.dumps(book), encoding="utf-8")
    return folder
