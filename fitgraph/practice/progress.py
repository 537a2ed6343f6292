"""A learner's progress as a file: written whole or not at all, read with care.

Two pages may practise under one name at the same time: what each adds is added to what the
file holds by then, under a lock.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import field, replace
from pathlib import Path
from typing import Any

import platformdirs
from filelock import FileLock, Timeout

from fitgraph.errors import InputError
from fitgraph.files import write_text_whole
from fitgraph.practice.leitner import TopicCard
from fitgraph.records import dataclass

#: Marks our own files.
FORMAT, VERSION = "fitgraph-practice", 1

#: Seconds that a writer waits for another one.
_PATIENCE = 20.0

#: Names that some systems keep for devices.
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)")


class ProgressError(InputError):
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
    cards: Mapping[str, TopicCard] = field(default_factory=dict)
    rounds: tuple[Round, ...] = ()
    open: OpenRound | None = None


def default_folder() -> Path:
    """Return where progress is kept if nobody says: the user's own data folder."""
    return platformdirs.user_data_path("fitgraph") / "practice"


def file_of(folder: Path, learner: str) -> Path:
    """Return the file of a learner; names that differ in more than capitals have different ones.

    Examples
    --------
    >>> file_of(Path("x"), "Quill").name, file_of(Path("x"), "Örla / Quill").name
    ('quill.json', 'orla-quill-1ef29a1a.json')
    """
    key, slug = _key(learner), _slug(learner)
    if slug != key or _DEVICES.fullmatch(slug):
        digest = hashlib.sha256(key.encode("utf-8", "replace")).hexdigest()[:8]
        slug = "-".join(filter(None, (slug or "learner", digest)))
    return folder / f"{slug}.json"


def _key(learner: str) -> str:
    """Return what makes a name: neither capitals nor the number of spaces."""
    return " ".join(unicodedata.normalize("NFKC", learner).casefold().split())


def _slug(learner: str) -> str:
    plain = unicodedata.normalize("NFKD", learner).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60]


def _older_file_of(folder: Path, learner: str) -> Path | None:
    """Return the file that an older version kept under a name that several learners share."""
    file = folder / f"{_slug(learner)}.json"
    if not _slug(learner) or not file.exists():
        return None
    try:
        return file if _key(read(file).learner) == _key(learner) else None
    except ProgressError:
        return None


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
            str(topic): TopicCard(
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
    file: Path | None = file_of(folder, learner)
    if file is None or not file.exists():
        file = _older_file_of(folder, learner)
    if file is None:
        return Progress(learner.strip())
    return replace(read(file), learner=learner.strip())


def merged(mine: Progress, before: Progress, theirs: Progress) -> Progress:
    """Return what two writers have added to the same progress.

    Parameters
    ----------
    mine : Progress
        As this writer has it now.
    before : Progress
        As this writer read or wrote it last.
    theirs : Progress
        As the file holds it by now.
    """
    cards = dict(theirs.cards)
    for topic, card in mine.cards.items():
        old, other = before.cards.get(topic), theirs.cards.get(topic)
        if card == old:
            continue
        right, wrong = (0, 0) if old is None else (old.right, old.wrong)
        if other is None or other == old:
            cards[topic] = card
            continue
        # Both have answered: every answer counts, and the topic is asked again the sooner.
        sooner = min(card, other, key=lambda c: (c.due, c.box))
        cards[topic] = replace(
            sooner,
            right=other.right + max(card.right - right, 0),
            wrong=other.wrong + max(card.wrong - wrong, 0),
        )
    added = mine.rounds[len(before.rounds) :]
    begun = theirs.open if mine.open == before.open else mine.open
    return Progress(mine.learner, cards, (*theirs.rounds, *added), begun)


def save(folder: Path, progress: Progress, before: Progress | None = None) -> Progress:
    """Write a learner's progress, whole or not at all, with what others have added meanwhile.

    Parameters
    ----------
    folder : Path
        Where progress is kept; made where it is not there.
    progress : Progress
        As this writer has it now.
    before : Progress, optional
        As this writer read or wrote it last; what was added since is added to the file.
        Where it is not given, the file holds `progress` and nothing else afterwards.

    Returns
    -------
    Progress
        As the file holds it now.

    Raises
    ------
    ProgressError
        If the folder cannot be written to.
    """
    file = file_of(folder, progress.learner)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with FileLock(file.with_name(f".{file.stem}.lock"), timeout=_PATIENCE):
            if before is not None and _key(before.learner) == _key(progress.learner):
                progress = merged(progress, before, load(folder, progress.learner))
            write_text_whole(file, json.dumps(_as_data(progress), ensure_ascii=False, indent=1))
    except Timeout:
        raise ProgressError(
            f"Progress in {folder} is being written by something else. Try again."
        ) from None
    except OSError as error:
        raise ProgressError(
            f"Progress cannot be kept in {folder}: {error.strerror}. Choose another folder."
        ) from None
    return progress


def everybody(folder: Path) -> tuple[list[Progress], list[str]]:
    """Return the progress of all learners in a folder, and what could not be read."""
    found, wrong = [], []
    for file in sorted(folder.glob("*.json")) if folder.is_dir() else []:
        try:
            found.append(read(file))
        except ProgressError as error:
            wrong.append(str(error))
    return found, wrong
