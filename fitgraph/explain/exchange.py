"""Another part for one that somebody has, with the rest kept: what goes, and what comes along.

Only the parts in question are named. A named part stays, perhaps after workshop work, and is
replaced only where nothing else goes; adapters may be added or left out. For a role that nobody
named, something that goes with the rest is taken to be there, and is not priced.

For every part that could be taken the way is found that replaces the fewest kept parts, of these
the cheapest, and of these the one with the fewest changes: one pass of least costs, with that role
last, tells what the rest comes to for each of its classes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.explain.representatives import Contrast
from fitgraph.model import Catalogue, Fill, Option, Part
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.algebra import LEAST
from fitgraph.solve.best import Criteria, k_best
from fitgraph.solve.passes import Demands, Passes
from fitgraph.solve.query import Query, ask
from fitgraph.solve.request import find_part

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: A minor currency unit against one change more, and a kept part that is replaced against both.
_CHANGES, _REPLACED = 64.0, float(2**36)

#: Stands for a mass or strength that nobody knows: behind all known ones.
_LAST = float(2**40)


@dataclass(frozen=True, slots=True)
class Along:
    """What comes along with another part.

    Parameters
    ----------
    option : Option
        The part, or the kept part after work on it.
    instead : Part or None
        The kept part that it replaces.
    price : int
        To pay for it [minor currency units].
    """

    option: Option
    instead: Part | None
    price: int


@dataclass(frozen=True, slots=True)
class Exchanged:
    """One part that could be taken instead.

    Parameters
    ----------
    part : Part
        The part.
    price : int
        Of the part alone [minor currency units].
    than : Contrast or None
        How it differs from the part that it replaces; None where none was named. Its minutes
        are those of all work that comes along.
    strength_nm : float or None
        Bending moment that it bears again and again [N m], where that is compared.
    along : tuple of Along
        What has to come along, parts and work.
    left_out : tuple of Part
        Kept parts that are not needed any more.
    in_stock : bool
        Whether it and all that comes along are on the shelf.
    """

    part: Part
    price: int
    than: Contrast | None
    strength_nm: float | None
    along: tuple[Along, ...]
    left_out: tuple[Part, ...]
    in_stock: bool

    @property
    def total(self) -> int:
        """Return what is to pay, with all that comes along [minor currency units]."""
        return self.price + sum(one.price for one in self.along)

    @property
    def services(self) -> tuple[tuple[str, str], ...]:
        """Return the work that comes along as pairs of stock number and service."""
        return tuple(
            (one.option.part.sku, s)
            for one in self.along
            if one.option.part is not None
            for s in one.option.services
        )


@dataclass(frozen=True, slots=True)
class Exchange:
    """What could be taken for a part, with the rest kept.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts and words are meant.
    role : str
        The role in question.
    old : Part or None
        What is replaced, if it was named.
    kept : tuple of Part
        What is to stay.
    sort : str
        The order of the parts.
    count : int
        How many parts could be taken.
    alone : int
        How many of them need nothing else.
    today : int
        How many can be done from the shelf, perhaps with other parts along.
    parts : tuple of Exchanged
        The first of them.
    """

    catalogue: Catalogue
    role: str
    old: Part | None
    kept: tuple[Part, ...]
    sort: str
    count: int
    alone: int
    today: int
    parts: tuple[Exchanged, ...]


class _Question:
    """What may be taken for each role, and what it costs."""

    def __init__(
        self, query: Query, role: str, kept: Mapping[str, frozenset[str]], *, stocked: bool
    ) -> None:
        self.query, self.role = query, role
        self.lets: dict[str, Bools] = {}
        self.price: dict[str, Floats] = {}
        self.changes: dict[str, Floats] = {}
        self.replaced: dict[str, Floats] = {}
        roles = query.space.catalogue.vocabulary.roles
        for name, facts in query.space.facts.items():
            sold = facts.sold & ~facts.serviced & ~facts.void
            if stocked:
                sold &= facts.stocked
            mine = facts.named(kept.get(name, frozenset()))
            self.replaced[name] = np.zeros(len(mine))
            services = np.array([len(o.services) for o in query.space.options[name]], dtype=float)
            if name == role:
                self.lets[name] = sold & ~mine
                self.price[name], self.changes[name] = facts.price.copy(), 0.0 * services
            elif name in kept:
                self.lets[name] = mine | sold | facts.void
                self.price[name] = np.where(mine, 0.0, facts.price) + facts.service_price
                self.changes[name] = np.where(mine, services, 1.0)
                adapter = roles[name].fill is Fill.ADAPTER  # which may go without a loss
                self.replaced[name] = (~mine & ~(facts.void & adapter)).astype(float)
            elif roles[name].fill is Fill.ADAPTER:
                self.lets[name] = sold | facts.void
                self.price[name] = facts.price + facts.service_price
                self.changes[name] = np.where(facts.void, 0.0, 1.0)
            else:  # taken to be there
                open_ = ~facts.serviced if roles[name].fill.free else facts.void
                self.lets[name] = open_.copy()
                self.price[name], self.changes[name] = 0.0 * services, 0.0 * services

    def cost(self, name: str) -> Floats:
        """Return what each option of a role costs: kept parts first, then price, then changes."""
        paid = self.price[name] * _CHANGES + self.changes[name]
        return self.replaced[name] * _REPLACED + paid

    def least(self) -> Floats:
        """Return the least that each option of the role in question comes to; infinite if none."""
        space = self.query.space
        plan = space.plan(certain=True, last=self.role)
        values = {}
        for name, size in plan.sizes.items():
            of_class = np.full(size, np.inf)
            at = np.flatnonzero(self.lets[name])
            np.minimum.at(of_class, space.class_of[name][at], self.cost(name)[at])
            values[name] = np.zeros(size) if name == self.role else of_class
        found = Passes(plan, Demands.one(values), LEAST).through_last()[0]
        rest = found[space.class_of[self.role]]
        return np.where(self.lets[self.role], rest + self.cost(self.role), np.inf)

    def best(self, place: int) -> dict[str, int]:
        """Return the options of the least way with one option of the role in question."""
        space = self.query.space
        lets = dict(self.lets)
        lets[self.role] = np.zeros(len(lets[self.role]), dtype=bool)
        lets[self.role][place] = True
        criteria = Criteria({r: self.cost(r)[None, :] for r in lets}, np.zeros(0))
        plan = space.plan(certain=True, last=self.role)
        options, _ = k_best(plan, space.class_of, lets, criteria, 1)
        return {r: int(o[0]) for r, o in options.items()}


def exchange(
    engine: TreeEngine,
    role: str,
    have: Sequence[str],
    *,
    in_stock: bool = False,
    sort: str = "price",
    limit: int = 8,
) -> Exchange:
    """Return what could be taken for one role, with the rest kept.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    role : str
        The role in question.
    have : sequence of str
        Stock numbers of the parts in question: what stays, and what is replaced.
    in_stock : bool
        Whether only parts in stock are taken.
    sort : {'price', 'mass', 'strength'}
        Least to pay in all, lightest or strongest first.
    limit : int
        How many are listed.

    Raises
    ------
    NamingError
        If the catalogue has no such part.
    """
    catalogue, space = engine.catalogue, engine.space
    named = [find_part(catalogue, sku) for sku in dict.fromkeys(have)]
    kept: dict[str, frozenset[str]] = {}
    for part in named:
        kept[part.role] = kept.get(part.role, frozenset()) | {part.sku}
    old = next((part for part in named if part.role == role), None)
    question = _Question(ask(space, Request()), role, kept, stocked=in_stock)
    cost = question.least()
    places = np.flatnonzero(np.isfinite(cost))
    shelf = _Question(ask(space, Request()), role, kept, stocked=True).least()
    alone = cost[places] == question.cost(role)[places]
    options = space.options[role]
    strength = space.strength_nm[role][places]
    mass = np.array([_number(options[n].mass_g) for n in places.tolist()])
    paid = np.floor(np.mod(cost[places], _REPLACED) / _CHANGES)
    keys = {
        "price": (cost[places], paid),  # the last key counts first
        "mass": (cost[places], paid, mass),
        "strength": (cost[places], paid, np.where(np.isnan(strength), _LAST, -strength)),
    }
    order = np.lexsort(keys[sort])[:limit]
    rows = tuple(_row(question, int(places[n]), old, named) for n in order.tolist())
    return Exchange(
        catalogue,
        role,
        old,
        tuple(part for part in named if part.role != role),
        sort,
        len(places),
        int(alone.sum()),
        int(np.isfinite(shelf).sum()),
        rows,
    )


def _number(value: float | None) -> float:
    return _LAST if value is None else value


def _row(question: _Question, place: int, old: Part | None, named: Sequence[Part]) -> Exchanged:
    """Return one part with what has to come along."""
    space, role = question.query.space, question.role
    chosen = question.best(place)
    option = space.options[role][place]
    part = option.part
    assert part is not None
    mine = {p.role: p for p in named if p.role != role}
    along, left_out, minutes = [], [], 0.0
    vocabulary = space.catalogue.vocabulary
    adapters = {r for r, kind in vocabulary.roles.items() if kind.fill is Fill.ADAPTER}
    for name, n in chosen.items():
        if name == role or (name not in mine and name not in adapters):
            continue
        one, kept = space.options[name][n], mine.get(name)
        if one.part is None:
            left_out += [kept] if kept is not None else []
        elif one.services or kept is None or one.part.sku not in {p.sku for p in named}:
            instead = None if kept is None or one.part.sku == kept.sku else kept
            along.append(Along(one, instead, int(question.price[name][n])))
            minutes += sum(vocabulary.services[s].minutes for s in one.services)
    strength = float(space.strength_nm[role][place])
    owned = {p.sku for p in named}
    bought = [one.option.part for one in along if one.option.part is not None]
    in_stock = part.stock > 0 and all(p.stock > 0 or p.sku in owned for p in bought)
    than = None
    if old is not None:
        plain = next(
            n for n, o in enumerate(space.options[role]) if o.part is old and not o.services
        )
        was = float(space.strength_nm[role][plain])
        known = part.mass_g is not None and old.mass_g is not None
        than = Contrast(
            None if old.price is None else (part.price or 0) - old.price,
            (part.mass_g or 0.0) - (old.mass_g or 0.0) if known else None,
            None if np.isnan(strength - was) else strength - was,
            minutes,
        )
    return Exchanged(
        part,
        part.price or 0,
        than,
        None if np.isnan(strength) else strength,
        tuple(along),
        tuple(left_out),
        in_stock,
    )
