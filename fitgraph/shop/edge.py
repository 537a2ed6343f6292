"""What people and programs hand in, read once: money, masses, shares, stock numbers."""

from __future__ import annotations

import math
import operator
import os
from collections.abc import Iterable, Mapping
from decimal import Decimal, InvalidOperation
from pathlib import Path

from fitgraph.errors import ArgumentError, InputError
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
    if not isinstance(names, Iterable):
        raise InputError(f"{names!r} is no stock number; write stock numbers as text")
    found: list[str] = []
    for name in names:
        if isinstance(name, str):
            found.append(name)
        elif isinstance(name, list | tuple):
            found += names_of(name)
        else:
            raise InputError(f"{name!r} is no stock number; write stock numbers as text")
    return tuple(found)


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
            raise ArgumentError(what, f"{amount!r} {error}") from None
    else:
        try:
            exact = Decimal(str(amount)).scaleb(vocabulary.minor_digits)
        except InvalidOperation:
            exact = Decimal("NaN")
        if not exact.is_finite():
            raise ArgumentError(what, f"{amount!r} is no amount of money; write 250")
        whole = exact.to_integral_value()
        if exact != whole:
            raise ArgumentError(
                what, f"{amount!r} has more decimals than the currency; round it first"
            )
        minor = int(whole)
    if not 0 <= minor <= _MOST_MINOR:
        raise ArgumentError(what, f"{amount!r} is out of range; write an amount like 250")
    return minor


def _number(value: int | float | Decimal) -> float:
    """Return a number, nan for what is none."""
    try:
        return float(value)
    except (TypeError, ValueError, OverflowError):
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
            raise ArgumentError(what, f"{mass!r} {error}") from None
    else:
        grams = math.nan if isinstance(mass, bool) else _number(mass)
    if not (math.isfinite(grams) and 0 <= grams <= _MOST_MASS_G):
        raise ArgumentError(what, f"{mass!r} is out of range; write a mass like 4200")
    if doubt := doubt_of_mass(str(mass), grams, catalogue):
        raise ArgumentError(what, f"{mass!r}: {doubt}")
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
        raise ArgumentError(what, f"{length!r} {error}") from None
    if not 0 < mm < _MOST_LENGTH_MM:
        raise ArgumentError(what, f"{length!r} is out of range; write a length like 0.1 mm")
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
    plain = str(share).strip().replace(",", ".")
    try:
        value = float(plain.removesuffix("%")) / (_PERCENT if plain.endswith("%") else 1.0)
    except ValueError:
        value = -1.0
    if not 0 <= value <= 1:
        raise ArgumentError(what, f"{share!r} is no share; write it like 0.9 or 90%")
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
            what, f"{number!r} is no whole number; write it like {max(least, 5)}"
        ) from None
    if whole < least:
        wrong = "below zero" if least == 0 else f"below {least}"
        raise ArgumentError(what, f"{whole} is {wrong}; write {least} or more")
    return whole


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
    value = math.nan if isinstance(seconds, bool | str) else _number(seconds)
    if not (math.isfinite(value) and value >= 0):
        raise ArgumentError(what, f"{seconds!r} is no time in seconds; write it like 10")
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
    except (TypeError, ValueError):
        # An array compares to one of its own.
        pass
    raise ArgumentError(what, f"{answer!r} is neither yes nor no; write True or False")


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
        raise ArgumentError(what, f"{text!r} is no name; write it as text")
    return text


def path_of(path: str | os.PathLike[str], what: str) -> Path:
    """Return the path of a file or a folder.

    Raises
    ------
    InputError
        If it is none.
    """
    try:
        return Path(path)
    except TypeError:
        raise ArgumentError(what, f"{path!r} is no path; write it as text") from None


def one_of(word: str, known: Iterable[str], what: str) -> str:
    """Return a word that has to be one of some.

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
    """
    words = list(known)
    if word not in words:
        wrong = f"{word!r} is unknown; use one of {', '.join(words)}"
        raise InputError(f"{what} {wrong}") if " " in what else ArgumentError(what, wrong)
    return word
