"""How fast a large catalogue is read: ``python -m tests.bench.intake [--parts N]``.

The tables are the demo's own rows over and over. Figures and features are as many and as mixed as
there; each part has a stock number, a name, a price and a mass of its own. Seconds are processor
time of the call (what a watch shows where nothing else runs), memory is the most that the process
held with all of Python and numpy; each line is a process of its own. Cold is the first reading,
which also fills the cache; warm is the next process, out of the cache.
"""

from __future__ import annotations

import argparse
import csv
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from fitgraph.catalogue import demo_folder
from fitgraph.files import written_whole
from fitgraph.units import parse_mass

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


def main() -> None:
    """Print the lines of each size."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--parts", type=int, nargs="*", default=sorted(TARGETS))
    for parts in asked.parse_args().parts:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "shop"
            began = time.perf_counter()
            large_catalogue(folder, parts)
            print(f"{parts:>9,} parts written in {time.perf_counter() - began:.1f} s", flush=True)
            bars = TARGETS.get(parts, (None, None))
            for what, bar in zip(("cold", "warm", "warm"), (*bars, bars[1]), strict=True):
                seconds, megabytes, found = measured(folder, Path(place) / "cache")
                assert found == parts
                aim = "" if bar is None else f"  (bar {bar[0]:g} s, {bar[1]:g} MB)"
                print(f"     {what}: {seconds:6.2f} s, {megabytes:7.0f} MB{aim}", flush=True)


if __name__ == "__main__":
    main()
