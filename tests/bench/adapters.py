"""How long the look for the next adapter takes: ``python -m tests.bench.adapters``.

Twelve roles of a thousand parts each and 20,000 enquiries. A process for each of two cores
shares the enquiries; with ``--dask`` the same runs on a local cluster. The first call of a
worker, which imports the package, is not counted.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace

import numpy as np

from fitgraph.adapters import Scan, best_together, scan
from fitgraph.model import Catalogue, Enquiry
from tests.bench.catalogues import scaled

#: Roles whose parts people own, and how often.
_OWN = {
    "fork": 0.9,
    "bar": 0.8,
    "deck": 0.6,
    "headset": 0.5,
    "wheels": 0.5,
    "clamp": 0.3,
    "kit": 0.3,
    "grips": 0.4,
    "bearings": 0.4,
    "axles": 0.3,
}

#: The most that a scan may take, in seconds.
MOST_SECONDS = 10.0


def crowd(catalogue: Catalogue, count: int, seed: int = 7) -> Catalogue:
    """Return a catalogue with so many enquiries; one in twenty limits the mass as well."""
    rng = np.random.default_rng(seed)
    enquiries = []
    for n in range(count):
        have = tuple(
            catalogue.of(role)[int(rng.integers(len(catalogue.of(role))))].sku
            for role, often in _OWN.items()
            if catalogue.of(role) and rng.random() < often
        )
        limited = rng.random() < 0.05
        enquiries.append(
            Enquiry(
                f"E{n:05d}",
                have=have,
                budget=None if rng.random() < 0.2 else int(rng.integers(15_000, 80_000)),
                max_mass_g=float(rng.integers(3_500, 5_500)) if limited else None,
                weight=float(rng.integers(1, 4)),
            )
        )
    return replace(catalogue, enquiries=tuple(enquiries))


@contextmanager
def workers(dask: bool, count: int) -> Iterator[Executor | None]:
    """Yield where the pieces run, its workers awake."""
    if dask:
        from dask.distributed import Client, LocalCluster

        with (
            LocalCluster(
                n_workers=count,
                threads_per_worker=1,
                host="127.0.0.1",
                dashboard_address=None,
            ) as cluster,
            Client(cluster) as client,
        ):
            client.run(wake)
            yield client.get_executor()
    elif count > 1:
        with ProcessPoolExecutor(count) as pool:
            list(pool.map(wake, range(2 * count)))
            yield pool
    else:
        yield None


def wake(_: int = 0) -> str:
    """Import what a worker needs."""
    return Scan.__name__


def measure(
    parts: int, enquiries: int, make: str, executor: Executor | None
) -> tuple[Scan, float, int]:
    """Return a scan, its seconds, and how often it told how far it was."""
    catalogue = crowd(scaled(parts), enquiries)
    told = 0

    def progress(done: int, total: int) -> None:
        nonlocal told
        told += 1
        sys.stderr.write(f"\r  {done:,} of {total:,} looks")
        sys.stderr.flush()

    began = time.perf_counter()
    found = scan(catalogue, catalogue.vocabulary.makes[make], executor=executor, progress=progress)
    seconds = time.perf_counter() - began
    sys.stderr.write("\n")
    return found, seconds, told


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--parts", type=int, default=1000, help="parts a role")
    parser.add_argument("--enquiries", type=int, default=20_000)
    parser.add_argument("--make", default="sleeve")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--dask", action="store_true", help="run on a local cluster")
    given = parser.parse_args()
    with workers(given.dask, given.workers) as executor:
        found, seconds, told = measure(given.parts, given.enquiries, given.make, executor)
    began = time.perf_counter()
    best = best_together([found], 5)
    choosing = time.perf_counter() - began
    cores = os.cpu_count() or 1
    spent = sum(
        sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    where = "dask" if given.dask else f"{given.workers} processes"
    print(
        f"{given.parts:,} parts a role, {given.enquiries:,} enquiries, {where}: "
        f"{len(found.worths)} {given.make}s weighed in {seconds:.1f} s ({told} tellings), "
        f"the best 5 of them in {choosing:.2f} s, gap {best.choice.gap:g}; "
        f"{found.covered:,.0f} of {found.total:,.0f} served, {best.coverage:,.0f} with them; "
        f"{spent:.1f} s of processor time in all, load {os.getloadavg()[0]:.1f} on {cores} cores; "
        f"{'within' if seconds <= MOST_SECONDS else 'over'} {MOST_SECONDS:g} s"
    )


if __name__ == "__main__":
    main()
