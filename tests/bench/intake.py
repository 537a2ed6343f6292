"""How fast a large catalogue is read (``python -m tests.bench.intake --write PAGE``).

The tables are the demo's own rows over and over; see :data:`PAGE`.
"""

from __future__ import annotations

import argparse
import csv
import os
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from fitgraph.catalogue import demo_folder
from fitgraph.files import write_text_whole, written_whole
from fitgraph.units import parse_mass
from tests.bench.machine import machine

#: Seconds and megabytes that each size may take, from the tables and out of the cache.
TARGETS = {100_000: ((5.0, 500.0), (0.5, 500.0)), 1_000_000: ((60.0, 3000.0), (5.0, 3000.0))}


def large_catalogue(folder: Path, parts: int) -> None:
    """Write a catalogue of so many parts, made of the demo's rows."""
    demo = demo_folder()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "vocabulary.toml").write_bytes((demo / "vocabulary.toml").read_bytes())

    def rows(name: str) -> tuple[list[str], list[list[str]]]:
        with (demo / name).open(encoding="utf-8", newline="") as file:
            header, *body = csv.reader(file)
        return header, body

    head, models = rows("parts.csv")
    of: dict[str, dict[str, list[list[str]]]] = {}
    heads = {"parts.csv": head}
    for name in ("features.csv", "stock.csv"):
        heads[name], body = rows(name)
        for row in body:
            of.setdefault(row[0], {}).setdefault(name, []).append(row[1:])
    writers = {}
    rng = random.Random(1)
    price, mass, title = (head.index(column) for column in ("price", "mass", "name"))
    with (
        written_whole(folder / "parts.csv") as one,
        written_whole(folder / "features.csv") as two,
        written_whole(folder / "stock.csv") as three,
    ):
        for name, file in (("parts.csv", one), ("features.csv", two), ("stock.csv", three)):
            writers[name] = csv.writer(file, lineterminator="\n")
            writers[name].writerow(heads[name])
        for n in range(parts):
            row = list(models[n % len(models)])
            sku = row[0]
            new = row[0] = f"{sku}-{n // len(models):04}"
            row[title] += f" {n}"
            if row[price]:
                row[price] = f"{rng.randint(500, 40_000) / 100:.2f}"
            if row[mass]:
                row[mass] = f"{parse_mass(row[mass]) * rng.uniform(0.98, 1.02):.1f} g"
            writers["parts.csv"].writerow(row)
            for name, body in of.get(sku, {}).items():
                writers[name].writerows([new, *row] for row in body)


def measured(folder: Path, cache: Path) -> tuple[float, float, int]:
    """Return the seconds, the most megabytes and the parts of reading a folder, in a process."""
    code = (
        "import resource, sys, time\n"
        "from fitgraph.catalogue import load\n"
        "began = time.process_time()\n"
        "loaded = load(sys.argv[1])\n"
        "took = time.process_time() - began\n"
        "most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024\n"
        "print(took, most, len(loaded.catalogue.parts))\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(folder)],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "XDG_CACHE_HOME": str(cache)},
    ).stdout.split()
    return float(told[0]), float(told[1]), int(told[2])


PAGE = """# Benchmarks of reading

Measured with `python -m tests.bench.intake --write docs/benchmarks-reading.md`, on {machine}

The tables are the demo's own rows over and over. Figures and features are as many and as mixed as
there; each part has a stock number, a name, a price and a mass of its own. Each reading is a
process of its own. Seconds are processor time of `load()`, which is what a watch shows where
nothing else runs: the least of the runs, and the most. Memory is the most that the process held,
with Python and numpy. *Cold* reads and checks every row and fills the cache; *warm* is a later
process, which compares every byte of the tables with what was read and takes the rest from the
cache (`fitgraph/catalogue/cache.py`).

| parts | reading | bar | found | runs | bar met |
| --- | --- | --- | --- | --- | --- |
{lines}

Processor time grows where other work shares the cores, so the least is nearest to what the code
needs; the most tells how busy the machine was.
"""


def read(folder: Path, parts: int, cold: bool, runs: int) -> str:
    """Return a line of the table: the same reading several times."""
    bar = TARGETS[parts][0 if cold else 1]
    seconds, most = [], 0.0
    for _ in range(runs):
        cache = folder.parent / "cache"
        if cold:
            shutil.rmtree(cache, ignore_errors=True)
        took, megabytes, found = measured(folder, cache)
        assert found == parts
        seconds.append(took)
        most = max(most, megabytes)
    met = "yes" if min(seconds) <= bar[0] and most <= bar[1] else "NO"
    line = (
        f"| {parts:,} | {'cold' if cold else 'warm'} | {bar[0]:g} s, {bar[1]:,.0f} MB "
        f"| {min(seconds):.2f} s (most {max(seconds):.2f} s), {most:,.0f} MB | {runs} | {met} |"
    )
    print(line, flush=True)
    return line


def main() -> None:
    """Print a line for each reading, and write the page if asked to."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--parts", type=int, nargs="*", default=sorted(TARGETS))
    asked.add_argument("--write", type=Path)
    given = asked.parse_args()
    lines = []
    for parts in given.parts:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "shop"
            large_catalogue(folder, parts)
            runs = 5 if parts <= 100_000 else 1
            lines.append(read(folder, parts, True, runs))
            lines.append(read(folder, parts, False, max(runs, 2)))
    if given.write is not None:
        page = PAGE.format(machine=machine(), lines="\n".join(lines))
        write_text_whole(given.write, page)


if __name__ == "__main__":
    main()
