"""Preferred numbers: sizes that workshops and their suppliers keep.

References
----------
ISO 3:1973, "Preferred numbers - Series of preferred numbers", table 1 (numbers as other
programs list them; tested against the exact powers that they round, within 1.26 %).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

#: The basic series of ISO 3 over one decade, coarse to fine.
RENARD: Mapping[str, tuple[float, ...]] = {
    "R5": (1.00, 1.60, 2.50, 4.00, 6.30),
    "R10": (1.00, 1.25, 1.60, 2.00, 2.50, 3.15, 4.00, 5.00, 6.30, 8.00),
    "R20": (
        *(1.00, 1.12, 1.25, 1.40, 1.60, 1.80, 2.00, 2.24, 2.50, 2.80),
        *(3.15, 3.55, 4.00, 4.50, 5.00, 5.60, 6.30, 7.10, 8.00, 9.00),
    ),
    "R40": (
        *(1.00, 1.06, 1.12, 1.18, 1.25, 1.32, 1.40, 1.50, 1.60, 1.70),
        *(1.80, 1.90, 2.00, 2.12, 2.24, 2.36, 2.50, 2.65, 2.80, 3.00),
        *(3.15, 3.35, 3.55, 3.75, 4.00, 4.25, 4.50, 4.75, 5.00, 5.30),
        *(5.60, 6.00, 6.30, 6.70, 7.10, 7.50, 8.00, 8.50, 9.00, 9.50),
    ),
}


def renard(series: str, low: float, high: float) -> list[float]:
    """Return the preferred numbers of a series between two sizes, both included.

    Parameters
    ----------
    series : str
        ``R5``, ``R10``, ``R20`` or ``R40``.
    low, high : float
        In mm; `low` above zero.

    Raises
    ------
    KeyError
        If there is no such series.
    ValueError
        If `low` is not above zero.

    Examples
    --------
    >>> renard("R10", 20, 40)
    [20.0, 25.0, 31.5, 40.0]
    """
    if low <= 0:
        raise ValueError("preferred numbers are above zero")
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(max(high, low))) + 1)
    found = [round(n * 10.0**decade, 6) for decade in decades for n in RENARD[series]]
    return [size for size in found if low <= size <= high]
