"""Distinct combinations of columns, numbered."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.intp]

#: Codes of combinations stay below this, so that they are exact.
_LARGEST = 1 << 62


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
