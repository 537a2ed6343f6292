"""How one part could ever get onto another: through which parts and services, at what cost.

A way is a chain of parts, each held to the next by a joint, around which a complete build
exists for certain: with these very services, with no adapter and no extra beside, and with the
joints there that hold the chain together. So ``why`` accepts every way that is told.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from enum import StrEnum

import numpy as np

from fitgraph.explain.why import Explainer, left_open
from fitgraph.graph.chains import Chain, ChainJoint, chains
from fitgraph.graph.options import holds_for_certain
from fitgraph.model import Catalogue, Condition, Joint, Option
from fitgraph.records import dataclass
from fitgraph.solve.counting import count
from fitgraph.solve.request import NamingError, find_part
from fitgraph.solve.space import Space
from fitgraph.stopping import check


class First(StrEnum):
    """Which ways come first."""

    SHORTEST = "shortest"
    CHEAPEST = "cheapest"
    MARGIN = "margin"


@dataclass(frozen=True, slots=True)
class Way:
    """A way from one part to another.

    Parameters
    ----------
    options : tuple of Option
        The parts in a row, with the services done to them; the cheapest of those alike.
    alike : tuple of tuple of str
        For each place, the labels of all parts that would do as well.
    holds : tuple of ChainJoint
        What holds each to the next.
    price : int or None
        What the parts between and all services cost, in minor currency units; None where a
        part between has no price.
    minutes : float
        Workshop time.
    margin_mm : float or None
        The least margin inside [mm]; None where no joint of lengths is.
    tight : Joint or None
        Where that is.
    """

    options: tuple[Option, ...]
    alike: tuple[tuple[str, ...], ...]
    holds: tuple[ChainJoint, ...]
    price: int | None
    minutes: float
    margin_mm: float | None
    tight: Joint | None

    @property
    def skus(self) -> tuple[str, ...]:
        """Return the stock numbers in a row."""
        return tuple(o.part.sku for o in self.options if o.part is not None)

    @property
    def services(self) -> Mapping[str, tuple[str, ...]]:
        """Return the services done, by stock number."""
        return {o.part.sku: o.services for o in self.options if o.part and o.services}

    @property
    def steps(self) -> int:
        """Return how many parts and services it takes beside the two parts."""
        return len(self.options) - 2 + sum(len(o.services) for o in self.options)


class _Builds:
    """Whether some complete build is certain around named options."""

    def __init__(self, space: Space) -> None:
        self.space = space
        self.place = {
            (role, option.label): n
            for role, options in space.options.items()
            for n, option in enumerate(options)
        }
        self.base = left_open(space)
        self._known: dict[tuple[frozenset[tuple[str, int]], frozenset[Condition]], bool] = {}

    def exists(self, options: Sequence[Option], given: Iterable[Condition]) -> bool:
        """Return whether a build holds the options, with further conditions on other roles."""
        conditions = frozenset(given)
        # Options of a class are told apart by no joint, so neither are their builds.
        classes = frozenset(
            (o.role, int(self.space.class_of[o.role][self.place[(o.role, o.label)]]))
            for o in options
        )
        if (classes, conditions) not in self._known:
            self._known[classes, conditions] = self._exists(options, conditions)
        return self._known[classes, conditions]

    def _exists(self, options: Sequence[Option], given: Iterable[Condition]) -> bool:
        lets = {role: mask.copy() for role, mask in self.base.items()}
        for option in options:
            mask = np.zeros(len(lets[option.role]), dtype=bool)
            mask[self.place[(option.role, option.label)]] = True
            lets[option.role] = mask
        for condition in given:
            of_role = self.space.options[condition.role]
            met = np.array([holds_for_certain(o, condition) for o in of_role], dtype=bool)
            lets[condition.role] &= met
        return bool(count(self.space.plan(certain=True), self.space.weights(lets)))


def _tightest(hold: ChainJoint) -> tuple[int, float]:
    margin = np.inf if hold.margin_mm is None else hold.margin_mm
    return len(hold.given), float(margin)


def _held(builds: _Builds, chain: Chain) -> tuple[ChainJoint, ...] | None:
    """Return joints that hold a chain in some build; None where no build has them."""
    ordered = [sorted(h, key=_tightest) for h in chain.holds]
    tried: set[frozenset[Condition]] = set()
    for holds in itertools.product(*ordered):
        given = frozenset(c for h in holds for c in h.given)
        if given in tried:
            continue
        tried.add(given)
        if builds.exists(chain.options, given):
            return holds
    return None


def _price(part_price: int | None) -> tuple[bool, int]:
    return part_price is None, part_price or 0


def _way(chain: Chain, holds: tuple[ChainJoint, ...], catalogue: Catalogue) -> Way:
    options, alike = [], []
    price: int | None = 0
    for n, shape in enumerate(chain.shapes):
        last = n in (0, len(chain.shapes) - 1)
        ordered = sorted(shape.parts, key=lambda p: (not p.stock, *_price(p.price), p.sku))
        best = min(ordered, key=lambda p: (*_price(p.price), p.sku))
        option = shape.option
        chosen = Option(
            option.role,
            best,
            option.services,
            best.features if not option.services else option.features,
            option.service_price,
            option.service_mass_g,
        )
        options.append(chosen)
        alike.append(tuple(" + ".join((p.sku, *option.services)) for p in ordered))
        if price is not None:
            own = 0 if last else best.price
            price = None if own is None else price + own + option.service_price
    services = catalogue.vocabulary.services
    minutes = sum(services[s].minutes for o in options for s in o.services)
    return Way(tuple(options), tuple(alike), holds, price, minutes, chain.margin_mm, chain.tight)


def _less_work(one: Way, other: Way) -> bool:
    """Return whether a way takes the same parts and only some of another's services."""
    if [o.part for o in one.options] != [o.part for o in other.options]:
        return False
    done = [
        (set(a.services), set(b.services)) for a, b in zip(one.options, other.options, strict=True)
    ]
    return all(a <= b for a, b in done) and any(a < b for a, b in done)


def _order(way: Way, first: First) -> tuple[object, ...]:
    price = _price(way.price)
    margin = -(way.margin_mm if way.margin_mm is not None else -np.inf)
    keys = {
        First.SHORTEST: (way.steps, *price, margin),
        First.CHEAPEST: (*price, way.steps, margin),
        First.MARGIN: (margin, way.steps, *price),
    }
    return (*keys[first], tuple(o.label for o in way.options))


def every_way(
    explainer: Explainer,
    one: str,
    other: str,
    *,
    through: Iterable[str] | None = None,
    most_between: int = 2,
) -> Iterator[Way]:
    """Yield every way, those with more services than needed included, the shortest chain first.

    Takes what :func:`ways` takes.
    """
    catalogue = explainer.catalogue
    builds = _Builds(explainer.space)
    for chain in chains(catalogue, one, other, through=through, most_between=most_between):
        check()
        holds = _held(builds, chain)
        if holds is not None:
            yield _way(chain, holds, catalogue)


def ways(
    explainer: Explainer,
    one: str,
    other: str,
    *,
    through: Iterable[str] | None = None,
    most_between: int = 2,
    first: First = First.SHORTEST,
) -> tuple[Way, ...]:
    """Return all ways from one part to another through adapters and services.

    Parameters
    ----------
    explainer : Explainer
        Over the catalogue.
    one, other : str
        Stock numbers.
    through : iterable of str, optional
        Roles whose parts may stand between; those of adapters by default.
    most_between : int
        Most parts between.
    first : First
        Which come first: those of the fewest parts and services, the cheapest, or those with
        most to spare where they are tightest.

    Returns
    -------
    tuple of Way
        Each is a build that :meth:`fitgraph.explain.why.Explainer.why` accepts. Of ways with
        the same parts, those with a needless service are left out.

    Raises
    ------
    NamingError
        If a stock number is unknown, or both are the same.
    """
    catalogue = explainer.catalogue
    one, other = (find_part(catalogue, sku).sku for sku in (one, other))
    if one == other:
        raise NamingError(f"a path is between two parts, and {one} is named twice; name another")
    found = list(every_way(explainer, one, other, through=through, most_between=most_between))
    kept = [w for w in found if not any(_less_work(v, w) for v in found)]
    return tuple(sorted(kept, key=lambda w: _order(w, first)))
