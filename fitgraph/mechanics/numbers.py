"""What the formulas take and give: one number, or numpy arrays of them."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = float | npt.NDArray[np.float64]


def plain(value: npt.ArrayLike) -> Floats:
    """Return a Python float for a single number, the array otherwise."""
    array = np.asarray(value, dtype=float)
    return float(array) if array.ndim == 0 else array


def require(holds: npt.ArrayLike, message: str) -> None:
    """Refuse arguments that a formula cannot take.

    Raises
    ------
    ValueError
        With `message`, if `holds` is not true everywhere.
    """
    if not np.all(holds):
        raise ValueError(message)


def percentile(values: npt.NDArray[np.float64], share: float) -> npt.NDArray[np.float64]:
    """Return a percentile along the last axis, between neighbours in proportion.

    As ``numpy.percentile`` does, which loads the whole of ``numpy.ma`` for it.

    Parameters
    ----------
    values : ndarray of float, shape (..., n)
        Finite, one or more along the last axis.
    share : float
        From 0 to 100 [%].
    """
    at = share / 100.0 * (values.shape[-1] - 1)
    low = min(int(at), max(values.shape[-1] - 2, 0))
    high = min(low + 1, values.shape[-1] - 1)
    ordered = np.partition(values, (low, high), axis=-1)
    return np.asarray(ordered[..., low] + (at - low) * (ordered[..., high] - ordered[..., low]))
