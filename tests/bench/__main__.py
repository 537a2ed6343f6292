"""Run the benchmarks: ``python -m tests.bench --write docs/benchmarks.md``."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterable
from pathlib import Path

from tests.bench.machine import machine
from tests.bench.report import as_markdown, as_text, growth_svg
from tests.bench.sections import (
    Line,
    cheapest,
    compile_and_pick,
    front,
    growth,
    growth_lines,
    listing,
    streaming,
    within_limits,
)

#: Parts a role and roles of the catalogue that all peers list: about a million builds.
LISTED = (12, 8)

#: Parts a role at which the cheapest builds are compared with CP-SAT's.
COMPARED = 200

PAGE = """# Benchmarks

Measured with `python -m tests.bench --write docs/benchmarks.md` (extra `bench`), in {minutes:.1f}
minutes, on {machine}

All figures come from one process, on generated catalogues (`tests/bench/catalogues.py`, seeded,
shapes of the demo). Times are medians of several runs, on one thread, of processor time (which
is what a watch shows where nothing else runs). Peers run side by side on the same
catalogue: they get the options that are let in and tables of what the joints allow; making their
models is not timed, nor is compiling ours, except where a line says so. They list ids alone;
fitgraph lists ids, price and mass. Each peer is taken at the fastest of the ways we know.
CP-SAT has the hundred cheapest one by one (five timed, and taken twenty times) or by listing all
up to the hundredth price, which fitgraph found for it, whichever is quicker.

{table}

{missed}

![Time to compile and to count, by number of parts, both nearly flat to linear](growth.svg)

What the bars do not say: the peers are general solvers and take any constraint; fitgraph's
engine is made for joints between a few roles each, and is as quick as its widest clique is small
(see [the engine](engine.md)).
"""


def _told(lines: Iterable[Line]) -> list[Line]:
    found = []
    for line in lines:
        print(as_text(line), flush=True)
        found.append(line)
    return found


def main() -> None:
    """Measure, print, and write if asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--parts", type=int, nargs="+", default=[40, 200, 1000], help="a role")
    parser.add_argument("--roles", type=int, default=12)
    parser.add_argument("--write", type=Path, help="Markdown file; growth.svg goes beside it")
    given = parser.parse_args()
    began = time.monotonic()
    print(machine())
    lines: list[Line] = []
    for parts in given.parts:
        lines += _told(compile_and_pick(parts, given.roles))
    lines += _told(listing(*LISTED))
    lines += _told(streaming(max(given.parts), given.roles))
    for parts in given.parts:
        lines += _told(cheapest(parts, given.roles, against=parts == COMPARED))
    for parts in given.parts:
        lines += _told(within_limits(parts, given.roles))
    for parts in given.parts:
        lines += _told(front(parts, given.roles))
    points = growth([100, 200, 400, 800, 1600], given.roles)
    lines += _told(growth_lines(points))
    taken = time.monotonic() - began
    print(f"{taken:.0f} s in all")
    if given.write is not None:
        missed = [line for line in lines if line.met is False]
        told = (
            "Every bar is met."
            if not missed
            else "\n".join(
                [
                    "Bars that are missed:",
                    "",
                    *(f"- {m.what}: {m.found}; the bar is {m.bar}." for m in missed),
                ]
            )
        )
        page = PAGE.format(
            minutes=taken / 60, machine=machine(), table=as_markdown(lines), missed=told
        )
        given.write.write_text(page, encoding="utf-8")
        given.write.with_name("growth.svg").write_text(growth_svg(points), encoding="utf-8")


if __name__ == "__main__":
    main()
