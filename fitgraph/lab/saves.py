"""Files that a page hands over: links that carry small ones, buttons that make one when pressed.

A link needs its file before anybody asks for it, anew with every answer, and works where there is
no kernel any more. A button needs nothing until it is pressed.
"""

from __future__ import annotations

import asyncio
import base64
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import anywidget
import traitlets
from markupsafe import Markup

from fitgraph.records import dataclass
from fitgraph.report.as_csv import csv
from fitgraph.report.tables import Table


def download_link(label: str, name: str, kind: str, content: bytes) -> Markup:
    """Return a link that saves a file of some media type.

    Examples
    --------
    >>> download_link("Get it", "a.txt", "text/plain", b"hi")
    Markup('<a class="fg-get" download="a.txt" href="data:text/plain;base64,aGk=">Get it</a>')
    """
    data = base64.b64encode(content).decode()
    return Markup('<a class="fg-get" download="{}" href="data:{};base64,{}">{}</a>').format(
        name, kind, data, label
    )


def csv_link(label: str, name: str, table: Table) -> Markup:
    """Return a link that saves a table as CSV; headings of amounts say their currency."""
    return download_link(label, name, "text/csv", csv(table.with_currency()).encode())


_SCRIPT = """
function initialize({ model }) {
  // Once a page, however often the buttons are shown in it.
  model.on("msg:custom", (message, buffers) => {
    if (!message.file) return;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob(buffers, { type: message.kind }));
    link.download = message.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  });
}

function render({ model, el }) {
  const told = document.createElement("p"), row = document.createElement("div");
  el.classList.add("fg-saves");
  row.setAttribute("role", "group");
  told.setAttribute("role", "status");
  el.append(row, told);
  const draw = () => {
    row.setAttribute("aria-label", model.get("label"));
    row.replaceChildren(...model.get("items").map((item) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = item;
      button.addEventListener("click", () => {
        model.set("pressed", [item, model.get("pressed")[1] + 1]);
        model.save_changes();
      });
      return button;
    }));
  };
  const tell = () => {
    told.textContent = model.get("told");
    told.style.display = told.textContent ? "" : "none";
    for (const button of row.children) button.disabled = model.get("busy");
  };
  model.on("change:items", draw);
  model.on("change:told", tell);
  model.on("change:busy", tell);
  draw();
  tell();
}
export default { initialize, render };
"""

_STYLE = """
.fg-saves>div{display:flex;flex-wrap:wrap;gap:6px 10px;margin:4px 0}
.fg-saves p{margin:2px 0;color:var(--fg-ink)}
.fg-saves button{min-height:32px;padding:4px 10px;cursor:pointer;font:inherit;color:var(--fg-ink);
background:var(--fg-paper);border:1px solid var(--fg-line);border-radius:6px}
.fg-saves button:hover:enabled{border-color:var(--fg-fits);background:var(--fg-panel)}
.fg-saves button:disabled{color:var(--fg-muted);border-style:dashed;cursor:default}
@media print{.fg-saves{display:none}}
"""


@dataclass(frozen=True, slots=True)
class SavedFile:
    """A file as a browser saves it.

    Parameters
    ----------
    name : str
        With its ending.
    kind : str
        Media type.
    content : bytes
        What it holds.
    """

    name: str
    kind: str
    content: bytes


class Saves(anywidget.AnyWidget):
    """Buttons, each of which makes a file and has it saved.

    Parameters
    ----------
    label : str
        What they are, for those who have the page read out.

    Attributes
    ----------
    items : list of str
        What the buttons say.
    pressed : list
        What the last one says, and a number that goes up by one at each press.
    told : str
        What is being made, or why it could not be.
    busy : bool
        Whether one is being made.
    """

    _esm = _SCRIPT
    _css = _STYLE
    label: Any = traitlets.Unicode().tag(sync=True)
    items: Any = traitlets.List(traitlets.Unicode()).tag(sync=True)
    pressed: Any = traitlets.List(["", 0]).tag(sync=True)
    told: Any = traitlets.Unicode().tag(sync=True)
    busy: Any = traitlets.Bool(False).tag(sync=True)

    def __init__(self, label: str) -> None:
        super().__init__(label=label)
        self._files: Mapping[str, Callable[[], SavedFile]] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        self.observe(self._press, names="pressed")

    def offer(self, files: Mapping[str, Callable[[], SavedFile]]) -> None:
        """Offer files by what their buttons say; each is made when its button is pressed.

        Parameters
        ----------
        files : mapping of str to callable
            Without arguments; called beside the event loop, so it must touch no widget.
        """
        self._files = dict(files)
        self.items = list(files)
        if not self.busy:
            self.told = ""

    def made(self, item: str) -> SavedFile:
        """Return the file behind a button.

        Raises
        ------
        KeyError
            If no button says that.
        """
        return self._files[item]()

    def _press(self, change: dict[str, Any]) -> None:
        make = self._files.get(change["new"][0])
        if make is None or self.busy:
            return
        self.busy, self.told = True, "Making the file …"
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            with self._in_words():
                self._hand_over(make())
            return

        async def later() -> None:
            with self._in_words():
                self._hand_over(await asyncio.to_thread(make))

        task = loop.create_task(later())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def _hand_over(self, file: SavedFile) -> None:
        self.send({"file": file.name, "kind": file.kind}, [file.content])
        self.told = f"{file.name} is saved."

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        """Tell a fault; a person at a counter can do nothing with a traceback."""
        try:
            yield
        except Exception as error:
            self.told = f"This file could not be made ({type(error).__name__}: {error})."
        finally:
            self.busy = False
