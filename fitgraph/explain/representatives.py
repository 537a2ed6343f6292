"""The few answers that stand for all: the ends, the balances between them, and what differs.

Five rows come first: the end that is asked for, then, one by one, the core that is the best for
most ways to weigh price, mass and strength against each other for which no row before is: a knee
by its marginal utility [1], and greedy cover from there on [2]. Those of them that are no end are
called balances. Then come the ends that are not among these, what is all on the shelf and what
needs the least workshop work; and last, of the cores that cost little more than the cheapest,
those that differ in most parts from all rows before: greedy dispersion, whose least distance is
at least half the best there is [3].

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

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.graph.options import skus_of, work_on
from fitgraph.model import Option
from fitgraph.records import dataclass
from fitgraph.solve.cores import Cores, Tallies, limits_of
from fitgraph.solve.counted import Counted
from fitgraph.solve.dominance import least_of_three, least_of_two
from fitgraph.solve.fillings import TooManySumsError

#: Rows that are to hold the best for as many weighings as can be.
_FIRST = 5

#: What the ends are called.
_ENDS = {"price": "cheapest", "mass": "lightest", "strength": "strongest"}

#: How much more than the cheapest a row may cost that is shown because it differs.
WITHIN = 0.25

#: Weighings along an edge of the triangle of price, mass and strength.
_EDGE = 12

#: Cores whose least is worked out one by one where both limits bind, at most.
_LOOKED = 200

#: Cores up to which all fronts of fillings are worked out where both limits bind.
_FRONTS = 1000

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
    today : int or None
        With the cheapest filling that can be done today with what is owned and on the shelf [minor
        currency units]; None where there is none.
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
    today: int | None
    pieces: int | None
    lacking: tuple[str, ...]
    minutes: float
    than: Contrast | None = None

    @property
    def in_stock(self) -> bool:
        """Return whether it can be done today with what is owned and on the shelf."""
        return self.today is not None

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
        #: What titles say, and of which cores each is true, the preferred first.
        self.titles: dict[str, Ints] = {}
        kinds = np.array(["stock" not in kind for kind in cores.kinds])
        inside = (cores.with_price <= self.limits[0]) & (cores.with_tenths <= self.limits[1])
        if not np.isfinite(self.limits[1]):
            inside[:, 0] = cores.with_price[:, 0] <= self.limits[0]
        self.inside = inside & kinds
        self.price = np.where(self.inside, cores.with_price, np.inf)
        self.tenths = np.where(self.inside, cores.with_tenths, np.inf)
        self.tenths[:, 0] = np.inf  # a mass that nobody knows is no mass

    def _settled(
        self,
        among: Ints,
        lower: Floats,
        upper: Floats,
        least: Callable[[int], float],
        stretch: float = 1.0,
    ) -> Floats:
        """Return the least of some cores within the limits, where it is among the least of all.

        Parameters
        ----------
        among : ndarray of int
            The cores.
        lower, upper : ndarray of float
            Between which bounds the least of each lies; infinite above where none is known.
        least : callable
            What it is, by core: a filling that the limits let in may be better than a known one.
        stretch : float
            How many times the least of all still matters.
        """
        best = upper.copy()
        least_yet = float(best.min(initial=np.inf))
        unsure = np.flatnonzero(lower < best)
        for n in unsure[np.argsort(lower[unsure], kind="stable")][:_LOOKED].tolist():
            if lower[n] > least_yet * stretch:
                break
            best[n] = min(best[n], least(int(among[n])))
            least_yet = min(least_yet, best[n])
        return best

    def _least_of(self, among: Ints, which: int, stretch: float = 1.0) -> Floats:
        """Return the least price (0) or mass (1) of some cores: see :meth:`_settled`."""
        cores = self.cores
        lower = (
            cores.with_price[:, 0]
            if which == 0
            else cores.with_tenths[:, cores.kinds.index("mass")]
        )
        upper = (self.price, self.tenths)[which][among].min(axis=1)
        return self._settled(
            among, lower[among], upper, lambda n: self.tallies.least(n, which), stretch
        )

    # -- what titles say -----------------------------------------------

    def _end(self, which: int) -> Ints:
        """Return the core of the least price (0) or mass (1) within the limits."""
        best = self._least_of(np.arange(len(self.cores), dtype=np.intp), which)
        least = float(best.min(initial=np.inf))
        if not np.isfinite(least):
            return np.zeros(0, dtype=np.intp)
        values, other = (self.price, self.tenths)[which], (self.tenths, self.price)[which]
        alike = np.flatnonzero(best == least)
        beside = np.where(values[alike] == least, other[alike], np.inf).min(axis=1)
        weak = -np.nan_to_num(self.strength[alike], nan=-1.0)
        return alike[np.lexsort((weak, self.minutes[alike], beside))[:1]]

    def _strongest(self) -> Ints:
        known = ~np.isnan(self.strength)
        if not known.any():
            return np.zeros(0, dtype=np.intp)
        alike = np.flatnonzero(known & (self.strength >= np.nanmax(self.strength) - _ALIKE))
        price = self._least_of(alike, 0)
        return alike[np.lexsort((self.tenths[alike].min(axis=1), price))[:1]]

    def _shelf(self) -> Ints:
        """Return what can be done today for least."""
        cores = self.cores
        at = [cores.kinds.index(k) for k in ("price from stock", "mass from stock")]
        price, tenths = cores.with_price[:, at], cores.with_tenths[:, at]
        good = (price <= self.limits[0]) & (tenths <= self.limits[1])
        value = self._settled(
            np.arange(len(cores), dtype=np.intp),
            price[:, 0],
            np.where(good, price, np.inf).min(axis=1),
            self.tallies.price_from_stock,
        )
        return np.flatnonzero(np.isfinite(value) & (value == value.min(initial=np.inf)))

    def _work(self) -> Ints:
        """Return the cheapest of those that need the least workshop work."""
        if self.minutes.min() == self.minutes.max():
            return np.zeros(0, dtype=np.intp)
        least = np.flatnonzero(self.minutes == self.minutes.min())
        price = self._least_of(least, 0)
        return least[price == price.min()]

    def entitle(self, sort: str, *, more: bool) -> None:
        """Find out of which cores the titles are true; the end asked for goes first.

        Parameters
        ----------
        sort : {'price', 'mass', 'strength'}
            Which end is asked for.
        more : bool
            Whether there is room for what is no end.
        """
        ends: dict[str, Callable[[], Ints]] = {
            "price": lambda: self._end(0),
            "mass": lambda: self._end(1),
            "strength": self._strongest,
        }
        found = {_ENDS[s]: ends[s]() for s in (sort, *(s for s in ends if s != sort))}
        if not any(map(len, found.values())):  # only a search finds a filling of any
            found["cheapest"] = np.array([np.argmin(self.cores.with_price[:, 0])], dtype=np.intp)
        if more:
            found |= {"shelf": self._shelf(), "work": self._work()}
        taken: set[int] = set()
        for title, true_of in found.items():
            if len(true_of):
                self.titles[title] = np.array(
                    sorted(true_of.tolist(), key=lambda n: n not in taken), dtype=np.intp
                )
                taken.add(int(self.titles[title][0]))

    # -- rows ----------------------------------------------------------

    def _named(self) -> set[int]:
        """Return the cores that titles need, beside those that are chosen."""
        return {int(of[0]) for of in self.titles.values() if not self.chosen.keys() & set(of)}

    def rows(self, most: int) -> None:
        """Take the first rows, then what the titles need, then what differs."""
        if most < _FIRST:
            for of in list(self.titles.values())[:most]:
                self.chosen.setdefault(int(of[0]), [])
        else:
            self.chosen[int(next(iter(self.titles.values()))[0])] = []
        self._cover(most)
        first = list(self.chosen)
        for n in (int(of[0]) for of in self.titles.values()):
            if n in self._named():
                self.chosen[n] = []
        for title, of in self.titles.items():
            mine = next((n for n in self.chosen if n in set(of.tolist())), None)
            assert mine is not None
            self.chosen[mine].append(title)
        for n in first:
            self.chosen[n] = self.chosen[n] or ["balance"]
        # Ends stand before balances: they are what people look for.
        titles = [*self.titles, "balance"]
        order = sorted(first, key=lambda n: titles.index(self.chosen[n][0]))
        self.chosen = {n: self.chosen[n] for n in (*order, *self.chosen)}
        self._different(most)

    def _cover(self, most: int) -> None:
        """Take what is best for most weighings for which no row before is."""
        sides = [self._won(*self._front(*of)) for of in (self._fillings(), self._froms())]
        cores = np.unique(np.concatenate([of for of, _, _ in sides]))
        if len(cores) < 2:
            return
        of_core = np.zeros((len(cores), 2 * _EDGE**2), dtype=bool)
        mean = np.full(len(cores), np.inf)
        for n, (of, wins, total) in enumerate(sides):
            at = np.searchsorted(cores, of)
            np.logical_or.at(of_core[:, n * _EDGE**2 : (n + 1) * _EDGE**2], at, wins.T)
            np.minimum.at(mean, at, total)
        covered = of_core[np.isin(cores, list(self.chosen))].any(axis=0)
        while len(self.chosen) < min(most, _FIRST):
            gain = (of_core & ~covered).sum(axis=1)
            named = self._named()
            if most > _FIRST and len(self.chosen) + len(named) >= most:  # they need the room
                gain[~np.isin(cores, list(named))] = 0
            best = int(np.lexsort((mean, -gain))[0])
            if not gain[best]:
                return
            covered |= of_core[best]
            self.chosen[int(cores[best])] = []

    def _fillings(self) -> tuple[Ints, Floats, Floats]:
        """Return whose each known filling is, what it comes to and what it weighs."""
        owner, which = np.nonzero(np.isfinite(self.price) & np.isfinite(self.tenths))
        price, tenths = self.price[owner, which], self.tenths[owner, which]
        if np.isfinite(self.limits).all() and len(self.cores) <= _FRONTS:
            # Where both limits cut a front, what is best inside may be best for no weighting.
            with contextlib.suppress(TooManySumsError):
                fronts = [self.tallies.front(n) for n in range(len(self.cores))]
                more = np.repeat(np.arange(len(fronts)), [len(p) for p, _ in fronts])
                owner = np.concatenate([owner, more])
                price = np.concatenate([price, *(p for p, _ in fronts)])
                tenths = np.concatenate([tenths, *(t for _, t in fronts)])
        return owner.astype(np.intp), price, tenths

    def _froms(self) -> tuple[Ints, Floats, Floats]:
        """Return what each core comes to and weighs at least, if not with one filling."""
        price, tenths = self.price.min(axis=1), self.tenths.min(axis=1)
        owner = np.flatnonzero(np.isfinite(price) & np.isfinite(tenths))
        return owner, price[owner], tenths[owner]

    def _front(self, owner: Ints, price: Floats, tenths: Floats) -> tuple[Ints, Floats]:
        """Return what no other betters in price, mass and strength, and whose core it is."""
        if not np.isnan(self.strength).all():
            known = ~np.isnan(self.strength[owner])
            owner, price, tenths = owner[known], price[known], tenths[known]
        if not len(owner):
            return owner, np.zeros((0, 3))
        strengths, group = np.unique(-np.nan_to_num(self.strength), return_inverse=True)
        wide = [float(v.max()) + 1 for v in (price, tenths)]
        key = (group[owner] * wide[0] + price) * wide[1] + tenths
        # Cores that come to the same are the same to a weighing: one of each stands for them.
        first = np.unique(key, return_index=True)[1]
        kept = first[least_of_two(group[owner[first]], price[first], tenths[first])]
        points = np.column_stack([price[kept], tenths[kept], strengths[group[owner[kept]]]])
        kept = kept[least_of_three(points)]
        same = np.isin(key, key[kept])
        points = np.column_stack([price[same], tenths[same], strengths[group[owner[same]]]])
        return owner[same], points

    @staticmethod
    def _won(owner: Ints, points: Floats) -> tuple[Ints, Bools, Floats]:
        """Return whose each point is, for which weighings it is the best, and its mean."""
        if not len(owner):
            return owner, np.zeros((_EDGE**2, 0), dtype=bool), np.zeros(0)
        low, high = points.min(axis=0), points.max(axis=0)
        utility = weighings(_EDGE) @ ((points - low) / np.where(high > low, high - low, 1.0)).T
        wins = utility <= utility.min(axis=1, keepdims=True) + _ALIKE
        return owner, wins, utility.mean(axis=0)

    def _different(self, most: int) -> None:
        """Take what differs in most parts from all rows before, of what costs little more."""
        every = np.arange(len(self.cores), dtype=np.intp)
        price = self._least_of(every, 0, 1 + WITHIN)
        near = np.flatnonzero(price <= price.min(initial=np.inf) * (1 + WITHIN))
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
            self.chosen[int(near[best])] = ["different"]
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
    chooser.entitle(sort, more=most > _FIRST)
    chooser.rows(most)
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
    tenths, today = tally.tenths, tallies.price_from_stock(n)
    return Representative(
        reasons,
        {r: o for r, o in options.items() if o.part is not None},
        places,
        tally.fillings,
        *tally.price,
        None if tenths is None else tenths[0] / 10,
        None if tenths is None else tenths[1] / 10,
        None if np.isnan(strength) else strength,
        int(today) if np.isfinite(today) else None,
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
