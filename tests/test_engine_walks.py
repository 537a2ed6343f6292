"""Long walks: in pieces, on other processes, into files, with an end in sight."""

from __future__ import annotations

import csv
import dataclasses
import gc
import hashlib
import itertools
import multiprocessing
import os
import pickle
import subprocess
import sys
import tracemalloc
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pyarrow.parquet as pq
import pytest
from bench.catalogues import scaled
from distributed import Client, LocalCluster

from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.query import TENTHS, Query, ask
from fitgraph.solve.scan import Patience, scan
from fitgraph.solve.stream import Batch, Stream
from fitgraph.solve.write import write_csv, write_parquet


def query_of(parts: int, roles: int, request: Request | None = None) -> Query:
    return ask(TreeEngine(scaled(parts, roles)).space, request or Request())


def limited(query: Query) -> Query:
    """Return the same question with limits that about a quarter of the builds keep."""
    whole = next(Stream(query).batches(0, 100_000, size=100_000))
    request = Request(
        budget=int(np.quantile(whole.price, 0.5)),
        max_mass_g=float(np.quantile(whole.tenths, 0.6)) / TENTHS,
    )
    return ask(query.space, request)


def digest(batch: Batch) -> tuple[int, int, str]:
    """Return where a batch starts, its length, and a hash of all that it holds."""
    held = hashlib.sha256()
    for column in (*batch.options.values(), batch.price, batch.tenths):
        held.update(np.ascontiguousarray(column, dtype=np.int64).tobytes())
    return batch.start, len(batch), held.hexdigest()


@pytest.fixture(scope="module")
def query() -> Query:
    return query_of(12, 8)


@pytest.fixture(scope="module")
def dask() -> Iterator[Executor]:
    # One thread a worker, as for any work that holds the interpreter; nothing leaves this machine.
    with (
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client.get_executor()


@pytest.fixture(scope="module")
def processes() -> Iterator[Executor]:
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, mp_context=spawn) as pool:
        yield pool


@pytest.mark.some(3)
@pytest.mark.parametrize("where", ["processes", "dask", "threads"])
@pytest.mark.parametrize("under_limits", [False, True])
def test_executors_give_what_this_process_gives(
    query: Query, where: str, under_limits: bool, request: pytest.FixtureRequest
) -> None:
    asked = limited(query) if under_limits else query
    here = list(scan(asked, digest, piece=150_000))
    assert sum(p.stop - p.start for p in here) == Stream(query).total > 1_000_000
    if where == "threads":
        with ThreadPoolExecutor(3) as pool:
            there = list(scan(asked, digest, piece=150_000, executor=pool))
    else:
        there = list(scan(asked, digest, piece=150_000, executor=request.getfixturevalue(where)))
    assert there == here


def test_two_questions_on_one_worker_do_not_mix(query: Query, processes: Executor) -> None:
    """A worker keeps what it unpacked; a new question must not be answered from the old one."""
    other = limited(query)
    stop = 300_000
    for asked in (query, other, query):
        there = list(scan(asked, len, stop=stop, piece=100_000, executor=processes))
        assert there == list(scan(asked, len, stop=stop, piece=100_000))


def test_what_is_sent_to_a_worker_does_not_carry_the_catalogue(query: Query) -> None:
    stream = Stream(query)
    list(stream.batches())
    assert len(pickle.dumps(stream)) < len(pickle.dumps(query)) / 2
    assert len(pickle.dumps(stream)) < 1_000_000


# ---------------------------------------------------------------- patience


@pytest.mark.parametrize("builds", [0, 1, 99_999, 100_000, 250_000])
@pytest.mark.parametrize("on_threads", [False, True])
def test_a_limit_on_builds_is_met_to_the_build(query: Query, builds: int, on_threads: bool) -> None:
    with ThreadPoolExecutor(2) as pool:
        pieces = list(
            scan(
                query,
                len,
                piece=100_000,
                patience=Patience(builds=builds),
                executor=pool if on_threads else None,
            )
        )
    assert sum(sum(p.results) for p in pieces) == builds
    assert pieces[-1].ended == f"it reached its limit of {builds:,} builds"
    assert all(p.ended == "" for p in pieces[:-1])
    rest = list(scan(query, len, start=pieces[-1].stop))
    assert builds + sum(sum(p.results) for p in rest) == Stream(query).total
    assert rest[-1].ended == ""


@pytest.mark.parametrize("on_threads", [False, True])
def test_a_walk_that_was_cancelled_goes_on_where_it_stopped(query: Query, on_threads: bool) -> None:
    answers = itertools.chain([False, False, False], itertools.repeat(True))
    whole = [d for p in scan(query, digest, piece=100_000) for d in p.results]
    with ThreadPoolExecutor(2) as pool:
        first = list(
            scan(
                query,
                digest,
                piece=100_000,
                patience=Patience(cancelled=lambda: next(answers)),
                executor=pool if on_threads else None,
            )
        )
    assert [p.stop for p in first] == [100_000, 200_000, 300_000, 300_000]
    assert first[-1].ended == "it was cancelled"
    rest = list(scan(query, digest, piece=100_000, start=first[-1].stop))
    assert [d for p in (*first, *rest) for d in p.results] == whole


def test_a_limit_of_time_ends_a_walk_of_any_length(monkeypatch: pytest.MonkeyPatch) -> None:
    """More builds than could ever be walked, and a clock that ticks once a look."""
    ticks = itertools.count()
    clock = SimpleNamespace(monotonic=lambda: float(next(ticks)))
    monkeypatch.setattr("fitgraph.solve.scan.time", clock)
    large = query_of(200, 12)
    assert Stream(large).total > 10**20
    pieces = list(scan(large, len, piece=50_000, patience=Patience(seconds=4.0)))
    assert pieces[-1].ended == "it reached its limit of 4 seconds"
    # The walk begins at tick 0; the looks before the pieces are ticks 1, 2, 3 and 4.
    assert [p.stop for p in pieces] == [50_000, 100_000, 150_000, 150_000]


def test_a_limit_that_is_not_reached_is_not_told(query: Query) -> None:
    total = Stream(query).total
    for patience in (Patience(builds=total), Patience(seconds=3600.0, builds=total + 1)):
        pieces = list(scan(query, len, patience=patience))
        assert {p.ended for p in pieces} == {""}
        assert sum(sum(p.results) for p in pieces) == total


# ---------------------------------------------------------------- files


def rows_of(query: Query, start: int = 0, stop: int | None = None) -> list[tuple]:
    """Return builds as the files hold them: stock numbers, price in major units, mass in g."""
    minor = 10**query.space.catalogue.vocabulary.minor_digits
    labels = {
        role: [o.label if o.part is not None else "" for o in options]
        for role, options in query.space.options.items()
    }
    return [
        (*(labels[r][int(c[n])] for r, c in b.options.items()), int(p) / minor, int(t) / TENTHS)
        for b in Stream(query).batches(start, stop)
        for n, (p, t) in enumerate(zip(b.price, b.tenths, strict=True))
    ]


@pytest.mark.parametrize("under_limits", [False, True])
def test_files_hold_the_stream(tmp_path: Path, under_limits: bool) -> None:
    query = query_of(10, 5)
    if under_limits:
        query = limited(query)
    wanted = rows_of(query)
    assert len(wanted) > 1000
    told: list[int] = []
    written = write_parquet(query, tmp_path / "builds.parquet", progress=told.append)
    assert (written.builds, written.reached, written.ended) == (
        len(wanted),
        Stream(query).total,
        "",
    )
    assert told[-1] == written.reached
    table = pq.read_table(written.path)
    assert table.column_names == [*query.space.roles, "price", "mass_g"]
    assert list(zip(*(c.to_pylist() for c in table.columns), strict=True)) == wanted
    written = write_csv(query, tmp_path / "builds.csv")
    assert written.builds == len(wanted)
    with written.path.open(newline="", encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    assert head == [*query.space.roles, "price", "mass_g"]
    assert [(*r[:-2], float(r[-2]), float(r[-1])) for r in rows] == wanted


@pytest.mark.parametrize("write", [write_parquet, write_csv])
def test_a_file_that_ended_early_can_be_read_and_gone_on_with(tmp_path: Path, write) -> None:
    query = query_of(10, 5)
    first = write(query, tmp_path / "first", patience=Patience(builds=7000))
    assert (first.builds, first.reached) == (7000, 7000)
    assert first.ended == "it reached its limit of 7,000 builds"
    second = write(query, tmp_path / "second", start=first.reached)
    assert second.ended == ""
    assert first.builds + second.builds == Stream(query).total

    def read(path: Path) -> list[tuple]:
        if write is write_parquet:
            return list(zip(*(c.to_pylist() for c in pq.read_table(path).columns), strict=True))
        with path.open(newline="", encoding="utf-8") as file:
            rows = list(csv.reader(file))[1:]
        return [(*r[:-2], float(r[-2]), float(r[-1])) for r in rows]

    assert read(first.path) + read(second.path) == rows_of(query)


# ---------------------------------------------------------------- memory and order


def peak_bytes(work) -> int:
    gc.collect()
    tracemalloc.start()
    work()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak


@pytest.mark.long
def test_memory_does_not_grow_with_the_number_of_builds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tables are kept up to a ceiling; here a low one, so that a short walk reaches it."""
    monkeypatch.setattr("fitgraph.solve.stream.TAIL", 1 << 14)
    monkeypatch.setattr("fitgraph.solve.stream.TAILS_KEPT", 1 << 17)
    query = query_of(16, 9)
    assert Stream(query).total > 16_000_000  # so that four times as many are there

    def walk(stop: int) -> int:
        return sum(sum(p.results) for p in scan(query, len, stop=stop, piece=1 << 19))

    def write(stop: int) -> int:
        return write_parquet(query, tmp_path / "builds.parquet", stop=stop).builds

    for work, builds, times in ((walk, 3_000_000, 4), (write, 3_000_000, 2)):
        small = peak_bytes(lambda work=work, stop=builds: work(stop))
        large = peak_bytes(lambda work=work, stop=times * builds: work(stop))
        assert large < 1.1 * small < 100_000_000
        assert work(builds) == builds


_ORDER = """
import sys
sys.path.insert(0, sys.argv[1])
from bench.catalogues import scaled
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.query import ask
from fitgraph.solve.stream import Stream
engine = TreeEngine(scaled(12, 8))
for batch in Stream(ask(engine.space, Request())).batches(1000, 50000):
    print(batch.start, [c.tobytes().hex() for c in (*batch.options.values(), batch.price)])
print([sorted(b.parts.values()) for b in engine.best(Request(), limit=50)])
print([sorted(b.parts.values()) for b in TreeEngine(scaled(8, 5)).front(Request())])
"""


def test_every_process_gives_the_same_order() -> None:
    """Python hashes words by chance in each process; nothing may hang on it."""
    answers = [
        subprocess.run(
            [sys.executable, "-c", _ORDER, str(Path(__file__).parent)],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "20")
    ]
    assert answers[0] == answers[1]
    assert answers[0].count("\n") == 3


def test_two_compiles_are_the_same(query: Query) -> None:
    again = query_of(12, 8)
    assert again.space is not query.space
    assert [digest(b) for b in Stream(again).batches()] == [
        digest(b) for b in Stream(query).batches()
    ]
    plans = [s.space.plan(certain=True) for s in (again, query)]
    for one, other in zip(plans[0].steps, plans[1].steps, strict=True):
        assert (one.variable, one.separator, one.shape) == (
            other.variable,
            other.separator,
            other.shape,
        )
        assert np.array_equal(one.kind_of, other.kind_of)


def test_batches_are_not_overwritten_by_later_ones(query: Query) -> None:
    """Whoever keeps a batch keeps it."""
    kept, digests = [], []
    for batch in Stream(query).batches(0, 500_000, size=10_000):
        kept.append(dataclasses.replace(batch))
        digests.append(digest(batch))
    assert [digest(b) for b in kept] == digests
