"""Cells of a column as text that means one thing: its decimal mark and its unit told once."""

from __future__ import annotations

import re
from collections.abc import Iterable

from fitgraph.intake.sources import DATE
from fitgraph.units import UnitError, folded

#: Numbers that show which mark is the decimal one.
_BOTH = re.compile(r"\d{1,3}(?:[.'\u00a0 ]\d{3})+,\d+|\d{1,3}(?:[,'\u00a0 ]\d{3})+\.\d+")
_ONE = re.compile(r"(?<![\d.,])\d+([.,])(\d+)(?![\d.,])")

#: What a spreadsheet makes of 1/8, 3-4 or 8.10 when it takes them for days.
_DAY = re.compile(
    r"\d{1,2}[.\-/ ]\s?(?:jan|feb|m[aä]r|apr|ma[iy]|jun|jul|aug|sep|o[ck]t|nov|de[cz])[a-z]*\.?"
    r"(?:[.\-/ ]?\d{2,4})?|(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*[- ]\d{1,4}",
    re.IGNORECASE,
)


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
    thousands. Three digits behind the decimal mark itself stay doubtful: somebody may have
    typed them in the other manner.

    Parameters
    ----------
    text : str
        As it stands in the cell.
    mark : str
        The column's decimal mark; empty where nothing proves one.
    unit : str
        Unit of a bare number.

    Raises
    ------
    UnitError
        If a spreadsheet has made a date of it.

    Examples
    --------
    >>> fixed("1.200", ","), fixed("28,6", ","), fixed("950", "", "g")
    ('1200', '28.6', '950 g')
    """
    if text.startswith(DATE) or _DAY.fullmatch(text.strip()):
        raise UnitError(
            "is a date, which a spreadsheet makes of 1/8, 3-4 or 8.10; write the size again in a "
            "cell formatted as text"
        )
    plain = text.strip()
    if mark:
        other = "." if mark == "," else ","

        def one(match: re.Match[str]) -> str:
            number = match[0]
            if re.fullmatch(rf"\d{{1,3}}(?:\{other}\d{{3}})+(?:\{mark}\d+)?", number):
                number = number.replace(other, "")
            return number.replace(mark, ".") if number.count(mark) == 1 else number

        plain = re.sub(r"(?<![\d.,])\d+(?:[.,]\d+)+(?![\d.,])", one, folded(plain))
    if unit and re.fullmatch(r"[\d.,\s\u00a0+-]+", plain):
        plain = f"{plain} {unit}"
    return plain
