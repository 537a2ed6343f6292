"""Small array idioms that the searches share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints

#: How many times more numbers there may be than are given, to mark them rather than sort.
SPREAD = 16

#: Codes of combinations stay below this, so that they are exact.
_LARGEST = 1 << 62

#: Numbers that are looked at at once.
_AT_ONCE = 1 << 20


def spread(counts: Ints) -> tuple[Ints, Ints]:
    """Return, for each of ``sum(counts)`` places, its owner and its number within it.

    Examples
    --------
    >>> owner, number = spread(np.array([2, 0, 1]))
    >>> owner.tolist(), number.tolist()
    ([0, 0, 2], [0, 1, 0])
    """
    owner = np.repeat(np.arange(len(counts)), counts)
    return owner, np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)


def in_batches(sizes: Ints, most: int) -> Iterator[tuple[int, int]]:
    """Yield pieces of a sequence whose sizes add up to no more than some, or that are one.

    Examples
    --------
    >>> list(in_batches(np.array([2, 2, 9, 1]), 4))
    [(0, 2), (2, 3), (3, 4)]
    """
    ends = np.cumsum(sizes)
    begin = 0
    while begin < len(sizes):
        before = ends[begin - 1] if begin else 0
        end = max(begin + 1, int(np.searchsorted(ends, before + most, side="right")))
        yield begin, end
        begin = end


def distinct(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return the distinct ones of numbers, ascending.

    By sorting: :func:`numpy.unique` hashes since numpy 2.3, which takes thirty times as long for
    a million numbers (measured 2026-11-29, numpy 2.4).

    Examples
    --------
    >>> distinct(np.array([5, 2, 5])).tolist()
    [2, 5]
    """
    ordered = np.sort(values, axis=None)
    kept = np.ones(len(ordered), dtype=bool)
    np.not_equal(ordered[1:], ordered[:-1], out=kept[1:])
    return ordered[kept]


def distinct_below(size: int, *values: npt.NDArray[Any]) -> Ints:
    """Return the distinct ones of numbers below a size, ascending.

    Examples
    --------
    >>> distinct_below(9, np.array([5, 2]), np.array([2, 8])).tolist()
    [2, 5, 8]
    """
    pieces = [v[n : n + _AT_ONCE] for v in values for n in range(0, len(v), _AT_ONCE)]
    if size > SPREAD * sum(map(len, values)):
        every = [np.zeros(0, dtype=np.intp), *(distinct(some) for some in pieces)]
        return distinct(np.concatenate(every)).astype(np.intp)
    seen = np.zeros(size, dtype=bool)
    for some in pieces:
        seen[some] = True
    return np.flatnonzero(seen)


def dense(columns: Sequence[Ints]) -> tuple[Ints, Ints]:
    """Return the first place of every distinct combination, and the number of each one's.

    Parameters
    ----------
    columns : sequence of ndarray of int
        Numbers from zero, one column or more, all of one length.

    Examples
    --------
    >>> first, number = dense([np.array([3, 3, 1, 3]), np.array([0, 1, 0, 0])])
    >>> first.tolist(), number.tolist()
    ([2, 0, 1], [1, 2, 0, 1])
    """
    code, size = np.zeros(len(columns[0]), dtype=np.int64), 1
    for column in columns:
        wide = int(column.max(initial=0)) + 1
        if size * wide > _LARGEST:
            kept, code = np.unique(code, return_inverse=True)
            code, size = code.reshape(-1), len(kept)
        code = code * wide + column
        size *= wide
    _, first, number = np.unique(code, return_index=True, return_inverse=True)
    return first, number.reshape(-1)


def rank(values: npt.NDArray[np.float64]) -> Ints:
    """Return the place of each value among the distinct ones.

    Examples
    --------
    >>> rank(np.array([2.5, np.inf, 1.0, 2.5])).tolist()
    [1, 2, 0, 1]
    """
    return np.unique(values, return_inverse=True)[1].reshape(-1).astype(np.intp)


def members(class_of: Ints, lets: npt.NDArray[np.bool_], size: int) -> tuple[Ints, Ints]:
    """Return the allowed options sorted by class, and where each class begins.

    Parameters
    ----------
    class_of : ndarray of int
        The class of each option.
    lets : ndarray of bool
        Which options are allowed.
    size : int
        The number of classes.
    """
    allowed = np.flatnonzero(lets)
    ordered = allowed[np.argsort(class_of[allowed], kind="stable")]
    return ordered, np.searchsorted(class_of[ordered], np.arange(size)).astype(np.intp)
