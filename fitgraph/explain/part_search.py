"""Parts by whatever somebody remembers of them: number, name, maker, material, role or size."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping

from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Part, Vocabulary
from fitgraph.plain import composed, plain
from fitgraph.records import dataclass
from fitgraph.units import UnitError, folded, parse_length

#: A size that is typed may be off by so much from what a part has [mm].
NEAR_MM = 0.05

#: The gap between a figure and its unit, which are one word.
_GAP = re.compile(r"(?<=\d)\s+(?=(?:mm|cm|in|inch|inches)(?:\s|$))")

#: Commas that are no decimal marks, and semicolons.
_BETWEEN = re.compile(r"(?:^|(?<=\s))[,;]+|[,;]+(?=\s|$)")

#: Inches with a fraction are one word as well: 1 1/8 in.
_MIXED = re.compile(r"(?<![\d.,/])(\d+)\s+(\d+/\d+)(?=\s*(?:\"|''|in\b|inch|$|\s))")
_FRACTION = re.compile(r"(?:\d+-)?\d+/\d+")

#: What stands between two sizes.
_TIMES = re.compile(r"(?<=\d)\s*[x×]\s*(?=\d)")

#: Letters that are taken for digits, and noughts before other digits, in stock numbers.
_AS_DIGITS = str.maketrans("oil", "011")
_NOUGHTS = re.compile(r"(?<!\d)0+(?=\d)")

#: How alike a word has to be to one of the catalogue's to be taken for a slip of the keyboard,
#: and how long.
_SLIP, _LEAST_LETTERS = 0.8, 4

#: In larger catalogues the words of all parts are too many to compare while somebody types.
_MOST_RESPELT, _MOST_NUMBERS = 5000, 50_000


def _words(text: str) -> list[str]:
    """Return what is typed as words: sizes whole, without commas between.

    Examples
    --------
    >>> _words('Fork, 1 1/8 in; 31,8 mm')
    ['fork', '1-1/8in', '31,8mm']
    >>> _words("540x560")
    ['540', '560']
    """
    apart = _TIMES.sub(" ", _BETWEEN.sub(" ", text.casefold()))
    words = _GAP.sub("", _MIXED.sub(r"\1-\2", apart)).split()
    # Nobody measures in fractions of a millimetre.
    return [f"{word}in" if _FRACTION.fullmatch(word) else word for word in words]


def _respelt(word: str, told: Iterable[str]) -> str:
    """Return the word of a catalogue that a word which it does not have is meant for, or itself."""
    known = {w for text in told for w in re.split(r"[^\w]+", text) if len(w) >= _LEAST_LETTERS}
    near = difflib.get_close_matches(word, sorted(known), n=1, cutoff=_SLIP)
    return near[0] if near else word


def _told(part: Part, catalogue: Catalogue) -> str:
    material = MATERIALS.get(part.material) if part.material else None
    family = "" if material is None else f"{material.family} {part.material}"
    role = catalogue.vocabulary.roles[part.role].title
    return f"{part.sku} {part.name} {part.maker} {family} {role}".casefold()


def _size(word: str) -> float | None:
    try:
        return parse_length(word)
    except UnitError:
        return None


def _has_size(part: Part, size: float) -> bool:
    return any(
        d.lo - NEAR_MM <= size <= d.hi + NEAR_MM
        for feature in part.features.values()
        for d in feature.lengths.values()
        if abs(d.hi - d.lo) < size
    )


def _number(text: str) -> str:
    """Return a stock number without what people leave out of it or mistake in it.

    Examples
    --------
    >>> _number("BAR–MAR–O5") == _number("bar_mar 5") == _number("BARMAR05")
    True
    """
    words = re.findall(r"[^\W_]+", folded(text).casefold().translate(_AS_DIGITS))
    return "".join(_NOUGHTS.sub("", word) for word in words)


def _numbered(parts: Iterable[Part], text: str) -> list[Part]:
    """Return the parts whose stock number somebody typed otherwise than it is written."""
    wanted = _number(text)
    return [part for part in parts if wanted and _number(part.sku) == wanted]


def search_parts(
    catalogue: Catalogue, text: str, limit: int = 8, role: str = ""
) -> tuple[Part, ...]:
    """Return the parts that all the words mean.

    Parameters
    ----------
    catalogue : Catalogue
        Where they are looked for.
    text : str
        Words in any order; a number is looked for among sizes [mm] as well. A word that no part
        has is taken for the one that is spelt most like it, if there is one.
    limit : int
        How many at most; those whose stock number begins so come first, then those on the shelf.
    role : str
        Only parts of this role; without a word, all of them.

    Examples
    --------
    >>> import fitgraph
    >>> [p.sku for p in search_parts(fitgraph.open().catalogue, "bar mar 05")]
    ['BAR-MAR-05']
    """
    sought = _Sought.of(catalogue, text, role)
    if not sought.words and not role:
        return ()
    found = [p for p in sought.among if all(sought.has(p, w) for w in sought.words)]
    if not found and len(sought.among) <= _MOST_NUMBERS:
        found = _numbered(sought.among, sought.text)
    return sought.ranked(found)[:limit]


def nearest_parts(
    catalogue: Catalogue, text: str, limit: int = 8, role: str = ""
) -> tuple[Part, ...]:
    """Return the parts that most of the words mean, where none is meant by all of them.

    Parameters
    ----------
    catalogue, text, limit, role
        As for :func:`search_parts`.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open().catalogue
    >>> search_parts(shop, "mar bar zzyzx")
    ()
    >>> {p.maker for p in nearest_parts(shop, "mar bar zzyzx")}
    {'Marrowick'}
    """
    sought = _Sought.of(catalogue, text, role)
    number = {p.sku: sum(sought.has(p, w) for w in sought.words) for p in sought.among}
    most = max(number.values(), default=0)
    return sought.ranked([p for p in sought.among if 0 < number[p.sku] == most])[:limit]


@dataclass(frozen=True, slots=True)
class _Sought:
    """What is sought, and among which parts."""

    text: str
    words: tuple[str, ...]
    among: tuple[Part, ...]
    told: Mapping[str, str]
    sizes: Mapping[str, float]
    written: Mapping[str, re.Pattern[str]]

    @classmethod
    def of(cls, catalogue: Catalogue, text: str, role: str) -> _Sought:
        text = plain(folded(composed(text))).strip()
        among = tuple(catalogue.of(role) if role else catalogue.parts.values())
        told = {part.sku: _told(part, catalogue) for part in among}
        words = tuple(_known(word, told, catalogue.vocabulary) for word in _words(text))
        sizes = {word: size for word in words if (size := _size(word)) is not None}
        written = {
            word: re.compile(rf"(?<![\d.]){re.escape(f'{size:g}')}(?![\d.])")
            for word, size in sizes.items()
        }
        return cls(text, words, among, told, sizes, written)

    def has(self, part: Part, word: str) -> bool:
        """Return whether a part is meant by a word."""
        told = self.told[part.sku]
        if word in told:
            return True
        size = self.sizes.get(word)
        return size is not None and (
            self.written[word].search(told) is not None or _has_size(part, size)
        )

    def ranked(self, found: Iterable[Part]) -> tuple[Part, ...]:
        """Return parts in the order in which they are shown."""
        whole = self.text.casefold()
        first = sorted(found, key=lambda p: (not p.sku.casefold().startswith(whole), p.stock <= 0))
        return tuple(first)


def _known(word: str, told: Mapping[str, str], vocabulary: Vocabulary) -> str:
    """Return what a word that no part has is meant for, or the word itself."""
    texts = told.values()
    if len(word) < _LEAST_LETTERS or any(c.isdigit() for c in word):
        return word
    if len(told) > _MOST_RESPELT or any(word in text for text in texts):
        return word
    for role in vocabulary.roles.values():
        title = role.title.casefold()
        if word in (role.plural.casefold(), f"{title}s"):
            return title
    for role in vocabulary.roles.values():  # other names of a role stand where it is explained
        if {word, word.removesuffix("s")} & {*re.split(r"[^\w]+", role.gloss.casefold())}:
            return role.title.casefold()
    return _respelt(word, texts)
