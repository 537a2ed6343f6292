"""Lengths, masses and money as people type them.

Everything inside the package is in mm, g and minor currency units; this is
the one place where typed text becomes such a number.

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
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

#: Exact by definition (international inch, 1959).
MM_PER_INCH = Decimal("25.4")

#: Exact by definition (international avoirdupois pound and ounce, 1959).
G_PER_POUND = Decimal("453.59237")
G_PER_OUNCE = Decimal("28.349523125")

_LENGTH_UNITS = {
    "": Decimal(1),
    "mm": Decimal(1),
    "cm": Decimal(10),
    "m": Decimal(1000),
    "µm": Decimal("0.001"),
    "um": Decimal("0.001"),
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "″": MM_PER_INCH,
    "”": MM_PER_INCH,
    "''": MM_PER_INCH,
}
_MASS_UNITS = {
    "": Decimal(1),
    "g": Decimal(1),
    "gr": Decimal(1),
    "gram": Decimal(1),
    "grams": Decimal(1),
    "kg": Decimal(1000),
    "oz": G_PER_OUNCE,
    "lb": G_PER_POUND,
    "lbs": G_PER_POUND,
}
_NUMBER = r"[+-]?\d+(?:[.,]\d+)?"
_QUANTITY = re.compile(
    rf"""^\s*(?P<sign>[+-]?)\s*
         (?:(?P<whole>\d+)[\s-]+)?(?P<top>\d+)\s*[/⁄]\s*(?P<bottom>\d+)\s*(?P<unit1>[^\d\s.,/+-]*)\.?\s*$
       | ^\s*(?P<number>{_NUMBER})\s*(?P<unit2>[^\d\s.,/+-]*)(?:(?<=\D)\.)?\s*$""",
    re.VERBOSE,
)
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}


class UnitError(ValueError):
    """A typed quantity that cannot be read; the message says how to mend it."""


def _quantity(text: str, units: dict[str, Decimal], what: str, example: str) -> float:
    for glyph, plain in _VULGAR.items():
        text = text.replace(glyph, f" {plain}")
    match = _QUANTITY.match(text.strip()) if len(text) < 80 else None
    if match is None:
        raise UnitError(f"is no {what}; write it like {example}")
    unit = (match["unit1"] or match["unit2"] or "").strip().lower().rstrip(".")
    if unit not in units:
        known = ", ".join(u for u in units if u)
        raise UnitError(f"has the unit {unit!r}, which is no {what} unit; use one of {known}")
    if match["number"] is not None:
        value = Decimal(match["number"].replace(",", ".")) * units[unit]
        return float(value)
    if int(match["bottom"]) == 0:
        raise UnitError(f"divides by zero; write it like {example}")
    share = Fraction(int(match["whole"] or 0)) + Fraction(int(match["top"]), int(match["bottom"]))
    return float(share * Fraction(units[unit]) * (-1 if match["sign"] == "-" else 1))


def parse_length(text: str) -> float:
    """Return a typed length in mm.

    Parameters
    ----------
    text : str
        A number with a point or a comma, or a fraction, with or without a
        unit (mm is taken where there is none).

    Returns
    -------
    float
        Length in mm.

    Raises
    ------
    UnitError
        If it is no length.

    Examples
    --------
    >>> parse_length('1 1/4"')
    31.75
    """
    return _quantity(text, _LENGTH_UNITS, "length", "28.6, 31,8 mm or 1 1/8 in")


def parse_mass(text: str) -> float:
    """Return a typed mass in g (g is taken where there is no unit).

    Raises
    ------
    UnitError
        If it is no mass.
    """
    return _quantity(text, _MASS_UNITS, "mass", "950, 950 g or 0.95 kg")


def parse_money(text: str, minor_digits: int) -> int:
    """Return a typed amount in minor currency units.

    Parameters
    ----------
    text : str
        An amount in major units, with a decimal point or comma; a currency
        code or sign around it is passed over.
    minor_digits : int
        Decimal digits of the currency.

    Raises
    ------
    UnitError
        If it is no amount, or has more decimals than the currency.
    """
    example = "189.90" if minor_digits else "189"
    plain = re.sub(r"^[^\d+-]+|[^\d]+$", "", text.strip()) if len(text) < 80 else ""
    if re.fullmatch(r"[+-]?\d{1,3}(?:[ .,'’]\d{3})+[.,]\d{1,2}", plain):
        plain = re.sub(r"[ .,'’](?=\d{3}(?!\d))", "", plain)
    if not re.fullmatch(_NUMBER, plain):
        raise UnitError(f"is no amount of money; write it like {example}")
    amount = Decimal(plain.replace(",", ".")).scaleb(minor_digits)
    # 1,000 is a thousand to one reader and one to another: it is asked, not guessed.
    if len(re.split("[.,]", plain)[-1]) > minor_digits and re.search("[.,]", plain):
        raise UnitError(f"has more decimals than the currency; write it like {example}")
    return int(amount)


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
