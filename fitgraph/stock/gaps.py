"""What is asked for and cannot be built, and what is held and cannot be used, in one answer."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from concurrent.futures import Executor

from fitgraph.demand.served import Progress
from fitgraph.model import Catalogue
from fitgraph.records import dataclass
from fitgraph.solve import TreeEngine
from fitgraph.stock.coverage import Coverage, coverage
from fitgraph.stock.history import coverage_then
from fitgraph.stock.in_turn import InTurn, in_turn
from fitgraph.stock.reliance import Reliance, reliance
from fitgraph.stock.stranded import Stranded, stranded


@dataclass(frozen=True, slots=True)
class Gaps:
    """Gaps in stock.

    Parameters
    ----------
    coverage : Coverage
        The standing of every enquiry, against today's shelf.
    then : Coverage
        The same against the shelf of each enquiry's day, where it was counted.
    stranded : tuple of Stranded
        Parts held without a use.
    reliance : Reliance
        Parts on which much depends.
    by : tuple of str
        One or two groupings that are shown.
    in_turn : InTurn
        How many enquiries are served as pieces run out.
    """

    coverage: Coverage
    then: Coverage
    stranded: tuple[Stranded, ...]
    reliance: Reliance
    by: tuple[str, ...]
    in_turn: InTurn


def default_groupings(catalogue: Catalogue) -> tuple[str, str]:
    """Return the groupings that are shown unless others are asked for: down, and across."""
    return (next(iter(catalogue.vocabulary.groups), "style"), "material")


def gaps(
    engine: TreeEngine,
    counts: Mapping[datetime.date, Mapping[str, int]],
    by: tuple[str, ...] = (),
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Gaps:
    """Return the gaps in a shop's stock.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    counts : mapping of date to (mapping of str to int)
        Pieces held by stock number, for each day on which the shelf was counted.
    by : tuple of str
        One or two groupings of enquiries; :func:`default_groupings` by default.
    executor, progress
        As in :func:`fitgraph.stock.coverage`.
    """
    today = coverage(engine, executor=executor, progress=progress)
    return Gaps(
        today,
        coverage_then(engine, counts, today=today, executor=executor, progress=progress),
        stranded(engine),
        reliance(engine, executor=executor, progress=progress),
        by or default_groupings(engine.catalogue),
        in_turn(engine),
    )
