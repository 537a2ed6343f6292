"""What a map of fits has of what somebody types: a name, a stock number, a size."""

from __future__ import annotations

from fitgraph.graph.size_map import SizeMap
from fitgraph.records import dataclass
from fitgraph.units import UnitError, parse_length

#: A size that is typed may be off by so much from what a part has [mm].
NEAR_MM = 0.05


@dataclass(frozen=True, slots=True)
class Match:
    """What was found.

    Parameters
    ----------
    interfaces : tuple of str
        Nodes of the map.
    parts : tuple of str
        Stock numbers of parts that were meant themselves, not only by a size.
    """

    interfaces: tuple[str, ...]
    parts: tuple[str, ...]


def _length(text: str) -> float | None:
    try:
        return parse_length(text)
    except UnitError:
        return None


def search(found: SizeMap, text: str) -> Match:
    """Return the interfaces and parts that a text means.

    Parameters
    ----------
    found : SizeMap
        The map.
    text : str
        A size ("34.9", "1 1/8 in") or a piece of a name, a role, a feature or a stock number;
        of several words all have to be there.
    """
    words = text.casefold().split()
    if not words:
        return Match((), ())
    size = _length(text)
    parts = [
        sku
        for sku in found.interfaces
        if size is None
        and all(w in f"{sku} {found.catalogue.parts[sku].name}".casefold() for w in words)
    ]
    wanted = {node for sku in parts for node in found.interfaces[sku]}
    for node, data in found.view.nodes(data=True):
        if size is not None:
            spans = [
                (data[k], data[k.removesuffix("_lo_mm") + "_hi_mm"])
                for k in data
                if k.endswith("_lo_mm") and k.startswith(f"{data['feature']}.")
            ]
            if any(lo - NEAR_MM <= size <= hi + NEAR_MM for lo, hi in spans):
                wanted.add(node)
            continue
        role = found.vocabulary.roles[data["role"]].title
        told = f"{role} {data['role']} {data['feature']} {data['sizes']}".replace("_", " ")
        if all(w in told.casefold() for w in words):
            wanted.add(node)
    return Match(tuple(n for n in found.view if n in wanted), tuple(parts))
