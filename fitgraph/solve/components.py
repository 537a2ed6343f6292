"""What a wide case falls into: classes of two roles that go only with each other.

Bars of one bore go over sleeves of one outside, and no other; so a case in which both are measured
one by one falls into a case for each such size. They are the connected components of a relation,
seen as a graph between the classes of its two roles, and in each all other roles may lose what
goes with none of its classes (arc consistency [1]).

References
----------
.. [1] A. K. Mackworth, "Consistency in networks of relations", Artificial Intelligence 8 (1977)
   99-118 (reference checked).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.solve.relations import Relation, supported

#: Components that a case falls into at most; where there are more, the smallest stay together.
_MOST = 12


def _components(relation: Relation, domains: Mapping[str, Ints]) -> list[dict[str, Ints]]:
    """Return the domains of both roles of a relation in each of its components."""
    # Only wide cases fall apart, and reading scipy takes as long as a short answer does.
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    sides = [
        np.unique(of_base[domains[role]])
        for role, of_base in zip(relation.scope, relation.maps, strict=True)
    ]
    one, other = np.nonzero(relation.allowed[np.ix_(*sides)])
    rows, columns = relation.allowed.shape
    at = sides[0][one], rows + sides[1][other]
    nodes = rows + columns
    _, of_node = connected_components(coo_array((np.ones(len(one)), at), (nodes, nodes)))
    met = np.unique(of_node[at[0]])
    size = np.bincount(of_node, minlength=nodes)[met]
    place = np.full(nodes, -1, dtype=np.intp)
    place[met[np.argsort(-size, kind="stable")]] = np.minimum(np.arange(len(met)), _MOST - 1)
    group = place[of_node]
    found = []
    for n in range(int(group.max(initial=-1)) + 1):
        mine = {}
        for role, of_base, begin in zip(relation.scope, relation.maps, (0, rows), strict=True):
            domain = domains[role]
            mine[role] = domain[group[begin + of_base[domain]] == n]
        found.append(mine)
    return found


def fallen_apart(
    relations: Sequence[Relation], domains: Mapping[str, Ints], roles: Collection[str]
) -> list[dict[str, Ints]]:
    """Return the domains of the cases that a case falls into; one where it does not.

    Parameters
    ----------
    relations : sequence of Relation
        All that holds in the case but sums.
    domains : mapping of str to ndarray of int
        The classes of each variable in it.
    roles : sequence of str
        Those that may be divided.
    """
    domains = supported(relations, domains)
    best: tuple[float, list[dict[str, Ints]]] = (1.0, [{}])
    for relation in relations:
        if len(relation.scope) != 2 or not set(relation.scope) <= set(roles):
            continue
        found = _components(relation, domains)
        left = sum(
            float(np.prod([len(mine[r]) / len(domains[r]) for r in relation.scope]))
            for mine in found
        )
        if len(found) > 1 and left < best[0]:
            best = left, found
    return [supported(relations, {**domains, **mine}) for mine in best[1]]
