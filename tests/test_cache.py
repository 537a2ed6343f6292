"""What a large folder was read as is kept, and believed only while nothing has changed."""

from __future__ import annotations

import hashlib
import io
import multiprocessing
import os
import pickle
import shutil
from pathlib import Path

import numpy as np
import pytest

import fitgraph
from fitgraph.catalogue import cache, demo_folder, load, reading
from fitgraph.catalogue.loaded import FILES
from fitgraph.model import Feature, Presence
from fitgraph.shop import kept_joints
from fitgraph.shop.kept_joints import compiled
from tests.killed import ENOUGH, TIMES, kill_at_every_write


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a copy of the demo that counts as large, with a cache of its own."""
    monkeypatch.setattr(cache, "LEAST_BYTES", 1)
    monkeypatch.delenv(cache.SWITCH, raising=False)
    monkeypatch.setattr(cache, "place", lambda: tmp_path / "cache")
    shutil.copytree(demo_folder(), tmp_path / "shop")
    return tmp_path / "shop"


def entries(shop: Path) -> list[Path]:
    return sorted((shop.parent / "cache").glob("*"))


def unread(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let whoever reads a table fail."""

    def fail(*_: object) -> None:
        raise AssertionError("a table was read")

    monkeypatch.setattr(reading, "FolderReader", fail)


def test_the_second_time_is_the_first_without_reading(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with (shop / "stock.csv").open("a") as file:
        file.write("GHOST,1\n")
    first = load(shop)
    assert first.findings and first.supply.offers and first.catalogue.enquiries
    unread(monkeypatch)
    again = load(shop)
    assert again == first
    assert again.catalogue.vocabulary == first.catalogue.vocabulary
    assert list(again.catalogue.parts) == list(first.catalogue.parts)
    shutil.copytree(shop, shop.parent / "other")
    assert load(shop.parent / "other").catalogue.name == "other"


def test_what_python_keeps_of_the_code_is_no_part_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is written at the first import, perhaps by another process between two looks."""
    code = tmp_path / "catalogue" / "cache.py"
    code.parent.mkdir()
    code.write_text("1")
    monkeypatch.setattr(cache, "__file__", str(code))
    before = cache.code_state()
    kept = code.parent / "__pycache__" / "cache.cpython-311.pyc"
    kept.parent.mkdir()
    kept.write_bytes(b"kept")
    assert cache.code_state() == before
    code.write_text("22")
    assert cache.code_state() != before


class _ByAttribute:
    """Pickles as the attribute of a class, as members of enumerations do in Python 3.11.2."""

    def __init__(self, kind: type, name: str) -> None:
        self.kind, self.name = kind, name

    def __reduce__(self) -> tuple[object, ...]:
        return getattr, (self.kind, self.name)


def test_members_of_enumerations_come_out_by_name_and_nothing_else_does() -> None:
    def read(thing: object) -> object:
        return cache.PlainUnpickler(io.BytesIO(pickle.dumps(thing))).load()

    assert read(_ByAttribute(Presence, "PRESENT")) is Presence.PRESENT
    for kind, name in ((Presence, "__class__"), (Feature, "__init__")):
        with pytest.raises((KeyError, pickle.UnpicklingError)):
            read(_ByAttribute(kind, name))


def test_equal_shapes_stay_one_object(shop: Path) -> None:
    load(shop)
    shapes = {id(p.features): p.features for p in load(shop).catalogue.parts.values()}
    assert len(shapes) < len(load(shop).catalogue.parts)
    kinds = {repr(features) for features in shapes.values()}
    assert len(kinds) == len(shapes)


@pytest.mark.parametrize("name", FILES)
def test_a_change_that_no_clock_shows_is_seen(
    shop: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    load(shop)
    file = shop / name
    before, data = file.stat(), bytearray(file.read_bytes())
    data[-2] = ord("1") if data[-2] != ord("1") else ord("2")
    if name == "vocabulary.toml":
        data = bytearray(file.read_bytes().replace(b"currency", b"currency", 1).rstrip() + b"#")
        data = data.ljust(before.st_size, b" ")[: before.st_size]
    file.write_bytes(data)
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert file.stat().st_size == before.st_size
    unread(monkeypatch)
    with pytest.raises(AssertionError, match="was read"):
        load(shop)


def test_a_table_that_comes_or_goes_is_seen(shop: Path) -> None:
    assert load(shop).supply.offers
    supply = (shop / "supply.csv").read_bytes()
    (shop / "supply.csv").unlink()
    assert not load(shop).supply.offers
    (shop / "supply.csv").write_bytes(supply)
    assert load(shop).supply.offers
    assert len(entries(shop)) == 2


def test_other_code_reads_anew(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    load(shop)
    monkeypatch.setattr(cache, "code_state", lambda: b"another version")
    unread(monkeypatch)
    with pytest.raises(AssertionError, match="was read"):
        load(shop)


def test_an_entry_that_was_spoilt_is_passed_over(shop: Path) -> None:
    first = load(shop)
    (entry,) = entries(shop)
    whole = entry.read_bytes()
    for at in (0, 10, 31, 32, 40, len(whole) // 2, len(whole) - 1):
        entry.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        assert load(shop) == first
        assert entry.read_bytes() == whole
    for length in (0, 5, 32, len(whole) // 2):
        entry.write_bytes(whole[:length])
        assert load(shop) == first


class Hostile:
    def __init__(self, place: Path) -> None:
        self.place = place

    def __reduce__(self) -> tuple[object, tuple[str, ...]]:
        return os.mkdir, (str(self.place),)


@pytest.mark.parametrize("tidy", [True, False])
def test_what_joints_say_is_kept_and_the_same(
    shop: Path, monkeypatch: pytest.MonkeyPatch, tidy: bool
) -> None:
    loaded = load(shop)
    assert loaded.word
    first = compiled(loaded.word, loaded.catalogue, tidy=tidy)
    (beside,) = (e for e in entries(shop) if e.suffix != ".catalogue")

    def fail(*_: object, **__: object) -> None:
        raise AssertionError("a joint was judged")

    monkeypatch.setattr(kept_joints, "said_of", fail)
    again = load(shop)
    found = compiled(again.word, again.catalogue, tidy=tidy)
    own = {id(joint) for joint in again.catalogue.vocabulary.joints}
    assert sum(id(table.joint) in own for table in found.joint_tables) > 30
    for one, other in zip(first.joint_tables, found.joint_tables, strict=True):
        assert (one.joint, one.roles) == (other.joint, other.roles)
        assert (one.verdicts == other.verdicts).all()
        assert one.verdicts.dtype == other.verdicts.dtype
        for mine, theirs in zip(one.class_of, other.class_of, strict=True):
            assert (mine == theirs).all()
    for this, that in zip(first.sums, found.sums, strict=True):
        assert (this.joint, this.name) == (that.joint, that.name)
        for term, same in zip(this.terms, that.terms, strict=True):
            assert term.roles == same.roles
            assert np.array_equal(term.worst, same.worst)
            assert np.array_equal(term.best, same.best)
    assert len(found.sums) > 3
    whole = beside.read_bytes()
    monkeypatch.undo()
    monkeypatch.setattr(cache, "place", lambda: beside.parent)
    for spoilt in (whole[:-1], bytes([whole[0] ^ 1]) + whole[1:], b""):
        beside.write_bytes(spoilt)
        mended = compiled(again.word, again.catalogue, tidy=tidy)
        assert len(mended.joint_tables) == len(first.joint_tables)
        assert beside.read_bytes() == whole


def test_nothing_that_is_kept_of_joints_is_run(shop: Path) -> None:
    loaded = load(shop)
    first = compiled(loaded.word, loaded.catalogue, tidy=True)
    (beside,) = (e for e in entries(shop) if e.suffix != ".catalogue")
    data = pickle.dumps(Hostile(shop.parent / "run"))
    beside.write_bytes(hashlib.blake2b(data, digest_size=32).digest() + data)
    found = compiled(loaded.word, loaded.catalogue, tidy=True)
    assert len(found.joint_tables) == len(first.joint_tables)
    assert not (shop.parent / "run").exists()


@pytest.mark.parametrize("rooms", [["graph"], ["solve"]])
def test_other_code_judges_anew(
    shop: Path, monkeypatch: pytest.MonkeyPatch, rooms: list[str]
) -> None:
    loaded = load(shop)
    compiled(loaded.word, loaded.catalogue, tidy=True)
    state = cache.code_state

    def other(asked: tuple[str, ...]) -> bytes:
        return state(asked) + (b"another" if set(rooms) & set(asked) else b"")

    monkeypatch.setattr(cache, "code_state", other)
    compiled(loaded.word, loaded.catalogue, tidy=True)
    assert len([e for e in entries(shop) if e.suffix != ".catalogue"]) == 2


def test_the_front_door_keeps_what_joints_say(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = ("FORK-VEN-04", "BAR-CUL-05", "CLMP-OST-06")
    first = fitgraph.open(shop).why(*asked).to_text()
    monkeypatch.setattr(kept_joints, "said_of", None)
    assert fitgraph.open(shop).why(*asked).to_text() == first


def test_nothing_in_an_entry_is_run(shop: Path) -> None:
    first = load(shop)
    (entry,) = entries(shop)
    data = pickle.dumps(Hostile(shop.parent / "run"))
    entry.write_bytes(hashlib.blake2b(data, digest_size=32).digest() + data)
    assert load(shop) == first
    assert not (shop.parent / "run").exists()


def test_small_folders_links_and_whoever_wants_none(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(cache.SWITCH, "off")
    load(shop)
    monkeypatch.delenv(cache.SWITCH)
    monkeypatch.setattr(cache, "LEAST_BYTES", 1 << 30)
    load(shop)
    monkeypatch.setattr(cache, "LEAST_BYTES", 1)
    (shop / "stock.csv").rename(shop / "mine.csv")
    (shop / "stock.csv").symlink_to("mine.csv")
    load(shop)
    assert entries(shop) == []


def test_without_a_place_to_keep_it_a_folder_is_still_read(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache, "place", lambda: shop / "parts.csv" / "cache")
    assert load(shop) == load(shop)


def test_the_oldest_entries_go(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_ENTRIES", 3)
    for n in range(5):
        with (shop / "stock.csv").open("a") as file:
            file.write("\n")
        load(shop)
        os.utime(max(entries(shop), key=lambda p: p.stat().st_mtime_ns), (n, n))
    kept = entries(shop)
    assert len(kept) == 3
    assert min(p.stat().st_mtime for p in kept) == 2


def read_often(folder: str, place: str) -> None:
    cache.LEAST_BYTES = 1
    cache.place = lambda: Path(place)  # type: ignore[assignment]
    for _ in range(4):
        assert len(load(folder).catalogue.parts) > 100
        for entry in Path(place).glob("*.catalogue"):
            entry.unlink(missing_ok=True)


@pytest.mark.long
def test_two_readers_at_once(shop: Path) -> None:
    context = multiprocessing.get_context("spawn")
    both = [
        context.Process(target=read_often, args=(str(shop), str(shop.parent / "cache")))
        for _ in range(2)
    ]
    for one in both:
        one.start()
    for one in both:
        one.join(120)
        assert one.exitcode == 0


def test_a_reader_that_is_killed_leaves_no_half_entry(shop: Path) -> None:
    loaded = load(shop)
    runs = shop.parent / "runs"
    runs.mkdir()
    print_ = "0" * 40

    def job(folder: Path) -> None:
        cache.place = lambda: folder  # type: ignore[assignment]
        cache.keep(print_, loaded)

    def check(folder: Path) -> None:
        cache.place = lambda: folder  # type: ignore[assignment]
        found = cache.kept(print_, "shop")
        assert found is None or found.catalogue == loaded.catalogue

    assert kill_at_every_write(lambda folder: None, job, check, runs, TIMES) >= ENOUGH
