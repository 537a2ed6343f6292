"""Whatever the package writes is there whole or not at all, whenever its process is killed."""

from __future__ import annotations

import ast
import csv
import datetime
import json
import multiprocessing
import os
import stat
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import Any

import ezdxf
import pyarrow.parquet as pq
import pytest

import fitgraph
from fitgraph.adapters import what_if
from fitgraph.catalogue import demo_folder, load
from fitgraph.cli.notebooks import own_copy
from fitgraph.files import (
    PART,
    SpecialFileError,
    copy_folder_whole,
    folder_whole,
    require_plain,
    whole,
    write_bytes_whole,
    write_text_whole,
    written_whole,
)
from fitgraph.model import Part
from fitgraph.practice import progress as kept
from fitgraph.practice.leitner import TopicCard
from fitgraph.practice.progress import Progress, Round
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.query import ask
from fitgraph.solve.write import write_csv, write_parquet
from tests.killed import ENOUGH, TIMES, kill_at_every_write
from tests.learner import practise
from tests.shared import nodes


def nothing(folder: Path) -> None:
    """The old state is an empty folder."""


def listed(folder: Path) -> list[str]:
    """Return what a folder holds, less what a killed process left beside its place."""
    return sorted(p.name for p in folder.iterdir() if not p.name.startswith("."))


def test_texts_and_bytes(tmp_path: Path) -> None:
    old, new = "old\n" * 500, "new\n" * 4_000

    def prepare(folder: Path) -> None:
        (folder / "a.csv").write_text(old)

    def job(folder: Path) -> None:
        with written_whole(folder / "a.csv") as file:
            for line in new.splitlines(keepends=True):
                file.write(line)
        write_bytes_whole(folder / "b.pdf", new.encode())

    def check(folder: Path) -> None:
        assert (folder / "a.csv").read_text() in (old, new)
        assert not (folder / "b.pdf").exists() or (folder / "b.pdf").read_text() == new

    assert kill_at_every_write(prepare, job, check, tmp_path, TIMES) >= ENOUGH


def small_catalogue(folder: Path) -> None:
    source = demo_folder().parent / "hoses"
    for file in source.iterdir():
        (folder / file.name).write_bytes(file.read_bytes())


def test_a_catalogue_with_a_part_that_was_made(tmp_path: Path) -> None:
    small = demo_folder().parent / "hoses"
    catalogue = load(small).catalogue
    role = next(iter(catalogue.vocabulary.roles))
    made = [Part(f"MADE-{n}", role, price=100) for n in range(40)]
    full = len(catalogue.parts) + len(made)

    def job(folder: Path) -> None:
        what_if.save_with(small, folder / "copy", catalogue, made)

    def check(folder: Path) -> None:
        assert listed(folder) in ([], ["copy"])
        if (folder / "copy").exists():
            assert len(load(folder / "copy").catalogue.parts) == full

    assert kill_at_every_write(nothing, job, check, tmp_path, TIMES) >= ENOUGH


def test_a_folder_that_takes_the_place_of_another(tmp_path: Path) -> None:
    def fill(folder: Path, word: str) -> None:
        for n in range(8):
            write_text_whole(folder / f"{n}.csv", word * 4000)

    def prepare(folder: Path) -> None:
        (folder / "shop").mkdir()
        fill(folder / "shop", "old")

    def job(folder: Path) -> None:
        with folder_whole(folder / "shop", replace=True) as fresh:
            fill(fresh, "new")

    def check(folder: Path) -> None:
        texts = {p.read_text() for p in (folder / "shop").glob("[0-9].csv")}
        assert texts in ({"old" * 4000}, {"new" * 4000})
        assert len(listed(folder / "shop")) == 8

    assert kill_at_every_write(prepare, job, check, tmp_path, TIMES) >= ENOUGH


def test_notebooks(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.mkdir()
    book = json.dumps({"cells": ["print(1)"] * 20_000, "nbformat": 4})
    for n in range(3):
        (source / f"{n}.ipynb").write_text(book)

    def check(folder: Path) -> None:
        for copy in (folder / "own").glob("[0-9].ipynb"):
            assert copy.read_text() == book
        own_copy(source, folder / "own")  # what is missing comes the next time
        assert listed(folder / "own") == ["0.ipynb", "1.ipynb", "2.ipynb"]

    runs = tmp_path / "runs"
    runs.mkdir()
    killed = kill_at_every_write(
        nothing, lambda folder: own_copy(source, folder / "own"), check, runs, TIMES
    )
    assert killed >= ENOUGH


def test_progress_of_a_learner(tmp_path: Path) -> None:
    day = datetime.date(2026, 3, 1)
    cards = {f"topic {n}": TopicCard(2, day, n, 1) for n in range(300)}
    old = Progress("Quill", cards, (Round(1, day, 3, 5),))
    new = replace(old, rounds=(*old.rounds, Round(2, day, 4, 5)))

    def prepare(folder: Path) -> None:
        kept.save(folder, old)

    def job(folder: Path) -> None:
        kept.save(folder, new, old)

    def check(folder: Path) -> None:
        assert kept.load(folder, "Quill") in (old, new)
        kept.save(folder, new, old)  # no lock is left behind

    assert kill_at_every_write(prepare, job, check, tmp_path, TIMES) >= ENOUGH


@pytest.fixture(scope="module")
def asked():
    catalogue = load(demo_folder().parent / "hoses").catalogue
    return ask(TreeEngine(catalogue).space, Request())


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_lists_of_builds(asked, tmp_path: Path, ending: str) -> None:
    write = write_csv if ending == "csv" else write_parquet
    rows = write(asked, tmp_path / f"first.{ending}").builds
    assert rows > 10

    def count(file: Path) -> int:
        if ending == "parquet":
            return pq.read_table(file).num_rows
        with file.open(newline="") as opened:
            return sum(1 for _ in csv.reader(opened)) - 1

    def check(folder: Path) -> None:
        file = folder / f"builds.{ending}"
        assert not file.exists() or count(file) == rows

    runs = tmp_path / "runs"
    runs.mkdir()
    killed = kill_at_every_write(
        nothing, lambda folder: write(asked, folder / f"builds.{ending}"), check, runs, TIMES
    )
    assert killed >= ENOUGH


def test_drawings(tmp_path: Path) -> None:
    drawn = ezdxf.new("R2010")
    for n in range(20):
        drawn.modelspace().add_line((0, n), (100, n))

    def job(folder: Path) -> None:
        with whole(folder / "part.dxf") as beside:
            drawn.saveas(beside)

    def check(folder: Path) -> None:
        if (folder / "part.dxf").exists():
            assert len(ezdxf.readfile(folder / "part.dxf").modelspace()) == 20

    assert kill_at_every_write(nothing, job, check, tmp_path, TIMES) >= ENOUGH


# ---------------------------------------------------------------- two writers


def test_two_writers_lose_no_answer(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    writers = [
        context.Process(target=practise, args=(str(tmp_path), topic, 60)) for topic in ("a", "b")
    ]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(120)
        assert writer.exitcode == 0
    both = kept.load(tmp_path, "quill")
    assert (both.cards["a"].right, both.cards["b"].right) == (60, 60)
    assert both.cards["shared"].wrong == 120
    assert len(both.rounds) == 2


def test_names_that_differ_keep_different_files(tmp_path: Path) -> None:
    names = [
        "Örla Quill",
        "Orla Quill",
        "orla-quill",
        "Orla / Quill",
        "名前",
        "名前 2",
        "con",
        "x" * 90,
    ]
    names.append("x" * 91)
    files = {kept.file_of(tmp_path, name) for name in names}
    assert len(files) == len(names)
    assert kept.file_of(tmp_path, "  QUILL ") == kept.file_of(tmp_path, "quill")
    for n, name in enumerate(names):
        kept.save(tmp_path, Progress(name, {"t": TopicCard(1, datetime.date(2026, 3, 1), n, 0)}))
    for n, name in enumerate(names):
        assert kept.load(tmp_path, name).cards["t"].right == n


def test_progress_kept_by_an_older_version_is_found(tmp_path: Path) -> None:
    kept.save(tmp_path, Progress("orla-quill"))
    old = tmp_path / "orla-quill.json"
    old.write_text(old.read_text().replace('"orla-quill"', '"Örla Quill"'))
    day = datetime.date(2026, 3, 1)
    before = kept.load(tmp_path, "Örla Quill")
    kept.save(tmp_path, replace(before, rounds=(Round(1, day, 1, 5),)), before)
    assert kept.load(tmp_path, "Örla Quill").rounds == (Round(1, day, 1, 5),)
    assert kept.load(tmp_path, "Orla Quill").rounds == ()


# ---------------------------------------------------------------- how it is written


def test_an_error_leaves_the_old_state_and_nothing_beside_it(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    write_text_whole(file, "old")
    with pytest.raises(KeyError), written_whole(file) as out:
        out.write("new")
        raise KeyError
    with pytest.raises(KeyError), folder_whole(tmp_path / "folder") as fresh:
        write_text_whole(fresh / "b", "new")
        raise KeyError
    assert [p.name for p in tmp_path.iterdir()] == ["a.csv"]
    assert file.read_text() == "old"


def test_rights_links_and_devices_stay_what_they_are(tmp_path: Path) -> None:
    file, link = tmp_path / "a.csv", tmp_path / "link.csv"
    file.write_text("old")
    file.chmod(0o640)
    link.symlink_to(file)
    write_text_whole(link, "new")
    assert link.is_symlink() and file.read_text() == "new"
    assert stat.S_IMODE(file.stat().st_mode) == 0o640
    write_text_whole("/dev/null", "gone")
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


def test_what_a_killed_process_left_is_swept_away_in_time(tmp_path: Path) -> None:
    fresh, stale = (tmp_path / f".a.csv.{n:012x}{PART}" for n in range(2))
    fresh.write_text("half")
    stale.write_text("half")
    os.utime(stale, (0, 0))
    write_text_whole(tmp_path / "a.csv", "whole")
    assert fresh.exists() and not stale.exists()


@pytest.mark.parametrize("way", [folder_whole, written_whole, whole])
def test_an_error_names_what_was_asked_for_and_not_what_is_written_beside_it(
    way: Callable[[str], AbstractContextManager[Any]],
) -> None:
    with pytest.raises(OSError) as told, way("/proc/shop") as made:
        Path(made).write_text("x")
    assert told.value.filename == "/proc/shop"


def test_what_is_no_plain_file_is_not_copied(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.mkdir()
    os.mkfifo(source / "pipe")
    with pytest.raises(SpecialFileError):
        require_plain(source / "pipe")
    with pytest.raises(SpecialFileError):
        copy_folder_whole(source, tmp_path / "copy")
    assert not (tmp_path / "copy").exists()
    with pytest.raises(FileExistsError):
        copy_folder_whole(source, source)


#: Calls that write a file, and the only modules that may make them.
WRITERS = {
    "write_text": {"files.py"},
    "write_bytes": {"files.py"},
    "copytree": set(),
    "copyfile": {"files.py"},
    "to_csv": {"cli/output.py"},  # an answer's own writer, to a stream
    "to_parquet": set(),
    "savefig": set(),
    "saveas": {"draw/drafting_dxf.py"},
}


def test_every_writer_of_files_writes_whole() -> None:
    """No module opens a file for writing by itself."""
    package = Path(fitgraph.__file__).parent
    strays = []
    for path in sorted(p for p in package.rglob("*.py") if "_shipped" not in p.parts):
        name = path.relative_to(package).as_posix()
        for node in nodes(path):
            if not isinstance(node, ast.Call):
                continue
            called = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if called in WRITERS and name not in WRITERS[called]:
                strays.append(f"{name}:{node.lineno}: {called}")
            modes = [a.value for a in node.args if isinstance(a, ast.Constant)]
            if called == "open" and {"w", "wb", "a", "x", "r+"} & set(map(str, modes)):
                strays.append(f"{name}:{node.lineno}: open")
    assert strays == []
