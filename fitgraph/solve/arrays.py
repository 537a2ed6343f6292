"""Small array idioms that the searches share."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.intp]


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
