"""Run the benchmarks: ``python -m tests.bench --write docs/benchmarks.md``.

``--only NAMES`` runs some sections; the page keeps the others as they are.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.bench import public, table
from tests.bench.alone import alone
from tests.bench.line import Line
from tests.bench.machine import machine
from tests.bench.page import page, section, sections_of
from tests.bench.report import as_text, growth_svg
from tests.bench.sections import (
    cheapest,
    compile_and_pick,
    growth,
    growth_lines,
    listing,
    streaming,
    within_limits,
)

#: Parts a role of the catalogues, their roles, and the parts at which CP-SAT is compared.
PARTS, ROLES, COMPARED = (40, 200, 1000), 12, 200

#: Parts a role and roles of the catalogue that all peers list: about a million builds.
LISTED = (12, 8)

#: Parts a role of the catalogues on which growth is measured.
GROWN = (100, 200, 400, 800, 1600)

#: The curve of growth, if it was measured.
_curve: list[str] = []


def _shapes() -> Iterator[Line]:
    for parts in PARTS:
        yield from compile_and_pick(parts, ROLES)


def _listing() -> Iterator[Line]:
    yield from listing(*LISTED)
    yield from streaming(max(PARTS), ROLES)


def _cheapest() -> Iterator[Line]:
    for parts in PARTS:
        yield from cheapest(parts, ROLES, against=parts == COMPARED)
    yield from table.ranked()


def _limits() -> Iterator[Line]:
    for parts in PARTS[:-1]:
        yield from within_limits(parts, ROLES)
    yield from table.limited()


def _public() -> Iterator[Line]:
    yield from public.feature_models(alone)
    yield from public.published_counts(alone)


def _growth() -> Iterator[Line]:
    points = growth(GROWN, ROLES)
    _curve.append(growth_svg(points))
    yield from growth_lines(points)


#: The sections: name, title, and what measures them.
SECTIONS: dict[str, tuple[str, Callable[[], Iterator[Line]]]] = {
    "shapes": ("Catalogues of shared shapes", _shapes),
    "measured": ("Catalogues of which every part is measured", table.measured_parts),
    "cores": ("Rings and a clique of roles", table.cores),
    "listing": ("Lists", _listing),
    "cheapest": ("The cheapest builds", _cheapest),
    "limits": ("Counts under limits", _limits),
    "fronts": ("Fronts of price, mass and strength", table.fronts),
    "gaps": ("Gaps in stock", table.gaps),
    "public": ("Public instances", _public),
    "growth": ("Growth", _growth),
}


def _measured(name: str) -> tuple[list[Line], float]:
    """Return the lines of a section, printed as they come; one that fails ends only itself."""
    title, work = SECTIONS[name]
    print(f"-- {title} ({name})", flush=True)
    lines: list[Line] = []
    began = time.monotonic()
    try:
        for line in work():
            print(as_text(line), flush=True)
            lines.append(line)
    except Exception as error:  # whatever it is, the other sections go on
        lines.append(Line(title, "", f"failed: {type(error).__name__}: {error}", False))
        print(as_text(lines[-1]), flush=True)
    return lines, time.monotonic() - began


def main() -> None:
    """Measure, print, and write if asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument(
        "--only", nargs="+", choices=SECTIONS, metavar="NAME", help=", ".join(SECTIONS)
    )
    parser.add_argument("--write", type=Path, help="Markdown file; growth.svg goes beside it")
    given = parser.parse_args()
    print(machine())
    file: Path | None = given.write
    kept = {} if file is None or not file.exists() else sections_of(file.read_text("utf-8"))
    began = time.monotonic()
    for name in given.only or SECTIONS:
        lines, seconds = _measured(name)
        kept[name] = section(name, SECTIONS[name][0], lines, seconds, machine())
        if file is not None:  # after each section, so that nothing is lost
            whole = {n: kept[n] for n in SECTIONS if n in kept}
            file.write_text(page(whole), encoding="utf-8")
    print(f"{time.monotonic() - began:.0f} s in all")
    if file is not None and _curve:
        file.with_name("growth.svg").write_text(_curve[-1], encoding="utf-8")


if __name__ == "__main__":
    main()
