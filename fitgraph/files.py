"""Files and folders that are written whole or not at all.

Everything is written beside its place under a name of its own, flushed to the disk and then
renamed, so whoever reads, or restarts after the process or the power was gone, finds the old
state or the new one, never a half and never none.

Examples
--------
>>> import tempfile
>>> place = Path(tempfile.mkdtemp()) / "note.txt"
>>> write_text_whole(place, "bore 8.10")
>>> place.read_text(encoding="utf-8"), [p.name for p in place.parent.iterdir()]
('bore 8.10', ['note.txt'])
"""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any

#: What is written beside its place ends like this until it is whole.
PART = ".part"

#: A file that nobody else is writing.
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)

#: Seconds after which what a killed process left beside its place is swept away.
_STALE = 3600.0

#: Of Linux' ``renameat2``: both names stay, and each means what the other meant.
_AT_FDCWD, _RENAME_EXCHANGE = -100, 2


class SpecialFileError(OSError):
    """Something that is no plain file: reading it might never end."""


def _beside(path: Path) -> Path:
    """Return a fresh name beside a path; what old processes left there is swept away."""
    for left in path.parent.glob(f".{glob_escape(path.name)}.*{PART}"):
        with contextlib.suppress(OSError):
            if time.time() - left.lstat().st_mtime > _STALE:
                shutil.rmtree(left) if left.is_dir() and not left.is_symlink() else left.unlink()
    # A name may be as long as the file system allows; its copy has to fit as well.
    return path.with_name(f".{path.name[:100]}.{os.urandom(6).hex()}{PART}")


def glob_escape(name: str) -> str:
    """Return a name in which a glob finds nothing but itself (its first 100 letters)."""
    return "".join(f"[{c}]" if c in "*?[" else c for c in name[:100])


def flush_folder(folder: Path) -> None:
    """Bring what a folder lists to the disk, where the system can."""
    if sys.platform == "win32":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def told_as(path: str | Path, beside: Path) -> Iterator[None]:
    """Let an error name what somebody asked for, not what stands beside it for a while.

    Parameters
    ----------
    path : str or Path
        What was asked for.
    beside : Path
        What is written or locked in its stead.
    """
    try:
        yield
    except OSError as error:
        if error.filename != str(beside):
            raise
        raise OSError(error.errno, error.strerror, str(path)) from None


@contextlib.contextmanager
def written_whole(path: str | Path, mode: str = "w") -> Iterator[IO[Any]]:
    """Open a file for writing that appears in its place only once it is whole.

    Parameters
    ----------
    path : str or Path
        Where it belongs. A link is followed; a device or a pipe is written to as it is.
    mode : {"w", "wb"}
        Text, in UTF-8 with lines that end as they are written, or bytes.

    Yields
    ------
    file
        Open for writing. If the block ends with an error, the old file stays.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    if mode not in ("w", "wb"):
        raise ValueError(f"mode {mode!r} does not write a file anew")
    text: dict[str, Any] = {} if mode == "wb" else {"encoding": "utf-8", "newline": ""}
    place = Path(os.path.realpath(path))
    before = None
    with contextlib.suppress(FileNotFoundError):
        before = place.stat()
    if before is not None and not stat.S_ISREG(before.st_mode):
        if stat.S_ISDIR(before.st_mode):
            raise IsADirectoryError(21, "Is a directory", str(path))
        with open(place, mode, **text) as file:
            yield file
        return
    beside = _beside(place)
    with told_as(path, beside):
        handle = os.open(beside, _NEW, 0o666)
    try:
        with open(handle, mode, **text) as file:
            if before is not None and hasattr(os, "fchmod"):
                with contextlib.suppress(OSError):
                    os.fchmod(file.fileno(), stat.S_IMODE(before.st_mode))
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, place)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise
    flush_folder(place.parent)


def write_text_whole(path: str | Path, text: str) -> None:
    """Write a text in UTF-8, whole or not at all."""
    with written_whole(path) as file:
        file.write(text)


def write_bytes_whole(path: str | Path, data: bytes) -> None:
    """Write bytes, whole or not at all."""
    with written_whole(path, "wb") as file:
        file.write(data)


@contextlib.contextmanager
def whole(path: str | Path) -> Iterator[Path]:
    """Give a file to write beside a path, for what writes to a name, and put it in its place.

    Parameters
    ----------
    path : str or Path
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
    place = Path(os.path.realpath(path))
    beside = _beside(place)
    try:
        with told_as(path, beside):
            yield beside
            with beside.open("r+b") as file:
                os.fsync(file.fileno())
        os.replace(beside, place)
    finally:
        beside.unlink(missing_ok=True)
    flush_folder(place.parent)


def _exchange(one: Path, other: Path) -> bool:
    """Swap the meaning of two names at once; say whether the system can."""
    if not sys.platform.startswith("linux"):
        return False
    import ctypes  # late: few commands write a folder

    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    names = (os.fsencode(one), os.fsencode(other))
    return bool(call(_AT_FDCWD, names[0], _AT_FDCWD, names[1], _RENAME_EXCHANGE) == 0)


def _flush_tree(folder: Path) -> None:
    for inside, _, files in os.walk(folder, topdown=False):
        for name in files:
            path = Path(inside) / name
            if path.is_symlink():
                continue
            with contextlib.suppress(OSError), path.open("rb") as file:
                os.fsync(file.fileno())
        flush_folder(Path(inside))


@contextlib.contextmanager
def folder_whole(target: str | Path, *, replace: bool = False) -> Iterator[Path]:
    """Fill a folder that appears in its place only once it is whole.

    Parameters
    ----------
    target : str or Path
        Where it belongs.
    replace : bool
        Whether it may take the place of a folder that is there already. Where the system can
        swap two names at once (Linux), there is never a moment without a folder.

    Yields
    ------
    Path
        An empty folder beside the place, to be filled.

    Raises
    ------
    FileExistsError
        If the target is there and may not be replaced.
    """
    place = Path(os.path.realpath(target))
    if place.exists() and not (replace and place.is_dir()):
        raise FileExistsError(17, "File exists", str(target))
    beside = _beside(place)
    place.parent.mkdir(parents=True, exist_ok=True)
    with told_as(target, beside):
        beside.mkdir()
    try:
        yield beside
        _flush_tree(beside)
        if not place.exists():
            os.rename(beside, place)
        elif not replace:
            raise FileExistsError(17, "File exists", str(target))
        elif not _exchange(beside, place):
            old = _beside(place)
            os.rename(place, old)
            os.rename(beside, place)
            shutil.rmtree(old, ignore_errors=True)
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    flush_folder(place.parent)


def copy_folder_whole(
    source: str | Path, target: str | Path, change: Callable[[Path], object] | None = None
) -> None:
    """Copy a folder; the copy appears whole, after what is changed in it, or not at all.

    Parameters
    ----------
    source, target : str or Path
        The target may not be there yet.
    change : callable, optional
        Is given the copy before it appears in its place.

    Raises
    ------
    FileExistsError
        If the target exists.
    SpecialFileError
        If the source holds something that is no plain file.
    """
    with folder_whole(target) as copy:
        fill_from(source, copy)
        if change is not None:
            change(copy)


def fill_from(source: str | Path, copy: Path) -> None:
    """Copy all that a folder holds into another, with its folders; links stay links.

    Raises
    ------
    SpecialFileError
        If it holds a pipe, a device or a socket.
    """
    for inside, folders, files in os.walk(source):
        here = copy / Path(inside).relative_to(source)
        for name in (*folders, *files):
            path = Path(inside) / name
            if name.endswith(PART):
                continue
            if path.is_symlink():
                os.symlink(os.readlink(path), here / name)
            elif name in folders:
                (here / name).mkdir()
            else:
                require_plain(path)
                shutil.copyfile(path, here / name)
                shutil.copymode(path, here / name)
        folders[:] = [
            f for f in folders if not f.endswith(PART) and not (Path(inside) / f).is_symlink()
        ]


def folder_name(folder: Path) -> str:
    """Return what a folder is called, however it was named: as ``.`` as well.

    Examples
    --------
    >>> folder_name(Path("shops/north/")), folder_name(Path.cwd() / "north" / "..") != ""
    ('north', True)
    """
    return Path(os.path.abspath(folder)).name or str(folder)


def require_plain(path: Path) -> os.stat_result:
    """Return what the system says of a file that can be read to its end.

    Raises
    ------
    SpecialFileError
        If it is a pipe, a device or a socket.
    OSError
        If it is not there or cannot be looked at.
    """
    found = path.stat()
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(21, "Is a directory", str(path))
    if not stat.S_ISREG(found.st_mode):
        raise SpecialFileError(22, "It is no plain file", str(path))
    return found
