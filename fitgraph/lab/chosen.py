"""Which catalogue folder the pages of a server are about: a choice that all of them share.

``fitgraph lab`` names a small file of its own in the environment; the start page writes the
folder into it, and every page that is opened from then on reads it. Without that file it is the
demo.
"""

from __future__ import annotations

import os
from pathlib import Path

from fitgraph.files import write_text_whole

#: Names the file in the environment of the pages.
VARIABLE = "FITGRAPH_OPENED"


def chosen_folder() -> Path | None:
    """Return the folder that was opened on the start page; None for the demo."""
    file = os.environ.get(VARIABLE)
    if not file:
        return None
    try:
        named = Path(file).read_text(encoding="utf-8").strip()
    except OSError:
        return None
    return Path(named) if named else None


def choose(folder: Path | None) -> bool:
    """Take a folder for all pages that are opened from now on; return whether that is possible.

    Parameters
    ----------
    folder : Path or None
        The folder; None for the demo.
    """
    file = os.environ.get(VARIABLE)
    if not file:
        return False
    write_text_whole(Path(file), "" if folder is None else str(folder))
    return True
