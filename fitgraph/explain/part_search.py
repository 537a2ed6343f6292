"""Parts by whatever somebody remembers of them: number, name, maker, material, role or size."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Part
from fitgraph.plain import composed, plain
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
    text = plain(folded(composed(text))).strip()
    words = _words(text)
    if not words and not role:
        return ()
    looked_at = tuple(catalogue.of(role) if role else catalogue.parts.values())
    texts = {part.sku: _told(part, catalogue) for part in looked_at}
    words = [
        word
        if len(word) < _LEAST_LETTERS
        or len(looked_at) > _MOST_RESPELT
        or any(c.isdigit() for c in word)
        or any(word in told for told in texts.values())
        else _respelt(word, texts.values())
        for word in words
    ]
    sizes = {word: _size(word) for word in words}
    written = {
        word: re.compile(rf"(?<![\d.]){re.escape(f'{size:g}')}(?![\d.])")
        for word, size in sizes.items()
        if size is not None
    }

    def means(part: Part) -> bool:
        told = texts[part.sku]
        return all(
            word in told
            or (
                (size := sizes[word]) is not None
                and (written[word].search(told) is not None or _has_size(part, size))
            )
            for word in words
        )

    found = [part for part in looked_at if means(part)]
    if not found and len(looked_at) <= _MOST_NUMBERS:
        found = _numbered(looked_at, text)
    whole = text.strip().casefold()
    found.sort(key=lambda p: (not p.sku.casefold().startswith(whole), p.stock <= 0))
    return tuple(found[:limit])
