"""Another part for one that somebody has, with the rest kept: what goes, what comes along, and why
the others are not offered.

Only the parts in question are named. A named part stays, perhaps after workshop work, and is
replaced only where nothing else goes; adapters may be added or left out. What is bought is worked
on only if that is asked for; parts that would go no other way have that for their reason. For a
role that nobody named, something that goes with the rest is taken to be there, and is not priced.

For every part that could be taken the way is found that replaces the fewest kept parts, of these
the cheapest, of these the one with the fewest changes, and of these the one of which least has to
be ordered: one pass of least costs, with that role
last, tells what the rest comes to for each of its classes.

What somebody wants of the part (lighter, cheaper, a material, a budget) leaves parts out only after
it is told which go, so that every other part has its reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from enum import Enum
from typing import Any

import numpy as np

from fitgraph.array_types import Bools, Floats
from fitgraph.explain.network import least_of_classes
from fitgraph.explain.representatives import Contrast
from fitgraph.model import Catalogue, Fill, Option, Part, Vocabulary
from fitgraph.records import dataclass
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.algebra import LEAST
from fitgraph.solve.best import Criteria
from fitgraph.solve.engine import Build
from fitgraph.solve.least_each import least_each
from fitgraph.solve.messages import Demands
from fitgraph.solve.only_named import asked_of_named
from fitgraph.solve.passes import Passes
from fitgraph.solve.query import Query, ask
from fitgraph.solve.ranked import best_of
from fitgraph.solve.request import Services, find_part, is_of_material
from fitgraph.solve.space import Space

#: Against a part more to be ordered: a change more, a minor currency unit, and against all of
#: these a kept part that is replaced.
_CHANGE, _PRICE, _REPLACED = 16.0, 1024.0, float(2**40)

#: Stands for a mass or strength that nobody knows: behind all known ones.
_LAST = float(2**40)


#: Added to what the least way comes to, so that no way that replaces more comes to as much.
_BEYOND = _PRICE


class Aim(Enum):
    """What somebody wants of another part, against the one before."""

    ANY = "any"
    LIGHTER = "lighter"
    STRONGER = "stronger"
    CHEAPER = "cheaper"

    @property
    def sort(self) -> str:
        """Return the order that goes with it."""
        return {"lighter": "mass", "stronger": "strength"}.get(self.value, "price")


class NotOffered(Enum):
    """Why a part is not offered; the first that holds."""

    SIZE = "size"
    WORK = "work"
    UNTOLD = "untold"
    UNSOLD = "unsold"
    MATERIAL = "material"
    STOCK = "stock"
    AIM = "aim"
    BUDGET = "budget"


@dataclass(frozen=True, slots=True)
class Along:
    """What comes along with another part.

    Parameters
    ----------
    option : Option
        The part; or what is kept, or the other part itself, after work on it.
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
    lacking : tuple of str
        Stock numbers that are not on the shelf, of it and of what comes along.
    build : Build
        It with what is kept and what comes along; roles that nobody named are left out. The mass
        is None unless that is all of a build.
    assumed : mapping of str to Option
        What is taken to be there for those roles; nobody has said that it is so.
    minutes : float
        Of all work that comes along.
    total_today : int or None
        To pay in all with only what is on the shelf along, perhaps other parts [minor currency
        units]; None where that does not go.
    """

    part: Part
    price: int
    than: Contrast | None
    strength_nm: float | None
    along: tuple[Along, ...]
    left_out: tuple[Part, ...]
    lacking: tuple[str, ...]
    build: Build
    assumed: Mapping[str, Option]
    minutes: float
    total_today: int | None

    @property
    def mass_g(self) -> float | None:
        """Return the mass of the part after all work on it [g]; None where that is not known."""
        return self.build.options[self.part.role].mass_g

    @property
    def in_stock(self) -> bool:
        """Return whether it and all that comes along are on the shelf."""
        return not self.lacking

    @property
    def alone(self) -> bool:
        """Return whether nothing else has to be bought, done or left out."""
        return not (self.along or self.left_out)

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
    aim : Aim
        What the part is to be; judged against the old one, where that was named.
    sort : str
        The order of the parts.
    count : int
        How many parts could be taken.
    alone : int
        How many of them need nothing else.
    today : int
        How many can be done from the shelf, perhaps with other parts along.
    parts : tuple of Exchanged
        The first of them, perhaps with the ends.
    more : tuple of str
        Stock numbers of those that could be taken and are not among `parts`, in their order.
    others : mapping of str to NotOffered
        Every other part of the role but the old one, and why it is not offered.
    open_roles : tuple of str
        Roles that nobody named: nothing is said about what is there.
    all_stay : bool
        Whether only what goes without replacing a kept part was looked for, since all that goes
        would need more memory than the ceiling.
    services : Services
        To which parts the workshop may do work.
    """

    catalogue: Catalogue
    role: str
    old: Part | None
    kept: tuple[Part, ...]
    aim: Aim
    sort: str
    count: int
    alone: int
    today: int
    parts: tuple[Exchanged, ...]
    more: tuple[str, ...]
    others: Mapping[str, NotOffered]
    open_roles: tuple[str, ...]
    all_stay: bool = False
    services: Services = Services.OWNED


class _Question:
    """What may be taken for each role, and what it costs."""

    def __init__(
        self,
        query: Query,
        role: str,
        kept: Mapping[str, frozenset[str]],
        work: Services,
        *,
        stocked: bool,
    ) -> None:
        self.query, self.role = query, role
        self.lets: dict[str, Bools] = {}
        self.price: dict[str, Floats] = {}
        self.changes: dict[str, Floats] = {}
        self.replaced: dict[str, Floats] = {}
        self.lacking: dict[str, Floats] = {}
        roles = query.space.catalogue.vocabulary.roles
        for name, facts in query.space.facts.items():
            as_sold = ~facts.serviced | (work is Services.ANY)
            as_kept = ~facts.serviced | (work is not Services.NONE)
            held = as_sold & ~facts.void
            sold = facts.sold & held
            if stocked:
                sold &= facts.stocked
                held &= facts.stocked
            mine = facts.named(kept.get(name, frozenset()))
            self.replaced[name] = np.zeros(len(mine))
            self.lacking[name] = (~(facts.stocked | facts.void | mine)).astype(float)
            services = np.array([len(o.services) for o in query.space.options[name]], dtype=float)
            if name == role:
                # Without a price as well: that is a reason of its own.
                self.lets[name] = held & ~mine
                self.price[name] = facts.price + facts.service_price
                self.changes[name] = services
            elif name in kept:
                self.lets[name] = (mine & as_kept) | sold | facts.void
                self.price[name] = np.where(mine, 0.0, facts.price) + facts.service_price
                self.changes[name] = np.where(mine, services, services + 1.0)
                adapter = roles[name].fill is Fill.ADAPTER  # which may go without a loss
                self.replaced[name] = (~mine & ~(facts.void & adapter)).astype(float)
            elif roles[name].fill is Fill.ADAPTER:
                self.lets[name] = sold | facts.void
                self.price[name] = facts.price + facts.service_price
                self.changes[name] = np.where(facts.void, 0.0, services + 1.0)
            else:  # taken to be there
                open_ = ~facts.serviced if roles[name].fill.free else facts.void
                self.lets[name] = open_.copy()
                for asked in (self.price, self.changes, self.lacking):
                    asked[name] = np.zeros(len(mine))

    def cost(self, name: str) -> Floats:
        """Return what each option of a role costs: kept parts, price, changes, what is lacking."""
        paid = self.price[name] * _PRICE + self.changes[name] * _CHANGE + self.lacking[name]
        return self.replaced[name] * _REPLACED + paid

    def least(self) -> Floats:
        """Return the least that each option of the role in question comes to; infinite if none.

        Those that may not be taken have one as well: they go with what may be for other roles.
        """
        space = self.query.space
        values = {}
        for name, size in space.sizes.items():
            of_class = least_of_classes(space, name, self.lets[name], self.cost(name))
            values[name] = np.zeros(size) if name == self.role else of_class
        circuit = space.circuit(certain=True)
        if circuit is not None:  # where a plan that ends with a role is far too wide
            found = least_each(circuit, values, self.role)
        else:
            plan = space.plan(certain=True, last=self.role)
            found = Passes(plan, Demands.one(values), LEAST).through_last()[0]
        rest: Floats = found[space.class_of[self.role]]
        return rest + self.cost(self.role)

    def taken(self, least: Floats) -> Floats:
        """Return the same of options that may be taken, infinite of the others."""
        return np.where(self.lets[self.role], least, np.inf)

    def perhaps(self) -> Bools:
        """Return which options of the role in question go, or may go for all that is known."""
        space = self.query.space
        weights = space.weights(self.lets)
        if space.left_out(certain=False):
            found = space.perhaps(weights)
        else:
            found = space.possible(weights, certain=False)
        return self.lets[self.role] & found[self.role][space.class_of[self.role]]

    def best(self, place: int, least: float) -> dict[str, int]:
        """Return the options of the least way with one option of the role in question.

        What the rest comes to is known, so what alone costs more is left out, and a part that is
        replaced needs to weigh no more than all else together: sums stay small, and a search that
        bounds with rounded numbers drops ties at once.
        """
        space = self.query.space
        rest = least - self.cost(self.role)[place]
        dear = rest % _REPLACED + _BEYOND
        lets, costs = {}, {}
        for name, of_role in self.lets.items():
            cost = self.cost(name)
            if name == self.role:
                lets[name] = np.zeros(len(of_role), dtype=bool)
                lets[name][place] = True
                costs[name] = np.zeros((1, len(cost)))
            else:
                lets[name] = of_role & (cost <= rest)
                costs[name] = (cost % _REPLACED + self.replaced[name] * dear)[None, :]
        options, _ = best_of(space, lets, Criteria(costs, np.zeros(0)), 1, certain=True)
        return {r: int(o[0]) for r, o in options.items()}


@dataclass(frozen=True, slots=True)
class _Wish:
    """What somebody wants of the part, and what it is judged against."""

    aim: Aim
    budget: int | None
    material: str | None
    in_stock: bool
    old: Part | None
    old_strength: float

    def reason(
        self, option: Option, strength: float, total: float, *, held: bool
    ) -> NotOffered | None:
        """Return why a part that goes is not offered, None if it is."""
        part = option.part
        assert part is not None
        if part.price is None:
            return NotOffered.UNSOLD
        if self.material is not None and not is_of_material(part, self.material):
            return NotOffered.MATERIAL
        if self.in_stock and not held:
            return NotOffered.STOCK
        if not self._meets(option, strength, total):
            return NotOffered.AIM
        if self.budget is not None and total > self.budget:
            return NotOffered.BUDGET
        return None

    def _meets(self, option: Option, strength: float, total: float) -> bool:
        """Return whether it is what is aimed at; without a part before, any is."""
        if self.aim is Aim.ANY or self.old is None:
            return True
        if self.aim is Aim.LIGHTER:
            mine, theirs = option.mass_g, self.old.mass_g
            return mine is not None and theirs is not None and mine < theirs
        if self.aim is Aim.CHEAPER:
            return self.old.price is not None and total < self.old.price
        return strength > self.old_strength  # of which neither is true of what nobody knows


def exchange_named(engine: TreeEngine, role: str, have: Sequence[str], **wishes: Any) -> Exchange:
    """Return what :func:`exchange` does; where that is too much, of what replaces no kept part.

    Parameters
    ----------
    engine, role, have
        As in :func:`exchange`.
    **wishes
        Its other parameters.

    Raises
    ------
    TooWideError
        If this would need too much memory, too.
    NamingError
        If the catalogue has no such part.
    """
    stay = [p.sku for p in (find_part(engine.catalogue, s) for s in have) if p.role != role]
    found, who = asked_of_named(engine, stay, lambda e: exchange(e, role, have, **wishes))
    return found if who is engine else replace(found, catalogue=engine.catalogue, all_stay=True)


def exchange(
    engine: TreeEngine,
    role: str,
    have: Sequence[str],
    *,
    aim: Aim = Aim.ANY,
    budget: int | None = None,
    material: str | None = None,
    in_stock: bool = False,
    sort: str | None = None,
    limit: int = 8,
    ends: bool = False,
    services: Services = Services.OWNED,
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
    aim : Aim
        What the part is to be: lighter or stronger than the old one, or less to pay in all than
        that costs. Of no consequence where no old one was named.
    budget : int, optional
        Most to pay in all [minor currency units].
    material : str, optional
        A material or a family.
    in_stock : bool
        Whether only parts in stock are taken.
    sort : {'price', 'mass', 'strength'}, optional
        Least to pay in all, lightest or strongest first, of those for which as many kept parts
        are replaced; the fewest come first. By default what goes with the aim.
    limit : int
        How many are listed.
    ends : bool
        Whether room is kept among them for the first that needs nothing else, for the least to
        pay, the lightest and the strongest, and for the first that can be done today.
    services : Services
        To which parts the workshop may do work: none, those that are kept, or what is bought as
        well.

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
    order = aim.sort if sort is None else sort
    query = ask(space, Request())
    every = _Question(query, role, kept, services, stocked=False)
    shelf = _Question(query, role, kept, services, stocked=True)
    whole, may = every.least(), every.perhaps()
    goes, goes_today = every.taken(whole), shelf.taken(shelf.least())
    question, cost = (shelf, goes_today) if in_stock else (every, goes)
    to_pay, to_pay_today = _paid(goes), _paid(goes_today)
    options, strengths = space.options[role], space.strength_nm[role]
    wish = _Wish(aim, budget, material, in_stock, old, _strength(space, old))
    others: dict[str, NotOffered] = {}
    offered, now = [], []  # with what each comes to from the shelf
    for sku, at in space.facts[role].places.items():
        # As sold or after work on it, whichever comes to less.
        mine = [n for n in at if every.lets[role][n]]
        if not mine:
            continue
        place = min(mine, key=lambda n: (cost[n], goes[n]))
        if not np.isfinite(goes[place]):
            worked = services is Services.OWNED and bool(np.isfinite(whole[list(at)]).any())
            untold = NotOffered.UNTOLD if may[mine].any() else NotOffered.SIZE
            others[sku] = NotOffered.WORK if worked else untold
            continue
        held = float(to_pay_today[min(mine, key=lambda n: goes_today[n])])
        paid = held if in_stock and np.isfinite(held) else float(to_pay[place])
        why = wish.reason(options[place], float(strengths[place]), paid, held=np.isfinite(held))
        if why is None:
            offered.append(place)
            now.append(held)
        else:
            others[sku] = why
    places = np.array(offered, dtype=np.intp)
    alone = (cost[places] == question.cost(role)[places]) & ~space.facts[role].serviced[places]
    strength = strengths[places]
    mass = np.array([_number(options[n].mass_g) for n in offered])
    paid_all = _paid(cost[places])
    keys = {
        "price": (cost[places], paid_all),  # the last key counts first
        "mass": (cost[places], paid_all, mass),
        "strength": (cost[places], paid_all, np.where(np.isnan(strength), _LAST, -strength)),
    }
    replaced = np.floor(cost[places] / _REPLACED)
    ranked = np.lexsort((*keys[order], replaced)).tolist()
    today = np.isfinite(np.array(now, dtype=float))
    listed = ranked[:limit]
    if ends and limit:
        firsts = [np.lexsort(keys[name])[:1].tolist() for name in keys]
        firsts = [[n for n in ranked if alone[n]][:1], *firsts, [n for n in ranked if today[n]][:1]]
        wanted = [*ranked[:1], *(n for some in firsts for n in some), *ranked]
        few = frozenset(list(dict.fromkeys(wanted))[:limit])
        listed = [n for n in ranked if n in few]
    rows = [_row(question, offered[n], float(cost[offered[n]]), now[n], old, named) for n in listed]
    shown = frozenset(listed)
    roles = catalogue.vocabulary.roles
    told = {part.role for part in named} | {role}
    return Exchange(
        catalogue,
        role,
        old,
        tuple(part for part in named if part.role != role),
        aim,
        order,
        len(offered),
        int(alone.sum()),
        int(today.sum()),
        tuple(rows),
        tuple(p.sku for n in ranked if n not in shown and (p := options[offered[n]].part)),
        others,
        tuple(name for name, r in roles.items() if r.fill.free and name not in told),
        services=services,
    )


def _paid(cost: Floats) -> Floats:
    """Return what is to pay of what a way costs [minor currency units]."""
    finite = np.where(np.isfinite(cost), cost, 0.0)
    paid: Floats = np.floor(np.mod(finite, _REPLACED) / _PRICE)
    return np.where(np.isfinite(cost), paid, np.inf)


def _strength(space: Space, part: Part | None) -> float:
    """Return the compared strength of a part as it is [N m]; not a number where it has none."""
    if part is None:
        return float("nan")
    options, strengths = space.options[part.role], space.strength_nm[part.role]
    plain = next((n for n, o in enumerate(options) if o.part is part and not o.services), None)
    return float("nan") if plain is None else float(strengths[plain])


def _number(value: float | None) -> float:
    return _LAST if value is None else value


def _minutes(vocabulary: Vocabulary, option: Option) -> float:
    return sum(vocabulary.services[s].minutes for s in option.services)


def _row(
    question: _Question,
    place: int,
    least: float,
    today: float,
    old: Part | None,
    named: Sequence[Part],
) -> Exchanged:
    """Return one part with what has to come along."""
    space, role = question.query.space, question.role
    chosen = question.best(place, least)
    option = space.options[role][place]
    part = option.part
    assert part is not None
    mine = {p.role: p for p in named if p.role != role}
    along, left_out, minutes = [], [], 0.0
    vocabulary = space.catalogue.vocabulary
    adapters = {r for r, kind in vocabulary.roles.items() if kind.fill is Fill.ADAPTER}
    owned = {p.sku for p in named}
    said, assumed = {role: option}, {}
    for name, n in chosen.items():
        one, kept = space.options[name][n], mine.get(name)
        if name == role:
            if one.services:
                along.append(Along(one, None, int(one.service_price)))
                minutes += _minutes(vocabulary, one)
            continue
        if name not in mine and name not in adapters:
            if one.part is not None:
                assumed[name] = one
            continue
        if one.part is None:
            left_out += [kept] if kept is not None else []
            continue
        said[name] = one
        if one.services or kept is None or one.part.sku not in owned:
            instead = None if kept is None or one.part.sku == kept.sku else kept
            along.append(Along(one, instead, int(question.price[name][n])))
            minutes += _minutes(vocabulary, one)
    strength = float(space.strength_nm[role][place])
    parts = [part, *(p for one in along if (p := one.option.part) and p.sku not in owned)]
    bought = {p.sku: p for p in parts}
    than = None
    if old is not None:
        was = _strength(space, old)
        known = option.mass_g is not None and old.mass_g is not None
        than = Contrast(
            None if old.price is None else (part.price or 0) - old.price,
            (option.mass_g or 0.0) - (old.mass_g or 0.0) if known else None,
            None if np.isnan(strength - was) else strength - was,
            minutes,
        )
    bears = [float(space.strength_nm[r][chosen[r]]) for r in said]
    known_bears = [value for value in bears if not np.isnan(value)]
    masses = [o.mass_g for o in said.values()]
    whole = not assumed and all(
        r in said for r, kind in vocabulary.roles.items() if not kind.fill.may_be_empty
    )
    ordered = {r: said[r] for r in vocabulary.roles if r in said}
    return Exchanged(
        part,
        part.price or 0,
        than,
        None if np.isnan(strength) else strength,
        tuple(along),
        tuple(left_out),
        tuple(sku for sku, p in bought.items() if p.stock <= 0),
        Build(
            ordered,
            (part.price or 0) + sum(one.price for one in along),
            sum(m for m in masses if m is not None) if whole and None not in masses else None,
            min(known_bears, default=None),
        ),
        assumed,
        minutes,
        int(today) if np.isfinite(today) else None,
    )
