"""How soon the map of made parts answers a move: ``python -m tests.bench.lab_adapters``.

As in :mod:`tests.bench.lab`: an answer is the first change of what a move is for, all is the
end of what follows (weights, yields, drawing, files), both without the way to the browser. The
large catalogue has 400 enquiries.
"""

from __future__ import annotations

import asyncio
import statistics
from collections.abc import Callable
from typing import Any

from fitgraph.lab import AdapterMap, OpenCatalogue, open_catalogue
from tests.bench.adapters import crowd
from tests.bench.catalogues import scaled
from tests.bench.lab import _quiet, _set, moves


async def _measured(shop: OpenCatalogue) -> dict[str, list[list[float]]]:
    page = AdapterMap(shop)
    await _quiet(page)
    page._ask_soon._wait_s = page._look_soon._wait_s = 0.0
    keys = [key for _, key in page.list.options]
    found: dict[str, list[list[float]]] = {}

    async def measure(name: str, first: Any, acts: list[Callable[[], None]]) -> None:
        found[name] = await moves(page, first, acts)

    await measure("a part chosen", page.details, [_set(page.list, k) for k in keys[1:5]])
    await measure("as many as", page.together, [_set(page.k, float(k)) for k in (2, 3, 4)])
    sizes = [_set(page.metric, name) for name in page.metric.options[1:4]]
    await measure("size of the dots", page.session.save, sizes)
    words = [_set(page.word, word) for _, word in page.word.options[1:4]]
    await measure("made for", page.details, words or [])
    page.word.value = ""
    await _quiet(page)
    grades = [g for _, g in page.grade.options if g != page.grade.value][:3]
    await measure("another tolerance", page.meter.status, [_set(page.grade, g) for g in grades])
    await measure("added for a trial", page.trial, [page.add.click])
    return found


def main() -> None:
    """Print a table of times in ms."""
    print(f"{'catalogue':>10} {'move':<20} {'answer, ms':>12} {'all, ms':>10}")
    for catalogue in (open_catalogue().catalogue, crowd(scaled(417, 12), 400)):
        shop = OpenCatalogue(catalogue)
        _ = shop.engine.space
        for name, times in asyncio.run(_measured(shop)).items():
            if times:
                answers, alls = zip(*times, strict=True)
                print(
                    f"{len(catalogue.parts):>10} {name:<20} "
                    f"{statistics.median(answers) * 1000:>12.0f} "
                    f"{statistics.median(alls) * 1000:>10.0f}"
                )


if __name__ == "__main__":
    main()
