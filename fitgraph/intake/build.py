"""The folder of a catalogue that an import makes: what is there already stays, or it says so."""

from __future__ import annotations

import contextlib
import os
import shlex
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path

from filelock import FileLock, Timeout

from fitgraph.catalogue.findings import (
    WARNING,
    CatalogueError,
    Finding,
    Notes,
    shorten,
)
from fitgraph.catalogue.load import load
from fitgraph.catalogue.loaded import VOCABULARY, Loaded
from fitgraph.catalogue.table_reader import read_table
from fitgraph.files import (
    fill_from,
    folder_name,
    folder_whole,
    told_as,
    write_bytes_whole,
    write_text_whole,
    written_whole,
)
from fitgraph.intake.mapping import (
    MAPPING,
    MappingError,
    written,
)
from fitgraph.intake.phrases import FILE as PHRASES
from fitgraph.intake.taken import Taken
from fitgraph.intake.understood import Aside, Intake
from fitgraph.model import Vocabulary
from fitgraph.plain import CsvWriter
from fitgraph.records import dataclass
from fitgraph.wording import plural

#: Files of the folder that is made, beside the vocabulary.
PARTS, FEATURES, STOCK = "parts.csv", "features.csv", "stock.csv"
ASIDE, ASIDE_BEFORE = "set-aside.csv", "set-aside-before.csv"

#: The page that an import leaves in its folder.
PAGE = "import.html"

#: Other things that a folder may hold before a catalogue is made in it.
_OTHERS = 12

#: Seconds that an import waits for another one into the same folder.
_PATIENCE = 60

#: Columns that the file of rows set aside has before their own.
WHY = ("why it was set aside", "how to mend it", "from")

_HEADS = {
    PARTS: ("sku", "role", "name", "maker", "price", "mass", "material", "note"),
    FEATURES: ("sku", "feature", "dimension", "value", "basis", "note"),
    STOCK: ("sku", "quantity", "place"),
}


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import came to.

    Parameters
    ----------
    intake : Intake
        What was understood.
    loaded : Loaded or None
        The catalogue that came of it; None where nothing could be used.
    folder : Path
        Where it is.
    findings : tuple of Finding
        Those of the tables, and those of the catalogue made of them.
    """

    intake: Intake
    loaded: Loaded | None
    folder: Path
    findings: tuple[Finding, ...]


def held_parts(folder: Path) -> dict[str, str]:
    """Return the role of each part that a folder has already; empty where it cannot be read."""
    if not (folder / PARTS).exists():
        return {}
    try:
        rows = read_table(folder / PARTS, ("sku", "role"), _HEADS[PARTS][2:], Notes()).rows
        return {row["sku"]: row["role"] for row in rows}
    except CatalogueError:
        return {}


def _kept(
    folder: Path, name: str, fresh: set[str]
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return the columns of a table, and the rows that are there already and stay.

    Raises
    ------
    MappingError
        If there are rows that cannot be read: writing the table anew would lose them.
    """
    path = folder / name
    if not path.exists() and not path.is_symlink():
        return _HEADS[name], []
    notes = Notes()
    try:
        table = read_table(path, ("sku",), _HEADS[name][1:], notes)
        rows = list(table.rows)
    except CatalogueError as error:
        raise MappingError(f"{error.findings[0]} Nothing was imported.") from None
    if table.tally.aside:
        raise MappingError(
            f"{name} in {folder_name(folder)} has rows that cannot be read and would be lost, the "
            f"first in line {table.tally.aside[0]}; mend them first (fitgraph check --catalogue "
            f"{folder}). Nothing was imported."
        )
    columns = (*_HEADS[name], *(c for c in table.columns if c not in _HEADS[name]))
    return columns, [tuple(row[c] for c in columns) for row in rows if row["sku"] not in fresh]


def _replaced(folder: Path, fresh: set[str]) -> list[Finding]:
    """Tell of parts that were in the folder and came anew."""
    path = folder / PARTS
    if not path.exists():
        return []
    try:
        rows = read_table(path, ("sku",), _HEADS[PARTS][1:], Notes()).rows
        again = [row["sku"] for row in rows if row["sku"] in fresh]
    except CatalogueError:
        return []
    if not again:
        return []
    return [
        Finding(
            PARTS,
            None,
            "sku",
            shorten(", ".join(again[:5])),
            f"was in the folder before: {len(again):,} parts came anew and took the place of what "
            "was there",
            "Look at them if you did not mean that",
            WARNING,
            "replaced",
        )
    ]


_Rows = dict[str, tuple[tuple[str, ...], list[tuple[str, ...]]]]


def _tell_more(intake: Intake, kept: _Rows, vocabulary: Vocabulary) -> list[Finding]:
    """Put into the rows that stay what is told of their parts; return what is told of that.

    Raises
    ------
    MappingError
        If somebody has taken such a part out of the folder meanwhile.
    """
    if not intake.more:
        return []
    fresh = _rows(intake.more, vocabulary)
    columns, parts = kept[PARTS]
    told = {row[0]: dict(zip(_HEADS[PARTS], row, strict=True)) for row in fresh[PARTS]}
    if gone := told.keys() - {row[0] for row in parts}:
        raise MappingError(
            f"{min(gone)} is no part of the folder any more; try again. Nothing was imported."
        )
    for at, row in enumerate(parts):
        new = told.get(row[0], {})
        parts[at] = tuple(
            # What a part is and is called stays.
            (name not in ("role", "name") and new.get(name)) or old
            for name, old in zip(columns, row, strict=True)
        )
    counted_anew = {row[0] for row in fresh[STOCK]}
    kept[STOCK] = (kept[STOCK][0], [r for r in kept[STOCK][1] if r[0] not in counted_anew])
    for name in (FEATURES, STOCK):
        heads, rows = kept[name]
        there = {row[:4] for row in rows}
        blank = ("",) * (len(heads) - len(_HEADS[name]))
        rows += [(*row, *blank) for row in fresh[name] if row[:4] not in there]
    some = ", ".join(part.sku for part in intake.more[:5])
    message = f"was in the folder before: more was told of {plural(len(told), 'such part')}"
    remedy = "Look at them if you did not mean that"
    return [Finding(PARTS, None, "sku", shorten(some), message, remedy, WARNING, "another-list")]


def _rows(parts: Sequence[Taken], vocabulary: Vocabulary) -> dict[str, list[tuple[str, ...]]]:
    rows: dict[str, list[tuple[str, ...]]] = {name: [] for name in _HEADS}
    for p in parts:
        price = "" if p.price is None else vocabulary.plain_money(p.price)
        mass = "" if p.mass_g is None else f"{p.mass_g:.6g} g"
        rows[PARTS].append((p.sku, p.role, p.name, p.maker, price, mass, p.material, p.note))
        for path, (value, basis, note) in p.figures.items():
            feature, _, dimension = path.partition(".")
            rows[FEATURES].append((p.sku, feature, dimension, value, basis, note))
        if p.stock is not None:
            rows[STOCK].append((p.sku, str(p.stock), ""))
    return rows


def _one_line(text: str) -> str:
    return " ".join(text.split())


def write_catalogue(
    intake: Intake,
    folder: Path,
    words: Path,
    vocabulary: Vocabulary,
    page: Callable[[Imported], str],
) -> Imported:
    """Write a catalogue folder of what was understood, whole or not at all, and check it.

    Parameters
    ----------
    intake : Intake
        What was understood.
    folder : Path
        Where it goes. What is there already stays, but for the parts that come anew. Who imports
        into it at the same time waits.
    words : Path
        A catalogue folder whose vocabulary and phrases are copied, where there are none yet.
    vocabulary : Vocabulary
        The one in that folder.
    page : callable
        Makes the page of a report, which is written beside the tables.

    Raises
    ------
    MappingError
        If something in the folder would be lost, if it is a folder of other things, or if somebody
        else keeps writing to it.
    OSError
        If it cannot be written.
    """
    _ours(folder)
    with _alone(folder):
        fresh = {part.sku for part in intake.parts}
        told = _replaced(folder, fresh)
        kept = {name: _kept(folder, name, fresh) for name in _HEADS}
        told += _tell_more(intake, kept, vocabulary)
        with folder_whole(folder, replace=True) as made:
            if folder.is_dir():
                fill_from(folder, made)
            for name in (VOCABULARY, PHRASES):
                if not (made / name).exists() and (words / name).exists():
                    write_bytes_whole(made / name, (words / name).read_bytes())
            for name, rows in _rows(intake.parts, vocabulary).items():
                columns, before = kept[name]
                blank = ("",) * (len(columns) - len(_HEADS[name]))
                with written_whole(made / name) as out:
                    writer = CsvWriter(out, lineterminator="\n")
                    writer.row(columns)
                    writer.rows(map(_one_line, row) for row in before)
                    writer.rows(map(_one_line, (*row, *blank)) for row in rows)
            with written_whole(made / MAPPING) as out:
                out.write(written(intake.mapping))
            if (made / ASIDE).exists():
                os.replace(made / ASIDE, made / ASIDE_BEFORE)
            if mend := [a for a in intake.aside if a.cells]:
                _write_aside(made / ASIDE, mend)
            loaded: Loaded | None
            try:
                loaded = load(made)
                loaded = replace(
                    loaded, catalogue=replace(loaded.catalogue, name=folder_name(folder))
                )
                of_made = loaded.findings
            except CatalogueError as error:
                loaded, of_made = None, error.findings
            report = Imported(intake, loaded, folder, (*intake.findings, *told, *of_made))
            write_text_whole(made / PAGE, page(report))
        return report


def _ours(folder: Path) -> None:
    """Refuse a folder that is full of other things, such as somebody's home, or that we are in.

    Raises
    ------
    MappingError
        If it is.
    """
    place = Path(os.path.realpath(folder))
    if place in (here := Path.cwd(), *here.parents):
        raise MappingError(
            f"{folder} is the folder that you are in, or above it, and an import puts a whole new "
            f"folder in its place; go out of it (cd {shlex.quote(str(place.parent))}) and import "
            f"into {place.name}. Nothing was imported."
        )
    held = [*islice(folder.iterdir(), _OTHERS + 1)] if folder.is_dir() else []
    if len(held) > _OTHERS and not (folder / VOCABULARY).exists():
        raise MappingError(
            f"{folder} holds other things and no catalogue; name a folder of its own, like "
            f"{folder / 'my-shop'}. Nothing was imported."
        )


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Keep other imports into a folder waiting.

    Raises
    ------
    MappingError
        If somebody else keeps writing to it.
    """
    place = Path(os.path.realpath(folder))
    place.parent.mkdir(parents=True, exist_ok=True)
    beside = place.with_name(f".{place.name[:100]}.lock")
    lock = FileLock(beside, timeout=_PATIENCE)
    try:
        with told_as(folder, beside):
            lock.acquire()
    except Timeout:
        raise MappingError(
            f"{folder} is being written by something else; try again. Nothing was imported."
        ) from None
    try:
        yield
    finally:
        lock.release()


def _write_aside(path: Path, mend: Sequence[Aside]) -> None:
    """Write rows that could not be used, as they came, with the reasons before them."""
    names = list(dict.fromkeys(name for a in mend for name in a.cells))
    names = [n for n in names if n not in WHY]
    with written_whole(path) as out:
        writer = CsvWriter(out, lineterminator="\n")
        writer.row([*WHY, *names])
        writer.rows(
            [a.reason, a.remedy, f"{a.source}, row {a.row}"]
            + [_one_line(a.cells.get(n, "")) for n in names]
            for a in mend
        )
