"""Options that look alike are one class: rows of numbers sorted into the distinct ones."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints


def distinct_rows(rows: npt.NDArray[Any]) -> tuple[Ints, Ints]:
    """Return the first index of every distinct row, and each row's class."""
    seen: dict[bytes, int] = {}
    rows = np.ascontiguousarray(rows)
    if not rows.size:
        return np.zeros(min(len(rows), 1), dtype=np.intp), np.zeros(len(rows), dtype=np.intp)
    width = rows.itemsize * (rows.size // len(rows))
    whole: list[Any] = rows.view(np.dtype((np.void, width))).reshape(-1).tolist()
    class_of = np.array([seen.setdefault(row, len(seen)) for row in whole], dtype=np.intp)
    first = np.full(len(seen), -1, dtype=np.intp)
    backwards = np.arange(len(rows) - 1, -1, -1)
    first[class_of[backwards]] = backwards
    return first, class_of


def used_classes(class_of: Ints) -> tuple[Ints, Ints]:
    """Return which classes some options have, in order, and the place of each option's there."""
    used = np.bincount(class_of) > 0
    return np.flatnonzero(used), (np.cumsum(used) - 1)[class_of]
