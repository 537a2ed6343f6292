"""Read-only mappings that can travel to another process."""

from __future__ import annotations

import copyreg
from types import MappingProxyType
from typing import Any


def proxy(entries: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    """Return a read-only view of a dictionary."""
    return MappingProxyType(entries)


def _reduce(view: MappingProxyType[Any, Any]) -> tuple[Any, ...]:
    return proxy, (dict(view),)


# Python does not pickle these views by itself, and a process pool has to.
copyreg.pickle(MappingProxyType, _reduce)
