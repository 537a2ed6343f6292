"""Cells of a column as text that means one thing: its decimal mark and its unit told once."""

from __future__ import annotations

import re
from collections.abc import Iterable
from statistics import median

from fitgraph.intake.list_words import any_of
from fitgraph.intake.lost_values import WITHOUT_VALUE
from fitgraph.intake.sources import DATE
from fitgraph.units import INCHES, UnitError, folded, parse_number
from fitgraph.wording import NO, YES

#: Numbers that show which mark is the decimal one.
_BOTH = re.compile(r"\d{1,3}(?:[.'\u00a0 ]\d{3})+,\d+|\d{1,3}(?:[,'\u00a0 ]\d{3})+\.\d+")
_ONE = re.compile(r"(?<![\d.,])\d+([.,])(\d+)(?![\d.,])")

#: A number or a fraction that stands without a unit.
_BARE = re.compile(r"[øØ⌀]?\s?[+\-−]?[\d.,'\s\u00a0/\-½¼¾⅛⅜⅝⅞]+")
#: The same with limits, or as a range; and with a tolerance class.
_LIMITS = re.compile(r"[øØ⌀]?\s?[\d.,\s\u00a0/+\-−±()…–½¼¾⅛⅜⅝⅞]*\d\)?")
_EACH = re.compile(r"\d+(?:[.,]\d+)?(?:\s\d+/\d+|/\d+|[½¼¾⅛⅜⅝⅞])?|[.,]\d+|[½¼¾⅛⅜⅝⅞]")
_CLASSED = re.compile(r"([øØ⌀]?\s?\d+(?:[.,]\d+)?)\s?([A-Za-z]{1,2}\s?\d{1,2})")

_IN_INCHES = re.compile(rf"\d\s?{any_of(list(INCHES))}(?!\w)", re.IGNORECASE)

#: What a spreadsheet makes of 1/8, 3-4 or 8.10 when it takes them for days.
_DAY = re.compile(
    r"\d{1,2}[.\-/ ]\s?(?:jan|feb|m[aä]r|apr|ma[iy]|jun|jul|aug|sep|o[ck]t|nov|de[cz])[a-z]*\.?"
    r"(?:[.\-/ ]?\d{2,4})?|(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*[- ]\d{1,4}",
    re.IGNORECASE,
)


#: A whole date.
_DATE = re.compile(r"\d{1,2}([./-])\d{1,2}\1(?:\d\d|\d{4})|\d{4}-\d\d-\d\d(?:[ T]00:00.*)?")

#: The unit of a column of which nobody can say: grams or kilograms, whole units of money or
#: hundredths.
UNSAID = "?"

#: Bare prices in the middle of a column from which on they may be hundredths.
_MANY = 1000

#: Bare masses below this many may be kilograms.
_FEW = 20.0


#: Words and signs for yes and no in a column that is ticked, in small letters.
_YES = YES | {"1", "x", "✓", "✔"}
_NO = NO | {"0", "✗", "✘"}


def said_presence(text: str) -> str:
    """Return yes or no, whatever the word for it.

    Raises
    ------
    UnitError
        If it is neither.

    Examples
    --------
    >>> said_presence("Ja"), said_presence("FALSE")
    ('yes', 'no')
    """
    word = folded(text).casefold()
    if word in _YES:
        return "yes"
    if word in _NO:
        return "no"
    raise UnitError("does not say whether it is there")


def yes_or_no(values: Iterable[str]) -> bool:
    """Say whether cells say yes and no; ones alone may be sizes or pieces as well.

    Examples
    --------
    >>> yes_or_no(["yes", "no"]), yes_or_no(["1", "0"]), yes_or_no(["1", "1"]), yes_or_no(["3.4"])
    (True, True, False, False)
    """
    words = [folded(v).casefold() for v in values]
    others = [w for w in words if w not in _YES | _NO]
    return (
        len(others) * 2 < len(words)
        and not any(c.isdigit() for w in others for c in w)
        and set(words) != {"1"}
    )


def like_a_day(text: str) -> bool:
    """Say whether a text looks like what a spreadsheet makes of what it takes for a day.

    Examples
    --------
    >>> like_a_day("Mar-05"), like_a_day("2026-05-03"), like_a_day("BAR-MAR-05")
    (True, True, False)
    """
    return bool(_DAY.fullmatch(text) or _DATE.fullmatch(text))


def _bare_mass(text: str, mark: str) -> float | None:
    """Return a mass without a unit as a number; None where it is something else."""
    try:
        return parse_number(fixed(text, mark))
    except UnitError:
        return None


def doubtful_masses(values: Iterable[str], mark: str) -> bool:
    """Say whether the bare masses of a column may be kilograms as well as grams.

    Examples
    --------
    >>> doubtful_masses(["0.95", "1.2"], "."), doubtful_masses(["950", "4"], "")
    (True, False)
    """
    bare = [n for v in values if v.strip() and (n := _bare_mass(v, mark)) is not None and n > 0]
    return bool(bare) and (median(bare) < _FEW or any(n < _FEW and n % 1 for n in bare))


def doubtful_prices(values: Iterable[str]) -> bool:
    """Say whether the prices of a column may be hundredths: bare whole numbers, all of them large.

    Examples
    --------
    >>> doubtful_prices(["7990", "990", "1990"]), doubtful_prices(["79", "9", "19"])
    (True, False)
    >>> doubtful_prices(["7990", "990", "1990.00"])
    False
    """
    bare = [v.strip() for v in values if v.strip()]
    whole = [int(v) for v in bare if re.fullmatch(r"[0-9]{1,9}", v)]
    return len(bare) > 2 and len(whole) == len(bare) and median(whole) >= _MANY


def said_price(text: str, mark: str, unit: str) -> str:
    """Return a price as it means one thing only.

    Raises
    ------
    UnitError
        If it may be hundredths.
    """
    if unit != UNSAID:
        return fixed(text, mark, unit)
    plain = fixed(text, mark)
    if re.fullmatch(r"[0-9]+", plain):
        raise UnitError(
            f"can mean {plain}.00 or {int(plain) / 100:.2f}; write the decimals, or the unit into "
            "the column's name or into the mapping"
        )
    return plain


def said_mass(text: str, mark: str, unit: str) -> str:
    """Return a mass as it means one thing only.

    Raises
    ------
    UnitError
        If it may be grams or kilograms.
    """
    if unit != UNSAID:
        return fixed(text, mark, unit)
    bare = _bare_mass(text, mark)
    if bare is not None and 0 < bare < _FEW:
        raise UnitError(
            f"can mean {bare:g} g or {bare:g} kg; write the unit behind it, into the column's name "
            "or into the mapping"
        )
    return fixed(text, mark)


def decimal_mark(values: Iterable[str]) -> str:
    """Return the decimal mark that a column's own numbers prove; empty where they do not.

    Examples
    --------
    >>> decimal_mark(["1.200", "28,6"]), decimal_mark(["1,200", "28.6"]), decimal_mark(["1.200"])
    (',', '.', '')
    """
    seen = {".": 0, ",": 0}
    for value in values:
        plain = folded(value)[:200]
        if match := _BOTH.search(plain):
            seen["," if match[0].rfind(",") > match[0].rfind(".") else "."] += 1
            continue
        for match in _ONE.finditer(plain):
            if len(match[2]) != 3 or match[0].startswith("0"):
                seen[match[1]] += 1
    if seen["."] and seen[","]:
        return ""
    return "." if seen["."] else "," if seen[","] else ""


def fixed(text: str, mark: str, unit: str = "") -> str:
    """Return a cell's text so that its one meaning in this column is its only one.

    Where the comma is proved to be the decimal mark, a point before three digits marks
    thousands, but not in inches. Three digits behind the decimal mark itself stay doubtful:
    somebody may have typed them in the other manner.

    Parameters
    ----------
    text : str
        As it stands in the cell.
    mark : str
        The column's decimal mark; empty where nothing proves one.
    unit : str
        Unit of a bare number or fraction; of a price, its currency.

    Raises
    ------
    UnitError
        If a spreadsheet has made a date of it, or it has no value.

    Examples
    --------
    >>> fixed("1.200", ","), fixed("28,6", ","), fixed("950", "", "g"), fixed("1 1/4", "", "in")
    ('1200', '28.6', '950 g', '1 1/4 in')
    >>> fixed("1.125 ±0.002", ".", "in"), fixed("1.125 in", ",")
    ('1.125 in ±0.002 in', '1.125 in')
    """
    if text.startswith(DATE) or _DAY.fullmatch(text.strip()):
        raise UnitError(
            "is a date, which a spreadsheet makes of 1/8, 3-4 or 8.10; write it again in a cell "
            "formatted as text"
        )
    if WITHOUT_VALUE.fullmatch(text.strip()):
        raise UnitError(
            "is an error, or a formula whose value was not saved; write the number itself, or save "
            "the workbook once more in a spreadsheet"
        )
    plain = text.strip()
    if mark:
        other = "." if mark == "," else ","
        pointed = other == "." and (unit in INCHES or bool(_IN_INCHES.search(folded(plain))))

        def one(match: re.Match[str]) -> str:
            number = match[0]
            if not pointed and re.fullmatch(
                rf"\d{{1,3}}(?:\{other}\d{{3}})+(?:\{mark}\d+)?", number
            ):
                number = number.replace(other, "")
            return number.replace(mark, ".") if number.count(mark) == 1 else number

        plain = re.sub(r"(?<![\d.,])\d+(?:[.,]\d+)+(?![\d.,])", one, folded(plain))
    if unit and _BARE.fullmatch(plain):
        return f"{plain} {unit}"
    if unit and _LIMITS.fullmatch(plain):
        return _EACH.sub(rf"\g<0> {unit}", plain)
    if unit and (match := _CLASSED.fullmatch(plain)):
        return f"{match[1]} {unit} {match[2]}"
    return plain
