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
