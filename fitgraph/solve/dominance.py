"""What no other betters, in two criteria and in three, and what cannot better what is known.

References
----------
.. [1] H. T. Kung, F. Luccio, F. P. Preparata, "On finding the maxima of a set of vectors", J. ACM
   22 (1975) 469-476 (reference checked).
.. [2] M. A. Bender, M. Farach-Colton, "The LCA problem revisited", LATIN 2000, 88-94
   (reference checked): largest values of ranges from a table of powers of two.
"""

from __future__ import annotations

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.solve.arrays import distinct

#: Levels of the third criterion at which known builds are looked up.
_LEVELS = 64


def least_of_two(group: Ints, one: Floats, two: Floats) -> Ints:
    """Return the places of pairs that no other of their group is as good as in both.

    Parameters
    ----------
    group : ndarray of int
        Pairs of different groups are not compared.
    one, two : ndarray of float
        Smaller is better; whole numbers.

    Returns
    -------
    ndarray of int
        By group, then by the first number; of equal pairs one.

    Examples
    --------
    >>> group, one = np.array([0, 0, 0, 1]), np.array([1.0, 2, 3, 5])
    >>> least_of_two(group, one, np.array([5.0, 7, 2, 9])).tolist()
    [0, 2, 3]
    """
    if not len(one):
        return np.zeros(0, dtype=np.intp)
    base = float(one.min())
    width = float(one.max()) - base + 1.0
    bits = int(len(one) - 1).bit_length()
    if (float(group.max()) + 1.0) * width < 2.0 ** (62 - bits):
        # One number a pair, with its place, sorts many times faster than columns.
        key = group * int(width) + (one - base).astype(np.int64)
        key = np.sort((key << bits) | np.arange(len(one)))
        order = key & ((1 << bits) - 1)
        key >>= bits
    else:
        order = np.lexsort((one, group))
        key = np.cumsum(
            np.append(0, (np.diff(one[order]) != 0) | (np.diff(group[order]) != 0)).astype(np.int64)
        )
    # Each group lies below all before it, so that one running minimum serves all.
    wide = float(np.ptp(two)) + 1.0
    level = two[order] - wide * group[order]
    before = np.minimum.accumulate(level)
    good = np.append(True, level[1:] < before[:-1])
    order, key = order[good], key[good]
    # Of pairs that share the first number the last is the best.
    return order[np.append(key[1:] != key[:-1], True)].astype(np.intp)


def least_of_three(points: Floats, group: Ints | None = None) -> Ints:
    """Return the places of points in three criteria that no other of their group dominates.

    Points are split by the third criterion, half against half: what is better there rules out
    what is no better in the other two [1]_.

    Examples
    --------
    >>> least_of_three(np.array([[1.0, 5, 0], [2, 4, 0], [2, 6, 0], [1, 5, 0]])).tolist()
    [0, 1]
    """
    third = np.unique(points[:, 2], return_inverse=True)[1].reshape(-1).astype(np.intp)
    width = int(third.max(initial=0)).bit_length()
    if group is not None:
        third += group << width
    kept = least_of_two(third, points[:, 0], points[:, 1])
    for bit in range(width):
        level = third[kept]
        block, worse = level >> (bit + 1), (level >> bit) & 1
        one, two = points[kept, 0], points[kept, 1]
        order = np.lexsort((worse, one, block))
        wide = float(np.ptp(two)) + 1.0 if len(two) else 1.0
        of_block = two[order] - wide * block[order]
        better = np.where(worse[order] == 0, of_block, np.inf)
        reached = np.minimum.accumulate(better)
        beaten = (worse[order] == 1) & (reached <= of_block)
        kept = np.delete(kept, order[beaten])
    return np.sort(kept)


class Known:
    """Builds that are known, to ask what cannot better them.

    What is not bettered in two criteria lies on a stair. What could still lie below it has a
    corner of the stair above and to the right of it.

    Parameters
    ----------
    points : ndarray of float, shape (n, 3)
        Their criteria.
    steps : ndarray of float, shape (2,)
        What every first and every second criterion is a multiple of.
    weightings : ndarray of float, shape (k, 2)
        Weights of the first and the second criterion, positive whole numbers.
    """

    def __init__(self, points: Floats, steps: Floats, weightings: Floats) -> None:
        thirds = distinct(points[:, 2])
        # At a level count those that are no worse than it; between levels the lower one counts.
        at = np.unique(np.linspace(0, len(thirds) - 1, _LEVELS).astype(np.intp))
        self.levels = thirds[at] if len(thirds) else thirds
        if not len(points):
            return
        lows, highs = points[:, :2].min(axis=0) - steps, points[:, :2].max(axis=0) + 1.0
        self.lows, self.highs = lows, highs
        self.widths = highs - lows + 1.0
        ones, twos, values = [], [], []
        for n, level in enumerate(self.levels):
            mine = points[points[:, 2] <= level]
            stair = mine[least_of_two(np.zeros(len(mine), dtype=np.intp), mine[:, 0], mine[:, 1])]
            one = np.append(stair[:, 0] - steps[0], np.inf)
            two = np.append(np.inf, stair[:, 1] - steps[1])
            values.append(weightings @ np.array([one, two]))
            ones.append(np.minimum(one, highs[0]) - lows[0] + n * self.widths[0])
            twos.append(highs[1] - np.minimum(two, highs[1]) + n * self.widths[1])
        self.ones, self.twos = np.concatenate(ones), np.concatenate(twos)
        table = [np.concatenate(values, axis=1)]
        for j in range(len(self.ones).bit_length() - 1):
            last = table[-1]
            ahead = np.concatenate([last[:, 1 << j :], last[:, : 1 << j]], axis=1)
            table.append(np.maximum(last, ahead))
        self.table = np.array(table)

    def beat(self, least: Floats, mixed: Floats) -> Bools:
        """Return where whatever comes to so much is no better than some known build.

        Parameters
        ----------
        least : ndarray of float, shape (3, n)
            What each criterion comes to at the least; finite.
        mixed : ndarray of float, shape (k, n)
            What each weighting of the first two comes to at the least.
        """
        found = np.zeros(least.shape[1], dtype=bool)
        if not len(self.levels):
            return found
        level = np.searchsorted(self.levels, least[2], side="right") - 1
        at = np.flatnonzero(level >= 0)
        level = level[at]
        one = np.clip(least[0, at], self.lows[0], self.highs[0]) - self.lows[0]
        two = self.highs[1] - np.clip(least[1, at], self.lows[1], self.highs[1])
        first = np.searchsorted(self.ones, one + level * self.widths[0])
        last = np.searchsorted(self.twos, two + level * self.widths[1], side="right") - 1
        beaten = first > last
        found[at] = beaten
        if not len(mixed):
            return found
        open_ = np.flatnonzero(~beaten)
        at, first, last = at[open_], first[open_], last[open_]
        power = np.frexp(last - first + 1.0)[1] - 1
        back = last + 1 - (1 << power)
        lost = np.zeros(len(at), dtype=bool)
        for k, values in enumerate(mixed):
            most = np.maximum(self.table[power, k, first], self.table[power, k, back])
            lost |= most < values[at]
        found[at[lost]] = True
        return found
