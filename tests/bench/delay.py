"""Time to the k-th cheapest build: ``python -m tests.bench.delay --write docs/delay.svg``.

Parts alike (shapes shared) and measured one by one, without limits and under a mass limit half
way between the lightest and the cheapest build's. Processor time from the question on, at the end
of each piece that the ranking hands over.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np

from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.engine import criteria_of
from fitgraph.solve.query import ask
from fitgraph.solve.ranked import ranked
from tests.bench.catalogues import measured, scaled
from tests.bench.report import delay_svg

Points = list[tuple[int, float]]


def delays(engine: TreeEngine, request: Request, most: int) -> Points:
    """Return numbers of builds, and after how many seconds of processor time they were there."""
    query = ask(engine.space, request)
    lets, criteria = query.mask(certain=True), criteria_of(query, "price")
    found: Points = []
    told = 0
    began = time.process_time()
    for _, costs in ranked(engine.space, lets, criteria, certain=True):
        told += len(costs)
        found.append((told, time.process_time() - began))
        if told >= most:
            break
    return found


def curves(parts: int, most: int) -> dict[str, Points]:
    """Return the four curves by their names."""
    found = {}
    for name, catalogue in (("shared", scaled(parts)), ("measured", measured(scaled(parts)))):
        engine = TreeEngine(catalogue)
        (cheap,) = engine.best(Request(), limit=1)
        (light,) = engine.best(Request(), sort="mass", limit=1)
        middle = float(np.mean([cheap.mass_g or 0.0, light.mass_g or 0.0]))
        for limit, request in (("", Request()), (", limit", Request(max_mass_g=middle))):
            found[f"{name}{limit}"] = delays(engine, request, most)
            print(name + limit, [(k, f"{s:.3f} s") for k, s in found[f"{name}{limit}"]], flush=True)
    return found


def main() -> None:
    """Measure, print, and write if asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.delay", description=__doc__)
    parser.add_argument("--parts", type=int, default=200, help="a role")
    parser.add_argument("--most", type=int, default=100_000, help="builds")
    parser.add_argument("--write", type=Path, help="SVG file")
    given = parser.parse_args()
    found = curves(given.parts, given.most)
    if given.write is not None:
        given.write.write_text(delay_svg(found), encoding="utf-8")


if __name__ == "__main__":
    main()
