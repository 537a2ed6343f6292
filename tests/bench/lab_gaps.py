"""How soon the page of gaps in stock answers a move: ``python -m tests.bench.lab_gaps``.

The page is driven in an event loop, as a kernel drives it: first until all of it is worked out,
then move by move. Times run from the change of a field to the first change of what it shows,
without the way to the browser and without the wait for a slider to rest.
"""

from __future__ import annotations

import argparse
import asyncio
import dataclasses
import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from fitgraph.lab import OpenCatalogue, StockGaps, open_catalogue
from tests.bench.catalogues import scaled
from tests.bench.stock import enquiries_for

#: Share of parts in stock in the made catalogue, and its enquiries.
IN_STOCK, ENQUIRIES = 0.05, 1000


def large(parts: int, roles: int = 12) -> OpenCatalogue:
    """Return a made catalogue with enquiries, most parts of which are not in stock."""
    catalogue = scaled(parts, roles)
    rng = np.random.default_rng(0)
    held = {s: int(rng.random() < IN_STOCK) for s in catalogue.parts}
    stocked = {s: dataclasses.replace(p, stock=held[s]) for s, p in catalogue.parts.items()}
    by_role = {r: tuple(stocked[p.sku] for p in of) for r, of in catalogue.by_role.items()}
    bare = dataclasses.replace(catalogue, parts=stocked, by_role=by_role)
    asked = enquiries_for(OpenCatalogue(bare).engine, ENQUIRIES)
    return OpenCatalogue(dataclasses.replace(bare, enquiries=asked))


async def until(true: Callable[[], bool], seconds: float) -> float:
    """Return how long something takes to come true, in s; infinite if it does not in time."""
    begun = time.perf_counter()
    while time.perf_counter() - begun < seconds:
        if true():
            return time.perf_counter() - begun
        await asyncio.sleep(0.002)
    return float("inf")


async def answer(shown: Any, trait: str, act: Callable[[], None]) -> float:
    """Return how long after a move something else is shown, in s."""
    seen: list[float] = []
    begun = time.perf_counter()

    def note(_change: object) -> None:
        seen.append(time.perf_counter() - begun)

    shown.observe(note, names=trait)
    act()
    await until(lambda: bool(seen), 30.0)
    shown.unobserve(note, names=trait)
    return seen[0] if seen else float("nan")


async def measure(shop: OpenCatalogue, patience: float) -> None:
    """Print the times of one catalogue."""

    def told(what: str, seconds: float) -> None:
        figure = "not within the limit" if seconds == float("inf") else f"{seconds * 1000:,.0f} ms"
        print(f"{len(shop.catalogue.parts):>6} parts  {what:<42} {figure:>22}", flush=True)

    begun = time.perf_counter()
    _ = shop.engine.space
    told("compile the catalogue", time.perf_counter() - begun)
    begun = time.perf_counter()
    page = StockGaps(shop)
    told("open the page, until it can be used", time.perf_counter() - begun)
    told(
        "... coverage shown after", await until(lambda: page.covered.coverage is not None, patience)
    )
    left = await until(lambda: bool(page.restock.curve.known.plans), patience)
    told("... first orders after", time.perf_counter() - begun if left < float("inf") else left)
    left = await until(lambda: page.restock.curve.known.complete, patience)
    complete = left < float("inf")
    told("... whole curve after", time.perf_counter() - begun if complete else left)
    if not complete:
        page.restock.meter.button.click()
        told("... orders stopped after", await until(lambda: not page.restock._tasks, patience))
    left = await until(lambda: not page._tasks, patience)
    told("... all else after", time.perf_counter() - begun if left < float("inf") else left)
    page.covered.stop()
    await until(lambda: not page.covered._tasks, patience)

    names = [value for _, value in page.covered.rows.options]
    rows = [
        await answer(
            page.covered.cells, "table", lambda v=v: setattr(page.covered.rows, "value", v)
        )
        for v in names
        if v != page.covered.rows.value
    ]
    told("rows changed: matrix", statistics.median(rows))
    spots = [
        [row["key"], column["key"]]
        for row, of in zip(page.covered.cells.rows, page.covered.cells.cells, strict=True)
        for column, cell in zip(page.covered.cells.columns, of, strict=True)
        if cell is not None
    ][:4]
    cells = [
        await answer(
            page.covered.list, "value", lambda s=s: setattr(page.covered.cells, "chosen", s)
        )
        for s in spots
    ]
    told("cell chosen: list", statistics.median(cells))
    fresh = [e for e, _ in page.covered.listed if e not in page.covered.said]
    if fresh:
        first = fresh[0]
        told("... first of what they lack", await until(lambda: first in page.covered.said, 60.0))
    page.covered.stop()
    await until(lambda: not page.covered._tasks, patience)
    bars = [
        await answer(page.trend.table, "value", lambda v=v: setattr(page.trend.by, "value", v))
        for _, v in page.trend.by.options[1:]
    ]
    if page.trend.chart.figure.data[-1].x:
        told("bars split otherwise: chart", statistics.median(bars))
    lacks = [
        await answer(
            page.stranded.table, "value", lambda v=v: setattr(page.stranded.lacks, "value", v)
        )
        for _, v in page.stranded.lacks.options[1:]
    ]
    told("stranded parts filtered: table", statistics.median(lacks))
    if complete:
        page.restock._answer_soon._wait_s = 0.0
        slider = page.restock.budget.slider
        moves = [
            await answer(page.restock.orders, "value", lambda n=n: setattr(slider, "value", n))
            for n in (slider.max * np.array([0.1, 0.3, 0.6, 0.9])).round().tolist()
        ]
        told("budget moved: orders", statistics.median(moves))


def main() -> None:
    """Print the times of the demo and of a large catalogue."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--parts", type=int, default=417, help="a role, in the made catalogue")
    parser.add_argument("--limit", type=float, default=60.0, help="seconds to wait for one thing")
    asked = parser.parse_args()
    asyncio.run(measure(open_catalogue(), asked.limit))
    asyncio.run(measure(large(asked.parts), asked.limit))


if __name__ == "__main__":
    main()
