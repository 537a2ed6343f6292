"""Answers of the graph of fits, and the files it is written to."""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Sequence
from copy import deepcopy
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitgraph.errors import ArgumentError
from fitgraph.files import folder_name, write_text_whole
from fitgraph.records import dataclass
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Table
from fitgraph.shop.answers import Answer
from fitgraph.shop.edge import path_of
from fitgraph.units import UnitError, parse_day

if TYPE_CHECKING:
    import networkx as nx

    from fitgraph.catalogue import Loaded
    from fitgraph.graph.differences import Difference
    from fitgraph.model import Catalogue
    from fitgraph.report.blocks import Report
    from fitgraph.report.graphs import Told


@dataclass(frozen=True, eq=False, repr=False)
class GraphAnswer(Answer):
    """What the graph of fits says.

    Parameters
    ----------
    found : object
        Ways, near misses, cut points and so on, as :mod:`fitgraph.graph` gives them.
    told : Told
        The same, worded.
    known : bool
        Whether it is an answer, not a no.

    Examples
    --------
    >>> import fitgraph
    >>> answer = fitgraph.open().paths("FORK-VEN-04", "BAR-CUL-05")
    >>> answer.yes, answer.records()[0]["way"]
    (True, 'FORK-VEN-04 > SLV-VEN-01 > BAR-CUL-05')
    """

    found: Any
    told: Told
    known: bool = True

    @property
    def yes(self) -> bool:
        """Whether something was found."""
        return self.known

    def report(self, hints: Hints | None = None) -> Report:
        """Return the first rows, and what there is to say."""
        return self.told.report(hints or Hints())

    def _tables(self) -> Sequence[Table]:
        return self.told.tables

    def to_dict(self) -> dict[str, Any]:
        """Return everything found."""
        return deepcopy(self.told.data)


@dataclass(frozen=True, eq=False, repr=False)
class MapAnswer(GraphAnswer):
    """What the graph of fits holds, drawn by size.

    Parameters
    ----------
    found : networkx.MultiDiGraph
        The graph.
    told : Told
        What it holds, role by role.
    svg : str
        The map.

    Examples
    --------
    >>> import fitgraph
    >>> whole = fitgraph.open().map()
    >>> whole.svg.startswith("<svg"), sum(r["parts"] for r in whole.records())
    (True, 346)
    >>> whole.save("fits.graphml")  # doctest: +SKIP
    """

    svg: str = ""

    def save(self, file: str | Path) -> Path:
        """Write the graph as GraphML, node-link JSON or JSON-LD, or the map as SVG.

        Parameters
        ----------
        file : path
            Its ending says which: ``.graphml``, ``.json``, ``.jsonld`` or ``.svg``.

        Returns
        -------
        Path
            The file, written whole.

        Raises
        ------
        InputError
            If the ending is none of these.
        """
        import json

        from fitgraph.graph.export import graphml, json_ld, node_link

        path = path_of(file, "file")
        kinds: dict[str, Callable[[], str]] = {
            ".graphml": lambda: graphml(self.found),
            ".json": lambda: json.dumps(node_link(self.found), allow_nan=False),
            ".jsonld": lambda: json.dumps(json_ld(self.found), allow_nan=False),
            ".svg": lambda: self.svg,
        }
        made = kinds.get(path.suffix.lower())
        if made is None:
            raise ArgumentError(
                "export", f"{str(path)!r}: name a file that ends in {', '.join(kinds)}"
            )
        write_text_whole(path, made())
        return path


def map_of(graph: nx.MultiDiGraph, catalogue: Catalogue) -> MapAnswer:
    """Return what a graph of fits holds, with the map of its interfaces by size."""
    from fitgraph.draw.fit_map import fit_map_svg, map_words
    from fitgraph.graph.size_map import size_map
    from fitgraph.graph.views import nodes_of
    from fitgraph.report.blocks import Picture
    from fitgraph.report.graphs import overview

    skus = [data["sku"] for _, data in nodes_of(graph, "part") if not data["services"]]
    drawn = size_map(catalogue, skus)
    svg = fit_map_svg(drawn)
    picture = Picture(svg, map_words(drawn))
    return MapAnswer(graph, overview(graph, picture), svg=svg)


def changes_since(
    loaded: Loaded, graph: nx.MultiDiGraph, other: Path | datetime.date
) -> tuple[dict[str, Difference], str]:
    """Return what changed since a day on which the shelf was counted, or against a folder.

    Returns
    -------
    differences : dict of str to Difference
        By kind.
    since : str
        Against what, in words.

    Raises
    ------
    InputError
        If `other` is neither, or nothing was counted by then.
    """
    from fitgraph.catalogue import load
    from fitgraph.graph.differences import differences, on_day
    from fitgraph.graph.fit_graph import fit_graph
    from fitgraph.graph.views import in_stock

    if isinstance(other, datetime.date):
        day = other
    else:
        try:
            day = parse_day(str(other))
        except UnitError:
            if not os.path.isdir(other):
                wrong = "is neither a day like 2026-03-31 nor a catalogue's folder"
                raise ArgumentError("diff", f"{str(other)!r} {wrong}") from None
            before = fit_graph(load(other).catalogue)
            return differences(before, graph), f"Since the catalogue {folder_name(other)}"
    try:
        shelf = on_day(loaded.catalogue, loaded.supply.counts, day)
    except LookupError:
        raise ArgumentError("diff", f"{day}: the shelf was not counted by then") from None
    found = differences(in_stock(fit_graph(shelf)), in_stock(graph))
    return found, f"On the shelf since {day.isoformat()}"
