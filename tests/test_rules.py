"""The rules against hand-worked numbers and against points sampled inside the limits.

The interval reading is that of ISO 286-1:2010, clause 3 (clearance is the size of the hole
less that of the shaft; the extremes come from opposite limits) and of R. E. Moore, R. B.
Kearfott, M. J. Cloud, "Introduction to Interval Analysis", SIAM 2009, chapter 2 (book checked,
the chapter from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fitgraph.mechanics.rules import (
    EPSILON_MM,
    RULES,
    UNKNOWN_WORD,
    Judgement,
    Limits,
    absent,
    at_least,
    clearance,
    closes_by_slot,
    equal,
    key,
    present,
)
from fitgraph.model import Presence, Verdict

FITS, UNKNOWN, FAILS = Verdict.FITS, Verdict.UNKNOWN, Verdict.FAILS
ANYTHING = (-math.inf, math.inf)


def size(lo: float, hi: float | None = None) -> Limits:
    return Limits(np.array(lo), np.array(lo if hi is None else hi))


def told(judged: Judgement) -> tuple[Verdict, float | None]:
    margin = float(judged.margin)
    return Verdict(int(judged.verdict)), None if math.isnan(margin) else round(margin, 9)


# ---------------------------------------------------------------- by hand


@pytest.mark.parametrize(
    ("bore", "spigot", "expected"),
    [
        # Window 0 to 0.35 mm. Bore 28.65..28.75, spigot 28.5..28.6: 0.05 to 0.25 of clearance,
        # so 0.05 above the lower end and 0.10 below the upper end at the worst.
        ((28.65, 28.75), (28.5, 28.6), (FITS, 0.05)),
        # The same bore on 28.8: 0.15 of interference at the least, 0.05 at the most favourable.
        ((28.65, 28.75), (28.8, 28.8), (FAILS, -0.05)),
        # A bore 3.2 mm larger is 2.85 mm outside the window.
        ((31.8, 31.8), (28.6, 28.6), (FAILS, -2.85)),
        # From -0.05 to 0.15: cannot be told.
        ((28.6, 28.7), (28.55, 28.65), (UNKNOWN, None)),
        # Exactly on both ends of the window.
        ((28.6, 28.6), (28.6, 28.6), (FITS, 0.0)),
        ((28.95, 28.95), (28.6, 28.6), (FITS, 0.0)),
        # Wider than the window at both sides: some pairs fit.
        ((28.0, 30.0), (28.5, 28.5), (UNKNOWN, None)),
        (ANYTHING, (28.6, 28.6), (UNKNOWN, None)),
        (ANYTHING, ANYTHING, (UNKNOWN, None)),
    ],
)
def test_clearance_by_hand(
    bore: tuple[float, float], spigot: tuple[float, float], expected: tuple[Verdict, float | None]
) -> None:
    assert told(clearance(size(*bore), size(*spigot), least=0.0, most=0.35)) == expected


def test_interference_windows_are_negative_clearance() -> None:
    """Rubber on a tube: wanted 0.1 to 2 mm smaller; 21.5 on 22.2 is 0.7 of interference."""
    judged = clearance(size(21.5), size(22.2), least=-2.0, most=-0.1)
    assert told(judged) == (FITS, 0.6)
    assert told(clearance(size(22.2), size(22.2), least=-2.0, most=-0.1)) == (FAILS, -0.1)


@pytest.mark.parametrize(
    ("bore", "spigot", "slot", "expected"),
    [
        # A slot of 3 mm shuts 3/pi = 0.955 mm of diameter; 0.905 after a reserve of 0.05.
        # Clearance 0.1: 0.1 above nothing, 0.805 of closure left, so the margin is 0.1.
        ((28.7, 28.7), (28.6, 28.6), (3.0, 3.0), (FITS, 0.1)),
        # Clearance 0.9: only 0.005 of closure left (3/pi - 0.05 - 0.9 = 0.004930).
        ((29.5, 29.5), (28.6, 28.6), (3.0, 3.0), (FITS, round(3 / math.pi - 0.95, 9))),
        # Clearance 3.2 needs a slot of 3.2 pi = 10 mm: 2.295 mm lacking.
        ((31.8, 31.8), (28.6, 28.6), (3.0, 3.0), (FAILS, round(3 / math.pi - 3.25, 9))),
        # Too small a bore: 3.2 mm lacking, whatever the slot.
        ((28.6, 28.6), (31.8, 31.8), (3.0, 3.0), (FAILS, -3.2)),
        # No slot: nothing shuts, and the reserve of 0.05 cannot be had.
        ((28.7, 28.7), (28.6, 28.6), (0.0, 0.0), (FAILS, -0.15)),
        # Nobody knows the slot: it may fit, but a bore too small fails all the same.
        ((28.7, 28.7), (28.6, 28.6), (0.0, math.inf), (UNKNOWN, None)),
        ((28.0, 28.0), (28.6, 28.6), (0.0, math.inf), (FAILS, -0.6)),
    ],
)
def test_closing_by_a_slot_by_hand(
    bore: tuple[float, float],
    spigot: tuple[float, float],
    slot: tuple[float, float],
    expected: tuple[Verdict, float | None],
) -> None:
    judged = closes_by_slot(size(*bore), size(*spigot), size(*slot), least=0.0, reserve=0.05)
    assert told(judged) == expected


def test_without_a_reserve_an_exact_bore_needs_no_slot() -> None:
    judged = closes_by_slot(size(28.6), size(28.6), size(0.0), least=0.0)
    assert told(judged) == (FITS, 0.0)


def test_a_fully_shut_slot_shortens_the_circumference_by_its_width() -> None:
    """From the definition: pi D less the slot's width is the circumference when it is shut."""
    diameter, width = 31.8, 4.0
    shut = (math.pi * diameter - width) / math.pi
    assert told(closes_by_slot(size(diameter), size(shut), size(width), least=0.0)) == (FITS, 0.0)
    verdict, margin = told(
        closes_by_slot(size(diameter), size(shut - 0.01), size(width), least=0.0)
    )
    assert verdict is FAILS
    assert margin == pytest.approx(-0.01)


@pytest.mark.parametrize(
    ("whole", "part", "least", "expected"),
    [
        ((50, 50), (45, 45), 0.0, (FITS, 5.0)),
        ((45, 45), (50, 50), 0.0, (FAILS, -5.0)),
        ((49, 51), (50, 50), 0.0, (UNKNOWN, None)),
        ((116, 116), (110, 110), 2.0, (FITS, 4.0)),
        ((111, 111), (110, 110), 2.0, (FAILS, -1.0)),
        ((112, 112), (110, 110), 2.0, (FITS, 0.0)),
        (ANYTHING, (45, 45), 0.0, (UNKNOWN, None)),
        ((60, math.inf), (45, 45), 0.0, (FITS, 15.0)),
    ],
)
def test_lengths_by_hand(
    whole: tuple[float, float],
    part: tuple[float, float],
    least: float,
    expected: tuple[Verdict, float | None],
) -> None:
    assert told(at_least(size(*whole), size(*part), least=least)) == expected


@pytest.mark.parametrize("rule", [equal, key])
def test_words(rule: Callable[..., Judgement]) -> None:
    one = np.array([0, 0, UNKNOWN_WORD, 1, UNKNOWN_WORD])
    other = np.array([0, 1, 0, UNKNOWN_WORD, UNKNOWN_WORD])
    judged = rule(one, other)
    assert judged.verdict.tolist() == [FITS, FAILS, UNKNOWN, UNKNOWN, UNKNOWN]
    assert np.isnan(judged.margin).all()


def test_presence_and_its_opposite() -> None:
    states = np.array([Presence.ABSENT, Presence.UNKNOWN, Presence.PRESENT], dtype=np.int8)
    assert present(states).verdict.tolist() == [FAILS, UNKNOWN, FITS]
    assert absent(states).verdict.tolist() == [FITS, UNKNOWN, FAILS]


def test_rules_work_on_whole_tables_at_once() -> None:
    bores = Limits(np.array([[28.7], [31.9]]), np.array([[28.7], [31.9]]))
    spigots = Limits(np.array([[28.6, 31.8, 34.9]]), np.array([[28.6, 31.8, 34.9]]))
    judged = clearance(bores, spigots, least=0.0, most=0.35)
    assert judged.verdict.tolist() == [[FITS, FAILS, FAILS], [FAILS, FITS, FAILS]]
    assert judged.margin.shape == (2, 3)


def test_the_set_of_rules_is_closed_and_names_its_arguments() -> None:
    assert set(RULES) == {
        "clearance",
        "closes-by-slot",
        "at-least",
        "equal",
        "key",
        "present",
        "absent",
        "nest",
        "stack",
        "one-figure",
    }
    for name, rule in RULES.items():
        assert rule.name == name
        assert set(rule.optional) <= set(rule.lengths)
        assert set(rule.may_lack) <= set(rule.lengths)
        assert (rule.on_presence or bool(rule.sums)) == (not rule.arguments)


# ---------------------------------------------------------------- every point inside the limits

FINE = 400  # steps in a millimetre; whole numbers keep the comparison exact enough


@st.composite
def intervals(draw: st.DrawFn, top: int = 12) -> tuple[float, float]:
    """Draw limits in mm, some of them of no width."""
    lo = draw(st.integers(0, top * FINE))
    hi = lo + draw(st.sampled_from([0, 0, 1, 10, 40, 200, 1000]))
    return lo / FINE, hi / FINE


#: Where between its limits each argument is sampled: both ends, the middle and elsewhere.
SHARES = np.array([0.0, 1.0, 0.5, 0.25, 0.9])


def samples(*limits: tuple[float, float]) -> list[np.ndarray]:
    """Return every combination of sampled sizes, one flat array for each argument."""
    axes = [lo + (hi - lo) * SHARES for lo, hi in limits]
    return [a.ravel() for a in np.meshgrid(*axes, indexing="ij")]


def check(judged: Judgement, points: np.ndarray, exact_best: float) -> None:
    """Compare a verdict with what is to spare at sampled points.

    Parameters
    ----------
    points : ndarray
        What is to spare at each point, below zero where the point does not fit.
    exact_best : float
        The most that any point inside the limits can spare.
    """
    verdict, margin = Verdict(int(judged.verdict)), float(judged.margin)
    fit = points >= -2 * EPSILON_MM
    if verdict is FITS:
        assert fit.all()
        assert margin >= -2 * EPSILON_MM
        assert points.min() == pytest.approx(margin, abs=1e-9)  # the ends are among the points
    elif verdict is FAILS:
        assert not fit.any()
        assert margin < 0
        assert points.max() <= margin + 1e-9
        assert exact_best == pytest.approx(margin, abs=1e-9)
    else:
        assert math.isnan(margin)
        assert points.min() < 0
        assert exact_best >= -2 * EPSILON_MM


@given(intervals(), intervals(), st.integers(-400, 400), st.integers(0, 800))
def test_clearance_holds_at_every_point(
    bore: tuple[float, float], spigot: tuple[float, float], least_n: int, width_n: int
) -> None:
    least, most = least_n / FINE, (least_n + width_n) / FINE
    judged = clearance(size(*bore), size(*spigot), least=least, most=most)
    b, s = samples(bore, spigot)
    spare = np.minimum(b - s - least, most - (b - s))
    # The most favourable clearance is the one nearest to the window's middle.
    nearest = min(max((least + most) / 2, bore[0] - spigot[1]), bore[1] - spigot[0])
    check(judged, spare, min(nearest - least, most - nearest))


@given(intervals(), intervals(), intervals(top=9), st.integers(-40, 40), st.integers(0, 80))
def test_closing_by_a_slot_holds_at_every_point(
    bore: tuple[float, float],
    spigot: tuple[float, float],
    slot: tuple[float, float],
    least_n: int,
    reserve_n: int,
) -> None:
    least, reserve = least_n / FINE, reserve_n / FINE
    judged = closes_by_slot(size(*bore), size(*spigot), size(*slot), least=least, reserve=reserve)
    b, s, w = samples(bore, spigot, slot)
    spare = np.minimum(b - s - least, w / math.pi - reserve - (b - s))
    shut = slot[1] / math.pi - reserve
    nearest = min(max((least + shut) / 2, bore[0] - spigot[1]), bore[1] - spigot[0])
    check(judged, spare, min(nearest - least, shut - nearest))


@given(intervals(), intervals(), st.integers(-800, 800))
def test_lengths_hold_at_every_point(
    whole: tuple[float, float], part: tuple[float, float], least_n: int
) -> None:
    least = least_n / FINE
    judged = at_least(size(*whole), size(*part), least=least)
    w, p = samples(whole, part)
    check(judged, w - p - least, whole[1] - part[0] - least)


def narrower(draw: st.DrawFn, limits: tuple[float, float]) -> tuple[float, float]:
    lo, hi = limits
    a, b = sorted((draw(st.floats(0, 1)), draw(st.floats(0, 1))))
    return lo + (hi - lo) * a, lo + (hi - lo) * b


@given(st.data())
def test_knowing_more_never_turns_a_verdict_round(data: st.DataObject) -> None:
    """Inclusion: limits inside limits keep a certain verdict, and only unknown may change."""
    limits = [data.draw(intervals()) for _ in range(3)]
    inner = [data.draw(st.composite(narrower)(pair)) for pair in limits]
    for judged_by in (
        lambda b, s, w: clearance(b, s, least=0.0, most=0.4),
        lambda b, s, w: closes_by_slot(b, s, w, least=0.0, reserve=0.05),
        lambda b, s, w: at_least(b, s, least=0.5),
    ):
        wide = judged_by(*(size(*pair) for pair in limits))
        narrow = judged_by(*(size(*pair) for pair in inner))
        if wide.verdict != UNKNOWN:
            assert narrow.verdict == wide.verdict
        if wide.verdict == FITS:
            assert narrow.margin >= wide.margin - 1e-9
        if wide.verdict == FAILS:
            assert narrow.margin <= wide.margin + 1e-9


@given(intervals(), intervals(), st.integers(1, 400))
def test_what_a_failing_clearance_lacks_is_what_a_new_size_has_to_give(
    bore: tuple[float, float], spigot: tuple[float, float], most_n: int
) -> None:
    """A bore too small by its margin just fits, at the most favourable sizes, when it grows."""
    most = most_n / FINE
    judged = clearance(size(*bore), size(*spigot), least=0.0, most=most)
    assume(judged.verdict == FAILS and bore[1] < spigot[0])
    lacking = -float(judged.margin)
    assert lacking == pytest.approx(spigot[0] - bore[1], abs=1e-9)
    grown = clearance(size(bore[1] + lacking), size(spigot[0]), least=0.0, most=most)
    assert grown.verdict == FITS
