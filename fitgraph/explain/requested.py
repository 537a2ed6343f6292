"""A request answered: its builds counted and the first listed, or why there are none."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fitgraph.explain.changes import Prefer
from fitgraph.explain.why import Explainer, Explanation
from fitgraph.model import Catalogue
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.counted import Counted
from fitgraph.solve.engine import Build
from fitgraph.solve.limits import exactly


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
    """

    catalogue: Catalogue
    request: Request
    sort: str
    count: Counted
    possible: int | None
    builds: tuple[Build, ...]
    unlimited: Listed | None = None

    @property
    def none(self) -> bool:
        """Whether there is no build at all."""
        return self.count.most == 0


def list_builds(engine: TreeEngine, request: Request, *, sort: str, limit: int) -> Listed:
    """Return how many builds there are and the first of them.

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

    Raises
    ------
    NamingError
        If the request names something the catalogue does not have.
    """
    best = engine.best(request, sort=sort, limit=max(limit, 1))
    count = engine.count(request) if best else exactly(0)
    limited = request.budget is not None or request.max_mass_g is not None
    possible = unlimited = None
    if not limited or not best:
        counted = engine.count_possible(request)
        possible = counted.number if counted.exact else None
    if not best:
        free = replace(request, budget=None, max_mass_g=None)
        if limited:
            unlimited = list_builds(engine, free, sort=sort, limit=1)
    listed = tuple(best[:limit] if limit else ())
    return Listed(engine.catalogue, request, sort, count, possible, listed, unlimited)


def explain_named(explainer: Explainer, request: Request, prefer: Prefer) -> Explanation:
    """Return whether what is owned fits together, and within what else is asked for.

    Parameters
    ----------
    explainer : Explainer
        A compiled catalogue.
    request : Request
        With a limit or filter the question is about complete builds, adapters included;
        without, about the owned parts alone.
    prefer : Prefer
        Which changes come first.

    Raises
    ------
    NamingError
        If the request names something the catalogue does not have, or two parts of one role.
    """
    limited = request != Request(have=request.have)
    found = explainer.why(request.have, with_changes=not limited, prefer=prefer)
    if not limited:
        return found
    told = explainer.explain(request, prefer=prefer)
    clashes = {(c.joint.name, c.parts): c for x in told.conflicts for c in x.clashes}
    return replace(
        found,
        verdict=told.verdict,
        conflicts=tuple(clashes.values()),
        minimal_conflicts=told.conflicts,
        changes=told.changes,
        complete=told.complete,
        needs=(),
    )
