"""What each role offers to a question: options with their classes, prices and masses.

A rider's own parts, the shelf and the whole catalogue are menus of a role. Two parts that no
joint, no service and no limit tells apart make one and the same menu, so that thousands of
enquiries come down to few questions.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.model import Fill
from fitgraph.solve import Space
from fitgraph.solve.query import TENTHS

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


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
    """

    stocked: bool = True
    plus: frozenset[str] = frozenset()
    without: frozenset[str] = frozenset()


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


class Menus:
    """The menus of every role, each made once and named by a number.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    stock : mapping of str to int, optional
        Pieces held by stock number, instead of the catalogue's own.
    """

    def __init__(self, space: Space, stock: Mapping[str, int] | None = None) -> None:
        self.space = space
        self.roles = space.roles
        self._of: list[list[Menu]] = [[] for _ in self.roles]
        self._number: list[dict[object, int]] = [{} for _ in self.roles]
        self._tenths = {r: np.rint(np.nan_to_num(m) * TENTHS) for r, m in space.mass_g.items()}
        parts = space.catalogue.parts
        held = {s: p.stock for s, p in parts.items()} if stock is None else stock
        self.in_stock = frozenset(
            s for s, n in held.items() if n > 0 and s in parts and parts[s].price is not None
        )
        self._plain = {
            r: list(
                zip(
                    space.class_of[r].tolist(),
                    f.service_price.tolist(),
                    (~np.isnan(space.mass_g[r])).tolist(),
                    strict=True,
                )
            )
            for r, f in space.facts.items()
        }
        self._stocked = {
            r: self._named(r, (s for s in self.in_stock if parts[s].role == r)) for r in self.roles
        }

    def _named(self, role: str, skus: Iterable[str]) -> Bools:
        facts = self.space.facts[role]
        mask = np.zeros(len(facts.void), dtype=bool)
        mask[[n for sku in skus for n in facts.places.get(sku, ())]] = True
        return mask

    def _of_material(self, role: str, material: str | None) -> Bools:
        facts = self.space.facts[role]
        if material is None or not self.space.catalogue.vocabulary.roles[role].by_material:
            return np.ones(len(facts.void), dtype=bool)
        return np.array([material in names for names in facts.materials], dtype=bool)

    def menu(self, at: int, number: int) -> Menu:
        """Return a menu of the role at a place."""
        return self._of[at][number]

    def _kept(self, at: int, key: object, menu: Menu) -> int:
        number = self._number[at].setdefault(key, len(self._of[at]))
        if number == len(self._of[at]):
            self._of[at].append(menu)
        return number

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
        facts, wanted = self.space.facts[role], material
        if not self.space.catalogue.vocabulary.roles[role].by_material:
            wanted = None
        items = []
        for place in (n for sku in skus for n in facts.places.get(sku, ())):
            if wanted is None or wanted in facts.materials[place]:
                tenths = self._tenths[role][place]
                items.append((*self._plain[role][place], float(tenths), place))
        shared = min((item[-2] for item in items), default=0.0)
        key = tuple(sorted((*item[:-2], item[-2] - shared) for item in items))
        number = self._number[at].get(key)
        if number is None:
            klass, price, weighed, tenths_of, place_of = (
                zip(*items, strict=True) if items else [()] * 5
            )
            menu = Menu(
                np.array(place_of, dtype=np.intp),
                np.array(klass, dtype=np.intp),
                np.array(price, dtype=float),
                np.array(tenths_of, dtype=float) - shared,
                np.array(weighed, dtype=bool),
            )
            number = self._kept(at, key, menu)
        return number, shared

    def shelf(self, at: int, shelf: Shelf, material: str | None = None) -> int:
        """Return the menu of what a shop can take for a role that the rider has nothing for."""
        role = self.roles[at]
        here = self.space.facts[role].places
        plus = frozenset(s for s in shelf.plus if s in here)
        without = frozenset(s for s in shelf.without if s in here)
        kind = self.space.catalogue.vocabulary.roles[role]
        wanted = material if kind.by_material else None
        key = (shelf.stocked, plus, without, wanted)
        if key in self._number[at]:
            return self._number[at][key]
        facts, space = self.space.facts[role], self.space
        lets = facts.sold & self._of_material(role, wanted)
        if shelf.stocked:
            lets &= self._stocked[role] | self._named(role, plus)
        if without:
            lets &= ~self._named(role, without)
        if kind.fill is Fill.EXTRA:
            lets &= False
        place = np.flatnonzero(lets | facts.void)
        return self._kept(
            at,
            key,
            Menu(
                place,
                space.class_of[role][place],
                (facts.price + facts.service_price)[place],
                self._tenths[role][place],
                ~np.isnan(space.mass_g[role][place]),
            ),
        )

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
            menu = Menu(
                sold,
                self.space.class_of[role][sold],
                price,
                self._tenths[role][sold],
                ~np.isnan(self.space.mass_g[role][sold]),
            )
            self._kept(at, ("missing",), menu)
        return self._number[at][("missing",)]
