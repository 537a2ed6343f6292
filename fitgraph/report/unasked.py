"""Enquiries that could not be asked, as data and as lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fitgraph.demand.questions import LeftOut
from fitgraph.report.blocks import Say, Tone


def unasked_data(left_out: Sequence[LeftOut]) -> list[dict[str, Any]]:
    """Return which enquiries were left out, and why."""
    return [{"number": one.number, "why": one.why} for one in left_out]


def unasked_lines(left_out: Sequence[LeftOut], limit: int | None = None) -> tuple[Say, ...]:
    """Return a line for each enquiry that was left out, or for the first few."""
    return tuple(
        Say(f"Left out: {unasked_name(one)}: {one.why}", Tone.QUIET) for one in left_out[:limit]
    )


def unasked_name(one: LeftOut) -> str:
    """Return what an enquiry that was left out is called."""
    return f"enquiry {one.number.strip() or 'without a number'}"
