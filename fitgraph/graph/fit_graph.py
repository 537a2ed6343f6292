"""The graph of fits: parts, features, interfaces, joints, services, as one networkx graph.

Every node and every edge has a ``kind``. All attributes are text, whole numbers, numbers or
truth values, so that every format can hold them; one that is not known is left out.

Nodes
-----
part
    ``part:SKU``, and ``part:SKU + service`` for a part after a service. ``sku``, ``services``
    (joined by `` + ``), ``role``, ``name``, ``maker``, ``material``, ``price`` and
    ``service_price`` (minor currency units), ``mass_g``, ``stock``, ``owned`` (how many
    enquiries name it), ``origin`` (catalogue, made or proposed).
feature
    ``feature:SKU/NAME``: ``role``, ``feature``, ``sort`` (bore, spigot, slot and so on),
    ``presence`` (present, unknown); for each length ``<dimension>_lo_mm`` and ``_hi_mm``; for
    each length and word ``<dimension>_basis``, where the figure came from; for each word
    ``<dimension>``. An attribute that a joint compares, such as the maker, is a feature as well.
interface
    ``interface:ROLE.FEATURE/SIZES``: features that no joint can tell apart. ``role``,
    ``feature``, ``sort``, ``sizes`` (in words), ``parts``, ``stock`` (pieces), ``owned``; for
    each length that its joints look at ``<feature>.<dimension>_lo_mm`` and ``_hi_mm``.
place
    ``place:ROLE.FEATURE``, or ``place:ROLE`` for the part as such: what a vocabulary knows.
    ``role``, ``feature``, ``sort``, ``title``.
hyper
    ``joint:NAME``: a joint that is no pairing of two features: a nest, a stack, or that
    something has to be there. ``joint``, ``title``, ``rule``, and its limits (``least_mm``, ...).

Edges, all directed
-------------------
has
    From a part to its feature.
of
    From a feature to its interface.
at
    From an interface to its place.
joint
    From one interface to another, the key is the joint's name. ``joint``, ``title``, ``rule``,
    ``verdict``, ``margin_mm`` (of the worst pair; of the most favourable where it fails) and
    ``most_mm``, and ``given``: the conditions on further parts that are taken to hold.
service
    From a part to what it becomes: ``service``, ``title``, ``price``, ``minutes``.
asks
    From a hyper node to a place: ``part`` (core, bore, outside, slot, adds, takes, subject, when,
    when not, or the rule's own argument) and ``step``, its order in the nest or the stack.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import networkx as nx
import numpy as np

from fitgraph.graph.interfaces import (
    Fits,
    Interface,
    feature_of,
    find_interfaces,
    hyper_joints,
    pair_of,
    size_text,
)
from fitgraph.graph.joints import judge_pairs
from fitgraph.graph.options import plain
from fitgraph.mechanics.rules import UNBOUNDED_MM
from fitgraph.model import (
    Catalogue,
    Feature,
    Joint,
    Option,
    Part,
    Presence,
    Verdict,
)

#: Where a part may come from.
CATALOGUE, MADE, PROPOSED = "catalogue", "made", "proposed"


def part_node(label: str) -> str:
    """Return the node of a part: its stock number, with the services behind it."""
    return f"part:{label}"


def feature_node(label: str, feature: str) -> str:
    """Return the node of a part's feature."""
    return f"feature:{label}/{feature}"


def interface_node(interface: Interface) -> str:
    """Return the node of an interface."""
    return f"interface:{interface.name}"


def place_node(role: str, feature: str | None) -> str:
    """Return the node of what a vocabulary knows of a role."""
    return f"place:{role}.{feature}" if feature else f"place:{role}"


def hyper_node(joint: Joint) -> str:
    """Return the node of a joint that is no link between two features."""
    return f"joint:{joint.name}"


def _figures(feature: Feature) -> dict[str, Any]:
    """Return a feature's figures and where each came from, as plain attributes."""
    sizes: dict[str, Any] = {}
    for name, dimension in feature.lengths.items():
        if dimension.known:
            sizes[f"{name}_lo_mm"] = dimension.lo
            sizes[f"{name}_hi_mm"] = dimension.hi
        sizes[f"{name}_basis"] = dimension.basis.word
    for name, word in feature.words.items():
        sizes[name] = word.value or "unknown"
        sizes[f"{name}_basis"] = word.basis.word
    return sizes


def owned_by(catalogue: Catalogue) -> Mapping[str, float]:
    """Return how many enquiries name each part as owned, by stock number."""
    found: dict[str, float] = {}
    for enquiry in catalogue.enquiries:
        for sku in enquiry.have:
            found[sku] = found.get(sku, 0.0) + enquiry.weight
    return MappingProxyType(found)


def _known(**values: Any) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value not in (None, "")}


def _sort(catalogue: Catalogue, role: str, feature: str) -> str:
    kind = catalogue.vocabulary.roles[role].features.get(feature)
    return "attribute" if kind is None else kind.kind


def _interface_attributes(
    fits: Fits, interface: Interface, owned: Mapping[str, float]
) -> dict[str, Any]:
    own = [
        (found[r], r)
        for found in (interface.sizes, interface.words)
        for r in found
        if feature_of(r) == interface.feature
    ]
    shapes = [fits.shapes[interface.role][k] for k in interface.shapes]
    parts = [p for s in shapes if not s.option.services for p in s.parts]
    sizes: dict[str, Any] = {}
    for reference, (lo, hi) in interface.sizes.items():
        sizes[f"{reference.feature}.{reference.name}_lo_mm"] = lo
        sizes[f"{reference.feature}.{reference.name}_hi_mm"] = hi
    return {
        "kind": "interface",
        "role": interface.role,
        "feature": interface.feature,
        "sort": _sort(fits.catalogue, interface.role, interface.feature),
        "sizes": size_text(
            [x for x, r in own if r in interface.sizes],  # type: ignore[misc]
            [x for x, r in own if r in interface.words],  # type: ignore[misc]
        ),
        "parts": len(parts),
        "stock": sum(p.stock for p in parts),
        "owned": sum(owned.get(p.sku, 0.0) for p in parts),
        **sizes,
    }


def _add_part(
    graph: nx.MultiDiGraph, catalogue: Catalogue, part: Part, option: Option, more: dict[str, Any]
) -> str:
    """Add a part, as it is or after services, with its features; return its label."""
    label = " + ".join((part.sku, *option.services))
    node = part_node(label)
    services = " + ".join(option.services)
    graph.add_node(
        node,
        kind="part",
        sku=part.sku,
        role=part.role,
        stock=part.stock,
        services=services,
        service_price=option.service_price,
        **_known(
            name=part.name,
            maker=part.maker,
            material=part.material,
            price=part.price,
            mass_g=part.mass_g if not services else replace(option, part=part).mass_g,
        ),
        **more,
    )
    # A service changes features alike in all parts of a shape; what it leaves is the part's own,
    # with its own word for where each figure came from.
    before = {} if option.part is None else option.part.features
    for name, feature in option.features.items():
        if feature is before.get(name):
            feature = part.features[name]
        if feature.presence is Presence.ABSENT:
            continue
        at = feature_node(label, name)
        graph.add_node(
            at,
            kind="feature",
            role=part.role,
            feature=name,
            sort=_sort(catalogue, part.role, name),
            presence=feature.presence.name.lower(),
            **_figures(feature),
        )
        graph.add_edge(node, at, "has", kind="has")
    return label


def _asks(joint: Joint) -> Iterator[tuple[str, str | None, str, int]]:
    """Yield the role and feature, the part it takes and the step of all that a joint asks for."""
    for name, reference in joint.arguments.items():
        yield reference.role, feature_of(reference), name, 0
    for step, ring in enumerate(joint.rings):
        if ring.bore is not None:
            yield ring.role, ring.bore.feature, "bore", step
        if ring.outside is not None:
            yield ring.role, ring.outside.feature, "outside" if step else "core", step
        if ring.slot is not None:
            yield ring.role, ring.slot.feature, "slot", step
    for step, span in enumerate(joint.spans):
        word = "adds" if span.sign > 0 else "takes"
        yield span.length.role, span.length.feature, word, step
    if joint.subject is not None:
        yield joint.subject.role, joint.subject.feature, "subject", 0
    for condition in dict.fromkeys(joint.conditions):
        word = "when" if condition.wanted else "when not"
        yield condition.role, condition.feature, word, 0


def _add_place(graph: nx.MultiDiGraph, catalogue: Catalogue, role: str, feature: str | None) -> str:
    node = place_node(role, feature)
    if node not in graph:
        known = catalogue.vocabulary.roles[role]
        kind = known.features.get(feature or "")
        title = known.title
        if feature is not None:
            title = (kind.title if kind is not None else "") or str(feature)
        graph.add_node(
            node,
            kind="place",
            role=role,
            sort="part" if feature is None else _sort(catalogue, role, feature),
            title=title,
            **_known(feature=feature),
        )
    return node


def _given(joint: Joint, ends: Iterable[str]) -> str:
    """Return the conditions of a joint on parts beside the two it joins."""
    roles = set(ends)
    return ", ".join(str(c) for c in joint.when if c.role not in roles)


def graph_of(fits: Fits, *, origin: Mapping[str, str] | None = None) -> nx.MultiDiGraph:
    """Return interfaces that were found as the graph of fits.

    Parameters
    ----------
    fits : Fits
        From :func:`fitgraph.graph.interfaces.find_interfaces`.
    origin : mapping of str to str, optional
        Where parts come from, by stock number; the catalogue by default.
    """
    catalogue = fits.catalogue
    vocabulary = catalogue.vocabulary
    owned = owned_by(catalogue)
    graph = nx.MultiDiGraph(
        trade=vocabulary.trade, catalogue=catalogue.name, currency=vocabulary.currency
    )
    names = [interface_node(i) for i in fits.interfaces]
    for name, interface in zip(names, fits.interfaces, strict=True):
        graph.add_node(name, **_interface_attributes(fits, interface, owned))
        place = _add_place(graph, catalogue, interface.role, interface.feature)
        graph.add_edge(name, place, "at", kind="at")
    held = fits.held()
    for role, of_role in fits.shapes.items():
        for place_of, shape in enumerate(of_role):
            mine = held.get((role, place_of), [])
            for part in shape.parts:
                more = {
                    "owned": owned.get(part.sku, 0.0),
                    "origin": (origin or {}).get(part.sku, CATALOGUE),
                }
                label = _add_part(graph, catalogue, part, shape.option, more)
                for n in mine:
                    feature = fits.interfaces[n].feature
                    at = feature_node(label, feature)
                    if at not in graph:  # an attribute of the part, such as its maker
                        graph.add_node(
                            at,
                            kind="feature",
                            role=role,
                            feature=feature,
                            sort="attribute",
                            presence="present",
                            **{feature: str(getattr(part, feature, "") or "unknown")},
                        )
                        graph.add_edge(part_node(label), at, "has", kind="has")
                    graph.add_edge(at, names[n], "of", kind="of")
                _add_service(graph, catalogue, part, shape.option)
    for link in fits.links:
        one, other = link.ends
        margin = link.most_mm if link.verdict is Verdict.FAILS else link.least_mm
        graph.add_edge(
            names[one],
            names[other],
            link.joint.name,
            kind="joint",
            joint=link.joint.name,
            title=link.joint.title,
            rule=link.joint.rule,
            verdict=link.verdict.word,
            **_known(
                margin_mm=margin,
                most_mm=link.most_mm,
                given=_given(link.joint, [fits.interfaces[n].role for n in link.ends]),
            ),
        )
    for joint in hyper_joints(vocabulary.joints):
        node = hyper_node(joint)
        limits = {f"{n}_mm": v for n, v in joint.limits.items() if abs(v) < UNBOUNDED_MM}
        graph.add_node(
            node, kind="hyper", joint=joint.name, title=joint.title, rule=joint.rule, **limits
        )
        for n, (of, named, word, step) in enumerate(_asks(joint)):
            at = _add_place(graph, catalogue, of, named)
            graph.add_edge(node, at, f"asks-{n}", kind="asks", part=word, step=step)
    return graph


def _add_service(graph: nx.MultiDiGraph, catalogue: Catalogue, part: Part, option: Option) -> None:
    if not option.services:
        return
    *before, last = (part.sku, *option.services)
    service = catalogue.vocabulary.services[last]
    graph.add_edge(
        part_node(" + ".join(before)),
        part_node(" + ".join((part.sku, *option.services))),
        last,
        kind="service",
        service=last,
        title=service.title,
        price=service.price,
        minutes=service.minutes,
    )


def fit_graph(
    catalogue: Catalogue,
    skus: Iterable[str] | None = None,
    *,
    made: Iterable[Part] = (),
    proposed: Iterable[Part] = (),
    services: bool = True,
    misses_mm: float = 0.0,
    joints: Iterable[str] | None = None,
) -> nx.MultiDiGraph:
    """Return the graph of fits of a catalogue; its nodes and edges are told above.

    Parameters
    ----------
    catalogue : Catalogue
        Where the parts and the words come from.
    skus : iterable of str, optional
        The parts to show; all by default.
    made, proposed : iterable of Part
        Further parts: made ones, and ones that somebody thinks of making.
    services : bool
        Whether parts after a service are shown as well.
    misses_mm : float
        Joints that fail by no more than this [mm] are shown as well.
    joints : iterable of str, optional
        Names of the joints between two features that count; all by default.

    Returns
    -------
    networkx.MultiDiGraph
        Built in time linear in parts and interfaces; no pair of parts is ever looked at.

    Raises
    ------
    KeyError
        If a stock number is unknown.
    """
    chosen = list(catalogue.parts if skus is None else dict.fromkeys(skus))
    parts = [catalogue.parts[sku] for sku in chosen]
    origin: dict[str, str] = {}
    for word, more in ((MADE, made), (PROPOSED, proposed)):
        for part in more:
            origin[part.sku] = word
            parts.append(part)
    fits = find_interfaces(catalogue, parts, services=services, misses_mm=misses_mm, joints=joints)
    return graph_of(fits, origin=origin)


def mates(
    catalogue: Catalogue, joint: Joint, parts: Mapping[str, Part]
) -> Iterable[tuple[str, str, Verdict, float | None]]:
    """Yield every pair of parts that a joint compares, with its verdict and margin.

    Conditions on other parts than the two are taken to hold.
    """
    pair = pair_of(joint)
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
