"""An import from end to end: read, guess, ask elsewhere, understand, write, check."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from fitgraph.catalogue import demo_folder
from fitgraph.catalogue.loaded import VOCABULARY
from fitgraph.catalogue.vocabulary_file import read_vocabulary
from fitgraph.errors import InputError
from fitgraph.intake.build import WHY, Imported, held_parts, write_catalogue
from fitgraph.intake.grid import Found, tables
from fitgraph.intake.guess import Choice, column_as, guess, header_words, units_of
from fitgraph.intake.list_rows import stock_numbers
from fitgraph.intake.mapping import (
    BY_TITLE,
    FIELDS,
    MAPPING,
    NO_PART,
    Mapping,
    MappingError,
    TableMap,
    read_mapping,
)
from fitgraph.intake.phrases import Phrases, read_phrases
from fitgraph.intake.row_kinds import UnknownKind, unknown_kinds
from fitgraph.intake.sources import SourceError, SourceSheet, read_source
from fitgraph.intake.understood import Intake, take_in
from fitgraph.model import Vocabulary
from fitgraph.records import dataclass

#: Words for kinds of parts that are asked about at a time.
_KINDS = 12


@dataclass(frozen=True, slots=True)
class Job:
    """Tables that were read, and what their columns are taken for.

    Parameters
    ----------
    sheets : tuple of SourceSheet
        As read.
    tables : tuple of Found
        In the sheets.
    choices : list of Choice
        Of every column.
    known : Mapping
        What was said before.
    words : Path
        The folder with the vocabulary.
    """

    sheets: tuple[SourceSheet, ...]
    tables: tuple[Found, ...]
    choices: list[Choice]
    known: Mapping
    words: Path
    vocabulary: Vocabulary
    phrases: Phrases


def prepared(
    sources: Sequence[str | SourceSheet],
    words: Path,
    mapping: Path | Mapping | None = None,
    like: Job | None = None,
) -> Job:
    """Read sources and guess what their columns are.

    Parameters
    ----------
    sources : sequence of str or SourceSheet
        Files, addresses of databases, or sheets such as of a data frame.
    words : Path
        A catalogue folder with a vocabulary and, if there is one, ``phrases.toml``.
    mapping : Path or Mapping, optional
        What was said before.
    like : Job, optional
        One whose vocabulary and phrases serve again, so that they are read once.

    Raises
    ------
    SourceError, MappingError, CatalogueError
        If one of them cannot be used.
    """
    if like is None:
        vocabulary = read_vocabulary(words / VOCABULARY)
        phrases = read_phrases(words, vocabulary)
    else:
        vocabulary, phrases = like.vocabulary, like.phrases
    if isinstance(mapping, Path):
        mapping = read_mapping(mapping)
    known = mapping or Mapping()
    _check(known, vocabulary)
    sheets: list[SourceSheet] = []
    for source in sources:
        sheets += [source] if isinstance(source, SourceSheet) else read_source(source)
    names = header_words(vocabulary, phrases)
    found: list[Found] = []
    for sheet in sheets:
        said = known.tables.get(sheet.title)
        found += tables(sheet, names, said.header if said is not None else None)
    if not found:
        raise SourceError(
            f"{', '.join(s.title for s in sheets)[:200]} holds no table with a header and a row "
            "below it; say in a mapping file which row is the header"
        )
    choices = [
        choice
        for table in found
        for choice in guess(table, vocabulary, phrases, known.of(table.source, table.header))
        if choice.column not in WHY
    ]
    return Job(tuple(sheets), tuple(found), choices, known, words, vocabulary, phrases)


def _check(mapping: Mapping, vocabulary: Vocabulary) -> None:
    """Refuse a mapping that names what the vocabulary does not have.

    Raises
    ------
    MappingError
        If it does.
    """
    paths = {
        path
        for name, role in vocabulary.roles.items()
        for kind in role.features.values()
        for own in (kind.name, *(f"{kind.name}.{dimension}" for dimension in kind.dimensions))
        for path in (own, f"{name}.{own}")
    }
    for source, table in mapping.tables.items():
        for name, column in table.columns.items():
            if column.means not in FIELDS and column.means not in paths:
                raise MappingError(
                    f"the mapping of {source}, column {name!r} means {column.means!r}, which is no "
                    f"field, feature or dimension; use one of {', '.join(FIELDS)}, feature or "
                    "feature.dimension"
                )
            known = units_of(column.means)
            if column.unit and known is not None and column.unit.lower() not in known:
                raise MappingError(
                    f"the mapping of {source}, column {name!r} has the unit {column.unit!r}, which "
                    f"is none of {column.means}; use one of {', '.join(sorted(known)[:12])}"
                )
    for word, role_name in mapping.roles.items():
        if role_name not in vocabulary.roles and role_name not in (NO_PART, BY_TITLE):
            raise MappingError(
                f"the mapping of the word {word!r} names {role_name!r}, which is no role; use one "
                f'of {", ".join(vocabulary.roles)}, "" for no part of yours, or "?" where titles '
                "tell it"
            )


def serving(
    into: Path, words: Path | None = None, mapping: Path | None = None
) -> tuple[Path, Path | None]:
    """Return whose words serve an import into a folder, and what was said of columns before.

    Parameters
    ----------
    into : Path
        The folder; its own words and its own mapping serve where nothing else is named.
    words, mapping : Path, optional
        What is named instead.

    Raises
    ------
    InputError
        If it is a file, not a folder.
    """
    if into.exists() and not into.is_dir():
        raise InputError(f"{into} is a file; name a folder, or one that is to be made")
    if words is None:
        words = into if (into / VOCABULARY).exists() else demo_folder()
    if mapping is None and (into / MAPPING).exists():
        mapping = into / MAPPING
    return words, mapping


def first_rows(job: Job, choices: Sequence[Choice], most: int) -> list[tuple[Found, Intake]]:
    """Return the first rows of each table, and what is understood of them."""
    mapping = mapping_of(job, choices)
    _check(mapping, job.vocabulary)
    few = [replace(t, rows=t.rows[:most], sums=()) for t in job.tables]
    numbers = {t.source: stock_numbers(t, mapping) for t in job.tables}
    return [
        (t, take_in([t], mapping, job.vocabulary, job.phrases, held=_elsewhere(t.source, numbers)))
        for t in few
    ]


def _elsewhere(source: str, numbers: dict[str, set[str]]) -> dict[str, str]:
    """Return the stock numbers of other tables; what they are is not known yet."""
    return dict.fromkeys(set().union(*(n for s, n in numbers.items() if s != source)), "")


def kinds_asked(job: Job, choices: Sequence[Choice]) -> list[UnknownKind]:
    """Return their words for kinds of parts that mean no role, the commonest first, few of them."""
    known = mapping_of(job, choices)
    return unknown_kinds(job.tables, known, job.vocabulary, job.phrases)[:_KINDS]


def with_kind(job: Job, word: str, role: str) -> Job:
    """Return a job in which a word of theirs means a role, no part of ours, or as titles say.

    Raises
    ------
    MappingError
        If it is neither.
    """
    roles = {w: r for w, r in job.known.roles.items() if w != word}
    _check(Mapping({}, {word: role}), job.vocabulary)
    return replace(job, known=replace(job.known, roles={**roles, word: role}))


def chosen(job: Job, choice: Choice, means: str) -> Choice:
    """Return a choice as somebody made it: a field, or a dimension of the vocabulary.

    Raises
    ------
    MappingError
        If it is neither.
    """
    table = next(t for t in job.tables if t.source == choice.source and choice.column in t.header)
    column = column_as(table, choice.column, means)
    _check(Mapping({choice.source: TableMap({choice.column: column})}), job.vocabulary)
    return replace(choice, taken=column, sure=True)


def mapping_of(job: Job, choices: Sequence[Choice]) -> Mapping:
    """Return the mapping that some choices make, with what was said before."""
    made = dict(job.known.tables)
    for table in job.tables:
        columns = {c.column: c.taken for c in choices if c.source == table.source}
        before = job.known.of(table.source, table.header)
        made[table.source] = TableMap(columns, before.header if before is not None else None)
    return Mapping(made, job.known.roles)


def import_tables(
    job: Job, choices: Sequence[Choice], into: Path, page: Callable[[Imported], str]
) -> Imported:
    """Make or extend a catalogue folder by what the choices say.

    Parameters
    ----------
    job : Job
        What is imported.
    choices : sequence of Choice
        Which column is what.
    into : Path
        The folder.
    page : callable
        Makes the page of what it came to, which is written beside the tables.

    Raises
    ------
    MappingError
        If a choice names what the vocabulary does not have.
    OSError
        If the folder cannot be written.
    """
    mapping = mapping_of(job, choices)
    _check(mapping, job.vocabulary)
    held = held_parts(into)
    intake = take_in(job.tables, mapping, job.vocabulary, job.phrases, job.sheets, held)
    return write_catalogue(intake, into, job.words, job.vocabulary, page)
