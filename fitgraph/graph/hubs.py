"""Hubs: what the shortest ways between the parts that people own lead through.

References
----------
.. [1] U. Brandes, "On variants of shortest-path betweenness centrality and their generic
   computation", Social Networks 30 (2008) 136-145 (reference checked): weights at the ends of the
   ways.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping

import networkx as nx

from fitgraph.graph.views import parts_and_interfaces
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Hub:
    """A node that ways lead through.

    Parameters
    ----------
    node : str
        An interface, or the first of the parts that share all interfaces.
    share : float
        The share of all ways that lead through it.
    """

    node: str
    share: float


def weighted_betweenness(
    graph: nx.Graph, weights: Mapping[Hashable, float]
) -> dict[Hashable, float]:
    """Return for each node the weight of the ways between two others that lead through it.

    Parameters
    ----------
    graph : networkx.Graph
        Undirected; every edge is a step.
    weights : mapping of node to float
        How many ways begin, and end, at a node; a way between two counts as the product.

    Returns
    -------
    dict of node to float
        With shortest ways shared evenly where there are several, each pair once.

    Examples
    --------
    >>> weighted_betweenness(nx.path_graph(3), {0: 2.0, 2: 3.0})
    {0: 0.0, 1: 6.0, 2: 0.0}
    """
    total: dict[Hashable, float] = dict.fromkeys(graph, 0.0)
    for source, weight in weights.items():
        if not weight:
            continue
        before = nx.predecessor(graph, source)
        far = nx.single_source_shortest_path_length(graph, source)
        order = sorted(far, key=far.__getitem__)
        ways: dict[Hashable, float] = {source: 1.0}
        for node in order[1:]:
            ways[node] = sum(ways[v] for v in before[node])
        passing = dict.fromkeys(order, 0.0)
        for node in reversed(order[1:]):
            share = (weights.get(node, 0.0) + passing[node]) / ways[node]
            for v in before[node]:
                passing[v] += ways[v] * share
            total[node] += weight * passing[node]
    return {node: value / 2 for node, value in total.items()}


def hubs(graph: nx.MultiDiGraph, least: str = "unknown") -> tuple[Hub, ...]:
    """Return what the ways between parts that people own lead through, the busiest first.

    Parts that share all interfaces are one node, for ten bars alike are no ten roads. Where
    nobody asked anything, every part counts alike.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        The graph of fits.
    least : {"fits", "unknown", "fails"}
        The least verdict of a joint that leads on.
    """
    plain = parts_and_interfaces(graph, least, fold=True)
    weights: dict[Hashable, float] = {
        n: float(d["owned"]) for n, d in plain.nodes(data=True) if d["kind"] == "part"
    }
    if not any(weights.values()):
        weights = {n: float(plain.nodes[n]["parts"]) for n in weights}
    through = weighted_betweenness(plain, weights)
    pairs = (sum(weights.values()) ** 2 - sum(w * w for w in weights.values())) / 2
    found = [Hub(str(n), v / pairs) for n, v in through.items() if v > 0 and pairs > 0]
    return tuple(sorted(found, key=lambda h: (-h.share, h.node)))
