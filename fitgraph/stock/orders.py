"""Orders as a mixed integer program: whole packs, suppliers' terms, and questions served.

References
----------
.. [1] Q. Huangfu, J. A. J. Hall, "Parallelizing the dual revised simplex method", Mathematical
   Programming Computation 10 (2018) 119-142: the solver HiGHS (reference checked).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint
from scipy.sparse import coo_array

from fitgraph.array_types import Floats
from fitgraph.model import Catalogue, Offer, Supply
from fitgraph.records import dataclass
from fitgraph.solve.integers import least_whole

#: The solver's words for a program without any solution, and for a fault of its own.
_IMPOSSIBLE = 2

#: A constraint: coefficients by variable, the least and the most of their sum.
Row = tuple[Mapping[int, float], float, float]


class OutOfTimeError(RuntimeError):
    """The solver found nothing in its time."""


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One line of an order: an offer and how many packs of it."""

    offer: Offer
    packs: int

    @property
    def cost(self) -> int:
        """Return what the packs cost, in minor currency units."""
        return self.packs * self.offer.pack_price


@dataclass(frozen=True, slots=True)
class Solved:
    """What the solver says of one program.

    Parameters
    ----------
    lines : tuple of OrderLine
        What is ordered.
    bound : float
        No set of orders does better than this, cuts still to come included.
    exact : bool
        Whether the solver proved it; if not, it ran out of time.
    """

    lines: tuple[OrderLine, ...]
    bound: float
    exact: bool


@dataclass(frozen=True, slots=True)
class Ask:
    """What orders are wanted: the cheapest that serve enough, or those that serve most.

    Parameters
    ----------
    cost : float
        Most that they may cost, in minor currency units.
    served : float or None
        Least that they serve, in steps; then the cheapest are wanted, else those that serve most.
    step : float
        How many enquiries a step is.
    """

    cost: float = math.inf
    served: float | None = None
    step: float = 1.0

    def of(self, costs: Floats, gains: Floats) -> tuple[Floats, list[Row]]:
        """Return what is minimised, and the constraints.

        Parameters
        ----------
        costs, gains : ndarray of float, shape (n_variables,)
            What each variable costs, and how many enquiries it serves.
        """
        limits: list[Row] = (
            [(_nonzero(costs), 0.0, self.cost + 0.5)] if self.cost < math.inf else []
        )
        if self.served is None:
            return -gains, limits
        return costs, [*limits, (_nonzero(gains / self.step), self.served, math.inf)]


def _nonzero(coefficients: Floats) -> dict[int, float]:
    return {n: float(x) for n, x in enumerate(coefficients.tolist()) if x}


def usable(
    catalogue: Catalogue, supply: Supply, in_stock: frozenset[str], within_days: int | None
) -> tuple[Offer, ...]:
    """Return the offers of parts that are sold, not in stock, and can come in time.

    Without any offer, every part counts as sold by one nameless supplier, piece by piece at
    its own price: a shop that has no price list yet can still ask what to buy.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts they are.
    supply : Supply
        What is offered.
    in_stock : frozenset of str
        Stock numbers held.
    within_days : int or None
        Longest lead time; an unknown one is too long.
    """
    parts = catalogue.parts
    offers = supply.offers or tuple(
        Offer(p.sku, "", 1, p.price, 0) for p in parts.values() if p.price is not None
    )
    return tuple(
        o
        for o in offers
        if o.sku not in in_stock
        and parts[o.sku].price is not None
        and o.max_packs != 0
        and (within_days is None or (o.lead_days is not None and o.lead_days <= within_days))
    )


def cost_of(lines: Sequence[OrderLine], supply: Supply) -> int:
    """Return what orders cost with their deliveries, in minor currency units."""
    suppliers = {line.offer.supplier for line in lines}
    return sum(line.cost for line in lines) + sum(supply.terms(s).delivery for s in suppliers)


class Program:
    """The program of a set of offers and questions; cuts are added as they are found.

    Parameters
    ----------
    offers : sequence of Offer
        What can be ordered.
    supply : Supply
        Gives suppliers' terms.
    weights : sequence of float
        How many enquiries ask each question.

    Notes
    -----
    Variables: packs of each offer (whole), each part there or not, each supplier used or not
    (0 or 1), and each question served (0 to 1). Once the others are whole, a question's best
    value under its cuts is 0 or 1 by itself.
    """

    def __init__(self, offers: Sequence[Offer], supply: Supply, weights: Sequence[float]) -> None:
        self.offers, self.supply = tuple(offers), supply
        self.parts = tuple(dict.fromkeys(o.sku for o in offers))
        self.suppliers = tuple(dict.fromkeys(o.supplier for o in offers))
        self.weights = np.asarray(weights, dtype=float)
        self.cuts: dict[int, list[frozenset[str]]] = {}
        self._part = {s: len(self.offers) + n for n, s in enumerate(self.parts)}
        self._supplier = {
            s: len(self.offers) + len(self.parts) + n for n, s in enumerate(self.suppliers)
        }
        self._question = len(self.offers) + len(self.parts) + len(self.suppliers)
        self._most = [self.most_packs(o) for o in self.offers]
        self._cheapest: dict[str, int] = {}
        for offer in self.offers:
            before = self._cheapest.get(offer.sku, offer.pack_price)
            self._cheapest[offer.sku] = min(before, offer.pack_price)

    def most_packs(self, offer: Offer) -> int:
        """Return how many packs could be of use: one, or as many as reach the least order."""
        least = self.supply.terms(offer.supplier).least_order
        enough = max(1, math.ceil(least / offer.pack_price)) if offer.pack_price else 1
        return enough if offer.max_packs is None else min(enough, offer.max_packs)

    @property
    def size(self) -> int:
        """Return the number of variables."""
        return self._question + len(self.weights)

    @property
    def gives_away(self) -> bool:
        """Return whether some part can be ordered for nothing."""
        return any(not o.pack_price for o in self.offers)

    def add(self, cuts: Sequence[tuple[int, frozenset[str]]]) -> None:
        """Add cuts: a question needs at least one of the parts."""
        for question, parts in cuts:
            self.cuts.setdefault(question, []).append(parts)

    @property
    def number_of_cuts(self) -> int:
        """Return how many cuts there are."""
        return sum(map(len, self.cuts.values()))

    def least_cost(self, offer: Offer) -> int:
        """Return what an order with an offer costs at least, in minor currency units."""
        terms = self.supply.terms(offer.supplier)
        return terms.delivery + max(terms.least_order, offer.pack_price)

    def least_for(self, question: int) -> float:
        """Return what orders that serve a question cost at least, in minor currency units.

        Cuts without a part in common want a part each. Infinite where nothing serves it.
        """
        cuts = self.cuts.get(question)
        if not cuts:
            return 0.0
        if not all(cuts):
            return math.inf
        dear = sorted(((min(self._cheapest[s] for s in cut), cut) for cut in cuts), key=_dearest)
        taken: set[str] = set()
        total = float(min(self.supply.terms(s).delivery for s in self.suppliers))
        for price, cut in dear:
            if taken.isdisjoint(cut):
                taken |= cut
                total += price
        return total

    def costs(self) -> Floats:
        """Return what each variable costs, in minor currency units."""
        costs = np.zeros(self.size)
        costs[: len(self.offers)] = [o.pack_price for o in self.offers]
        for name, at in self._supplier.items():
            costs[at] = self.supply.terms(name).delivery
        return costs

    def gains(self) -> Floats:
        """Return how many enquiries each variable serves."""
        gains = np.zeros(self.size)
        gains[self._question :] = self.weights
        return gains

    def _rows(self) -> list[Row]:
        """Return the constraints: coefficients by variable, least and most."""
        rows: list[Row] = []
        for sku, at in self._part.items():  # a part is there only if a pack of it is
            packs = {n: -1.0 for n, o in enumerate(self.offers) if o.sku == sku}
            rows.append(({at: 1.0, **packs}, -np.inf, 0.0))
        for n, offer in enumerate(self.offers):
            at = self._supplier[offer.supplier]
            rows.append(({n: 1.0, at: -float(self._most[n])}, -np.inf, 0.0))
        for name, at in self._supplier.items():
            terms = self.supply.terms(name)
            goods = {
                n: float(o.pack_price) for n, o in enumerate(self.offers) if o.supplier == name
            }
            if terms.least_order:
                rows.append(({**goods, at: -float(terms.least_order)}, 0.0, np.inf))
            if terms.most_order is not None:
                rows.append((goods, -np.inf, float(terms.most_order)))
        for question, cuts in self.cuts.items():
            for cut in cuts:
                one_of = {self._part[s]: -1.0 for s in cut}
                rows.append(({self._question + question: 1.0, **one_of}, -np.inf, 0.0))
        return rows

    def solve(
        self,
        ask: Ask,
        *,
        seconds: float | None = None,
    ) -> Solved | None:
        """Return the best orders; None where there are none.

        Parameters
        ----------
        ask : Ask
            What is wanted.
        seconds : float, optional
            Time limit.

        Raises
        ------
        OutOfTimeError
            If it found nothing in that time.
        """
        objective, limits = ask.of(self.costs(), self.gains())
        upper = np.ones(self.size)
        upper[: len(self.offers)] = self._most
        if ask.cost < math.inf:
            upper[: len(self.offers)][[self.least_cost(o) > ask.cost for o in self.offers]] = 0.0
            for question in range(len(self.weights)):
                if self.least_for(question) > ask.cost:
                    upper[self._question + question] = 0.0
        whole = np.ones(self.size)
        whole[self._question :] = 0
        least = least_sum(objective, [*self._rows(), *limits], upper, whole, seconds)
        if least is None:
            return None
        x, bound, exact = least
        packs = np.rint(x[: len(self.offers)]).astype(int)
        lines = tuple(
            OrderLine(o, int(n)) for o, n in zip(self.offers, packs, strict=True) if n > 0
        )
        return Solved(lines, bound, exact)


def least_sum(
    objective: Floats,
    rows: Sequence[Row],
    upper: Floats,
    whole: Floats,
    seconds: float | None,
) -> tuple[Floats, float, bool] | None:
    """Return where a sum over variables is least, a bound on it, and whether it is proven.

    Parameters
    ----------
    objective : ndarray of float, shape (n_variables,)
        What is minimised, by variable.
    rows : sequence of Row
        Constraints.
    upper : ndarray of float, shape (n_variables,)
        The most of each variable; the least is zero.
    whole : ndarray of float, shape (n_variables,)
        One for variables that are whole numbers, else zero.
    seconds : float or None
        Time limit.

    Returns
    -------
    tuple or None
        None where the constraints cannot be kept.

    Raises
    ------
    OutOfTimeError
        If nothing was found in that time.
    """
    entries = [(r, n, c) for r, (row, _, _) in enumerate(rows) for n, c in row.items()]
    cells = np.array(entries, dtype=float).reshape(-1, 3)
    at, column = cells[:, 0].astype(int), cells[:, 1].astype(int)
    matrix = coo_array((cells[:, 2], (at, column)), shape=(len(rows), len(objective))).tocsr()
    options: dict[str, float | bool] = {"mip_rel_gap": 0.0}
    if seconds is not None:
        options["time_limit"] = max(seconds, 0.1)
    kept = LinearConstraint(matrix, [lo for _, lo, _ in rows], [hi for _, _, hi in rows])
    result = least_whole(objective, [kept], whole, Bounds(0.0, upper), options)
    if result.x is None:
        if result.status == _IMPOSSIBLE:
            return None
        raise OutOfTimeError
    bound = result.fun if result.mip_dual_bound is None else result.mip_dual_bound
    return result.x, float(bound), result.status == 0


def _dearest(priced: tuple[int, frozenset[str]]) -> tuple[int, int, list[str]]:
    """Order cuts: those of dear parts first, and of these the shortest."""
    price, cut = priced
    return -price, len(cut), sorted(cut)


def by_supplier(lines: Sequence[OrderLine]) -> Mapping[str, tuple[OrderLine, ...]]:
    """Return the lines of each supplier's order."""
    names = sorted({line.offer.supplier for line in lines})
    return {n: tuple(line for line in lines if line.offer.supplier == n) for n in names}
