"""The rows that some questions can meet at all, kept for those that come after them.

Most questions name what a rider owns and what a shelf holds, which is little of a catalogue: few
of its rows are on a build of that. Working these out is one look along all rows in bits, and what
is asked of them is less work by as much as they are fewer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from weakref import WeakKeyDictionary

import numpy as np

from fitgraph.array_types import Bools
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.support import Support

Lets = Mapping[str, Bools]

#: Share of all combinations of classes above which fewer are not worth a look along all rows.
_WORTH = 0.7

#: Looks at rows that take as long as to narrow a circuit.
_LOOKS = 1 << 20

#: How many narrowed circuits are kept, and which share of the rows they may have together.
_KEPT, _ROOM = 4, 0.7

#: What was narrowed last, of each circuit while it lives: what is let in, and the rows of that.
_narrowed: WeakKeyDictionary[Circuit, list[tuple[dict[str, Bools], Circuit]]] = WeakKeyDictionary()


def in_reach(runs: Support | Circuit, lets: Lets, contexts: float = math.inf) -> Support | Circuit:
    """Return the rows that builds of what is let in have, and perhaps some more.

    Parameters
    ----------
    runs : Support or Circuit
        All rows.
    lets : mapping of str to ndarray of bool
        Which base classes of each role are let in.
    contexts : float
        How often the rows are looked at, at most: for few looks at few rows it is not worth one
        more.

    Returns
    -------
    Support or Circuit
        Of the same plan.
    """
    if not isinstance(runs, Circuit):
        return runs
    kept = _narrowed.setdefault(runs, [])
    fewest, inside = runs, {r: np.ones_like(m) for r, m in lets.items()}
    for known, some in kept:
        if some.rows < fewest.rows and all((known[r] >= m).all() for r, m in lets.items()):
            fewest, inside = some, known
    shares = (lets[r].sum() / max(1, m.sum()) for r, m in inside.items())
    if math.prod(shares) > _WORTH or fewest.rows * contexts < _LOOKS:
        return fewest
    found = fewest.within(lets)
    kept.insert(0, ({r: m.copy() for r, m in lets.items()}, found))
    while len(kept) > _KEPT or (len(kept) > 1 and sum(c.rows for _, c in kept) > _ROOM * runs.rows):
        kept.pop()
    return found
