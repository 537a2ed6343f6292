"""Ways from one part to another through adapters, as paths of the fit graph."""

from __future__ import annotations

from collections.abc import Iterator

import networkx as nx

from fitgraph.graph.fit_graph import fit_graph, part_node
from fitgraph.model import Catalogue, Fill


def mating_graph(catalogue: Catalogue, one: str, other: str) -> nx.Graph:
    """Return the two parts and all adapters, joined where some joint's features mate.

    Parameters
    ----------
    catalogue : Catalogue
        Where the parts come from.
    one, other : str
        Stock numbers.

    Returns
    -------
    networkx.Graph
        Nodes are stock numbers; an edge lists its joints and whether all of
        them are certain. Two parts are joined only where no joint between
        the same two features' parts fails.
    """
    roles = catalogue.vocabulary.roles
    adapters = [
        sku for sku, part in catalogue.parts.items() if roles[part.role].fill is Fill.ADAPTER
    ]
    skus = list(dict.fromkeys([one, other, *adapters]))
    graph = fit_graph(catalogue, skus)
    owner = {feature: sku for sku in skus for feature in graph.neighbors(part_node(sku))}
    simple = nx.Graph()
    simple.add_nodes_from(skus)
    failed: set[frozenset[str]] = set()
    for a, b, data in graph.edges(data=True):
        if data["kind"] != "joint":
            continue
        ends = frozenset((owner[a], owner[b]))
        if len(ends) < 2:
            continue
        if data["verdict"] == "fails":
            failed.add(ends)
            continue
        edge = simple.get_edge_data(*ends) or {"joints": [], "certain": True}
        simple.add_edge(
            *ends,
            joints=[*edge["joints"], data["joint"]],
            certain=edge["certain"] and data["verdict"] == "fits",
        )
    simple.remove_edges_from([tuple(ends) for ends in failed if simple.has_edge(*ends)])
    return simple


def adapter_paths(
    catalogue: Catalogue, one: str, other: str, *, most_adapters: int = 2
) -> Iterator[tuple[str, ...]]:
    """Yield the ways from one part to another, the shortest first.

    Parameters
    ----------
    catalogue : Catalogue
        Where the parts come from.
    one, other : str
        Stock numbers.
    most_adapters : int
        Longer ways are not looked for.

    Yields
    ------
    tuple of str
        Stock numbers from `one` to `other`; the two alone where they mate
        directly.

    Raises
    ------
    KeyError
        If a stock number is unknown.
    """
    graph = mating_graph(catalogue, one, other)
    paths = nx.all_simple_paths(graph, one, other, cutoff=most_adapters + 1)
    yield from sorted(map(tuple, paths), key=lambda path: (len(path), path))
