"""Wait until somebody stops typing before anything is computed."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

#: How long nothing has to change, in seconds.
WAIT_S = 0.15


class Debounce:
    """Call a function once, a moment after the last of many requests to.

    Parameters
    ----------
    function : callable
        What is called, without arguments.
    wait_s : float
        How long to wait, in seconds. Where no event loop runs, as in a
        plain script, it is called at once.
    """

    def __init__(self, function: Callable[[], None], wait_s: float = WAIT_S) -> None:
        self._function = function
        self._wait_s = wait_s
        self._waiting: asyncio.TimerHandle | None = None

    def __call__(self, _change: object = None) -> None:
        """Ask for a call."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._function()
            return
        if self._waiting is not None:
            self._waiting.cancel()
        self._waiting = loop.call_later(self._wait_s, self._call)

    def _call(self) -> None:
        self._waiting = None
        self._function()
