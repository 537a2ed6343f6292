"""What each role offers to a question: options with their classes, prices and masses.

A rider's own parts, the shelf and the whole catalogue are menus of a role. Two parts that no
joint, no service and no limit tells apart make one and the same menu, so that thousands of
enquiries come down to few questions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import fields
from itertools import chain

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.demand.clashes import PairRelation, pairs_of
from fitgraph.demand.in_reach import in_reach
from fitgraph.model import Fill
from fitgraph.records import dataclass
from fitgraph.solve import Space
from fitgraph.solve.arrays import dense, rank, spread
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.support import Support


@dataclass(frozen=True, slots=True)
class Shelf:
    """Which parts a shop can take, beside the rider's own.

    Parameters
    ----------
    stocked : bool
        Only those in stock; if not, every part that is sold.
    plus : frozenset of str
        Stock numbers that are taken as in stock as well (orders).
    without : frozenset of str
        Stock numbers that are taken as gone.
    held : frozenset of str, optional
        Stock numbers that were in stock (:meth:`Menus.held`), instead of those that are.
    """

    stocked: bool = True
    plus: frozenset[str] = frozenset()
    without: frozenset[str] = frozenset()
    held: frozenset[str] | None = None


#: What is in stock, and everything that is sold.
IN_STOCK, SOLD = Shelf(True), Shelf(False)


@dataclass(frozen=True, slots=True)
class Menu:
    """Options of one role with what they cost a rider.

    Parameters
    ----------
    place : ndarray of int
        Places of the options in the space.
    klass : ndarray of int
        Their interface classes.
    price : ndarray of float
        In minor currency units.
    tenths : ndarray of float
        Mass in tenths of a gram, less what all options of an owned menu share.
    weighed : ndarray of bool
        Whether the mass is known.
    """

    place: Ints
    klass: Ints
    price: Floats
    tenths: Floats
    weighed: Bools

    @property
    def told_apart(self) -> tuple[Ints, Floats, Bools, Floats]:
        """Return all that a question can see of the options."""
        return self.klass, self.price, self.weighed, self.tenths


def _front(menu: Menu, among: Ints) -> Ints:
    """Return the places of those that no other of their class betters in price and mass."""
    klass, price, tenths = menu.klass[among], menu.price[among], menu.tenths[among]
    order = np.lexsort((tenths, price, klass))
    # Each class lies below all before it, so that one running minimum serves all.
    level = rank(tenths)[order] - klass[order] * (len(among) + 1)
    lightest = np.minimum.accumulate(level)
    return np.sort(order[level < np.append(np.iinfo(np.intp).max, lightest[:-1])])


class Listing:
    """Menus by number over a plan's rows: all that a question's answer hangs on.

    Parameters
    ----------
    class_of : mapping of str to ndarray of int
        The class of each option of each role.
    menus : sequence of list of Menu
        For each role, its menus by number.
    runs : mapping of bool to Support or Circuit
        The rows: of builds that are certain, and of those that are possible.
    pairs : mapping of bool to tuple of PairRelation, optional
        What two roles allow each other, for both; without it nothing is known beforehand.
    """

    def __init__(
        self,
        class_of: Mapping[str, Ints],
        menus: Sequence[list[Menu]],
        runs: Mapping[bool, Support | Circuit],
        pairs: Mapping[bool, tuple[PairRelation, ...]] | None = None,
    ) -> None:
        self.class_of, self._runs, self._pairs = class_of, runs, pairs or {}
        self.sizes = {r: int(c.max(initial=-1)) + 1 for r, c in class_of.items()}
        self.roles = tuple(class_of)
        self._of = menus
        self._useful: dict[tuple[int, int, bool], Ints] = {}

    def runs(self, *, certain: bool) -> Support | Circuit:
        """Return the rows that builds are made of, as runs."""
        return self._runs[certain]

    def support(self, lets: Mapping[str, Bools], *, certain: bool) -> Support:
        """Return the rows that builds of what is let in have, and perhaps more, one by one.

        Parameters
        ----------
        lets : mapping of str to ndarray of bool
            Which classes of each role are let in.
        certain : bool
            As in :meth:`runs`.
        """
        runs = in_reach(self.runs(certain=certain), lets)
        return runs if isinstance(runs, Support) else runs.expanded(runs.plan.ceiling)

    def pairs(self, *, certain: bool) -> tuple[PairRelation, ...]:
        """Return what two roles allow each other, where that is less than all."""
        return self._pairs.get(certain, ())

    def menu(self, at: int, number: int) -> Menu:
        """Return a menu of the role at a place."""
        return self._of[at][number]

    def useful(self, at: int, number: int, *, weighed: bool) -> Ints:
        """Return the places in a menu that no other of its class betters in price and mass.

        Parameters
        ----------
        at, number : int
            As in :meth:`menu`.
        weighed : bool
            Whether those of unknown mass are left out.
        """
        key = (at, number, weighed)
        if key not in self._useful:
            menu = self.menu(at, number)
            known = np.flatnonzero(menu.weighed | (not weighed))
            self._useful[key] = known[_front(menu, known)]
        return self._useful[key]


class Menus(Listing):
    """The menus of every role, each made once and named by a number.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    stock : mapping of str to int, optional
        Pieces held by stock number, instead of the catalogue's own.
    """

    def __init__(self, space: Space, stock: Mapping[str, int] | None = None) -> None:
        class_of = {r: space.class_of[r] for r in space.roles}
        super().__init__(class_of, [[] for _ in space.roles], {})
        self.space = space
        self._number: list[dict[object, int]] = [{} for _ in self.roles]
        self._tenths, self._weighed = space.masses
        self._materials: dict[tuple[str, str], Bools] = {}
        parts = space.catalogue.parts
        self.in_stock = self.held(
            {s: p.stock for s, p in parts.items()} if stock is None else stock
        )
        self._stocked = {r: self._named(r, self.in_stock) for r in self.roles}

    def held(self, stock: Mapping[str, int]) -> frozenset[str]:
        """Return the parts that can be taken from a stock: pieces by stock number."""
        parts = self.space.catalogue.parts
        return frozenset(
            s for s, n in stock.items() if n > 0 and s in parts and parts[s].price is not None
        )

    def listing(self) -> Listing:
        """Return the menus made so far, without the catalogue: little to send to a process."""
        runs = {certain: self.runs(certain=certain) for certain in (True, False)}
        pairs = {certain: self.pairs(certain=certain) for certain in (True, False)}
        return Listing(self.class_of, [list(menus) for menus in self._of], runs, pairs)

    def runs(self, *, certain: bool) -> Support | Circuit:
        """Return the rows that builds are made of, as runs."""
        return self.space.runs(certain=certain)

    def pairs(self, *, certain: bool) -> tuple[PairRelation, ...]:
        """Return what two roles allow each other, where that is less than all."""
        space = self.space
        return space.kept(
            ("pairs of roles", certain), lambda: pairs_of(space.relations(certain=certain))
        )

    def _named(self, role: str, skus: Set[str]) -> Bools:
        facts = self.space.facts[role]
        mask = np.zeros(len(facts.void), dtype=bool)
        mask[[n for sku in facts.places.keys() & skus for n in facts.places[sku]]] = True
        return mask

    def _of_material(self, role: str, material: str | None) -> Bools | None:
        """Return which options a wanted material lets in; None for all."""
        if material is None or not self.space.catalogue.vocabulary.roles[role].by_material:
            return None
        if (role, material) not in self._materials:
            names = self.space.facts[role].materials
            self._materials[role, material] = np.array([material in n for n in names], dtype=bool)
        return self._materials[role, material]

    def _kept(self, at: int, key: object, menu: Menu) -> int:
        number = self._number[at].setdefault(key, len(self._of[at]))
        if number == len(self._of[at]):
            self._of[at].append(menu)
        return number

    def _menu(self, role: str, place: Ints, price: Floats, tenths: Floats) -> Menu:
        klass, weighed = self.class_of[role][place], self._weighed[role][place]
        return Menu(place, klass, price, tenths, weighed)

    def owned(
        self, at: int, skus: frozenset[str], material: str | None = None
    ) -> tuple[int, float]:
        """Return the menu of a rider's own parts, and the mass in tenths that it leaves out.

        Parameters
        ----------
        at : int
            Place of the role.
        skus : frozenset of str
            The parts of that role that they own; any one is taken.
        material : str or None
            Material asked for.
        """
        role = self.roles[at]
        facts, lets = self.space.facts[role], self._of_material(role, material)
        place = np.array(
            sorted(n for sku in skus for n in facts.places.get(sku, ())), dtype=np.intp
        )
        if lets is not None:
            place = place[lets[place]]
        tenths = self._tenths[role][place]
        shared = float(tenths.min(initial=np.inf)) if len(tenths) else 0.0
        menu = self._menu(role, place, facts.service_price[place], tenths - shared)
        told = zip(*(c.tolist() for c in menu.told_apart), strict=True)
        return self._kept(at, tuple(sorted(told)), menu), shared

    def owned_each(
        self, at: int, skus: Sequence[str], material: str | None = None
    ) -> tuple[Ints, Floats]:
        """Return for each part, owned alone, what :meth:`owned` says of it.

        Parameters
        ----------
        at : int
            Place of the role.
        skus : sequence of str
            Parts of that role.
        material : str or None
            Material asked for.

        Returns
        -------
        numbers : ndarray of int, shape (n_skus,)
            Their menus.
        shared : ndarray of float, shape (n_skus,)
            The mass in tenths of a gram that each menu leaves out.
        """
        role = self.roles[at]
        facts, lets = self.space.facts[role], self._of_material(role, material)
        places = [facts.places.get(sku, ()) for sku in skus]
        owner = np.repeat(np.arange(len(skus)), [len(p) for p in places])
        place = np.fromiter(chain.from_iterable(places), dtype=np.intp, count=len(owner))
        if lets is not None:
            owner, place = owner[lets[place]], place[lets[place]]
        tenths = self._tenths[role][place]
        shared = np.full(len(skus), np.inf)
        np.minimum.at(shared, owner, tenths)
        shared[np.isinf(shared)] = 0.0
        menu = self._menu(role, place, facts.service_price[place], tenths - shared[owner])
        # Alike are parts whose options are alike, whatever their order: one of each is asked.
        kind = dense([rank(c.astype(float)) for c in menu.told_apart])[1]
        order = np.lexsort((kind, owner))
        counts = np.bincount(owner, minlength=len(skus))
        of_part, number = spread(counts)
        table = np.zeros((counts.max(initial=0) + 1, len(skus)), dtype=np.intp)
        table[number, of_part] = kind[order] + 1
        first, alike = dense(list(table))
        numbers = [self.owned(at, frozenset((skus[n],)), material)[0] for n in first.tolist()]
        return np.array(numbers, dtype=np.intp)[alike], shared

    def shelf(self, at: int, shelf: Shelf, material: str | None = None) -> int:
        """Return the menu of what a shop can take for a role that the rider has nothing for."""
        role = self.roles[at]
        here = self.space.facts[role].places
        plus = frozenset(s for s in shelf.plus if s in here)
        without = frozenset(s for s in shelf.without if s in here)
        kind = self.space.catalogue.vocabulary.roles[role]
        wanted = material if kind.by_material else None
        held = None
        if shelf.stocked and shelf.held is not None:
            held = frozenset(s for s in shelf.held if s in here)
        key = (shelf.stocked, plus, without, held, wanted)
        if key in self._number[at]:
            return self._number[at][key]
        facts = self.space.facts[role]
        lets = facts.sold.copy()
        of_material = self._of_material(role, wanted)
        if of_material is not None:
            lets &= of_material
        if shelf.stocked:
            stocked = self._stocked[role] if held is None else self._named(role, held)
            lets &= stocked | self._named(role, plus)
        if without:
            lets &= ~self._named(role, without)
        if kind.fill is Fill.EXTRA:
            lets &= False
        place = np.flatnonzero(lets | facts.void)
        price = (facts.price + facts.service_price)[place]
        return self._kept(at, key, self._menu(role, place, price, self._tenths[role][place]))

    def only(self, at: int, number: int, *, filled: bool) -> int:
        """Return a menu's options that fill the role, or those that leave it empty.

        Parameters
        ----------
        at, number : int
            As in :meth:`menu`.
        filled : bool
            Which of them.
        """
        menu = self.menu(at, number)
        kept = self.space.facts[self.roles[at]].void[menu.place] != filled
        some = Menu(*(getattr(menu, f.name)[kept] for f in fields(menu)))
        return self._kept(at, ("only", number, filled), some)

    def bought(self, at: int, places: Ints, material: str | None = None) -> int:
        """Return the menu of some options that have to be bought, held or not.

        Parameters
        ----------
        at : int
            Place of the role.
        places : ndarray of int
            Places of the options in the space.
        material : str or None
            Material asked for.
        """
        role = self.roles[at]
        lets = self._of_material(role, material)
        place = np.asarray(places if lets is None else places[lets[places]], dtype=np.intp)
        facts = self.space.facts[role]
        price = (facts.price + facts.service_price)[place]
        menu = self._menu(role, place, price, self._tenths[role][place])
        told = zip(*(c.tolist() for c in menu.told_apart), strict=True)
        return self._kept(at, ("bought", *told), menu)

    @property
    def one_part(self) -> float:
        """Return what a lacking part counts for: more than all prices of a build together."""
        return float(1.0 + sum(f.price.max(initial=0.0) for f in self.space.facts.values()))

    def missing(self, at: int) -> int:
        """Return the menu of everything sold, at what is lacking for it.

        A part in stock and work on it cost nothing. Any other counts first as one part, then
        at its price: the cheapest build with the fewest parts to get comes first.
        """
        role = self.roles[at]
        if ("missing",) not in self._number[at]:
            facts = self.space.facts[role]
            sold = self.menu(at, self.shelf(at, SOLD)).place
            lacking = ~(self._stocked[role] | facts.void)[sold]
            price = np.where(lacking, self.one_part + facts.price[sold], 0.0)
            menu = self._menu(role, sold, price, self._tenths[role][sold])
            self._kept(at, ("missing",), menu)
        return self._number[at][("missing",)]
