"""The few made parts that together serve the most enquiries, with proof.

The builds that two made parts open overlap, so the best pair is seldom the two best. This is
weighted maximum coverage: choose at most k parts, count each enquiry once. It is solved as a
mixed-integer program; the solver's bound proves how far a better choice could reach.

References
----------
.. [1] G. L. Nemhauser, L. A. Wolsey, M. L. Fisher, "An analysis of approximations for
   maximizing submodular set functions", Mathematical Programming 14 (1978) 265-294
   (reference checked): maximum coverage, and why taking the best one after another is not exact.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint
from scipy.sparse import csr_matrix, hstack, identity

from fitgraph.adapters.design_scan import Scan, Worth
from fitgraph.adapters.made import cost_of, shape_of
from fitgraph.adapters.pairs import MadePair
from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.integers import least_whole

#: Weights are compared to this share of all weight.
_SAME = 1e-9


@dataclass(frozen=True, slots=True)
class BestChoice:
    """A choice of parts and the proof that none is better.

    Parameters
    ----------
    chosen : tuple of int
        Places of the chosen columns.
    covered : float
        Weight that they cover.
    bound : float
        Weight that no choice of so many can exceed.
    cost : float
        What the choice costs; of equal choices the cheapest is taken.
    """

    chosen: tuple[int, ...]
    covered: float
    bound: float
    cost: float

    @property
    def gap(self) -> float:
        """Return by how much of the bound a better choice could still exceed this one."""
        return max(self.bound - self.covered, 0.0) / self.bound if self.bound > 0 else 0.0

    @property
    def proven(self) -> bool:
        """Whether no choice of so many covers more."""
        return self.gap <= 1e-6


def _grouped(covers: Bools, weights: Floats) -> tuple[Bools, Floats]:
    """Return distinct non-empty rows with their weights added up."""
    kinds, kind_of = np.unique(covers, axis=0, return_inverse=True)
    summed = np.bincount(kind_of.ravel(), weights=weights, minlength=len(kinds))
    some = kinds.any(axis=1) & (summed > 0)
    return kinds[some], np.asarray(summed[some], dtype=float)


def _covered(rows: Bools, paired: Bools, pairs: Ints, chosen: Bools) -> Bools:
    """Return which rows a choice covers, alone or by two of its columns."""
    both = chosen[pairs].all(axis=1)
    return np.asarray(np.hstack([rows[:, chosen], paired[:, both]]).any(axis=1))


def best_cover(
    covers: Bools,
    weights: Floats,
    most: int,
    costs: Floats | None = None,
    *,
    pairs: Ints | None = None,
    paired: Bools | None = None,
) -> BestChoice:
    """Return the columns that together cover the most weight.

    Parameters
    ----------
    covers : ndarray of bool, shape (n_rows, n_columns)
        Which rows each column covers.
    weights : ndarray of float
        Of the rows, none below zero.
    most : int
        How many columns may be chosen.
    costs : ndarray of float, optional
        Of the columns; breaks ties.
    pairs : ndarray of int, shape (n_pairs, 2), optional
        Columns that cover something more where both are chosen.
    paired : ndarray of bool, shape (n_rows, n_pairs), optional
        What that is.

    Raises
    ------
    ValueError
        If `most` is below zero or a weight is.
    RuntimeError
        If the solver gives up.
    """
    if most < 0 or (weights < 0).any():
        raise ValueError("neither how many may be chosen nor a weight can be below zero")
    width = covers.shape[1]
    pairs = np.zeros((0, 2), dtype=np.intp) if pairs is None else pairs
    paired = np.zeros((len(covers), 0), dtype=bool) if paired is None else paired
    both, values = _grouped(np.hstack([covers, paired]), weights)
    helps = np.flatnonzero(both[:, width:].any(axis=0))
    pairs, paired = pairs[helps], both[:, width:][:, helps]
    columns = np.union1d(np.flatnonzero(both[:, :width].any(axis=0)), pairs.ravel())
    if not most or not len(columns):
        return BestChoice((), 0.0, 0.0, 0.0)
    rows, pairs = both[:, columns], np.searchsorted(columns, pairs)
    price = np.ones(width) if costs is None else np.asarray(costs, dtype=float)
    n, p, m = len(columns), len(pairs), len(rows)
    total = float(values.sum())
    picks = csr_matrix(np.hstack([rows, paired]).astype(float))
    limits = [
        LinearConstraint(hstack([-picks, identity(m)]), -np.inf, 0.0),
        LinearConstraint(np.r_[np.ones(n), np.zeros(p + m)][None, :], 0, most),
    ]
    for side in (0, 1) if p else ():  # a pair is had only with both of its columns
        owner = csr_matrix((np.ones(p), (np.arange(p), pairs[:, side])), shape=(p, n))
        limits.append(
            LinearConstraint(hstack([-owner, identity(p), csr_matrix((p, m))]), -np.inf, 0.0)
        )
    # Once the parts are whole, what they cover is whole by itself.
    whole, box = np.r_[np.ones(n), np.zeros(p + m)], Bounds(0, 1)
    options: dict[str, float | bool] = {"mip_rel_gap": 0.0}
    first = least_whole(np.r_[np.zeros(n + p), -values / total], limits, whole, box, options)
    if first.x is None:
        raise RuntimeError(f"the solver found no choice: {first.message}")
    chosen = first.x[:n] > 0.5
    covered = float(values[_covered(rows, paired, pairs, chosen)].sum())
    bound = min(-float(first.mip_dual_bound) * total, total)
    # Of all choices that cover as much, the cheapest; a part that adds nothing is left out.
    floor = LinearConstraint(
        np.r_[np.zeros(n + p), values / total][None, :], covered / total - _SAME, np.inf
    )
    scale = float(price[columns].max()) or 1.0
    cost = np.r_[price[columns] / scale + _SAME, np.zeros(p + m)]
    second = least_whole(cost, [*limits, floor], whole, box, options)
    if second.x is not None:
        again = second.x[:n] > 0.5
        weight = float(values[_covered(rows, paired, pairs, again)].sum())
        if weight >= covered - _SAME * total:
            chosen, covered = again, weight
    places = tuple(int(c) for c in columns[chosen])
    return BestChoice(places, covered, max(bound, covered), float(price[list(places)].sum()))


@dataclass(frozen=True, slots=True)
class Together:
    """The best few parts of some makes, and what they serve.

    Parameters
    ----------
    worths : tuple of Worth
        The parts; fewer than asked for where more would add nothing.
    gained : float
        Weight of the enquiries that they serve and nothing does now.
    coverage : float
        Weight of all enquiries that are served with them.
    choice : BestChoice
        With the proof.
    paired : float
        Weight of those among the gained that need two of the parts in one build.
    """

    worths: tuple[Worth, ...]
    gained: float
    coverage: float
    choice: BestChoice
    paired: float = 0.0


def _lines(scans: Sequence[Scan]) -> tuple[list[Worth], Bools, Floats, Bools]:
    worths = [w for s in scans for w in s.worths]
    serves = np.hstack([s.serves for s in scans])
    return worths, serves, scans[0].weights, scans[0].before


def best_together(scans: Sequence[Scan], most: int, pairs: Sequence[MadePair] = ()) -> Together:
    """Return the parts that together serve the most enquiries that nothing serves now.

    Parameters
    ----------
    scans : sequence of Scan
        Of one catalogue; parts of several makes may be mixed.
    most : int
        How many parts may be made.
    pairs : sequence of MadePair
        From :func:`fitgraph.adapters.pairs.pairs` of the same scans.

    Notes
    -----
    Exact for parts of one role, since a build holds one of them, and with their pairs for parts
    of two. Builds that need three made parts at once are not counted.
    """
    worths, serves, weights, before = _lines(scans)
    costs = np.array([float(cost(w)) for w in worths])
    now = ~before
    choice = best_cover(
        serves[now],
        weights[now],
        most,
        costs,
        pairs=np.array([(p.first, p.second) for p in pairs], dtype=np.intp).reshape(-1, 2),
        paired=np.array([p.serves[now] for p in pairs], dtype=bool)
        .reshape(len(pairs), int(now.sum()))
        .T,
    )
    alone = serves[:, list(choice.chosen)].any(axis=1)
    base = float(weights[before].sum())
    return Together(
        tuple(worths[n] for n in choice.chosen),
        choice.covered,
        base + choice.covered,
        choice,
        max(0.0, choice.covered - float(weights[alone & now].sum())),
    )


def cost(worth: Worth) -> int:
    """Return the estimated cost of a piece, in minor currency units."""
    make, part = worth.candidate.make, worth.candidate.part
    return cost_of(make, shape_of(make, part.features)).total


def frontier(
    scans: Sequence[Scan], most: int, pairs: Sequence[MadePair] = ()
) -> Iterator[Together]:
    """Yield the best choice of one part, of two, and so on, until more add nothing."""
    last = -1.0
    for k in range(1, most + 1):
        found = best_together(scans, k, pairs)
        if found.gained <= last:
            if pairs:
                continue  # one more may add nothing, and two more something
            return
        last = found.gained
        yield found


__all__ = ["BestChoice", "Together", "best_cover", "best_together", "cost", "frontier"]
