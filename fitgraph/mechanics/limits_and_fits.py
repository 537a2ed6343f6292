"""Tolerance classes of ISO 286: limits of size from a nominal size and a class such as h9.

Standard tolerance grades IT1 to IT18 and the fundamental deviations c d e f g h js k m n p r
s u (C to U for holes), for nominal sizes up to 500 mm. Both are the standard's tabulated
values, not its formula: the standard rounds the formula by rules of its own, so the table is
the reference and the formula only a check (see the tests). Holes follow from the shafts'
table by the standard's rule: the mirror image, shifted by the difference between two grades
(delta) for the tighter grades of K to U.

References
----------
ISO 286-1:2010, table 1 (grades), tables 2 to 5 (fundamental deviations), clause 4.3.2.5
(delta), clause 3.3 (kinds of fit). Tables 1, 4 and 5 and the deltas agree with
other programs, value by value up to 500 mm, and are tested as the tests say; the standard itself
was not at hand.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Literal

from fitgraph.mechanics.published import rows
from fitgraph.records import dataclass

LARGEST_MM = 500.0

Limits = tuple[float, float]
FitKind = Literal["clearance", "transition", "interference"]

_CLASS = re.compile(r"(?P<letter>[A-Za-z]{1,2}) ?(?P<grade>\d{1,2})")
_SIZED = re.compile(
    r"(?P<size>\d+(?:[.,]\d+)?) *(?:mm)? *(?P<klass>[A-Za-z]{1,2} ?\d{1,2})", re.ASCII
)
_SYMMETRIC = "js"
_BELOW_ZERO = frozenset("cdefgh")
_UM = 1e-3  # one micrometre in mm


@dataclass(frozen=True, slots=True)
class ToleranceClass:
    """A tolerance class, such as h9 (a shaft) or H7 (a hole).

    Parameters
    ----------
    letter : str
        Fundamental deviation; a capital for holes.
    grade : int
        Standard tolerance grade, 1 to 18.
    """

    letter: str
    grade: int

    @property
    def hole(self) -> bool:
        """Whether it is for holes (internal sizes)."""
        return self.letter.isupper()

    def __str__(self) -> str:
        return f"{self.letter}{self.grade}"


@cache
def _grades() -> tuple[tuple[float, tuple[float, ...]], ...]:
    return tuple(
        (float(row["upto_mm"]), tuple(float(row[f"IT{grade}"]) for grade in range(1, 19)))
        for row in rows("iso286_grades")
    )


@cache
def _deviations() -> tuple[tuple[float, dict[str, float]], ...]:
    return tuple(
        (
            float(row["upto_mm"]),
            {k: float(v) for k, v in row.items() if k not in ("over_mm", "upto_mm", "source")},
        )
        for row in rows("iso286_deviations")
    )


def size_steps_mm() -> tuple[float, ...]:
    """Return the nominal sizes in mm up to which the tables' rows reach, each included."""
    return tuple(sorted({upto for upto, _ in (*_grades(), *_deviations())}))


def letters() -> tuple[str, ...]:
    """Return the fundamental deviations that are known, as written for shafts."""
    return tuple(sorted((*_deviations()[0][1], _SYMMETRIC)))


def _checked(nominal: float) -> float:
    if not 0 < nominal <= LARGEST_MM:
        raise ValueError(
            f"nominal size {nominal:g} mm is outside of ISO 286-1's range up to "
            f"{LARGEST_MM:g} mm; write limits instead of a class"
        )
    return nominal


def _grade_um(nominal: float, grade: int) -> float:
    if not 1 <= grade <= 18:
        raise ValueError(f"there is no grade IT{grade}; ISO 286-1 has 1 to 18")
    return next(row[grade - 1] for upto, row in _grades() if nominal <= upto)


def standard_tolerance_mm(nominal: float, grade: int) -> float:
    """Return the width of a standard tolerance grade in mm.

    Parameters
    ----------
    nominal : float
        Nominal size in mm, over 0 and up to 500.
    grade : int
        1 to 18.

    Raises
    ------
    ValueError
        If the size or the grade is outside of the table.

    Examples
    --------
    >>> standard_tolerance_mm(28.6, 9)
    0.052
    """
    return round(_grade_um(_checked(nominal), grade) * _UM, 6)


def parse_tolerance_class(text: str) -> ToleranceClass:
    """Return a tolerance class from text such as ``"h9"`` or ``"H7"``.

    Raises
    ------
    ValueError
        If it is no class, or one that the tables here do not have.
    """
    match = _CLASS.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text.strip()!r} is no tolerance class; write it like h9 or H7")
    letter, grade = match["letter"], int(match["grade"])
    if letter.lower() not in letters() or not (letter.islower() or letter.isupper()):
        raise ValueError(
            f"tolerance class {text.strip()!r} is not in the tables, which have "
            f"{' '.join(letters())} for shafts and the same in capitals for holes"
        )
    if not 1 <= grade <= 18:
        raise ValueError(f"there is no grade IT{grade}; ISO 286-1 has 1 to 18")
    return ToleranceClass(letter, grade)


def parse_class(text: str) -> tuple[float, ToleranceClass]:
    """Return nominal size in mm and class from text such as ``"28.6 h9"``.

    Raises
    ------
    ValueError
        If it cannot be read.

    Examples
    --------
    >>> size, kind = parse_class("28.6 h9")
    >>> size, str(kind), kind.hole
    (28.6, 'h9', False)
    """
    match = _SIZED.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text.strip()!r} is no size with a class; write it like 28.6 h9")
    return float(match["size"].replace(",", ".")), parse_tolerance_class(match["klass"])


def _shaft_um(nominal: float, letter: str, grade: int) -> Limits:
    width = _grade_um(nominal, grade)
    if letter == _SYMMETRIC:
        return -width / 2, width / 2
    base = next(row[letter] for upto, row in _deviations() if nominal <= upto)
    if letter in _BELOW_ZERO:
        return base - width, base
    if letter == "k" and not 4 <= grade <= 7:
        base = 0.0
    return base, base + width


def _hole_um(nominal: float, letter: str, grade: int) -> Limits:
    width = _grade_um(nominal, grade)
    if letter == _SYMMETRIC:
        return -width / 2, width / 2
    base = next(row[letter] for upto, row in _deviations() if nominal <= upto)
    if letter in _BELOW_ZERO:
        return -base, -base + width
    tightest = 8 if letter in "kmn" else 7
    upper = -base
    if letter == "k" and grade > tightest and nominal > 3:
        raise ValueError(f"ISO 286-1 has no K{grade} over 3 mm; K goes up to K8")
    if letter == "n" and grade > tightest and nominal > 3:
        upper = 0.0
    elif 3 <= grade <= tightest and nominal > 3:
        upper += width - _grade_um(nominal, grade - 1)
    # The one exception that the standard's table makes: M6 over 250 and up to 315 mm.
    if (letter, grade) == ("m", 6) and 250 < nominal <= 315:
        upper = -9.0
    return upper - width, upper


def deviations_mm(nominal: float, tolerance_class: str | ToleranceClass) -> Limits:
    """Return the lower and the upper limit deviation from the nominal size in mm.

    Parameters
    ----------
    nominal : float
        Nominal size in mm, over 0 and up to 500.
    tolerance_class : str or ToleranceClass
        Such as ``"h9"``, or ``"H7"`` for a hole.

    Raises
    ------
    ValueError
        If the size or the class is outside of the tables.
    """
    if isinstance(tolerance_class, str):
        tolerance_class = parse_tolerance_class(tolerance_class)
    by_kind = _hole_um if tolerance_class.hole else _shaft_um
    lower, upper = by_kind(_checked(nominal), tolerance_class.letter.lower(), tolerance_class.grade)
    return round(lower * _UM, 6), round(upper * _UM, 6)


def limits(nominal: float, tolerance_class: str | ToleranceClass) -> Limits:
    """Return the limits of size in mm.

    Parameters
    ----------
    nominal : float
        Nominal size in mm, over 0 and up to 500.
    tolerance_class : str or ToleranceClass
        Such as ``"h9"``, or ``"H7"`` for a hole.

    Returns
    -------
    tuple of float
        Lower and upper limit of size.

    Raises
    ------
    ValueError
        If the size or the class is outside of the tables.

    Examples
    --------
    >>> limits(28.6, "h9")
    (28.548, 28.6)
    """
    lower, upper = deviations_mm(nominal, tolerance_class)
    return round(nominal + lower, 6), round(nominal + upper, 6)


def worst_clearances_mm(hole: Limits, shaft: Limits) -> Limits:
    """Return the least and the most clearance in mm of limits in mm; negative interferes."""
    return hole[0] - shaft[1], hole[1] - shaft[0]


def expected_clearance_mm(hole: Limits, shaft: Limits) -> float:
    """Return the clearance in mm at the middle of both limits."""
    least, most = worst_clearances_mm(hole, shaft)
    return (least + most) / 2


def fit_kind(hole: Limits, shaft: Limits) -> FitKind:
    """Return which kind of fit two pairs of limits in mm make.

    A least clearance of exactly zero is still a clearance fit, a most clearance of exactly
    zero still an interference fit (ISO 286-1:2010, clause 3.3).

    Examples
    --------
    >>> fit_kind(limits(25, "H7"), limits(25, "g6"))
    'clearance'
    """
    least, most = (round(value, 9) for value in worst_clearances_mm(hole, shaft))
    if least >= 0:
        return "clearance"
    return "interference" if most <= 0 else "transition"
