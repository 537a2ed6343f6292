"""What people and programs hand in, read once: money, masses, shares, stock numbers."""

from __future__ import annotations

import datetime
import math
import operator
import os
import sys
from collections.abc import Iterable, Mapping
from decimal import Decimal, InvalidOperation
from pathlib import Path

from fitgraph.errors import ArgumentError, InputError, handed
from fitgraph.model import Catalogue, Vocabulary
from fitgraph.units import UnitError, parse_length, parse_mass

#: Money and masses, typed or as a number.
Amount = str | int | float | Decimal

#: Larger sums and masses are slips of the keyboard.
_MOST_MINOR = 10**15
_MOST_MASS_G = 1e9

_MOST_LENGTH_MM = 1e6

#: Nobody means a limit that is so many times what the heaviest build weighs.
_FAR = 10

_PERCENT = 100.0

#: Builds in a list; more take minutes and gigabytes, and belong in a file.
MOST_LISTED = 100_000


def _named(name: str | Iterable[str]) -> tuple[str, ...]:
    """Return the stock numbers that one of several is: itself, or its members."""
    if name is None:
        raise InputError("None is no stock number; write stock numbers as text")
    return names_of(name)


def names_of(names: str | Iterable[str] | None) -> tuple[str, ...]:
    """Return stock numbers: one, several, or none; a list among them counts as its members.

    Examples
    --------
    >>> names_of("A"), names_of(["A", "B"]), names_of(None), names_of((["A", "B"],))
    (('A',), ('A', 'B'), (), ('A', 'B'))
    """
    if names is None:
        return ()
    if isinstance(names, str):
        return (names,)
    if isinstance(names, Mapping) or hasattr(names, "columns"):
        raise InputError(
            f"a {type(names).__name__} is no list of stock numbers; hand in its column of them"
        )
    # Whoever reads Arrow gets its own texts.
    word = names.as_py() if hasattr(names, "as_py") else None
    if isinstance(word, str):
        return (word,)
    try:
        if isinstance(names, bytes | bytearray | memoryview):
            raise TypeError
        every = list(names)
    except TypeError:  # as with an array of no dimension, which says that it can be gone through
        raise InputError(
            f"{handed(names)} is no stock number; write stock numbers as text"
        ) from None
    return tuple(name for inner in every for name in _named(inner))


def money_of(amount: Amount | None, vocabulary: Vocabulary, what: str = "budget") -> int | None:
    """Return an amount in minor currency units, None where there is none.

    Parameters
    ----------
    amount : str, int, float, Decimal or None
        As typed, or a number in major units.
    vocabulary : Vocabulary
        Its currency.
    what : str
        What the amount is, for messages.

    Raises
    ------
    InputError
        If it is no amount of money.
    """
    if amount is None:
        return None
    minor: int
    if isinstance(amount, str):
        try:
            minor = vocabulary.read_money(amount)
        except UnitError as error:
            raise ArgumentError(what, f"{handed(amount)} {error}") from None
    else:
        try:
            exact = Decimal(str(amount)).scaleb(vocabulary.minor_digits)
        except (InvalidOperation, ValueError):
            exact = Decimal("NaN")
        if not exact.is_finite():
            raise ArgumentError(what, f"{handed(amount)} is no amount of money; write 250")
        whole = exact.to_integral_value()
        if exact != whole:
            raise ArgumentError(
                what, f"{handed(amount)} has more decimals than the currency; round it first"
            )
        minor = int(whole)
    if not 0 <= minor <= _MOST_MINOR:
        raise ArgumentError(what, f"{handed(amount)} is out of range; write an amount like 250")
    return minor


def _number(value: float | Decimal) -> float:
    """Return a number, nan for what is none; yes and no are none, of whichever library."""
    try:
        return float(str(value))
    except ValueError:
        return math.nan


def mass_of(mass: Amount | None, catalogue: Catalogue, what: str = "max_mass_g") -> float | None:
    """Return the most that a build may weigh in g, None where there is no limit.

    Raises
    ------
    InputError
        If it is no mass, or has no unit and is most likely meant in kg.
    """
    if mass is None:
        return None
    grams: float
    if isinstance(mass, str):
        try:
            grams = parse_mass(mass)
        except UnitError as error:
            raise ArgumentError(what, f"{handed(mass)} {error}") from None
    else:
        grams = _number(mass)
    if not (math.isfinite(grams) and 0 <= grams <= _MOST_MASS_G):
        raise ArgumentError(what, f"{handed(mass)} is out of range; write a mass like 4200")
    if doubt := doubt_of_mass(str(mass), grams, catalogue):
        raise ArgumentError(what, f"{handed(mass)}: {doubt}")
    return grams


def doubt_of_mass(text: str, grams: float, catalogue: Catalogue) -> str:
    """Return what to ask about a mass limit without a unit that is most likely meant in kg.

    Parameters
    ----------
    text : str
        As it was typed.
    grams : float
        How it is read [g].
    catalogue : Catalogue
        Of which builds are made.

    Returns
    -------
    str
        The question, and how to mend it; empty where nothing is doubtful, as with a unit.
    """
    bare = text.strip()
    if not bare[-1:].isdigit():
        return ""
    least, most = _masses_of_builds(catalogue)
    if not grams < least <= 1000 * grams <= _FAR * most:
        return ""
    return f"{bare} kg? Nothing weighs {bare} g; write '{bare} kg', or '{bare} g' if that is meant"


def _masses_of_builds(catalogue: Catalogue) -> tuple[float, float]:
    """Return what every build weighs at least, and what none exceeds [g]."""
    least, most = 0.0, 0.0
    for role in catalogue.vocabulary.roles.values():
        masses = [p.mass_g for p in catalogue.of(role.name) if p.mass_g is not None]
        most += max(masses, default=0.0)
        if not role.fill.may_be_empty:
            least = max(least, min(masses, default=0.0))
    return least, most


def length_of(length: Amount, what: str) -> float:
    """Return a length above zero in mm.

    Raises
    ------
    InputError
        If it is no such length.

    Examples
    --------
    >>> length_of("0,05 mm", "mm"), length_of(0.1, "mm")
    (0.05, 0.1)
    """
    try:
        mm = parse_length(length) if isinstance(length, str) else _number(length)
    except UnitError as error:
        raise ArgumentError(what, f"{handed(length)} {error}") from None
    if not 0 < mm < _MOST_LENGTH_MM:
        raise ArgumentError(what, f"{handed(length)} is out of range; write a length like 0.1 mm")
    return mm


def share_of(share: str | float | None, what: str = "target") -> float | None:
    """Return a share, None where there is none.

    Raises
    ------
    InputError
        If it is no share.

    Examples
    --------
    >>> share_of("0.9"), share_of("85 %"), share_of(0.5)
    (0.9, 0.85, 0.5)
    """
    if share is None:
        return None
    try:
        plain = str(share).strip().replace(",", ".")
        value = float(plain.removesuffix("%")) / (_PERCENT if plain.endswith("%") else 1.0)
    except ValueError:
        value = -1.0
    if not 0 <= value <= 1:
        raise ArgumentError(what, f"{handed(share)} is no share; write it like 0.9 or 90%")
    return value


def whole_of(number: int, what: str, least: int = 0) -> int:
    """Return a whole number that is no less than another.

    Raises
    ------
    InputError
        If it is no such number.

    Examples
    --------
    >>> whole_of(3, "limit")
    3
    """
    try:
        if isinstance(number, bool):
            raise TypeError
        whole = operator.index(number)
    except TypeError:
        raise ArgumentError(
            what, f"{handed(number)} is no whole number; write it like {max(least, 5)}"
        ) from None
    if whole < least:
        wrong = "below zero" if least == 0 else f"below {least}"
        raise ArgumentError(what, f"{handed(whole)} is {wrong}; write {least} or more")
    if whole > sys.maxsize:
        raise ArgumentError(what, f"{handed(whole)} is out of range; write {sys.maxsize} or less")
    return whole


def listed_of(limit: int) -> int:
    """Return how many builds are to be listed.

    Raises
    ------
    InputError
        If that is no whole number, or more than a list should hold.
    """
    many = whole_of(limit, "limit")
    if many > MOST_LISTED:
        raise ArgumentError(
            "limit",
            f"{handed(many)} is too long a list; write {MOST_LISTED} or less, "
            "or have all builds written to a file with save_builds()",
        )
    return many


def seconds_of(seconds: float | None, what: str = "seconds") -> float | None:
    """Return a time in s, None where there is no end to it.

    Raises
    ------
    InputError
        If it is no time.

    Examples
    --------
    >>> seconds_of(2), seconds_of(None)
    (2.0, None)
    """
    if seconds is None:
        return None
    value = math.nan if isinstance(seconds, str) else _number(seconds)
    if not (math.isfinite(value) and value >= 0):
        raise ArgumentError(what, f"{handed(seconds)} is no time in seconds; write it like 10")
    return value


def yes_of(answer: bool, what: str) -> bool:
    """Return a yes or a no; a word is neither, as every word would count as a yes.

    Raises
    ------
    InputError
        If it is neither.

    Examples
    --------
    >>> yes_of(True, "in_stock"), yes_of(0, "in_stock")
    (True, False)
    """
    try:
        if not isinstance(answer, str) and answer in (True, False):
            return bool(answer)
    except (TypeError, ValueError, ArithmeticError):
        # An array compares to one of its own, and not every number compares.
        pass
    raise ArgumentError(what, f"{handed(answer)} is neither yes nor no; write True or False")


def text_of(text: str | None, what: str) -> str | None:
    """Return a name as it was typed, None where there is none.

    Raises
    ------
    InputError
        If it is no text.

    Examples
    --------
    >>> text_of("titanium", "material")
    'titanium'
    """
    if text is not None and not isinstance(text, str):
        raise ArgumentError(what, f"{handed(text)} is no name; write it as text")
    return text


def day_of(day: datetime.date, what: str) -> datetime.date:
    """Return a day without its time.

    Raises
    ------
    InputError
        If it is none, as a blank cell of a frame.

    Examples
    --------
    >>> day_of(datetime.datetime(2026, 1, 15, 23, 30), "diff")
    datetime.date(2026, 1, 15)
    """
    plain = day.date() if isinstance(day, datetime.datetime) else day
    if plain != plain:  # pandas' blank is a date that equals nothing
        raise ArgumentError(what, f"{handed(day)} is no day; write it like 2026-03-31")
    return plain


def path_of(path: str | os.PathLike[str], what: str) -> Path:
    """Return the path of a file or a folder.

    Raises
    ------
    InputError
        If it is none.
    """
    try:
        found = Path(path)
        os.fsencode(found)
    except (TypeError, ValueError):
        raise ArgumentError(what, f"{handed(path)} is no path; write it as text") from None
    if "\0" in str(found):
        raise ArgumentError(what, f"{handed(path)} is no path; leave the letter of code 0 out")
    return found


def one_of(word: str, known: Iterable[str], what: str) -> str:
    """Return a word that has to be one of some; small letters may stand for capitals.

    Parameters
    ----------
    word : str
        What was asked for.
    known : iterable of str
        What there is.
    what : str
        The argument's name; with an article ("the role") where a command takes it without one.

    Raises
    ------
    InputError
        If it is none of them.

    Examples
    --------
    >>> one_of(" System", ["style", "system"], "by")
    'system'
    """
    words = list(known)
    meant: list[str] = []
    if isinstance(word, str):
        folded = word.strip().casefold()
        meant = [w for w in words if w == word] or [w for w in words if w.casefold() == folded]
    if len(meant) != 1:
        wrong = f"{handed(word)} is unknown; use one of {', '.join(words)}"
        raise InputError(f"{what} {wrong}") if " " in what else ArgumentError(what, wrong)
    return meant[0]
