"""Sizes out of words: a table of phrases says what words mean, a grammar finds the figures.

``phrases.toml`` stands beside the vocabulary and is data like it: which words name a role, a
material or a figure, in as many languages as a shop wants. A ``#`` in a phrase stands for a
size. What is read so is nominal, with the words beside it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from pathlib import Path
from typing import Any

from fitgraph.catalogue.figures import parse_figure
from fitgraph.catalogue.findings import CatalogueError, Finding
from fitgraph.catalogue.table_reader import read_bytes
from fitgraph.catalogue.toml_text import read_toml
from fitgraph.intake.list_words import any_of, words_for
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Basis, Vocabulary
from fitgraph.records import dataclass
from fitgraph.units import (
    LENGTH_WORDS,
    MASS_WORDS,
    MONEY_WORDS,
    UnitError,
    folded,
    parse_length,
)
from fitgraph.wording import listed

FILE = "phrases.toml"

_TITLES = words_for("titles")

_NUMBER = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
_UNIT = r"(?:mm|cm|µm|inch(?:es)?|zoll|in(?![a-z])|\"|'')"
#: A size as it stands among words: a fraction or a number, a unit, limits or a class.
SIZE = (
    r"(?:[øØ⌀]\s?)?"
    rf"(?:(?:[0-9]+[\s-])?[0-9]+/[0-9]+\s?{_UNIT}|[0-9]*[½¼¾⅛⅜⅝⅞]\s?{_UNIT}|{_NUMBER}\s?{_UNIT}?)"
    rf"(?:\s?(?:±|\+/-)\s?{_NUMBER}(?:\s?mm)?|\s?[+-]\s?{_NUMBER}\s?/\s?[+-]?\s?{_NUMBER}"
    rf"|\s?\+\s?{_NUMBER}\s?-\s?{_NUMBER}|\s?-\s?{_NUMBER}\s?\+\s?{_NUMBER}"
    r"|\s?[hH][0-9]{1,2}(?![0-9]))?"
)
#: Before a size: neither the inside of a word or figure, nor the first end of a range.
_BEFORE = r"(?<![\w.,/])(?<![0-9]-)(?<![0-9]–)(?<![0-9] - )(?<![0-9] – )" + "".join(
    rf"(?<![0-9] {re.escape(word)} )" for word in _TITLES["between"]
)
#: Behind a size: another one that is the other end of a range, or the other choice.
_OTHER_END = re.compile(
    rf"(?:\s?mm)?(?:\s?(?:-|–|—|\.\.\.?|…)\s?|\s{any_of(_TITLES['between'])}\s)(?P<other>{_NUMBER})"
    r"(?![\w/])",
    re.IGNORECASE,
)
#: How many times the one end of a range is the other, at most; else two sizes stand side by side.
_RANGE = 1.5
#: Letters of a text that are read.
_LONGEST = 1000

#: A size that stands alone.
_ALONE = re.compile(rf"(?<![\w.,/]){SIZE}(?![\w/]|[.,][0-9])")
#: Two sizes that stand together, of which nobody says which is which.
_TOGETHER = re.compile(
    r"(?<![\w.,/])(?:[øØ⌀]\s?)?(?:[0-9]+[\s-])?[0-9][0-9.,]*\s?(?:[x×/]\s?[0-9][0-9.,]*)+(?:\s?mm\b)?(?!\w)"
)
#: What stands between a part and what it is for, or comes with.
_SIZES = rf"(?:(?:[øØ⌀]?\s?{_NUMBER}\S*|{_UNIT}|{any_of(_TITLES['between'])}|[-–/])\s+){{0,6}}"
_BESIDE = re.compile(
    rf"(?:\b{any_of(_TITLES['for'])}\b\.?|\bw/)\s*{_SIZES}(?:\S+\s+){{0,2}}{_SIZES}$",
    re.IGNORECASE,
)
#: What denies the words behind it, where no phrase holds both.
_DENIED = re.compile(rf"(?:\b{any_of(_TITLES['denies'])}\b|\bw/o)[\s-]*$", re.IGNORECASE)
#: What makes a size one that nobody means exactly, before it and behind it.
_VAGUE = re.compile(rf"(?:[~≈<>≤≥]|\b{any_of(_TITLES['about'])}\b\.?)\s*$", re.IGNORECASE)
_UNSURE = re.compile(r"\s*(?:\?|\(\s*(?:\?|tbc|tbd|approx|ca))", re.IGNORECASE)
#: Sizes that words stick to: OD34.9, 34.9OD, 34.9/ID and, in German, 34,9er.
_STROKE = re.compile(r"(?<=\d)/(?=[^\W\d_])")
_ENDING = re.compile(r"(?<=\d)er\b")
_STUCK_BEHIND = re.compile(r"(\d[.,]\d+)([^\W\d_]{2,})")
_STUCK_BEFORE = re.compile(r"(?<![\w.,])([^\W\d_øØ]{2,})(?=\d+[.,]\d)")
#: Numbers of pieces in a pack, and of what is counted before its name.
_PACKED, _FEW = r"(?:[2-9]|[1-9][0-9]|100)", r"(?:[2-9]|1[0-2])"
#: What says that a title is of several pieces.
_SEVERAL = re.compile(
    rf"(?<![\w.,/-])(?:{any_of(_TITLES['packs'])}s?\s?{any_of(_TITLES['of'])}\s{_PACKED}"
    rf"|{_FEW}(?:er)?[\s-]?(?:set|satz|packs?)"
    rf"|{_PACKED}(?:er)?[\s-]?{any_of(words_for('counts')['pieces'])}"
    rf"|{_FEW}\s?[x×](?=\s[^\W\d_]))(?![\w/])",
    re.IGNORECASE,
)


def _other_end(size: str, plain: str, at: int) -> int:
    """Return where a second size ends that makes a range or a choice of one; 0 where none does.

    Examples
    --------
    >>> _other_end("34.9", "od 34.9-35.0", 7), _other_end("34.9", "od 34.9 - 650 high", 7)
    (12, 0)
    """
    match, number = _OTHER_END.match(plain, at), re.search(_NUMBER, size)
    if match is None or number is None:
        return 0
    ends = [float(text.replace(",", ".")) for text in (number[0], match["other"])]
    return match.end() if 0 < max(ends) <= _RANGE * min(ends) else 0


def _apart(text: str) -> str:
    """Return a text in which words and sizes stand apart.

    Examples
    --------
    >>> _apart("OD34.9/31.8ID  28,6mm, 34,9er V2.0")
    'OD 34.9/31.8 ID 28,6mm, 34,9 V2.0'
    """

    def unless_unit(match: re.Match[str]) -> str:
        unit = match[2].lower() in LENGTH_WORDS | MASS_WORDS | MONEY_WORDS
        return match[0] if unit else f"{match[1]} {match[2]}"

    plain = _ENDING.sub("", _STROKE.sub(" / ", " ".join(folded(text).split())))
    return _STUCK_BEFORE.sub(r"\1 ", _STUCK_BEHIND.sub(unless_unit, plain))


@dataclass(frozen=True, slots=True)
class Phrase:
    """What some words mean.

    Parameters
    ----------
    pattern : re.Pattern
        Finds them; the group ``size`` is the size, if there is one. Figures that are written
        go before figures that words mean.
    role : str
        The role they name; empty where they name none.
    other : bool
        Whether they name a thing that is no part, whatever part is named beside: a bag for forks.
    of : frozenset of str
        Roles in whose texts they count; all where empty.
    material : str
        The material they name.
    sets : mapping of str to str
        Figures they mean, by ``feature.dimension``, or ``feature`` for yes, no and ?.
    reads : str
        The dimension that the size is, as ``feature.dimension``.
    needs : str
        A piece, in small letters, without which the pattern finds nothing.
    adds : tuple of float or None
        By how many mm, at least and at most, the dimension is larger than the size: a fork for
        110 mm wheels has more room than that.
    larger : str
        The dimension that the larger of two sizes is, where a phrase gives two; ``reads`` is then
        that of the smaller. A sleeve from 34.9 to 31.8 has the bore of one from 31.8 to 34.9.
    leads : bool or None
        Whether the size stands before the words; None where it stands among or without them.
    """

    pattern: re.Pattern[str]
    role: str = ""
    of: frozenset[str] = frozenset()
    material: str = ""
    sets: Mapping[str, str] = field(default_factory=dict)
    reads: str = ""
    adds: tuple[float, float] | None = None
    needs: str = ""
    leads: bool | None = None
    other: bool = False
    larger: str = ""

    def figure(self, size: str) -> str:
        """Return the figure that a size in this phrase means."""
        if self.adds is None:
            return size
        length = parse_length(size)
        return f"{length + self.adds[0]:g}..{length + self.adds[1]:g}"

    def sizes(self, match: re.Match[str]) -> list[tuple[str, str]]:
        """Return the dimensions that a match gives, each with its size as it is written."""
        size = match["size"].strip()
        if not self.larger:
            return [(self.reads, size)]
        two = sorted((size, match["other"].strip()), key=parse_length)
        if parse_length(two[0]) == parse_length(two[1]):
            raise UnitError("is given twice where two sizes are meant")
        return list(zip((self.reads, self.larger), two, strict=True))


@dataclass(frozen=True, slots=True)
class TitleWords:
    """What one text says.

    Parameters
    ----------
    role, material : str
        Empty where it says nothing, or two different things.
    figures : mapping of str to (str, str)
        The figure and the words it was read from, by ``feature.dimension`` or ``feature``.
    doubts : tuple of str
        What could be meant in two ways, or is a size without a meaning.
    other : str
        The words that name a thing that is no part.
    several : str
        The words that say that it is more than one piece.
    """

    role: str = ""
    material: str = ""
    figures: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()
    other: str = ""
    several: str = ""


def _pattern(words: str) -> re.Pattern[str]:
    """Return what finds a phrase; its first # is the size that it gives, its second another."""
    pieces: list[str] = []
    named = False
    for word in folded(words).split():
        piece = re.escape(word).replace(r"\#", "#")
        if not named and "#" in piece:
            piece = piece.replace("#", f"(?P<size>{SIZE})", 1)
            named = True
        if "#" in piece and not any("<other>" in p for p in pieces):
            piece = piece.replace("#", f"(?P<other>{SIZE})", 1)
        pieces.append(piece.replace("#", f"(?:{SIZE})"))
    joined = (r"[\s:=-]*" if named else r"[\s-]+").join(pieces)
    before = _BEFORE if joined.startswith("(?P<size>") else r"(?<![\w.,/])"
    # A figure stands alone: neither inside a word nor inside another figure.
    return re.compile(rf"{before}(?:{joined})(?![\w/]|[.,][0-9])", re.IGNORECASE)


def _bad(where: str, value: object, message: str, remedy: str) -> CatalogueError:
    return CatalogueError(
        [Finding(FILE, None, where, str(value)[:60], message, remedy, code="phrases")]
    )


def _said(where: str, say: object) -> list[str]:
    """Return what an entry says; refuse it where that is no list of words."""
    if not isinstance(say, list) or not all(isinstance(s, str) and s.strip() for s in say):
        raise _bad(where, say, "says nothing", 'Write say = ["words"]')
    return say


class Phrases:
    """A table of phrases for one vocabulary.

    Parameters
    ----------
    entries : sequence of mapping
        As ``[[phrases]]`` of the file.
    vocabulary : Vocabulary
        Whose roles and dimensions are named.
    columns : sequence of mapping
        As ``[[columns]]`` of the file: what columns of a dimension are called, or of a price and
        other fields of a part, beside the names that are known of many languages.

    Raises
    ------
    CatalogueError
        If an entry names what the vocabulary does not have.
    """

    def __init__(
        self,
        entries: Sequence[Mapping[str, Any]],
        vocabulary: Vocabulary,
        columns: Sequence[Mapping[str, Any]] = (),
    ) -> None:
        self.vocabulary = vocabulary
        #: What columns are called, by ``feature.dimension`` or the field of a part.
        self.columns = self._columns(columns)
        #: Words that say that a feature is there, by its name.
        self.present: dict[str, list[str]] = {}
        self._read: dict[tuple[str, str], TitleWords] = {}
        found: list[tuple[int, Phrase]] = []
        for place, entry in enumerate(entries, start=1):
            for words, phrase in self._entry(f"phrases #{place}", entry):
                found.append((len(words), phrase))
        # A figure goes before a word that means one, and the longer phrase is the more exact.
        found.sort(key=lambda f: (not f[1].reads, -f[0]))
        self.phrases = [phrase for _, phrase in found]
        every = [*enumerate(self.phrases)]
        self._always = [n for n, p in every if not p.needs]
        self._worded = [(n, p.needs) for n, p in every if p.needs]
        #: Phrases that can be in a word without letters.
        self._bare = [(n, needs) for n, needs in self._worded if not re.search(r"[^\W\d_]", needs)]
        self._needing: dict[str, list[int]] = {}

    def _likely(self, small: str) -> list[Phrase]:
        """Return the phrases that can be in a text of small letters, in their order."""
        places = set(self._always)
        for word in small.split():
            # What a phrase needs holds no space, so one word holds it; words come again and again.
            found = self._needing.get(word)
            if found is None:
                lettered = any(map(str.isalpha, word))
                needed = self._worded if lettered else self._bare
                found = [n for n, needs in needed if needs in word]
                if lettered:
                    if len(self._needing) > 50_000:
                        self._needing.clear()
                    self._needing[word] = found
            places.update(found)
        return [self.phrases[n] for n in sorted(places)]

    def _entry(self, where: str, entry: Mapping[str, Any]) -> Iterator[tuple[str, Phrase]]:
        known = {"say", "role", "of", "material", "sets", "reads", "adds", "ignore", "other"}
        known |= {"larger"}
        if not isinstance(entry, Mapping) or set(entry) - known:
            raise _bad(where, entry, "has an unknown entry", f"Use {', '.join(sorted(known))}")
        say = _said(where, entry.get("say", []))
        roles = self.vocabulary.roles
        of = entry.get("of", [])
        of = frozenset([of] if isinstance(of, str) else map(str, of))
        role = str(entry.get("role", ""))
        for name in {*of, role} - {""}:
            if name not in roles:
                raise _bad(where, name, "is no role", f"Use one of {', '.join(roles)}")
        material = str(entry.get("material", ""))
        if material and material not in MATERIALS:
            raise _bad(where, material, "is no material", f"Use one of {', '.join(MATERIALS)}")
        sets = entry.get("sets", {})
        reads, larger = str(entry.get("reads", "")), str(entry.get("larger", ""))
        if larger and not reads:
            raise _bad(where, larger, "is the larger of two sizes", "Say what the smaller reads")
        adds = None
        if "adds" in entry:
            try:
                more = parse_figure(str(entry["adds"]), Basis.NOMINAL, 0.0)
            except UnitError as error:
                raise _bad(where, entry["adds"], str(error), "Write it like 3..10 mm") from None
            adds = (more.lo, more.hi)
        if not isinstance(sets, Mapping):
            raise _bad(where, sets, "is no table", 'Write sets = { "slot" = "no" }')
        mine = of or ({role} if role else set(roles))
        for path in [*sets, *filter(None, (reads, larger))]:
            if not any(self._has(r, str(path)) for r in mine):
                raise _bad(where, path, "is no dimension of such a part", "Write feature.dimension")
        for path, value in sets.items():
            if "." not in path and value == "yes":
                self.present.setdefault(path, []).extend(say)
        for words in say:
            if bool(reads) != ("#" in words):
                raise _bad(where, words, "has no # for its size", "Write # where the size stands")
            if larger and words.count("#") != 2:
                raise _bad(where, words, "has to have two sizes", "Write # where each stands")
            pieces = re.split(r"[#\s-]+", folded(words).lower())
            leads, ends = words.strip().startswith("#"), words.strip().endswith("#")
            yield (
                words,
                Phrase(
                    *(_pattern(words), role, of, material, dict(sets), reads, adds),
                    needs=max(pieces, key=len),
                    leads=leads if leads != ends else None,
                    other=entry.get("other") is True,
                    larger=larger,
                ),
            )

    def _columns(self, entries: Sequence[Mapping[str, Any]]) -> dict[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        for place, entry in enumerate(entries, start=1):
            where = f"columns #{place}"
            if not isinstance(entry, Mapping) or set(entry) != {"means", "say"}:
                raise _bad(where, entry, "is no such entry", "Write means and say")
            path = str(entry["means"])
            fields = words_for("fields")
            if path not in fields and not any(self._has(r, path) for r in self.vocabulary.roles):
                known = f"Write feature.dimension, or one of {', '.join(fields)}"
                raise _bad(where, path, "is no dimension", known)
            found[path] = (*found.get(path, ()), *_said(where, entry["say"]))
        return found

    def _has(self, role: str, path: str) -> bool:
        feature, _, dimension = path.partition(".")
        kind = self.vocabulary.roles[role].features.get(feature)
        return kind is not None and (not dimension or dimension in kind.dimensions)

    def read(self, text: str, role: str = "") -> TitleWords:
        """Return what a text says.

        Parameters
        ----------
        text : str
            A title or a description; what stands behind its first 1,000 letters is not read.
        role : str
            The part's role, where it is known from elsewhere.
        """
        text = text[:_LONGEST]
        known = self._read.get((text, role))
        if known is None:
            if len(self._read) > 50_000:
                self._read.clear()
            known = self._read[text, role] = self._said(text, role)
        return known

    def _said(self, text: str, role: str) -> TitleWords:
        plain = _apart(text)
        small = plain.lower()
        phrases = self._likely(small)
        taken = [False] * len(plain)
        roles: dict[str, tuple[int, int]] = {}
        if not role:
            for phrase in phrases:
                match = phrase.pattern.search(plain) if phrase.role or phrase.other else None
                if match and not any(taken[match.start() : match.end()]):
                    roles.setdefault("" if phrase.other else phrase.role, match.span())
                    taken[match.start() : match.end()] = [True] * (match.end() - match.start())
            if len(roles) > 1:
                # "clamp for bars": the kind of part is named before what it is for.
                first = min(roles, key=lambda r: roles[r])
                behind = plain[: min(s for r, (s, _) in roles.items() if r != first)]
                if _BESIDE.search(behind):
                    roles = {first: roles[first]}
            role = next(iter(roles)) if len(roles) == 1 else ""
        doubts = []
        if role and roles and _BESIDE.search(plain[: roles[role][0]]):
            # "Cap for forks" is no fork.
            doubts.append(f"names {role} as what it is for or comes with")
            role = ""
        other = plain[slice(*roles[""])] if "" in roles else ""
        if len(roles) > 1 or other:
            named = sorted(r for r in roles if r)
            doubts.append(f"names {' and '.join([*named, *([repr(other)] if other else [])])}")
        materials: set[str] = set()
        figures: dict[str, dict[str, str]] = {}
        worded: dict[str, dict[str, str]] = {}
        taken = [False] * len(plain)
        several = _SEVERAL.search(plain)
        if several:
            taken[several.start() : several.end()] = [True] * (several.end() - several.start())
        if role:
            phrases, torn = self._one_way(phrases, plain, role)
        else:  # sizes mean something of a kind of part only
            phrases, torn = [p for p in phrases if not p.reads], []
        for span in torn:
            taken[span.start : span.stop] = [True] * len(span)
            doubts.append(f"has {plain[span.start : span.stop]!r}, which can be meant in two ways")
        for phrase in phrases:
            if phrase.of and role not in phrase.of:
                continue
            for match in phrase.pattern.finditer(plain):
                if any(taken[match.start() : match.end()]):
                    continue
                taken[match.start() : match.end()] = [True] * (match.end() - match.start())
                if phrase.role and not phrase.sets:
                    continue
                if (phrase.sets or phrase.reads or phrase.material) and (
                    denied := _DENIED.search(plain[: match.start()])
                ):
                    doubts.append(f"has {plain[denied.start() : match.end()]!r}, which denies it")
                    continue
                if phrase.material and self._of_another(plain, match, role, phrases):
                    continue  # a clamp for titanium bars is not of titanium
                if phrase.material:
                    materials.add(phrase.material)
                if not role:
                    continue
                if phrase.reads and self._has(role, phrase.reads):
                    size = match["size"].strip()
                    if _VAGUE.search(plain[: match.start()]) or _UNSURE.match(plain, match.end()):
                        doubts.append(f"has {size!r}, which it says is not certain")
                        continue
                    if match.end() == match.end("size") and (
                        end := _other_end(size, plain, match.end())
                    ):
                        taken[match.end() : end] = [True] * (end - match.end())
                        both = plain[match.start("size") : end].strip()
                        doubts.append(f"has {both!r}, of which one size has to be told")
                        continue
                    try:
                        given = [(at, phrase.figure(one)) for at, one in phrase.sizes(match)]
                    except UnitError as error:
                        doubts.append(f"has {size!r}, which {error}")
                        continue
                    for at, figure in given:
                        figures.setdefault(at, {}).setdefault(figure, match[0].strip())
                for path, value in phrase.sets.items():
                    if self._has(role, path):
                        worded.setdefault(path, {}).setdefault(str(value), match[0].strip())
        # A figure that is written goes before words that mean one.
        figures = {**worded, **figures}
        told = {}
        for path, values in figures.items():
            if len(values) == 1:
                told[path] = next(iter(values.items()))
            else:
                doubts.append(f"gives {path} as {' and '.join(sorted(values))}")
        unread: list[str] = []
        for left in (_ALONE, _TOGETHER) if role else ():
            for match in left.finditer(plain):
                if not any(taken[match.start() : match.end()]):
                    taken[match.start() : match.end()] = [True] * (match.end() - match.start())
                    unread.append(repr(match[0].strip()))
        if unread:
            doubts.append(f"has {listed(unread)}, of which the phrases say nothing")
        material = next(iter(materials)) if len(materials) == 1 else ""
        if len(materials) > 1:
            doubts.append(f"names {' and '.join(sorted(materials))}")
        pieces = several[0].strip() if several else ""
        return TitleWords(role, material, told, tuple(doubts), other, pieces)

    @staticmethod
    def _of_another(plain: str, match: re.Match[str], role: str, phrases: Sequence[Phrase]) -> bool:
        """Say whether words belong to what a part is for, whose kind stands right behind them."""
        if not _BESIDE.search(plain[: match.start()]):
            return False
        behind = [
            found
            for p in phrases
            if p.role and p.role != role and (found := p.pattern.search(plain, match.end()))
        ]
        return any(found.start() - match.end() <= 1 for found in behind)

    def sized(self, text: str) -> bool:
        """Say whether a text tells a size in words, as "OD 34.9" does, of whatever part."""
        plain = _apart(text)
        likely = (p for p in self._likely(plain.lower()) if p.reads and p.needs)
        return any(p.pattern.search(plain) for p in likely)

    def _one_way(
        self, phrases: Sequence[Phrase], plain: str, role: str
    ) -> tuple[list[Phrase], list[range]]:
        """Return the phrases to read by, and what can be read both ways.

        In "inside 31.8 outside 34.9" the first size stands behind one word and before another.
        The way in which more sizes of the text are told is the one that is meant; where neither
        is, such a size is left out.
        """
        ways: dict[bool, dict[int, tuple[str, range]]] = {True: {}, False: {}}
        for phrase in phrases:
            if phrase.leads is None or not phrase.reads or (phrase.of and role not in phrase.of):
                continue
            for match in phrase.pattern.finditer(plain):
                told = phrase.reads, range(match.start(), match.end())
                ways[phrase.leads].setdefault(match.start("size"), told)
        first, behind = ways[True], ways[False]
        both = [at for at in first if at in behind]
        if not both:
            return list(phrases), []

        def covered(one: dict[int, tuple[str, range]], other: dict[int, tuple[str, range]]) -> int:
            spans = [span for _, span in one.values()]
            more = [
                span
                for at, (_, span) in other.items()
                if at not in one
                and all(span.stop <= s.start or s.stop <= span.start for s in spans)
            ]
            return len(spans) + len(more)

        leads = covered(first, behind) - covered(behind, first)
        if not leads:
            torn = [
                range(min(first[at][1].start, behind[at][1].start), first[at][1].stop)
                for at in both
                if first[at][0] != behind[at][0]
            ]
            return list(phrases), torn
        return sorted(phrases, key=lambda p: (not p.reads, p.leads not in (None, leads > 0))), []


def read_phrases(folder: Path, vocabulary: Vocabulary) -> Phrases:
    """Return the phrases of a catalogue folder; none where it has no such file.

    Raises
    ------
    CatalogueError
        If the file cannot be used.
    """
    path = folder / FILE
    if not path.exists():
        return Phrases([], vocabulary)
    try:
        document = read_toml(read_bytes(path, folder).decode("utf-8-sig"))
    except ValueError as error:
        raise _bad("", "", f"is no valid TOML ({error})", "Mend that line") from None
    entries, columns = document.get("phrases", []), document.get("columns", [])
    if set(document) - {"phrases", "columns"} or not isinstance(entries, list):
        raise _bad(
            "", "", "holds more than [[phrases]] and [[columns]]", "Write each as [[phrases]]"
        )
    if not isinstance(columns, list):
        raise _bad("columns", columns, "is no list", "Write each as [[columns]]")
    return Phrases(entries, vocabulary, columns)
