"""Questions of the graph of fits, against networkx on the plain graph and pairs judged singly."""

from __future__ import annotations

import datetime
import itertools
import random
from collections import Counter
from dataclasses import replace
from types import MappingProxyType

import networkx as nx
import pytest
from scipy.stats import entropy

from fitgraph.catalogue import Loaded, demo_folder, load
from fitgraph.graph.agreement import adjusted_rand_index, normalised_mutual_information
from fitgraph.graph.around import around
from fitgraph.graph.cut_points import articulation_points, bridges
from fitgraph.graph.differences import differences, on_day
from fitgraph.graph.families import SEED, communities, families, named_kinds
from fitgraph.graph.fit_graph import fit_graph, mates
from fitgraph.graph.hubs import hubs, weighted_betweenness
from fitgraph.graph.interfaces import between_two, pair_joints
from fitgraph.graph.islands import islands
from fitgraph.graph.near_misses import closers, near_misses
from fitgraph.graph.options import length_of, plain
from fitgraph.graph.said import judge
from fitgraph.graph.views import in_stock, interfaces_of, parts_and_interfaces
from fitgraph.mechanics.rules import RULES
from fitgraph.model import Catalogue, Verdict
from tests.part_pairs import by_part
from tests.turns import turns


@pytest.fixture(scope="module")
def loaded() -> Loaded:
    return load(demo_folder())


@pytest.fixture(scope="module")
def demo(loaded: Loaded) -> Catalogue:
    return loaded.catalogue


@pytest.fixture(scope="module")
def graph(demo: Catalogue) -> nx.MultiDiGraph:
    return fit_graph(demo)


def some_graphs(demo: Catalogue, count: int) -> list[nx.MultiDiGraph]:
    """Return graphs of random handfuls of the demo's parts."""
    rng = random.Random(4)
    skus = list(demo.parts)
    return [fit_graph(demo, rng.sample(skus, rng.randint(10, 60))) for _ in range(count)]


def parts_in(plain_graph: nx.Graph, nodes: set[str]) -> int:
    return sum(plain_graph.nodes[n]["kind"] == "part" for n in nodes)


@pytest.mark.some(1)
@pytest.mark.parametrize("least", ["fits", "unknown"])
def test_cut_points_are_those_of_networkx_and_cut_off_what_removal_does(
    demo: Catalogue, least: str
) -> None:
    met = Counter[str]()
    for graph in some_graphs(demo, 25):
        view = parts_and_interfaces(graph, least)
        found = articulation_points(graph, least)
        assert {p.nodes[0] for p in found} == set(nx.articulation_points(view))
        for point in found[:8]:
            home = nx.node_connected_component(view, point.nodes[0])
            rest = view.subgraph(home - set(point.nodes))
            pieces = sorted(
                (parts_in(view, p) for p in nx.connected_components(rest)), reverse=True
            )
            assert list(point.pieces) == pieces and point.cut_off == sum(pieces[1:])
        joints = bridges(graph, least)
        assert {frozenset(b.nodes) for b in joints} == {
            frozenset(e) for e in nx.bridges(view) if view.edges[e]["kind"] == "joint"
        }
        for bridge in joints[:8]:
            home = nx.node_connected_component(view, bridge.nodes[0])
            rest = nx.Graph(view.subgraph(home))
            rest.remove_edge(*bridge.nodes)
            pieces = sorted(
                (parts_in(view, p) for p in nx.connected_components(rest)), reverse=True
            )
            assert list(bridge.pieces) == pieces and bridge.cut_off == pieces[1]
        met.update(points=len(found), bridges=len(joints))
    assert met["points"] > 50 and met["bridges"] > 20


def test_betweenness_is_that_of_networkx_with_ends_in_their_numbers() -> None:
    """A weight of n is n leaves on the node, between which all shortest ways are counted."""
    for seed in range(20):
        rng = random.Random(seed)
        base = nx.gnm_random_graph(12, 20, seed=seed)
        weights = {n: rng.choice([0, 0, 1, 2, 3]) for n in base}
        grown, leaves = nx.Graph(base), []
        for node, weight in weights.items():
            for k in range(weight):
                leaves.append((node, k))
                grown.add_edge(node, (node, k))
        wanted = nx.betweenness_centrality_subset(grown, leaves, leaves)
        own = Counter({n: w * (w - 1) / 2 for n, w in weights.items()})
        ours = weighted_betweenness(base, {n: float(w) for n, w in weights.items()})
        for node, weight in weights.items():
            # On the grown graph, a node also stands between its own leaves and all others.
            reached = sum(weights[m] for m in nx.node_connected_component(base, node)) - weight
            assert ours[node] + own[node] + weight * reached == pytest.approx(wanted[node])


def test_unweighted_betweenness_is_that_of_networkx(graph: nx.MultiDiGraph) -> None:
    view = parts_and_interfaces(graph, fold=True)
    nodes = sorted(view)[::4]
    small = nx.Graph(view.subgraph(nodes))
    wanted = nx.betweenness_centrality(small, normalized=False)
    assert weighted_betweenness(small, dict.fromkeys(small, 1.0)) == pytest.approx(wanted)


def test_hubs_are_shares_of_the_ways_between_what_riders_own(graph: nx.MultiDiGraph) -> None:
    found = hubs(graph)
    shares = [h.share for h in found]
    assert shares == sorted(shares, reverse=True) and 0 < shares[-1] <= shares[0] < 1
    assert graph.nodes[found[0].node]["kind"] == "interface"


def test_communities_are_those_of_networkx(demo: Catalogue, graph: nx.MultiDiGraph) -> None:
    view, found = communities(graph)
    again = nx.community.louvain_communities(
        parts_and_interfaces(graph, "fits"), weight=None, seed=SEED
    )
    assert [set(c) for c in again] == found
    told = families(graph, demo)
    assert told.modularity == pytest.approx(nx.community.modularity(view, found, weight=None))
    assert sorted(s for f in told.families for s in f) == sorted(demo.parts)


def test_families_against_the_named_ones(demo: Catalogue, graph: nx.MultiDiGraph) -> None:
    """The systems of forks, clamps and kits are found back to a good part; bars' families not.

    All bars share grips and end plugs, which hold them together whatever their lower end is.
    """
    told = {c.grouping: c for c in families(graph, demo).compared}
    assert set(told) == {"system", "family"}
    assert 0.3 < told["system"].rand < 1 and 0.5 < told["system"].information < 1
    assert -0.1 < told["family"].rand < 0.2
    for name, compared in told.items():
        kinds = named_kinds(demo, name)
        assert compared.parts == len(kinds)
        assert {k: sum(row.values()) for k, row in compared.kinds.items()} == Counter(
            kinds.values()
        )


def test_agreement_is_counted_over_pairs_and_entropies() -> None:
    rng = random.Random(9)
    for _ in range(20):
        n = rng.randint(2, 30)
        one, other = ([rng.randrange(4) for _ in range(n)] for _ in range(2))
        pairs = list(itertools.combinations(range(n), 2))
        both = sum(one[i] == one[j] and other[i] == other[j] for i, j in pairs)
        a, b = (sum(x[i] == x[j] for i, j in pairs) for x in (one, other))
        expected = a * b / len(pairs)
        if (a + b) / 2 != expected:
            index = (both - expected) / ((a + b) / 2 - expected)
            assert adjusted_rand_index(one, other) == pytest.approx(index)
        h = [entropy(list(Counter(x).values())) for x in (one, other, zip(one, other, strict=True))]
        if h[0] + h[1]:
            shared = (h[0] + h[1] - h[2]) / ((h[0] + h[1]) / 2)
            assert normalised_mutual_information(one, other) == pytest.approx(shared, abs=1e-12)


def test_around_is_what_mates_pair_by_pair_step_by_step(demo: Catalogue) -> None:
    rng = random.Random(2)
    for _ in range(6):
        skus = rng.sample(list(demo.parts), 40)
        graph = fit_graph(demo, skus, services=False)
        steps = nx.Graph(by_part(graph, skus))
        start = skus[0]
        far = nx.single_source_shortest_path_length(steps, f"part:{start}", cutoff=3)
        found = around(graph, start, 3)
        assert {n.label: n.step for n in found} == {
            n.removeprefix("part:"): d for n, d in far.items() if d
        }
        for near in found:
            edges = steps.get_edge_data(f"part:{near.behind}", f"part:{near.label}")
            assert edges is not None
    with pytest.raises(KeyError):
        around(graph, "NO-SUCH")


def test_islands_are_the_pieces_of_the_plain_graph(demo: Catalogue) -> None:
    apart = 0
    for graph in some_graphs(demo, 12):
        found = islands(graph, "fits")
        skus = [
            graph.nodes[n]["sku"] for n in interfaces_of(graph) if not graph.nodes[n]["services"]
        ]
        pairs = nx.Graph(by_part(graph, skus, "fits"))
        pieces = [sorted(n[5:] for n in p) for p in nx.connected_components(pairs)]
        assert sorted(s for p in pieces if len(p) == 1 for s in p) == sorted(found.alone)
        assert sorted(p for p in pieces if len(p) > 1) == sorted(map(list, found.groups))
        apart += len(found.alone)
    assert apart > 5


def test_near_misses_are_the_pairs_that_lack_so_little(demo: Catalogue) -> None:
    """Every pair of parts, joint by joint, one at a time."""
    mm = 0.1
    wanted = set()
    for joint in pair_joints(demo.vocabulary.joints):
        rule, bare = RULES[joint.rule], between_two(joint)
        for one, other, verdict, margin in mates(demo, joint, demo.parts):
            if verdict is not Verdict.FAILS or margin is None or margin < -mm - 1e-9:
                continue
            chosen = {demo.parts[s].role: plain(demo.parts[s]) for s in (one, other)}
            sizes = [
                length_of(chosen[r.role], r)
                for n, r in joint.arguments.items()
                if n not in (*rule.optional, *rule.may_lack, *rule.words)
            ]
            if all(s is not None and s.known for s in sizes):
                assert judge(bare, chosen).margin == margin
                wanted.add((joint.name, one, other, margin))
    found = {
        (m.joint.name, one, other, m.margin_mm)
        for m in near_misses(demo, mm)
        for one, other in itertools.product(*m.parts)
    }
    assert found == wanted and len(found) > 30


def test_what_closes_a_near_miss_does(demo: Catalogue) -> None:
    found = near_misses(demo, 3.2)
    kinds: Counter[str] = Counter()
    for miss in [*found[:40:4], *(m for m in found if m.joint.name == "clamp-on-bar")][
        : turns(60, 25)
    ]:
        for closer in closers(miss, demo):
            assert closer.verdict is not Verdict.FAILS
            kinds[closer.kind] += 1
            if closer.kind == "size":
                assert closer.by_mm is not None and closer.size is not None
                assert abs(closer.by_mm) >= -miss.margin_mm - 1e-9
    assert kinds["size"] and kinds["service"] and kinds["adapter"]


def test_the_first_near_miss_of_the_demo(demo: Catalogue) -> None:
    """A grip of 159.95 to 160.05 mm on a bar's end of 159.87 to 159.93 mm: 0.02 mm too long."""
    first = near_misses(demo, 0.1)[0]
    assert first.parts == (("BAR-SKE-01",), ("GRIP-SKE-03",))
    one, other = (length_of(o, r) for o, r in zip(first.options, first.ends, strict=True))
    assert one is not None and other is not None
    assert first.margin_mm == pytest.approx(one.hi - other.lo - first.joint.limits["least"])
    assert first.margin_mm == pytest.approx(-0.02)


def test_differences_are_what_was_changed(demo: Catalogue) -> None:
    first, second, third = list(demo.parts)[:3]
    parts = {s: p for s, p in demo.parts.items() if s != first}
    parts[second] = replace(parts[second], price=1)
    parts["NEW-1"] = replace(parts[third], sku="NEW-1")
    by = {r: tuple(p for p in parts.values() if p.role == r) for r in demo.vocabulary.roles}
    other = replace(demo, parts=MappingProxyType(parts), by_role=MappingProxyType(by))
    found = differences(fit_graph(demo, services=False), fit_graph(other, services=False))
    assert (found["part"].come, found["part"].gone) == (("part:NEW-1",), (f"part:{first}",))
    (changed,) = found["part"].changed
    assert changed.name == f"part:{second}" and changed.after == {"price": 1}
    same = differences(fit_graph(demo), fit_graph(demo))
    assert not any(same.values())


def test_two_days_differ_by_the_shelf(loaded: Loaded, graph: nx.MultiDiGraph) -> None:
    counts = loaded.supply.counts
    day = sorted(counts)[1]
    before = on_day(loaded.catalogue, counts, day + datetime.timedelta(days=1))
    held = {s for s, n in counts[day].items() if n > 0 and s in loaded.catalogue.parts}
    now = {s for s, p in loaded.catalogue.parts.items() if p.stock > 0}
    found = differences(in_stock(fit_graph(before)), in_stock(graph))["part"]
    plain_parts = {n[5:] for n in found.come if " + " not in n}
    assert plain_parts == now - held
    assert {n[5:] for n in found.gone if " + " not in n} == held - now
    with pytest.raises(LookupError):
        on_day(loaded.catalogue, counts, datetime.date(1999, 1, 1))
