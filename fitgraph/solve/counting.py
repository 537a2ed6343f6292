"""Exact numbers of builds at any size.

A first pass is in float64. What stays below 2**53 is exact there; where it does not, the few steps
that are concerned are done again modulo some primes, and the Chinese remainder theorem joins the
remainders: a number with thirty digits is right to the last.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.solve.algebra import COUNT, Counting, Modular
from fitgraph.solve.circuit_home import CircuitHome
from fitgraph.solve.messages import Demands, Message
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Plan
from fitgraph.solve.support import Support

Numbers = npt.NDArray[Any]
Objects = npt.NDArray[np.object_]

#: Whole numbers below this are exact in float64.
EXACT_FLOAT = float(2**53)

#: Stands among primes for a row that is left as it is.
_NO_PRIME = 1e300


@functools.lru_cache(maxsize=1 << 14)
def _is_prime(number: int) -> bool:
    return all(number % d for d in range(2, math.isqrt(number) + 1))


def _primes(plan: Plan, most: int) -> list[int]:
    """Return primes whose product exceeds a number, small enough for sums in float64."""
    terms = 2
    for step in plan.steps:
        own = (math.prod(step.shape[a] for a in group.axes) for group in step.groups)
        terms = max(terms, step.kinds, *own)
    found: list[int] = []
    product, number = 1, math.isqrt(int(EXACT_FLOAT) // terms)
    while product <= most:
        if number < 3:
            raise OverflowError("sums are too long to be counted exactly")
        if _is_prime(number):
            found.append(number)
            product *= number
        number -= 1
    return found


def _joined(rests: Numbers, primes: Sequence[int]) -> Objects:
    """Return the numbers with the given remainders, a row a prime (Chinese remainder theorem)."""
    total = np.zeros(rests[0].shape, dtype=object)
    product = math.prod(primes)
    for rest, prime in zip(rests, primes, strict=True):
        others = product // prime
        factor = others * pow(others, -1, prime)
        total = total + rest.astype(np.int64).astype(object) * factor
    return np.asarray(total % product, dtype=object)


def _above(number: float) -> int:
    """Return a whole number that is certainly above one known to float64's precision."""
    return 2 * int(number) + 2


def _modulo(demands: Demands, primes: Sequence[float]) -> Demands:
    """Return the demands of one request modulo each prime, as so many requests."""
    column = np.array(primes, dtype=float)[:, None]
    every = np.arange(len(primes), dtype=np.intp)
    return Demands(
        {r: np.mod(v, column) for r, v in demands.values.items()},
        dict.fromkeys(demands.of, every),
    )


def _largest(message: Message) -> float:
    return message.largest


class Home:
    """Messages of one request, for others that differ from it in a role or two.

    Parameters
    ----------
    plan : Plan
        What is summed up.
    weights : mapping of str to ndarray of float
        How many options each base class of each role stands for.
    """

    def __init__(self, plan: Plan, weights: Mapping[str, Numbers]) -> None:
        self.plan, self.weights = plan, dict(weights)
        self.up = Passes(plan, Demands.one(weights), COUNT, narrow=False).up
        #: The largest number that the last look at what remains came to.
        self.most = 0.0

    def shared(self, weights: Mapping[str, Numbers]) -> dict[int, Message]:
        """Return the messages that hold for other weights as well."""
        moved = {r for r, w in weights.items() if not np.array_equal(w, self.weights[r])}
        return {
            place: message
            for place, (step, message) in enumerate(zip(self.plan.steps, self.up, strict=True))
            if not step.below & moved
        }


def _modular(plan: Plan, demands: Demands, first: Passes, primes: Sequence[int]) -> Passes:
    """Return a pass modulo some primes; what the first pass found exactly is not done again."""
    large = {place for place, m in enumerate(first.up) if _largest(m) >= EXACT_FLOAT}
    needed = {child for place in large for child in plan.steps[place].children}
    needed |= {root for case in plan.cases for root in case.roots}
    if plan.last is not None:
        needed |= {c for case in plan.cases for c in plan.steps[case.order[-1]].children}
    needed |= {held for place in needed for held in first.held(place)}
    column, every = np.array(primes, dtype=float), np.arange(len(primes), dtype=np.intp)
    nothing = Message(np.zeros((1, 0)), np.zeros(len(primes), dtype=np.intp))
    known = {}
    for place, message in enumerate(first.up):
        if place in large or place in first.reads:
            continue
        if place not in needed:
            known[place] = nothing
            continue
        values = message.values[message.row_of[:1]]
        if _largest(message) < column[-1] / 2:
            known[place] = Message(values, np.zeros(len(primes), dtype=np.intp))
        else:
            rests = np.mod(values, column.reshape(-1, *(1 for _ in values.shape[1:])))
            known[place] = Message(rests, every)
    return Passes(plan, _modulo(demands, primes), Modular(primes), known=known)


def counts(plan: Plan, demands: Demands, known: Mapping[int, Message] | None = None) -> Objects:
    """Return the exact number of builds of each request, as Python integers.

    Parameters
    ----------
    plan : Plan
        What is summed up.
    demands : Demands
        How many options of each base class each request lets in.
    known : mapping of int to Message, optional
        Of a single request, messages that need not be worked out.
    """
    passes = Passes(plan, demands, COUNT, known=known)
    totals = passes.totals()
    largest = max(map(_largest, passes.up), default=0.0)
    found = np.array([int(t) for t in totals], dtype=object)
    if max(largest, float(totals.max(initial=0.0))) < EXACT_FLOAT:
        return found
    for n in np.flatnonzero(totals).tolist():
        if max(largest, float(totals[n])) < EXACT_FLOAT:
            continue
        one, first = demands, passes
        if demands.count > 1:
            at = slice(n, n + 1)
            one = Demands(
                {r: v[demands.of[r][at]] for r, v in demands.values.items()},
                dict.fromkeys(demands.of, np.zeros(1, dtype=np.intp)),
            )
            first = Passes(plan, one, COUNT)
        primes = _primes(plan, _above(float(totals[n])))
        found[n] = int(_joined(_modular(plan, one, first, primes).totals(), primes))
    return found


def count(
    plan: Plan, weights: Mapping[str, Numbers], home: Home | CircuitHome | None = None
) -> int:
    """Return the exact number of builds.

    Parameters
    ----------
    plan : Plan
        What is summed up.
    weights : mapping of str to ndarray of float
        How many options each base class of each role stands for.
    home : Home or CircuitHome, optional
        Of another request, of which all is taken that holds for this one as well.
    """
    if isinstance(home, CircuitHome):
        return home.count(weights)
    known = None if home is None else home.shared(weights)
    return int(counts(plan, Demands.one(weights), known)[0])


def count_each(
    plan: Plan,
    weights: Mapping[str, Numbers],
    home: Home | None = None,
    *,
    exact: bool = True,
) -> dict[str, Numbers]:
    """Return, for every base class of every role, the builds through one of its options.

    Parameters
    ----------
    plan, weights, home
        As in :func:`count`.
    exact : bool
        Whether large numbers must be exact; where only zero or not matters, float64 is enough.

    Returns
    -------
    dict of str to ndarray
        The builds in which one given option of the class fills the role, whatever weight the
        class itself has.
    """
    demands = Demands.one(weights)
    if exact and home is not None and home.most >= EXACT_FLOAT:
        found = _each(plan, demands, home.most, home)
        if found is not None:
            return found
    known = None if home is None else home.shared(weights)
    passes = Passes(plan, demands, COUNT, narrow=False, known=known)
    rough = passes.each()
    largest = max(
        [*(float(v.max(initial=0.0)) for v in rough.values()), *map(_largest, passes.up)],
        default=0.0,
    )
    if home is not None and exact:
        home.most = largest
    if not exact or largest < EXACT_FLOAT:
        return {r: v[0] for r, v in rough.items()}
    most = max(float(v.max(initial=0.0)) for v in rough.values())
    sure = _each(plan, demands, max(most, EXACT_FLOAT), home)
    assert sure is not None
    return sure


def _each(
    plan: Plan, demands: Demands, most: float, home: Home | None
) -> dict[str, Numbers] | None:
    """Return exact numbers through each class if none is above a number; None where one is."""
    primes = _primes(plan, _above(most))
    rows = [*primes, _NO_PRIME]  # the last row is not reduced: it tells how large numbers are
    found = Passes(plan, _modulo(demands, rows), Modular(rows), narrow=False).each()
    largest = max(float(v[-1].max(initial=0.0)) for v in found.values())
    if home is not None:
        home.most = largest
    if largest > 1.5 * most:
        return None
    return {r: _joined(v[:-1], primes) for r, v in found.items()}


#: Two numbers below this have a product that is exact in float64.
_SHORT = 1 << 26


@functools.cache
def _short_primes(bits: int) -> tuple[int, ...]:
    """Return primes of which two have an exact product, and all together so many bits or more."""
    found: list[int] = []
    number, product = _SHORT, 1
    while product.bit_length() <= bits:
        number -= 1
        if _is_prime(number):
            found.append(number)
            product *= number
    return tuple(found)


def rows_each(
    support: Support, weights: Mapping[str, Numbers], *, exact: bool = True
) -> dict[str, Numbers]:
    """Return what :func:`count_each` does, by the rows of a plan.

    Parameters
    ----------
    support : Support
        The rows.
    weights, exact
        As in :func:`count_each`.
    """

    def each(demands: Mapping[str, Numbers], algebra: Counting) -> tuple[dict[str, Numbers], float]:
        own = support.own(demands, algebra)
        below = support.below(own, algebra)
        most = max((float(b.max(initial=0.0)) for b in below), default=0.0)
        return support.each(own, below, algebra), most

    one = {r: w[None, :] for r, w in weights.items()}
    rough, below = each(one, COUNT)
    most = max((float(v.max(initial=0.0)) for v in rough.values()), default=0.0)
    if not exact or max(most, below) < EXACT_FLOAT:
        return {r: v[0] for r, v in rough.items()}
    primes = list(_short_primes(_above(most).bit_length()))
    column = np.array(primes, dtype=float)[:, None]
    found, _ = each({r: np.mod(w, column) for r, w in one.items()}, Modular(primes))
    return {r: _joined(v, primes) for r, v in found.items()}


def rows_counts(support: Support, weights: Mapping[str, Numbers]) -> list[int]:
    """Return the exact numbers of builds of many requests, by the rows of a plan.

    Parameters
    ----------
    support : Support
        The rows.
    weights : mapping of str to ndarray of float, shape (n_requests, n_classes)
        How many options each base class of each role stands for, request by request.
    """

    def totals(demands: Mapping[str, Numbers], algebra: Counting) -> tuple[Numbers, float]:
        below = support.below(support.own(demands, algebra), algebra)
        most = max((float(b.max(initial=0.0)) for b in below), default=0.0)
        return support.totals(below, algebra), most

    if not support.cases:
        return [0] * len(next(iter(weights.values()), ()))
    rough, below = totals(weights, COUNT)
    if max(float(rough.max(initial=0.0)), below) < EXACT_FLOAT:
        return [int(x) for x in rough]
    found = []
    for n, most in enumerate(rough.tolist()):
        primes = list(_short_primes(_above(most).bit_length()))
        column = np.array(primes, dtype=float)[:, None]
        rests, _ = totals({r: np.mod(w[n], column) for r, w in weights.items()}, Modular(primes))
        found.append(int(_joined(rests, primes)))
    return found


def count_through(plan: Plan, weights: Mapping[str, Numbers]) -> Numbers:
    """Return, for every base class of the plan's last role, the builds through one of its options.

    Parameters
    ----------
    plan : Plan
        With a last role.
    weights : mapping of str to ndarray of float
        As in :func:`count`.

    Returns
    -------
    ndarray
        Exact; of Python integers where they are large.
    """
    assert plan.last is not None
    demands = Demands.one({**weights, plan.last: np.ones(plan.sizes[plan.last])})
    first = Passes(plan, demands, COUNT)
    rough = first.through_last()
    most = float(rough.max(initial=0.0))
    if max([most, *map(_largest, first.up)]) < EXACT_FLOAT:
        return np.asarray(rough[0])
    primes = _primes(plan, _above(most))
    return _joined(_modular(plan, demands, first, primes).through_last(), primes)


class Exact:
    """Messages of one request as exact numbers, cell by cell.

    Parameters
    ----------
    plan, weights
        As in :func:`count`.
    """

    def __init__(self, plan: Plan, weights: Mapping[str, Numbers]) -> None:
        demands = Demands.one(weights)
        self.passes = Passes(plan, demands, COUNT)
        largest = max(map(_largest, self.passes.up), default=0.0)
        self._rests: Passes | None = None
        if largest >= EXACT_FLOAT:
            self._primes = _primes(plan, _above(largest))
            self._rests = _modular(plan, demands, self.passes, self._primes)

    def at(self, place: int, cell: int) -> int:
        """Return the message of a step at a cell."""
        at = np.array([cell], dtype=np.intp)
        value = float(self.passes.at(place, at)[0, 0])
        if self._rests is None or value < EXACT_FLOAT:
            return int(value)  # a sum that stays below the limit has only exact parts
        return int(_joined(self._rests.at(place, at)[:, 0], self._primes))
