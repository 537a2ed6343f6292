"""Where the data that comes with the package lies."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped_folder(name: str) -> Path:
    """Return a folder shipped with the package: ``data`` or ``notebooks``.

    A wheel carries a copy inside the package; a checkout has it beside it.

    Raises
    ------
    FileNotFoundError
        If neither is there.
    """
    for folder in (_PACKAGE / "_shipped" / name, _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"the folder {name!r} that comes with fitgraph is missing")


def demo_folder() -> Path:
    """Return the demo catalogue's folder."""
    return shipped_folder("data") / "demo"
