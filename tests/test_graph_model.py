"""The graph of fits: what it holds against single pairs of parts, its views and its files."""

from __future__ import annotations

import itertools
import json
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from types import MappingProxyType

import networkx as nx
import pytest
import rdflib

from fitgraph.catalogue import load, shipped_folder
from fitgraph.draw.fit_map import default_lanes, fit_map_svg, layout
from fitgraph.graph.export import NAMESPACE, graphml, json_ld, node_link
from fitgraph.graph.fit_graph import fit_graph, mates, part_node
from fitgraph.graph.interfaces import between_two, hyper_joints, pair_joints, pair_of
from fitgraph.graph.options import plain, variants
from fitgraph.graph.said import judge
from fitgraph.graph.size_map import size_map
from fitgraph.graph.views import (
    by_interface,
    by_role,
    in_stock,
    interfaces_of,
    nodes_of,
    owned,
    parts_and_interfaces,
)
from fitgraph.model import Catalogue, Presence, Verdict
from tests.part_pairs import by_part
from tests.shared import the_demo


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return the_demo().catalogue


@pytest.fixture(scope="module")
def graph(demo: Catalogue) -> nx.MultiDiGraph:
    return fit_graph(demo)


def test_parts_features_and_figures_are_those_of_the_catalogue(
    demo: Catalogue, graph: nx.MultiDiGraph
) -> None:
    for sku, part in demo.parts.items():
        data = graph.nodes[part_node(sku)]
        assert (data["role"], data["stock"], data.get("price")) == (
            part.role,
            part.stock,
            part.price,
        )
        for name, feature in part.features.items():
            node = f"feature:{sku}/{name}"
            assert (node in graph) == (feature.presence is not Presence.ABSENT)
            if node not in graph:
                continue
            figures = graph.nodes[node]
            for dimension, size in feature.lengths.items():
                assert figures[f"{dimension}_basis"] == size.basis.word
                assert (f"{dimension}_lo_mm" in figures) == size.known
                if size.known:
                    assert figures[f"{dimension}_lo_mm"] == size.lo
                    assert figures[f"{dimension}_hi_mm"] == size.hi


@pytest.mark.parametrize("trade", ["demo", "hoses", "bench40"])
def test_interfaces_say_of_every_pair_what_its_joint_says(trade: str) -> None:
    """All pairs of parts, with services, one at a time; the graph knows interfaces alone."""
    catalogue = load(shipped_folder("data") / trade).catalogue
    graph = fit_graph(catalogue)
    words = catalogue.vocabulary
    options = {
        o.label: o
        for role in words.roles
        for part in catalogue.of(role)[:: 3 if trade == "demo" else 1]
        for o in variants(part, words)
    }
    has = {n.removeprefix("part:"): set(i) for n, i in interfaces_of(graph).items()}
    checked: Counter[str] = Counter()
    for joint in pair_joints(words.joints):
        pair, bare = pair_of(joint), between_two(joint)
        assert pair is not None
        sides = [[o for o in options.values() if o.role == r.role][:14] for r in pair]
        for one, other in itertools.product(*sides):
            said = judge(bare, {one.role: one, other.role: other})
            edges = [
                graph.edges[a, b, joint.name]
                for a, b in itertools.product(has[one.label], has[other.label])
                if graph.has_edge(a, b, joint.name)
            ]
            if said.there is Presence.ABSENT or said.verdict is Verdict.FAILS:
                assert edges == []
                continue
            assert len(edges) == 1 and edges[0]["verdict"] == said.verdict.word
            checked[said.verdict.word] += 1
            if said.verdict is Verdict.FITS and said.margin is not None:
                least, most = edges[0]["margin_mm"], edges[0]["most_mm"]
                assert least - 1e-9 <= said.margin <= most + 1e-9
    assert checked["fits"] > 20 and checked["unknown"] > 5


def test_no_joint_can_tell_an_interface_apart_and_any_two_are_told_apart(
    graph: nx.MultiDiGraph,
) -> None:
    """Two interfaces of one feature differ in some joint with some counterpart."""
    view = by_interface(graph)

    def says(node: str) -> frozenset[tuple[str, str, str]]:
        out = {(b, d["joint"], d["verdict"]) for _, b, d in view.out_edges(node, data=True)}
        into = {(a, d["joint"], d["verdict"]) for a, _, d in view.in_edges(node, data=True)}
        return frozenset(out | into)

    groups: dict[tuple[str, str], list[str]] = {}
    for node, data in view.nodes(data=True):
        groups.setdefault((data["role"], data["feature"]), []).append(node)
    same = [
        (a, b)
        for g in groups.values()
        for a, b in itertools.combinations(g, 2)
        if says(a) == says(b)
    ]
    # What is left differs in whether a joint is there at all, or fails where it is.
    assert len(same) < 0.02 * sum(len(g) * (len(g) - 1) / 2 for g in groups.values())


def test_services_lead_to_what_a_part_becomes(demo: Catalogue, graph: nx.MultiDiGraph) -> None:
    edges = [(a, b, d) for a, b, d in graph.edges(data=True) if d["kind"] == "service"]
    wanted = {
        (p.sku, o.label)
        for p in demo.parts.values()
        for o in variants(p, demo.vocabulary)
        if o.services
    }
    assert {(a[5:], b[5:]) for a, b, _ in edges} == wanted and wanted
    for a, b, data in edges:
        service = demo.vocabulary.services[data["service"]]
        assert (data["price"], graph.nodes[b]["services"]) == (service.price, service.name)
        assert graph.nodes[a]["sku"] == graph.nodes[b]["sku"]


def test_nests_and_stacks_ask_for_the_places_of_their_lengths(
    demo: Catalogue, graph: nx.MultiDiGraph
) -> None:
    joints = hyper_joints(demo.vocabulary.joints)
    assert {"nest", "stack", "present", "absent"} <= {j.rule for j in joints}
    for joint in joints:
        asks = list(graph.out_edges(f"joint:{joint.name}", data=True))
        places = {b for _, b, _ in asks}
        assert places >= {f"place:{r.role}.{r.feature}" for r in joint.measures}
        adds = sum(d["part"] == "adds" for *_, d in asks)
        assert adds == sum(s.sign > 0 for s in joint.spans)
        assert sum(d["part"] == "core" for *_, d in asks) == bool(joint.rings)
        steps = [d["step"] for *_, d in asks if d["part"] in ("core", "bore")]
        assert steps == sorted(steps)


def test_made_and_proposed_parts_are_told_apart(demo: Catalogue) -> None:
    sleeve = demo.of("sleeve")[0]
    graph = fit_graph(
        demo, made=[replace(sleeve, sku="M-1")], proposed=[replace(sleeve, sku="P-1", maker="")]
    )
    found = {s: graph.nodes[part_node(s)]["origin"] for s in (sleeve.sku, "M-1", "P-1")}
    assert found == {sleeve.sku: "catalogue", "M-1": "made", "P-1": "proposed"}
    at = interfaces_of(graph)
    assert at["part:M-1"] == at[part_node(sleeve.sku)]
    with pytest.raises(KeyError):
        fit_graph(demo, ["NO-SUCH"])


def test_views_hold_what_they_say(demo: Catalogue, graph: nx.MultiDiGraph) -> None:
    roles = by_role(graph)
    assert {n: d["parts"] for n, d in roles.nodes(data=True)} == {
        r: len(demo.of(r)) for r in demo.vocabulary.roles
    }
    wanted = {
        frozenset(r.role for r in pair_of(j) or ()) for j in pair_joints(demo.vocabulary.joints)
    }
    assert {frozenset(e) for e in roles.edges} <= wanted
    shelf = {d["sku"] for _, d in nodes_of(in_stock(graph), "part")}
    assert shelf == {p.sku for p in demo.parts.values() if p.stock > 0}
    riders = {d["sku"] for _, d in nodes_of(owned(graph), "part")}
    assert riders == {s for e in demo.enquiries for s in e.have}
    for view in (in_stock(graph), graph):
        parts = interfaces_of(view)
        counted = Counter(
            i for n, found in parts.items() if not view.nodes[n]["services"] for i in found
        )
        for node, data in nodes_of(view, "interface"):
            assert data["parts"] == counted[node]
    folded = parts_and_interfaces(graph, fold=True)
    assert sum(d["parts"] for n, d in folded.nodes(data=True) if d["kind"] == "part") == len(
        demo.parts
    )
    named = by_part(graph, ["FORK-VEN-04", "SLV-VEN-01"])
    assert {d["joint"] for *_, d in named.edges(data=True)} == {"sleeve-on-steerer", "sleeve-key"}


def test_mates_of_a_pair_are_judged_as_before(demo: Catalogue) -> None:
    joint = demo.vocabulary.joint("headset-in-deck")
    bare = between_two(joint)
    found = list(mates(demo, joint, demo.parts))
    assert len(found) > 50
    for one, other, verdict, margin in found[::7]:
        chosen = {demo.parts[s].role: plain(demo.parts[s]) for s in (one, other)}
        said = judge(bare, chosen)
        assert said.verdict is verdict and said.margin == margin


def test_files_hold_the_same_graph(demo: Catalogue) -> None:
    small = fit_graph(demo, [p.sku for r in ("bar", "clamp", "fork") for p in demo.of(r)[:5]])
    back = nx.node_link_graph(json.loads(json.dumps(node_link(small))), edges="edges")
    assert nx.utils.graphs_equal(back, small)
    read = nx.parse_graphml(graphml(small), force_multigraph=True)
    assert dict(read.nodes(data=True)) == dict(small.nodes(data=True))
    assert read.adj == small.adj


def test_json_ld_read_by_rdflib_is_the_same_graph(demo: Catalogue) -> None:
    small = fit_graph(demo, [p.sku for r in ("bar", "clamp", "sleeve") for p in demo.of(r)[:4]])
    triples = rdflib.Graph().parse(data=json.dumps(json_ld(small)), format="json-ld")
    back = nx.MultiDiGraph(**small.graph)
    name_of: dict[object, str] = {}

    def attributes(subject: object) -> dict[str, object]:
        found = {
            str(p).removeprefix(NAMESPACE): o.toPython() if isinstance(o, rdflib.Literal) else o
            for p, o in triples.predicate_objects(subject)  # type: ignore[arg-type]
            if p != rdflib.RDF.type
        }
        kind = str(triples.value(subject, rdflib.RDF.type))  # type: ignore[arg-type]
        return {**found, "kind": kind.removeprefix(NAMESPACE).removeprefix("edge-")}

    subjects = set(triples.subjects())
    for subject in subjects:
        data = attributes(subject)
        if "name_of_node" in data:
            name_of[subject] = str(data.pop("name_of_node"))
            back.add_node(name_of[subject], **data)
    for subject in subjects:
        data = attributes(subject)
        if "from" in data:
            ends = name_of[data.pop("from")], name_of[data.pop("to")]
            back.add_edge(*ends, data.pop("key"), **data)
    assert nx.utils.graphs_equal(back, small)


def test_hostile_names_stay_text(demo: Catalogue) -> None:
    bar = replace(demo.of("bar")[0], name='<script>"x"</script>\x00', maker="=1+1")
    parts = {**demo.parts, bar.sku: bar}
    graph = fit_graph(replace(demo, parts=MappingProxyType(parts)), [bar.sku])
    read = nx.parse_graphml(graphml(graph), force_multigraph=True)
    assert read.nodes[part_node(bar.sku)]["name"] == '<script>"x"</script>\ufffd'
    assert json.loads(json.dumps(json_ld(graph)))["@graph"]


def test_the_map_draws_every_interface_at_its_size(demo: Catalogue) -> None:
    found = size_map(demo, misses_mm=0.05)
    view, lanes = found.view, default_lanes(found)
    spots, (low, high) = layout(view, lanes)
    assert {n for n, _ in spots} == set(view) and low < high
    for lane in lanes:
        mids = sorted(
            (s.x, s.lo_mm + (s.hi_mm or 0))
            for (_, at), s in spots.items()
            if at == lane and s.lo_mm
        )
        assert [m for _, m in mids] == sorted(m for _, m in mids)
        at = [(s.x, s.y) for (_, on), s in spots.items() if on == lane]
        assert all(
            abs(a[0] - b[0]) + abs(a[1] - b[1]) > 12 for a, b in itertools.combinations(at, 2)
        )
    root = ET.fromstring(fit_map_svg(found))
    space = "{http://www.w3.org/2000/svg}"
    told = root.find(f"{space}desc")
    assert told is not None and "does not fit" in (told.text or "")
    lines = [e for e in root.iter(f"{space}path") if e.get("data-joint")]
    assert len(lines) == view.number_of_edges()
    for line in lines:
        dashed = line.get("stroke-dasharray")
        assert ("fg-fits" in (line.get("class") or "")) == (dashed is None)
        assert line.findtext(f"{space}title")
