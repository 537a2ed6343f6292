"""What a joint says of sizes that are drawn, one assembly after the other."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.array_types import Bools, Floats
from fitgraph.graph.joints import conditions_of
from fitgraph.graph.options import length_of, presence_of
from fitgraph.graph.sums import ring_there
from fitgraph.mechanics.limits_of_size import Limits
from fitgraph.mechanics.nests import closed_bore, growth
from fitgraph.mechanics.rules import EPSILON_MM, RULES
from fitgraph.model import Condition, Joint, Option, Presence, Reference, Verdict


def surely(chosen: Mapping[str, Option], conditions: tuple[Condition, ...]) -> bool:
    """Return whether conditions hold for certain."""
    return all(
        presence_of(chosen[c.role], c.feature)
        is (Presence.PRESENT if c.wanted else Presence.ABSENT)
        for c in conditions
    )


def measures_of(joint: Joint, chosen: Mapping[str, Option]) -> dict[Reference, tuple[float, float]]:
    """Return the limits in mm of every dimension that a joint rests on in a combination.

    Raises
    ------
    LookupError
        If one is not known, or nobody knows whether something it asks for is there.
    """
    for condition in (*conditions_of(joint), *joint.conditions):
        if presence_of(chosen[condition.role], condition.feature) is Presence.UNKNOWN:
            raise LookupError(str(condition))
    asked = [
        r
        for name, r in joint.arguments.items()
        if name not in RULES[joint.rule].may_lack and name not in RULES[joint.rule].words
    ]
    for place, ring in enumerate(joint.rings):
        if surely(chosen, ring_there(ring)):
            last = place == len(joint.rings) - 1
            asked += [r for r in (ring.bore, ring.slot if last else ring.outside) if r is not None]
    asked += [s.length for s in joint.spans if surely(chosen, s.when)]
    found: dict[Reference, tuple[float, float]] = {}
    for reference in asked:
        presence = presence_of(chosen[reference.role], reference.feature)
        if presence is Presence.ABSENT:
            continue
        size = length_of(chosen[reference.role], reference)
        if size is None or not size.known:
            raise LookupError(str(reference))
        found[reference] = (size.lo, size.hi)
    lacking = [joint.arguments[n] for n in RULES[joint.rule].may_lack if n in joint.arguments]
    lacking += [r.outside for r in joint.rings[-1:] if r.outside is not None]
    for reference in lacking:  # without it, the worst counts
        size = length_of(chosen[reference.role], reference)
        if size is not None and size.known:
            found[reference] = (size.lo, size.hi)
    return found


def holds_at(
    joint: Joint, chosen: Mapping[str, Option], sizes: Mapping[Reference, Floats]
) -> Bools:
    """Return in which of the drawn assemblies a joint holds.

    Parameters
    ----------
    joint : Joint
        A joint on lengths that is there.
    chosen : mapping of str to Option
        The parts.
    sizes : mapping of Reference to ndarray of float, shape (n_assemblies,)
        The sizes of :func:`measures_of` [mm], drawn.

    Returns
    -------
    ndarray of bool, shape (n_assemblies,)
    """

    def exact(reference: Reference, default: Limits | None = None) -> Limits:
        drawn = sizes.get(reference)
        if drawn is None:
            return default or Limits(np.array(0.0), np.array(0.0))
        return Limits(drawn, drawn)

    anything = Limits(np.array(-np.inf), np.array(np.inf))
    rule = RULES[joint.rule]
    if joint.rings:
        core, *between, last = joint.rings
        packed = np.asarray(exact(core.outside).lo) if core.outside is not None else np.array(0.0)
        for ring in between:
            if ring.bore is not None and ring.outside is not None and ring.bore in sizes:
                packed = packed + growth(exact(ring.bore), exact(ring.outside)).lo
        if last.bore is None:
            return np.ones(1, dtype=bool)
        slot = Limits(np.array(0.0), np.array(0.0)) if last.slot is None else exact(last.slot)
        outside = None if last.outside is None else exact(last.outside, anything)
        reserve = joint.limits.get("reserve", 0.0)
        need = closed_bore(exact(last.bore), slot, outside, reserve=reserve).hi
        return np.asarray(packed >= need - EPSILON_MM)
    if joint.spans:
        total: Floats = np.array(0.0)
        for span in joint.spans:
            if surely(chosen, span.when):
                total = total + span.sign * np.asarray(exact(span.length).lo)
        least, most = joint.limits.get("least", -np.inf), joint.limits.get("most", np.inf)
        return np.asarray((total >= least - EPSILON_MM) & (total <= most + EPSILON_MM))
    values = {
        name: exact(reference, anything if name in rule.may_lack else None)
        for name, reference in joint.arguments.items()
    }
    return np.asarray(rule.judge(**values, **joint.limits).verdict == Verdict.FITS)
