"""What is measured: each section returns lines of the table."""

from __future__ import annotations

import gc
import math
import statistics
import time
import tracemalloc
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

import numpy as np

from fitgraph.model import Catalogue
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.estimate import sample_sums
from fitgraph.solve.query import TENTHS, ask
from fitgraph.solve.stream import Stream
from tests.bench.catalogues import scaled
from tests.bench.line import Line
from tests.bench.peers import (
    PYTHON_CONSTRAINT,
    Listed,
    clingo_lists,
    cp_sat_band,
    cp_sat_cheapest,
    cp_sat_lists,
    duckdb_joins,
    python_constraint,
    task_of,
)
from tests.bench.table import ms

T = TypeVar("T")


def timed(work: Callable[[], T]) -> tuple[float, T]:
    """Return seconds of processor time and result."""
    gc.collect()
    began = time.process_time()
    result = work()
    return time.process_time() - began, result


def median(work: Callable[[], object], runs: int) -> float:
    """Return the median of several runs in seconds."""
    return statistics.median(timed(work)[0] for _ in range(runs))


def ready(catalogue: Catalogue) -> TreeEngine:
    """Return an engine that has compiled."""
    engine = TreeEngine(catalogue)
    assert engine.space.roles
    return engine


def picks(engine: TreeEngine, each: int = 2) -> list[Request]:
    """Return requests that want one part, a few of every role, that leave builds."""
    found = []
    for role in engine.space.roles:
        skus = [p.sku for p in engine.catalogue.of(role)]
        taken = 0
        for sku in skus[:: max(1, len(skus) // 7)]:
            request = Request(want=(sku,))
            if taken < each and engine.count(request).number:
                found.append(request)
                taken += 1
    return found


def compile_and_pick(parts: int, roles: int) -> Iterator[Line]:
    """Compile, count after a pick, and what remains after it."""
    catalogue = scaled(parts, roles)
    name = f"{len(catalogue.parts):,} parts"
    seconds = median(lambda: ready(catalogue), 5)
    gc.collect()
    tracemalloc.start()
    engine = ready(catalogue)
    megabytes = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    total = engine.count(Request()).number
    yield Line(
        f"compile {name} ({total:.1e} builds) to a ready engine",
        "1 s, 500 MB",
        f"{ms(seconds)}, {megabytes:.0f} MB at the peak",
        seconds <= 1.0 and megabytes <= 500,
    )
    requests = picks(engine)
    times = [median(lambda r=r: engine.count(r), 3) for r in requests]
    yield Line(
        f"exact count after a pick, {name}",
        "10 ms",
        f"{ms(statistics.median(times))} (slowest of {len(times)} picks {ms(max(times))})",
        statistics.median(times) <= 0.010,
    )
    times = [median(lambda r=r: engine.remaining(r), 3) for r in requests[::2]]
    yield Line(
        f"all remaining choices with their counts, {name}",
        "50 ms",
        f"{ms(statistics.median(times))} (slowest of {len(times)} picks {ms(max(times))})",
        statistics.median(times) <= 0.050,
    )


def _rate(listed: Listed) -> str:
    rate = listed.rate
    return f"{rate / 1e6:.1f} million/s" if rate >= 1e6 else f"{rate / 1e3:.0f} thousand/s"


def listing(parts: int, roles: int) -> Iterator[Line]:
    """List builds: ids, price and mass here; ids alone from the solvers."""
    query = ask(ready(scaled(parts, roles)).space, Request())
    task = task_of(query)

    def walk() -> int:
        return sum(len(batch) for batch in Stream(query).batches())

    seconds, builds = min(timed(walk) for _ in range(2))
    ours = Listed(builds, statistics.median([seconds, *(timed(walk)[0] for _ in range(4))]))
    yield Line(
        f"stream all {builds:,} builds (ids, price, mass), {parts} parts in each of {roles} roles",
        "",
        _rate(ours),
    )
    small = task_of(ask(ready(scaled(max(parts - 4, 6), roles)).space, Request()))
    way = max(PYTHON_CONSTRAINT, key=lambda w: python_constraint(small, w).rate)
    runs = sorted((python_constraint(task, way) for _ in range(3)), key=lambda r: r.seconds)
    assert {r.builds for r in runs} == {builds}
    yield _against(f"python-constraint, its fastest way ({way}), all of them", ours, runs[1], 30)
    found = clingo_lists(task, 200_000)
    yield _against(f"clingo, the first {found.builds:,}", ours, found, 100)
    found = cp_sat_lists(task, 15.0)
    yield _against(f"OR-Tools CP-SAT, the first {found.builds:,} (15 s)", ours, found, 500)
    runs = sorted((duckdb_joins(task) for _ in range(3)), key=lambda r: r.seconds)
    assert {r.builds for r in runs} == {builds}
    yield _against("DuckDB, a join of options and joint tables, all of them", ours, runs[1], None)


def _against(peer: str, ours: Listed, theirs: Listed, bar: int | None) -> Line:
    ratio = ours.rate / theirs.rate
    return Line(
        f"— against {peer}",
        "" if bar is None else f"{bar} times",
        f"{ratio:,.0f} times {_rate(theirs)}"
        if ratio >= 10
        else f"{ratio:.1f} times {_rate(theirs)}",
        None if bar is None else ratio >= bar,
    )


def streaming(parts: int, roles: int, builds: int = 100_000_000) -> Iterator[Line]:
    """Stream many builds of a large catalogue, and start far into the order."""
    query = ask(ready(scaled(parts, roles)).space, Request())
    stream = Stream(query)

    def walk(start: int) -> int:
        fresh = Stream(query)
        return sum(len(batch) for batch in fresh.batches(start, start + builds))

    seconds, found = timed(lambda: walk(0))
    yield Line(
        f"stream the first {found / 1e6:.0f} million builds of {parts} parts a role",
        "",
        _rate(Listed(found, seconds)),
    )
    middle = stream.total // 2

    def page() -> int:
        return len(next(Stream(query).batches(middle, middle + 50)))

    yield Line(
        f"the page of 50 builds at number {middle:.1e}, {parts} parts a role",
        "",
        ms(median(page, 5)),
    )


def cheapest(parts: int, roles: int, *, against: bool) -> Iterator[Line]:
    """Find the 100 cheapest under mass limits, against CP-SAT's one, and its hundred."""
    engine = ready(scaled(parts, roles))
    task = task_of(ask(engine.space, Request()))
    (cheap,) = engine.best(Request(), limit=1)
    (light,) = engine.best(Request(), sort="mass", limit=1)
    ends = [TENTHS * (b.mass_g or 0.0) for b in (light, cheap)]
    limits = [round(np.interp(share, (0, 1), ends)) for share in (0.1, 0.3, 0.5, 0.7, 0.9)]
    requests = [Request(max_mass_g=tenths / TENTHS) for tenths in limits]
    ours = [median(lambda r=r: engine.best(r, limit=100), 5) for r in requests]
    what = f"the 100 cheapest under a mass limit, {parts} parts a role, {len(limits)} limits"
    took = f"{ms(statistics.median(ours))} (slowest {ms(max(ours))})"
    if not against:
        yield Line(what, "", took)
        return
    ones, hundreds, same = [], [], True
    for tenths, request, mine in zip(limits, requests, ours, strict=True):
        prices = [b.price for b in engine.best(request, limit=100)]
        one = cp_sat_cheapest(task, tenths, 10.0)
        same = same and one.proved and one.prices == prices[:1]
        ones.append(one.seconds / mine)
        if tenths not in limits[::2]:
            continue
        five = cp_sat_cheapest(task, tenths, 10.0, builds=5)
        same = same and five.prices == prices[: len(five.prices)]
        one_by_one = five.seconds / len(five.prices) * 100
        band = cp_sat_band(task, tenths, prices[-1], 12.0)
        same = same and (band is None or band.builds >= 100)
        hundreds.append(min(one_by_one, math.inf if band is None else band.seconds) / mine)
    yield Line(
        what,
        "same optimum",
        f"{took}; {'same prices as CP-SAT' if same else 'prices differ from those of CP-SAT'}",
        same,
    )
    yield Line(
        f"100 cheapest, {parts} parts a role, against OR-Tools CP-SAT for the same hundred, "
        "three of the limits",
        "20 times",
        f"{statistics.median(hundreds):,.0f} times (least {min(hundreds):,.0f})",
        min(hundreds) >= 20,
    )
    yield Line(
        f"100 cheapest, {parts} parts a role, against OR-Tools CP-SAT for the one cheapest only",
        "20 times",
        f"{statistics.median(ones):.1f} times (least {min(ones):.1f}), while listing a hundred",
        min(ones) >= 20,
    )


def within_limits(parts: int, roles: int) -> Iterator[Line]:
    """Count under both limits, after a first answer."""
    engine = ready(scaled(parts, roles))
    sums = sample_sums(ask(engine.space, Request()), 20_000, np.random.default_rng(3), certain=True)
    engine.count(Request())
    engine.count(Request(budget=int(np.quantile(sums[0], 0.3))))  # libraries are loaded by that
    times, widths, exact = [], [], 0
    for q in (0.0, 0.01, 0.1, 0.25, 0.5, 0.75, 0.95):
        request = Request(
            budget=int(np.quantile(sums[0], q)) if q else int(sums[0].min() * 0.6),
            max_mass_g=float(np.quantile(sums[1], max(q, 0.3))) / TENTHS,
        )
        times.append(median(lambda r=request: engine.count(r), 3))
        counted = engine.count(request)
        exact += counted.exact
        if not counted.exact and counted.number:
            widths.append((counted.most - counted.least) / 2 / counted.number)
    spread = f"half-width of the 99 % interval {max(widths):.1%} at most" if widths else ""
    yield Line(
        f"count under both limits, {parts} parts a role, {len(times)} pairs of limits",
        "200 ms",
        f"{ms(statistics.median(times))} (slowest {ms(max(times))}); {exact} exact; {spread}",
        max(times) <= 0.2,
    )


def growth(sizes: Sequence[int], roles: int) -> list[tuple[int, float, float]]:
    """Return parts, and seconds to compile and to count after a pick, at fixed classes."""
    found = []
    for size in sizes:
        catalogue = scaled(size, roles)
        compiling = median(lambda c=catalogue: ready(c), 3)
        engine = ready(catalogue)
        request = picks(engine, each=1)[0]
        found.append((size * roles, compiling, median(lambda e=engine, r=request: e.count(r), 9)))
    return found


def slope(points: Sequence[tuple[int, float]]) -> float:
    """Return the exponent p of a fitted power law, seconds ~ parts ** p."""
    parts, seconds = np.log(np.array(points)).T
    return float(np.polyfit(parts, seconds, 1)[0])


def growth_lines(points: Sequence[tuple[int, float, float]]) -> Iterator[Line]:
    """Say how fast compile and count grow."""
    for name, at in (("compile", 1), ("count after a pick", 2)):
        power = slope([(p[0], p[at]) for p in points])
        yield Line(
            f"growth of {name} from {points[0][0]:,} to {points[-1][0]:,} parts, fixed classes",
            "no faster than linear",
            f"parts to the power {power:.2f} ({ms(points[0][at])} to {ms(points[-1][at])})",
            power <= 1.0,
        )
