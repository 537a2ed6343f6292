"""What kind of part a row is of: by a column, by the heading it stands under, or by its titles."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence

from fitgraph.catalogue.findings import Notes, shorten
from fitgraph.intake.grid import Found
from fitgraph.intake.list_rows import ListRow, columns_of
from fitgraph.intake.mapping import BY_TITLE, MAPPING, NO_PART, Mapping
from fitgraph.intake.phrases import FILE as PHRASES
from fitgraph.intake.phrases import Phrases, TitleWords
from fitgraph.model import Vocabulary
from fitgraph.records import dataclass

#: Titles that are shown beside a word for a kind that is not known.
_SAMPLES = 3


@dataclass(frozen=True, slots=True)
class UnknownKind:
    """A word for a kind of part that means no role.

    Parameters
    ----------
    word : str
        As it stands in their column, or over their rows.
    rows : int
        In how many it counts and no title tells the kind.
    samples : tuple of str
        What some of them are called.
    """

    word: str
    rows: int
    samples: tuple[str, ...]


class RowKinds:
    """What their words mean, and which of them mean nothing.

    Parameters
    ----------
    mapping : Mapping
        What was said of words.
    vocabulary, phrases
        What words mean.
    """

    def __init__(self, mapping: Mapping, vocabulary: Vocabulary, phrases: Phrases) -> None:
        self._phrases = phrases
        self._titles = {
            word.casefold(): name
            for name, role in vocabulary.roles.items()
            for word in (name, role.title)
        }
        #: What was said of their words: a role, that it is no part, or that titles tell.
        self.said = {word.casefold(): role for word, role in mapping.roles.items()}
        self.unknown: Counter[str] = Counter()

    def read(self, titles: Sequence[str], role: str) -> list[TitleWords]:
        """Return what titles say of a part of a role."""
        return [self._phrases.read(title, role) for title in titles if title]

    def meant(self, word: str) -> str:
        """Return the role that a word of theirs names; empty where it names none."""
        if not word:
            return ""
        small = word.casefold()
        said = self.said.get(small)
        if said is not None:
            return "" if said == BY_TITLE else said
        return self._titles.get(small, "") or self._phrases.read(word).role

    def of(self, word: str, titles: Sequence[str], section: str) -> tuple[str, list[TitleWords]]:
        """Return the role of a part, and what its texts say.

        What a part says of itself goes before the heading that it stands under.
        """
        if self.said.get((word or section).casefold()) == NO_PART:
            return "", []
        role = self.meant(word)
        alone: list[TitleWords] = []
        if not role:
            alone = self.read(titles, "")
            named = {said.role for said in alone if said.role}
            if (alone and alone[0].other) or (not named and any(s.other for s in alone)):
                return "", alone
            role = next(iter(named)) if len(named) == 1 else ""
            if not word and section:
                over = self.meant(section)
                if not named or over in named:
                    role = role or over
        if role and alone and all(said.role == role for said in alone):
            return role, alone
        return role, self.read(titles, role)

    def none(self, word: str, said: Sequence[TitleWords]) -> tuple[str, str]:
        """Return why a row is of no kind of part, and how to mend it."""
        doubts = [d for s in said for d in s.doubts if d.startswith("names")]
        beside = f" ({doubts[0]})" if doubts else ""
        if any(s.other for s in said):
            return (
                f"is no part, by its title{beside}",
                "Leave it, or give its kind in a column if it is one",
            )
        known = self.said.get(word.casefold()) if word else None
        shown = shorten(word)
        if known == NO_PART:
            return (
                f"is of the kind {shown!r}, which is no part of ours",
                f"Change that under [roles] of {MAPPING} if it is one",
            )
        if known is None and word and not self.meant(word):
            self.unknown[word] += 1
            return (
                f"is of the kind {shown!r}, which is not known{beside}",
                f"Say what it means under [roles] of {MAPPING}, or in {PHRASES}",
            )
        return (
            f"does not say what kind of part it is{beside}",
            f"Add its word to {PHRASES} or to [roles] of {MAPPING}",
        )


def heading(table: Found, cells: Sequence[str]) -> str | None:
    """Return a heading between rows; None for a row that is none.

    A heading that names no role ends what the one before it said.
    """
    if len(table.header) < 3:
        return None
    texts = [c.strip() for c in cells if c.strip()]
    if len(texts) != 1 or any(c.isdigit() for c in texts[0]):
        return None
    return texts[0]


def unknown_kinds(
    tables: Sequence[Found], mapping: Mapping, vocabulary: Vocabulary, phrases: Phrases
) -> list[UnknownKind]:
    """Return the words for kinds of parts that mean no role, the commonest first.

    Words are asked for that stand in a column of kinds, or as a heading over rows, where no title
    tells the kind.

    Parameters
    ----------
    tables : sequence of Found
        Of their sheets.
    mapping : Mapping
        Which column is what.
    vocabulary, phrases
        What words mean.
    """
    kinds, notes = RowKinds(mapping, vocabulary, phrases), Notes()
    times: Counter[str] = Counter()
    samples: dict[str, dict[str, None]] = defaultdict(dict)
    for table in tables:
        columns = columns_of(table, mapping)
        section = ""
        for number, cells in table.rows:
            over = heading(table, cells)
            if over is not None:
                section = over
                continue
            row = ListRow(table.source, number, cells, columns, notes)
            word = row.text("role") or section
            if not word or word.casefold() in kinds.said or kinds.meant(word):
                continue
            titles = row.texts("name", "text")
            if not kinds.of(word, titles, "")[0]:
                times[word] += 1
                if len(samples[word]) < _SAMPLES and (title := next(filter(None, titles), "")):
                    samples[word][title] = None
    return [UnknownKind(w, n, tuple(samples[w])) for w, n in times.most_common()]
