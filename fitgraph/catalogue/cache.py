"""What a folder was read as, kept until one of its files changes.

An entry is named after everything that its reading depended on: the contents of the folder's
files, the code that reads them, and the Python that runs it. So a folder that changed, or a new
version, simply finds no entry; a copy of a folder finds that of the original. Parts are kept as
columns, and features, of which very many parts share one, once.

Nothing in an entry is run: only the classes named here can come out of it.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import io
import os
import pickle
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from enum import Enum
from operator import attrgetter
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fitgraph.catalogue.findings import Finding, RowTally
from fitgraph.catalogue.loaded import Loaded
from fitgraph.files import require_plain, written_whole
from fitgraph.model import (
    Catalogue,
    Enquiry,
    Feature,
    Offer,
    Part,
    Supplier,
    Supply,
    dimension,
    rider,
    verdict,
    vocabulary,
)
from fitgraph.model.frozen import from_columns, proxy
from fitgraph.records import dataclass

#: Folders with fewer bytes are read as soon as an entry would be.
LEAST_BYTES = 100_000

#: No more entries are kept, and no more bytes of them; the oldest go first.
MOST_ENTRIES, MOST_BYTES = 8, 1 << 30

#: Where nothing shall be kept, this is set to ``off``.
SWITCH = "FITGRAPH_CACHE"

_ENDING, _DIGEST = ".catalogue", 32
_ROOMS = ("catalogue", "mechanics", "model")

#: What may come out of an entry: the model's plain data, and what a vocabulary is made of.
_KNOWN: dict[tuple[str, str], Any] = {
    (kind.__module__, kind.__qualname__): kind
    for kind in (
        *(
            kind
            for module in (dimension, rider, verdict, vocabulary)
            for kind in vars(module).values()
            if isinstance(kind, type) and kind.__module__ == module.__name__
        ),
        Feature,
        Supplier,
        RowTally,
        datetime.date,
    )
}
_KNOWN[proxy.__module__, proxy.__qualname__] = proxy


def _member(kind: Any, name: str) -> Enum:
    """Return a member of an enumeration by its name, as Python 3.11.2 asks for it."""
    if not (isinstance(kind, type) and issubclass(kind, Enum)):
        raise pickle.UnpicklingError(f"{name} is no member of an enumeration")
    return kind[name]


_KNOWN["builtins", "getattr"] = _member


class PlainUnpickler(pickle.Unpickler):
    """Reads an entry, out of which nothing but plain data can come."""

    known: Mapping[tuple[str, str], Any] = _KNOWN

    def find_class(self, module: str, name: str) -> Any:
        """Return what an entry may name."""
        if (module, name) not in self.known:
            raise pickle.UnpicklingError(f"{module}.{name} has no place in an entry")
        return self.known[module, name]


def place() -> Path:
    """Return the folder in which entries are kept: the system's place for what can be lost."""
    import platformdirs

    return platformdirs.user_cache_path("fitgraph") / "catalogues"


def code_state(rooms: Iterable[str] = _ROOMS) -> bytes:
    """Return what code is known by: Python's version and the state of the files of its rooms."""
    root = Path(__file__).parents[1]
    files = [*root.glob("*.py"), *(f for room in rooms for f in (root / room).rglob("*.*"))]
    # What Python keeps of the code comes and goes, and says nothing that the code does not.
    files = [f for f in files if f.parent.name != "__pycache__"]
    states = [(f.name, (s := f.stat()).st_size, s.st_mtime_ns) for f in sorted(files)]
    return repr((sys.version_info[:3], states)).encode()


@dataclass(frozen=True, slots=True)
class Print:
    """What a folder's reading depends on.

    Parameters
    ----------
    word : str
        Of the contents of its files, and of the code that reads them.
    states : tuple
        What the system said of each file when it was looked at; it says something else after
        anybody has written to it.
    """

    word: str
    states: tuple[tuple[int, ...], ...]


def _states(folder: Path, names: Iterable[str]) -> tuple[tuple[str, os.stat_result], ...] | None:
    """Return the files that are there; None if one of them is a link or no plain file."""
    found = []
    for name in names:
        path = folder / name
        try:
            if path.is_symlink():
                return None
            found.append((name, require_plain(path)))
        except FileNotFoundError:
            continue
        except OSError:
            return None
    return tuple(found)


def _told(states: Iterable[tuple[str, os.stat_result]]) -> tuple[tuple[int, ...], ...]:
    return tuple((s.st_ino, s.st_size, s.st_mtime_ns, s.st_ctime_ns) for _, s in states)


def fingerprint(folder: Path, names: Sequence[str]) -> Print | None:
    """Return what a folder's reading depends on.

    Parameters
    ----------
    folder : Path
        A catalogue.
    names : sequence of str
        Its files, whether or not they are there.

    Returns
    -------
    Print or None
        None where nothing is to be kept: the folder is small, holds something that is no plain
        file of its own, or whoever runs this wants none.
    """
    if os.environ.get(SWITCH) == "off":
        return None
    states = _states(folder, names)
    if states is None or sum(s.st_size for _, s in states) < LEAST_BYTES:
        return None
    told = hashlib.blake2b(code_state(), digest_size=20)
    try:
        for name, state in states:
            told.update(f"\n{name} {state.st_size}\n".encode())
            with (folder / name).open("rb") as file:
                while piece := file.read(1 << 20):
                    told.update(piece)
    except OSError:
        return None
    return Print(told.hexdigest(), _told(states))


def unchanged(folder: Path, names: Sequence[str], since: Print) -> bool:
    """Say whether nobody has written to a folder's files since its fingerprint was taken."""
    states = _states(folder, names)
    return states is not None and _told(states) == since.states


def _columns(kind: type, things: Sequence[Any]) -> list[list[Any]]:
    """Return the fields of many objects, each as a list."""
    return [list(map(attrgetter(f.name), things)) for f in fields(kind)]


def keep(word: str, loaded: Loaded) -> None:
    """Keep what a folder was read as; without a place for it, nothing happens.

    Parameters
    ----------
    word : str
        The folder's fingerprint, taken before it was read and still the same.
    loaded : Loaded
        As it was read.
    """
    catalogue, supply = loaded.catalogue, loaded.supply
    parts = list(catalogue.parts.values())
    shapes: dict[int, int] = {}
    shared: list[dict[str, Feature]] = []
    at = []
    for part in parts:
        number = shapes.setdefault(id(part.features), len(shared))
        if number == len(shared):
            shared.append(dict(part.features))
        at.append(number)
    columns = _columns(Part, parts)
    columns[_FEATURES] = at
    entry = (
        catalogue.vocabulary,
        columns,
        shared,
        _columns(Enquiry, catalogue.enquiries),
        _columns(Offer, supply.offers),
        dict(supply.suppliers),
        {date: dict(of) for date, of in supply.counts.items()},
        _columns(Finding, loaded.findings),
        dict(loaded.tallies),
    )
    keep_bytes(f"{word}{_ENDING}", pickle.dumps(entry, protocol=5))


def keep_bytes(name: str, data: bytes) -> None:
    """Keep bytes by a name that begins with a folder's fingerprint; they go when its entry goes."""
    with contextlib.suppress(OSError):
        folder = place()
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with written_whole(folder / name, "wb") as file:
            file.write(hashlib.blake2b(data, digest_size=_DIGEST).digest())
            file.write(data)
        _sweep(folder)


def kept_bytes(name: str) -> memoryview | None:
    """Return what :func:`keep_bytes` keeps by a name; None without it, or where it was spoilt."""
    try:
        data = (place() / name).read_bytes()
    except OSError:
        return None
    body = memoryview(data)[_DIGEST:]
    whole = hashlib.blake2b(body, digest_size=_DIGEST).digest() == data[:_DIGEST]
    return body if whole else None


_FEATURES = [f.name for f in fields(Part)].index("features")


def _sweep(folder: Path) -> None:
    """Take away the folders' entries that were made first, down to what may be kept."""
    entries: dict[str, list[tuple[int, int, Path]]] = {}
    for path in folder.glob("*.*"):
        with contextlib.suppress(FileNotFoundError):  # somebody else takes it away
            state = path.stat()
            word = path.name.partition(".")[0]
            entries.setdefault(word, []).append((state.st_mtime_ns, state.st_size, path))
    held = 0
    for number, of in enumerate(sorted(entries.values(), key=max, reverse=True)):
        held += sum(size for _, size, _ in of)
        if number >= MOST_ENTRIES or (held > MOST_BYTES and number):
            for _, _, path in of:
                path.unlink(missing_ok=True)


def kept(word: str, name: str) -> Loaded | None:
    """Return what a folder with this fingerprint was read as; None where nothing is kept.

    Parameters
    ----------
    word : str
        The folder's fingerprint.
    name : str
        What the catalogue is called.
    """
    body = kept_bytes(f"{word}{_ENDING}")
    if body is None:
        return None
    try:
        entry = PlainUnpickler(io.BytesIO(body)).load()
    except (pickle.UnpicklingError, EOFError, ValueError, AttributeError, TypeError):
        return None
    words, columns, shared, enquiries, offers, suppliers, counts, findings, tallies = entry
    views = [MappingProxyType(features) for features in shared]
    columns[_FEATURES] = [views[number] for number in columns[_FEATURES]]
    parts: list[Part] = from_columns(Part, columns)
    by_role: dict[str, list[Part]] = {role: [] for role in words.roles}
    for part in parts:
        by_role[part.role].append(part)
    catalogue = Catalogue(
        words,
        MappingProxyType({part.sku: part for part in parts}),
        tuple(from_columns(Enquiry, enquiries)),
        name,
        MappingProxyType({role: tuple(of) for role, of in by_role.items()}),
    )
    days = MappingProxyType({date: MappingProxyType(of) for date, of in counts.items()})
    supply = Supply(tuple(from_columns(Offer, offers)), MappingProxyType(suppliers), days)
    found = tuple(from_columns(Finding, findings))
    return Loaded(catalogue, found, supply, MappingProxyType(tallies), word)
