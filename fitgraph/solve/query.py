"""A request laid over a compiled space: which options it lets in, at which price."""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.array_types import Bools, Floats
from fitgraph.records import dataclass
from fitgraph.solve.circuit_home import CircuitHome
from fitgraph.solve.counting import Home
from fitgraph.solve.request import Request, allowed
from fitgraph.solve.space import TENTHS, Space

__all__ = ["TENTHS", "Query", "ask"]


@dataclass(frozen=True, slots=True)
class Query:
    """What a request makes of each option.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    request : Request
        The question.
    lets : mapping of str to ndarray of bool
        Whether the request lets each option in, limits aside.
    price : mapping of str to ndarray of float
        What each option costs the rider, whole minor units.
    tenths : mapping of str to ndarray of float
        The mass of each option in whole tenths of a gram; zero where unknown.
    weighed : mapping of str to ndarray of bool
        Whether the mass is known.
    """

    space: Space
    request: Request
    lets: Mapping[str, Bools]
    price: Mapping[str, Floats]
    tenths: Mapping[str, Floats]
    weighed: Mapping[str, Bools]

    @property
    def max_tenths(self) -> float | None:
        """Return the mass limit in tenths of a gram."""
        limit = self.request.max_mass_g
        return None if limit is None else round(limit * TENTHS)

    def mask(self, *, certain: bool) -> Mapping[str, Bools]:
        """Return which options may be counted.

        Under a mass limit, an option whose mass is not known gives no
        certain build.
        """
        if certain and self.request.max_mass_g is not None:
            return {role: lets & self.weighed[role] for role, lets in self.lets.items()}
        return self.lets

    def home(self, *, certain: bool) -> Home | CircuitHome | None:
        """Return messages of the plain request, of which most requests share a part.

        They are worked out when the second request is counted, or the plain one: a single
        answer does not wait for them.
        """

        def plain() -> Mapping[str, Floats]:
            home = ask(self.space, Request())
            return home.weights(home.lets)

        return self.space.home(plain, certain=certain, now=self.request == Request())

    def weights(self, mask: Mapping[str, Bools]) -> dict[str, Floats]:
        """Return how many options of each class a mask lets in."""
        return self.space.weights(mask)


def ask(space: Space, request: Request) -> Query:
    """Lay a request over a space.

    Raises
    ------
    NamingError
        If the request names something the catalogue does not have.
    """
    rules = allowed(space.catalogue, request)
    return Query(
        space,
        request,
        {role: rules[role].lets(facts) for role, facts in space.facts.items()},
        {role: rules[role].price(facts) for role, facts in space.facts.items()},
        *space.masses,
    )
