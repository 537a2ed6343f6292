"""Lengths, masses, money and counts as people type them.

Everything inside the package is in mm, g and minor currency units; this is
the one place where typed text becomes such a number. What could mean two
things is refused with both readings named, never guessed.

Examples
--------
>>> parse_length("1 1/8 in")
28.575
>>> parse_length("31,8 mm")
31.8
>>> parse_mass("0.95 kg")
950.0
>>> parse_money("189,90", 2)
18990
>>> parse_mass("1,200 g")
Traceback (most recent call last):
...
fitgraph.units.AmbiguousError: can mean 1200 g or 1.2 g; write one of the two
"""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from functools import cached_property, wraps
from typing import Any, ParamSpec, TypeVar

from fitgraph.errors import InputError
from fitgraph.records import dataclass

#: Exact by definition (international inch, 1959).
MM_PER_INCH = Decimal("25.4")

#: Exact by definition (international avoirdupois pound and ounce, 1959).
G_PER_POUND = Decimal("453.59237")
G_PER_OUNCE = Decimal("28.349523125")

#: No figure or amount that somebody types is longer.
_LONGEST = 80

#: Words and signs behind inches, in which decimals have a point.
INCHES = (
    *("in", "inch", "inches", '"', "''"),
    *("zoll", "zöllig", "pouce", "pouces", "pulgada", "pulgadas", "pollice", "pollici"),
    *("duim", "tum", "cale", "cali"),
)
_LENGTH_UNITS = {
    "": Decimal(1),
    "mm": Decimal(1),
    "cm": Decimal(10),
    "m": Decimal(1000),
    "µm": Decimal("0.001"),
    "um": Decimal("0.001"),
    **dict.fromkeys(INCHES, MM_PER_INCH),
    **dict.fromkeys(("millimetre", "millimetres", "millimeter", "millimeters"), Decimal(1)),
}
_MASS_UNITS = {
    "": Decimal(1),
    **dict.fromkeys(("g", "gr", "gm", "gms", "gram", "grams", "gramm", "grammes"), Decimal(1)),
    **dict.fromkeys(("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"), Decimal(1000)),
    **dict.fromkeys(("oz", "ozs", "ounce", "ounces"), G_PER_OUNCE),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), G_PER_POUND),
}

#: Full-width forms, the minus sign, hyphens, the two micro signs, primes and narrow spaces as
#: the plain letters that they stand for.
_FOLDED = {
    **{code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)},
    0x3000: " ",
    **dict.fromkeys((0x2212, 0x2010, 0x2011, 0xFE63), "-"),
    0x03BC: "µ",
    **dict.fromkeys((0x2007, 0x2009, 0x202F), "\u00a0"),
    **dict.fromkeys((0x2033, 0x201D, 0x201C, 0x02BA), '"'),
    **dict.fromkeys((0x2019, 0x2032, 0x02B9), "'"),
    **dict.fromkeys((0x2044, 0x2215), "/"),
}
#: Fractions of one letter; a slash of their own tells them from those that were typed.
_VULGAR = {ord(glyph): " " + unicodedata.normalize("NFKC", glyph) for glyph in "½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞"}


class _Pattern:
    """A pattern that is compiled when a text is first held against it."""

    def __init__(self, pattern: str, flags: int = 0) -> None:
        self._written = pattern, flags

    @cached_property
    def _compiled(self) -> re.Pattern[str]:
        return re.compile(*self._written)

    def fullmatch(self, text: str) -> re.Match[str] | None:
        return self._compiled.fullmatch(text)

    def sub(self, by: str, text: str) -> str:
        return self._compiled.sub(by, text)


_NUMBER = r"(?:[0-9]+(?:[.,'\u00a0 ][0-9]+)*|[.,][0-9]+)"
_UNIT = r"[^0-9\s.,/⁄+-]*"
_QUANTITY = _Pattern(
    rf"""(?P<sign>[+-]?)\s*
         (?:(?:(?P<whole>[0-9]+)(?:\s+|-))?(?P<top>[0-9]+)\s*(?P<slash>[/⁄])\s*(?P<bottom>[0-9]+)
         | (?P<number>{_NUMBER}))
         \s*(?P<unit>{_UNIT})(?:(?<=[^\W\d_])\.)?""",
    re.VERBOSE,
)
_TWO = _Pattern(
    rf"(?P<first>{_NUMBER})\s*(?P<unit>[a-z]+)\.?\s*,?\s*(?P<second>{_NUMBER})\s*(?P<lesser>[a-z]+)\.?"
)
_LESSER = {"lb": "oz", "lbs": "oz", "pound": "ounces", "pounds": "ounces", "kg": "g"}
_GROUPED = _Pattern(
    r"([0-9]{1,3})((?P<mark>[.,'\u00a0 ])[0-9]{3}(?:(?P=mark)[0-9]{3})*)"
    r"(?:(?P<point>[.,])([0-9]+))?"
)
_DIAMETER = _Pattern(r"^(?:[øØ⌀∅ϕφΦ]|dia(?:m(?:eter)?)?\b\.?)\s*", re.IGNORECASE)
_DIAMETER_BEHIND = _Pattern(r"\s*(?:[øØ⌀∅ϕφΦ]|\bdia(?:m(?:eter)?)?\.?)$", re.IGNORECASE)


class UnitError(InputError):
    """A typed quantity that cannot be read; the message says how to mend it."""


class AmbiguousError(UnitError):
    """A typed quantity that can mean two things.

    Parameters
    ----------
    message : str
        With both readings and how to write each.
    readings : tuple of str
        Each reading, written so that it means only that.
    """

    def __init__(self, message: str, readings: tuple[str, ...] = ()) -> None:
        self.readings = readings
        super().__init__(message)


P = ParamSpec("P")
T = TypeVar("T")

#: Texts that are remembered; a shop's half a million figures are a few thousand texts.
_REMEMBERED = 1 << 16


def remembered(read: Callable[P, T]) -> Callable[P, T]:
    """Let a function that reads texts remember what it read, and what it refused."""
    known: dict[Any, Any] = {}

    @wraps(read)
    def look(*args: P.args, **kwargs: P.kwargs) -> T:
        key = (args, tuple(kwargs.items())) if kwargs else args
        found = known.get(key)
        if found is None:
            if len(known) >= _REMEMBERED:
                known.clear()
            try:
                found = read(*args, **kwargs)
            except UnitError as error:
                found = error
            known[key] = found
        if isinstance(found, UnitError):
            raise found.with_traceback(None)
        result: T = found
        return result

    return look


@dataclass(frozen=True, slots=True)
class _Kind:
    """A kind of quantity: its units, and which marks of thousands are believed.

    ``absurd`` is what nobody means by a number with a single mark before three digits: above
    it the mark is a decimal one. For a point it is lower, since drawings give sizes in
    thousandths; a shop's parts are shorter than 10 m and lighter than 100 kg.
    """

    what: str
    example: str
    units: Mapping[str, Decimal]
    marks: str
    absurd: Mapping[str, Decimal]
    base: str


_LENGTH = _Kind(
    "length",
    "28.6, 31,8 mm or 1 1/8 in",
    _LENGTH_UNITS,
    ".,\u00a0",
    {".": Decimal(10_000), ",": Decimal(1_000_000)},
    "mm",
)
_MASS = _Kind(
    "mass",
    "950, 950 g or 0.95 kg",
    _MASS_UNITS,
    ".,'\u00a0 ",
    {".": Decimal(100_000), ",": Decimal(1_000_000)},
    "g",
)


def folded(text: str) -> str:
    """Return typed text with look-alikes of plain letters replaced by them.

    Examples
    --------
    >>> folded("２８．６ − 5 μm″")
    '28.6 - 5 µm"'
    """
    plain = text.strip().translate(_FOLDED)
    return plain.strip(" \t")


def _meanings(number: str, marks: str) -> tuple[Decimal, ...]:
    """Return what a written number can mean: nothing, one number, or thousands and decimals."""
    if number.isdigit():
        return (Decimal(number),)
    if number[0] in ".,":
        return (Decimal(f"0.{number[1:]}"),)
    if (grouped := _GROUPED.fullmatch(number)) and grouped["mark"] in marks:
        mark, point = grouped["mark"], grouped["point"]
        whole = re.sub("[^0-9]", "", grouped[1] + grouped[2])
        if point is not None:
            if point == mark or grouped[1].startswith("0"):
                return ()
            return (Decimal(f"{whole}.{grouped[5]}"),)
        decimals = Decimal(f"{grouped[1]}.{whole[len(grouped[1]) :]}")
        if len(grouped[2]) == 4 and mark in ".,":
            if grouped[1].startswith("0"):
                return (decimals,)
            return (Decimal(whole), decimals)
        return () if grouped[1].startswith("0") else (Decimal(whole),)
    if re.fullmatch(r"[0-9]+[.,][0-9]+", number):
        return (Decimal(number.replace(",", ".")),)
    return ()


def _written(value: Decimal, unit: str) -> str:
    """Return a number as it can be meant in one way only."""
    text = f"{value.normalize():f}"
    if re.fullmatch(r"[1-9][0-9]{0,2}\.[0-9]{3}", text):
        text += "0"
    return f"{text} {unit}".strip()


def _value(
    number: str, unit: str, kind: _Kind, within: tuple[float, float] | None = None
) -> Decimal:
    """Return a written number in the kind's own unit.

    Raises
    ------
    UnitError
        If it is none, or can mean two.
    """
    meanings = _meanings(number, kind.marks)
    if not meanings:
        raise UnitError(f"is no {kind.what}; write it like {kind.example}")
    factor = kind.units[unit]
    if len(meanings) == 1:
        return meanings[0] * factor
    thousands, decimals = (m * factor for m in meanings)
    mark = "." if "." in number else ","
    # Whoever measures in inches writes decimals with a point.
    if (mark == "." and factor == MM_PER_INCH) or thousands >= kind.absurd[mark]:
        return decimals
    if within is not None:
        inside = [m for m in (thousands, decimals) if within[0] <= m <= within[1]]
        if len(inside) == 1:
            return inside[0]
    shown = unit or kind.base
    readings = tuple(_written(m, shown) for m in meanings)
    raise AmbiguousError(f"can mean {' or '.join(readings)}; write one of the two", readings)


def _fraction(match: re.Match[str], unit: str, kind: _Kind) -> Fraction:
    """Return a typed fraction in the kind's own unit."""
    top, bottom = int(match["top"]), int(match["bottom"])
    whole = int(match["whole"] or 0)
    if bottom == 0:
        raise UnitError(f"divides by zero; write it like {kind.example}")
    share = whole + Fraction(top, bottom)
    if not unit and not whole and (bottom & (bottom - 1) or bottom > 64):
        raise AmbiguousError(
            f"can mean {top} and {bottom} or a fraction; write one of them with its unit",
            (f"{top} {kind.base}", f"{bottom} {kind.base}"),
        )
    if not unit:
        asked = f"{match['whole'] or ''} {top}/{bottom}".strip()
        plain = _written(Decimal(f"{float(share):.6g}"), kind.base)
        other = f"{asked} in" if kind is _LENGTH else f"{asked} lb"
        raise AmbiguousError(
            f"is a fraction without a unit; write {other} or {plain}", (other, plain)
        )
    typed, inches = match["slash"] == "/", kind.units[unit] == MM_PER_INCH
    if kind is _LENGTH and typed:
        # 14/23 is two sizes, or one of 14 with a part of 23.
        halves = bottom & (bottom - 1) == 0
        if not halves or bottom > 128 or (not inches and not whole and top != 1):
            raise AmbiguousError(
                f"can mean {top} and {bottom} or a fraction; write one size like {kind.example}",
                (f"{top} {unit}", f"{bottom} {unit}", f"{float(share):.6g} {unit}"),
            )
    if whole and top >= bottom:
        raise UnitError(f"has a fraction of one and more; write it like {kind.example}")
    return share * Fraction(kind.units[unit])


def _quantity(text: str, kind: _Kind, within: tuple[float, float] | None = None) -> float:
    if len(text) > _LONGEST:
        raise UnitError(f"is no {kind.what}; write it like {kind.example}")
    plain = folded(text).translate(_VULGAR).strip()
    if kind is _LENGTH:
        plain = _DIAMETER_BEHIND.sub("", _DIAMETER.sub("", plain))
    elif (pair := _TWO.fullmatch(plain.lower())) and _LESSER.get(pair["unit"]) is not None:
        more, less = _MASS_UNITS[pair["unit"]], _MASS_UNITS.get(pair["lesser"])
        if less is not None and less == _MASS_UNITS[_LESSER[pair["unit"]]]:
            rest = _value(pair["second"], pair["lesser"], kind)
            if rest < more:
                return float(_value(pair["first"], pair["unit"], kind) + rest)
    match = _QUANTITY.fullmatch(plain)
    if match is None:
        raise UnitError(f"is no {kind.what}; write it like {kind.example}")
    unit = match["unit"].strip().lower()
    if unit not in kind.units:
        known = ", ".join(u for u in list(kind.units)[:12] if u)
        raise UnitError(f"has the unit {unit!r}, which is no {kind.what} unit; use one of {known}")
    sign = -1 if match["sign"] == "-" else 1
    if match["number"] is not None:
        return float(sign * _value(match["number"], unit, kind, within))
    return float(sign * _fraction(match, unit, kind))


@remembered
def parse_length(text: str, within: tuple[float, float] | None = None) -> float:
    """Return a typed length in mm.

    Parameters
    ----------
    text : str
        A number with a point or a comma, or a fraction with a unit, perhaps behind a diameter
        sign; mm is taken where a number has no unit.
    within : tuple of float, optional
        Limits in mm between which it must lie. Of two things that a text can mean, the one
        between them is meant if the other is not.

    Returns
    -------
    float
        Length in mm.

    Raises
    ------
    AmbiguousError
        If it can mean two lengths: 1,250 or 1 1/8.
    UnitError
        If it is no length.

    Examples
    --------
    >>> parse_length('1 1/4"'), parse_length("ø34.9"), parse_length("5½ mm")
    (31.75, 34.9, 5.5)
    >>> parse_length("9,525", within=(4, 20))
    9.525
    """
    return _quantity(text, _LENGTH, within)


@remembered
def parse_mass(text: str) -> float:
    """Return a typed mass in g (g is taken where there is no unit).

    Raises
    ------
    AmbiguousError
        If it can mean two masses: 1,200 g or 1.200 g.
    UnitError
        If it is no mass.

    Examples
    --------
    >>> parse_mass("1 200 g"), round(parse_mass("2 lb 3 oz"), 1)
    (1200.0, 992.2)
    """
    return _quantity(text, _MASS)


#: What stands for a currency beside an amount; several share a sign.
_DOLLARS = ("USD", "CAD", "AUD", "NZD", "SGD", "HKD", "MXN")
_CROWNS = ("SEK", "NOK", "DKK", "ISK")
_SIGNS: dict[str, tuple[str, ...]] = {
    "€": ("EUR",),
    "euro": ("EUR",),
    "euros": ("EUR",),
    "£": ("GBP",),
    "$": _DOLLARS,
    "us$": ("USD",),
    "ca$": ("CAD",),
    "a$": ("AUD",),
    "¥": ("JPY", "CNY"),
    "円": ("JPY",),
    "元": ("CNY",),
    "zł": ("PLN",),
    "kr": _CROWNS,
    "kr.": _CROWNS,
    "kč": ("CZK",),
    "ft": ("HUF",),
    "fr": ("CHF",),
    "fr.": ("CHF",),
    "sfr": ("CHF",),
    "sfr.": ("CHF",),
    "₹": ("INR",),
    "₩": ("KRW",),
    "₺": ("TRY",),
    "₴": ("UAH",),
    "lei": ("RON",),
    "r$": ("BRL",),
}
#: What stands for a hundredth of a currency.
_CENTS = ("EUR", *_DOLLARS)
_HUNDREDTHS: dict[str, tuple[str, ...]] = {
    "p": ("GBP",),
    "pence": ("GBP",),
    "penny": ("GBP",),
    **dict.fromkeys(("ct", "ct.", "cts", "cent", "cents", "c", "¢"), _CENTS),
    **dict.fromkeys(("rp", "rp.", "rappen", "ct"), (*_CENTS, "CHF")),
    "gr": ("PLN",),
    "øre": _CROWNS,
    "öre": _CROWNS,
}
_CODES = {code for codes in _SIGNS.values() for code in codes}

#: Words and signs that name a currency or its hundredth, in small letters.
MONEY_WORDS = frozenset({*_SIGNS, *_HUNDREDTHS, *(code.lower() for code in _CODES)})

#: Units of lengths and of masses, in small letters.
LENGTH_WORDS = frozenset(_LENGTH_UNITS) - {""}
MASS_WORDS = frozenset(_MASS_UNITS) - {""}
_BESIDE = r"(?:[^0-9.,'+\-\s]+\.?)?"
_MONEY = _Pattern(
    rf"(?P<before>{_BESIDE})\s*(?P<sign>[+-]?)\s*(?P<between>{_BESIDE})\s*"
    rf"(?P<number>{_NUMBER})(?:[.,]\s?(?:--?|–|—))?\s*(?P<behind>[^0-9+\-]*)"
)


def hundredth(currency: str) -> str:
    """Return what a hundredth of a currency is called; empty where that is not known.

    Examples
    --------
    >>> hundredth("EUR"), hundredth("GBP"), hundredth("JPY")
    ('ct', 'p', '')
    """
    return next((word for word, of in _HUNDREDTHS.items() if currency in of), "")


def _hundredths(words: list[str], currency: str | None) -> bool:
    return len(words) == 1 and currency is not None and currency in _HUNDREDTHS.get(words[0], ())


def _foreign(word: str, currency: str | None) -> bool:
    """Say whether a word beside an amount names no currency, or another one."""
    named = {word.upper(), *_SIGNS.get(word, ())}
    return not named & ({currency} if currency is not None else _CODES)


_USUAL_AMOUNT = _Pattern(r"[0-9]{1,9}\.[0-9]{2}")
_USUAL_MASS = _Pattern(r"([0-9]{1,6}(?:\.[0-9]{1,2})?) g")


def usual_money(text: str, minor_digits: int) -> int | None:
    """Return an amount in minor units if it is written like ``12.50``, else None.

    It is what :func:`parse_money` returns of it, sooner: most cells of a price list are written so.
    """
    if minor_digits == 2 and _USUAL_AMOUNT.fullmatch(text):
        return int(text[:-3] + text[-2:])
    return None


def usual_mass(text: str) -> float | None:
    """Return a mass in g if it is written like ``950.5 g``, else None; see :func:`parse_mass`."""
    match = _USUAL_MASS.fullmatch(text)
    return float(match[1]) if match is not None else None


@remembered
def parse_money(text: str, minor_digits: int, currency: str | None = None) -> int:
    """Return a typed amount in minor currency units.

    Parameters
    ----------
    text : str
        An amount in major units, with a decimal point or comma, and its currency's code or
        sign where people write it; or hundredths such as ``99p`` and ``50 ct``.
    minor_digits : int
        Decimal digits of the currency.
    currency : str, optional
        ISO 4217 code; an amount in another currency is refused. Where it is not given, a
        currency beside the amount is passed over.

    Raises
    ------
    AmbiguousError
        If it can mean two amounts: 1,000.
    UnitError
        If it is no amount, is in another currency, or has more decimals than the currency.

    Examples
    --------
    >>> parse_money("1.234,56 €", 2, "EUR"), parse_money("99p", 2, "GBP"), parse_money(".99", 2)
    (123456, 99, 99)
    """
    example = "189.90" if minor_digits else "189"
    plain = folded(text)
    match = _MONEY.fullmatch(plain) if len(text) <= _LONGEST else None
    if match is None:
        if re.fullmatch(r"\(.*[0-9].*\)|.*[0-9]\s*-\s*", plain[:_LONGEST]):
            raise UnitError("is written as bookkeepers write what is owed; write it like -6.50")
        raise UnitError(f"is no amount of money; write it like {example}")
    beside = (match["before"], match["between"], match["behind"])
    words = [w.strip().lower() for w in beside if w.strip()]
    minor = _hundredths(words, currency) and minor_digits == 2
    for word in words:
        if minor or not _foreign(word, currency):
            continue
        if currency is None or not (word in _SIGNS or re.fullmatch("[a-z]{3}", word)):
            raise UnitError(
                f"has {word!r} beside the number, so it is no amount of money; "
                f"write it like {example}"
            )
        other = word.upper() if re.fullmatch("[a-z]{3}", word) else word
        raise UnitError(f"is in {other}, not in {currency}; write it in {currency}")
    meanings = _meanings(match["number"], ".,'\u00a0 ")
    if not meanings:
        raise UnitError(f"is no amount of money; write it like {example}")
    digits = 0 if minor else minor_digits
    if len(meanings) == 2:
        if digits == 0:
            meanings = meanings[:1]
        elif digits == 3 and "." in match["number"]:
            meanings = meanings[1:]
    if len(meanings) == 2:
        readings = tuple(f"{m:.{max(digits, 3 if m % 1 else 0)}f}" for m in meanings)
        whole, part = f"{meanings[0]}", f"{meanings[1]:.{digits}f}"
        raise AmbiguousError(
            f"has more decimals than the currency, or marks thousands; write {whole} or {part}",
            readings,
        )
    amount = meanings[0].scaleb(digits)
    if amount != amount.to_integral_value():
        raise UnitError(f"has more decimals than the currency; write it like {example}")
    return int(amount) * (-1 if match["sign"] == "-" else 1)


@remembered
def parse_number(text: str) -> float:
    """Return a typed number without a unit.

    Raises
    ------
    AmbiguousError
        If it can mean two numbers: 1,000.
    UnitError
        If it is none.

    Examples
    --------
    >>> parse_number("0,5")
    0.5
    """
    plain = folded(text)
    match = re.fullmatch(rf"([+-]?)({_NUMBER})", plain) if len(text) <= _LONGEST else None
    meanings = _meanings(match[2], ".,'\u00a0") if match is not None else ()
    if match is None or not meanings:
        raise UnitError("is no number; write it like 1 or 0.5")
    if len(meanings) == 2:
        readings = tuple(_written(m, "") for m in meanings)
        raise AmbiguousError(f"can mean {' or '.join(readings)}; write one of the two", readings)
    return float(meanings[0] * (-1 if match[1] == "-" else 1))


@remembered
def parse_count(text: str, most: int = 10**9) -> int:
    """Return a typed number of pieces, 0 or more.

    Parameters
    ----------
    text : str
        A whole number; a spreadsheet's ``12.0`` is one as well.
    most : int
        More is taken for a slip of the keyboard.

    Raises
    ------
    AmbiguousError
        If it can mean two numbers: 1,000.
    UnitError
        If it is no whole number, or out of range.

    Examples
    --------
    >>> parse_count("12"), parse_count("12,0")
    (12, 12)
    """
    plain = folded(text)
    if not re.fullmatch(r"[0-9.,'\u00a0]{1,24}", plain):
        raise UnitError("is no number of pieces; write a whole number, 0 or more")
    try:
        value = parse_number(plain)
    except AmbiguousError:
        raise
    except UnitError:
        value = -1.0
    if not 0 <= value <= most or value % 1:
        raise UnitError("is no number of pieces; write a whole number, 0 or more")
    return int(value)


_DAY_POINTS = _Pattern(r"(?P<day>[0-9]{1,2})\.\s?(?P<month>[0-9]{1,2})\.\s?(?P<year>[0-9]{4})")


def parse_day(text: str) -> datetime.date:
    """Return a typed day.

    Parameters
    ----------
    text : str
        As ISO 8601 has it, perhaps with a time, which says no more than the day it stands behind,
        in whatever zone; or day, month and year with points between, as no other order is written.

    Raises
    ------
    UnitError
        If it is none, or can mean two: 4/9/2026.

    Examples
    --------
    >>> parse_day("2026-03-31T23:30:00+02:00") == parse_day("31.3.2026") == parse_day("2026-03-31")
    True
    """
    plain = folded(text) if len(text) <= _LONGEST else ""
    try:
        if match := _DAY_POINTS.fullmatch(plain):
            return datetime.date(int(match["year"]), int(match["month"]), int(match["day"]))
        return datetime.datetime.fromisoformat(plain).date()
    except ValueError:
        raise UnitError("is no date; write it like 2026-03-31") from None


def show_length(mm: float) -> str:
    """Return a length as people read it, to a hundredth of a millimetre.

    Examples
    --------
    >>> show_length(28.6)
    '28.60 mm'
    """
    return f"{mm:.2f} mm"


def show_mass(g: float) -> str:
    """Return a mass as people read it, in g.

    Examples
    --------
    >>> show_mass(3421.4)
    '3,421 g'
    """
    return f"{g:,.0f} g"


def show_money(minor: int, currency: str, minor_digits: int) -> str:
    """Return an amount as people read it, with its currency code.

    Examples
    --------
    >>> show_money(123450, "EUR", 2)
    '1,234.50 EUR'
    """
    return f"{Decimal(minor).scaleb(-minor_digits):,.{minor_digits}f} {currency}"


def major(minor: int, minor_digits: int) -> float:
    """Return an amount in major currency units, for JSON."""
    return float(Decimal(minor).scaleb(-minor_digits))
