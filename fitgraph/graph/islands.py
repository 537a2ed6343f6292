"""Islands: parts that mate with nothing, features that nothing goes on, groups apart."""

from __future__ import annotations

import networkx as nx

from fitgraph.graph.views import nodes_of, parts_and_interfaces
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Islands:
    """What is apart.

    Parameters
    ----------
    groups : tuple of tuple of str
        Stock numbers of each group of parts that joints hold together, the largest first; the
        first is the mainland.
    alone : tuple of str
        Stock numbers of parts that mate with nothing at all.
    dead_ends : mapping of str to tuple of str
        Interfaces that no counterpart goes with, and the parts that have them.
    """

    groups: tuple[tuple[str, ...], ...]
    alone: tuple[str, ...]
    dead_ends: dict[str, tuple[str, ...]]


def islands(graph: nx.MultiDiGraph, least: str = "unknown") -> Islands:
    """Return what mates with nothing, and groups that mate only among themselves.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        The graph of fits.
    least : {"fits", "unknown", "fails"}
        The least verdict of a joint that counts.
    """
    view = parts_and_interfaces(graph, least)
    mated = {n for a, b, d in view.edges(data=True) if d["kind"] == "joint" for n in (a, b)}
    dead_ends: dict[str, tuple[str, ...]] = {}
    for node, _ in list(nodes_of(view, "interface")):
        if node not in mated:
            dead_ends[node] = tuple(sorted(view.nodes[n]["sku"] for n in view[node]))
            view.remove_node(node)
    groups, alone = [], []
    for piece in nx.connected_components(view):
        skus = sorted(view.nodes[n]["sku"] for n in piece if view.nodes[n]["kind"] == "part")
        if len(piece) > 1:
            groups.append(tuple(skus))
        else:
            alone += skus
    groups.sort(key=lambda g: (-len(g), g))
    return Islands(tuple(groups), tuple(sorted(alone)), dead_ends)
