"""What the formulas take and give: one number, or numpy arrays of them."""

from __future__ import annotations

from collections.abc import Sequence
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


def percentiles(values: npt.NDArray[np.float64], shares: Sequence[float]) -> list[float]:
    """Return percentiles of finite numbers, between two of them on the line that joins them.

    Parameters
    ----------
    values : ndarray of float, shape (n,)
        Finite.
    shares : sequence of float
        Which, from 0 to 100.

    Notes
    -----
    As :func:`numpy.percentile` (type 7 of Hyndman and Fan, "Sample quantiles in statistical
    packages", The American Statistician 50 (1996) 361-365), which loads masked arrays first, in
    as long as it takes to weigh a nest.

    Examples
    --------
    >>> percentiles(np.array([3.0, 1.0, 2.0]), [0, 50, 75])
    [1.0, 2.0, 2.5]
    """
    ordered, last = np.sort(values).tolist(), len(values) - 1
    found = []
    for share in shares:
        whole, part = divmod(last * share / 100, 1)
        low, high = ordered[int(whole)], ordered[min(int(whole) + 1, last)]
        step = high - low
        # From the nearer end, so that either end comes out as it is.
        found.append(low + step * part if part < 0.5 else high - step * (1 - part))
    return found
