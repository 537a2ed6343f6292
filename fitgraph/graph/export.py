"""The graph of fits for other programs: node-link JSON, GraphML, JSON-LD.

References
----------
.. [1] U. Brandes et al., "GraphML primer", graphml.graphdrawing.org (reference checked); by
   networkx.
.. [2] W3C, "JSON-LD 1.1", Recommendation, 16 July 2020: contexts, typed values, sets
   (reference checked).
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import networkx as nx

#: Names that no server has to answer for.
NAMESPACE = "urn:fitgraph:"


def node_link(graph: nx.MultiDiGraph) -> dict[str, Any]:
    """Return node-link data that ``json.dumps`` and ``networkx.node_link_graph`` take."""
    data: dict[str, Any] = nx.node_link_data(graph, edges="edges")
    return data


def graphml(graph: nx.MultiDiGraph) -> str:
    """Return GraphML; letters that XML forbids are replaced."""
    told = nx.MultiDiGraph(**graph.graph)
    told.add_nodes_from((_xml(n), _xml_all(d)) for n, d in graph.nodes(data=True))
    told.add_edges_from(
        (_xml(a), _xml(b), _xml(k), _xml_all(d)) for a, b, k, d in graph.edges(keys=True, data=True)
    )
    return "\n".join(nx.generate_graphml(told))


def _xml(text: str) -> str:
    """Return a text without what XML 1.0 forbids (section 2.2)."""
    return "".join(
        c
        if c in "\t\n\r" or "\x20" <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff"
        else "\ufffd"
        for c in text
    )


def _xml_all(data: dict[str, Any]) -> dict[str, Any]:
    return {k: _xml(v) if isinstance(v, str) else v for k, v in data.items()}


def iri(name: str) -> str:
    """Return the name of a node as an IRI.

    Examples
    --------
    >>> iri("part:A 1")
    'urn:fitgraph:node:part%3AA%201'
    """
    return f"{NAMESPACE}node:{quote(name, safe='')}"


def _value(value: Any) -> Any:
    """Return a value with its type, where JSON alone would lose it: 2.0 is no whole number."""
    if isinstance(value, float):
        return {"@value": repr(value), "@type": "xsd:double"}
    return value


def json_ld(graph: nx.MultiDiGraph) -> dict[str, Any]:
    """Return a JSON-LD document: a resource for each node, and one for each edge.

    An edge has ``from`` and ``to``; everything else is named as in the graph. The context is in
    the document, so nothing is fetched to read it.
    """
    nodes = [
        {"@id": iri(n), "@type": d["kind"], "name_of_node": n}
        | {k: _value(v) for k, v in d.items() if k != "kind"}
        for n, d in graph.nodes(data=True)
    ]
    edges = [
        {
            "@id": f"{NAMESPACE}edge:{quote(a, safe='')}/{quote(b, safe='')}/{quote(key, safe='')}",
            "@type": f"edge-{d['kind']}",
            "from": {"@id": iri(a)},
            "to": {"@id": iri(b)},
            "key": key,
        }
        | {k: _value(v) for k, v in d.items() if k != "kind"}
        for a, b, key, d in graph.edges(keys=True, data=True)
    ]
    return {
        "@context": {
            "@vocab": NAMESPACE,
            "xsd": "http://www.w3.org/2001/XMLSchema#",
        },
        "@graph": nodes + edges,
    }
