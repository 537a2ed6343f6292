"""The plain engine: python-constraint over the parts themselves.

It walks every build, so it is for small catalogues and for checking
:class:`fitgraph.solve.TreeEngine`, with which it shares its interface.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cached_property

import numpy as np
from constraint import OptimizedBacktrackingSolver, Problem

from fitgraph.graph.joints import JointTable
from fitgraph.graph.sums import SumCondition
from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.model import Catalogue, Verdict
from fitgraph.solve.carried_sums import STEPS, in_steps
from fitgraph.solve.counted import Counted, exactly
from fitgraph.solve.engine import Build, criteria_of, make_build
from fitgraph.solve.query import Query, ask
from fitgraph.solve.request import Request
from fitgraph.solve.space import Space, compile_space

#: Walking more builds than this is not what the plain engine is for.
MOST_BUILDS = 5_000_000


class TooManyBuildsError(RuntimeError):
    """There are more builds than the plain engine walks."""


def _allows(table: JointTable, least: Verdict) -> Callable[..., bool]:
    verdicts = table.verdicts >= least
    classes = [c.tolist() for c in table.class_of]

    def allows(*options: int) -> bool:
        at = tuple(of[o] for of, o in zip(classes, options, strict=True))
        return bool(verdicts[at])

    return allows


def _keeps(condition: SumCondition, *, certain: bool) -> Callable[..., bool]:
    terms = [
        (
            [condition.roles.index(role) for role in term.roles],
            [of.tolist() for of in term.class_of],
            in_steps(term.worst if certain else term.best),
        )
        for term in condition.terms
    ]

    def keeps(*options: int) -> bool:
        total = 0.0
        for roles, classes, values in terms:
            total += values[tuple(of[options[r]] for r, of in zip(roles, classes, strict=True))]
        return total >= -EPSILON_MM * STEPS

    return keeps


class ReferenceEngine:
    """Every build, listed by python-constraint.

    Parameters
    ----------
    catalogue : Catalogue
        What the questions are asked of.
    tidy : bool
        Whether needless adapters are kept out.
    """

    def __init__(self, catalogue: Catalogue, *, tidy: bool = True) -> None:
        self.catalogue = catalogue
        self.tidy = tidy

    @cached_property
    def space(self) -> Space:
        """Return the options, joint tables and sums; the tree is not used."""
        return compile_space(self.catalogue, tidy=self.tidy)

    def _places(self, query: Query, *, certain: bool) -> Iterator[dict[str, int]]:
        mask = query.mask(certain=certain)
        domains = {role: np.flatnonzero(lets).tolist() for role, lets in mask.items()}
        if not all(domains.values()):
            return
        problem = Problem(OptimizedBacktrackingSolver())
        for role, domain in domains.items():
            problem.addVariable(role, domain)
        least = Verdict.FITS if certain else Verdict.UNKNOWN
        for table in self.space.joint_tables:
            problem.addConstraint(_allows(table, least), list(table.roles))
        for condition in self.space.sums:
            problem.addConstraint(_keeps(condition, certain=certain), list(condition.roles))
        for walked, places in enumerate(problem.getSolutionIter()):
            if walked >= MOST_BUILDS:
                raise TooManyBuildsError(
                    f"more than {MOST_BUILDS:,} builds: narrow the question, or use the tree engine"
                )
            yield places

    def _within(self, query: Query, *, certain: bool) -> Iterator[dict[str, int]]:
        budget, tenths = query.request.budget, query.max_tenths
        for places in self._places(query, certain=certain):
            if budget is not None and sum(query.price[r][n] for r, n in places.items()) > budget:
                continue
            if tenths is not None and sum(query.tenths[r][n] for r, n in places.items()) > tenths:
                continue
            yield places

    def count(self, request: Request, *, certain: bool = True) -> Counted:
        """Return the number of builds, by walking them.

        Raises
        ------
        NamingError
            If the request names something the catalogue does not have.
        TooManyBuildsError
            If there are more than :data:`MOST_BUILDS`.
        """
        query = ask(self.space, request)
        return exactly(sum(1 for _ in self._within(query, certain=certain)))

    def best(
        self, request: Request, *, sort: str = "price", limit: int = 10, certain: bool = True
    ) -> list[Build]:
        """Return the first builds of a ranking, by walking them all.

        Raises
        ------
        NamingError
            If the request names something the catalogue does not have.
        TooManyBuildsError
            If there are more than :data:`MOST_BUILDS`.
        """
        query = ask(self.space, request)
        costs = criteria_of(query, sort).costs
        ranked = sorted(
            self._within(query, certain=certain),
            key=lambda places: (
                *np.sum([costs[r][:, n] for r, n in places.items()], axis=0).tolist(),
                [places[r] for r in self.space.roles],
            ),
        )
        return [make_build(self.space, query, places) for places in ranked[:limit]]
