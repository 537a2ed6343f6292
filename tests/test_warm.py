"""The process that kernels are forked from lets nobody wait for what takes minutes."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator

from fitgraph.lab import warm
from fitgraph.stopping import check

#: Longer than any page may wait, so that a step that is not given up fails the test [s].
_LONG_S = 30.0


def _long(told: list[str]) -> Iterator[None]:
    """Make a step that asks, as long computations do, whether it is to stop."""
    end = time.monotonic() + _LONG_S
    while time.monotonic() < end:
        check()
        time.sleep(0.01)
    told.append("to its end")
    yield


def test_a_step_that_takes_long_is_given_up_once_a_page_is_opened() -> None:
    here, there = socket.socketpair()
    told: list[str] = []
    with here, there:
        warm.send(there, {"arguments": []})
        assert not warm._next(_long(told), here)
        assert told == []
        assert warm.receive(here) == {"arguments": []}  # it is still there to be answered


def test_steps_go_on_while_nobody_asks() -> None:
    here, there = socket.socketpair()
    with here, there:
        steps = iter([None, None])
        assert [warm._next(steps, here) for _ in range(3)] == [True, True, False]
