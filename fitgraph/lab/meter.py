"""How far a long computation is, in words, and a button that stops it."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable

import ipywidgets as widgets
from markupsafe import Markup

from fitgraph.lab.look import button, html
from fitgraph.lab.shown import shown
from fitgraph.report.blocks import status

#: How often the time is brought up to date, in seconds.
_EVERY_S = 0.5

#: What is over sooner than this, in seconds, is not worth telling its time.
_WORTH_S = 1.0


class Meter(widgets.Box):
    """A line of progress with the time so far.

    Parameters
    ----------
    label : str
        What the button says.
    tooltip : str
        What it does.
    stopped : callable
        Called when it is pressed.
    ask : Button, optional
        What is pressed to begin where it waits for that.
    """

    def __init__(
        self,
        label: str,
        tooltip: str,
        stopped: Callable[[], None],
        ask: widgets.Button | None = None,
    ) -> None:
        self.status, self.time = html(), html()
        self.button = button(label, stopped, disabled=True, tooltip=tooltip)
        self.ask = ask
        self.button.layout.display = "none"
        self._offer(asks=False)
        self._begun, self._number = 0.0, 0
        #: Set from the thread that computes: how much is done, in words.
        self.detail = ""
        self._far = (0, 0)
        super().__init__(
            [self.status, self.time, self.button, *([] if ask is None else [ask])],
            layout=widgets.Layout(
                display="flex", flex_flow="row wrap", grid_gap="4px 14px", align_items="center"
            ),
        )

    @property
    def running(self) -> bool:
        """Return whether something is being computed."""
        return not self.button.disabled

    def begin(self, text: str) -> None:
        """Say what is being computed now."""
        if not self.running:
            self._begun = time.monotonic()
        self.detail, self._far = "", (0, 0)
        self.button.disabled = False
        self.button.layout.display = ""
        self._offer(asks=False)
        self._number += 1
        self._say(text)
        self._tick(self._number)

    def on(self, done: int, total: int, what: str) -> None:
        """Take from the thread that computes how far it is; it is told at the next turn."""
        self._far, self.detail = (done, total), f"{done:,} of {total:,} {what}"

    def end(self, text: str = "", *, stopped: bool = False) -> None:
        """Say that it is over, and what came of it.

        Parameters
        ----------
        text : str
            What came of it.
        stopped : bool
            Whether the button was pressed: then it stays where it is, for it has the focus.
        """
        self._number += 1
        self.button.disabled = True
        self.button.layout.display = "" if stopped else "none"
        self._offer(asks=False)
        self.time.value = ""
        self._say(text)

    def wait(self, text: str) -> None:
        """Say for what it waits until somebody asks."""
        self.end(text)
        self._offer(asks=True)

    def _offer(self, *, asks: bool) -> None:
        if self.ask is not None:
            self.ask.layout.display = None if asks else "none"

    def _say(self, text: str) -> None:
        self.status.value = shown(status(text)) if text else ""

    def _tick(self, number: int) -> None:
        if number != self._number:
            return
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            return
        seconds, (done, total) = time.monotonic() - self._begun, self._far
        detail = f"{self.detail}, " if self.detail else ""
        bar = Markup('<progress max="{}" value="{}" aria-label="done"></progress> ' * bool(total))
        if seconds >= _WORTH_S:
            told = bar.format(total, done) + f"{detail}{seconds:.0f} s so far"
            self.time.value = shown(Markup('<p class="fg-note">{}</p>').format(told))
        loop.call_later(_EVERY_S, self._tick, number)
