"""A nest or a stack step by step: what each ring leaves, and what they come to together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.explain.reasons import Clash, Figure
from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.options import empty
from fitgraph.graph.unknowns import wanted_mm
from fitgraph.mechanics.limits_of_size import Limits
from fitgraph.mechanics.nests import closes
from fitgraph.mechanics.rules import RULES
from fitgraph.model import Joint, Option, Reference
from fitgraph.records import dataclass

#: Least and most, in mm.
Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class RingStep:
    """One ring of a nest over the one inside it.

    Parameters
    ----------
    outer, inner : Option
        The parts.
    clearance_mm : tuple of float
        Least and most diametral clearance between them [mm].
    """

    outer: Option
    inner: Option
    clearance_mm: Interval


@dataclass(frozen=True, slots=True)
class Nesting:
    """What the outermost ring of a nest has to take up, and what it can.

    Parameters
    ----------
    steps : tuple of RingStep
        From the core outwards.
    together_mm : tuple of float
        All clearances added up [mm of diameter].
    closes_mm : tuple of float
        What the outermost ring's slot closes [mm of diameter]; zero where it has none.
    slot : Figure or None
        The slot; None where the ring has none.
    """

    steps: tuple[RingStep, ...]
    together_mm: Interval
    closes_mm: Interval
    slot: Figure | None

    @property
    def widest(self) -> RingStep:
        """Return the step that leaves the most to take up at the worst sizes."""
        return max(self.steps, key=lambda step: step.clearance_mm[1])


def _by_reference(clash: Clash) -> Mapping[Reference, Figure]:
    return {f.reference: f for f in clash.figures if f.dimension is not None}


def _limits(figure: Figure) -> Limits:
    assert figure.dimension is not None
    return Limits(np.array(figure.dimension.lo), np.array(figure.dimension.hi))


def nesting(clash: Clash) -> Nesting | None:
    """Return the rings of a clash that is a nest, None where it is none or lacks one.

    Parameters
    ----------
    clash : Clash
        Of a joint with rings.
    """
    found = _by_reference(clash)
    outside: Figure | None = None
    steps: list[RingStep] = []
    for ring in clash.joint.rings:
        bore = found.get(ring.bore) if ring.bore is not None else None
        if bore is not None and outside is not None:
            lo, hi = _limits(bore).over(_limits(outside))
            steps.append(RingStep(bore.option, outside.option, (float(lo), float(hi))))
        if ring.bore is None or bore is not None:
            outside = found.get(ring.outside) if ring.outside is not None else None
    last = clash.joint.rings[-1] if clash.joint.rings else None
    if last is None or last.bore is None or last.bore not in found or not steps:
        return None
    slot = found.get(last.slot) if last.slot is not None else None
    around = found.get(last.outside) if last.outside is not None else None
    width = Limits(np.zeros(()), np.zeros(())) if slot is None else _limits(slot)
    thick = Limits(np.array(-np.inf), np.array(np.inf)) if last.outside is not None else None
    shuts = closes(_limits(found[last.bore]), width, thick if around is None else _limits(around))
    total = (sum(s.clearance_mm[0] for s in steps), sum(s.clearance_mm[1] for s in steps))
    return Nesting(tuple(steps), total, (float(shuts.lo), float(shuts.hi)), slot)


def wanted_of_unknown(clash: Clash) -> list[tuple[Joint, float, float]]:
    """Return what each joint of a clash about one unknown figure takes of it [mm].

    Parameters
    ----------
    clash : Clash
        Of a joint that says what others ask of a figure that nobody knows.
    """
    found = []
    for joint in clash.joint.shares:
        filled = dict(clash.options)
        chosen = {r: [filled.get(r, empty(r))] for r in joint.roles}
        columns = columns_of(chosen, WordCodes())
        for size in clash.joint.unknown:
            compared = RULES[joint.rule].sums or RULES[joint.rule].lengths
            if compared and size in joint.measures:
                found.append((joint, *wanted_mm(joint, size, columns)))
    return found
