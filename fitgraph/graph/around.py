"""What is around a part: what mates with it, what mates with that, step by step."""

from __future__ import annotations

import networkx as nx

from fitgraph.graph.fit_graph import part_node
from fitgraph.graph.views import edges_of, interfaces_of, joints_of
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Near:
    """A part near another.

    Parameters
    ----------
    label : str
        Its stock number, with the services behind it.
    role : str
        Its role.
    step : int
        Joints and services between the two at least.
    behind : str
        Label of a part one step nearer.
    joints : tuple of str
        Names of the joints that lead here from there; of the service where one does.
    verdict : str
        The best that one of these joints comes to.
    """

    label: str
    role: str
    step: int
    behind: str
    joints: tuple[str, ...]
    verdict: str


def _layered(graph: nx.MultiDiGraph, least: str) -> nx.DiGraph:
    """Return a graph in which a step leads out of one part's interface and into another's.

    So nobody goes from a bar to the next bar over the interface that both have.
    """
    steps = nx.DiGraph()
    for part, interfaces in interfaces_of(graph).items():
        steps.add_node(part)
        for interface in interfaces:
            steps.add_edge(part, ("out", interface), weight=0)
            steps.add_edge(("in", interface), part, weight=0)
    for a, b, _ in joints_of(graph, least):
        steps.add_edge(("out", a), ("in", b), weight=1)
        steps.add_edge(("out", b), ("in", a), weight=1)
    for a, b, _ in edges_of(graph, "service"):
        steps.add_edge(a, b, weight=1)
    return steps


def around(
    graph: nx.MultiDiGraph, label: str, steps: int = 1, least: str = "unknown"
) -> tuple[Near, ...]:
    """Return the parts within some steps of a part, the nearest first.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        The graph of fits.
    label : str
        A stock number, with `` + service`` behind it for a part after a service.
    steps : int
        How far to go; a joint or a service is a step.
    least : {"fits", "unknown", "fails"}
        The least verdict of a joint that leads on.

    Raises
    ------
    KeyError
        If the part is not in the graph.
    """
    start = part_node(label)
    if start not in graph:
        raise KeyError(label)
    layered = _layered(graph, least)
    before, distance = nx.dijkstra_predecessor_and_distance(layered, start, cutoff=steps)
    rank = ("fails", "unknown", "fits")
    found = []
    for node, far in distance.items():
        if not isinstance(node, str) or node == start:
            continue
        joints: dict[str, None] = {}
        verdict, behind = "fails", ""
        for into in before[node]:
            if isinstance(into, str):  # a service
                joints.setdefault(next(iter(graph[into][node])))
                behind, verdict = behind or into, "fits"
                continue
            for out in before[into]:
                pairs = (graph.get_edge_data(out[1], into[1]), graph.get_edge_data(into[1], out[1]))
                for data in (d for p in pairs for d in (p or {}).values()):
                    joints.setdefault(data["joint"])
                    verdict = max(verdict, data["verdict"], key=rank.index)
                behind = behind or before[out][0]
        found.append(
            Near(
                node.removeprefix("part:"),
                graph.nodes[node]["role"],
                int(far),
                behind.removeprefix("part:"),
                tuple(joints),
                verdict,
            )
        )
    return tuple(sorted(found, key=lambda n: (n.step, n.role, n.label)))
