"""What somebody asks for: what they own, their limits, and what may be done to parts."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Fill, Option, Part


class NamingError(ValueError):
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
    part = catalogue.parts.get(sku) or catalogue.parts.get(sku.upper())
    if part is None:
        near = difflib.get_close_matches(sku.upper(), catalogue.parts, n=3, cutoff=0.6)
        hint = f"; did you mean {', '.join(near)}?" if near else ""
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
    known = {*MATERIALS, *(m.family for m in MATERIALS.values())}
    folded = word.strip().lower()
    if folded not in known:
        families = sorted({m.family for m in MATERIALS.values()})
        raise NamingError(f"no material is called {word!r}; use one of {', '.join(families)}")
    return folded


def is_of_material(part: Part, material: str) -> bool:
    """Return whether a part is of a material or of a family of materials."""
    if part.material is None:
        return False
    return material in (part.material, MATERIALS[part.material].family)


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
class AllowedRole:
    """A request as one role sees it."""

    owned: frozenset[str]
    named: frozenset[str]
    fill: Fill
    in_stock: bool
    material: str | None
    services: Services

    def lets(self, option: Option) -> bool:
        """Return whether the option may fill the role."""
        part = option.part
        if part is None:
            return not self.named
        if self.named and part.sku not in self.named:
            return False
        if not self.named and self.fill is Fill.EXTRA:
            return False
        owned = part.sku in self.owned
        if not owned and part.price is None:
            return False
        if not owned and self.in_stock and part.stock <= 0:
            return False
        if self.material is not None and not is_of_material(part, self.material):
            return False
        if not option.services or self.services is Services.ANY:
            return True
        return self.services is Services.OWNED and owned

    def price(self, option: Option) -> int:
        """Return what the option costs the rider, in minor currency units."""
        part = option.part
        if part is None:
            return 0
        own = 0 if part.sku in self.owned else (part.price or 0)
        return own + option.service_price
