"""Whether each of many questions has a build within its budget and its mass limit, exactly.

Without a limit of mass the least price decides. With both limits the dual of the constrained
shortest path decides nearly all: its witnesses say yes, its bounds say no. What is left goes
through the branch and bound of :mod:`fitgraph.solve.best`, one by one.

References
----------
.. [1] G. Y. Handler, I. Zang, "A dual algorithm for the constrained shortest path problem",
   Networks 10 (1980) 293-309 (reference checked).
"""

from __future__ import annotations

import pickle
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from typing import TypeVar

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.demand.least import cheapest
from fitgraph.demand.menus import Listing, Menus
from fitgraph.records import dataclass
from fitgraph.solve.arrays import dense, rank
from fitgraph.solve.best import Criteria, k_best

Answer = TypeVar("Answer")

#: Told after each piece: how many questions are answered, and how many there are.
Progress = Callable[[int, int], None]

#: Questions in a piece: here, and about how many on an executor. A piece shares its work, so
#: small ones would cost more than they save.
PIECE, SENT = 1 << 15, 10_000

#: Rounds of the dual before the branch and bound, and most multipliers in a round.
_ROUNDS, _MULTIPLIERS = 4, 64

#: Shares of the best multiplier that a search bounds with.
_AROUND = (1.0, 0.8, 1.25, 0.5, 2.0)

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


def joined(pieces: Sequence[Asked]) -> Asked:
    """Return the questions of some pieces, one or more, one after the other."""
    return Asked(
        np.concatenate([p.menus for p in pieces]),
        np.concatenate([p.budget for p in pieces]),
        np.concatenate([p.tenths for p in pieces]),
    )


@dataclass(frozen=True, slots=True)
class Served:
    """Answers to questions.

    Parameters
    ----------
    yes : ndarray of bool, shape (n_questions,)
        Whether there is a build within the limits.
    open : ndarray of bool, shape (n_questions,)
        Whether that was left undecided; never where an exact answer was wanted.
    places : ndarray of int, shape (n_questions, n_roles)
        The options of one such build, -1 where there is none; of shape (0, n_roles) where no
        witness was wanted.
    """

    yes: Bools
    open: Bools
    places: Ints


def sums_of(listing: Listing, asked: Asked, places: Ints) -> tuple[Floats, Floats]:
    """Return price and mass of builds, as the menus count them.

    Parameters
    ----------
    listing : Listing
        The menus that the questions name.
    asked : Asked
        The questions.
    places : ndarray of int, shape (n_questions, n_roles)
        A build for each, of options that are on its menus.

    Returns
    -------
    price : ndarray of float, shape (n_questions,)
        In minor currency units.
    tenths : ndarray of float, shape (n_questions,)
        In tenths of a gram, less what the menus leave out; unknown masses count nothing.
    """
    totals = np.zeros((2, len(asked)))
    for n, role in enumerate(listing.roles):
        numbers, used = np.unique(asked.menus[:, n], return_inverse=True)
        cost = np.zeros((2, len(numbers), len(listing.class_of[role])))
        for k, number in enumerate(numbers.tolist()):
            menu = listing.menu(n, number)
            cost[:, k, menu.place] = menu.price, menu.tenths
        totals += cost[:, used.reshape(-1), places[:, n]]
    return totals[0], totals[1]


def _exactly(listing: Listing, asked: Asked, n: int, steep: float, *, certain: bool) -> Ints | None:
    """Return a build within both limits of one question; None where there is none.

    Nothing is to be made least. What follows from both limits together, at and around the
    multiplier at which the dual is highest, cuts nearly all of the search off.
    """
    class_of = listing.class_of
    mask, lets, costs = {}, {}, {}
    for at, role in enumerate(listing.roles):
        number = int(asked.menus[n, at])
        menu, use = listing.menu(at, number), listing.useful(at, number, weighed=certain)
        mask[role] = np.zeros(len(class_of[role]), dtype=bool)
        mask[role][menu.place[use]] = True
        lets[role] = np.zeros(listing.sizes[role], dtype=bool)
        lets[role][menu.klass[use]] = True
        costs[role] = np.zeros((3, len(mask[role])))
        costs[role][1:, menu.place] = menu.price, menu.tenths
    criteria = Criteria(costs, np.array([asked.budget[n], asked.tenths[n]]))
    around = [[0.0, 1.0, steep * share] for share in _AROUND]
    first = [[1.0, 0.0, 0.0], [1.0, 1.0, steep], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    rows = listing.support(lets, certain=certain)
    options, found = k_best(
        rows.plan, class_of, mask, criteria, 1, rows, weightings=np.array([*first, *around])
    )
    return np.array([options[r][0] for r in listing.roles]) if len(found) else None


class _Open:
    """Questions with both limits that are not decided yet.

    ``dear`` and ``heavy`` are the price and mass of the cheapest witness that is too heavy,
    ``costly`` and ``light`` of the lightest that costs too much.
    """

    def __init__(self, asked: Asked) -> None:
        self.at = np.arange(len(asked))
        self.dear, self.heavy, self.costly, self.light = np.full((4, len(asked)), np.nan)

    def ties(self) -> Floats:
        """Return the multipliers at which a question's two witnesses tie."""
        return np.maximum(self.costly - self.dear, 1.0) / np.maximum(self.heavy - self.light, 1.0)

    def keep(self, which: Bools) -> None:
        """Drop the others."""
        for name in ("at", "dear", "heavy", "costly", "light"):
            setattr(self, name, getattr(self, name)[which])


def _both(
    listing: Listing, asked: Asked, *, certain: bool, exact: bool, places: Ints
) -> tuple[Bools, Ints]:
    """Decide questions with a mass limit, and perhaps a budget; fill in their witnesses.

    Returned with the answers are the places of those that only a search would decide, unless
    all are to be exact.
    """
    yes = np.zeros(len(asked), dtype=bool)
    left = _Open(asked)

    def look(weights: Floats) -> tuple[Floats, Floats]:
        """Ask with weights for price and mass, settle what that decides, keep the others."""
        part = asked.take(left.at)
        value, found = cheapest(
            listing, part.menus, weights, certain=certain, weighed=certain, witness=True
        )
        with np.errstate(invalid="ignore"):  # no weight of a limit that is not there
            limits = np.column_stack([part.budget, part.tenths])
            most = np.where(weights > 0, weights * limits, 0.0).sum(axis=1)
            dead = ~np.isfinite(value) | (value > most + _ROUNDING * (1 + np.abs(most)))
        price, tenths = np.full((2, len(part)), np.inf)
        alive = np.flatnonzero(~dead)
        price[alive], tenths[alive] = sums_of(listing, part.take(alive), found[alive])
        good = ~dead & (price <= part.budget) & (tenths <= part.tenths)
        yes[left.at[good]] = True
        places[left.at[good]] = found[good]
        left.keep(~good & ~dead)
        return price[~good & ~dead], tenths[~good & ~dead]

    left.dear, left.heavy = look(np.tile([1.0, 0.0], (len(left.at), 1)))
    left.costly, left.light = look(np.tile([0.0, 1.0], (len(left.at), 1)))
    for _ in range(_ROUNDS):
        if not len(left.at):
            return yes, left.at
        # The multiplier at which the two ends of a question tie. Where there are many, those
        # alike share one, and the work.
        steep = left.ties()
        if len(steep) > _MULTIPLIERS:
            shared = np.quantile(steep, (np.arange(_MULTIPLIERS) + 0.5) / _MULTIPLIERS)
            steep = shared[np.abs(np.log(steep[:, None] / shared)).argmin(axis=1)]
        price, tenths = look(np.column_stack([np.ones(len(steep)), steep]))
        over = tenths > asked.tenths[left.at]
        near = over & (price > left.dear)
        left.dear = np.where(near, price, left.dear)
        left.heavy = np.where(near, tenths, left.heavy)
        near = ~over & (price < left.costly)
        left.costly = np.where(near, price, left.costly)
        left.light = np.where(near, tenths, left.light)
    if not exact:
        return yes, left.at
    for n, tie in zip(left.at.tolist(), left.ties().tolist(), strict=True):
        build = _exactly(listing, asked, n, tie, certain=certain)
        if build is not None:
            yes[n], places[n] = True, build
    return yes, left.at[:0]


def served(
    listing: Listing,
    asked: Asked,
    *,
    certain: bool,
    witness: bool = False,
    exact: bool = True,
) -> Served:
    """Return whether each question has a build.

    Parameters
    ----------
    listing : Listing
        The menus that the questions name.
    asked : Asked
        The questions.
    certain : bool
        Whether builds that are only possible are left out; then no option of unknown mass
        keeps a mass limit.
    witness : bool
        Whether one build for each is wanted as well.
    exact : bool
        Whether the few that only a search decides are searched for, or left open.
    """
    first, number = dense([*asked.menus.T, rank(asked.budget), rank(asked.tenths)])
    distinct = asked.take(first)
    yes = np.zeros(len(distinct), dtype=bool)
    places = np.full((len(distinct), len(listing.roles)), -1, dtype=np.intp)
    light = np.isfinite(distinct.tenths)
    free = np.flatnonzero(~light)
    part = distinct.take(free)
    value, found = cheapest(listing, part.menus, (1.0, 0.0), certain=certain, witness=witness)
    yes[free] = np.isfinite(value) & (value <= part.budget)
    if witness:
        places[free[yes[free]]] = found[yes[free]]
    weighty = np.flatnonzero(light)
    inner = np.full((len(weighty), len(listing.roles)), -1, dtype=np.intp)
    undecided = np.zeros(len(distinct), dtype=bool)
    yes[weighty], left = _both(
        listing, distinct.take(weighty), certain=certain, exact=exact, places=inner
    )
    undecided[weighty[left]] = True
    places[weighty] = inner
    return Served(yes[number], undecided[number], places[number] if witness else places[:0])


#: The menus that a worker's thread looked at last, and what they were unpacked from.
_held = threading.local()


def _piece(packed: bytes, job: Callable[..., Answer], pieces: tuple[Asked, ...]) -> Answer:
    if getattr(_held, "packed", None) != packed:
        _held.listing, _held.packed = pickle.loads(packed), packed
    return job(_held.listing, *pieces)


def in_pieces(
    job: Callable[..., Answer],
    menus: Menus,
    asked: Sequence[Asked],
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> list[Answer]:
    """Return what a job answers to questions, cut into pieces.

    Parameters
    ----------
    job : callable
        Is given a listing of the menus and the same piece of everything asked.
    menus : Menus
        The menus that the questions name.
    asked : sequence of Asked
        Of equal length.
    executor : concurrent.futures.Executor, optional
        Where the pieces run, such as a process pool or the executor of a
        ``dask.distributed`` client; here by default.
    progress : callable, optional
        Is told after each piece how many questions are answered, and how many there are.
    """
    count = len(asked[0])
    size = PIECE
    if executor is not None:  # even pieces, so that no worker waits for the last
        size = -(-count // max(1, 2 * round(count / (2 * SENT)))) or 1
    cuts = [slice(a, a + size) for a in range(0, count, size)]
    pieces = (tuple(a.take(cut) for a in asked) for cut in cuts)
    if executor is None:
        answers = (job(menus, *piece) for piece in pieces)
    else:
        packed = pickle.dumps(menus.listing())
        futures = [executor.submit(_piece, packed, job, piece) for piece in pieces]
        answers = (future.result() for future in futures)
    found = []
    for n, answer in enumerate(answers, 1):
        found.append(answer)
        if progress is not None:
            progress(min(n * size, count), count)
    return found


def witnesses(
    menus: Menus,
    asked: Asked,
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Served:
    """Return which questions have a certain build, with one of each, in pieces.

    Parameters
    ----------
    menus, asked
        As in :func:`served`.
    executor, progress
        As in :func:`in_pieces`.
    """
    found = in_pieces(_with_witness, menus, [asked], executor, progress)
    yes, undecided = (
        np.concatenate([np.zeros(0, dtype=bool), *parts])
        for parts in ([f.yes for f in found], [f.open for f in found])
    )
    places = [np.zeros((0, len(menus.roles)), dtype=np.intp), *(f.places for f in found)]
    return Served(yes, undecided, np.concatenate(places))


def _with_witness(listing: Listing, asked: Asked) -> Served:
    return served(listing, asked, certain=True, witness=True)
