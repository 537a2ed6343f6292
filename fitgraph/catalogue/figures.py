"""One figure of a features table: a size with its limits, as people type it."""

from __future__ import annotations

import re

from fitgraph.mechanics.limits_and_fits import limits as class_limits
from fitgraph.model import Basis, Dimension
from fitgraph.units import UnitError, parse_length

#: What people write where they do not know.
UNKNOWN_TEXTS = frozenset({"", "?", "unknown", "n/a", "na", "-", "tbc"})

_PLUS_MINUS = re.compile(r"^(?P<size>.+?)\s*(?:±|\+/-|\+-)\s*(?P<half>[^±+-]+)$")
_TWO_SIDED = re.compile(
    r"^(?P<size>.+?)\s*(?P<one>[+-]\s*[\d.,]+|\s0)\s*(?P<unit>mm)?\s*/"
    r"\s*(?P<other>[+-]?\s*[\d.,]+)\s*(?:mm)?$"
)
_RANGE = re.compile(r"^(?P<lo>.+?)\s*(?:\.\.\.?|…|–| to )\s*(?P<hi>.+)$")
_CLASS = re.compile(
    r"^(?P<size>.*\d.*?|[\d.,]+)\s*(?<![A-Za-z])(?P<klass>[A-Za-z]{1,2}\s?\d{1,2})$"
)
_UNIT = re.compile(r"[^\d\s.,/]+$")

_EXAMPLES = "28.6, 28.6 ±0.05, 28.6 +0.1/-0.05, 28.5..28.7, 28.6 h9 or 1 1/8 in"


def parse_figure(text: str, basis: Basis, half_width: float) -> Dimension:
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

    Returns
    -------
    Dimension
        With limits in mm; unknown for an empty text or a question mark.

    Raises
    ------
    UnitError
        If it cannot be read, or if its limits are the wrong way round.

    Examples
    --------
    >>> figure = parse_figure("31,8 +0.1/-0.05", Basis.MAKER, 0.05)
    >>> round(figure.lo, 3), round(figure.hi, 3)
    (31.75, 31.9)
    """
    plain = text.strip()
    if plain.lower() in UNKNOWN_TEXTS:
        return Dimension.unknown(plain)
    if len(plain) > 80:
        raise UnitError(f"is too long for a figure; write it like {_EXAMPLES}")
    if match := _CLASS.match(plain):
        size = parse_length(match["size"])
        try:
            lo, hi = class_limits(size, match["klass"].replace(" ", ""))
        except ValueError as error:
            raise UnitError(f"has a tolerance class that cannot be used ({error})") from None
        return Dimension(float(lo), float(hi), basis, plain)
    if match := _TWO_SIDED.match(plain):
        size = parse_length(match["size"])
        ends = sorted(parse_length(match[end].replace(" ", "")) for end in ("one", "other"))
        return Dimension(size + ends[0], size + ends[1], basis, plain)
    if match := _PLUS_MINUS.match(plain):
        size, half = parse_length(match["size"]), parse_length(match["half"])
        return Dimension(size - half, size + half, basis, plain)
    if match := _RANGE.match(plain):
        # A unit behind a range is meant for both of its ends.
        unit = _UNIT.search(match["hi"])
        low = match["lo"] if unit is None or _UNIT.search(match["lo"]) else match["lo"] + unit[0]
        lo, hi = parse_length(low), parse_length(match["hi"])
        if lo > hi:
            raise UnitError("has its limits the wrong way round; write the smaller one first")
        return Dimension(lo, hi, basis, plain)
    try:
        size = parse_length(plain)
    except UnitError as error:
        raise UnitError(str(error).replace("28.6, 31,8 mm or 1 1/8 in", _EXAMPLES)) from None
    return Dimension(size - half_width, size + half_width, basis, plain)
