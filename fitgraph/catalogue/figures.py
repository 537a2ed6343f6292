"""One figure of a features table: a size with its limits, as people type it."""

from __future__ import annotations

import re

from fitgraph.mechanics.limits_and_fits import limits as class_limits
from fitgraph.model import Basis, Dimension
from fitgraph.units import AmbiguousError, UnitError, folded, parse_length, remembered

#: What people write where they do not know.
UNKNOWN_TEXTS = frozenset(
    (
        *("", "?", "??", "-", "–", "—", "unknown", "n/a", "n.a.", "na", "tbc", "tbd"),
        *("null", "k.a.", "k. a.", "unbekannt", "inconnu", "desconocido"),
    )
)

_LIMIT = r"[+-]\s*(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
_BRACKETS = re.compile(r"\(\s*((?:±|\+|-)[^()]*)\)")
_PLUS_MINUS = re.compile(r"^(?P<size>.+?)\s*(?:±|\+/-|\+-|-/\+)\s*(?P<half>[^±+-]+)$")
_TWO_SIDED = re.compile(
    rf"^(?P<size>.+?)\s*(?:(?P<one>{_LIMIT})\s*(?P<unit>[^\W\d]+|\")?\s*[/;]?\s*(?P<other>{_LIMIT}|(?<=[/;\s])0)"
    rf"|\s(?P<zero>0)\s*(?P<unit0>[^\W\d]+|\")?\s*[/;]\s*(?P<other0>{_LIMIT}))"
    r"\s*(?P<behind>[^\W\d]+|\")?$"
)
_RANGE = re.compile(r"^(?P<lo>.+?)\s*(?:\.\.\.?|…|–|(?i: to ))\s*(?P<hi>.+)$")
_CLASS = re.compile(
    r"^(?P<size>.*[0-9].*?)(?P<space>\s*)(?<![A-Za-z])(?!(?i:to)\s)(?P<klass>[A-Za-z]{1,2})(?P<gap>\s?)(?P<grade>[0-9]{1,2})$"
)
_UNIT = re.compile(r"(?:[^\W\d_]+|\"|'')\.?$")

_EXAMPLES = "28.6, 28.6 ±0.05, 28.6 +0.1/-0.05, 28.5..28.7, 28.6 h9 or 1 1/8 in"


def _unit(text: str) -> str:
    """Return the unit at the end of a text, empty where there is none; mm is one."""
    match = _UNIT.search(text.strip())
    return match[0].lower().rstrip(".") if match else ""


def _same_unit(size: str, *limits: str) -> None:
    """Refuse limits that could be meant in another unit than the size.

    Raises
    ------
    AmbiguousError
        If one of them has a unit other than mm and another has none.
    """
    units = [_unit(size), *(_unit(limit) for limit in limits)]
    if "" in units and set(units) - {"", "mm"}:
        named = next(u for u in units if u not in ("", "mm"))
        raise AmbiguousError(
            f"has {named!r} behind one of its numbers and nothing behind another; "
            "write the unit behind each, like 1.125 in ±0.002 in"
        )


@remembered
def parse_figure(
    text: str, basis: Basis, half_width: float, plausible: tuple[float, float] | None = None
) -> Dimension:
    """Return a dimension from a typed figure.

    Parameters
    ----------
    text : str
        A size alone, with plus/minus limits, as a range, or with an ISO 286
        tolerance class (capital letters for holes).
    basis : Basis
        Where the figure came from.
    half_width : float
        Half the width of the limits, in mm, for a size that comes alone.
    plausible : tuple of float, optional
        Limits in mm of what the dimension can be; they decide between the two things that
        ``9,525`` can mean, where only one lies between them.

    Returns
    -------
    Dimension
        With limits in mm; unknown for an empty text or a question mark. Equal texts give one
        and the same object.

    Raises
    ------
    AmbiguousError
        If it can mean two things.
    UnitError
        If it cannot be read, or if its limits are the wrong way round.

    Examples
    --------
    >>> figure = parse_figure("31,8 +0.1/-0.05", Basis.MAKER, 0.05)
    >>> round(figure.lo, 3), round(figure.hi, 3)
    (31.75, 31.9)
    """
    typed = text.strip()
    if typed.lower() in UNKNOWN_TEXTS:
        return Dimension.unknown(typed)
    if len(typed) > 80:
        raise UnitError(f"is too long for a figure; write it like {_EXAMPLES}")
    plain = _BRACKETS.sub(r"\1", folded(typed)).strip()
    lo, hi, size = _limits(plain, half_width, plausible)
    if size < 0 and (plausible is None or plausible[0] >= 0):
        raise UnitError("is below zero, which no size is; write it without the minus sign")
    return Dimension(lo, hi, basis, typed)


def _limits(
    plain: str, half_width: float, plausible: tuple[float, float] | None
) -> tuple[float, float, float]:
    """Return both limits of a figure, and the least size that was written, in mm."""
    if match := _CLASS.match(plain):
        return _by_class(match, plausible)
    if match := _TWO_SIDED.match(plain):
        one, other = match["one"] or match["zero"], match["other"] or match["other0"]
        if not set("/;") & set(plain) and one[0] == other[0] and match["zero"] is None:
            # 2026-06-08 is a date; limits on the same side are told apart by a slash.
            raise UnitError(f"is no length; write it like {_EXAMPLES}")
        between, behind = match["unit"] or match["unit0"] or "", match["behind"] or ""
        if between and not behind:
            behind = between
        _same_unit(match["size"], f"{one}{behind}")
        size = parse_length(match["size"], plausible)
        first = parse_length(one.replace(" ", "") + (between or behind))
        second = parse_length(other.replace(" ", "") + behind)
        return size + min(first, second), size + max(first, second), size
    if match := _PLUS_MINUS.match(plain):
        _same_unit(match["size"], match["half"])
        size, half = parse_length(match["size"], plausible), parse_length(match["half"])
        return size - half, size + half, size
    if match := _RANGE.match(plain):
        low, high = match["lo"], match["hi"]
        if _unit(low) not in ("", "mm") and not _unit(high):
            _same_unit(low, high)
        if not _unit(low):
            # A unit behind a range is meant for both of its ends.
            low += _unit(high)
        lo, hi = parse_length(low, plausible), parse_length(high, plausible)
        if lo > hi:
            raise UnitError("has its limits the wrong way round; write the smaller one first")
        if lo == hi and low.replace(" ", "") != high.replace(" ", ""):
            raise UnitError("looks cut off: both of its limits are the same; look it up again")
        return lo, hi, lo
    try:
        size = parse_length(plain, plausible)
    except AmbiguousError:
        raise
    except UnitError as error:
        raise UnitError(str(error).replace("28.6, 31,8 mm or 1 1/8 in", _EXAMPLES)) from None
    return size - half_width, size + half_width, size


def _by_class(
    match: re.Match[str], plausible: tuple[float, float] | None
) -> tuple[float, float, float]:
    letters, grade = match["klass"], match["grade"]
    stuck = not match["space"] and match["size"][-1:].isdigit()
    if letters in ("x", "X"):
        raise AmbiguousError("can mean two sizes, one by the other; write one size in a row")
    if stuck and letters in ("e", "E"):
        whole = f"{match['size']} {letters}{grade}"
        raise AmbiguousError(f"can mean a power of ten or a tolerance class; write {whole}")
    if letters.lower() in ("m", "in", "cm") and (stuck or match["gap"]):
        raise AmbiguousError(
            f"can mean a unit or a tolerance class; write {match['size']} {letters}{grade} "
            "for the class"
        )
    size = parse_length(match["size"], plausible)
    try:
        lo, hi = class_limits(size, letters + grade)
    except ValueError as error:
        raise UnitError(
            f"has a tolerance class that cannot be used ({error}); write the limits"
        ) from None
    return float(lo), float(hi), size
