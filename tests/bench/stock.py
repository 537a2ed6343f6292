"""How fast coverage, weak points and orders are: ``python -m tests.bench.stock``.

The catalogue is :func:`tests.bench.catalogues.scaled` with 1,000 parts in each of 12 roles;
20,000 enquiries own two to nine parts of a build that fits, every second with one part swapped
for any other, and half have a budget, one in six a mass limit, a third a material.
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from fitgraph.model import Catalogue, Enquiry
from fitgraph.solve import Request, Services, TreeEngine
from fitgraph.solve.query import ask
from fitgraph.solve.stream import Stream
from fitgraph.stock import coverage
from tests.bench.catalogues import scaled


def enquiries_for(engine: TreeEngine, count: int, *, seed: int = 1) -> tuple[Enquiry, ...]:
    """Return seeded enquiries: parts of real builds, some of them swapped."""
    catalogue: Catalogue = engine.catalogue
    rng = np.random.default_rng(seed)
    stream = Stream(ask(engine.space, Request(services=Services.NONE)))
    found: list[Enquiry] = []
    for n in range(count):
        at = int(rng.random() * stream.total)
        batch = next(stream.batches(at, at + 1))
        build = [engine.space.options[r][batch.options[r][0]].part for r in engine.space.roles]
        parts = [p for p in build if p is not None]
        own = int(rng.integers(2, min(9, len(parts)) + 1))
        have = [parts[k].sku for k in rng.permutation(len(parts))[:own]]
        if n % 2:
            role = catalogue.parts[have[0]].role
            have[0] = catalogue.of(role)[int(rng.integers(len(catalogue.of(role))))].sku
        found.append(
            Enquiry(
                f"E{n:05d}",
                None,
                tuple(have),
                int(rng.integers(40, 700)) * 100 if rng.random() < 0.5 else None,
                float(rng.integers(3600, 5200)) if rng.random() < 1 / 6 else None,
                str(rng.choice(["steel", "titanium", "aluminium"]))
                if rng.random() < 1 / 3
                else None,
                weight=float(rng.integers(1, 4)),
            )
        )
    return tuple(found)


def seconds(work: Callable[[], object]) -> str:
    """Return how long a call takes by the clock, and of that on this process's processor."""
    began, busy = time.perf_counter(), time.process_time()
    work()
    clock, busy = time.perf_counter() - began, time.process_time() - busy
    return f"{clock:.2f} s (of processor {busy:.2f} s)"


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--parts", type=int, default=1000)
    parser.add_argument("--enquiries", type=int, default=20_000)
    asked = parser.parse_args()
    print(f"Python {platform.python_version()}, numpy {np.__version__}, {os.cpu_count()} cores")
    engine = TreeEngine(scaled(asked.parts, 12))
    print(f"compile the catalogue: {seconds(lambda: engine.space)}")
    enquiries = enquiries_for(engine, asked.enquiries)
    answer = coverage(engine, enquiries)
    shares = ", ".join(f"{w:,.0f}" for w in answer.total.weights)
    print(f"coverage of {len(enquiries):,} enquiries ({answer.questions:,} distinct): {shares}")
    for _ in range(3):
        print(f"  here: {seconds(lambda: coverage(engine, enquiries))}")
    with ProcessPoolExecutor(2) as pool:
        coverage(engine, enquiries[:5000], executor=pool)
        print(f"  two processes: {seconds(lambda: coverage(engine, enquiries, executor=pool))}")


if __name__ == "__main__":
    main()
