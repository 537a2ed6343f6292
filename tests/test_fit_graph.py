"""The fit graph: its edges are the joints' own verdicts, and it survives export."""

from __future__ import annotations

import itertools
import json

import networkx as nx
import pytest

from fitgraph.catalogue import demo_folder, load
from fitgraph.graph.adapter_paths import adapter_paths, mating_graph
from fitgraph.graph.fit_graph import exported, fit_graph, part_node
from fitgraph.graph.options import empty, plain
from fitgraph.graph.said import judge
from fitgraph.model import Catalogue, Fill


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return load(demo_folder()).catalogue


@pytest.fixture(scope="module")
def graph(demo: Catalogue) -> nx.MultiGraph:
    return fit_graph(demo)


def test_every_part_is_a_node_with_its_features(demo: Catalogue, graph: nx.MultiGraph) -> None:
    for sku, part in demo.parts.items():
        assert graph.nodes[part_node(sku)]["role"] == part.role
        names = {graph.nodes[n]["feature"] for n in graph.neighbors(part_node(sku))}
        present = {n for n, f in part.features.items() if f.presence.name != "ABSENT"}
        assert present <= names


def test_every_role_mates_with_another(demo: Catalogue, graph: nx.MultiGraph) -> None:
    mating = {
        graph.nodes[part]["role"]
        for part in (n for n in graph if n.startswith("part:"))
        for feature in graph.neighbors(part)
        if any(d["kind"] == "joint" for _, _, d in graph.edges(feature, data=True))
    }
    assert mating == set(demo.vocabulary.roles)


def test_edges_say_what_the_joint_says(demo: Catalogue, graph: nx.MultiGraph) -> None:
    """Against the joint judged one pair at a time, with every other role empty."""
    checked = 0
    for a, b, data in graph.edges(data=True):
        if data["kind"] != "joint" or data["joint"] not in ("headset-in-deck", "axle-in-bearing"):
            continue
        joint = demo.vocabulary.joint(data["joint"])
        pair = [demo.parts[n.removeprefix("feature:").split("/")[0]] for n in (a, b)]
        chosen = {role: empty(role) for role in joint.roles}
        chosen.update({p.role: plain(p) for p in pair})
        said = judge(joint, chosen)
        assert said.verdict.word == data["verdict"]
        assert (
            said.margin == pytest.approx(data["margin_mm"])
            if said.margin is not None
            else ("margin_mm" not in data)
        )
        checked += 1
    assert checked > 50


def test_graphml_and_node_link_hold_the_same_graph(demo: Catalogue) -> None:
    skus = [p.sku for p in demo.of("bar")[:4]] + [p.sku for p in demo.of("clamp")[:4]]
    small = fit_graph(demo, skus)
    read = nx.parse_graphml(str(exported(small, as_json=False)), force_multigraph=True)
    assert set(read) == set(small)
    assert read.number_of_edges() == small.number_of_edges()
    text = json.dumps(exported(small, as_json=True))
    back = nx.node_link_graph(json.loads(text), edges="edges")
    assert nx.utils.graphs_equal(back, small)


def test_adapter_paths_are_paths_of_joints_that_do_not_fail(demo: Catalogue) -> None:
    """Some oversized bar reaches a turned-down fork only through an adapter sleeve.

    Common practice, no source: a maker's adapter shim takes a larger bore.
    """
    through = 0
    for bar in demo.of("bar"):
        for fork in demo.of("fork"):
            if bar.material is None or through:
                continue
            ways = list(adapter_paths(demo, bar.sku, fork.sku, most_adapters=1))
            if not ways or len(ways[0]) == 2:
                continue
            graph = mating_graph(demo, bar.sku, fork.sku)
            for way in ways:
                assert way[0] == bar.sku and way[-1] == fork.sku
                assert all(graph.has_edge(*pair) for pair in itertools.pairwise(way))
                for between in way[1:-1]:
                    role = demo.parts[between].role
                    assert demo.vocabulary.roles[role].fill is Fill.ADAPTER
            through += 1
    assert through


def test_direct_way_comes_first(demo: Catalogue, graph: nx.MultiGraph) -> None:
    edge = next(
        (a, b)
        for a, b, d in graph.edges(data=True)
        if d["kind"] == "joint" and d["joint"] == "axle-in-bearing" and d["verdict"] == "fits"
    )
    one, other = (n.removeprefix("feature:").split("/")[0] for n in edge)
    assert next(iter(adapter_paths(demo, one, other))) == (one, other)
