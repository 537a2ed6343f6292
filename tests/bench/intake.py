"""How fast a large catalogue is read: ``python -m tests.bench.intake [--parts N]``.

The tables are the demo's own rows over and over under stock numbers of their own, so figures and
features are as many and as mixed as there. Seconds are of the wall clock, memory is the most
that the process held (its own process for each line).
"""

from __future__ import annotations

import argparse
import csv
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from fitgraph.catalogue import demo_folder
from fitgraph.files import written_whole

#: Seconds and megabytes that each size may take.
TARGETS = {100_000: (5.0, 500.0), 1_000_000: (60.0, 3000.0)}
#: Seconds that 100,000 parts may take out of the cache.
CACHED = 0.5


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
    with (
        written_whole(folder / "parts.csv") as one,
        written_whole(folder / "features.csv") as two,
        written_whole(folder / "stock.csv") as three,
    ):
        for name, file in (("parts.csv", one), ("features.csv", two), ("stock.csv", three)):
            writers[name] = csv.writer(file, lineterminator="\n")
            writers[name].writerow(heads[name])
        for n in range(parts):
            sku, *rest = models[n % len(models)]
            new = f"{sku}-{n // len(models):04}"
            writers["parts.csv"].writerow([new, *rest])
            for name, body in of.get(sku, {}).items():
                writers[name].writerows([new, *row] for row in body)


def measured(folder: Path) -> tuple[float, float, int]:
    """Return the seconds, the most megabytes and the parts of reading a folder, in a process."""
    code = (
        "import resource, sys, time\n"
        "from fitgraph.catalogue import load\n"
        "began = time.perf_counter()\n"
        "loaded = load(sys.argv[1])\n"
        "took = time.perf_counter() - began\n"
        "most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024\n"
        "print(took, most, len(loaded.catalogue.parts))\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True
    ).stdout.split()
    return float(told[0]), float(told[1]), int(told[2])


def main() -> None:
    """Print one line a size."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--parts", type=int, nargs="*", default=sorted(TARGETS))
    for parts in asked.parse_args().parts:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "shop"
            began = time.perf_counter()
            large_catalogue(folder, parts)
            print(f"{parts:>9,} parts written in {time.perf_counter() - began:.1f} s", flush=True)
            for what in ("read from CSV", "read again"):
                seconds, megabytes, found = measured(folder)
                assert found == parts
                target = TARGETS.get(parts)
                aim = f"  (aim {target[0]:g} s, {target[1]:g} MB)" if target else ""
                print(f"          {what}: {seconds:6.2f} s, {megabytes:7.0f} MB{aim}", flush=True)
    assert resource.getpagesize() > 0


if __name__ == "__main__":
    main()
