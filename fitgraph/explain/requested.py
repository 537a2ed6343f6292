"""A request answered: its builds counted and the first listed, or why there are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitgraph.explain.representatives import Representative, representatives
from fitgraph.model import Catalogue
from fitgraph.records import dataclass
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.cores import (
    Cores,
    Tallies,
    best_builds,
    count_all,
    count_builds,
    deciding,
    fixed,
    list_cores,
)
from fitgraph.solve.counted import Counted, exactly
from fitgraph.solve.engine import SORTS, Build
from fitgraph.solve.limits import count_within
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.query import Query, ask
from fitgraph.solve.request import Services

#: Cores up to which builds within limits are counted core by core.
_SUMMED = 100

#: Builds of each order that say which options stand for all, where cores are too many to list.
_CANDIDATES = (24, 6)


@dataclass(frozen=True, slots=True)
class Listed:
    """How many builds there are, and the first of them.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts and words are meant.
    request : Request
        What was asked for.
    sort : str
        The order of the builds.
    count : Counted
        How many there are.
    possible : int or None
        How many hold or may hold; None where it was not counted.
    builds : tuple of Build
        The first of them.
    unlimited : Listed or None
        The same without limits on price and mass, where there is no build within them.
    cores : Counted or None
        How many cores there are: builds of which only the roles that decide are told apart;
        None where it was not counted.
    answers : tuple of Representative
        The few of them that stand for all.
    opened : Representative or None
        Where these are the fillings of one core, that.
    """

    catalogue: Catalogue
    request: Request
    sort: str
    count: Counted
    possible: int | None
    builds: tuple[Build, ...]
    unlimited: Listed | None = None
    cores: Counted | None = None
    answers: tuple[Representative, ...] = ()
    opened: Representative | None = None

    @property
    def none(self) -> bool:
        """Whether there is no build at all."""
        return self.count.most == 0


def list_builds(
    engine: TreeEngine, request: Request, *, sort: str, limit: int, rows: int | None = None
) -> Listed:
    """Return how many builds there are, the first of them, and the cores that stand for all.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    request : Request
        The question.
    sort : {'price', 'mass', 'strength'}
        Cheapest, lightest or strongest first.
    limit : int
        How many are listed; 0 only counts.
    rows : int, optional
        How many cores are listed; without, they are left out.

    Raises
    ------
    NamingError
        If the request names something the catalogue does not have.
    """
    limited = request.budget is not None or request.max_mass_g is not None
    query = ask(engine.space, request)
    best = best_builds(query, sort=sort, limit=max(limit, 1))
    possible = unlimited = None
    cores: Counted | None = exactly(0) if rows is not None else None
    answers: tuple[Representative, ...] = ()
    count = exactly(0)
    if best:
        listed = None if rows is None else _cores(query)
        count = _count(query, listed, limited=limited)
        if rows is not None:
            cores, answers = _answers(engine, query, listed, count, sort, rows, limited=limited)
    if not limited or not best:
        possible = _possible(engine, request)
    if not best:
        free = replace(request, budget=None, max_mass_g=None)
        if limited:
            unlimited = list_builds(engine, free, sort=sort, limit=1)
    return Listed(
        engine.catalogue,
        request,
        sort,
        count,
        possible,
        tuple(best[:limit] if limit else ()),
        unlimited,
        cores,
        answers,
    )


def _possible(engine: TreeEngine, request: Request) -> int | None:
    """Return how many builds hold or may hold; None where that is not known exactly."""
    try:
        counted = engine.count_possible(request)
    except TooWideError:  # what is certain has a smaller plan
        return None
    return counted.number if counted.exact else None


def _cores(query: Query) -> Cores | None:
    """Return a query's cores; None where they are too many to be listed."""
    try:
        return list_cores(query)
    except TooWideError:
        return None


def _count(query: Query, cores: Cores | None, *, limited: bool) -> Counted:
    """Return how many builds there are: of few cores by adding up their fillings."""
    if cores is not None and limited and len(cores) <= _SUMMED and cores.count.exact:
        tallies = Tallies(cores, np.arange(len(cores), dtype=np.intp))
        numbers = [tallies.fillings(n) for n in range(len(cores))]
        if all(number is not None for number in numbers):
            return exactly(sum(number for number in numbers if number is not None))
    if cores is not None and not limited:  # along the plan that the cores were listed by
        return exactly(count_builds(query))
    return count_within(query, certain=True)


def _answers(
    engine: TreeEngine,
    query: Query,
    cores: Cores | None,
    count: Counted,
    sort: str,
    rows: int,
    *,
    limited: bool,
) -> tuple[Counted, tuple[Representative, ...]]:
    """Return how many cores there are, and the few that stand for all."""
    if cores is not None:
        return cores.count, representatives(cores, sort=sort, most=rows)
    few = _narrowed(engine, query)
    seen = 1 if few is None else max(few.count.least, 1)
    if query.lets.keys() <= set(deciding(query)):  # each build is a core of its own
        counted = count
    else:
        counted = _counted(query, count, seen, limited=limited)
    return counted, () if few is None else representatives(few, sort=sort, most=rows)


def _counted(query: Query, count: Counted, seen: int, *, limited: bool) -> Counted:
    """Return how many cores there are, of which some were seen; each has a build."""
    try:
        number = count_all(query)
    except TooWideError:
        return Counted(count.number, seen, count.most, count.confidence)
    if not limited:
        return exactly(number)
    if number <= count.most:
        return Counted(number, seen, number)
    most = max(count.most, seen)
    return Counted(most, seen, most, count.confidence)


def _narrowed(engine: TreeEngine, query: Query) -> Cores | None:
    """Return the cores among options that some of the best builds have."""
    roles = deciding(query)
    for most in _CANDIDATES:
        asked = query.request
        builds = [b for s in SORTS for b in engine.best(asked, sort=s, limit=most)]
        for titled in (replace(asked, in_stock=True), replace(asked, services=Services.NONE)):
            builds += engine.best(titled, sort="price", limit=1)
        lets = {}
        for role in query.lets.keys() & roles:
            chosen = {id(b.options.get(role)) for b in builds}
            empty = id(None) in chosen  # no option stands for nothing
            lets[role] = np.array(
                [id(o) in chosen or (empty and o.part is None) for o in query.space.options[role]],
                dtype=bool,
            )
        narrow = replace(query, lets={**query.lets, **lets})
        found = _cores(narrow)
        if found is not None:
            return found
    return None


def list_fillings(
    engine: TreeEngine, request: Request, core: Representative, *, sort: str, limit: int
) -> Listed:
    """Return the builds that share one core.

    Parameters
    ----------
    engine, request, sort, limit
        As in :func:`list_builds`.
    core : Representative
        One of its answers.
    """
    query = fixed(ask(engine.space, request), core.places)
    builds = best_builds(query, sort=sort, limit=max(limit, 1))
    return Listed(
        engine.catalogue,
        request,
        sort,
        core.fillings,
        None,
        tuple(builds[:limit]),
        opened=core,
    )
