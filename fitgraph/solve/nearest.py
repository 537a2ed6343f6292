"""The combination with the fewest clashes, where none has none.

References
----------
.. [1] R. Dechter, "Bucket elimination: a unifying framework for reasoning",
   Artificial Intelligence 113 (1999) 41-85 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.graph.unknowns import SHARED
from fitgraph.model import Verdict
from fitgraph.solve.space import Space
from fitgraph.solve.substitutes import needed

Bools = npt.NDArray[np.bool_]

#: What is only unknown costs one; a clash as much as a thousand of those.
_COST = {Verdict.FAILS: 1000, Verdict.UNKNOWN: 1, Verdict.FITS: 0}


def _bucket_size(
    role: str, scopes: list[tuple[str, ...]], choices: Mapping[str, npt.NDArray[np.intp]]
) -> float:
    """Return how many combinations eliminating a role would look at."""
    near = {r for scope in scopes if role in scope for r in scope}
    return float(np.prod([float(len(choices[r])) for r in near]))


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
    equals the option that stands first in the catalogue is taken.
    """
    tables = [t for t in space.joint_tables if t.joint.rule != SHARED]
    # Whole numbers in few bytes: equals are equal, however the costs are added.
    width = np.min_scalar_type(len(tables) * max(_COST.values()))
    cost = np.array([_COST[v] for v in sorted(_COST)], dtype=width)
    choices: dict[str, npt.NDArray[np.intp]] = {}
    kinds: dict[str, npt.NDArray[np.intp]] = {}
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
    factors: list[tuple[tuple[str, ...], npt.NDArray[Any]]] = []
    for table in tables:
        picked = np.ix_(*(table.class_of[a][choices[role]] for a, role in enumerate(table.roles)))
        factors.append((table.roles, cost[table.verdicts[picked]]))
    trail: list[tuple[str, tuple[str, ...], npt.NDArray[np.intp]]] = []
    left = set(lets)
    while left:
        scopes = [scope for scope, _ in factors]
        sizes = {role: _bucket_size(role, scopes, choices) for role in left}
        role = min(sorted(left), key=sizes.__getitem__)
        left.discard(role)
        mine = [f for f in factors if role in f[0]]
        factors = [f for f in factors if role not in f[0]]
        near = tuple(sorted({r for scope, _ in mine for r in scope} - {role}))
        scope = (*near, role)
        total = np.zeros([len(choices[r]) for r in scope], dtype=width)
        for of_scope, values in mine:
            order = [of_scope.index(r) for r in scope if r in of_scope]
            shape = [len(choices[r]) if r in of_scope else 1 for r in scope]
            total += np.transpose(values, order).reshape(shape)
        trail.append((role, near, total.argmin(axis=-1)))
        if near:
            factors.append((near, total.min(axis=-1)))
    at: dict[str, int] = {}
    for role, near, best in reversed(trail):
        at[role] = int(best[tuple(at[r] for r in near)])
    return {role: int(choices[role][at[role]]) for role in lets}
