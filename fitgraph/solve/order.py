"""In which order variables are eliminated: greedy choices, tried many times.

A choice looks at the least, or leaves the least, or leaves the least for what it takes away;
each is tried as it is and with some chance in it, and the order of least work is kept [1].

References
----------
.. [1] J. Gray, S. Kourtis, "Hyper-optimized tensor network contraction", Quantum 5 (2021) 410
   (reference checked), where orders of contraction are found by random greedy search.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence, Set

import numpy as np

from fitgraph.records import dataclass

#: How often an order is tried with chance in it at most, for how much work each, and how much.
TRIES, _PER_TRY, _CHANCE = 16, 1e7, 0.7

#: What a look through a running sum costs, in products.
_READING = 20.0

#: A relation or message: for each of its variables the number of a map of its classes.
Scope = Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Extra:
    """What the elimination of a variable looks at beside its relations.

    Parameters
    ----------
    also : mapping of str to int
        Further variables of its message, with the number of a map of their classes.
    free : frozenset of str
        Variables of its message that cost nothing to look at, as the others decide them.
    decided : bool
        Whether the variable itself is decided by the others, and so is not summed over.
    """

    also: Scope
    free: frozenset[str]
    decided: bool


_NOTHING = Extra({}, frozenset(), False)
_NONE: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Order:
    """An order of elimination.

    Parameters
    ----------
    variables : tuple of str
        The first to go first.
    work : float
        Kinds times cells, over all steps.
    """

    variables: tuple[str, ...]
    work: float


@dataclass(frozen=True, slots=True)
class Tangle:
    """Variables and what ties them.

    Parameters
    ----------
    variables : sequence of str
        In the order in which ties are broken.
    scopes : sequence of Scope
        Relations.
    extras : mapping of str to Extra
        Of variables that are not summed out in the common way.
    waits : mapping of str to set of str
        What has to go before a variable.
    apart : frozenset of str
        Variables that no message ties as long as all of them are there.
    size : callable
        Of a variable and numbers of its maps: how many kinds they tell apart together, and the
        number of the map that does.
    """

    variables: Sequence[str]
    scopes: Sequence[Scope]
    extras: Mapping[str, Extra]
    waits: Mapping[str, Set[str]]
    apart: frozenset[str]
    size: Callable[[str, frozenset[int]], tuple[int, int]]


@dataclass(frozen=True, slots=True)
class _Cost:
    work: float
    cells: float
    taken: float
    after: Scope


def _sized(tangle: Tangle, scope: Scope) -> tuple[Scope, float]:
    """Return a relation or message with the number of its cells."""
    cells = 1.0
    for v, number in scope.items():
        cells *= tangle.size(v, frozenset((number,)))[0]
    return scope, cells


def _cost(tangle: Tangle, scopes: Sequence[tuple[Scope, float]], variable: str) -> _Cost:
    mine = [(scope, size) for scope, size in scopes if variable in scope]
    extra = tangle.extras.get(variable, _NOTHING)
    ids: dict[str, frozenset[int]] = {}
    for scope in (*(scope for scope, _ in mine), extra.also):
        for v, number in scope.items():
            known = ids.get(v, _NONE)
            if number not in known:
                ids[v] = known | {number}
    own = ids.pop(variable, _NONE)
    work = _READING if extra.decided else 1.0
    if own and not extra.decided:
        work = float(tangle.size(variable, own)[0])
    cells = 1.0
    after: dict[str, int] = {}
    for v, numbers in ids.items():
        count, after[v] = tangle.size(v, numbers)
        cells *= count
        if v not in extra.free:
            work *= count
    return _Cost(work, cells, sum(size for _, size in mine), after)


class NoOrderError(Exception):
    """No order was found that keeps apart what no message may tie."""


def _tried(
    tangle: Tangle, score: Callable[[_Cost], float], rng: np.random.Generator | None
) -> Order | None:
    """Return the order that a score leads to; None where it ties what has to stay apart."""
    scopes = [_sized(tangle, scope) for scope in tangle.scopes]
    waits = {v: set(before) for v, before in tangle.waits.items()}
    left = dict.fromkeys(tangle.variables)
    costs: dict[str, _Cost] = {}
    order: list[str] = []
    total = 0.0
    while left:
        ready = [v for v in left if not waits.get(v)]
        for v in ready:
            if v not in costs:
                costs[v] = _cost(tangle, scopes, v)
        if tangle.apart and tangle.apart <= left.keys():
            ready = [
                v for v in ready if v in tangle.apart or not tangle.apart <= costs[v].after.keys()
            ]
        if not ready:
            return None
        scores = [score(costs[v]) for v in ready]
        if rng is not None:
            chance = (rng.gumbel(size=len(ready)) * _CHANCE).tolist()
            scores = [s + c for s, c in zip(scores, chance, strict=True)]
        variable = ready[min(range(len(ready)), key=scores.__getitem__)]
        cost = costs.pop(variable)
        total += cost.work
        order.append(variable)
        del left[variable]
        scopes = [s for s in scopes if variable not in s[0]]
        if cost.after:
            scopes.append(_sized(tangle, cost.after))
        for v in cost.after:
            costs.pop(v, None)
        for before in waits.values():
            before.discard(variable)
    return Order(tuple(order), total)


def best_order(tangle: Tangle, enough: float = 0.0, tries: int = TRIES) -> Order:
    """Return the order of least work that was found.

    Parameters
    ----------
    tangle : Tangle
        What is to be eliminated.
    enough : float
        Work that is little enough to look no further.
    tries : int
        How often chance has a say at most; where nothing else has led to an order, it always has.

    Raises
    ------
    NoOrderError
        If none of the tries led to one.
    """
    scores: tuple[Callable[[_Cost], float], ...] = (
        lambda c: math.log1p(c.work),
        lambda c: math.log1p(c.cells),
        lambda c: math.log1p(c.cells) - math.log1p(c.taken),
    )
    rng = np.random.default_rng(0)
    best: Order | None = None
    for n in range(len(scores) + max(tries, TRIES)):
        if n >= len(scores) + tries and best is not None:
            break
        found = _tried(tangle, scores[n % len(scores)], rng if n >= len(scores) else None)
        if found is not None and (best is None or found.work < best.work):
            best = found
        if best is not None and best.work <= max(enough, (n + 1 - len(scores)) * _PER_TRY):
            break
    if best is None:
        raise NoOrderError
    return best
