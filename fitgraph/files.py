"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Give a file to write beside `path`, and put it in its place once it is all there.

    Parameters
    ----------
    path : Path
        Where the file is wanted; what stands there is replaced in one step.

    Yields
    ------
    Path
        A file that does not exist yet, in the same folder. It is flushed to the disk before it
        takes its place, and taken away if the writing ends in an error.

    Raises
    ------
    OSError
        If the folder cannot be written to.
    """
    # A short name of its own, so that a long one beside it still fits the file system.
    beside = path.with_name(f".{os.getpid()}-{secrets.token_hex(4)}.part")
    try:
        yield beside
        with beside.open("r+b") as file:
            os.fsync(file.fileno())
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)
