"""Enquiries that could not be asked, as data and as lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fitgraph.demand.questions import LeftOut
from fitgraph.report.blocks import Say, Tone, say_all
from fitgraph.wording import first_of

#: Conditions that are named; data has all.
_NAMED = 3


def unasked_data(left_out: Sequence[LeftOut]) -> list[dict[str, Any]]:
    """Return which enquiries were left out, and why."""
    return [{"number": one.number, "why": one.why} for one in left_out]


def without_text(conditions: Sequence[str]) -> str:
    """Return in words what did not count where it cannot be told whether something fits."""
    return (
        "What cannot be told was worked out without what lengths add up to "
        f"({first_of(conditions, _NAMED)}), which would need too much memory here: some of it does "
        "not fit. What fits is told with everything."
    )


def without_lines(conditions: Sequence[str]) -> tuple[Say, ...]:
    """Return :func:`without_text`, where there are such conditions."""
    return (Say(without_text(conditions), Tone.QUIET),) if conditions else ()


def unasked_lines(left_out: Sequence[LeftOut], limit: int) -> tuple[Say, ...]:
    """Return which enquiries were left out and why, the first few, and how many more."""
    told = [f"Left out of the enquiries, {one.called}: {one.why}" for one in left_out[:limit]]
    if (more := len(left_out) - len(told)) > 0:
        told.append(f"And {more:,} more." if told else f"Left out of the enquiries: {more:,}.")
    return say_all(told, Tone.QUIET, deep=0)
