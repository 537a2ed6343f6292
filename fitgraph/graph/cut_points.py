"""The one interface, part or joint whose loss splits the trade.

References
----------
.. [1] J. Hopcroft, R. Tarjan, "Algorithm 447: efficient algorithms for graph manipulation",
   Communications of the ACM 16 (1973) 372-378 (reference checked); by networkx.
"""

from __future__ import annotations

from collections.abc import Hashable

import networkx as nx

from fitgraph.graph.views import parts_and_interfaces
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class CutPoint:
    """A node or an edge that holds pieces together.

    Parameters
    ----------
    nodes : tuple of str
        One interface or part; both ends of an edge.
    cut_off : int
        How many parts are no longer joined to the largest piece without it.
    pieces : tuple of int
        Parts in each piece that is left of what it held together, the largest first.
    joints : str
        The names of the joints of an edge; empty for a node.
    """

    nodes: tuple[str, ...]
    cut_off: int
    pieces: tuple[int, ...]
    joints: str = ""


def _weight(graph: nx.Graph, node: str) -> int:
    """Return how many parts a node stands for: an interface is none."""
    data = graph.nodes[node]
    return int(data["parts"]) if data["kind"] == "part" else 0


def _block_tree(graph: nx.Graph) -> tuple[nx.Graph, set[str]]:
    """Return the blocks and the cut nodes as a forest; a block is a number."""
    cuts = set(nx.articulation_points(graph))
    tree = nx.Graph()
    tree.add_nodes_from(cuts, weight=0)
    for n, block in enumerate(nx.biconnected_components(graph)):
        inner = sum(_weight(graph, v) for v in block if v not in cuts)
        tree.add_node(n, weight=inner)
        tree.add_edges_from((n, v) for v in block if v in cuts)
    for cut in cuts:
        tree.nodes[cut]["weight"] = _weight(graph, cut)
    return tree, cuts


def _below(
    tree: nx.Graph,
) -> tuple[dict[Hashable, int], dict[Hashable, Hashable], dict[Hashable, int]]:
    """Return what hangs below each node of a forest, its parent, and its whole tree's weight."""
    below: dict[Hashable, int] = {}
    parent: dict[Hashable, Hashable] = {}
    whole: dict[Hashable, int] = {}
    for piece in nx.connected_components(tree):
        root = next(iter(piece))
        order = list(nx.dfs_preorder_nodes(tree, root))
        parent.update({v: u for u, v in nx.dfs_edges(tree, root)})
        for node in order:
            below[node] = tree.nodes[node]["weight"]
        for node in reversed(order[1:]):
            below[parent[node]] += below[node]
        whole.update(dict.fromkeys(piece, below[root]))
    return below, parent, whole


def articulation_points(graph: nx.MultiDiGraph, least: str = "unknown") -> tuple[CutPoint, ...]:
    """Return every interface and part whose loss splits what it joins, the worst first.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        The graph of fits.
    least : {"fits", "unknown", "fails"}
        The least verdict of a joint that holds anything together.
    """
    plain = parts_and_interfaces(graph, least)
    tree, cuts = _block_tree(plain)
    below, parent, whole = _below(tree)
    found = []
    for cut in cuts:
        pieces = [below[b] for b in tree[cut] if b != parent.get(cut)]
        if cut in parent:
            pieces.append(whole[cut] - below[cut])
        pieces.sort(reverse=True)
        found.append(CutPoint((cut,), sum(pieces[1:]), tuple(pieces)))
    return tuple(sorted(found, key=lambda c: (-c.cut_off, c.nodes)))


def bridges(graph: nx.MultiDiGraph, least: str = "unknown") -> tuple[CutPoint, ...]:
    """Return every joint between two interfaces whose loss splits what it joins, the worst first.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        The graph of fits.
    least : {"fits", "unknown", "fails"}
        The least verdict of a joint that holds anything together.
    """
    plain = parts_and_interfaces(graph, least)
    tree, cuts = _block_tree(plain)
    below, parent, whole = _below(tree)
    # A bridge is a block of its own; it is found again by its two ends.
    block_of = {frozenset(block): n for n, block in enumerate(nx.biconnected_components(plain))}
    found = []
    for a, b in nx.bridges(plain):
        data = plain.edges[a, b]
        if data["kind"] != "joint":
            continue
        block = block_of[frozenset((a, b))]
        child = next((v for v in (a, b) if v in cuts and parent.get(v) == block), None)
        alone = a if a not in cuts else b  # the end that hangs alone, where no side goes on
        side = _weight(plain, alone) if child is None else below[child]
        pieces = sorted((side, whole[block] - side), reverse=True)
        found.append(CutPoint(tuple(sorted((a, b))), pieces[1], tuple(pieces), data["joints"]))
    return tuple(sorted(found, key=lambda c: (-c.cut_off, c.nodes)))
