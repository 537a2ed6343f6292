"""Parts, features and joints as a networkx graph.

Nodes are parts (``part:SKU``) and their features (``feature:SKU/name``);
an edge of kind ``has`` joins a part to its feature. An edge of kind ``joint``
joins two features of different parts that a rule compares, with its verdict
and margin. Keys are ordinary word features, joined to the lock they need.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import networkx as nx
import numpy as np

from fitgraph.graph.joints import asked, judge_pairs
from fitgraph.graph.options import plain
from fitgraph.model import Catalogue, Joint, Part, Presence, Reference, Verdict


def part_node(sku: str) -> str:
    """Return the node of a part."""
    return f"part:{sku}"


def feature_node(sku: str, feature: str) -> str:
    """Return the node of a part's feature."""
    return f"feature:{sku}/{feature}"


def _feature_of(reference: Reference) -> str:
    return reference.feature or reference.name


def _sizes(part: Part, feature: str) -> dict[str, Any]:
    """Return a feature's dimensions as plain attributes, which every format can hold."""
    found = part.features[feature]
    sizes: dict[str, Any] = {}
    for name, dimension in found.lengths.items():
        if dimension.known:
            sizes[f"{name}_lo_mm"] = dimension.lo
            sizes[f"{name}_hi_mm"] = dimension.hi
        sizes[f"{name}_basis"] = dimension.basis.word
    for name, word in found.words.items():
        sizes[name] = word.value or "unknown"
    return sizes


def _pair(joint: Joint) -> tuple[Reference, Reference] | None:
    """Return the two references of different roles that a joint compares."""
    first, *rest = joint.arguments.values() if joint.arguments else (None,)
    if first is None:
        return None
    for other in rest:
        if other.role != first.role:
            return first, other
    return None


def fit_graph(catalogue: Catalogue, skus: Iterable[str] | None = None) -> nx.MultiGraph:
    """Return the graph of parts, features and the joints between them.

    Parameters
    ----------
    catalogue : Catalogue
        Where the parts come from.
    skus : iterable of str, optional
        The parts to show; all by default.

    Returns
    -------
    networkx.MultiGraph
        A joint's edge carries ``joint``, ``rule``, ``verdict`` (fits, unknown;
        fails only where `skus` names the parts) and ``margin_mm``. Conditions
        on further parts are not looked at here: an edge says that the two
        features would mate.
    """
    chosen = list(catalogue.parts if skus is None else dict.fromkeys(skus))
    parts = {sku: catalogue.parts[sku] for sku in chosen}
    graph = nx.MultiGraph(trade=catalogue.vocabulary.trade)
    for sku, part in parts.items():
        graph.add_node(
            part_node(sku), kind="part", role=part.role, name=part.name, maker=part.maker
        )
        for name, feature in part.features.items():
            if feature.presence is Presence.ABSENT:
                continue
            kind = catalogue.vocabulary.roles[part.role].features[name]
            graph.add_node(
                feature_node(sku, name),
                kind=kind.kind,
                feature=name,
                presence=feature.presence.name.lower(),
                **_sizes(part, name),
            )
            graph.add_edge(part_node(sku), feature_node(sku, name), kind="has")
    for joint in asked(catalogue.vocabulary.joints, tidy=False):
        pair = _pair(joint)
        if pair is None:
            continue
        for one, other, verdict, margin in mates(catalogue, joint, parts):
            if verdict is Verdict.FAILS and skus is None:
                continue
            ends = []
            for sku, reference in ((one, pair[0]), (other, pair[1])):
                node = feature_node(sku, _feature_of(reference))
                if node not in graph:  # an attribute of the part, such as its maker
                    graph.add_node(node, kind="word", feature=_feature_of(reference))
                    graph.add_edge(part_node(sku), node, kind="has")
                ends.append(node)
            graph.add_edge(
                *ends,
                key=joint.name,
                kind="joint",
                joint=joint.name,
                rule=joint.rule,
                verdict=verdict.word,
                **({} if margin is None else {"margin_mm": margin}),
            )
    return graph


def mates(
    catalogue: Catalogue, joint: Joint, parts: Mapping[str, Part]
) -> Iterable[tuple[str, str, Verdict, float | None]]:
    """Yield every pair of parts that a joint compares, with its verdict and margin.

    Conditions on other parts than the two are taken to hold.
    """
    pair = _pair(joint)
    if pair is None:
        return
    first, second = pair
    roles = (first.role, second.role)
    bare = replace(joint, when=tuple(c for c in joint.when if c.role in roles))
    options = {r: [plain(p) for p in parts.values() if p.role == r] for r in roles}
    if not all(options.values()):
        return
    ones, others = (options[role] for role in bare.roles)
    verdicts, margins, there = judge_pairs(bare, ones, others)
    for i, j in np.argwhere(there != Presence.ABSENT):
        pieces = {o.role: o.label for o in (ones[i], others[j])}
        margin = float(margins[i, j])
        yield (
            pieces[first.role],
            pieces[second.role],
            Verdict(int(verdicts[i, j])),
            None if math.isnan(margin) else margin,
        )


def exported(graph: nx.MultiGraph, *, as_json: bool) -> dict[str, Any] | str:
    """Return the graph as node-link data for JSON, or as GraphML text.

    Parameters
    ----------
    graph : networkx.MultiGraph
        From :func:`fit_graph`.
    as_json : bool
        Node-link data (``json.dumps`` takes it) or, if not, GraphML.
    """
    if as_json:
        data: dict[str, Any] = nx.node_link_data(graph, edges="edges")
        return data
    return "\n".join(nx.generate_graphml(graph))
