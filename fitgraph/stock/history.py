"""Unmet demand over time, against what was held at the time."""

from __future__ import annotations

import datetime
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor

import numpy as np
import numpy.typing as npt

from fitgraph.demand.menus import Listing, Menus, Shelf
from fitgraph.demand.questions import questions_of
from fitgraph.demand.served import Asked, Progress, in_pieces, joined, served
from fitgraph.model import Enquiry
from fitgraph.solve import TreeEngine
from fitgraph.solve.arrays import dense
from fitgraph.stock.coverage import Coverage, Standing, coverage


def coverage_then(
    engine: TreeEngine,
    counts: Mapping[datetime.date, Mapping[str, int]],
    enquiries: Sequence[Enquiry] | None = None,
    *,
    today: Coverage | None = None,
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
    today : Coverage, optional
        Of the same enquiries against any one shelf, if that is at hand: what can be had by
        ordering, or perhaps, does not hang on the shelf.
    executor, progress
        As in :func:`fitgraph.stock.coverage`.

    Returns
    -------
    Coverage
        Each enquiry against the last count on or before its day; those without a date, or
        before the first count, are left out. ``trend`` makes months of it.
    """
    asked = engine.catalogue.enquiries if enquiries is None else enquiries
    days = sorted(counts)
    dated = [
        (bisect_right(days, e.date) - 1, e)
        for e in asked
        if e.date is not None and days and e.date >= days[0]
    ]
    dated.sort(key=lambda pair: pair[0])
    menus = Menus(engine.space)
    questions, kept, left_out = questions_of(menus, [e for _, e in dated])
    now = {} if today is None else dict(zip(today.enquiries, today.standings, strict=True))
    if not now.keys() >= set(kept):
        today = coverage(engine, kept, executor=executor, progress=progress)
        now = dict(zip(today.enquiries, today.standings, strict=True))
    day = np.array([bisect_right(days, e.date) - 1 for e in kept if e.date], dtype=np.intp)
    # What one question comes to on one day.
    first, number = dense([questions.of, day])
    found = np.array([min(now[kept[n]], Standing.CATALOGUE) for n in first], dtype=np.int8)
    # A shelf is a part of what is sold, so what is not certain with all that is not with it.
    places, pieces = [], []
    for n, on in enumerate(days):
        at = np.flatnonzero((day[first] == n) & (found == Standing.CATALOGUE))
        shelf = Shelf(held=menus.held(counts[on]))
        places.append(at)
        pieces.append(questions.asked_of(shelf, questions.of[first[at]]))
    if sum(len(at) for at in places):
        put = in_pieces(_sure, menus, [joined(pieces)], executor, progress)
        found[np.concatenate(places)[np.concatenate(put)]] = Standing.STOCK
    each = tuple(Standing)
    standings = tuple(each[s] for s in found[number].tolist())
    return Coverage(engine.catalogue, kept, standings, len(first), left_out)


def _sure(listing: Listing, asked: Asked) -> npt.NDArray[np.bool_]:
    return served(listing, asked, certain=True).yes
