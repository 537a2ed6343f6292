"""Islands: parts that mate with nothing, features that nothing goes on, groups apart."""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx

from fitgraph.graph.views import joints_of, nodes_of, parts_and_interfaces


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
    groups, alone = [], []
    for piece in nx.connected_components(view):
        skus = sorted(view.nodes[n]["sku"] for n in piece if view.nodes[n]["kind"] == "part")
        joined = any(d["kind"] == "joint" for *_, d in view.edges(piece, data=True))
        if joined and skus:
            groups.append(tuple(skus))
        else:
            alone += skus
    groups.sort(key=lambda g: (-len(g), g))
    mated = {n for a, b, _ in joints_of(graph, least) for n in (a, b)}
    dead_ends = {}
    for node, _ in nodes_of(graph, "interface"):
        if node not in mated and node in view:
            parts = [view.nodes[n]["sku"] for n in view[node]]
            if parts:
                dead_ends[node] = tuple(sorted(parts))
    return Islands(tuple(groups), tuple(sorted(alone)), dead_ends)
