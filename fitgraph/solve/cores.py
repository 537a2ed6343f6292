"""Cores: what builds come to where only the roles that decide are told apart.

A core is one option of each deciding role that some choice of the other roles, a *filling*,
completes. The other roles are eliminated first. Their messages tell how many fillings each choice
above has, or what the least of them costs; with every number above zero made one they tell
whether there is a filling at all, so that one more pass over the deciding roles counts each core
once: a projection, with "or" for the roles that fill and a sum for those that decide [1].

What a filling spends of two limits is told by its best for several weightings of price and mass.
Each weighting's least is a bound, and its filling a witness [2]; what both leave open is decided
by the front of all fillings (:mod:`fitgraph.solve.fillings`).

References
----------
.. [1] R. Dechter, "Bucket elimination: a unifying framework for reasoning", Artificial
   Intelligence 113 (1999) 41-85 (reference checked).
.. [2] G. Y. Handler, I. Zang, "A dual algorithm for the constrained shortest path problem",
   Networks 10 (1980) 293-309 (reference checked).
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.algebra import COUNT, LEAST
from fitgraph.solve.arrays import spread
from fitgraph.solve.best import Criteria, k_best
from fitgraph.solve.counted import Counted, exactly
from fitgraph.solve.counting import EXACT_FLOAT, Exact, count, counts
from fitgraph.solve.engine import Build, criteria_of, make_build
from fitgraph.solve.fillings import Tables, TooManySumsError, Walk, together
from fitgraph.solve.limits import count_within
from fitgraph.solve.messages import Demands, Message
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Plan, TooWideError
from fitgraph.solve.query import Query
from fitgraph.solve.ranked import best_of
from fitgraph.solve.rows import Members, Rows
from fitgraph.stopping import check

#: Cores up to which they are listed.
MOST_LISTED = 200_000

#: Bytes that a pass along the plan of cores may need.
_NARROW = float(1 << 25)

#: Halvings of the weight of mass against price, to both sides.
_HALVINGS = 3


def deciding(query: Query) -> frozenset[str]:
    """Return the roles that decide, of those that a query is about."""
    return frozenset(query.space.catalogue.vocabulary.deciding) & frozenset(query.space.roles)


def core_plan(query: Query) -> Plan:
    """Return a plan of certain builds in which the roles that decide go last.

    Raises
    ------
    TooWideError
        If that makes the plan so wide, even over the classes that the query lets in, that a
        pass would take minutes: of parts that are all measured one by one hardly two cores are
        alike, and there are millions.
    """
    space, late = query.space, deciding(query)
    if late == frozenset(space.roles):
        plan = space.plan(certain=True)
        if not _mixed(plan, late):
            return plan
    elif not space.plan(certain=True).reads:
        # Else it would hardly be narrow, and to find that out takes long.
        with contextlib.suppress(TooWideError):
            plan = space.plan(certain=True, late=late)
            if plan.bytes <= _NARROW and not _mixed(plan, late):
                return plan
    weights = query.weights(query.mask(certain=True))
    plan = space.plan_within(weights, certain=True, late=late)
    replace(plan, ceiling=_NARROW).refuse(plan.bytes)
    if _mixed(plan, late):
        raise TooWideError(plan.bytes, _NARROW, space.roles, [s.name for s in space.sums])
    return plan


def _mixed(plan: Plan, late: frozenset[str]) -> bool:
    """Return whether something that fills goes after a role that decides.

    A running sum does where roles that decide add to it: what it comes to so far is no filling.
    """
    for case in plan.cases:
        before = [plan.steps[place].variable in late for place in case.order]
        if before != sorted(before):
            return True
    return False


def _projected(plan: Plan, passes: Passes, late: frozenset[str]) -> dict[int, Message]:
    """Return messages of roles that fill, with one for every number above zero."""
    return {
        place: Message((message.values > 0).astype(np.float64), message.row_of)
        for place, (step, message) in enumerate(zip(plan.steps, passes.up, strict=True))
        if step.variable not in late and place not in passes.reads
    }


def count_all(query: Query) -> int:
    """Return the exact number of a query's cores, limits on price and mass aside.

    Raises
    ------
    TooWideError
        As :func:`core_plan` does.
    """
    plan, late = core_plan(query), deciding(query)
    demands = Demands.one(query.weights(query.mask(certain=True)))
    known = _projected(plan, Passes(plan, demands, COUNT), late)
    return int(counts(plan, demands, known)[0])


def count_builds(query: Query) -> int:
    """Return the exact number of a query's builds, limits aside, along the plan of its cores.

    Raises
    ------
    TooWideError
        As :func:`core_plan` does.
    """
    weights = query.weights(query.mask(certain=True))
    return count(core_plan(query), weights)


def fixed(query: Query, core: Mapping[str, int]) -> Query:
    """Return a query that lets in one option of each of some roles, by its place.

    Parameters
    ----------
    query : Query
        The question.
    core : mapping of str to int
        The option of each role.
    """
    lets = dict(query.lets)
    for role, place in core.items():
        lets[role] = np.zeros(len(query.lets[role]), dtype=bool)
        lets[role][place] = query.lets[role][place]
    return replace(query, lets=lets)


# ---------------------------------------------------------------- what fillings come to


@dataclass(frozen=True, slots=True)
class _Weighting:
    """Least ``price * a + mass * b``, and of those alike the least of the other.

    Parameters
    ----------
    a, b : int
        What a minor unit and a tenth of a gram count.
    weighed : bool
        Whether options of unknown mass are left out.
    stocked : bool
        Whether only options that are owned or in stock are taken.
    scale : float
        More than the other can come to.
    """

    a: int
    b: int
    weighed: bool
    stocked: bool
    scale: float

    def costs(self, price: Floats, tenths: Floats, known: Bools, stocked: Bools) -> Floats:
        """Return what each option of a role adds; infinite where it is left out."""
        other = tenths if self.a else price
        found = (self.a * price + self.b * tenths) * self.scale + other
        out = np.zeros(len(price), dtype=bool)
        if self.weighed:
            out |= ~known
        if self.stocked:
            out |= ~stocked
        return np.where(out, np.inf, found)

    def read(self, least: Floats) -> tuple[Floats, Floats]:
        """Return price and mass [tenths of a gram] of what a least belongs to."""
        whole = np.where(np.isfinite(least), least, 0.0)
        weighted = np.floor(whole / self.scale)
        other = whole - weighted * self.scale
        if self.a:
            price, tenths = (weighted - self.b * other) / self.a, other
        else:
            price, tenths = other, weighted / self.b
        gone = ~np.isfinite(least)
        return np.where(gone, np.inf, price), np.where(gone, np.inf, tenths)


def _weightings(query: Query) -> list[_Weighting]:
    """Return price alone, mass alone, both from stock, and weightings between, all exact."""
    most = [
        sum(float(c[r].max(initial=0.0)) for r in query.lets) for c in (query.price, query.tenths)
    ]
    price, mass = most[0] + 1, most[1] + 1
    found = [
        _Weighting(1, 0, False, False, mass),
        _Weighting(1, 0, False, True, mass),
        _Weighting(1, 0, True, False, mass),
        _Weighting(0, 1, True, False, price),
        _Weighting(0, 1, True, True, price),
    ]
    # The weight of a tenth of a gram at which both spans count alike, as whole numbers.
    spans = [
        max(sum(float(np.ptp(c[r][m])) for r, m in query.lets.items() if m.any()), 1.0)
        for c in (query.price, query.tenths)
    ]
    for n in range(-_HALVINGS, _HALVINGS + 1):
        ratio = spans[0] / spans[1] * 2.0**n
        a = max(1, round(16 / max(ratio, 1.0)))
        b = max(1, round(a * ratio))
        if (a * price + b * mass) * mass < EXACT_FLOAT:
            found.append(_Weighting(a, b, True, False, mass))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Cores:
    """The cores of a query, as arrays over them.

    Parameters
    ----------
    query : Query
        The question.
    options : mapping of str to ndarray of int, shape (n,)
        The option of each deciding role, by its place.
    fillings : ndarray of float, shape (n,)
        How many fillings, limits aside: exact below 2**53.
    price, tenths : ndarray of float, shape (n,)
        Of the core itself: minor units, tenths of a gram; zero where a mass is not known.
    weighed, stocked : ndarray of bool, shape (n,)
        Whether the masses of the core are known; whether what is not owned is in stock.
    with_price, with_tenths : ndarray of float, shape (n, n_weightings)
        What the core comes to with the best filling of each weighting; infinite where there is
        none.
    dearest, heaviest : ndarray of float, shape (n,)
        The most that it comes to; minus infinity where no filling's mass is known.
    bounds : ndarray of float, shape (n_weightings, 2)
        What a minor unit and a tenth of a gram count in each weighting.
    kinds : tuple of str
        What each weighting is: ``price``, ``price from stock``, ``price, weighed``, ``mass``,
        ``mass from stock``, or ``both``.
    open : ndarray of bool, shape (n,)
        Whether it is left undecided if the core has a filling within both limits.
    cells : mapping of int to ndarray of int, shape (n,)
        The cells of the steps that wait for a filling; -1 where a step does not.
    walk : Walk
        The plan, and what can follow each cell.
    """

    query: Query
    options: Mapping[str, Ints]
    fillings: Floats
    price: Floats
    tenths: Floats
    weighed: Bools
    stocked: Bools
    with_price: Floats
    with_tenths: Floats
    dearest: Floats
    heaviest: Floats
    bounds: Floats
    kinds: tuple[str, ...]
    open: Bools
    cells: Mapping[int, Ints]
    walk: Walk

    def __len__(self) -> int:
        return len(self.price)

    @property
    def count(self) -> Counted:
        """Return how many there are within the limits."""
        sure = int((~self.open).sum())
        return exactly(sure) if sure == len(self) else Counted(len(self), sure, len(self))

    def at(self, n: int) -> dict[str, int]:
        """Return the options of one core, by their places."""
        return {r: int(o[n]) for r, o in self.options.items()}

    def waiting(self, n: int) -> dict[int, int]:
        """Return the cells of one core that wait for a filling, by step."""
        return {place: int(c[n]) for place, c in self.cells.items() if c[n] >= 0}

    def take(self, which: npt.NDArray[Any]) -> Cores:
        """Return some of them."""
        names = ("fillings", "price", "tenths", "weighed", "stocked", "open")
        more = ("with_price", "with_tenths", "dearest", "heaviest")
        return replace(
            self,
            options={r: o[which] for r, o in self.options.items()},
            cells={place: c[which] for place, c in self.cells.items()},
            **{name: getattr(self, name)[which] for name in (*names, *more)},
        )


_KINDS = ("price", "price from stock", "price, weighed", "mass", "mass from stock")


def list_cores(query: Query) -> Cores | None:
    """Return a query's cores within its limits; None where there are too many to be listed.

    Parameters
    ----------
    query : Query
        The question.

    Raises
    ------
    TooWideError
        As :func:`core_plan` does.
    """
    plan, late = core_plan(query), deciding(query)
    lets = query.mask(certain=True)
    demands = Demands.one(query.weights(lets))
    passes = Passes(plan, demands, COUNT)
    projected = _projected(plan, passes, late)
    if Passes(plan, demands, COUNT, known=projected).totals()[0] > MOST_LISTED:
        return None
    weightings = _weightings(query)
    least = _least(query, plan, lets, weightings, late)
    rows, members = Rows(passes), Members(query.space.class_of, lets)
    walk = Walk(plan, passes, rows, least, query, lets)
    none = np.zeros(0, dtype=np.intp)
    options: dict[str, list[Ints]] = {r: [none] for r in query.space.roles if r in late}
    waiting: list[tuple[int, dict[int, Ints]]] = []
    for case in plan.cases:
        if not all(passes.up[root].values.any() for root in case.roots):
            continue
        cells: dict[int, Ints] = {root: np.zeros(1, dtype=np.intp) for root in case.roots}
        chosen: dict[str, Ints] = {}
        length = 1
        for place in reversed(case.order):
            check()
            step = plan.steps[place]
            if step.variable not in late:
                continue
            at = cells.pop(place)
            owner, kind = rows.expand(place, at)
            after = rows.after(place, at[owner], kind)
            ordered, starts, many = members.of(step)
            row, nth = spread(many[kind])
            cells = {c: v[owner][row] for c, v in cells.items()}
            cells |= {c: v[row] for c, v in after.items()}
            chosen = {r: o[owner][row] for r, o in chosen.items()}
            chosen[step.variable] = ordered[starts[kind[row]] + nth]
            length = len(row)
        for role, found in options.items():
            found.append(chosen[role])
        waiting.append((length, cells))
    places = sorted({place for _, cells in waiting for place in cells})
    whole = {
        place: np.concatenate(
            [none, *(c.get(place, np.full(n, -1, dtype=np.intp)) for n, c in waiting)]
        )
        for place in places
    }
    every = {r: np.concatenate(o) for r, o in options.items()}
    return _decided(_summed(walk, every, whole, weightings))


def _least(
    query: Query,
    plan: Plan,
    lets: Mapping[str, Bools],
    weightings: list[_Weighting],
    late: frozenset[str],
) -> Passes:
    """Return the least of each weighting that fillings come to; what decides is left out.

    Two more are the least of what takes price and mass away: the dearest, the heaviest.
    """
    values: dict[str, Floats] = {}
    class_of = query.space.class_of
    for role, size in plan.sizes.items():
        least = np.full((len(weightings) + 2, size), np.inf)
        at = np.flatnonzero(lets[role])
        price, tenths, known = query.price[role], query.tenths[role], query.weighed[role]
        stocked = at_hand(query, role)
        costs = [w.costs(price, tenths, known, stocked) for w in weightings]
        costs += [-price, np.where(known, -tenths, np.inf)]
        for row, cost in zip(least, costs, strict=True):
            np.minimum.at(row, class_of[role][at], cost[at])
        values[role] = least
    every = np.arange(len(weightings) + 2, dtype=np.intp)
    nothing = Message(np.zeros((1, 0)), np.zeros(len(every), dtype=np.intp))
    known_up = {n: nothing for n, step in enumerate(plan.steps) if step.variable in late}
    return Passes(plan, Demands(values, dict.fromkeys(values, every)), LEAST, known=known_up)


def at_hand(query: Query, role: str) -> Bools:
    """Return which options of a role are owned, in stock, or nothing at all."""
    facts = query.space.facts[role]
    return facts.void | facts.stocked | facts.named(frozenset(query.request.have))


def _summed(
    walk: Walk,
    options: dict[str, Ints],
    cells: dict[int, Ints],
    weightings: list[_Weighting],
) -> Cores:
    """Return cores with what they come to, limits aside."""
    query = walk.query
    number = len(next(iter(options.values())))
    price, tenths, times = np.zeros(number), np.zeros(number), np.ones(number)
    weighed, stocked = np.ones(number, dtype=bool), np.ones(number, dtype=bool)
    for role, of in options.items():
        price += query.price[role][of]
        tenths += query.tenths[role][of]
        weighed &= query.weighed[role][of]
        stocked &= at_hand(query, role)[of]
    add = np.zeros((number, len(weightings) + 2))
    for place, at in cells.items():
        there = np.flatnonzero(at >= 0)
        times[there] *= walk.counts.at(place, at[there])[0]
        add[there] += walk.least.at(place, at[there]).T
    with_price, with_tenths = np.full((2, number, len(weightings)), np.inf)
    for n, weighting in enumerate(weightings):
        of_price, of_tenths = weighting.read(add[:, n])
        out = np.zeros(number, dtype=bool)
        if weighting.weighed:
            out |= ~weighed
        if weighting.stocked:
            out |= ~stocked
        with_price[:, n] = np.where(out, np.inf, price + of_price)
        with_tenths[:, n] = np.where(out, np.inf, tenths + of_tenths)
    return Cores(
        query,
        options,
        times,
        price,
        tenths,
        weighed,
        stocked,
        with_price,
        with_tenths,
        price - add[:, -2],
        np.where(weighed, tenths - add[:, -1], -np.inf),
        np.array([[w.a, w.b] for w in weightings], dtype=float),
        (*_KINDS, *("both" for _ in weightings[len(_KINDS) :])),
        np.zeros(number, dtype=bool),
        cells,
        walk,
    )


def _decided(cores: Cores) -> Cores:
    """Return those that have a filling within the limits."""
    limits = limits_of(cores.query)
    budget, most = np.isfinite(limits)
    if not budget and not most:
        return cores
    kinds = np.array(["stock" not in kind for kind in cores.kinds])
    inside = (cores.with_price <= limits[0]) & (cores.with_tenths <= limits[1])
    if not most:  # a filling of unknown mass may be the one within the budget
        inside[:, 0] = cores.with_price[:, 0] <= limits[0]
    sure = inside[:, kinds].any(axis=1)
    lost = np.zeros(len(cores), dtype=bool)
    for n, (a, b) in enumerate(cores.bounds):
        if not kinds[n] or (a and not budget) or (b and not most):
            continue
        if cores.kinds[n] == "price, weighed" and not most:
            continue
        spent = (a * cores.with_price[:, n] if a else 0.0) + (
            b * cores.with_tenths[:, n] if b else 0.0
        )
        lost |= spent > (a * limits[0] if a else 0.0) + (b * limits[1] if b else 0.0)
    found = replace(cores, open=~sure & ~lost).take(np.flatnonzero(~lost))
    left = np.flatnonzero(found.open)
    if not len(left):
        return found
    tables = Tables(found.walk, _slack(found, left), front=True)
    keep = np.ones(len(found), dtype=bool)
    try:
        for n in left.tolist():
            check()
            own = (found.price[n], found.tenths[n])
            price, tenths, _ = together(tables, own, found.waiting(n))
            keep[n] = bool(((price <= limits[0]) & (tenths <= limits[1])).any())
    except TooManySumsError:
        return found
    return replace(found, open=np.zeros(len(found), dtype=bool)).take(np.flatnonzero(keep))


def _slack(cores: Cores, some: Ints) -> Floats:
    """Return by how much the least of some cores stays below each limit; infinite without one."""
    limits = limits_of(cores.query)
    if len(some):
        mass = cores.with_tenths[some, cores.kinds.index("mass")]
        for at, least in enumerate((cores.with_price[some, 0].min(), mass.min())):
            if np.isfinite(limits[at]) and np.isfinite(least):
                limits[at] -= least
    return limits


def limits_of(query: Query) -> Floats:
    """Return the most that a build may cost [minor units] and weigh [tenths of a gram]."""
    limits = (query.request.budget, query.max_tenths)
    return np.array([np.inf if x is None else float(x) for x in limits])


# ---------------------------------------------------------------- the fillings of some cores


@dataclass(frozen=True, slots=True)
class Tally:
    """The fillings of one core, within the limits.

    Parameters
    ----------
    fillings : Counted
        How many.
    price : tuple of int
        What the core comes to with the cheapest and with the dearest [minor units].
    tenths : tuple of float or None
        The same of the lightest and the heaviest [tenths of a gram]; None where no filling's
        mass is known.
    """

    fillings: Counted
    price: tuple[int, int]
    tenths: tuple[float, float] | None


def _total(times: Floats) -> int:
    """Return the sum of whole numbers, each exact, exactly."""
    whole = float(times.sum())
    return int(whole) if whole < EXACT_FLOAT else sum(map(int, times.tolist()))


class Tallies:
    """The fillings of some cores.

    Parameters
    ----------
    cores : Cores
        All of them.
    some : ndarray of int
        Those that will be asked about.
    """

    def __init__(self, cores: Cores, some: Ints) -> None:
        self.cores, self.limits = cores, limits_of(cores.query)
        self.slack = _slack(cores, some)
        self._held: dict[str, Tables] = {}
        self._exact: Exact | None = None

    def _tables(self, name: str, **how: Any) -> Tables:
        if name not in self._held:
            self._held[name] = Tables(self.cores.walk, self.slack, **how)
        return self._held[name]

    def _sums(self, n: int, name: str, **how: Any) -> tuple[Floats, Floats, Floats]:
        """Return the sums of a core within the limits."""
        cores = self.cores
        own = (float(cores.price[n]), float(cores.tenths[n]))
        price, tenths, times = together(self._tables(name, **how), own, cores.waiting(n))
        good = (price <= self.limits[0]) & (tenths <= self.limits[1])
        return price[good], tenths[good], times[good]

    def number(self, n: int) -> int:
        """Return the exact number of a core's fillings, limits aside."""
        cores, found = self.cores, 1
        for place, cell in cores.waiting(n).items():
            at = np.array([cell], dtype=np.intp)
            value = float(cores.walk.counts.at(place, at)[0, 0])
            if value >= EXACT_FLOAT:
                if self._exact is None:
                    weights = cores.query.weights(cores.walk.lets)
                    self._exact = Exact(cores.walk.plan, weights)
                found *= self._exact.at(place, cell)
            else:
                found *= int(value)
        return found

    def of(self, n: int) -> Tally:
        """Return the fillings of one core."""
        cores = self.cores
        mass = float(cores.with_tenths[n, cores.kinds.index("mass")])
        known = np.isfinite(mass)
        if self._free(n):
            price = (int(cores.with_price[n, 0]), int(cores.dearest[n]))
            tenths = (mass, float(cores.heaviest[n])) if known else None
            return Tally(exactly(self.number(n)), price, tenths)
        try:
            return self._within(n)
        except TooManySumsError:
            return self._searched(n)

    def fillings(self, n: int) -> int | None:
        """Return the exact number of a core's fillings; None where it is too much work."""
        budget, most = np.isfinite(self.limits)
        if self._free(n):
            return self.number(n)
        try:
            if budget and most:
                times = self._sums(n, "count", front=False, weighed=False)[2]
            else:
                times = self._count(n, (bool(budget), bool(most)))[2]
        except TooManySumsError:
            return None
        return _total(times)

    def _free(self, n: int) -> bool:
        """Return whether no filling of a core breaks a limit."""
        cores, limits = self.cores, self.limits
        return bool(
            cores.dearest[n] <= limits[0]
            and (not np.isfinite(limits[1]) or cores.heaviest[n] <= limits[1])
        )

    def _within(self, n: int) -> Tally:
        """Return the fillings of a core that limits bind, by all of their sums."""
        budget, most = np.isfinite(self.limits)
        if budget and most:
            price, tenths, times = self._sums(n, "count", front=False, weighed=False)
            ends = (price.min(), price.max()), (tenths.min(), tenths.max())
        elif budget:
            price, _, times = self._count(n, (True, False))
            light = heavy = np.zeros(0)
            if self.cores.weighed[n]:  # else no filling makes its mass known
                light = self._sums(n, "front", front=True)[1]
                heavy = self._sums(n, "heavy", front=True, signs=(1.0, -1.0))[1]
            ends = (price.min(), price.max()), (light.min(initial=np.inf), heavy.max(initial=0.0))
        else:
            _, tenths, times = self._count(n, (False, True))
            cheap, _, _ = self._sums(n, "front", front=True)
            dear, _, _ = self._sums(n, "dear", front=True, signs=(-1.0, 1.0))
            ends = (cheap.min(), dear.max()), (tenths.min(), tenths.max())
        (low, high), (light_end, heavy_end) = ends
        masses = (float(light_end), float(heavy_end)) if np.isfinite(light_end) else None
        return Tally(exactly(_total(times)), (int(low), int(high)), masses)

    def _count(self, n: int, sums: tuple[bool, bool]) -> tuple[Floats, Floats, Floats]:
        """Return sums of price or mass alone with how often they are, within their limit."""
        cores = self.cores
        own = (float(cores.price[n]) * sums[0], float(cores.tenths[n]) * sums[1])
        tables = self._tables("count", front=False, weighed=False, sums=sums)
        price, tenths, times = together(tables, own, cores.waiting(n))
        if times.max(initial=0.0) >= EXACT_FLOAT:
            raise TooManySumsError
        good = (price <= self.limits[0]) if sums[0] else (tenths <= self.limits[1])
        return price[good], tenths[good], times[good]

    def _searched(self, n: int) -> Tally:
        """Return the fillings of a core, ends by search, their number exact or estimated."""
        one = fixed(self.cores.query, self.cores.at(n))
        ends = [extreme(one, which) for which in ("price", "dearest", "mass", "heaviest")]
        cheap, dear, light, heavy = ends
        assert cheap is not None and dear is not None
        masses = None if light is None or heavy is None else (light[1], heavy[1])
        return Tally(count_within(one, certain=True), (cheap[0], dear[0]), masses)

    def price_from_stock(self, n: int) -> float:
        """Return the least price of a core from stock within the limits; infinite if none."""
        cores, limits = self.cores, self.limits
        at = cores.kinds.index("price from stock")
        price = float(cores.with_price[n, at])
        if not price <= limits[0] or not np.isfinite(price):
            return np.inf  # none is cheaper
        if cores.with_tenths[n, at] <= limits[1]:
            return price
        query = cores.query
        within = {r: at_hand(query, r) for r in query.space.roles}
        try:
            return float(self._sums(n, "stock", front=True, within=within)[0].min(initial=np.inf))
        except TooManySumsError:
            shelf = fixed(query, cores.at(n))
            shelf = replace(shelf, lets={r: m & within[r] for r, m in shelf.lets.items()})
            found = extreme(shelf, "price")
            return np.inf if found is None else float(found[0])

    def front(self, n: int) -> tuple[Floats, Floats]:
        """Return price and mass of a core's fillings within the limits that no other betters.

        Raises
        ------
        TooManySumsError
            If that is too much work.
        """
        price, tenths, _ = self._sums(n, "front", front=True)
        return price, tenths

    def least(self, n: int, which: int) -> float:
        """Return the least price (0) or mass (1) of a core within the limits; infinite if none."""
        try:
            values = self._sums(n, "front", front=True)[which]
            return float(values.min(initial=np.inf))
        except TooManySumsError:
            found = extreme(fixed(self.cores.query, self.cores.at(n)), ("price", "mass")[which])
            return np.inf if found is None else float(found[which])


def best_builds(query: Query, *, sort: str, limit: int) -> list[Build]:
    """Return the first builds of a ranking, provably the best.

    Parameters
    ----------
    query : Query
        The question.
    sort : {'price', 'mass', 'strength'}
        Cheapest, lightest or strongest first.
    limit : int
        How many.
    """
    space = query.space
    found, points = _best(query, query.mask(certain=True), criteria_of(query, sort), limit)
    return [
        make_build(space, query, {r: int(o[n]) for r, o in found.items()})
        for n in range(len(points))
    ]


def _best(
    query: Query, lets: Mapping[str, Bools], criteria: Criteria, limit: int
) -> tuple[dict[str, Ints], Floats]:
    """Return the best builds: along the plan of cores, which is at hand, unless it is wide."""
    space = query.space
    with contextlib.suppress(TooWideError):
        return k_best(core_plan(query), space.class_of, lets, criteria, limit)
    return best_of(space, lets, criteria, limit, certain=True)


#: What the extremes of a query's builds are extremes of, and which end.
_ENDS = {"price": (0, 1.0), "dearest": (0, -1.0), "mass": (1, 1.0), "heaviest": (1, -1.0)}


def extreme(query: Query, which: str) -> tuple[int, float] | None:
    """Return price and mass of the cheapest, dearest, lightest or heaviest build of a query.

    Parameters
    ----------
    query : Query
        The question; its limits hold.
    which : {'price', 'dearest', 'mass', 'heaviest'}
        Which; the last two among builds whose mass is known.

    Returns
    -------
    tuple of (int, float) or None
        In minor units and tenths of a gram; None where there is no such build.
    """
    row, sign = _ENDS[which]
    lets = dict(query.mask(certain=True))
    if row == 1:
        lets = {r: m & query.weighed[r] for r, m in lets.items()}
    costs = {}
    for role in query.lets:
        own = np.array([query.price[role], query.tenths[role]])
        costs[role] = np.vstack([sign * own[row], own])
    found = _best(query, lets, Criteria(costs, limits_of(query)), 1)
    if not len(found[1]):
        return None
    return round(float(found[1][0, 1])), float(found[1][0, 2])
