"""Conflicts that repeat another: a ring that cannot close, told again of what stands around it.

Where a bore is too wide for its slot by itself, the nest cannot close either, and so cannot any
ring further out. Each is a minimal conflict of its own, and all say the same: the first ring that
runs out says it best.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from fitgraph.explain.conflicts import Conflict
from fitgraph.model import Joint, Reference


def _bores(joint: Joint) -> frozenset[Reference]:
    """Return the bores of the rings that a joint closes, or of the one it compares."""
    if joint.rings:
        return frozenset(r.bore for r in joint.rings if r.bore is not None)
    bore = joint.arguments.get("bore")
    return frozenset() if bore is None else frozenset([bore])


def _depth(joint: Joint) -> int:
    return len(joint.rings)


def without_echoes(conflicts: Iterable[Conflict]) -> Iterator[Conflict]:
    """Yield conflicts but those that repeat one on a ring further in.

    Parameters
    ----------
    conflicts : iterable of Conflict
        Minimal conflicts.

    Yields
    ------
    Conflict
        In the order given. Left out is a conflict on a nest whose rings include the bore of
        another conflict's only joint, where that one names no part that this one does not.
    """
    found: Sequence[Conflict] = list(conflicts)
    for conflict in found:
        if not any(_repeats(conflict, other) for other in found if other is not conflict):
            yield conflict


def _repeats(conflict: Conflict, other: Conflict) -> bool:
    joints, others = conflict.joints, other.joints
    if len(joints) != 1 or len(others) != 1 or not joints[0].rings:
        return False
    outer, inner = joints[0], others[0]
    closing = bool(inner.rings) or "slot" in inner.arguments
    further_in = closing and _depth(inner) < _depth(outer) and _bores(inner) <= _bores(outer)
    return further_in and set(other.parts) <= set(conflict.parts)
