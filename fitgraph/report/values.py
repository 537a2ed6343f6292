"""How values are shown to people and handed to programs: money, masses, lengths, counts.

Inside there are mm, g, N m and minor currency units. People read a value with its unit;
programs get a plain number, money in major units.

Examples
--------
>>> MASS.show(3421.4), MASS.data(3421.4), MASS.show(None), MASS.data(None)
('3,421 g', 3421.4, '?', None)
>>> COUNT.show(6828238), SHARE.show(0.25), SHARE.data(None)
('6,828,238', '25%', None)
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from dataclasses import replace
from operator import attrgetter
from typing import Any

from fitgraph.draw.style import WORDS
from fitgraph.model import Verdict, Vocabulary
from fitgraph.records import dataclass
from fitgraph.units import show_length, show_mass
from fitgraph.wording import percent

#: Decimals of a number that is handed on; mm and g are not known better.
_DECIMALS = 4

_MINUS = "\N{MINUS SIGN}"


def number(value: float | None) -> float | None:
    """Return a number for programs: None where it is not known or not finite.

    Examples
    --------
    >>> number(0.10999999999999943), number(float("-inf"))
    (0.11, None)
    """
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), _DECIMALS) + 0.0


@dataclass(frozen=True, slots=True)
class Unit:
    """How the values of a column are shown, and what a program gets.

    Parameters
    ----------
    shown : callable
        A value as people read it; never asked about None.
    plain : callable
        The same value as plain data.
    name : str
        The unit of that data, such as ``"g"``; empty without one.
    figures : bool
        Whether values are figures, which stand to the right.
    blank : str
        What people read where there is no value.
    several : bool
        Whether a value is several, which JSON has as a list.
    currency : bool
        Whether the name is that of a currency.
    """

    shown: Callable[[Any], str]
    plain: Callable[[Any], Any]
    name: str = ""
    figures: bool = True
    blank: str = "?"
    several: bool = False
    currency: bool = False

    def show(self, value: Any) -> str:
        """Return a value as people read it."""
        return self.blank if value is None else self.shown(value)

    def data(self, value: Any) -> Any:
        """Return a value as plain data."""
        return None if value is None else self.plain(value)


@dataclass(frozen=True, slots=True)
class Signed:
    """A word that pages show with a sign before it.

    Parameters
    ----------
    sign, word : str
        Both always stand together.
    """

    sign: str
    word: str


def _signed(value: float, text: str) -> str:
    sign = "+" if round(value) > 0 else _MINUS if round(value) < 0 else "\N{PLUS-MINUS SIGN}"
    return sign + text


def _margin(mm: float) -> str:
    return show_length(mm).replace("-", _MINUS) if math.isfinite(mm) else ""


def _rise(mm: float) -> str:
    return f"{mm:+.0f} mm".replace("-", _MINUS) if mm else ""


def _verdict(verdict: Verdict) -> str:
    return WORDS[verdict]


def _yes_or_no(yes: bool) -> str:
    return "yes" if yes else "no"


def _mass_change(g: float) -> str:
    return _signed(g, show_mass(abs(g)))


def _minutes(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes else ""


def _fine_share(share: float) -> str:
    return percent(share, 1)


def _as_it_is(value: Any) -> Any:
    return value


# Named functions and methods throughout: whoever keeps an answer or hands it to another process
# pickles its columns.
_WORD = attrgetter("word")

TEXT = Unit(str, str, figures=False, blank="")
WORD = Unit(_WORD, _WORD, figures=False, blank="")
VERDICT = Unit(_verdict, _WORD, figures=False, blank="")
#: Figures that are told in words of their own.
TOLD = Unit(str, str)
FLAG = Unit(_yes_or_no, bool, figures=False, blank="")
COUNT = Unit("{:,}".format, int)
PLACE = Unit(str, int, blank="")
WEIGHT = Unit("{:g}".format, number)
THOUSANDS = Unit("{:,g}".format, number)
SHARE = Unit("{:.0%}".format, number, blank="")
FINE_SHARE = Unit(_fine_share, number, blank="")
MASS = Unit(show_mass, number, "g")
MASS_CHANGE = Unit(_mass_change, number, "g")
LENGTH = Unit("{:g} mm".format, number, "mm", blank="")
MARGIN = Unit(_margin, number, "mm", blank="")
RISE = Unit(_rise, number, "mm")
MOMENT = Unit("{:,.0f} N·m".format, number, "N m")
MINUTES = Unit(_minutes, number, "min")
#: Where there is room to say that nobody knows.
MASS_TOLD = replace(MASS, blank="not known")
MOMENT_TOLD = replace(MOMENT, blank="not known")
DAYS = Unit(str, int, "d")
DATE = Unit(datetime.date.isoformat, _as_it_is, figures=False, blank="")
#: Several stock numbers or words in one cell.
LIST = Unit(", ".join, " ".join, figures=False, blank="", several=True)


def money_of(vocabulary: Vocabulary) -> Unit:
    """Return how amounts in minor units of a vocabulary's currency are shown."""
    return Unit(vocabulary.money, vocabulary.major, vocabulary.currency, currency=True)
