"""A catalogue compiled for questions; what its joints say is kept beside what was read of it.

Most of compiling goes into judging each joint over all options. That hangs on nothing but the
folder's contents and the code that judges, so it is kept with the folder's entry
(:mod:`fitgraph.catalogue.cache`), as plain arrays: nothing of it is run when it is read again.
"""

from __future__ import annotations

import hashlib
import io
import pickle
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.catalogue import cache
from fitgraph.graph.joints import JointTable
from fitgraph.graph.sums import SumCondition, Term
from fitgraph.model import Catalogue, Joint
from fitgraph.solve.space import Space, compile_tables, options_of, said_of

#: Where the code stands that judges.
_ROOMS = ("mechanics", "model", "graph", "solve")

#: More bytes than this take as long to read as to work out.
_MOST_BYTES = 1 << 26

_Said = tuple[list[JointTable], list[SumCondition]]


def compiled(word: str, catalogue: Catalogue, *, tidy: bool) -> Space:
    """Compile a catalogue, with what was kept of it.

    Parameters
    ----------
    word : str
        The fingerprint of its folder; empty where nothing is kept.
    catalogue : Catalogue
        What to compile.
    tidy : bool
        As for :func:`fitgraph.solve.compile_space`.
    """
    options = options_of(catalogue)
    name = _name(word, tidy=tidy) if word else ""
    said = _kept(name, catalogue) if name else None
    if said is None:
        said = said_of(catalogue, options, tidy=tidy)
        if name:
            _keep(name, catalogue, said)
    tables, sums = said
    return compile_tables(catalogue, options, tables, tidy=tidy, sums=sums)


def _name(word: str, *, tidy: bool) -> str:
    code = hashlib.blake2b(cache.code_state(_ROOMS), digest_size=10).hexdigest()
    return f"{word}.{code}{'-tidy' if tidy else ''}"


def array_of(kind: str, shape: tuple[int, ...], data: bytes) -> npt.NDArray[Any]:
    """Return an array of numbers from its bytes."""
    return np.frombuffer(data, dtype=np.dtype(kind)).reshape(shape)


class _Pickler(pickle.Pickler):
    """Writes arrays as bytes, and the vocabulary's own joints by name."""

    def __init__(self, file: io.BytesIO, joints: Mapping[str, Joint]) -> None:
        super().__init__(file, protocol=5)
        self._joints = joints

    def persistent_id(self, thing: Any) -> str | None:
        if isinstance(thing, Joint) and self._joints.get(thing.name) is thing:
            return thing.name
        return None

    def reducer_override(self, thing: Any) -> Any:
        if isinstance(thing, np.ndarray):
            return array_of, (thing.dtype.str, thing.shape, thing.tobytes())
        return NotImplemented


class _Unpickler(cache.PlainUnpickler):
    known: Mapping[tuple[str, str], Any] = {
        **cache.PlainUnpickler.known,
        **{
            (thing.__module__, thing.__qualname__): thing
            for thing in (JointTable, SumCondition, Term, array_of)
        },
    }

    def __init__(self, file: io.BytesIO, joints: Mapping[str, Joint]) -> None:
        super().__init__(file)
        self._joints = joints

    def persistent_load(self, name: str) -> Joint:
        return self._joints[name]


def _joints(catalogue: Catalogue) -> dict[str, Joint]:
    return {joint.name: joint for joint in catalogue.vocabulary.joints}


def _keep(name: str, catalogue: Catalogue, said: _Said) -> None:
    file = io.BytesIO()
    _Pickler(file, _joints(catalogue)).dump(said)
    if file.tell() <= _MOST_BYTES:
        cache.keep_bytes(name, file.getvalue())


def _kept(name: str, catalogue: Catalogue) -> _Said | None:
    body = cache.kept_bytes(name)
    if body is None:
        return None
    try:
        found: _Said = _Unpickler(io.BytesIO(body), _joints(catalogue)).load()
    except (pickle.UnpicklingError, EOFError, LookupError, ValueError, AttributeError, TypeError):
        return None
    return found
