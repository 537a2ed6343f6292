"""Spoilt inputs by the thousand: ``python -m tests.fuzz_intake --inputs 100000``.

Each input is one of ``tests/messy`` or a table of a catalogue with some bytes changed, put in,
taken out or repeated. Whatever comes of it: no traceback, no hang, no row lost, and the rows whose
lines were not touched are read as before.
"""

from __future__ import annotations

import argparse
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from fitgraph.catalogue import CatalogueError, demo_folder, load
from fitgraph.intake import MappingError, SourceError
from fitgraph.intake.job import Job, mapping_of, prepared
from fitgraph.intake.mapping import FIELDS
from fitgraph.intake.understood import take_in

#: Seconds of processor time after which an input counts as hanging.
HANG = 10

_PIECES = (
    *(b",", b";", b"\t", b'"', b"'", b"\n", b"\r", b"\r\n", b"\0", b" ", b".", b"-", b"=", b"\xff"),
    *(b"\xef\xbb\xbf", b"\xff\xfe", b"\xe2\x80\xae", b"\x1b[2J", b"1,000", b"1e308", b"9" * 400),
    *(b"\xe2\x88\x92", b"#REF!", b"Total", b"<script>", b"[" * 50, b"Item no", b"1 1/8", b"8x10"),
)


class HangError(Exception):
    """An input took too long."""


def _alarm(*_: object) -> None:
    raise HangError


def spoilt(data: bytes, rng: random.Random) -> bytes:
    """Return data with one to four changes."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        at = rng.randint(0, len(out))
        to = min(len(out), at + rng.randint(1, 12))
        kind = rng.randrange(6)
        if kind == 0:
            del out[at:to]
        elif kind == 1:
            out[at:at] = rng.choice(_PIECES)
        elif kind == 2:
            out[at:to] = rng.choice(_PIECES)
        elif kind == 3:
            out[at:at] = rng.randbytes(rng.randint(1, 8))
        elif kind == 4:
            out[at:at] = out[at:to] * rng.randint(1, 5)
        else:
            del out[at:]
    return bytes(out)


def as_read(parts: Any) -> dict[str, tuple[Any, ...]]:
    """Return what an import made of each part, by its stock number."""
    return {p.sku: (p.role, p.price, p.mass_g, p.stock, p.name) for p in parts}


def imported(file: Path, like: Job) -> tuple[dict[str, tuple[Any, ...]], frozenset[str]] | None:
    """Import a file as far as the folder; None where it ended in words.

    With the parts comes what nobody would have been asked about: a price of which it is not
    certain in which column it stands is no price that was read in silence.
    """
    try:
        job = prepared([str(file)], like.words, like=like)
        intake = take_in(
            job.tables, mapping_of(job, job.choices), job.vocabulary, job.phrases, job.sheets
        )
    except (SourceError, MappingError, CatalogueError) as error:
        assert str(error)
        return None
    for tally in intake.tallies:
        tally.check()
    assert all(f.message and f.remedy and str(f).isprintable() for f in intake.findings)
    doubtful = {c.taken.means for c in job.choices if not c.sure}
    return as_read(intake.parts), frozenset(FIELDS) - doubtful


def checked(folder: Path) -> None:
    """Load a catalogue folder, or have it say why not."""
    try:
        loaded = load(folder)
    except CatalogueError as error:
        assert error.findings and all(f.message and f.remedy for f in error.findings)
        return
    for tally in loaded.tallies.values():
        tally.check()
    assert all(str(f).isprintable() for f in loaded.findings)


def fuzz(inputs: int, seed: int = 1, *, first: int = 0, tell: bool = False) -> Counter[str]:
    """Try so many inputs from the first on; return how often each kind of outcome came.

    Raises
    ------
    AssertionError, HangError
        Whatever an input brings down; its bytes are left in the message.
    """
    messy = sorted((Path(__file__).parent / "messy").glob("*.csv"))
    small = demo_folder().parent / "hoses"
    tables = {p.name: p.read_bytes() for p in small.glob("*.csv")}
    before: dict[Path, tuple[dict[str, tuple[Any, ...]], frozenset[str]] | None] = {}
    came: Counter[str] = Counter()
    like = prepared([str(messy[0])], demo_folder())
    began = time.monotonic()
    signal.signal(signal.SIGPROF, _alarm)
    with tempfile.TemporaryDirectory() as place:
        file, folder = Path(place) / "list.csv", Path(place) / "shop"
        folder.mkdir()
        (folder / "vocabulary.toml").write_bytes((small / "vocabulary.toml").read_bytes())
        for n in range(first, first + inputs):
            rng = random.Random(f"{seed}/{n}")
            signal.setitimer(signal.ITIMER_PROF, HANG)
            source = rng.choice(messy)
            try:
                if n % 4 == 3:
                    name = rng.choice(sorted(tables))
                    for each, data in tables.items():
                        (folder / each).write_bytes(spoilt(data, rng) if each == name else data)
                    data = (folder / name).read_bytes()
                    checked(folder)
                    came["catalogue"] += 1
                    continue
                whole = source.read_bytes()
                data = spoilt(whole, rng)
                if source not in before:
                    before[source] = imported(source, like)
                file.write_bytes(data)
                found = imported(file, like)
                came["words" if found is None else "read"] += 1
                was = before[source]
                if found is not None and was is not None:
                    compare(whole, data, was[0], found[0], was[1] & found[1])
            except BaseException as error:
                raise AssertionError(
                    f"input {n} of seed {seed}, from {source.name}: {error!r}\n{data!r}"
                ) from error
            finally:
                signal.setitimer(signal.ITIMER_PROF, 0)
            if tell and n and n % 5_000 == 0:
                print(f"up to {n:,} in {time.monotonic() - began:.0f} s", flush=True)
    return came


def compare(
    whole: bytes,
    data: bytes,
    before: dict[str, tuple[Any, ...]],
    found: dict[str, tuple[Any, ...]],
    certain: frozenset[str],
) -> None:
    """Make sure that rows whose lines stand as they stood mean what they meant.

    Only where the header and every line but some rows are the same: a change of the header, of a
    mark that other rows prove, or of quotation marks changes what rows mean.
    """
    old, new = whole.splitlines(), data.splitlines()
    if len(old) != len(new) or old[0] != new[0] or b'"' in data or whole.count(b"\0"):
        return
    rows = tuple(f"{sku},".encode() for sku in before)
    changed = [n for n, (a, b) in enumerate(zip(old, new, strict=True)) if a != b]
    kept = [line for n, line in enumerate(new) if n not in changed]
    same = {line.split(b",")[0].decode("utf-8", "replace") for line in kept}
    if not all(old[n].startswith(rows) for n in changed):
        return
    if len(changed) > 1 or any(byte > 127 for line in (new[n] for n in changed) for byte in line):
        return
    # Of a number that stands twice the second row counts where the first cannot be read.
    numbers = Counter(line.split(b",")[0].lower() for line in [*old, *new])
    for sku in same & before.keys() & found.keys():
        if numbers[sku.lower().encode()] != 2:
            continue
        was, now = before[sku], found[sku]
        # Another row may prove the decimal mark; then a figure may only become known or unknown.
        for means, one, other in zip(
            ("role", "price", "mass", "stock"), was[:4], now[:4], strict=True
        ):
            if means not in certain:
                continue
            assert one == other or one is None or other is None, (sku, was, now)


def main() -> None:
    """Try as many inputs as asked and print what came of them."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--inputs", type=int, default=100_000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--first", type=int, default=0)
    given = asked.parse_args()
    came = fuzz(given.inputs, given.seed, first=given.first, tell=True)
    print(", ".join(f"{times:,} {what}" for what, times in came.items()))
    sys.exit(0)


if __name__ == "__main__":
    main()
