"""The rules that decide a joint: a small closed set, one function each.

Every rule takes arrays of limits (or of codes, for words, or of sums) that broadcast
against each other, and returns a :class:`Judgement`: a three-valued verdict
and a margin in mm. The arithmetic is interval arithmetic: a joint fits when
it fits at every size within the limits, fails when it fails at every size,
and is unknown between.

References
----------
.. [1] R. E. Moore, R. B. Kearfott, M. J. Cloud, "Introduction to Interval
   Analysis", SIAM 2009, chapter 2 (book checked, the chapter from
   memory).
.. [2] ISO 286-1:2010, clause 3: clearance is the difference between the
   sizes of hole and shaft.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats
from fitgraph.mechanics import windows
from fitgraph.mechanics.limits_of_size import UNBOUNDED_MM, UNKNOWN_WORD, Limits
from fitgraph.mechanics.nests import closed_bore, closes
from fitgraph.model.verdict import Verdict
from fitgraph.records import dataclass

Codes = npt.NDArray[np.int64]

#: Rounding that a comparison of typed decimals has to forgive, in mm.
EPSILON_MM = 1e-9


class Judgement(NamedTuple):
    """What a rule says.

    Attributes
    ----------
    verdict : ndarray of int8
        Values of :class:`fitgraph.model.Verdict`.
    margin : ndarray of float
        In mm. Where it fits, what is to spare at the worst sizes (zero or
        more); where it fails, what is lacking at the most favourable sizes (below
        zero); nan where it is unknown or where the rule has no lengths.
    interval : Limits or None
        The least and the most of what the rule measures [mm]: a clearance, by how much one
        length exceeds another, or what a sum has to spare. None where it has no lengths.
    wanted : Limits or None
        What the interval has to lie in, so that the joint certainly fits [mm].
    """

    verdict: npt.NDArray[np.int8]
    margin: Floats
    interval: Limits | None = None
    wanted: Limits | None = None


def _bounded(limits: Limits) -> Limits:
    lo = np.clip(np.asarray(limits.lo, dtype=float), -UNBOUNDED_MM, UNBOUNDED_MM)
    hi = np.clip(np.asarray(limits.hi, dtype=float), -UNBOUNDED_MM, UNBOUNDED_MM)
    return Limits(lo, hi)


def _judge(worst: Floats, best: Floats, interval: Limits, wanted: Limits) -> Judgement:
    worst, best = np.broadcast_arrays(worst, best)
    verdict = np.full(worst.shape, Verdict.UNKNOWN, dtype=np.int8)
    verdict[worst >= -EPSILON_MM] = Verdict.FITS
    verdict[best < -EPSILON_MM] = Verdict.FAILS
    margin = np.where(verdict == Verdict.FITS, worst, np.nan)
    margin = np.where(verdict == Verdict.FAILS, best, margin)
    margin = np.where(np.abs(margin) > UNBOUNDED_MM / 10, np.nan, margin)
    return Judgement(verdict, margin, interval, wanted)


def _window(least: float, most: float) -> Limits:
    return Limits(np.asarray(least), np.asarray(most))


def clearance(bore: Limits, spigot: Limits, *, least: float, most: float) -> Judgement:
    """Judge whether the clearance between a bore and a spigot lies in a window.

    Parameters
    ----------
    bore, spigot : Limits
        Diameters in mm.
    least, most : float
        Window of diametral clearance in mm; negative is interference.

    Returns
    -------
    Judgement
        The margin is the distance to the nearer end of the window.

    Notes
    -----
    With clearance :math:`c = B - S`, the margin is
    :math:`\\min(c - c_\\mathrm{least},\\ c_\\mathrm{most} - c)`.

    Examples
    --------
    >>> import numpy as np
    >>> bore, spigot = Limits(np.array([28.65]), np.array([28.75])), Limits(
    ...     np.array([28.5]), np.array([28.6]))
    >>> judged = clearance(bore, spigot, least=0.0, most=0.35)
    >>> int(judged.verdict[0]), round(float(judged.margin[0]), 3)
    (2, 0.05)
    """
    lo, hi = between = _bounded(bore).over(_bounded(spigot))
    middle = np.clip((least + most) / 2, lo, hi)
    worst = np.minimum(lo - least, most - hi)
    best = np.minimum(middle - least, most - middle)
    return _judge(worst, best, between, _window(least, most))


def closes_by_slot(
    bore: Limits,
    spigot: Limits,
    slot: Limits,
    outside: Limits | None = None,
    *,
    least: float,
    reserve: float = 0.0,
) -> Judgement:
    """Judge whether a slotted bore goes over a spigot and can be squeezed onto it.

    Parameters
    ----------
    bore, spigot : Limits
        Diameters in mm.
    slot : Limits
        Width of the slot in mm; zero where there is none.
    outside : Limits, optional
        Diameter in mm of the slotted ring's outside, where its slot's faces meet first.
        Without it the wall counts as thin.
    least : float
        Least diametral clearance with which it still slides on, in mm.
    reserve : float
        Closure that has to be left over to press with, in mm of diameter.

    Returns
    -------
    Judgement
        The margin is the smaller of the clearance above `least` and of the
        closure left after the clearance and the reserve.

    Notes
    -----
    How far a slot closes is told by :func:`fitgraph.mechanics.slots.closes_by_mm`. The two
    halves of the rule are each judged at their own worst and most favourable corner; whether
    both can be favourable at once is judged with the widest closure there is, so that "fails"
    is never said where some sizes fit.
    """
    bore, spigot, slot = _bounded(bore), _bounded(spigot), _bounded(slot)
    lo, hi = between = bore.over(spigot)
    closed = closed_bore(bore, slot, outside, reserve=reserve)
    widest = closes(Limits(bore.hi, bore.lo), slot, outside).hi - reserve
    middle = np.clip((least + widest) / 2, lo, hi)
    left = spigot.over(closed)
    worst = np.minimum(lo - least, left.lo)
    best = np.minimum(middle - least, widest - middle)
    certain = Limits(np.asarray(least), bore.hi - closed.hi)
    return _judge(worst, np.minimum(best, left.hi), between, certain)


def adds_up(total: Limits) -> Judgement:
    """Judge whether a sum over several parts is not negative.

    Parameters
    ----------
    total : Limits
        Least and most that the terms add up to, in mm; plus infinity where it does not bind.

    Returns
    -------
    Judgement
        The margin is the sum itself: what is to spare, or lacking.
    """
    total = Limits(np.asarray(total.lo, dtype=float), np.asarray(total.hi, dtype=float))
    return _judge(*total, total, _window(0.0, np.inf))


def at_least(whole: Limits, part: Limits, *, least: float) -> Judgement:
    """Judge whether one length exceeds another by at least `least` mm.

    Parameters
    ----------
    whole, part : Limits
        Lengths in mm.
    least : float
        In mm.
    """
    over = _bounded(whole).over(_bounded(part))
    return _judge(over.lo - least, over.hi - least, over, _window(least, np.inf))


def _by_code(fits: npt.NDArray[np.bool_], known: npt.NDArray[np.bool_]) -> Judgement:
    verdict = np.where(fits, Verdict.FITS, Verdict.FAILS).astype(np.int8)
    verdict[~known] = Verdict.UNKNOWN
    return Judgement(verdict, np.full(verdict.shape, np.nan))


def equal(one: Codes, other: Codes) -> Judgement:
    """Judge whether two words (threads, patterns, angles) are the same.

    Parameters
    ----------
    one, other : ndarray of int
        Codes of words; :data:`UNKNOWN_WORD` where unknown.
    """
    one, other = np.broadcast_arrays(one, other)
    return _by_code(one == other, (one != UNKNOWN_WORD) & (other != UNKNOWN_WORD))


def key(key: Codes, lock: Codes) -> Judgement:
    """Judge whether a maker-specific part meets its own maker's counterpart.

    A part without the key feature goes with every counterpart: the joint is
    not there then.

    Parameters
    ----------
    key, lock : ndarray of int
        Codes of words; :data:`UNKNOWN_WORD` where unknown.
    """
    return equal(key, lock)


def present(subject: npt.NDArray[np.int8]) -> Judgement:
    """Judge whether what is needed is there.

    Parameters
    ----------
    subject : ndarray of int8
        Values of :class:`fitgraph.model.Presence`.
    """
    verdict = np.asarray(subject, dtype=np.int8)
    return Judgement(verdict.copy(), np.full(verdict.shape, np.nan))


def absent(subject: npt.NDArray[np.int8]) -> Judgement:
    """Judge whether what must not be there is absent.

    Parameters
    ----------
    subject : ndarray of int8
        Values of :class:`fitgraph.model.Presence`.
    """
    return present((2 - np.asarray(subject, dtype=np.int8)).astype(np.int8))


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule and how a vocabulary names its arguments.

    What it says in words and how it is drawn stands beside it in
    :mod:`fitgraph.report.whole_rules`.

    Parameters
    ----------
    judge : callable
        Takes the arguments by name, and the windows, and returns a :class:`Judgement`.
    inverse : callable
        Takes the argument that is made, the others and the windows, and returns a
        :class:`fitgraph.mechanics.windows.Window`: what would certainly fit.
    lengths, words : tuple of str
        Names of the arguments that are measured, and that are compared.
    optional : tuple of str
        Lengths that count as zero where the part lacks the feature; for any
        other argument the joint is not there then.
    may_lack : tuple of str
        Lengths that a vocabulary need not name, and that may be unknown without further ado.
    limits : mapping of str to float or None
        Names of its windows, with their default; None where one is required.
    on_presence : bool
        Whether it judges that something is there, not its size.
    sums : {'', 'rings', 'spans', 'shares'}
        For rules that add up lengths of several parts: what a vocabulary lists instead of
        arguments.
    own : bool
        Whether no vocabulary names it: it follows from other joints.
    """

    name: str
    judge: Callable[..., Judgement]
    inverse: Callable[[str, Mapping[str, Limits], Mapping[str, float]], windows.Window]
    lengths: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()
    may_lack: tuple[str, ...] = ()
    limits: Mapping[str, float | None] | None = None
    on_presence: bool = False
    sums: str = ""
    own: bool = False

    @property
    def arguments(self) -> tuple[str, ...]:
        """Return all argument names."""
        return self.lengths + self.words


#: The closed set of rules, by the name a vocabulary uses.
RULES: Mapping[str, Rule] = {
    rule.name: rule
    for rule in (
        Rule(
            "clearance",
            clearance,
            windows.clearance,
            ("bore", "spigot"),
            limits={"least": None, "most": None},
        ),
        Rule(
            "closes-by-slot",
            closes_by_slot,
            windows.closes_by_slot,
            ("bore", "spigot", "slot", "outside"),
            optional=("slot",),
            may_lack=("outside",),
            limits={"least": None, "reserve": 0.0},
        ),
        Rule("at-least", at_least, windows.at_least, ("whole", "part"), limits={"least": 0.0}),
        Rule("equal", equal, windows.same_word, words=("one", "other")),
        Rule("key", key, windows.same_word, words=("key", "lock")),
        Rule("present", present, windows.there, on_presence=True),
        Rule("absent", absent, windows.gone, on_presence=True),
        Rule("nest", adds_up, windows.made_up_for, limits={"reserve": 0.0}, sums="rings"),
        Rule(
            "stack",
            adds_up,
            windows.made_up_for,
            limits={"least": -UNBOUNDED_MM, "most": UNBOUNDED_MM},
            sums="spans",
        ),
        Rule("one-figure", adds_up, windows.made_up_for, sums="shares", own=True),
    )
}
