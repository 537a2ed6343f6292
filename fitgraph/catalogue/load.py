"""Open a catalogue folder."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from fitgraph.catalogue import cache
from fitgraph.catalogue.findings import CatalogueError, Finding
from fitgraph.catalogue.loaded import FILES, Loaded
from fitgraph.files import folder_name


@contextmanager
def _without_collection() -> Iterator[None]:
    """Hold the garbage collector back while millions of objects that stay are made."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


def load(folder: str | Path) -> Loaded:
    """Read a catalogue folder; a large one that did not change since comes out of the cache.

    Parameters
    ----------
    folder : str or Path
        Holds ``vocabulary.toml``, ``parts.csv`` and, as far as they are
        there, ``features.csv``, ``stock.csv`` and ``enquiries.csv``.

    Returns
    -------
    Loaded
        The catalogue made of every usable row, and a finding for every
        other.

    Raises
    ------
    CatalogueError
        If nothing can go on: no folder, no vocabulary, no usable part.
    """
    folder = Path(folder)
    wrong = remedy = code = ""
    if not os.path.isdir(folder):  # a name may be too long for there to be one
        wrong, remedy, code = "is no folder", "Name a catalogue folder", "no-folder"
    elif not os.access(folder, os.R_OK | os.X_OK):
        wrong, remedy, code = "may not be looked into", "Let yourself read it", "unreadable"
    if wrong:
        raise CatalogueError([Finding(str(folder), None, "", "", wrong, remedy, code=code)])
    try:
        return _loaded(folder)
    except CatalogueError as error:
        error.folder = folder
        raise


def _loaded(folder: Path) -> Loaded:
    """Return a catalogue as it was kept, or read anew and kept."""
    with _without_collection():
        before = cache.fingerprint(folder, FILES)
        if (
            before is not None
            and (kept := cache.kept(before.word, folder_name(folder))) is not None
        ):
            return kept
        from fitgraph.catalogue.reading import FolderReader  # what is kept needs no reader

        loaded = FolderReader(folder).all()
        if before is not None and cache.unchanged(folder, FILES, before):
            loaded = replace(loaded, word=before.word)
            cache.keep(before.word, loaded)
    return loaded
