"""Which code page of one byte a letter a text was saved in, by what it makes of the words.

Nothing in such a file says it. Read in another code page than its own, letters become signs in
the middle of words, letters that no language of that page has together, or capitals behind small
letters. The page that leaves least of that is taken.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from functools import lru_cache
from itertools import islice

from fitgraph.records import dataclass

_WEST = {
    "German": "äöüß",
    "French": "àâæçéèêëîïôœùûüÿ",
    "Spanish": "áéíñóúü",
    "Portuguese": "áâãàçéêíóôõúü",
    "Italian": "àèéìíîòóùú",
    "Dutch": "áéëíïóöúüèê",
    "Danish and Norwegian": "æøåéôò",
    "Swedish and Finnish": "åäöéüšž",
    "Icelandic": "áðéíóúýþæö",
}
_CENTRE = {
    "German": _WEST["German"],
    "Polish": "ąćęłńóśźż",
    "Czech": "áčďéěíňóřšťúůýž",
    "Slovak": "áäčďéíĺľňóôŕšťúýž",
    "Hungarian": "áéíóöőúüű",
    "Romanian": "ăâîşţșț",
    "Croatian and Slovene": "čćđšž",
}
_TURKISH = {"Turkish": "çğıiöşüâîû", **_WEST}
_CYRILLIC = {"Cyrillic": "абвгдеёжзийклмнопрстуфхцчшщъыьэюяіїєґўђѓјљњћќџѕ"}
_GREEK = {"Greek": "αβγδεζηθικλμνξοπρσςτυφχψωάέήίόύώϊϋΐΰ"}

#: Code pages, what people call them, and the letters of the languages they are used for. Of two
#: that do as well the first is taken. Tables: those of Python's codecs; letters: from memory.
_PAGES: dict[str, tuple[str, Mapping[str, str]]] = {
    "cp1252": ("Windows, western Europe", _WEST),
    "iso8859-15": ("ISO 8859-15, western Europe", _WEST),
    "cp850": ("DOS, western Europe", _WEST),
    "cp437": ("DOS, United States", _WEST),
    "mac_roman": ("old Macs, western Europe", _WEST),
    "cp1250": ("Windows, central Europe", _CENTRE),
    "iso8859-2": ("ISO 8859-2, central Europe", _CENTRE),
    "cp852": ("DOS, central Europe", _CENTRE),
    "cp1254": ("Windows, Turkish", _TURKISH),
    "cp857": ("DOS, Turkish", _TURKISH),
    "cp1251": ("Windows, Cyrillic", _CYRILLIC),
    "cp866": ("DOS, Cyrillic", _CYRILLIC),
    "koi8-r": ("KOI8-R, Cyrillic", _CYRILLIC),
    "cp1253": ("Windows, Greek", _GREEK),
    "cp737": ("DOS, Greek", _GREEK),
}

#: Signs that stand in lists of parts, beside or between words but not inside them.
_SIGNS = frozenset("€£°±µ½¼¾×–—‘“”„‚…²³´«»‹›§·•™®©øØ⌀ºª¿¡¹\u00a0")
#: Signs that stand inside words as well.
_INSIDE = frozenset("’\u00a0\u00ad")

#: Letters that are seldom even in the languages that have them (from memory).
_SELDOM = frozenset("ûîïÿĺŕ")

#: What a letter or a sign costs that is out of place, that is of another language of the page,
#: that is seldom, and that stands for nothing.
_ODD, _FOREIGN, _RARE, _NOTHING = 1.0, 0.3, 0.1, 2.0

#: Pages whose costs differ by less than this do as well.
_CLOSE = 0.5

#: Cost of a word above which a text makes no words, and up to which nothing is out of place.
_NO_WORDS, _CLEAN = 0.5, 0.15

#: Letters of a word to each side, places that are looked at, and times that one word counts.
_AROUND, _PLACES, _TIMES = 30, 4_000, 3

_HIGH = re.compile(rb"[\x80-\xff][A-Za-z\x80-\xff]{0,30}")
_LETTERS = re.compile(rb"[A-Za-z\x80-\xff]*\Z")


@dataclass(frozen=True, slots=True)
class CodePage:
    """A code page that a text was taken for.

    Parameters
    ----------
    codec : str
        As Python calls it.
    title : str
        What people call it.
    sample : str
        Words with letters beyond ASCII, as they read in it.
    others : tuple of str
        Titles of pages in which those words read otherwise and as well.
    tied : tuple of str
        Those of Windows among them in which nothing is more out of place, and words are spelt
        otherwise. Lists of other systems have become rare.
    clean : bool
        Whether next to nothing in the text is out of place in it.
    """

    codec: str
    title: str
    sample: str
    others: tuple[str, ...] = ()
    tied: tuple[str, ...] = ()
    clean: bool = True


def _words(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Yield words with bytes beyond ASCII, and the byte behind each."""
    end = 0
    for match in _HIGH.finditer(data):
        before = _LETTERS.search(data, max(end, match.start() - _AROUND), match.start())
        end = match.end()
        yield (before[0] if before else b"") + match[0], data[end : end + 1]


def _languages(codec: str) -> tuple[frozenset[str], ...]:
    return tuple(frozenset(low + low.upper() + "İ") for low in _PAGES[codec][1].values())


@lru_cache(maxsize=64)
def _undefined(codec: str) -> frozenset[int]:
    """Return the bytes that a code page has no letter for."""
    return frozenset(n for n in range(128, 256) if "\ufffd" in bytes((n,)).decode(codec, "replace"))


def _out_of_place(word: str, at: int, behind: str) -> bool:
    """Say whether a sign stands inside a word."""
    before, after = word[at - 1 : at], word[at + 1 : at + 2] or behind
    if word[at] in _INSIDE:
        return False
    return before.isalpha() and (after.isalpha() or word[at] in "øØ¿¡")


def _costs(words: Mapping[tuple[bytes, bytes], int], codec: str) -> float:
    """Return what is out of place in words as a code page reads them."""
    letters: Counter[str] = Counter()
    cost = 0.0
    for (raw, next_), times in words.items():
        word, behind = raw.decode(codec), next_.decode("ascii", "replace")
        latin = any(c.isascii() for c in word)
        for at, sign in enumerate(word):
            before = word[at - 1 : at]
            if sign.isupper() and before.islower():
                cost += _ODD * times
            elif sign.isascii():
                continue
            elif sign in _SIGNS and not (sign in "øØ" and (before + word[at + 1 : at + 2])):
                cost += _ODD * times * _out_of_place(word, at, behind)
            elif sign in _INSIDE:
                continue
            elif sign.isalpha():
                other = latin and not _is_latin(sign)
                cost += _ODD * times * other
                letters[sign] += times
            else:
                cost += (_NOTHING if not sign.isprintable() or sign in _BOXES else _ODD) * times
    languages = _languages(codec)
    every = frozenset().union(*languages)
    strange = sum(n for c, n in letters.items() if c not in every)
    least = min(sum(n for c, n in letters.items() if c in every - own) for own in languages)
    seldom = sum(n for c, n in letters.items() if c in _SELDOM)
    return cost + _ODD * strange + _FOREIGN * least + _RARE * seldom


_BOXES = frozenset(map(chr, range(0x2500, 0x25A0)))


def _is_latin(sign: str) -> bool:
    return ord(sign) < 0x250


def code_page(data: bytes) -> CodePage | None:
    """Return the code page of one byte a letter in which a text reads best.

    Parameters
    ----------
    data : bytes
        The text; not in UTF-8.

    Returns
    -------
    CodePage or None
        None where it makes no words in any of those that are known.
    """
    counted = Counter(islice(_words(data), _PLACES))
    words = {word: min(times, _TIMES) for word, times in counted.items()}
    high = set(data.translate(None, bytes(range(128))))
    costs = {c: _costs(words, c) for c in _PAGES if not high & _undefined(c)}
    if not costs:
        return None
    best = min(costs, key=lambda c: costs[c])
    share = costs[best] / sum(words.values())
    if share > _NO_WORDS:
        return None
    shown = [raw for (raw, _), _ in counted.most_common(4)]
    sample = b", ".join(shown)
    text = sample.decode(best)
    whole = b" ".join(raw for raw, _ in words)
    # Signs that stand alone, as in "±0,1" and "Ø31", are no words that anybody could spell.
    spelt = b" ".join(raw for raw, _ in words if re.search(rb"[A-Za-z]", raw))
    seen, others, tied = {whole.decode(best)}, [], []
    for codec, cost in costs.items():
        if cost - costs[best] < _CLOSE and (reading := whole.decode(codec)) not in seen:
            seen.add(reading)
            others.append(_PAGES[codec][0])
            as_likely = codec.startswith("cp125") and cost == costs[best]
            if as_likely and spelt.decode(codec) != spelt.decode(best):
                tied.append(_PAGES[codec][0])
    title, clean = _PAGES[best][0], share <= _CLEAN
    return CodePage(best, title, text, tuple(others), tuple(tied), clean)
