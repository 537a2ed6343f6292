"""Unmet demand over time, against what was held at the time."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from itertools import groupby

from fitgraph.demand.served import Progress
from fitgraph.model import Enquiry
from fitgraph.solve import TreeEngine
from fitgraph.stock.coverage import Coverage, coverage


def coverage_then(
    engine: TreeEngine,
    counts: Mapping[datetime.date, Mapping[str, int]],
    enquiries: Sequence[Enquiry] | None = None,
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Coverage:
    """Return the standing of every dated enquiry on its own day.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    counts : mapping of date to (mapping of str to int)
        Pieces held by stock number, for each day on which the shelf was counted.
    enquiries : sequence of Enquiry, optional
        The catalogue's own by default.
    executor, progress
        As in :func:`fitgraph.stock.coverage`; progress is told count by count.

    Returns
    -------
    Coverage
        Each enquiry against the last count on or before its day; those without a date, or
        before the first count, are left out. ``trend`` makes months of it.
    """
    asked = engine.catalogue.enquiries if enquiries is None else enquiries
    days = sorted(counts)

    def last_count(enquiry: Enquiry) -> datetime.date:
        assert enquiry.date is not None
        return max(day for day in days if day <= enquiry.date)

    dated = [e for e in asked if e.date is not None and days and e.date >= days[0]]
    pieces = [
        coverage(engine, list(of_day), stock=counts[day], executor=executor, progress=progress)
        for day, of_day in groupby(sorted(dated, key=last_count), key=last_count)
    ]
    return Coverage(
        engine.catalogue,
        tuple(e for piece in pieces for e in piece.enquiries),
        tuple(s for piece in pieces for s in piece.standings),
        sum(piece.questions for piece in pieces),
        tuple(e for piece in pieces for e in piece.left_out),
    )
