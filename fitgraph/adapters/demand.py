"""What requests make of each role, for many requests at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.model import Catalogue, Role
from fitgraph.records import dataclass
from fitgraph.solve.messages import Demands
from fitgraph.solve.query import TENTHS
from fitgraph.solve.request import AllowedRole, Facts, Request, check_material, named_by_role
from fitgraph.solve.space import Space

#: Bits of a float64 that hold whole numbers exactly.
_BITS = 53


@dataclass(frozen=True, slots=True)
class FillTerms:
    """The distinct ways in which requests let parts fill a role, and each request's own."""

    allowed: tuple[AllowedRole, ...]
    of: Ints

    def part(self, places: Ints) -> FillTerms:
        """Return the terms of some of the requests."""
        kept, of = np.unique(self.of[places], return_inverse=True)
        return FillTerms(tuple(self.allowed[n] for n in kept), of.ravel().astype(np.intp))


def terms(catalogue: Catalogue, requests: Sequence[Request]) -> dict[str, FillTerms]:
    """Return for each role the distinct terms that requests set, and whose they are.

    Raises
    ------
    NamingError
        If a request names something the catalogue does not have.
    """
    roles = catalogue.vocabulary.roles
    # What a request says of every role it names nothing for; requests share few of these.
    manners: dict[tuple[bool, str | None, str], int] = {}
    examples: list[Request] = []
    manner_of = np.empty(len(requests), dtype=np.intp)
    named: dict[str, list[tuple[int, frozenset[str], frozenset[str]]]] = {r: [] for r in roles}
    nothing: frozenset[str] = frozenset()
    for n, request in enumerate(requests):
        manner = (request.in_stock, request.material, request.services.value)
        if manner not in manners:
            manners[manner] = len(manners)
            examples.append(request)
        manner_of[n] = manners[manner]
        have = named_by_role(catalogue, request.have)
        want = named_by_role(catalogue, request.want) if request.want else {}
        for name in {**have, **want}:
            named[name].append((n, have.get(name, nothing), want.get(name, nothing)))
    found = {}
    for name, role in roles.items():
        allowed = [_allowed(role, like, nothing, nothing) for like in examples]
        of, known = manner_of.copy(), {}
        for n, owned, wanted in named[name]:
            key = (int(manner_of[n]), owned, wanted)
            if key not in known:
                known[key] = len(allowed)
                allowed.append(_allowed(role, examples[key[0]], owned, wanted))
            of[n] = known[key]
        found[name] = FillTerms(tuple(allowed), of)
    return found


def _allowed(
    role: Role, like: Request, owned: frozenset[str], wanted: frozenset[str]
) -> AllowedRole:
    """Return what a request lets fill a role, the parts it names for it given."""
    material = check_material(like.material) if like.material and role.by_material else None
    return AllowedRole(owned, owned | wanted, role.fill, like.in_stock, material, like.services)


@dataclass(frozen=True, slots=True)
class Offers:
    """What the terms of a role let in: one row for each option that some terms allow.

    Parameters
    ----------
    terms, place : ndarray of int
        Which terms, and which option.
    price, tenths : ndarray of float
        What it costs the rider, and its mass in tenths of a gram.
    weighed : ndarray of bool
        Whether its mass is known.
    count : int
        How many terms there are.
    """

    terms: Ints
    place: Ints
    price: Floats
    tenths: Floats
    weighed: Bools
    count: int


def _some(facts: Facts, skus: Iterable[str]) -> tuple[Facts, Ints]:
    """Return the facts of the options of some stock numbers, and where these stand."""
    at = [(sku, n) for sku in sorted(skus) for n in facts.places.get(sku, ())]
    places: dict[str, tuple[int, ...]] = {}
    for k, (sku, _) in enumerate(at):
        places[sku] = (*places.get(sku, ()), k)
    picked = np.array([n for _, n in at], dtype=np.intp)
    return (
        Facts(
            places,
            facts.void[picked],
            facts.serviced[picked],
            facts.sold[picked],
            facts.stocked[picked],
            facts.price[picked],
            facts.service_price[picked],
            tuple(facts.materials[n] for n in picked),
        ),
        picked,
    )


def offers(found: FillTerms, facts: Facts, mass_g: Floats) -> Offers:
    """Return what the terms of a role let in."""
    which, places, prices = [], [], []
    everything = np.arange(len(mass_g), dtype=np.intp)
    for n, allowed in enumerate(found.allowed):
        # Where parts are named nothing else is let in, so only these have to be looked at.
        few, at = _some(facts, allowed.named) if allowed.named else (facts, everything)
        lets = allowed.lets(few)
        places.append(at[lets])
        prices.append(allowed.price(few)[lets])
        which.append(np.full(len(places[-1]), n, dtype=np.intp))
    place = np.concatenate([*places, everything[:0]])
    return Offers(
        np.concatenate([*which, everything[:0]]),
        place,
        np.concatenate([*prices, np.zeros(0)]),
        np.rint(np.nan_to_num(mass_g) * TENTHS)[place],
        ~np.isnan(mass_g)[place],
        len(found.allowed),
    )


@dataclass(frozen=True, slots=True)
class Scale:
    """How price and mass of a build go into one number that can be read back as both.

    Parameters
    ----------
    price, mass : int
        Weights of price in minor units and of mass in tenths of a gram.
    shift : float
        A power of two above any sum of what breaks ties: the price, or the mass where its
        weight is zero.
    """

    price: int
    mass: int
    shift: float

    @property
    def factors(self) -> tuple[float, float]:
        """Return what a price and a mass are multiplied by before they are added."""
        tie = (1.0, 0.0) if self.mass else (0.0, 1.0)
        return self.price * self.shift + tie[0], self.mass * self.shift + tie[1]

    def read(self, values: Floats) -> tuple[Floats, Floats, Floats]:
        """Return the weighted sum, price and mass in tenths; infinite where the value is."""
        there = np.isfinite(values)
        safe = np.where(there, values, 0.0)
        first = np.floor(safe / self.shift)
        tie = safe - first * self.shift
        if self.mass:
            price, mass = tie, (first - self.price * tie) / self.mass
        else:
            price, mass = first / self.price, tie
        first, price, mass = (np.where(there, x, np.inf) for x in (first, price, mass))
        return first, price, mass

    def limit(self, budget: Floats, most_tenths: Floats) -> Floats:
        """Return what the weighted sum cannot exceed in a build that keeps both limits."""
        limit = np.zeros(np.broadcast(budget, most_tenths).shape)
        if self.price:
            limit = limit + self.price * budget
        if self.mass:
            limit = limit + self.mass * most_tenths
        return limit


def scales(
    space: Space,
    role: str,
    extra: tuple[Floats, Floats],
    *,
    mass: bool,
) -> list[Scale]:
    """Return the scales that settle requests.

    Parameters
    ----------
    space : Space
        Gives the largest sums there can be.
    role : str
        The role whose part is made.
    extra : tuple of ndarray
        Prices and masses in tenths of what could stand there.
    mass : bool
        Whether requests limit the mass.

    Raises
    ------
    ValueError
        If prices and masses are too large to be added exactly.
    """
    most_price = float(extra[0].max(initial=0)) + sum(
        float((f.price + f.service_price).max(initial=0))
        for r, f in space.facts.items()
        if r != role
    )
    most_mass = float(extra[1].max(initial=0)) + sum(
        float(np.rint(np.nan_to_num(m) * TENTHS).max(initial=0))
        for r, m in space.mass_g.items()
        if r != role
    )
    price_bits, mass_bits = (int(x).bit_length() + 1 for x in (most_price, most_mass))
    if price_bits + mass_bits > _BITS:
        raise ValueError("prices and masses are too large to be added together exactly")
    found = [Scale(1, 0, float(2**mass_bits))]
    if mass:
        found.append(Scale(0, 1, float(2**price_bits)))
    return found


def costs(
    sizes: Mapping[str, int],
    class_of: Mapping[str, Ints],
    of: Mapping[str, Ints],
    let: Mapping[str, Offers],
    scale: Scale,
    *,
    weighed: bool,
) -> Demands:
    """Return the least cost of each class of each role, for every request.

    Parameters
    ----------
    sizes : mapping of str to int
        The number of classes of each role.
    class_of : mapping of str to ndarray of int
        The class of each option.
    of : mapping of str to ndarray of int
        The terms of each request.
    let : mapping of str to Offers
        From :func:`offers`.
    scale : Scale
        How price and mass count.
    weighed : bool
        Whether options of unknown mass are left out.
    """
    values: dict[str, Floats] = {}
    of_price, of_mass = scale.factors
    for role, offer in let.items():
        table = np.full((offer.count, sizes[role]), np.inf)
        cost = of_price * offer.price + of_mass * offer.tenths
        if weighed:
            cost = np.where(offer.weighed, cost, np.inf)
        np.minimum.at(table, (offer.terms, class_of[role][offer.place]), cost)
        values[role] = table
    return Demands(values, {r: of[r] for r in values})


def counts(
    sizes: Mapping[str, int], class_of: Mapping[str, Ints], let: Mapping[str, Offers]
) -> dict[str, Floats]:
    """Return the number of options of each class that one request lets in.

    Parameters
    ----------
    sizes, class_of
        As in :func:`costs`.
    let : mapping of str to Offers
        From :func:`offers`, for its terms alone.
    """
    return {
        role: np.bincount(class_of[role][offer.place], minlength=sizes[role]).astype(float)
        for role, offer in let.items()
    }


@dataclass(frozen=True, slots=True)
class MadeFacts:
    """What requests make of the options of the made role, one row a distinct demand."""

    lets: Bools
    price: Floats
    tenths: Floats
    of: Ints

    @staticmethod
    def of_options(found: FillTerms, facts: Facts, mass_g: Floats, *, weighed: bool) -> MadeFacts:
        """Read them off the options; `weighed` leaves out those of unknown mass."""
        offer = offers(found, facts, mass_g)
        lets = np.zeros((offer.count, len(mass_g)), dtype=bool)
        price = np.zeros((offer.count, len(mass_g)))
        lets[offer.terms, offer.place] = offer.weighed | (not weighed)
        price[offer.terms, offer.place] = offer.price
        return MadeFacts(lets, price, np.rint(np.nan_to_num(mass_g) * TENTHS), found.of)
