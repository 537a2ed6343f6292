"""How many enquiries are served as pieces run out: first come, first served.

Coverage takes each enquiry alone, so that one piece may serve many. Here enquiries come in the
order of their dates, those without a date last, and of one day in the order of the file. Whoever
can be served takes one piece of every part that he does not own of his cheapest build from what is
left; under a mass limit of the cheapest where that is light enough, else of one that keeps both
limits. An enquiry that counts for several is so many riders, one after the other.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints
from fitgraph.demand.least import cheapest
from fitgraph.demand.menus import IN_STOCK, Shelf
from fitgraph.demand.questions import Questions
from fitgraph.demand.served import Asked, Served, served
from fitgraph.model import Enquiry
from fitgraph.records import dataclass
from fitgraph.solve import TreeEngine
from fitgraph.solve.plan import naming_none
from fitgraph.stock.from_stock import from_stock


@dataclass(frozen=True, slots=True)
class TakenPieces:
    """What one rider takes.

    Parameters
    ----------
    number : str
        The enquiry's.
    parts : tuple of str
        Stock numbers, one piece of each.
    price : int
        To pay, work included [minor currency units].
    """

    number: str
    parts: tuple[str, ...]
    price: int


@dataclass(frozen=True, slots=True)
class InTurn:
    """Who is served while pieces last.

    Parameters
    ----------
    asked : float
        How many enquiries there are.
    served : float
        How many of them are served in turn.
    builds : tuple of TakenPieces
        What goes, in turn.
    """

    asked: float
    served: float
    builds: tuple[TakenPieces, ...]

    @property
    def share(self) -> float:
        """Return the share that is served, 0 to 1."""
        return self.served / self.asked if self.asked else 0.0


class _Builds:
    """The build that each question takes from what is left."""

    def __init__(self, questions: Questions, first: Served) -> None:
        self.questions, self.menus = questions, questions.menus
        self.places = np.full(questions.own.shape, -1, dtype=np.intp)
        #: The cheapest build of each question, where it is too heavy.
        self.too_heavy = np.full(questions.own.shape, -1, dtype=np.intp)
        self.known = np.zeros(len(questions), dtype=bool)
        self._keep(np.arange(len(questions)), questions.asked_of(IN_STOCK), first)

    def find(self, at: Ints, gone: frozenset[str]) -> None:
        """Work out the builds of some questions without some parts."""
        asked = self.questions.asked_of(Shelf(without=gone), at)
        self._keep(at, asked, served(self.menus, asked, certain=True, witness=True))

    def _keep(self, at: Ints, asked: Asked, found: Served) -> None:
        """Keep the builds of some questions, under a mass limit the cheapest if it is light."""
        places = np.where(found.yes[:, None], found.places, -1)
        too_heavy = np.full(places.shape, -1, dtype=np.intp)
        heavy = np.flatnonzero(found.yes & np.isfinite(asked.tenths))
        if len(heavy):
            part = asked.take(heavy)
            _, least = cheapest(
                self.menus, part.menus, (1.0, 0.0), certain=True, weighed=True, witness=True
            )
            light = self._tenths(part.menus, least) <= part.tenths
            places[heavy[light]] = least[light]
            too_heavy[heavy[~light]] = least[~light]
        self.places[at], self.too_heavy[at], self.known[at] = places, too_heavy, True

    def _tenths(self, numbers: Ints, places: Ints) -> npt.NDArray[np.float64]:
        """Return the masses of builds, as their menus count them."""
        total = np.zeros(len(places))
        for role in range(places.shape[1]):
            for n, (number, place) in enumerate(
                zip(numbers[:, role].tolist(), places[:, role].tolist(), strict=True)
            ):
                menu = self.menus.menu(role, number)
                total[n] += float(menu.tenths[menu.place == place].min(initial=np.inf))
        return total

    def price(self, question: int) -> int:
        """Return what the rider pays for a question's build."""
        total = 0
        for at, role in enumerate(self.menus.roles):
            option = self.menus.space.options[role][int(self.places[question, at])]
            total += option.service_price
            if self.questions.own[question, at] < 0 and option.part is not None:
                total += option.part.price or 0
        return total

    def parts(self, question: int) -> list[str]:
        """Return the stock numbers that a question's build takes from the shelf."""
        return self._from_shelf(question, self.places[question])

    def hang_on(self, question: int, out: set[str]) -> bool:
        """Return whether a question's build may be another one without some parts.

        It is where it has one of them, and where the cheapest, which is too heavy, has one: then
        the next may be light enough.
        """
        heavy = self._from_shelf(question, self.too_heavy[question])
        return not out.isdisjoint(self.parts(question)) or not out.isdisjoint(heavy)

    def _from_shelf(self, question: int, places: Ints) -> list[str]:
        found = []
        for at, role in enumerate(self.menus.roles):
            place = int(places[at])
            if place < 0 or self.questions.own[question, at] >= 0:
                continue
            part = self.menus.space.options[role][place].part
            if part is not None:
                found.append(part.sku)
        return found


@naming_none()
def in_turn(
    engine: TreeEngine,
    enquiries: Sequence[Enquiry] | None = None,
) -> InTurn:
    """Return who is served while pieces last, first come, first served.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    enquiries : sequence of Enquiry, optional
        The catalogue's own by default.
    """
    shelf = from_stock(engine, enquiries)
    questions, kept = shelf.questions, shelf.enquiries
    builds = _Builds(questions, shelf.served())
    left = {sku: p.stock for sku, p in engine.catalogue.parts.items()}
    order = sorted(range(len(kept)), key=lambda n: kept[n].date or datetime.date.max)
    gone: frozenset[str] = frozenset()
    taken: list[TakenPieces] = []
    total = 0.0
    for place, n in enumerate(order):
        question, weight = int(questions.of[n]), kept[n].weight
        for unit in range(math.ceil(weight)):
            if not builds.known[question]:
                later = {int(questions.of[m]) for m in order[place:]}
                stale = [q for q in sorted(later) if not builds.known[q]]
                builds.find(np.array(stale, dtype=np.intp), gone)
            if (builds.places[question] < 0).all():
                break
            total += min(1.0, weight - unit)
            out = set()
            parts = tuple(builds.parts(question))
            taken.append(TakenPieces(kept[n].number, parts, builds.price(question)))
            for sku in parts:
                left[sku] = left.get(sku, 0) - 1
                if left[sku] <= 0:
                    out.add(sku)
            if out:
                gone |= out
                for q in range(len(questions)):
                    if builds.hang_on(q, out):
                        builds.known[q] = False
    return InTurn(sum(e.weight for e in kept), total, tuple(taken))
