"""Conflicts that repeat another: a ring that cannot close, told again of what stands around it.

Where a bore is too wide for its slot by itself, the nest cannot close either, and so cannot any
ring further out. Each is a minimal conflict of its own, and all say the same: the first ring that
runs out says it best.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from fitgraph.explain.conflicts import Conflict
from fitgraph.model import Joint, Reference


def _bores(joint: Joint) -> frozenset[Reference]:
    """Return the bores of the rings that a joint closes, or of the one it compares."""
    if joint.rings:
        return frozenset(r.bore for r in joint.rings if r.bore is not None)
    bore = joint.arguments.get("bore")
    return frozenset() if bore is None else frozenset([bore])


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
    found = [(conflict, _only_joint(conflict)) for conflict in conflicts]
    inner = [(c, joint) for c, joint in found if joint is not None and _closes(joint)]
    for conflict, joint in found:
        if (
            joint is None
            or not joint.rings
            or not any(
                _further_in(other, joint) and set(told.parts) <= set(conflict.parts)
                for told, other in inner
            )
        ):
            yield conflict


def _only_joint(conflict: Conflict) -> Joint | None:
    joints = conflict.joints
    return joints[0] if len(joints) == 1 else None


def _closes(joint: Joint) -> bool:
    return bool(joint.rings) or "slot" in joint.arguments


def _further_in(inner: Joint, outer: Joint) -> bool:
    return len(inner.rings) < len(outer.rings) and _bores(inner) <= _bores(outer)
