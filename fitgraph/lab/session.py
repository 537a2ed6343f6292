"""What somebody entered, kept: over a re-run of a cell, in a file, in an address."""

from __future__ import annotations

import base64
import json
import os
import urllib.parse
import zlib
from collections.abc import Mapping
from typing import Any, Protocol

import ipywidgets as widgets
from markupsafe import Markup

from fitgraph.errors import InputError
from fitgraph.lab.saves import download_link
from fitgraph.lab.shown import shown
from fitgraph.report.blocks import fault, status

#: Marks our own files; the number changes when what they hold does.
FORMAT, VERSION = "fitgraph-session", 1

#: A file longer than this is none of ours.
MOST_BYTES = 200_000

#: No figure that anybody enters is larger.
_MOST = 10.0**12

#: No page keeps lists within lists deeper than this.
_DEEPEST = 20

#: The parameter of a page's address that holds a session.
PARAMETER = "session"

#: Entries for when a cell is run again, by its component.
_KEPT: dict[str, Mapping[str, Any]] = {}


class SessionError(InputError):
    """A session that cannot be opened; the message says why."""


class Restorable(Protocol):
    """A component whose entries can be kept."""

    def state(self) -> dict[str, Any]:
        """Return the entries as plain data."""
        ...

    def restore(self, state: Mapping[str, Any]) -> None:
        """Enter them again and answer them; SessionError where they do not fit."""
        ...

    def refresh(self) -> None:
        """Answer the entries as they are."""
        ...


def in_kernel() -> bool:
    """Return whether this runs in a notebook."""
    try:
        from IPython import get_ipython
    except ImportError:
        return False
    shell = get_ipython()
    return shell is not None and hasattr(shell, "kernel")


def as_text(page: str, state: Mapping[str, Any]) -> str:
    """Return a session as the text of a file.

    Parameters
    ----------
    page : str
        Which component it is of.
    state : mapping
        Its entries.
    """
    whole = {"format": FORMAT, "version": VERSION, "page": page, "entries": dict(state)}
    return json.dumps(whole, ensure_ascii=False, indent=1)


def read_text(text: str, page: str) -> Mapping[str, Any]:
    """Return the entries in a session's text.

    Raises
    ------
    SessionError
        If it is no session, or one of another page.
    """
    if len(text) > MOST_BYTES:
        raise SessionError("This file is too long to be a session; choose one saved from here.")
    try:
        whole = json.loads(text)
    except (ValueError, RecursionError):
        raise SessionError("This file is no session: it is not JSON. Save one from here.") from None
    if not isinstance(whole, dict) or whole.get("format") != FORMAT:
        raise SessionError("This file is no session of fitgraph. Save one from here.")
    if whole.get("version") != VERSION:
        raise SessionError("This session is of another version of fitgraph. Enter it anew.")
    if not _sound(whole):
        raise SessionError("This session holds what nobody can have entered. Save one from here.")
    if whole.get("page") != page:
        raise SessionError(f"This session belongs to another page ({str(whole.get('page'))[:40]}).")
    entries = whole.get("entries")
    if not isinstance(entries, dict):
        raise SessionError("This session has no entries. Save it again.")
    return entries


def _sound(value: object, deep: int = _DEEPEST) -> bool:
    """Say whether a session holds only texts that can be sent, and figures that can be meant."""
    if isinstance(value, str):
        return not any("\ud800" <= sign <= "\udfff" for sign in value)
    if isinstance(value, dict | list) and not deep:
        return False
    if isinstance(value, dict):
        return all(_sound(v, deep - 1) for pair in value.items() for v in pair)
    if isinstance(value, list):
        return all(_sound(v, deep - 1) for v in value)
    if isinstance(value, int | float):
        return abs(value) <= _MOST  # not so of what is no number
    return value is None


def to_address(page: str, state: Mapping[str, Any]) -> str:
    """Return a session as the query of a page's address.

    Examples
    --------
    >>> query = to_address("Demo", {"a": "ü"})
    >>> from_address(query, "Demo")
    {'a': 'ü'}
    """
    packed = zlib.compress(as_text(page, state).encode(), 9)
    return f"{PARAMETER}={base64.urlsafe_b64encode(packed).decode().rstrip('=')}"


def from_address(query: str, page: str) -> Mapping[str, Any] | None:
    """Return the session in the query of an address, None where there is none for this page.

    Raises
    ------
    SessionError
        If it cannot be read.
    """
    values = urllib.parse.parse_qs(query).get(PARAMETER)
    if not values:
        return None
    try:
        packed = base64.urlsafe_b64decode(values[0] + "=" * (-len(values[0]) % 4))
        unpacker = zlib.decompressobj()
        text = unpacker.decompress(packed, MOST_BYTES).decode()
    except (ValueError, zlib.error):
        raise SessionError("The session in the address is cut off; ask for it again.") from None
    return read_text(text, page)


def page_address() -> str | None:
    """Return the query of the page's address where the notebook is shown as a page."""
    if "VOILA_REQUEST_URL" not in os.environ:
        return None
    return os.environ.get("QUERY_STRING", "")


class SessionBar(widgets.HBox):
    """Save the entries of a component to a file, open them again, or start afresh.

    Parameters
    ----------
    of : Restorable
        The component.
    page : str
        Its name in files.
    key : str
        Under which its entries outlive a re-run of the cell in a notebook.
    """

    def __init__(self, of: Restorable, page: str, key: str) -> None:
        self._of, self._page, self._key = of, page, key if in_kernel() else None
        self.save = widgets.HTML(layout=widgets.Layout(margin="0"))
        self.upload = widgets.FileUpload(
            accept=".json,application/json",
            multiple=False,
            description="Open a session",
            tooltip="Open a session that was saved from here",
            layout=widgets.Layout(width="auto"),
        )
        self.afresh = widgets.Button(
            description="Start afresh",
            tooltip="Empty all fields",
            layout=widgets.Layout(width="auto"),
        )
        self.message = widgets.HTML(layout=widgets.Layout(margin="0"))
        self.upload.observe(self._open, names="value")
        self.afresh.on_click(lambda _: self._start_afresh())
        super().__init__(
            [self.save, self.upload, self.afresh, self.message],
            layout=widgets.Layout(flex_flow="row wrap", grid_gap="4px 10px", align_items="center"),
        )
        self.add_class("fg-session")

    def begin(self) -> None:
        """Answer what the address holds, else what was kept from the last run of the cell."""
        query = page_address()
        try:
            state = from_address(query, self._page) if query else None
        except SessionError as error:
            self._tell(str(error), wrong=True)
            state = None
        if state is None and self._key is not None:
            state = _KEPT.get(self._key)
        if state is None or not self._enter(state):
            self._of.refresh()
        self.changed()

    def _enter(self, state: Mapping[str, Any]) -> bool:
        """Enter a session; of one that cannot be, nothing is entered, and it is said why."""
        try:
            self._of.restore(state)
        except SessionError as error:
            self._tell(str(error), wrong=True)
            return False
        return True

    def _open(self, change: Mapping[str, Any]) -> None:
        if not change["new"]:  # it was emptied below
            return
        content = bytes(change["new"][0]["content"])
        try:
            state = read_text(content.decode("utf-8", "replace"), self._page)
        except SessionError as error:
            self._tell(str(error), wrong=True)
        else:
            self._tell("The session is open.")
            self._enter(state)
            self.changed()
        self.upload.value = ()

    def _start_afresh(self) -> None:
        self._tell("")
        self._enter({})
        self.changed()

    def _tell(self, text: str, *, wrong: bool = False) -> None:
        self.message.value = shown((fault if wrong else status)(text)) if text else ""

    def changed(self) -> None:
        """Take the entries as they now are into the file, the address and the memory."""
        state = self._of.state()
        if self._key is not None:
            _KEPT[self._key] = state
        links = download_link(
            "Save this session",
            f"{self._page}.json",
            "application/json",
            as_text(self._page, state).encode(),
        )
        if page_address() is not None:
            links += Markup(' <a href="?{}">Address of this session</a>').format(
                to_address(self._page, state)
            )
        self.save.value = shown(links)
