"""What share of pairs fits, where the limits of a joint's sizes overlap its window."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from fitgraph.explain.reasons import Clash
from fitgraph.mechanics.limits_of_size import Limits
from fitgraph.mechanics.nests import closes
from fitgraph.mechanics.stackup import share_that_fit
from fitgraph.model import Dimension

#: Points over a slot's width at which the closed form is averaged.
_POINTS = 201


def share_of_pairs(clash: Clash) -> float | None:
    """Return the share of pairs of such parts that fit.

    Parameters
    ----------
    clash : Clash
        A joint that compares lengths, with its figures.

    Returns
    -------
    float or None
        From 0 to 1, with every size uniform and independent within its
        limits; None where a limit is not known or nothing is measured.

    Notes
    -----
    Closed form in the two sizes (:func:`fitgraph.mechanics.stackup.share_that_fit`),
    averaged over the slot's width where a slot has to close the clearance.
    """
    sizes = {f.argument: f.dimension for f in clash.figures if f.dimension is not None}
    outer = sizes.get("bore") or sizes.get("whole")
    inner = sizes.get("spigot") or sizes.get("part")
    needed = [d for name, d in sizes.items() if name != "outside"]
    if outer is None or inner is None or not all(d.known for d in needed):
        return None
    limits = clash.joint.limits
    least = limits.get("least", 0.0)
    most = np.array([limits.get("most", math.inf)])
    if slot := sizes.get("slot"):
        most = _closures(_widths(slot), outer, sizes.get("outside"))
        most = most - limits.get("reserve", 0.0)
    top = np.clip(most, least, 1e6)
    share = share_that_fit(outer.lo, outer.hi, inner.lo, inner.hi, least, top)
    return float(np.mean(np.where(most < least, 0.0, share)))


def _closures(
    widths: npt.NDArray[np.float64], bore: Dimension, outside: Dimension | None
) -> npt.NDArray[np.float64]:
    """Return what slots of these widths close in the middle of the ring's sizes, in mm."""
    slot = Limits(widths, widths)
    ring = Limits(np.array(bore.mid), np.array(bore.mid))
    around = None
    if outside is not None and outside.known:
        around = Limits(np.array(outside.mid), np.array(outside.mid))
    return closes(ring, slot, around).lo


def _widths(slot: Dimension) -> np.ndarray:
    steps = (np.arange(_POINTS) + 0.5) / _POINTS
    return np.asarray(slot.lo + (slot.hi - slot.lo) * steps)
