"""Whether each of many questions has a build within its budget and its mass limit, exactly.

Without a limit of mass the least price decides. With both limits the dual of the constrained
shortest path decides nearly all: its witnesses say yes, its bounds say no. What is left goes
through the branch and bound of :mod:`fitgraph.solve.best`, one by one.

References
----------
.. [1] G. Y. Handler, I. Zang, "A dual algorithm for the constrained shortest path problem",
   Networks 10 (1980) 293-309 (from memory).
"""

from __future__ import annotations

import pickle
import threading
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.solve.best import Criteria, k_best
from fitgraph.solve.front import nondominated
from fitgraph.stock.least import cheapest, dense
from fitgraph.stock.menus import Menus
from fitgraph.stock.narrow import narrowed

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Told after each piece: how many questions are answered, and how many there are.
Progress = Callable[[int, int], None]

#: Questions in a piece: here, where a piece shares its work, and on an executor.
PIECE, SENT = 1 << 15, 1 << 12

#: Rounds of the dual before the branch and bound, and multipliers in a round.
_ROUNDS, _MULTIPLIERS = 4, 4

#: Relative rounding that a bound with multipliers may carry.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Asked:
    """Questions as menus and limits.

    Parameters
    ----------
    menus : ndarray of int, shape (n_questions, n_roles)
        The number of each role's menu.
    budget : ndarray of float, shape (n_questions,)
        In minor currency units; infinite where there is none.
    tenths : ndarray of float, shape (n_questions,)
        Mass limit in tenths of a gram, less what the menus leave out; infinite where there is
        none.
    """

    menus: Ints
    budget: Floats
    tenths: Floats

    def __len__(self) -> int:
        return len(self.menus)

    def take(self, at: Ints | Bools | slice) -> Asked:
        """Return some of the questions."""
        return Asked(self.menus[at], self.budget[at], self.tenths[at])


@dataclass(frozen=True, slots=True)
class Served:
    """Answers to questions.

    Parameters
    ----------
    yes : ndarray of bool, shape (n_questions,)
        Whether there is a build within the limits.
    places : ndarray of int, shape (n_questions, n_roles)
        The options of one such build, -1 where there is none; of shape (0, n_roles) where no
        witness was wanted.
    """

    yes: Bools
    places: Ints


def _sums(menus: Menus, asked: Asked, places: Ints) -> tuple[Floats, Floats]:
    """Return price and mass of builds, as the menus count them."""
    totals = np.zeros((2, len(asked)))
    for n in range(len(menus.roles)):
        numbers, used = np.unique(asked.menus[:, n], return_inverse=True)
        listed = [menus.menu(n, int(k)) for k in numbers]
        size = len(menus.space.options[menus.roles[n]])
        cost = np.zeros((2, len(listed), size))
        for k, menu in enumerate(listed):
            cost[:, k, menu.place] = menu.price, menu.tenths
        totals += cost[:, used.reshape(-1), places[:, n]]
    return totals[0], totals[1]


def _exactly(menus: Menus, asked: Asked, n: int, steep: float, *, certain: bool) -> Ints | None:
    """Return a build within both limits of one question; None where there is none.

    A mixture of both limits is a limit too. It follows from the two, but the search does not
    know that, and at the right multiplier it cuts most of it off.
    """
    space = menus.space
    lets, costs = {}, {}
    mix = np.array([[1.0, steep], [1.0, 0.0], [0.0, 1.0], [1.0, steep]])
    for at, role in enumerate(menus.roles):
        menu = menus.menu(at, int(asked.menus[n, at]))
        known = np.flatnonzero(menu.weighed | (not certain))
        points = np.array([menu.price, menu.tenths, np.zeros(len(menu.price))])[:, known].T
        use = known[nondominated(points, menu.klass[known])]
        lets[role] = np.zeros(len(space.options[role]), dtype=bool)
        lets[role][menu.place[use]] = True
        costs[role] = np.zeros((len(mix), len(lets[role])))
        costs[role][:, menu.place] = mix @ np.array([menu.price, menu.tenths])
    limits = mix[1:] @ np.array([asked.budget[n], asked.tenths[n]])
    limits[2] += _ROUNDING * (1 + abs(limits[2]))
    tree = narrowed(space.tree, space.class_of, lets, certain=certain)
    options, found = k_best(tree, space.class_of, lets, Criteria(costs, limits), 1, certain=certain)
    return np.array([options[r][0] for r in menus.roles]) if len(found) else None


def _both(menus: Menus, asked: Asked, *, certain: bool, places: Ints) -> Bools:
    """Decide questions with a mass limit, and perhaps a budget; fill in their witnesses."""
    yes = np.zeros(len(asked), dtype=bool)
    open_ = np.arange(len(asked))
    ends: list[tuple[Floats, Floats]] = []  # cheapest and lightest witness: price, tenths

    def settle(good: Bools, dead: Bools, found: Ints) -> None:
        nonlocal open_, ends
        yes[open_[good]] = True
        places[open_[good]] = found[good]
        keep = ~good & ~dead
        open_ = open_[keep]
        ends = [(p[keep], m[keep]) for p, m in ends]

    for weights in ((1.0, 0.0), (0.0, 1.0)):
        if not len(open_):
            return yes
        part = asked.take(open_)
        value, found = cheapest(
            menus, part.menus, weights, certain=certain, weighed=certain, witness=True
        )
        dead = value > (part.budget if weights[0] else part.tenths)
        sums = (np.full(len(part), np.inf), np.full(len(part), np.inf))
        alive = np.flatnonzero(~dead & np.isfinite(value))
        dead |= ~np.isfinite(value)
        sums[0][alive], sums[1][alive] = _sums(menus, part.take(alive), found[alive])
        ends.append(sums)
        settle(~dead & (sums[0] <= part.budget) & (sums[1] <= part.tenths), dead, found)
    for _ in range(_ROUNDS):
        if not len(open_):
            return yes
        # The multiplier at which the two ends of a question tie. Those alike share one, and
        # the work.
        steep = _ties(ends)
        shared = np.quantile(steep, (np.arange(_MULTIPLIERS) + 0.5) / _MULTIPLIERS)
        nearest = np.abs(np.log(steep[:, None] / shared)).argmin(axis=1)
        part = asked.take(open_)
        found = np.full((len(part), len(menus.roles)), -1, dtype=np.intp)
        dead = np.zeros(len(part), dtype=bool)
        for k, one in enumerate(shared):
            at = np.flatnonzero(nearest == k)
            value, found[at] = cheapest(
                menus,
                part.menus[at],
                (1.0, float(one)),
                certain=certain,
                weighed=certain,
                witness=True,
            )
            most = part.budget[at] + one * part.tenths[at]
            dead[at] = value > most + _ROUNDING * (1 + np.abs(most))
        price, tenths = _sums(menus, part, found)
        over = tenths > part.tenths
        (dear, heavy), (costly, light) = ends
        near = over & (price > dear)
        ends[0] = (np.where(near, price, dear), np.where(near, tenths, heavy))
        near = ~over & (price < costly)
        ends[1] = (np.where(near, price, costly), np.where(near, tenths, light))
        settle((price <= part.budget) & ~over, dead, found)
    for n, tie in zip(open_, _ties(ends), strict=True):
        build = _exactly(menus, asked, int(n), float(tie), certain=certain)
        if build is not None:
            yes[n], places[n] = True, build
    return yes


def _ties(ends: list[tuple[Floats, Floats]]) -> Floats:
    """Return the multiplier at which the cheapest and the lightest witness tie."""
    (dear, heavy), (costly, light) = ends
    return np.maximum(costly - dear, 1.0) / np.maximum(heavy - light, 1.0)


def served(menus: Menus, asked: Asked, *, certain: bool, witness: bool = False) -> Served:
    """Return whether each question has a build.

    Parameters
    ----------
    menus : Menus
        The menus that the questions name.
    asked : Asked
        The questions.
    certain : bool
        Whether builds that are only possible are left out; then no option of unknown mass
        keeps a mass limit.
    witness : bool
        Whether one build for each is wanted as well.
    """
    first, number = dense([*asked.menus.T, *_ranks(asked)])
    distinct = asked.take(first)
    yes = np.zeros(len(distinct), dtype=bool)
    places = np.full((len(distinct), len(menus.roles)), -1, dtype=np.intp)
    light = np.isfinite(distinct.tenths)
    free = np.flatnonzero(~light)
    part = distinct.take(free)
    value, found = cheapest(menus, part.menus, (1.0, 0.0), certain=certain, witness=witness)
    yes[free] = np.isfinite(value) & (value <= part.budget)
    if witness:
        places[free[yes[free]]] = found[yes[free]]
    weighty = np.flatnonzero(light)
    inner = np.full((len(weighty), len(menus.roles)), -1, dtype=np.intp)
    yes[weighty] = _both(menus, distinct.take(weighty), certain=certain, places=inner)
    places[weighty] = inner
    return Served(yes[number], places[number] if witness else places[:0])


def _ranks(asked: Asked) -> list[Ints]:
    """Return budgets and mass limits as small numbers."""
    return [
        np.unique(limit, return_inverse=True)[1].reshape(-1).astype(np.intp)
        for limit in (asked.budget, asked.tenths)
    ]


#: The menus that a worker's thread looked at last, and what they were unpacked from.
_held = threading.local()


def _piece(packed: bytes, asked: Asked, certain: bool, witness: bool) -> Served:
    if getattr(_held, "packed", None) != packed:
        _held.menus, _held.packed = pickle.loads(packed), packed
    return served(_held.menus, asked, certain=certain, witness=witness)


def served_all(
    menus: Menus,
    asked: Asked,
    *,
    certain: bool,
    witness: bool = False,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Served:
    """Return :func:`served` of any number of questions, in pieces.

    Parameters
    ----------
    menus, asked, certain, witness
        As in :func:`served`.
    executor : concurrent.futures.Executor, optional
        Where the pieces run, such as a process pool or the executor of a
        ``dask.distributed`` client; here by default.
    progress : callable, optional
        Is told after each piece how many questions are answered, and how many there are.
    """
    size = PIECE if executor is None else SENT
    ranges = [slice(a, a + size) for a in range(0, len(asked), size)]
    if executor is None:
        jobs = (served(menus, asked.take(r), certain=certain, witness=witness) for r in ranges)
    else:
        packed = pickle.dumps(menus)
        futures = [executor.submit(_piece, packed, asked.take(r), certain, witness) for r in ranges]
        jobs = (future.result() for future in futures)
    yes: list[Bools] = [np.zeros(0, dtype=bool)]
    places: list[Ints] = [np.zeros((0, len(menus.roles)), dtype=np.intp)]
    for n, answer in enumerate(jobs, 1):
        yes.append(answer.yes)
        places.append(answer.places)
        if progress is not None:
            progress(min(n * size, len(asked)), len(asked))
    return Served(np.concatenate(yes), np.concatenate(places))
