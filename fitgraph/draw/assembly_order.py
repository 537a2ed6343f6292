"""The roles of a trade in the order in which they are put together.

References
----------
.. [1] M. Fiedler, "Algebraic connectivity of graphs", Czechoslovak Mathematical Journal 23 (1973)
   298-305 (reference checked): the eigenvector to the second least eigenvalue of the Laplacian puts
   neighbours beside one another.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from fitgraph.model import Vocabulary

if TYPE_CHECKING:
    import networkx as nx

#: From so many roles on there is an order to find.
_LEAST = 3


def role_graph(vocabulary: Vocabulary) -> nx.Graph:
    """Return the roles as a graph; between two stands how many joints they meet in.

    Parameters
    ----------
    vocabulary : Vocabulary
        Its roles and joints.
    """
    import networkx as nx  # late: an answer in words needs none of it

    graph = nx.Graph()
    graph.add_nodes_from(vocabulary.roles)
    for joint in vocabulary.joints:
        for one, other in combinations(sorted(joint.roles), 2):
            before = graph.get_edge_data(one, other, {"weight": 0})["weight"]
            graph.add_edge(one, other, weight=before + 1)
    return graph


def assembly_order(vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the roles along the assembly: those that meet in many joints stand close.

    Parameters
    ----------
    vocabulary : Vocabulary
        Its roles and joints; nothing else decides the order.
    """
    import networkx as nx

    roles = list(vocabulary.roles)
    graph = role_graph(vocabulary)
    ordered: list[str] = []
    for piece in sorted(nx.connected_components(graph), key=lambda p: (-len(p), min(p))):
        inside = [r for r in roles if r in piece]
        if len(inside) >= _LEAST:
            between = nx.to_numpy_array(graph, inside)
            _, vectors = np.linalg.eigh(np.diag(between.sum(axis=0)) - between)
            first, place = inside[0], np.argsort(vectors[:, 1], kind="stable")
            inside = [inside[n] for n in place]
            # The end nearer to the role that the vocabulary begins with comes last: what
            # carries lies below.
            if inside.index(first) < len(inside) / 2:
                inside.reverse()
        ordered += inside
    return tuple(ordered)
