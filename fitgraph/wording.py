"""Small pieces of sentences that every room makes: plurals, shares, lists, a capital."""

from __future__ import annotations

import re
from collections.abc import Iterable

#: Words for yes and no in what people type, in small letters.
YES = frozenset(
    (
        *("yes", "y", "true", "ja", "j", "wahr", "oui", "vrai"),
        *("si", "sí", "sì", "sim", "tak", "ano"),
    )
)
NO = frozenset(
    (
        *("no", "n", "false", "nein", "falsch", "non", "faux"),
        *("não", "nie", "ne", "nee", "nej"),
    )
)

#: What stands behind a figure and is not to be cut from it, as a regular expression; JavaScript
#: reads it as well.
UNITS = r"(?:mm|g|kg|N·m|MPa|min|[A-Z]{3})(?!\w)"

#: A figure with its limits and its unit, or the two sizes of a name.
FIGURE = re.compile(rf"\d(?: ±\d[\d.]*)?(?: {UNITS})|\d ±\d[\d.]*|\d x (?=\d)")


def plural(count: float, one: str, many: str = "") -> str:
    """Return a number of things.

    Parameters
    ----------
    count : int or float
        How many; enquiries may count in parts.
    one, many : str
        What one of them is called, and several; with an s behind it by default.

    Examples
    --------
    >>> plural(1, "build"), plural(6828238, "build"), plural(2, "way of", "ways of")
    ('1 build', '6,828,238 builds', '2 ways of')
    >>> plural(2.5, "rider"), plural(1.0, "rider")
    ('2.5 riders', '1 rider')
    """
    if count == 1:
        return f"1 {one}"
    number = f"{count:,}" if isinstance(count, int) else f"{count:,.10g}"
    return f"{number} {many or one + 's'}"


def sentence(text: str) -> str:
    """Return what somebody wrote as a sentence: with a capital, and an end.

    Examples
    --------
    >>> sentence("it is carried"), sentence("Is it light?"), sentence("")
    ('It is carried.', 'Is it light?', '')
    """
    text = text.strip()
    return f"{capital(text)}{'' if text.endswith(('.', '!', '?')) else '.'}" if text else ""


def an(noun: str) -> str:
    """Return a noun with its article, by its first letter.

    Examples
    --------
    >>> an("rider"), an("owner")
    ('a rider', 'an owner')
    """
    return f"{'an' if noun[:1].lower() in tuple('aeiou') else 'a'} {noun}"


def percent(share: float, digits: int = 0) -> str:
    """Return a share, or a chance, as people read it: never 0 or 100% unless it is.

    Examples
    --------
    >>> percent(0.9996), percent(0.5), percent(0.002), percent(1)
    ('over 99%', '50%', 'under 1%', '100%')
    >>> percent(0.9996, 1), percent(0.002, 1), percent(0.0002, 1)
    ('over 99.9%', '0.2%', 'under 0.1%')
    """
    hundredths, least = share * 100, 10.0**-digits
    if 0 < hundredths < least / 2:
        return f"under {least:.{digits}f}%"
    if 100 - least / 2 < hundredths < 100:
        return f"over {100 - least:.{digits}f}%"
    return f"{hundredths:.{digits}f}%"


def first_of(names: Iterable[str], most: int) -> str:
    """Return the first of some names, and how many there are beside them.

    Examples
    --------
    >>> first_of("abcde", 3), first_of("ab", 3)
    ('a, b, c and 2 more', 'a, b')
    """
    every = list(names)
    text = ", ".join(every[:most])
    more = len(every) - most
    return f"{text} and {more:,} more" if more > 0 else text


def listed(words: Iterable[str], last: str = "and") -> str:
    """Return words as a sentence lists them.

    Examples
    --------
    >>> listed(["a", "b", "c"]), listed(["a", "b"], "or"), listed(["a"])
    ('a, b and c', 'a or b', 'a')
    """
    every = list(words)
    return f" {last} ".join([", ".join(every[:-1]), every[-1]] if len(every) > 1 else every)


def capital(text: str) -> str:
    """Return a text that begins with a capital, however it goes on.

    Examples
    --------
    >>> capital("the MFi clamp"), capital("")
    ('The MFi clamp', '')
    """
    return text[:1].upper() + text[1:]
