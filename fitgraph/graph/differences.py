"""What changed between two graphs of fits: of two catalogues, or of one on two days."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import networkx as nx

from fitgraph.graph.views import nodes_of
from fitgraph.model import Catalogue
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Changed:
    """Something that is in both graphs, and not alike.

    Parameters
    ----------
    name : str
        The node; both ends and the joint for an edge.
    before, after : mapping of str to object
        The attributes that differ; one that is missing is left out.
    """

    name: str
    before: Mapping[str, Any]
    after: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Difference:
    """What one kind of things came to.

    Parameters
    ----------
    come, gone : tuple of str
        Names of what only the second, or only the first, has.
    changed : tuple of Changed
        What both have, with other attributes.
    """

    come: tuple[str, ...]
    gone: tuple[str, ...]
    changed: tuple[Changed, ...]

    def __bool__(self) -> bool:
        return bool(self.come or self.gone or self.changed)


def _difference(before: Mapping[str, Any], after: Mapping[str, Any]) -> Difference:
    changed = []
    for name in before.keys() & after.keys():
        one, other = before[name], after[name]
        if one != other:
            differing = [k for k in {**one, **other} if one.get(k) != other.get(k)]
            changed.append(
                Changed(
                    name,
                    {k: one[k] for k in differing if k in one},
                    {k: other[k] for k in differing if k in other},
                )
            )
    return Difference(
        tuple(sorted(after.keys() - before.keys())),
        tuple(sorted(before.keys() - after.keys())),
        tuple(sorted(changed, key=lambda c: c.name)),
    )


def _joints(graph: nx.MultiDiGraph) -> dict[str, Any]:
    return {
        f"{a.removeprefix('interface:')} | {b.removeprefix('interface:')} | {key}": data
        for a, b, key, data in graph.edges(keys=True, data=True)
        if data["kind"] == "joint"
    }


def differences(before: nx.MultiDiGraph, after: nx.MultiDiGraph) -> dict[str, Difference]:
    """Return what came, went and changed, by kind: part, feature, interface, joint.

    Parameters
    ----------
    before, after : networkx.MultiDiGraph
        Graphs of fits, or views of them such as what is in stock.
    """
    found = {
        kind: _difference(dict(nodes_of(before, kind)), dict(nodes_of(after, kind)))
        for kind in ("part", "feature", "interface")
    }
    found["joint"] = _difference(_joints(before), _joints(after))
    return found


def on_day(
    catalogue: Catalogue,
    counts: Mapping[datetime.date, Mapping[str, int]],
    day: datetime.date,
) -> Catalogue:
    """Return a catalogue with the shelf as it was counted last, up to a day.

    Raises
    ------
    LookupError
        If nothing was counted by then.
    """
    counted = max((d for d in counts if d <= day), default=None)
    if counted is None:
        raise LookupError(day.isoformat())
    held = counts[counted]
    parts = {
        sku: replace(part, stock=int(held.get(sku, 0))) for sku, part in catalogue.parts.items()
    }
    return replace(
        catalogue,
        parts=MappingProxyType(parts),
        by_role=MappingProxyType(
            {role: tuple(parts[p.sku] for p in some) for role, some in catalogue.by_role.items()}
        ),
    )
