"""What somebody asks for: what they own, their limits, and what may be done to parts."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from enum import Enum

import numpy as np

from fitgraph.array_types import Bools, Floats
from fitgraph.errors import InputError, handed
from fitgraph.mechanics.materials import FAMILIES, MATERIALS
from fitgraph.model import Catalogue, Fill, Option, Part
from fitgraph.plain import composed
from fitgraph.records import dataclass


class NamingError(InputError):
    """A stock number, role or material that the catalogue does not have."""


class Services(Enum):
    """To which parts workshop services may be done."""

    NONE = "none"
    OWNED = "owned"
    ANY = "any"


@dataclass(frozen=True, slots=True)
class Request:
    """A question about builds.

    Parameters
    ----------
    have : tuple of str
        Stock numbers the rider owns: they are in every build and cost
        nothing.
    want : tuple of str
        Stock numbers that must be in every build and have to be paid for.
    budget : int or None
        Most to pay, in minor currency units.
    max_mass_g : float or None
        Most the whole build may weigh, in g.
    in_stock : bool
        Whether parts that are not owned must be in stock.
    material : str or None
        Material, or family of materials, of the roles chosen by material.
    services : Services
        To which parts the workshop may do work.
    """

    have: tuple[str, ...] = ()
    want: tuple[str, ...] = ()
    budget: int | None = None
    max_mass_g: float | None = None
    in_stock: bool = False
    material: str | None = None
    services: Services = Services.OWNED


def find_part(catalogue: Catalogue, sku: str) -> Part:
    """Return a part by its stock number.

    Raises
    ------
    NamingError
        If there is none, with the nearest stock numbers.
    """
    if not isinstance(sku, str):
        raise NamingError(f"{handed(sku)} is no stock number; write stock numbers as text")
    sku = composed(sku).strip()
    part = catalogue.parts.get(sku) or catalogue.parts.get(sku.upper())
    if part is None:
        # Capitals alone never tell two parts of a catalogue apart.
        known = {number.casefold(): number for number in catalogue.parts}
        if (small := sku.casefold()) in known:
            return catalogue.parts[known[small]]
        near = [known[n] for n in difflib.get_close_matches(small, known, n=3, cutoff=0.6)]
        hint = f"; did you mean {', '.join(near)}?" if near else "; parts.csv lists them"
        raise NamingError(f"no part has the stock number {sku!r}{hint}")
    return part


def named_by_role(catalogue: Catalogue, skus: tuple[str, ...]) -> Mapping[str, frozenset[str]]:
    """Return the named stock numbers by role.

    Raises
    ------
    NamingError
        If one is no part.
    """
    named: dict[str, set[str]] = {}
    for sku in skus:
        part = find_part(catalogue, sku)
        named.setdefault(part.role, set()).add(part.sku)
    return {role: frozenset(of_role) for role, of_role in named.items()}


def check_material(word: str) -> str:
    """Return a material or family as the materials table spells it.

    Raises
    ------
    NamingError
        If the table has no such material.
    """
    folded = word.strip().lower()
    if folded not in MATERIALS and folded not in FAMILIES:
        raise NamingError(f"no material is called {word!r}; use one of {', '.join(FAMILIES)}")
    return folded


def allowed(catalogue: Catalogue, request: Request) -> Mapping[str, AllowedRole]:
    """Return for each role what the request lets fill it.

    Raises
    ------
    NamingError
        If the request names something the catalogue does not have.
    """
    have = named_by_role(catalogue, request.have)
    want = named_by_role(catalogue, request.want)
    material = check_material(request.material) if request.material else None
    return {
        name: AllowedRole(
            owned=have.get(name, frozenset()),
            named=have.get(name, frozenset()) | want.get(name, frozenset()),
            fill=role.fill,
            in_stock=request.in_stock,
            material=material if role.by_material else None,
            services=request.services,
        )
        for name, role in catalogue.vocabulary.roles.items()
    }


@dataclass(frozen=True, slots=True)
class Facts:
    """What a request looks at in the options of one role, as columns.

    Parameters
    ----------
    places : mapping of str to tuple of int
        Where the options of each stock number stand.
    void, serviced, sold, stocked : ndarray of bool
        Whether an option is empty, has services done, has a price, is in
        stock.
    price, service_price : ndarray of float
        Of the part and of the services, in minor currency units.
    materials : tuple of frozenset of str
        The material of each option and its family.
    """

    places: Mapping[str, tuple[int, ...]]
    void: Bools
    serviced: Bools
    sold: Bools
    stocked: Bools
    price: Floats
    service_price: Floats
    materials: tuple[frozenset[str], ...]

    @staticmethod
    def of(options: Sequence[Option]) -> Facts:
        """Read the columns off the options."""
        places: dict[str, tuple[int, ...]] = {}
        for n, option in enumerate(options):
            if option.part is not None:
                places[option.part.sku] = (*places.get(option.part.sku, ()), n)
        parts = [o.part for o in options]
        return Facts(
            places,
            np.array([p is None for p in parts], dtype=bool),
            np.array([bool(o.services) for o in options], dtype=bool),
            np.array([p is not None and p.price is not None for p in parts], dtype=bool),
            np.array([p is not None and p.stock > 0 for p in parts], dtype=bool),
            np.array([(p.price or 0) if p is not None else 0 for p in parts], dtype=float),
            np.array([o.service_price for o in options], dtype=float),
            tuple(_materials(p) for p in parts),
        )

    def named(self, skus: frozenset[str]) -> Bools:
        """Return which options are of the given stock numbers."""
        mask = np.zeros(len(self.void), dtype=bool)
        mask[[n for sku in skus for n in self.places.get(sku, ())]] = True
        return mask


def _materials(part: Part | None) -> frozenset[str]:
    """Return the material of a part and its family, as far as they are known."""
    if part is None or part.material is None:
        return frozenset()
    return frozenset((part.material, MATERIALS[part.material].family))


def is_of_material(part: Part, material: str) -> bool:
    """Return whether a part is of a material or of a family of materials."""
    return material in _materials(part)


@dataclass(frozen=True, slots=True)
class AllowedRole:
    """A request as one role sees it."""

    owned: frozenset[str]
    named: frozenset[str]
    fill: Fill
    in_stock: bool
    material: str | None
    services: Services

    def lets(self, facts: Facts) -> Bools:
        """Return which options may fill the role."""
        owned = facts.named(self.owned)
        mask = owned | facts.sold
        if self.in_stock:
            mask &= owned | facts.stocked
        if self.named:
            mask &= facts.named(self.named)
        elif self.fill is Fill.EXTRA:
            mask &= False
        if self.material is not None:
            mask &= np.array([self.material in of for of in facts.materials], dtype=bool)
        if self.services is Services.NONE:
            mask &= ~facts.serviced
        elif self.services is Services.OWNED:
            mask &= owned | ~facts.serviced
        return mask if self.named else mask | facts.void

    def price(self, facts: Facts) -> Floats:
        """Return what each option costs the rider, in minor currency units."""
        return np.where(facts.named(self.owned), 0.0, facts.price) + facts.service_price
