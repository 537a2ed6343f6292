"""Made parts that are kept beside a catalogue's tables, in a folder of proposals, a file each.

A proposal is no part of the catalogue: no table names it, nothing counts it as stock, and only
the page of designs reads it, to try it again.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path

from fitgraph.adapters.trials import MadeUp
from fitgraph.errors import InputError
from fitgraph.files import require_plain, write_text_whole
from fitgraph.model import Vocabulary

#: The folder beside the tables, and how its files end.
FOLDER, _ENDING = "proposals", ".json"

#: A file with more bytes is none of ours; and more files are not looked at.
_MOST_BYTES, _MOST_FILES = 100_000, 500

#: What a file's name is not made of, and how long it is at most.
_STRANGE, _LONGEST = re.compile(r"[^A-Za-z0-9._-]+"), 100


def keep(folder: Path | None, made: Sequence[MadeUp]) -> tuple[Path, ...]:
    """Write parts into a catalogue's folder of proposals, each whole or not at all.

    Parameters
    ----------
    folder : Path or None
        Of the catalogue; None for the demo, which is not written to.
    made : sequence of MadeUp
        The parts.

    Returns
    -------
    tuple of Path
        Their files; one of the same name is replaced.

    Raises
    ------
    InputError
        If there is no folder of one's own, or it cannot be written to.
    """
    if folder is None:
        raise InputError("the demo is not written to; open a folder of your own on the start page")
    place = folder / FOLDER
    files = []
    try:
        place.mkdir(exist_ok=True)
        for one in made:
            name = _STRANGE.sub("-", one.sku).lstrip(".")[:_LONGEST] or "part"
            file = place / f"{name}{_ENDING}"
            write_text_whole(file, json.dumps(one.plain(), indent=2) + "\n")
            files.append(file)
    except OSError as error:
        raise InputError(f"{place}: cannot be written to ({error.strerror or error})") from None
    return tuple(files)


def kept(folder: Path | None, vocabulary: Vocabulary) -> tuple[tuple[MadeUp, ...], tuple[str, ...]]:
    """Return the parts in a catalogue's folder of proposals.

    Parameters
    ----------
    folder : Path or None
        Of the catalogue; None for the demo, which has none.
    vocabulary : Vocabulary
        The parts have to be such as it lets be made.

    Returns
    -------
    parts : tuple of MadeUp
        By file name.
    problems : tuple of str
        What is wrong with the others, and how to mend it, a sentence a file.
    """
    if folder is None or not (folder / FOLDER).is_dir():
        return (), ()
    parts, problems = [], []
    files = sorted((folder / FOLDER).glob(f"[!.]*{_ENDING}"))
    if len(files) > _MOST_FILES:
        problems.append(f"{FOLDER} holds {len(files)} files; the first {_MOST_FILES} are read.")
    for file in files[:_MOST_FILES]:
        try:
            if require_plain(file).st_size > _MOST_BYTES:
                raise ValueError("it is too large")
            one = MadeUp.read(json.loads(file.read_text("utf-8")))
            one.part(vocabulary)
            parts.append(one)
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
            told = f"lacks {error}" if isinstance(error, KeyError) else str(error)
            problems.append(
                f"{FOLDER}/{file.name} cannot be made here ({told}); mend it or take it away."
            )
    return tuple(parts), tuple(problems)
