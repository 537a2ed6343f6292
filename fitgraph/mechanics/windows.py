"""Each rule turned round: between which limits one of its arguments certainly fits the others.

Every rule comes to the same form for any one of its arguments: the joint fits for certain
exactly where the made size's lower limit is at least `least` and its upper limit at most `most`.
The others of the rule's arguments are taken at their worst. Of words the codes count, of what is
only there or not its presence. One window is on the safe side: a bore wider than the snuggest
closes a few thousandths further than it says.

All take the argument that is made, the limits of the rule's other arguments (one row a
counterpart) and the rule's windows in mm, as a joint has them;
:class:`fitgraph.mechanics.rules.Rule` holds each beside the judge it turns round.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from fitgraph.array_types import Floats
from fitgraph.mechanics.limits_of_size import UNKNOWN_WORD, Limits
from fitgraph.mechanics.nests import closes
from fitgraph.mechanics.slots import width_to_close_by_mm
from fitgraph.model.verdict import Presence


class Window(NamedTuple):
    """Least lower limit and most upper limit of what is made, one row a counterpart.

    In mm for lengths; codes for words, values of :class:`fitgraph.model.Presence` for what is
    there or not. Where the least is more than the most, nothing certainly fits.
    """

    least: Floats
    most: Floats


def clearance(made: str, others: Mapping[str, Limits], limits: Mapping[str, float]) -> Window:
    """Return between which limits a bore or a spigot keeps a clearance [mm]."""
    if made == "bore":
        spigot = others["spigot"]
        return Window(spigot.hi + limits["least"], spigot.lo + limits["most"])
    bore = others["bore"]
    return Window(bore.hi - limits["most"], bore.lo - limits["least"])


def closes_by_slot(made: str, others: Mapping[str, Limits], limits: Mapping[str, float]) -> Window:
    """Return the limits of a slotted bore, of what it closes on, or of its slot [mm]."""
    least, reserve = limits["least"], limits.get("reserve", 0.0)
    outside = others.get("outside")
    if made == "slot":
        bore, spigot = others["bore"], others["spigot"]
        between = bore.over(spigot)
        width = _width(between.hi + reserve, bore, outside)
        return Window(np.where(between.lo >= least, width, np.inf), np.full(len(width), np.inf))
    slot = others["slot"]
    if made == "bore":
        # The wider the bore the further its slot closes, so the narrowest is the worst here.
        spigot = others["spigot"]
        tight = Limits(spigot.hi + least, spigot.hi + least)
        shuts = closes(tight, slot, outside).lo - reserve
        return Window(spigot.hi + least, spigot.lo + shuts)
    bore = others["bore"]
    shuts = closes(bore, slot, outside).lo - reserve
    return Window(bore.hi - shuts, bore.lo - least)


def _width(closure: Floats, bore: Limits, outside: Limits | None) -> Floats:
    """Return the least width of slot that closes a bore so far at its worst, in mm."""
    if outside is None:
        return math.pi * closure
    endless = ~np.isfinite(outside.hi)
    ring = np.where(endless, np.maximum(bore.hi, 1.0), np.maximum(outside.hi, bore.hi))
    wide = np.asarray(width_to_close_by_mm(closure, np.maximum(bore.hi, 0.0), ring))
    return np.where(endless, 2 * math.pi * closure, wide)


def at_least(made: str, others: Mapping[str, Limits], limits: Mapping[str, float]) -> Window:
    """Return the limits of a length, or of what it has to exceed [mm]."""
    by = limits.get("least", 0.0)
    if made == "whole":
        part = others["part"]
        return Window(part.hi + by, np.full(len(part.hi), np.inf))
    whole = others["whole"]
    return Window(np.full(len(whole.lo), -np.inf), whole.lo - by)


def same_word(made: str, others: Mapping[str, Limits], limits: Mapping[str, float]) -> Window:
    """Return the code of the word that meets another's; nothing certainly meets an unknown one."""
    (other,) = others.values()
    known = np.asarray(other.lo) != UNKNOWN_WORD
    return Window(np.where(known, other.lo, np.inf), np.where(known, other.hi, -np.inf))


def there(made: str, others: Mapping[str, Limits], limits: Mapping[str, float]) -> Window:
    """Return the presence that is asked for."""
    return Window(np.array([float(Presence.PRESENT)]), np.array([float(Presence.PRESENT)]))


def gone(made: str, others: Mapping[str, Limits], limits: Mapping[str, float]) -> Window:
    """Return the presence that is asked for where something must not be there."""
    return Window(np.array([float(Presence.ABSENT)]), np.array([float(Presence.ABSENT)]))


def made_up_for(made: str, others: Mapping[str, Limits], limits: Mapping[str, float]) -> Window:
    """Return what one term has to add, so that a sum is not negative whatever the rest adds [mm].

    The others are the terms that are settled, one each or already added up.
    """
    rest = np.sum([np.asarray(other.lo, dtype=float) for other in others.values()], axis=0)
    return Window(-np.atleast_1d(rest), np.full(np.atleast_1d(rest).shape, np.inf))
