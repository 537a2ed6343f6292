"""How long the graph of fits takes by number of parts: ``python -m tests.bench.graph``.

Processor time, one thread. ``alike`` takes at most 40 shapes a role, as most catalogues have;
``all different`` gives every part figures of its own, a hundredth apart.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from fitgraph.graph.fit_graph import fit_graph
from fitgraph.graph.interfaces import find_interfaces
from fitgraph.graph.views import by_interface, parts_and_interfaces
from fitgraph.lab import MapOfFits, OpenCatalogue
from fitgraph.model import Catalogue, Feature, Part
from tests.bench.catalogues import scaled
from tests.bench.machine import machine

#: Parts a role, of twelve roles.
SIZES = (125, 250, 500, 1000)


def all_different(catalogue: Catalogue, seed: int = 3) -> Catalogue:
    """Return a catalogue in which every part's figures are moved a little."""
    rng = np.random.default_rng(seed)

    def moved(part: Part) -> Part:
        features = {}
        for name, feature in part.features.items():
            lengths = {
                n: d.shifted(round(float(rng.uniform(-0.05, 0.05)), 3)) if d.known else d
                for n, d in feature.lengths.items()
            }
            features[name] = Feature(feature.presence, MappingProxyType(lengths), feature.words)
        return replace(part, features=MappingProxyType(features))

    parts = {sku: moved(part) for sku, part in catalogue.parts.items()}
    by_role = {r: tuple(parts[p.sku] for p in some) for r, some in catalogue.by_role.items()}
    return replace(catalogue, parts=MappingProxyType(parts), by_role=MappingProxyType(by_role))


def seconds(what: Callable[[], object]) -> float:
    """Return the least processor time of three runs."""
    taken = []
    for _ in range(3):
        began = time.process_time()
        what()
        taken.append(time.process_time() - began)
    return min(taken)


def page_steps(catalogue: Catalogue) -> dict[str, float]:
    """Return how long a step on the map takes: to slide, to press, to seek, to draw it all [s]."""
    page = MapOfFits(OpenCatalogue(catalogue), next(iter(catalogue.vocabulary.roles)))
    found = page.whole
    widest = max(found.view, key=lambda node: len(found.parts.get(node, ())))
    presses = itertools.count(1)

    def slide() -> None:
        page.tolerance.value = 0.05 if page.tolerance.value <= 0 else -0.05

    def press() -> None:
        page.map.pressed = ["node", widest, next(presses)]

    def seek() -> None:
        page.search.value = "25" if page.search.value != "25" else "28"

    def draw() -> None:
        page.around.value = "" if page.around.value else found.view.nodes[widest]["role"]

    return {what.__name__: seconds(what) for what in (slide, press, seek, draw)}


def main() -> None:
    """Measure and print."""
    print(machine())
    for title, change in (("alike", None), ("all different", all_different)):
        for size in SIZES:
            catalogue = scaled(size)
            if change is not None:
                catalogue = change(catalogue)
            fits = find_interfaces(catalogue)
            found = seconds(lambda c=catalogue: find_interfaces(c))
            whole = seconds(lambda c=catalogue: fit_graph(c))
            graph = fit_graph(catalogue)
            views = seconds(lambda g=graph: (by_interface(g), parts_and_interfaces(g)))
            print(
                f"{title:14} {12 * size:6,} parts: {len(fits.interfaces):6,} interfaces, "
                f"{len(fits.links):9,} joints; interfaces {found:5.2f} s, graph {whole:5.2f} s, "
                f"views {views:5.2f} s",
                flush=True,
            )
            if change is None:
                steps = ", ".join(f"{n} {s:.3f} s" for n, s in page_steps(catalogue).items())
                print(f"{'':14} the map's page: {steps}", flush=True)


if __name__ == "__main__":
    main()
