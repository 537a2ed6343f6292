"""An event loop for a test, wherever the test runs."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")


def in_a_loop(work: Coroutine[Any, Any, T]) -> T:
    """Return what a coroutine returns, run in a loop of its own.

    A browser that is open in the same process keeps a loop running in its main thread, so this
    one has a thread to itself.
    """
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()
