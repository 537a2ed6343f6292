"""Limits of size, as every rule takes them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


class Limits(NamedTuple):
    """Limits of size in mm, as arrays that broadcast.

    Parameters
    ----------
    lo, hi : ndarray of float
        Least and most [mm]; minus and plus infinity where nothing is known.
    """

    lo: Floats
    hi: Floats
