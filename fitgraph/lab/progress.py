"""A learner's progress as a file: written whole or not at all, read with care."""

from __future__ import annotations

import datetime
import json
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import platformdirs

from fitgraph.files import whole
from fitgraph.lab.leitner import Card

#: Marks our own files.
FORMAT, VERSION = "fitgraph-practice", 1


class ProgressError(ValueError):
    """A file of progress that cannot be used; the message says why and how to mend it."""


@dataclass(frozen=True, slots=True)
class Round:
    """A round that was finished."""

    level: int
    day: datetime.date
    right: int
    asked: int


@dataclass(frozen=True, slots=True)
class OpenRound:
    """A round that has been begun.

    Parameters
    ----------
    level, seed : int
        From which its questions come out the same again.
    topics : tuple of str
        One a question.
    answers : tuple of bool
        Whether each was right, so far.
    """

    level: int
    seed: int
    topics: tuple[str, ...]
    answers: tuple[bool, ...] = ()


@dataclass(frozen=True, slots=True)
class Progress:
    """All that is kept of one learner.

    Parameters
    ----------
    learner : str
        The name.
    cards : mapping of str to Card
        By topic.
    rounds : tuple of Round
        Finished ones, the oldest first.
    open : OpenRound or None
        One that has been begun.
    """

    learner: str
    cards: Mapping[str, Card] = field(default_factory=dict)
    rounds: tuple[Round, ...] = ()
    open: OpenRound | None = None


def default_folder() -> Path:
    """Return where progress is kept if nobody says: the user's own data folder."""
    return platformdirs.user_data_path("fitgraph") / "practice"


def file_of(folder: Path, learner: str) -> Path:
    """Return the file of a learner.

    Examples
    --------
    >>> file_of(Path("x"), "Örla / Quill").name
    'orla-quill.json'
    """
    plain = unicodedata.normalize("NFKD", learner).encode("ascii", "ignore").decode()
    slug = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60]
    if not slug:
        slug = "learner-" + learner.strip().encode("utf-8", "replace").hex()[:40]
    return folder / f"{slug}.json"


def _as_data(progress: Progress) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "version": VERSION,
        "learner": progress.learner,
        "cards": {
            topic: {"box": c.box, "due": c.due.isoformat(), "right": c.right, "wrong": c.wrong}
            for topic, c in progress.cards.items()
        },
        "rounds": [
            {"level": r.level, "day": r.day.isoformat(), "right": r.right, "asked": r.asked}
            for r in progress.rounds
        ],
        "open": None
        if progress.open is None
        else {
            "level": progress.open.level,
            "seed": progress.open.seed,
            "topics": list(progress.open.topics),
            "answers": list(progress.open.answers),
        },
    }


def _from_data(data: Mapping[str, Any]) -> Progress:
    day = datetime.date.fromisoformat
    begun = data.get("open")
    return Progress(
        str(data["learner"]),
        {
            str(topic): Card(
                min(max(int(c["box"]), 1), 5), day(c["due"]), int(c["right"]), int(c["wrong"])
            )
            for topic, c in data["cards"].items()
        },
        tuple(
            Round(int(r["level"]), day(r["day"]), int(r["right"]), int(r["asked"]))
            for r in data["rounds"]
        ),
        None
        if begun is None
        else OpenRound(
            int(begun["level"]),
            int(begun["seed"]),
            tuple(map(str, begun["topics"])),
            tuple(map(bool, begun["answers"])),
        ),
    )


def read(file: Path) -> Progress:
    """Return what a file keeps.

    Raises
    ------
    ProgressError
        If it cannot be read, or is none of ours.
    """
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
        if data["format"] != FORMAT or data["version"] != VERSION:
            raise ValueError("it is no progress of this version")
        return _from_data(data)
    except OSError as error:
        raise ProgressError(f"{file.name} cannot be read: {error.strerror}.") from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise ProgressError(
            f"{file.name} holds no progress that can be read. Move it away, or choose another "
            "name, and practise anew."
        ) from None


def load(folder: Path, learner: str) -> Progress:
    """Return a learner's progress; an empty one where there is none yet.

    Raises
    ------
    ProgressError
        If the file cannot be used.
    """
    file = file_of(folder, learner)
    if not file.exists():
        return Progress(learner.strip())
    return replace(read(file), learner=learner.strip())


def save(folder: Path, progress: Progress) -> Path:
    """Write a learner's progress, whole or not at all.

    Raises
    ------
    ProgressError
        If the folder cannot be written to.
    """
    file = file_of(folder, progress.learner)
    text = json.dumps(_as_data(progress), ensure_ascii=False, indent=1)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with whole(file) as beside:
            beside.write_text(text, encoding="utf-8")
    except OSError as error:
        raise ProgressError(
            f"Progress cannot be kept in {folder}: {error.strerror}. Choose another folder."
        ) from None
    return file


def everybody(folder: Path) -> tuple[list[Progress], list[str]]:
    """Return the progress of all learners in a folder, and what could not be read."""
    found, wrong = [], []
    for file in sorted(folder.glob("*.json")) if folder.is_dir() else []:
        try:
            found.append(read(file))
        except ProgressError as error:
            wrong.append(str(error))
    return found, wrong
