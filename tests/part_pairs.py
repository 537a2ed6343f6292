"""The graph of fits as parts and their joints, pair by pair: slow and easy to believe."""

from __future__ import annotations

import itertools
from collections.abc import Iterable

import networkx as nx

from fitgraph.graph.fit_graph import part_node

#: Verdicts no worse than one.
AT_LEAST = {
    "fits": ("fits",),
    "unknown": ("fits", "unknown"),
    "fails": ("fits", "unknown", "fails"),
}


def by_part(graph: nx.MultiDiGraph, skus: Iterable[str], least: str = "unknown") -> nx.MultiGraph:
    """Return named parts and the joints between them, pair by pair.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        The graph of fits.
    skus : iterable of str
        Stock numbers, with `` + service`` behind it for a part after a service.
    least : {"fits", "unknown", "fails"}
        The least verdict of a joint that is shown.

    Raises
    ------
    KeyError
        If one is not in the graph.
    """
    view = nx.MultiGraph(**graph.graph)
    at: dict[str, list[str]] = {}
    for sku in dict.fromkeys(skus):
        node = part_node(sku)
        if node not in graph:
            raise KeyError(sku)
        view.add_node(node, **graph.nodes[node])
        at[node] = [
            i
            for f in graph.successors(node)
            for i in graph.successors(f)
            if graph.nodes[i]["kind"] == "interface"
        ]
    for one, other in itertools.permutations(at, 2):
        for a, b in itertools.product(at[one], at[other]):
            for key, data in (graph.get_edge_data(a, b) or {}).items():
                if data["verdict"] in AT_LEAST[least]:
                    view.add_edge(one, other, key, **data)
    return view
