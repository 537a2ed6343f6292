"""How far two ways to group the same things agree, as numbers.

References
----------
.. [1] L. Hubert, P. Arabie, "Comparing partitions", Journal of Classification 2 (1985)
   193-218: the Rand index adjusted for chance (reference checked).
.. [2] A. Strehl, J. Ghosh, "Cluster ensembles", Journal of Machine Learning Research 3 (2002)
   583-617 (reference checked): normalised mutual information; here over the mean of both
   entropies.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Sequence


def adjusted_rand_index(one: Sequence[Hashable], other: Sequence[Hashable]) -> float:
    """Return the Rand index adjusted for chance: 1 for the same groups, 0 for chance.

    Examples
    --------
    >>> adjusted_rand_index("aabb", "xxyy")
    1.0
    """
    cells = Counter(zip(one, other, strict=True))
    rows, columns = Counter(one), Counter(other)
    together = sum(math.comb(n, 2) for n in cells.values())
    in_one = sum(math.comb(n, 2) for n in rows.values())
    in_other = sum(math.comb(n, 2) for n in columns.values())
    pairs = math.comb(len(one), 2)
    expected = in_one * in_other / pairs if pairs else 0.0
    most = (in_one + in_other) / 2
    return 1.0 if most == expected else (together - expected) / (most - expected)


def normalised_mutual_information(one: Sequence[Hashable], other: Sequence[Hashable]) -> float:
    """Return the mutual information over the mean of both entropies: 1 for the same groups.

    Examples
    --------
    >>> round(normalised_mutual_information("aabb", "xyxy"), 12)
    0.0
    """
    n = len(one)
    cells, rows, columns = Counter(zip(one, other, strict=True)), Counter(one), Counter(other)

    def entropy(counts: Counter[Hashable]) -> float:
        return -sum(c / n * math.log(c / n) for c in counts.values())

    mean = (entropy(rows) + entropy(columns)) / 2
    if not mean:
        return 1.0
    shared = sum(c / n * math.log(c * n / (rows[a] * columns[b])) for (a, b), c in cells.items())
    return max(shared / mean, 0.0)
