"""How soon the notebooks answer a move: ``python -m tests.bench.lab``.

A component is driven in an event loop, as a kernel drives it. The time of a move runs from the
change of a field to the last change of what it shows first (the answer) and to the end of all
that follows (changes looked for, exact counts), both without the way to the browser. The wait
for typed text to pause is left out: it is constant, see ``fitgraph.lab.debounce``.
"""

from __future__ import annotations

import asyncio
import statistics
import time
from collections.abc import Callable
from typing import Any

from fitgraph.lab import BuildExplorer, FitLesson, OpenCatalogue, WhyExplorer, open_catalogue
from fitgraph.solve import Request
from tests.bench.catalogues import scaled


async def _quiet(component: Any) -> None:
    while component._tasks:
        await asyncio.sleep(0.002)


async def moves(component: Any, first: Any, acts: list[Callable[[], None]]) -> list[list[float]]:
    """Return for each act the times in s to the first answer and to the last."""
    times = []
    for act in acts:
        await _quiet(component)
        seen: list[float] = []
        begun = time.perf_counter()

        def note(_change: object, begun: float = begun, seen: list[float] = seen) -> None:
            seen.append(time.perf_counter() - begun)

        first.observe(note, names="value")
        act()
        for _ in range(3):
            await asyncio.sleep(0)
        await asyncio.sleep(0.003)
        await _quiet(component)
        first.unobserve(note, names="value")
        times.append([seen[0] if seen else float("nan"), time.perf_counter() - begun])
    return times


def _set(field: Any, value: Any) -> Callable[[], None]:
    return lambda: setattr(field, "value", value)


async def _builds(shop: OpenCatalogue) -> dict[str, list[list[float]]]:
    forks = [p.sku for p in shop.catalogue.of(next(iter(shop.catalogue.vocabulary.roles)))[:4]]
    role = shop.catalogue.parts[forks[0]].role
    page = BuildExplorer(shop)
    await _quiet(page)
    page._ask_soon._wait_s = 0.0
    field = page.pickers[role].field
    parts = await moves(page, page.roles_table, [_set(field, sku) for sku in forks])
    middle = (page.budget_field.slider.min + page.budget_field.slider.max) / 2
    slides = await moves(
        page, page.number, [_set(page.budget_field.slider, middle + 5 * n) for n in range(4)]
    )
    page.front_panel.stop()
    return {"builds: a part named": parts, "builds: budget moved": slides}


async def _why(shop: OpenCatalogue) -> dict[str, list[list[float]]]:
    source = shop.catalogue.vocabulary.strength
    assert source is not None
    held = source.outside.role
    parts = [p.sku for p in shop.catalogue.of(held)[:5]]
    other = next(r for r in shop.catalogue.vocabulary.roles if r != held)
    page = WhyExplorer(shop, (shop.catalogue.of(other)[0].sku,))
    await _quiet(page)
    page._ask_soon._wait_s = 0.0
    field = page.pickers[held].field
    return {"why: a part named": await moves(page, page.verdict, [_set(field, s) for s in parts])}


async def _lesson(shop: OpenCatalogue) -> dict[str, list[list[float]]]:
    source = shop.catalogue.vocabulary.strength
    assert source is not None
    held = source.outside.role
    best = shop.engine.best(Request(want=(shop.catalogue.of(held)[0].sku,)), limit=1)[0]
    page = FitLesson(shop, {"one": tuple(best.parts.values())})
    page._draw_soon._wait_s = 0.0
    slider = page.sliders["bore"]
    acts = [_set(slider, slider.value + 0.1 * n) for n in range(1, 5)]
    return {"lesson: a size moved": await moves(page, page.drawing, acts)}


def main() -> None:
    """Print a table of times in ms."""
    print(f"{'catalogue':>10} {'move':<24} {'answer, ms':>12} {'all, ms':>10}")
    for shop in (open_catalogue(), OpenCatalogue(scaled(417, 12))):
        _ = shop.engine.space, shop.explainer.space
        for measure in (_builds, _why, _lesson):
            for name, times in asyncio.run(measure(shop)).items():
                answers, alls = zip(*times, strict=True)
                print(
                    f"{len(shop.catalogue.parts):>10} {name:<24} "
                    f"{statistics.median(answers) * 1000:>12.0f} "
                    f"{statistics.median(alls) * 1000:>10.0f}"
                )


if __name__ == "__main__":
    main()
