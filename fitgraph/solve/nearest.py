"""The combination with the fewest clashes, where none has none.

References
----------
.. [1] R. Dechter, "Bucket elimination: a unifying framework for reasoning",
   Artificial Intelligence 113 (1999) 41-85 (reference checked).
.. [2] S. Minton et al., "Minimizing conflicts: a heuristic repair method for constraint
   satisfaction and scheduling problems", Artificial Intelligence 58 (1992) 161-205
   (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.graph.buckets import Factor, TooManyCellsError, least_sum
from fitgraph.graph.unknowns import SHARED
from fitgraph.model import Verdict
from fitgraph.solve.space import Space
from fitgraph.solve.substitutes import needed
from fitgraph.stopping import check

#: Cells that a bucket may have.
_CELLS = 1 << 24

#: Starts of the local search where it would have more.
_STARTS = 12

#: What is only unknown costs one; a clash as much as a thousand of those.
_COST = {Verdict.FAILS: 1000, Verdict.UNKNOWN: 1, Verdict.FITS: 0}


def nearest(space: Space, lets: Mapping[str, Bools]) -> dict[str, int] | None:
    """Return one option for each role such that the fewest joints clash.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    lets : mapping of str to ndarray of bool
        Which options may be used.

    Returns
    -------
    dict of str to int or None
        The place of each role's option; None where a role has none.

    Notes
    -----
    Min-sum bucket elimination over the joints' own classes, exact; what joints ask together of
    one unknown figure, and sums, are left aside. Among
    equals the option that stands first in the catalogue is taken. Where hundreds of parts a role
    are all measured and a bucket would be too wide, the nearest of a few local searches [2]_ is
    returned, which another combination may better.
    """
    tables = [t for t in space.joint_tables if t.joint.rule != SHARED]
    # Whole numbers in few bytes: equals are equal, however the costs are added.
    width = np.min_scalar_type(max(1, len(tables)) * max(_COST.values()))
    cost = np.array([_COST[v] for v in sorted(_COST)], dtype=width)
    choices: dict[str, Ints] = {}
    kinds: dict[str, Ints] = {}
    for role, mask in lets.items():
        allowed = np.flatnonzero(mask)
        if not len(allowed):
            return None
        # Of options that another can stand in for, none is nearer.
        of_class, first_of = np.unique(space.class_of[role][allowed], return_index=True)
        stands_in = space.substitutes(certain=True)[role] & space.substitutes(certain=False)[role]
        kept = needed(stands_in, of_class, np.zeros(len(of_class), dtype=np.intp))
        allowed = allowed[np.sort(first_of[kept])]
        columns = [np.zeros(len(allowed), dtype=np.intp)]
        columns += [
            table.class_of[table.roles.index(role)][allowed]
            for table in tables
            if role in table.roles
        ]
        _, first = np.unique(np.column_stack(columns), axis=0, return_index=True)
        kinds[role] = np.sort(first)
        choices[role] = allowed[kinds[role]]
    factors = []
    for table in tables:
        used = [
            np.unique(of[choices[role]], return_inverse=True)
            for role, of in zip(table.roles, table.class_of, strict=True)
        ]
        picked = np.ix_(*(classes for classes, _ in used))
        class_of = tuple(of.reshape(-1) for _, of in used)
        factors.append(Factor(table.roles, class_of, cost[table.verdicts[picked]]))
    try:
        _, at = least_sum(factors, {r: len(of) for r, of in choices.items()}, _CELLS)
    except TooManyCellsError:
        at = _near(factors, choices)
    return {role: int(choices[role][at[role]]) for role in lets}


def _near(factors: Sequence[Factor], choices: Mapping[str, Ints]) -> dict[str, int]:
    """Return kinds that no other kind of one role alone would bring nearer.

    From each of some starts one role after the other takes its best kind until none gains.
    """
    best: dict[str, int] = {}
    least = np.inf
    rng = np.random.default_rng(0)
    for start in range(_STARTS):
        at = {r: int(rng.integers(len(of))) if start else 0 for r, of in choices.items()}
        now = np.inf
        while True:
            check()
            for role in choices:
                total = np.zeros(len(choices[role]), dtype=np.int64)
                for f in (f for f in factors if role in f.roles):
                    total += f.along(role, at)
                at[role] = int(total.argmin())
            found = sum(int(f.at(at)) for f in factors)
            if found >= now:
                break
            now = found
        if now < least:
            least, best = now, at
    return best
