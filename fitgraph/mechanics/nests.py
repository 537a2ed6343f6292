"""Rings around one axis, each closed by its slot onto all that is inside it.

A clamp, a slotted bar, a slit sleeve: whatever is squeezed onto something has to take up its
own clearance, and before that every clearance further in, because the rings inside give way
until they sit tight. Squeezed tight, the rings up to one of them are as wide as the core and
all their walls together, the **packed diameter**

    P_k = D_0 + sum over j <= k of (D_j - d_j),

with *D* the outer and *d* the inner diameters. The ring around them, of bore *d* and able to
close by *s* (:func:`fitgraph.mechanics.slots.closes_by_mm`), presses on them where

    P_(k-1) >= d_k - s_k + reserve.

That is the same as to say that the clearances, added up from the core outwards, and the
reserve are at most what the slot closes; written so, each ring adds one number, and every
dimension of the rings inside stands in it once. Limits of size then give the exact least and
most of the sum.

References
----------
Derived here (plane sections, walls that keep their thickness). Checked in the tests against
rings as explicit geometry, closed step by step.
"""

from __future__ import annotations

import numpy as np

from fitgraph.mechanics.limits_of_size import Limits
from fitgraph.mechanics.slots import closes_by_limits


def growth(bore: Limits, outside: Limits) -> Limits:
    """Return what a ring adds to the packed diameter: two walls.

    Parameters
    ----------
    bore, outside : Limits
        Its diameters [mm].

    Returns
    -------
    Limits
        Least and most [mm]; never less than nothing.

    Examples
    --------
    >>> import numpy as np
    >>> two_walls = growth(Limits(*np.array([28.6, 28.7])), Limits(*np.array([31.7, 31.8])))
    >>> round(float(two_walls.lo), 2), round(float(two_walls.hi), 2)
    (3.0, 3.2)
    """
    lo = np.maximum(np.asarray(outside.lo) - bore.hi, 0.0)
    hi = np.maximum(np.asarray(outside.hi) - bore.lo, 0.0)
    return Limits(np.asarray(lo), np.asarray(hi))


def closed_bore(
    bore: Limits, slot: Limits, outside: Limits | None = None, *, reserve: float = 0.0
) -> Limits:
    """Return how narrow a ring's bore can get and still press.

    Parameters
    ----------
    bore : Limits
        Its inner diameter [mm].
    slot : Limits
        Width of its slot [mm]; zero where it has none.
    outside : Limits, optional
        Its outer diameter [mm]. Without it the wall counts as thin, and the slot closes its
        width over pi: too much by about the wall over the outside.
    reserve : float
        Closure that has to be left to press with [mm of diameter].

    Returns
    -------
    Limits
        Least (the most favourable) and most (the worst) of the bore, closed, with the reserve [mm].

    Notes
    -----
    The bore stands in both terms of *d - s(d)*. As ds/dd lies between 0 and 1/2, the
    difference grows with the bore, so the worst sizes are the widest bore, the narrowest slot
    and the thickest wall.

    Examples
    --------
    >>> import numpy as np
    >>> bore, slot, outside = (Limits(*np.array([x, x])) for x in (35.0, 3.0, 45.0))
    >>> round(float(closed_bore(bore, slot, outside).lo), 2)
    34.15
    """
    closes_lo, closes_hi = closes(bore, slot, outside)
    return Limits(
        np.asarray(np.asarray(bore.lo) - closes_hi + reserve),
        np.asarray(np.asarray(bore.hi) - closes_lo + reserve),
    )


def closes(bore: Limits, slot: Limits, outside: Limits | None = None) -> Limits:
    """Return what a slot closes at the widest and at the narrowest bore.

    Parameters
    ----------
    bore, slot, outside
        As in :func:`closed_bore`.

    Returns
    -------
    Limits
        Closure [mm of diameter] at the worst corner (widest bore, narrowest slot, thickest
        wall) and at the most favourable.
    """
    w_lo, w_hi = np.asarray(slot.lo, dtype=float), np.asarray(slot.hi, dtype=float)
    if outside is None:
        return Limits(
            np.asarray(np.maximum(w_lo, 0.0) / np.pi), np.asarray(np.maximum(w_hi, 0.0) / np.pi)
        )
    lo, _ = closes_by_limits(w_lo, w_lo, bore.hi, bore.hi, outside.lo, outside.hi)
    _, hi = closes_by_limits(w_hi, w_hi, bore.lo, bore.lo, outside.lo, outside.hi)
    return Limits(np.asarray(lo), np.asarray(hi))
