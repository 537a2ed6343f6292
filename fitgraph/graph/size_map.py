"""The graph of fits by size: interfaces, the joints of diameters between them, and who has them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from typing import Any

import networkx as nx

from fitgraph.graph.fit_graph import fit_graph
from fitgraph.graph.interfaces import pair_joints, pair_of
from fitgraph.graph.views import by_interface, interfaces_of, joints_of
from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.model import Catalogue, Reference, Vocabulary
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class SizeMap:
    """What a map by size draws.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts and words are meant.
    view : networkx.MultiDiGraph
        Interfaces and joints; see :mod:`fitgraph.graph.fit_graph` for their attributes.
    parts : mapping of str to tuple of str
        The stock numbers that have each interface, by its node.
    interfaces : mapping of str to tuple of str
        The interfaces of each part, by its stock number.
    """

    catalogue: Catalogue
    view: nx.MultiDiGraph
    parts: Mapping[str, tuple[str, ...]]
    interfaces: Mapping[str, tuple[str, ...]]

    @property
    def vocabulary(self) -> Vocabulary:
        """Return the words of the trade."""
        return self.catalogue.vocabulary

    def around(self, role: str | None, also: Collection[Reference] = ()) -> SizeMap:
        """Return the part of the map that some joint of a role reaches; all of it for None.

        Parameters
        ----------
        role : str or None
            The role.
        also : collection of Reference
            Dimensions, such as those of a way, that are drawn as well.
        """
        if role is None:
            return self
        features = {(r.role, r.feature) for r in also}
        reached = {
            n
            for n, d in self.view.nodes(data=True)
            if d["role"] == role or (d["role"], d["feature"]) in features
        }
        kept = []
        for a, b, d in joints_of(self.view, "fails"):
            if role in (self.view.nodes[a]["role"], self.view.nodes[b]["role"]):
                reached |= {a, b}
                kept.append((a, b, d["joint"], d))
            elif features and {a, b} <= reached:
                kept.append((a, b, d["joint"], d))
        view = nx.MultiDiGraph(**self.view.graph)
        view.add_nodes_from((n, d) for n, d in self.view.nodes(data=True) if n in reached)
        view.add_edges_from(kept)
        return replace(self, view=view)


def drawn_joints(vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the joints of two diameters, which a map by size can show; without any, all."""
    pairs = pair_joints(vocabulary.joints)
    return tuple(j.name for j in pairs if "bore" in j.arguments) or tuple(j.name for j in pairs)


def drawn_roles(catalogue: Catalogue) -> frozenset[str]:
    """Return the roles whose parts a map by size can show."""
    words = catalogue.vocabulary
    named = {r for name in drawn_joints(words) for r in words.joint(name).roles}
    return frozenset(r for r in named if catalogue.of(r))


def size_map(
    catalogue: Catalogue, skus: Iterable[str] | None = None, *, misses_mm: float = 0.0
) -> SizeMap:
    """Return the interfaces and joints of a catalogue that a map by size draws.

    Parameters
    ----------
    catalogue : Catalogue
        Its parts as they are, and its words.
    skus : iterable of str, optional
        The parts that are drawn; all by default.
    misses_mm : float
        Joints that fail by no more than this [mm] are drawn as well.
    """
    graph = fit_graph(
        catalogue,
        skus,
        services=False,
        misses_mm=misses_mm,
        joints=drawn_joints(catalogue.vocabulary),
    )
    interfaces = {graph.nodes[p]["sku"]: found for p, found in interfaces_of(graph).items()}
    parts: dict[str, list[str]] = {}
    for sku, found in interfaces.items():
        for node in found:
            parts.setdefault(node, []).append(sku)
    return SizeMap(
        catalogue,
        by_interface(graph, "fails"),
        {node: tuple(skus) for node, skus in parts.items()},
        interfaces,
    )


Joints = list[tuple[str, str, Reference, Reference, dict[str, Any]]]


def joints_with_ends(view: nx.MultiDiGraph, vocabulary: Vocabulary) -> Joints:
    """Return the joints of a view, with the dimension that each brings together at either end."""
    found = []
    for a, b, data in joints_of(view, "fails"):
        pair = pair_of(vocabulary.joint(data["joint"]))
        if pair is not None:
            found.append((a, b, *pair, data))
    return found


def appears_at(joint: Mapping[str, Any]) -> float | None:
    """Return the tolerance from which a joint is drawn [mm]; None where it always is.

    At zero the joints that fit are drawn, and those of which it cannot be told. Below zero
    only what has so much to spare at its worst sizes stays; above, what lacks no more at its
    most favourable sizes comes.

    Examples
    --------
    >>> appears_at({"verdict": "fits", "margin_mm": 0.02, "most_mm": 0.3})
    -0.02
    >>> appears_at({"verdict": "fails", "margin_mm": -0.05})
    0.05
    """
    key = "most_mm" if joint["verdict"] == "unknown" else "margin_mm"
    margin = joint.get(key)
    return None if margin is None else round(-float(margin), 9) + 0.0


def drawn_at(joint: Mapping[str, Any], tolerance_mm: float) -> bool:
    """Return whether a joint is drawn at a tolerance [mm]."""
    least = appears_at(joint)
    return least is None or least <= tolerance_mm + EPSILON_MM
