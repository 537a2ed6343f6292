"""What requests make of each role, for many requests at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.model import Catalogue, Enquiry
from fitgraph.solve.batch import Demands
from fitgraph.solve.query import TENTHS
from fitgraph.solve.request import AllowedRole, Facts, Request, check_material, named_by_role
from fitgraph.solve.space import Space

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Bits of a float64 that hold whole numbers exactly.
_BITS = 53


def requests_of(enquiries: Iterable[Enquiry], *, in_stock: bool = False) -> list[Request]:
    """Return what each enquiry asks for."""
    return [
        Request(
            have=e.have,
            budget=e.budget,
            max_mass_g=e.max_mass_g,
            material=e.material,
            in_stock=in_stock,
        )
        for e in enquiries
    ]


def terms(catalogue: Catalogue, requests: Sequence[Request]) -> dict[str, _Terms]:
    """Return for each role the distinct terms that requests set, and whose they are.

    Raises
    ------
    NamingError
        If a request names something the catalogue does not have.
    """
    roles = catalogue.vocabulary.roles
    known: dict[str, dict[AllowedRole, int]] = {r: {} for r in roles}
    of: dict[str, list[int]] = {r: [] for r in roles}
    nothing: frozenset[str] = frozenset()
    for request in requests:
        have = named_by_role(catalogue, request.have)
        want = named_by_role(catalogue, request.want)
        material = check_material(request.material) if request.material else None
        for name, role in roles.items():
            owned = have.get(name, nothing)
            allowed = AllowedRole(
                owned,
                owned | want.get(name, nothing),
                role.fill,
                request.in_stock,
                material if role.by_material else None,
                request.services,
            )
            of[name].append(known[name].setdefault(allowed, len(known[name])))
    return {r: _Terms(tuple(known[r]), np.array(of[r], dtype=np.intp)) for r in roles}


@dataclass(frozen=True, slots=True)
class _Terms:
    """The distinct ways in which requests let parts fill a role, and each request's own."""

    allowed: tuple[AllowedRole, ...]
    of: Ints


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


#: Weights of price and mass, besides either alone: steps of two in what a gram may cost.
_LADDER = (*((2**k, 1) for k in range(6, -1, -1)), *((1, 2**k) for k in range(1, 7)))


def scales(space: Space, extra: tuple[Floats, Floats], *, mass: bool, both: bool) -> list[Scale]:
    """Return the scales that settle requests.

    Parameters
    ----------
    space : Space
        Gives the largest sums there can be.
    extra : tuple of ndarray
        Prices and masses in tenths of what is added to its roles.
    mass : bool
        Whether requests limit the mass.
    both : bool
        Whether they limit the price as well.

    Raises
    ------
    ValueError
        If prices and masses are too large to be added exactly.
    """
    most_price = float(extra[0].max(initial=0)) + sum(
        float((f.price + f.service_price).max(initial=0)) for f in space.facts.values()
    )
    most_mass = float(extra[1].max(initial=0)) + sum(
        float(np.rint(np.nan_to_num(m) * TENTHS).max(initial=0)) for m in space.mass_g.values()
    )
    price_bits, mass_bits = (int(x).bit_length() + 1 for x in (most_price, most_mass))
    if price_bits + mass_bits > _BITS:
        raise ValueError("prices and masses are too large to be added together exactly")
    found = [Scale(1, 0, float(2**mass_bits))]
    if mass:
        found.append(Scale(0, 1, float(2**price_bits)))
    if both:
        room = 2.0 ** (_BITS - price_bits)
        found += [
            Scale(p, m, float(2**price_bits))
            for p, m in _LADDER
            if p * most_price + m * most_mass < room
        ]
    return found


def costs(space: Space, found: Mapping[str, _Terms], scale: Scale, *, weighed: bool) -> Demands:
    """Return the least cost of each class of each role, for every request.

    Parameters
    ----------
    space : Space
        Its roles are looked at.
    found : mapping of str to terms
        From :func:`terms`.
    scale : Scale
        How price and mass count.
    weighed : bool
        Whether options of unknown mass are left out.
    """
    values: dict[str, Floats] = {}
    factors = scale.factors
    for role in space.options:
        class_of, facts = space.class_of[role], space.facts[role]
        mass = space.mass_g[role]
        tenths = np.rint(np.nan_to_num(mass) * TENTHS)
        table = np.full((len(found[role].allowed), space.tree.sizes[role]), np.inf)
        for n, allowed in enumerate(found[role].allowed):
            lets = allowed.lets(facts)
            if weighed:
                lets = lets & ~np.isnan(mass)
            cost = factors[0] * allowed.price(facts) + factors[1] * tenths
            np.minimum.at(table[n], class_of[lets], cost[lets])
        values[role] = table
    return Demands(values, {r: found[r].of for r in values})


def counts(space: Space, found: Mapping[str, _Terms]) -> Demands:
    """Return the number of options of each class that requests let in, as exact integers."""
    values = {}
    for role in space.options:
        size = space.tree.sizes[role]
        rows = [
            np.bincount(space.class_of[role][a.lets(space.facts[role])], minlength=size)
            for a in found[role].allowed
        ]
        values[role] = np.array(rows, dtype=object).reshape(-1, size)
    return Demands(values, {r: found[r].of for r in values})


@dataclass(frozen=True, slots=True)
class MadeFacts:
    """What requests make of the options of the made role, one row a distinct demand."""

    lets: Bools
    price: Floats
    tenths: Floats
    of: Ints

    @staticmethod
    def of_options(found: _Terms, facts: Facts, mass_g: Floats, *, weighed: bool) -> MadeFacts:
        """Read them off the options; `weighed` leaves out those of unknown mass."""
        size = len(mass_g)
        lets = np.array([a.lets(facts) for a in found.allowed]).reshape(-1, size)
        return MadeFacts(
            lets & ~np.isnan(mass_g) if weighed else lets,
            np.array([a.price(facts) for a in found.allowed]).reshape(-1, size),
            np.rint(np.nan_to_num(mass_g) * TENTHS),
            found.of,
        )
