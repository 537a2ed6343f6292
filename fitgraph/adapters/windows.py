"""Between which limits a made size has to lie, so that a joint certainly fits.

Every rule on lengths comes to the same form for any one of its arguments: the joint fits for
certain exactly where the made size's lower limit is at least `least` and its upper limit at
most `most`. The others of the rule's arguments are taken at their worst. One window is on the
safe side: a bore wider than the snuggest closes a few thousandths further than it says.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from fitgraph.mechanics.limits import Limits
from fitgraph.mechanics.nests import closes
from fitgraph.mechanics.slots import width_to_close_by_mm

Floats = npt.NDArray[np.float64]


class Window(NamedTuple):
    """Least lower limit and most upper limit of the made size, in mm, one row a counterpart."""

    least: Floats
    most: Floats


class Sizes(NamedTuple):
    """Lower and upper limits in mm, one row a counterpart."""

    lo: Floats
    hi: Floats


def _clearance(made: str, others: Mapping[str, Sizes], limits: Mapping[str, float]) -> Window:
    if made == "bore":
        spigot = others["spigot"]
        return Window(spigot.hi + limits["least"], spigot.lo + limits["most"])
    bore = others["bore"]
    return Window(bore.hi - limits["most"], bore.lo - limits["least"])


def _closes(made: str, others: Mapping[str, Sizes], limits: Mapping[str, float]) -> Window:
    least, reserve = limits["least"], limits.get("reserve", 0.0)
    outside = Limits(*others["outside"]) if "outside" in others else None
    if made == "slot":
        bore, spigot = others["bore"], others["spigot"]
        goes_on = bore.lo - spigot.hi >= least
        width = _width(bore.hi - spigot.lo + reserve, bore, outside)
        return Window(np.where(goes_on, width, np.inf), np.full(len(width), np.inf))
    slot = Limits(*others["slot"])
    if made == "bore":
        # The wider the bore the further its slot closes, so the narrowest is the worst here.
        spigot = others["spigot"]
        tight = Limits(spigot.hi + least, spigot.hi + least)
        shuts = closes(tight, slot, outside).lo - reserve
        return Window(spigot.hi + least, spigot.lo + shuts)
    bore = others["bore"]
    shuts = closes(Limits(*bore), slot, outside).lo - reserve
    return Window(bore.hi - shuts, bore.lo - least)


def _width(closure: Floats, bore: Sizes, outside: Limits | None) -> Floats:
    """Return the least width of slot that closes a bore so far at its worst, in mm."""
    if outside is None:
        return math.pi * closure
    endless = ~np.isfinite(outside.hi)
    ring = np.where(endless, np.maximum(bore.hi, 1.0), np.maximum(outside.hi, bore.hi))
    wide = np.asarray(width_to_close_by_mm(closure, np.maximum(bore.hi, 0.0), ring))
    return np.where(endless, 2 * math.pi * closure, wide)


def _at_least(made: str, others: Mapping[str, Sizes], limits: Mapping[str, float]) -> Window:
    by = limits.get("least", 0.0)
    if made == "whole":
        part = others["part"]
        return Window(part.hi + by, np.full(len(part.hi), np.inf))
    whole = others["whole"]
    return Window(np.full(len(whole.lo), -np.inf), whole.lo - by)


_WINDOWS = {"clearance": _clearance, "closes-by-slot": _closes, "at-least": _at_least}


def window(
    rule: str, made: str, others: Mapping[str, Sizes], limits: Mapping[str, float]
) -> Window:
    """Return the windows that a rule leaves to one of its arguments.

    Parameters
    ----------
    rule : str
        Name of a rule on lengths.
    made : str
        The argument that is made.
    others : mapping of str to Sizes
        Limits of the rule's other arguments in mm, one row a counterpart.
    limits : mapping of str to float
        The rule's windows, in mm, as a joint has them.

    Raises
    ------
    KeyError
        If the rule compares no lengths.

    Examples
    --------
    >>> spigot = Sizes(np.array([25.3]), np.array([25.4]))
    >>> found = window("clearance", "bore", {"spigot": spigot}, {"least": 0.0, "most": 0.35})
    >>> float(found.least[0]), round(float(found.most[0]), 3)
    (25.4, 25.65)
    """
    return _WINDOWS[rule](made, others, limits)
