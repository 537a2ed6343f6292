"""Questions about builds, answered over a compiled space."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cached_property

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.graph.options import skus_of, work_on
from fitgraph.model import Catalogue, Option, Verdict
from fitgraph.records import dataclass
from fitgraph.solve.best import Criteria
from fitgraph.solve.counted import Counted
from fitgraph.solve.fronts import Fronts
from fitgraph.solve.limits import count_within
from fitgraph.solve.query import TENTHS, Query, ask
from fitgraph.solve.ranked import best_of, ranked
from fitgraph.solve.request import Request
from fitgraph.solve.space import Space, compile_space

#: What builds can be sorted by.
SORTS = ("price", "mass", "strength")

#: Strengths are compared to a thousandth of a newton metre.
_STRENGTH_STEPS = 1000

#: Stands for a mass or strength that nobody knows: behind all known ones.
_LAST = float(2**40)


@dataclass(frozen=True, slots=True)
class Build:
    """One option for each role, in which every joint is made.

    Parameters
    ----------
    options : mapping of str to Option
        By role; empty roles are left out.
    price : int
        What it costs the rider, in minor currency units: owned parts cost
        nothing.
    mass_g : float or None
        Of the whole, None where a part's mass is not known.
    strength_nm : float or None
        Bending moment that the compared tube bears again and again, in N m.
    """

    options: Mapping[str, Option]
    price: int
    mass_g: float | None
    strength_nm: float | None

    @property
    def parts(self) -> dict[str, str]:
        """Return the stock number for each filled role."""
        return skus_of(self.options)

    @property
    def services(self) -> tuple[tuple[str, str], ...]:
        """Return the services as pairs of stock number and service."""
        return work_on(self.options)


@dataclass(frozen=True, slots=True)
class Remaining:
    """What is left of one role after a request.

    Parameters
    ----------
    verdicts : ndarray of int8
        For each option, whether a build can have it: fits, unknown (only if
        an unknown dimension turns out well), fails.
    builds : ndarray of object
        For each option, the exact number of builds with it, limits aside.
    """

    verdicts: npt.NDArray[np.int8]
    builds: npt.NDArray[np.object_]


def make_build(space: Space, query: Query, chosen: Mapping[str, int]) -> Build:
    """Return the build made of one option of each role, by their places."""
    options = {r: space.options[r][i] for r, i in chosen.items()}
    masses = [o.mass_g for o in options.values()]
    strengths = [
        float(space.strength_nm[r][i])
        for r, i in chosen.items()
        if not np.isnan(space.strength_nm[r][i])
    ]
    return Build(
        {r: o for r, o in options.items() if o.part is not None},
        int(sum(query.price[r][i] for r, i in chosen.items())),
        None if None in masses else float(sum(m for m in masses if m is not None)),
        min(strengths) if strengths else None,
    )


def _objective(query: Query, role: str, sort: str) -> npt.NDArray[np.float64]:
    if sort == "price":
        return query.price[role]
    if sort == "mass":
        return np.where(query.weighed[role], query.tenths[role], _LAST)
    if sort == "strength":
        strength = query.space.strength_nm[role]
        source = query.space.catalogue.vocabulary.strength
        if source is None or source.outside.role != role:
            return np.zeros(len(strength))
        return np.where(np.isnan(strength), _LAST, -np.rint(strength * _STRENGTH_STEPS))
    raise ValueError(f"builds are sorted by one of {', '.join(SORTS)}, not by {sort!r}")


def _cost(query: Query, role: str, sort: str) -> npt.NDArray[np.float64]:
    """Return what each option adds to what a ranking makes least.

    Hardly anything tells strength apart: of equals the cheaper comes first, so that a search need
    not keep them all. A strength that is not known comes after all that are.
    """
    objective = _objective(query, role, sort)
    if sort != "strength":
        return objective
    dearest = 1.0 + sum(float(of.max(initial=0.0)) for of in query.price.values())
    return np.where(objective == _LAST, 1.0, objective) * dearest + query.price[role]


def criteria_of(query: Query, sort: str) -> Criteria:
    """Return the objective and the two limits of a query as additive criteria."""
    request = query.request
    limits = [request.budget, query.max_tenths]
    return Criteria(
        {
            role: np.array([_cost(query, role, sort), query.price[role], query.tenths[role]])
            for role in query.space.options
        },
        np.array([np.inf if x is None else float(x) for x in limits]),
    )


class TreeEngine:
    """Exact answers at any size, by messages along a plan of elimination.

    Parameters
    ----------
    catalogue : Catalogue
        What the questions are asked of.
    tidy : bool
        Whether needless adapters are kept out.
    compiled : callable, optional
        Compiles a catalogue, as :func:`fitgraph.solve.compile_space` does.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        *,
        tidy: bool = True,
        compiled: Callable[..., Space] | None = None,
    ) -> None:
        self.catalogue = catalogue
        self.tidy = tidy
        self._compiled = compiled

    @cached_property
    def space(self) -> Space:
        """Return the compiled catalogue."""
        return (self._compiled or compile_space)(self.catalogue, tidy=self.tidy)

    def untidy(self) -> TreeEngine:
        """Return the engine for the question whether named parts fit, needless ones included."""
        return TreeEngine(self.catalogue, tidy=False, compiled=self._compiled)

    def count(self, request: Request) -> Counted:
        """Return the number of builds.

        Parameters
        ----------
        request : Request
            The question.

        Returns
        -------
        Counted
            Exact, or an estimate with its interval.

        Raises
        ------
        NamingError
            If the request names something the catalogue does not have.
        """
        return count_within(ask(self.space, request), certain=True)

    def count_possible(self, request: Request) -> Counted:
        """Return the number of builds that hold or, for all that is known, may hold."""
        return count_within(ask(self.space, request), certain=False)

    def best(
        self, request: Request, *, sort: str = "price", limit: int = 10, certain: bool = True
    ) -> list[Build]:
        """Return the first builds of a ranking, provably the best.

        Parameters
        ----------
        request : Request
            The question.
        sort : {'price', 'mass', 'strength'}
            Cheapest, lightest or strongest first.
        limit : int
            How many.
        certain : bool
            Whether builds that are only possible are left out.

        Returns
        -------
        list of Build
            Fewer than `limit` only where there are fewer.
        """
        query = ask(self.space, request)
        found = best_of(
            self.space,
            query.mask(certain=certain),
            criteria_of(query, sort),
            limit,
            certain=certain,
        )
        return self._builds(query, found)

    def ranked(
        self, request: Request, *, sort: str = "price", certain: bool = True
    ) -> Iterator[Build]:
        """Yield every build of a ranking, provably in its order, as long as more are asked for.

        Parameters
        ----------
        request, sort, certain
            As in :meth:`best`.

        Yields
        ------
        Build
            Cheapest, lightest or strongest first.
        """
        query = ask(self.space, request)
        lets, criteria = query.mask(certain=certain), criteria_of(query, sort)
        for found in ranked(self.space, lets, criteria, certain=certain):
            yield from self._builds(query, found)

    def front(self, request: Request, *, certain: bool = True) -> list[Build]:
        """Return the exact Pareto front of price, mass and strength.

        Parameters
        ----------
        request : Request
            The question.
        certain : bool
            Whether builds that are only possible are left out.

        Returns
        -------
        list of Build
            Cheapest first: for every trade of price, mass and strength that
            no build betters in one without losing in another, one build.
            Options of unknown mass are left out.

        Raises
        ------
        TooWideError
            If the rows of the plan would need more memory than the ceiling.
        """
        query = ask(self.space, request)
        return self._builds(query, self._fronts(query, certain=certain).exact())

    def first_front(self, request: Request, *, certain: bool = True) -> list[Build]:
        """Return some builds of which none betters another, soon: a coarse front.

        Parameters
        ----------
        request, certain
            As in :meth:`front`.

        Returns
        -------
        list of Build
            Cheapest first; most are on the exact front or near it.

        Raises
        ------
        TooWideError
            As from :meth:`front`.
        """
        query = ask(self.space, request)
        return self._builds(query, self._fronts(query, certain=certain).coarse())

    def _three(
        self, query: Query, *, certain: bool
    ) -> tuple[dict[str, Bools], dict[str, Floats], Floats]:
        """Return what may be used for a front, three criteria and their limits."""
        request = query.request
        lets = {r: m & query.weighed[r] for r, m in query.mask(certain=certain).items()}
        costs = {
            r: np.array([query.price[r], query.tenths[r], _objective(query, r, "strength")])
            for r in self.space.options
        }
        limits = [request.budget, query.max_tenths, None]
        return lets, costs, np.array([np.inf if x is None else float(x) for x in limits])

    def _fronts(self, query: Query, *, certain: bool) -> Fronts:
        space = self.space
        source = space.catalogue.vocabulary.strength
        third = space.roles[0] if source is None else source.outside.role
        if third not in space.roles:
            third = space.roles[0]
        support = space.support(certain=certain)
        return Fronts(support, third, space.class_of, *self._three(query, certain=certain))

    def _builds(self, query: Query, found: tuple[dict[str, Ints], Floats]) -> list[Build]:
        """Return the builds of some options of each role, as :func:`make_build` makes one."""
        space, (chosen, points) = self.space, found
        zero = np.zeros(len(points))
        price = sum((query.price[r][o] for r, o in chosen.items()), zero)
        mass = sum((space.mass_g[r][o] for r, o in chosen.items()), zero)
        strengths = [space.strength_nm[r][o] for r, o in chosen.items()]
        strength = np.fmin.reduce([np.full(len(points), np.nan), *strengths])
        columns = [[space.options[r][n] for n in o.tolist()] for r, o in chosen.items()]
        rows = zip(*columns, strict=True)
        return [
            Build(
                {o.role: o for o in row if o.part is not None},
                int(p),
                None if np.isnan(m) else m,
                None if np.isnan(s) else s,
            )
            for row, p, m, s in zip(
                rows, price.tolist(), mass.tolist(), strength.tolist(), strict=True
            )
        ]

    @property
    def left_out(self) -> tuple[str, ...]:
        """Return the conditions, by title, without which it is told what is only possible.

        With them a plan would need more memory than the ceiling: so an option that is told to be
        unknown may fail. None as a rule; what fits is told with all of them in any case.
        """
        titles = (c.joint.title for c in self.space.left_out(certain=False))
        return tuple(dict.fromkeys(titles))

    def possible(self, request: Request) -> dict[str, npt.NDArray[np.int8]]:
        """Return, for every option of every role, whether it can be had, without counting.

        Parameters
        ----------
        request : Request
            The question.

        Returns
        -------
        dict of str to ndarray of int8
            The verdicts of :meth:`remaining`, which has how often as well. What
            :attr:`left_out` names does not count for those that are unknown.
        """
        query = ask(self.space, request)
        sure, maybe = (self._possible(query, certain=certain) for certain in (True, False))
        return {r: _verdicts(sure[r], maybe[r]) for r in self.space.options}

    def _possible(self, query: Query, *, certain: bool) -> dict[str, Bools]:
        space = self.space
        weights = query.weights(query.mask(certain=certain))
        if not certain and self.left_out:
            found = space.perhaps(weights)
        else:
            found = space.possible(weights, query.home(certain=certain), certain=certain)
        return {r: found[r][of_role] for r, of_role in space.class_of.items()}

    def remaining(self, request: Request) -> dict[str, Remaining]:
        """Return, for every option of every role, whether and how often it can be had.

        An option that the request itself keeps out (another part is named
        for the role, say) is judged as if it were taken instead. What
        :attr:`left_out` names does not count for those that are unknown.
        """
        query, space = ask(self.space, request), self.space
        through = space.through(
            query.weights(query.mask(certain=True)), query.home(certain=True), certain=True
        )
        maybe = self._possible(query, certain=False)
        result = {}
        for role, of_role in space.class_of.items():
            builds = through[role][of_role]
            sure = np.asarray(builds > 0, dtype=bool)
            whole = np.array([int(b) for b in builds], dtype=object)
            result[role] = Remaining(_verdicts(sure, maybe[role]), whole)
        return result


def _verdicts(sure: Bools, maybe: Bools) -> npt.NDArray[np.int8]:
    """Return verdicts from whether a certain build, or any, has each option."""
    found = np.full(len(sure), Verdict.FAILS, dtype=np.int8)
    found[maybe] = Verdict.UNKNOWN
    found[sure] = Verdict.FITS
    return found


__all__ = [
    "SORTS",
    "TENTHS",
    "Build",
    "Counted",
    "Remaining",
    "TreeEngine",
    "criteria_of",
    "make_build",
]
