"""One part changed and the rest kept: which others would do, what each comes to, and why not more.

What is not named of the rest stays open: a replacement fits what was named, and counts only what
has to be bought or done for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from fitgraph.explain.standing import PartStanding, standings
from fitgraph.model import Option, Part, Verdict
from fitgraph.solve import Request, Services, TreeEngine
from fitgraph.solve.engine import Build
from fitgraph.solve.request import find_part, is_of_material


class Aim(Enum):
    """What somebody wants of another part."""

    ANY = "any"
    LIGHTER = "lighter"
    STRONGER = "stronger"
    CHEAPER = "cheaper"


class NotOffered(Enum):
    """Why a part is not offered; the first that holds."""

    SIZE = "size"
    UNTOLD = "untold"
    UNSOLD = "unsold"
    MATERIAL = "material"
    STOCK = "stock"
    AIM = "aim"
    BUDGET = "budget"


@dataclass(frozen=True, slots=True)
class Replacement:
    """A part that fits what is kept.

    Parameters
    ----------
    part : Part
        The part.
    price : int
        It, and all that goes with it [minor currency units].
    besides : tuple of Option
        What has to be bought with it, or done to what is kept.
    mass_change_g : float or None
        Against the part before, adapters counted [g]; None where a mass is not known.
    strength_nm, strength_before_nm : float or None
        Bending moment that the compared tube bears again and again [N m].
    build : Build
        It with what was named and what goes with it; roles that nobody named are left out.
    assumed : mapping of str to Option
        What the cheapest whole build takes for those roles; nobody has said that it is so.
    """

    part: Part
    price: int
    besides: tuple[Option, ...]
    mass_change_g: float | None
    strength_nm: float | None
    strength_before_nm: float | None
    build: Build
    assumed: Mapping[str, Option]


@dataclass(frozen=True, slots=True)
class Replacements:
    """What could take a part's place.

    Parameters
    ----------
    role : str
        The role.
    kept : tuple of str
        Stock numbers of what is kept.
    before : str or None
        The part that is changed; None where it was not named.
    open_roles : tuple of str
        Roles that nobody named: nothing is said about them.
    found : tuple of Replacement
        Those that fit, in the order of the aim.
    others : mapping of str to NotOffered
        Every other part of the role, and why it is not offered.
    """

    role: str
    kept: tuple[str, ...]
    before: str | None
    open_roles: tuple[str, ...]
    found: tuple[Replacement, ...]
    others: Mapping[str, NotOffered]

    def telling(self, most: int = 5) -> tuple[Replacement, ...]:
        """Return the first by the aim, then the ends: cheapest, lightest, strongest, on the shelf.

        Parameters
        ----------
        most : int
            How many at most.
        """
        ends = [
            min(self.found, key=lambda r: r.price, default=None),
            min(
                (r for r in self.found if r.part.mass_g is not None),
                key=lambda r: r.part.mass_g or 0.0,
                default=None,
            ),
            max(
                (r for r in self.found if r.strength_nm is not None),
                key=lambda r: r.strength_nm or 0.0,
                default=None,
            ),
            next((r for r in self.found if r.part.stock > 0), None),
        ]
        first = [*self.found[:1], *(r for r in ends if r is not None), *self.found[1:]]
        chosen = list({r.part.sku: r for r in first}.values())[:most]
        return tuple(r for r in self.found if r in chosen)


def _aim_key(aim: Aim, found: Replacement) -> tuple[float, int]:
    if aim is Aim.LIGHTER and found.part.mass_g is not None:
        return found.part.mass_g, found.price
    if aim is Aim.STRONGER and found.strength_nm is not None:
        return -found.strength_nm, found.price
    return float(found.price), found.price


def _strength(engine: TreeEngine, part: Part | None) -> float | None:
    """Return the compared strength of a part as it is, None where it has none."""
    if part is None:
        return None
    options, strengths = engine.space.options[part.role], engine.space.strength_nm[part.role]
    for option, strength in zip(options, strengths, strict=True):
        if option.part is not None and option.part.sku == part.sku and not option.services:
            return None if strength != strength else float(strength)
    return None


def _meets(aim: Aim, part: Part, before: Part | None, engine: TreeEngine) -> bool:
    """Return whether a part is what is aimed at; without a part before, any is."""
    if aim is Aim.ANY or before is None:
        return True
    if aim is Aim.LIGHTER:
        known = part.mass_g is not None and before.mass_g is not None
        return known and (part.mass_g or 0.0) < (before.mass_g or 0.0)
    if aim is Aim.CHEAPER:
        return part.price is not None and before.price is not None and part.price < before.price
    mine, theirs = _strength(engine, part), _strength(engine, before)
    return mine is not None and theirs is not None and mine > theirs


def _made(
    engine: TreeEngine, kept: Sequence[str], part: Part, before: Part | None
) -> Replacement | None:
    """Return a part with what has to go with it, as cheap as it goes."""
    vocabulary = engine.catalogue.vocabulary
    request = Request(have=tuple(kept), want=(part.sku,), services=Services.OWNED)
    best = engine.best(request, sort="price", limit=1)
    if not best:
        return None
    named = {engine.catalogue.parts[sku].role for sku in kept} | {part.role}
    options = {
        role: option
        for role, option in best[0].options.items()
        if option.part is not None and (role in named or not vocabulary.roles[role].fill.free)
    }
    besides = tuple(
        o
        for role, o in options.items()
        if (role not in named) or (o.services and role != part.role)
    )
    price = part.price or 0
    for option in options.values():
        assert option.part is not None
        price += sum(vocabulary.services[s].price for s in option.services)
        if option.role not in named:
            price += option.part.price or 0
    masses = [o.part.mass_g for r, o in options.items() if r not in named and o.part is not None]
    change: float | None = None
    if before is not None and None not in (part.mass_g, before.mass_g, *masses):
        change = (part.mass_g or 0.0) - (before.mass_g or 0.0) + sum(m or 0.0 for m in masses)
    complete = all(
        role in options for role, r in vocabulary.roles.items() if not r.fill.may_be_empty
    )
    whole = replace(
        best[0],
        options=options,
        price=price,
        mass_g=best[0].mass_g if complete and len(options) == len(best[0].options) else None,
    )
    return Replacement(
        part,
        price,
        besides,
        change,
        _strength(engine, part),
        _strength(engine, before),
        whole,
        {r: o for r, o in best[0].options.items() if r not in options},
    )


def replacements(
    engine: TreeEngine,
    have: Sequence[str],
    role: str,
    *,
    aim: Aim = Aim.ANY,
    budget: int | None = None,
    material: str | None = None,
    in_stock: bool = False,
) -> Replacements:
    """Return what could take the place of a part, the rest kept.

    Parameters
    ----------
    engine : TreeEngine
        Over the compiled catalogue.
    have : sequence of str
        Stock numbers of what somebody has, the part to be changed among them or not.
    role : str
        The role that is changed.
    aim : Aim
        What another part is to be; judged against the one before, where it is known.
    budget : int, optional
        Most to pay in all [minor currency units].
    material : str, optional
        A material or a family.
    in_stock : bool
        Whether only parts on the shelf are offered.

    Raises
    ------
    NamingError
        If something named is not in the catalogue.
    """
    catalogue = engine.catalogue
    parts = [find_part(catalogue, sku) for sku in have]
    before = next((p for p in parts if p.role == role), None)
    kept = tuple(p.sku for p in parts if p.role != role)
    standing = standings(engine, Request(have=kept, services=Services.OWNED))[role]
    others: dict[str, NotOffered] = {}
    found: list[Replacement] = []

    def outcome(one: PartStanding) -> NotOffered | None:
        part = one.part
        if one.verdict is not Verdict.FITS:
            return NotOffered.SIZE if one.verdict is Verdict.FAILS else NotOffered.UNTOLD
        if part.price is None:
            return NotOffered.UNSOLD
        if material is not None and not is_of_material(part, material):
            return NotOffered.MATERIAL
        if in_stock and part.stock <= 0:
            return NotOffered.STOCK
        if not _meets(aim, part, before, engine):
            return NotOffered.AIM
        if budget is not None and part.price > budget:
            return NotOffered.BUDGET
        return None

    for one in standing:
        if before is not None and one.part.sku == before.sku:
            continue
        why = outcome(one)
        if why is None:
            made = _made(engine, kept, one.part, before)
            if made is None:
                why = NotOffered.SIZE
            elif budget is not None and made.price > budget:
                why = NotOffered.BUDGET
            else:
                found.append(made)
        if why is not None:
            others[one.part.sku] = why
    named = {p.role for p in parts} | {role}
    left = tuple(
        name for name, r in catalogue.vocabulary.roles.items() if r.fill.free and name not in named
    )
    found.sort(key=lambda r: (*_aim_key(aim, r), r.part.sku))
    return Replacements(
        role, kept, None if before is None else before.sku, left, tuple(found), others
    )
