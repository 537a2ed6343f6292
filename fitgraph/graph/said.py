"""What a joint says of one combination."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.joints import judge_all
from fitgraph.graph.sums import judge_sums
from fitgraph.graph.unknowns import judge_shared
from fitgraph.mechanics.limits_of_size import UNBOUNDED_MM, Limits
from fitgraph.mechanics.rules import RULES
from fitgraph.model import Joint, Option, Presence, Verdict


class Said(NamedTuple):
    """What a joint says of one combination.

    Attributes
    ----------
    verdict : Verdict
        Fits where the joint is not there.
    margin : float or None
        In mm; see :class:`fitgraph.mechanics.rules.Judgement`.
    there : Presence
        Whether the joint is there at all.
    interval, wanted : tuple of float or None
        What was measured, and what it has to lie in [mm]; infinite where it is not known or not
        bounded, None where the rule has no lengths.
    """

    verdict: Verdict
    margin: float | None
    there: Presence
    interval: tuple[float, float] | None = None
    wanted: tuple[float, float] | None = None


def _ends(limits: Limits | None) -> tuple[float, float] | None:
    if limits is None:
        return None
    lo, hi = (float(np.asarray(end).item()) for end in limits)
    far = UNBOUNDED_MM / 10
    return (-math.inf if lo < -far else lo, math.inf if hi > far else hi)


def judge(joint: Joint, chosen: Mapping[str, Option]) -> Said:
    """Judge one combination.

    Parameters
    ----------
    joint : Joint
        The joint.
    chosen : mapping of str to Option
        An option for every role that the joint touches.

    Returns
    -------
    Said
        The verdict, its margin and whether the joint is there.
    """
    columns = columns_of({role: [chosen[role]] for role in joint.roles}, WordCodes())
    if joint.shares:
        return Said(judge_shared(joint, columns), None, Presence.PRESENT)
    if RULES[joint.rule].sums:
        said, there = judge_sums(joint, columns)
    else:
        said, there = judge_all(joint, columns)
    margin = float(said.margin.item())
    if there.item() == Presence.ABSENT:
        return Said(Verdict.FITS, None, Presence.ABSENT)
    return Said(
        Verdict(int(said.verdict.item())),
        None if math.isnan(margin) else margin,
        Presence(int(there.item())),
        _ends(said.interval),
        _ends(said.wanted),
    )
