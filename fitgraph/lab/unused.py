"""Memory that a process holds without using it, given back to the system.

What an answer was computed with is freed when it is there, but the C library keeps the room: a
page's kernel would hold the sum of its widest moments.

References
----------
.. [1] GNU C Library, malloc_trim(3) and mallopt(3).
"""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

#: Of mallopt(3): how many arenas there may be.
_M_ARENA_MAX = -8


def _of_c(name: str) -> Any:
    """Return a function of the C library, one that does nothing where there is none of the name."""
    found = getattr(ctypes.CDLL(None), name, None) if sys.platform == "linux" else None
    return found or (lambda *_: 0)


def one_arena() -> None:
    """Let all threads share one arena; what lies on top of any other is never given back."""
    _of_c("mallopt")(_M_ARENA_MAX, 1)


def give_back() -> None:
    """Give back what is kept of freed memory."""
    _of_c("malloc_trim")(0)


@contextmanager
def given_back() -> Iterator[None]:
    """Give back in the end what was freed within."""
    try:
        yield
    finally:
        give_back()
