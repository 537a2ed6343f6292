"""How fast coverage, weak points and orders are: ``python -m tests.bench.stock``.

The catalogue is :func:`tests.bench.catalogues.scaled` with 1,000 parts in each of 12 roles;
20,000 enquiries own two to nine parts of a build that fits, every second with one part swapped
for any other, and half have a budget, one in six a mass limit, a third a material. The look for
the next adapter is that of :mod:`tests.bench.adapters`.

``--write docs/benchmarks-stock.md`` makes the page anew.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from pathlib import Path
from typing import TypeVar

import numpy as np

from fitgraph.adapters import best_together
from fitgraph.model import Catalogue, Enquiry
from fitgraph.solve import Request, Services, TreeEngine
from fitgraph.solve.query import ask
from fitgraph.solve.sample import Lottery
from fitgraph.stock import Restocking, coverage, reliance, stranded
from tests.bench import adapters
from tests.bench.catalogues import scaled
from tests.bench.line import Line
from tests.bench.machine import machine
from tests.bench.report import as_markdown, as_text

T = TypeVar("T")

#: The most that coverage may take, in seconds.
MOST_SECONDS = 1.0

#: How often coverage is asked.
TIMES = 7

PAGE = """# Benchmarks of stock and adapters

Measured with `python -m tests.bench.stock --write docs/benchmarks-stock.md` (extras `bench`
and `cluster`), in {minutes:.1f} minutes, on {machine}

Twelve roles of {parts:,} parts each (`tests/bench/catalogues.py`, seeded, shapes of the demo) and
{enquiries:,} enquiries. Those for [coverage and orders](stock.md) own two to nine parts of a build
that fits, every second with one part swapped for any other; half have a budget, one in six a mass
limit, a third a material. Those for [adapters](adapters.md) own parts at random, one in twenty has
a mass limit. Compiling the catalogue is not counted. Times in one process are of processor time,
which is what a watch shows where nothing else runs; those of two processes and of the cluster are
by the clock, their workers started and the package imported before.

{table}

What workers save: questions that are alive in the same rows of the engine's tables share their
work, so they are sent in pieces of about 10,000. With fewer there is one piece, and starting
workers for it does not pay.
"""


def enquiries_for(engine: TreeEngine, count: int, *, seed: int = 1) -> tuple[Enquiry, ...]:
    """Return seeded enquiries: parts of random builds, some of them swapped."""
    catalogue: Catalogue = engine.catalogue
    rng = np.random.default_rng(seed)
    query = ask(engine.space, Request(services=Services.NONE))
    lets = query.mask(certain=True)
    plan = engine.space.plan(certain=True)
    weights = {role: mask.astype(float) for role, mask in lets.items()}
    drawn = Lottery(plan, engine.space.class_of, weights).draw(count, rng)
    built = [
        [options[place].part for place in drawn[role]]
        for role, options in engine.space.options.items()
    ]
    found: list[Enquiry] = []
    for n, build in enumerate(zip(*built, strict=True)):
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


def timed(work: Callable[[], T], clock: Callable[[], float]) -> tuple[float, T]:
    """Return seconds of a clock, and the result."""
    began = clock()
    result = work()
    return clock() - began, result


def of_stock(
    engine: TreeEngine, enquiries: tuple[Enquiry, ...], pool: Executor, cluster: Executor
) -> Iterator[Line]:
    """Measure coverage, stranded parts, weak points and orders."""
    size = f"{len(enquiries):,} enquiries"
    seconds, answer = timed(lambda: coverage(engine, enquiries), time.process_time)
    runs = [
        timed(lambda: coverage(engine, enquiries), time.process_time)[0] for _ in range(TIMES - 1)
    ]
    middle = statistics.median([seconds, *runs])
    yield Line(
        f"coverage of {size}, {answer.questions:,} of them distinct",
        f"{MOST_SECONDS:g} s",
        f"{middle:.2f} s ({min(seconds, *runs):.2f} to {max(seconds, *runs):.2f} s in {TIMES} runs)"
        f"; {answer.total.share():.0%} served from stock",
        middle <= MOST_SECONDS,
    )
    for name, where in (("two processes", pool), ("a local Dask cluster of two", cluster)):

        def there(where: Executor = where) -> object:
            return coverage(engine, enquiries, executor=where).standings

        there()
        seconds, same = timed(there, time.perf_counter)
        yield Line(f"— in {name}", "the same", f"{seconds:.2f} s", same == answer.standings)
    seconds, lost = timed(lambda: stranded(engine), time.process_time)
    yield Line("stranded parts and what they lack", "", f"{seconds:.1f} s for {len(lost):,}")
    seconds, alone = timed(lambda: reliance(engine, enquiries, pairs=False), time.process_time)
    yield Line("parts on which enquiries depend, no pairs", "", f"{seconds:.1f} s")
    seconds, there = timed(
        lambda: reliance(engine, enquiries, pairs=False, executor=pool), time.perf_counter
    )
    yield Line("— in two processes", "the same", f"{seconds:.1f} s", there == alone)
    seconds, shop = timed(lambda: Restocking(engine, enquiries=enquiries), time.process_time)
    more, plan = timed(lambda: shop.spend(100_000), time.process_time)
    yield Line(
        f"orders for 1000.00 that serve most of {size}",
        "",
        f"{seconds + more:.1f} s, gap {plan.gap:g}; "
        f"{shop.reachable - shop.before:,.0f} could be served by ordering",
    )


def of_adapters(parts: int, enquiries: int, pool: Executor, cluster: Executor) -> Iterator[Line]:
    """Measure the look for the next adapter."""
    first = None
    for name, where in (("two processes", pool), ("a local Dask cluster of two", cluster)):
        found, seconds, told = adapters.measure(parts, enquiries, "sleeve", where)
        same = first is None or [w.gained for w in found.worths] == first
        first = [w.gained for w in found.worths]
        yield Line(
            f"adapter scan in {name}, {enquiries:,} enquiries",
            f"{adapters.MOST_SECONDS:g} s",
            f"{seconds:.1f} s for {len(found.worths)} sleeves, progress told {told} times"
            + ("" if same else "; NOT the same"),
            same and seconds <= adapters.MOST_SECONDS,
        )
    seconds, best = timed(lambda: best_together([found], 5), time.perf_counter)
    yield Line("— the best five of them together", "", f"{seconds:.2f} s, gap {best.choice.gap:g}")


def main() -> None:
    """Print the figures, and write the page if asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--parts", type=int, default=1000)
    parser.add_argument("--enquiries", type=int, default=20_000)
    parser.add_argument("--write", type=Path, help="the page to make anew")
    asked = parser.parse_args()
    began = time.monotonic()
    engine = TreeEngine(scaled(asked.parts, 12))
    enquiries = enquiries_for(engine, asked.enquiries)
    lines = []
    with adapters.workers(False, 2) as pool, adapters.workers(True, 2) as cluster:
        assert pool is not None and cluster is not None
        for line in (
            *of_stock(engine, enquiries, pool, cluster),
            *of_adapters(asked.parts, asked.enquiries, pool, cluster),
        ):
            print(as_text(line), flush=True)
            lines.append(line)
    if asked.write:
        page = PAGE.format(
            minutes=(time.monotonic() - began) / 60,
            machine=machine(),
            parts=asked.parts,
            enquiries=asked.enquiries,
            table=as_markdown(lines),
        )
        asked.write.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
