"""A way step by step: which sizes meet at each joint, and what sits inside what by then."""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.explain.ways import Way
from fitgraph.graph.chains import ChainJoint
from fitgraph.graph.interfaces import pair_of
from fitgraph.graph.options import length_of
from fitgraph.model import Dimension, Option, Reference
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class WayStep:
    """A joint of a way.

    Parameters
    ----------
    options : tuple of Option
        The part and the next.
    hold : ChainJoint
        What holds them.
    ends : tuple of (Reference, Dimension or None)
        The dimension that meets the other at either end, in the order of the way.
    joined : mapping of str to Option
        All parts that are together by then, by role.
    """

    options: tuple[Option, Option]
    hold: ChainJoint
    ends: tuple[tuple[Reference, Dimension | None], ...]
    joined: Mapping[str, Option]


def steps(way: Way) -> tuple[WayStep, ...]:
    """Return the joints of a way in order.

    Parameters
    ----------
    way : Way
        From :func:`fitgraph.explain.ways.ways`.
    """
    found = []
    for n, hold in enumerate(way.holds):
        pair = way.options[n], way.options[n + 1]
        meeting = {r.role: r for r in pair_of(hold.joint) or ()}
        ends = tuple(
            (meeting[o.role], length_of(o, meeting[o.role])) for o in pair if o.role in meeting
        )
        joined = {o.role: o for o in way.options[: n + 2]}
        found.append(WayStep(pair, hold, ends, joined))
    return tuple(found)
