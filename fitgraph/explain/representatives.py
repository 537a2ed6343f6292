"""The few answers that stand for all: the ends, the balances between them, and what differs.

The first rows are the cheapest, the lightest and the strongest core. Then come balances: the cores
that are the best for most ways to weigh price, mass and strength against each other for which no
row before is: a knee by its marginal utility [1], and greedy cover from there on [2]. Then what is
all on the shelf and what needs the least workshop work; and last, of the cores that cost little
more than the cheapest, those that differ in most parts from all rows before: greedy dispersion,
whose least distance is at least half the best there is [3].

References
----------
.. [1] J. Branke, K. Deb, H. Dierolf, M. Osswald, "Finding knees in multi-objective
   optimization", PPSN VIII, LNCS 3242 (2004) 722-731 (reference checked).
.. [2] G. L. Nemhauser, L. A. Wolsey, M. L. Fisher, "An analysis of approximations for maximizing
   submodular set functions - I", Mathematical Programming 14 (1978) 265-294 (reference checked).
.. [3] S. S. Ravi, D. J. Rosenkrantz, G. K. Tayi, "Heuristic and special case algorithms for
   dispersion problems", Operations Research 42 (1994) 299-310 (reference checked).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from fitgraph.array_types import Floats, Ints
from fitgraph.graph.options import skus_of, work_on
from fitgraph.model import Option
from fitgraph.records import dataclass
from fitgraph.solve.cores import Cores, Tallies, limits_of
from fitgraph.solve.counted import Counted
from fitgraph.solve.dominance import least_of_three, least_of_two

#: Rows that ends and balances take before others.
_FIRST = 5

#: How much more than the cheapest a row may cost that is shown because it differs.
WITHIN = 0.25

#: Weighings along an edge of the triangle of price, mass and strength.
_EDGE = 12

#: Cores whose least is worked out one by one where both limits bind, at most.
_LOOKED = 200

#: Utilities nearer than this are alike.
_ALIKE = 1e-9


@dataclass(frozen=True, slots=True)
class Representative:
    """One core with its fillings, and why it is shown.

    Parameters
    ----------
    reasons : tuple of str
        Why it is shown, the title first: cheapest, lightest, strongest, balance, shelf, work,
        different.
    options : mapping of str to Option
        The option of each deciding role; empty ones are left out.
    places : mapping of str to int
        The same, as places among the options of each role.
    fillings : Counted
        How many fillings there are within the limits.
    price_from, price_to : int
        With the cheapest and the dearest [minor currency units].
    mass_from_g, mass_to_g : float or None
        With the lightest and the heaviest of known mass [g].
    strength_nm : float or None
        Bending moment that the compared tube bears again and again [N m].
    in_stock : bool
        Whether it can be done today with what is owned and on the shelf.
    pieces : int or None
        How many of the core's scarcest part are in stock; None where all of it is owned.
    lacking : tuple of str
        Parts of the core that are neither owned nor in stock.
    minutes : float
        Workshop work on the core [min].
    than : Contrast or None
        How it differs from the first row; None for that.
    """

    reasons: tuple[str, ...]
    options: Mapping[str, Option]
    places: Mapping[str, int]
    fillings: Counted
    price_from: int
    price_to: int
    mass_from_g: float | None
    mass_to_g: float | None
    strength_nm: float | None
    in_stock: bool
    pieces: int | None
    lacking: tuple[str, ...]
    minutes: float
    than: Contrast | None = None

    @property
    def parts(self) -> dict[str, str]:
        """Return the stock number for each filled role that decides."""
        return skus_of(self.options)

    @property
    def services(self) -> tuple[tuple[str, str], ...]:
        """Return the services as pairs of stock number and service."""
        return work_on(self.options)


@dataclass(frozen=True, slots=True)
class Contrast:
    """How one thing differs from another.

    Parameters
    ----------
    price : int or None
        What it costs more [minor currency units].
    mass_g : float or None
        What it weighs more [g]; None where nobody knows.
    strength_nm : float or None
        What it bears more [N m]; None where nothing is compared.
    minutes : float
        Workshop work more [min].
    """

    price: int | None
    mass_g: float | None
    strength_nm: float | None
    minutes: float = 0.0


class _Chooser:
    """Chooses rows among cores."""

    def __init__(self, cores: Cores, strength: Floats, minutes: Floats) -> None:
        self.cores, self.strength, self.minutes = cores, strength, minutes
        self.limits = limits_of(cores.query)
        self.tallies = Tallies(cores, np.arange(len(cores), dtype=np.intp))
        self.chosen: dict[int, list[str]] = {}
        kinds = np.array(["stock" not in kind for kind in cores.kinds])
        inside = (cores.with_price <= self.limits[0]) & (cores.with_tenths <= self.limits[1])
        if not np.isfinite(self.limits[1]):
            inside[:, 0] = cores.with_price[:, 0] <= self.limits[0]
        self.inside = inside & kinds
        self.price = np.where(self.inside, cores.with_price, np.inf)
        self.tenths = np.where(self.inside, cores.with_tenths, np.inf)
        self.tenths[:, 0] = np.inf  # a mass that nobody knows is no mass

    def take(self, n: int | None, reason: str) -> None:
        """Take a core up."""
        if n is not None:
            self.chosen.setdefault(n, []).append(reason)

    # -- ends ----------------------------------------------------------

    def _least(self, which: int) -> int | None:
        """Return the core of the least price (0) or mass (1) within the limits."""
        cores = self.cores
        values = (self.price, self.tenths)[which]
        lower = (
            cores.with_price[:, 0]
            if which == 0
            else cores.with_tenths[:, cores.kinds.index("mass")]
        )
        best = values.min(axis=1)
        if np.isfinite(self.limits).any():
            order = np.argsort(lower, kind="stable")
            for n in order[:_LOOKED].tolist():
                if not lower[n] < best.min():
                    break
                if lower[n] < best[n]:  # a filling that the limits let in may be better
                    best[n] = min(best[n], self.tallies.least(n, which))
        least = float(best.min(initial=np.inf))
        if not np.isfinite(least):
            return None
        other = (self.tenths, self.price)[which]
        alike = np.flatnonzero(best == least)
        beside = np.where(values[alike] == least, other[alike], np.inf).min(axis=1)
        rank = np.lexsort((self._weak(alike), self.minutes[alike], beside))
        return int(alike[rank[0]])

    def _weak(self, at: Ints) -> Floats:
        return -np.nan_to_num(self.strength[at], nan=-1.0)

    def _strongest(self) -> int | None:
        known = ~np.isnan(self.strength)
        if not known.any():
            return None
        alike = np.flatnonzero(known & (self.strength >= np.nanmax(self.strength) - _ALIKE))
        price = self.price[alike].min(axis=1)
        return int(alike[np.lexsort((self.tenths[alike].min(axis=1), price))[0]])

    def ends(self, sort: str) -> None:
        """Take the ends, that of the order asked for first."""
        found: dict[str, Callable[[], int | None]] = {
            "price": lambda: self._least(0),
            "mass": lambda: self._least(1),
            "strength": self._strongest,
        }
        name = {"price": "cheapest", "mass": "lightest", "strength": "strongest"}
        for order in (sort, *(s for s in found if s != sort)):
            self.take(found[order](), name[order])
        if not self.chosen and len(self.cores):  # only a search finds a filling of any
            self.take(int(np.argmin(self.cores.with_price[:, 0])), "cheapest")

    # -- balances ------------------------------------------------------

    def balances(self, most: int) -> None:
        """Take what is best for most weighings for which no row before is."""
        points, owner = self._front()
        if len(owner) < 2:
            return
        low, high = points.min(axis=0), points.max(axis=0)
        spans = np.where(high > low, high - low, 1.0)
        utility = weighings(_EDGE) @ ((points - low) / spans).T
        wins = utility <= utility.min(axis=1, keepdims=True) + _ALIKE
        cores, at = np.unique(owner, return_inverse=True)
        of_core = np.zeros((len(cores), len(wins)), dtype=bool)
        np.logical_or.at(of_core, at, wins.T)
        covered = of_core[np.isin(cores, list(self.chosen))].any(axis=0)
        total = utility.mean(axis=0)
        mean = np.full(len(cores), np.inf)
        np.minimum.at(mean, at, total)
        while len(self.chosen) < most:
            gain = (of_core & ~covered).sum(axis=1)
            best = int(np.lexsort((mean, -gain))[0])
            if not gain[best]:
                return
            covered |= of_core[best]
            self.take(int(cores[best]), "balance")

    def _front(self) -> tuple[Floats, Ints]:
        """Return what no filling betters in price, mass and strength, and whose core it is."""
        strengths, group = np.unique(-np.nan_to_num(self.strength), return_inverse=True)
        none = np.isnan(self.strength)
        both = self.inside & np.isfinite(self.price) & np.isfinite(self.tenths)
        both &= np.full(len(none), True)[:, None] if none.all() else ~none[:, None]
        owner, which = np.nonzero(both)
        price, tenths = self.price[owner, which], self.tenths[owner, which]
        wide = [float(v.max(initial=0.0)) + 1 for v in (price, tenths)]
        key = (group[owner] * wide[0] + price) * wide[1] + tenths
        # Cores that come to the same are the same to a weighing: one of each stands for them.
        first = np.unique(key, return_index=True)[1]
        kept = first[least_of_two(group[owner[first]], price[first], tenths[first])]
        points = np.column_stack([price[kept], tenths[kept], strengths[group[owner[kept]]]])
        kept = kept[least_of_three(points)]
        same = np.isin(key, key[kept])
        return (
            np.column_stack([price[same], tenths[same], strengths[group[owner[same]]]]),
            owner[same].astype(np.intp),
        )

    # -- the rest ------------------------------------------------------

    def shelf(self) -> None:
        """Take the cheapest that can be done today."""
        cores = self.cores
        at = [cores.kinds.index(k) for k in ("price from stock", "mass from stock")]
        price, tenths = cores.with_price[:, at], cores.with_tenths[:, at]
        good = (price <= self.limits[0]) & (tenths <= self.limits[1])
        value = np.where(good, price, np.inf).min(axis=1)
        if np.isfinite(value).any():
            least = np.flatnonzero(value == value.min())
            mine = [n for n in self.chosen if n in least]
            self.take(mine[0] if mine else int(least[0]), "shelf")

    def work(self) -> None:
        """Take the cheapest of those that need the least workshop work."""
        if not len(self.cores) or self.minutes.min() == self.minutes.max():
            return
        least = np.flatnonzero(self.minutes == self.minutes.min())
        price = self.price[least].min(axis=1)
        mine = [n for n in self.chosen if n in least]
        self.take(mine[0] if mine else int(least[np.argmin(price)]), "work")

    def different(self, most: int) -> None:
        """Take what differs in most parts from all rows before, of what costs little more."""
        price = self.price.min(axis=1)
        least = float(price.min(initial=np.inf))
        near = np.flatnonzero(price <= least * (1 + WITHIN))
        if not len(near):
            return
        columns = np.column_stack([o[near] for o in self.cores.options.values()])
        rows = np.column_stack([o[list(self.chosen)] for o in self.cores.options.values()])
        apart = np.full(len(near), columns.shape[1])
        for row in rows:
            apart = np.minimum(apart, (columns != row).sum(axis=1))
        while len(self.chosen) < most:
            best = int(np.lexsort((price[near], -apart))[0])
            if apart[best] < 1:
                return
            self.take(int(near[best]), "different")
            apart = np.minimum(apart, (columns != columns[best]).sum(axis=1))


def weighings(edge: int) -> Floats:
    """Return weights of three criteria, spread evenly: the middles of a triangle's cells.

    Parameters
    ----------
    edge : int
        Cells along an edge.

    Returns
    -------
    ndarray of float, shape (edge ** 2, 3)
        Each row adds up to one.

    Examples
    --------
    >>> weighings(1).round(2).tolist()
    [[0.33, 0.33, 0.33]]
    >>> weighings(2).mean(axis=0).round(2).tolist()
    [0.33, 0.33, 0.33]
    """
    upward = [(i + 1 / 3, j + 1 / 3) for i in range(edge) for j in range(edge - i)]
    downward = [(i + 2 / 3, j + 2 / 3) for i in range(edge) for j in range(edge - i - 1)]
    two = np.array([*upward, *downward]) / edge
    return np.column_stack([two, 1.0 - two.sum(axis=1)])


def representatives(cores: Cores, *, sort: str, most: int) -> tuple[Representative, ...]:
    """Return the few cores that stand for all, each with its fillings.

    Parameters
    ----------
    cores : Cores
        All of them.
    sort : {'price', 'mass', 'strength'}
        Which end comes first.
    most : int
        How many rows.
    """
    if not len(cores) or most < 1:
        return ()
    space = cores.query.space
    services = space.catalogue.vocabulary.services
    strength, minutes = np.full(len(cores), np.nan), np.zeros(len(cores))
    for role, of in cores.options.items():
        own = np.array(
            [sum(services[s].minutes for s in option.services) for option in space.options[role]]
        )
        minutes += own[of]
        strength = np.fmin(strength, space.strength_nm[role][of])
    chooser = _Chooser(cores, strength, minutes)
    chooser.ends(sort)
    chooser.balances(min(most, _FIRST))
    chooser.shelf()
    chooser.work()
    chooser.different(most)
    rows = list(chooser.chosen.items())[:most]
    tallies = Tallies(cores, np.array([n for n, _ in rows], dtype=np.intp))
    found: list[Representative] = []
    for n, reasons in rows:
        one = _row(cores, tallies, n, tuple(reasons), float(strength[n]), float(minutes[n]))
        found.append(one if not found else _contrasted(one, found[0]))
    return tuple(found)


def _row(
    cores: Cores, tallies: Tallies, n: int, reasons: tuple[str, ...], strength: float, work: float
) -> Representative:
    query, tally = cores.query, tallies.of(n)
    places = cores.at(n)
    options = {r: query.space.options[r][i] for r, i in places.items()}
    owned = set(query.request.have)
    bought = [o.part for o in options.values() if o.part is not None and o.part.sku not in owned]
    tenths = tally.tenths
    return Representative(
        reasons,
        {r: o for r, o in options.items() if o.part is not None},
        places,
        tally.fillings,
        *tally.price,
        None if tenths is None else tenths[0] / 10,
        None if tenths is None else tenths[1] / 10,
        None if np.isnan(strength) else strength,
        tallies.from_stock(n),
        min((part.stock for part in bought), default=None),
        tuple(part.sku for part in bought if not part.stock),
        work,
    )


def _contrasted(one: Representative, first: Representative) -> Representative:
    def more(a: float | None, b: float | None) -> float | None:
        return None if a is None or b is None else a - b

    return replace(
        one,
        than=Contrast(
            one.price_from - first.price_from,
            more(one.mass_from_g, first.mass_from_g),
            more(one.strength_nm, first.strength_nm),
            one.minutes - first.minutes,
        ),
    )
