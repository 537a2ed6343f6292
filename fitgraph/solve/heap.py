"""What the allocator keeps for itself, given back to the system."""

from __future__ import annotations

import ctypes
from functools import cache
from typing import Any


@cache
def _trim() -> Any:
    """Return the C library's function that does it; None where it has none."""
    try:
        return getattr(ctypes.CDLL(None), "malloc_trim", None)
    except (OSError, TypeError):
        return None


def give_back() -> None:
    """Give memory that is no longer used back to the system, where its C library can.

    Arrays of some megabytes that come and go leave the heap in pieces; of 1.1 GB that a
    circuit of twelve million rows left, two thirds were such pieces.
    """
    if (trim := _trim()) is not None:
        trim(0)
