"""Views of the graph of fits: by interface, by role, by part, of some parts only."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import networkx as nx

#: What counts as a joint, by the least that is asked for.
_LEAST: Mapping[str, tuple[str, ...]] = {
    "fits": ("fits",),
    "unknown": ("fits", "unknown"),
    "fails": ("fits", "unknown", "fails"),
}


def nodes_of(graph: nx.Graph, kind: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the nodes of a kind, with their attributes."""
    return ((n, data) for n, data in graph.nodes(data=True) if data["kind"] == kind)


def edges_of(graph: nx.Graph, kind: str) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield the edges of a kind, with their attributes."""
    return ((a, b, data) for a, b, data in graph.edges(data=True) if data["kind"] == kind)


def joints_of(graph: nx.Graph, least: str = "unknown") -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield the joints between interfaces that come to `least` at least."""
    wanted = _LEAST[least]
    return ((a, b, d) for a, b, d in edges_of(graph, "joint") if d["verdict"] in wanted)


def interfaces_of(graph: nx.MultiDiGraph) -> dict[str, tuple[str, ...]]:
    """Return the interfaces of each part, by the part's node."""
    found: dict[str, tuple[str, ...]] = {}
    for node, _ in nodes_of(graph, "part"):
        of = (i for f in graph.successors(node) for i in graph.successors(f))
        found[node] = tuple(i for i in of if graph.nodes[i]["kind"] == "interface")
    return found


def by_interface(graph: nx.MultiDiGraph, least: str = "unknown") -> nx.MultiDiGraph:
    """Return interfaces and the joints between them, nothing else.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        From :func:`fitgraph.graph.fit_graph.fit_graph`.
    least : {"fits", "unknown", "fails"}
        The least verdict of a joint that is shown.
    """
    view = nx.MultiDiGraph(**graph.graph)
    view.add_nodes_from(nodes_of(graph, "interface"))
    view.add_edges_from((a, b, d["joint"], d) for a, b, d in joints_of(graph, least))
    return view


def by_role(graph: nx.MultiDiGraph, least: str = "unknown") -> nx.Graph:
    """Return roles, and between two the joints there are.

    An edge has ``joints`` (their names, joined by commas), and ``fits`` and ``unknown``: how many
    pairs of interfaces come to that. A role has its number of ``parts`` and ``interfaces``.
    """
    view = nx.Graph(**graph.graph)
    for _, data in nodes_of(graph, "part"):
        role = data["role"]
        if role not in view:
            view.add_node(role, kind="role", parts=0, interfaces=0)
        view.nodes[role]["parts"] += not data["services"]
    for _, data in nodes_of(graph, "interface"):
        view.nodes[data["role"]]["interfaces"] += 1
    names: dict[tuple[str, str], dict[str, None]] = {}
    for a, b, data in joints_of(graph, least):
        ends = graph.nodes[a]["role"], graph.nodes[b]["role"]
        if not view.has_edge(*ends):
            view.add_edge(*ends, kind="joints", joints="", fits=0, unknown=0, fails=0)
        view.edges[ends][data["verdict"]] += 1
        key = (min(ends), max(ends))
        names.setdefault(key, {}).setdefault(data["joint"])
        view.edges[ends]["joints"] = ", ".join(names[key])
    return view


def parts_and_interfaces(
    graph: nx.MultiDiGraph, least: str = "unknown", *, fold: bool = False
) -> nx.Graph:
    """Return parts as they are, their interfaces, and the joints, as a plain graph.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        The graph of fits.
    least : {"fits", "unknown", "fails"}
        The least verdict of a joint that counts.
    fold : bool
        Whether parts of a role with the same interfaces are one node, named after the first,
        with ``skus`` (joined by commas), ``parts``, ``stock`` and ``owned`` of all.
    """
    view = nx.Graph(**graph.graph)
    view.add_nodes_from(nodes_of(graph, "interface"))
    folded: dict[tuple[str, tuple[str, ...]], str] = {}
    skus: dict[str, list[str]] = {}
    for node, interfaces in interfaces_of(graph).items():
        data = graph.nodes[node]
        if data["services"]:
            continue
        key = (data["role"], interfaces)
        home = folded.setdefault(key, node) if fold else node
        skus.setdefault(home, []).append(data["sku"])
        if home == node:
            view.add_node(node, **data, parts=0)
            view.add_edges_from((node, i, {"kind": "of"}) for i in interfaces)
        else:
            view.nodes[home]["stock"] += data["stock"]
            view.nodes[home]["owned"] += data["owned"]
    view.remove_nodes_from([n for n, d in view.nodes(data=True) if "sku" not in d and not view[n]])
    for home, names in skus.items():
        view.nodes[home]["parts"] = len(names)
        view.nodes[home]["skus"] = ",".join(names)
    for a, b, data in joints_of(graph, least):
        if a not in view or b not in view:
            continue  # only what a service makes has it
        if not view.has_edge(a, b):
            view.add_edge(a, b, kind="joint", joints=data["joint"])
        else:
            view.edges[a, b]["joints"] += f",{data['joint']}"
    return view


def only(graph: nx.MultiDiGraph, keep: Callable[[Mapping[str, Any]], bool]) -> nx.MultiDiGraph:
    """Return the graph of some parts: those, their features, and the interfaces these have.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        The graph of fits.
    keep : callable
        Is given a part's attributes.
    """
    kept: set[str] = set()
    for node, data in nodes_of(graph, "part"):
        if keep(data):
            kept.add(node)
            for feature in graph.successors(node):
                if graph.nodes[feature]["kind"] == "feature":
                    kept.add(feature)
                    kept.update(graph.successors(feature))
    kept |= {n for n, d in graph.nodes(data=True) if d["kind"] in ("place", "hyper")}
    view = nx.MultiDiGraph(**graph.graph)
    view.add_nodes_from((node, data) for node, data in graph.nodes(data=True) if node in kept)
    view.add_edges_from(
        (a, b, key, data)
        for a in view
        for b, keys in graph.adj[a].items()
        if b in kept
        for key, data in keys.items()
    )
    counted: dict[str, list[float]] = {}
    for node, interfaces in interfaces_of(view).items():
        data = view.nodes[node]
        if not data["services"]:
            for i in interfaces:
                sums = counted.setdefault(i, [0, 0, 0.0])
                sums[0] += 1
                sums[1] += data["stock"]
                sums[2] += data["owned"]
    for node, _ in list(nodes_of(view, "interface")):
        parts, stock, owned = counted.get(node, (0, 0, 0.0))
        view.nodes[node].update(parts=int(parts), stock=int(stock), owned=float(owned))
    return view


def in_stock(graph: nx.MultiDiGraph) -> nx.MultiDiGraph:
    """Return the graph of what is on the shelf."""
    return only(graph, lambda part: part["stock"] > 0)


def owned(graph: nx.MultiDiGraph) -> nx.MultiDiGraph:
    """Return the graph of what riders who asked own."""
    return only(graph, lambda part: part["owned"] > 0)
