"""Families: parts that mate among themselves more than with others, against the named ones.

References
----------
.. [1] V. D. Blondel, J.-L. Guillaume, R. Lambiotte, E. Lefebvre, "Fast unfolding of communities
   in large networks", Journal of Statistical Mechanics (2008) P10008 (reference checked); by
   networkx.
"""

from __future__ import annotations

from collections.abc import Mapping

import networkx as nx

from fitgraph.graph.agreement import adjusted_rand_index, normalised_mutual_information
from fitgraph.graph.groupings import kind_of
from fitgraph.graph.options import plain
from fitgraph.graph.views import parts_and_interfaces
from fitgraph.model import Catalogue
from fitgraph.records import dataclass

#: So that the same graph gives the same families.
SEED = 1


@dataclass(frozen=True, slots=True)
class Compared:
    """Families that were found, against a grouping of the vocabulary.

    Parameters
    ----------
    grouping : str
        Its name.
    parts : int
        How many parts the grouping names a kind for, looking at the part alone.
    kinds : mapping of str to (mapping of int to int)
        For each kind, how many of its parts each family has, by the family's place.
    rand : float
        The adjusted Rand index: 1 for the same groups, 0 for chance.
    information : float
        The normalised mutual information: 1 for the same groups, 0 for nothing in common.
    """

    grouping: str
    parts: int
    kinds: Mapping[str, Mapping[int, int]]
    rand: float
    information: float


@dataclass(frozen=True, slots=True)
class Families:
    """Communities of the graph.

    Parameters
    ----------
    families : tuple of tuple of str
        Stock numbers of each family, the largest first.
    interfaces : tuple of tuple of str
        The interfaces that go with each.
    modularity : float
        How much more they mate among themselves than by chance.
    compared : tuple of Compared
        Against each grouping that can be told of single parts.
    """

    families: tuple[tuple[str, ...], ...]
    interfaces: tuple[tuple[str, ...], ...]
    modularity: float
    compared: tuple[Compared, ...]


def communities(graph: nx.MultiDiGraph, least: str = "fits") -> tuple[nx.Graph, list[set[str]]]:
    """Return parts and interfaces as a plain graph, and its communities by Louvain's method."""
    view = parts_and_interfaces(graph, least)
    return view, [set(c) for c in nx.community.louvain_communities(view, weight=None, seed=SEED)]


def named_kinds(catalogue: Catalogue, grouping: str) -> dict[str, str]:
    """Return the kind of each part that a grouping knows by the part alone, by stock number."""
    kinds = catalogue.vocabulary.groups[grouping]
    found = {}
    for sku, part in catalogue.parts.items():
        kind = kind_of(kinds, {part.role: plain(part)})
        if kind is not None:
            found[sku] = kind.name
    return found


def compare(family_of: Mapping[str, int], kind_of_part: Mapping[str, str], name: str) -> Compared:
    """Return how far families agree with named kinds, over the parts that have both."""
    both = [sku for sku in kind_of_part if sku in family_of]
    kinds: dict[str, dict[int, int]] = {}
    for sku in both:
        row = kinds.setdefault(kind_of_part[sku], {})
        row[family_of[sku]] = row.get(family_of[sku], 0) + 1
    one, other = [kind_of_part[s] for s in both], [family_of[s] for s in both]
    return Compared(
        name,
        len(both),
        {k: dict(sorted(row.items())) for k, row in sorted(kinds.items())},
        adjusted_rand_index(one, other),
        normalised_mutual_information(one, other),
    )


def families(graph: nx.MultiDiGraph, catalogue: Catalogue, least: str = "fits") -> Families:
    """Return the families of a graph, and how far they agree with the vocabulary's groups.

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        The graph of fits of the catalogue.
    catalogue : Catalogue
        Its groupings name kinds of parts.
    least : {"fits", "unknown", "fails"}
        The least verdict of a joint that counts.
    """
    view, found = communities(graph, least)
    skus = [
        sorted(view.nodes[n]["sku"] for n in c if view.nodes[n]["kind"] == "part") for c in found
    ]
    order = sorted(range(len(found)), key=lambda n: (-len(skus[n]), skus[n]))
    members = tuple(tuple(skus[n]) for n in order if skus[n])
    interfaces = tuple(
        tuple(sorted(m for m in found[n] if view.nodes[m]["kind"] == "interface"))
        for n in order
        if skus[n]
    )
    family_of = {sku: n for n, group in enumerate(members) for sku in group}
    compared = []
    for name in catalogue.vocabulary.groups:
        kinds = named_kinds(catalogue, name)
        if len(set(kinds.values())) > 1:
            compared.append(compare(family_of, kinds, name))
    modularity = nx.community.modularity(view, found, weight=None) if view.size() else 0.0
    return Families(members, interfaces, float(modularity), tuple(compared))
