"""Typed lengths, masses and money.

Sources: the inch of 25.4 mm and the pound of 0.453 592 37 kg are exact by the international
yard and pound agreement of 1959 (Federal Register notice of 1 July 1959, "Refinement of
values for the yard and the pound"; also NIST SP 811 appendix B). The ounce is the sixteenth
of that pound.
"""

from __future__ import annotations

import datetime
import re
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fitgraph.units import (
    G_PER_OUNCE,
    G_PER_POUND,
    MM_PER_INCH,
    AmbiguousError,
    UnitError,
    major,
    parse_day,
    parse_length,
    parse_mass,
    parse_money,
    show_length,
    show_mass,
    show_money,
    usual_mass,
    usual_money,
)


def test_inch_pound_and_ounce_are_the_exact_ones_of_1959() -> None:
    assert Decimal("0.9144") * 1000 / 36 == MM_PER_INCH  # the yard is 0.9144 m
    assert Decimal("0.45359237") * 1000 == G_PER_POUND
    assert G_PER_POUND / 16 == G_PER_OUNCE


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("28.6", 28.6),
        ("31,8", 31.8),
        ("31,8 mm", 31.8),
        ("31.8mm", 31.8),
        ("3.49 cm", 34.9),
        ("0.6 m", 600.0),
        ("50 µm", 0.05),
        ("50 um", 0.05),
        # Inch sizes of tubes, by hand from 25.4 mm: 9/8, 5/4, 11/8 of an inch.
        ('1 1/8"', 28.575),
        ("1 1/8 in", 28.575),
        ("1-1/8 inch", 28.575),
        ("1⅛ in", 28.575),
        ('1 1/4"', 31.75),
        ("1 3/8 inches", 34.925),
        ("11/8 in", 34.925),
        ("½ in", 12.7),
        ("3⁄4 in", 19.05),
        ("  28.6  mm ", 28.6),
        ("28.6 MM", 28.6),
        ("+0.1", 0.1),
        ("-0.05 mm", -0.05),
        ("- 1/2 in", -12.7),
        ("0", 0.0),
    ],
)
def test_lengths(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "   ",
        "abc",
        "28.6 parsec",
        "28.6 kg",
        "1/0 in",
        "1 1/8/2 in",
        "1.2.3",
        "1,2,3",
        "nan",
        "inf",
        "-inf mm",
        "1e3",
        "0x10",
        "=1+1",
        "28.6 mm; rm",
        "28.6 mm mm",
        "1 2 3",
        "--1",
        "9" * 100,
    ],
)
def test_what_is_no_length_says_how_to_write_one(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_length(text)
    assert "write it like" in str(caught.value) or "use one of" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "g"),
    [
        ("950", 950.0),
        ("950 g", 950.0),
        ("0.95 kg", 950.0),
        ("0,95 kg", 950.0),
        ("1 lb", 453.59237),
        ("2 lbs", 907.18474),
        ("16 oz", 453.59237),
        ("1/2 lb", 226.796185),
        ("2 1/2 oz", 70.8738078125),
    ],
)
def test_masses(text: str, g: float) -> None:
    assert parse_mass(text) == pytest.approx(g, abs=1e-9)


@pytest.mark.parametrize("text", ["", "heavy", "9 mm", "1 stone", "nan", "inf g", "1/0 kg"])
def test_what_is_no_mass_is_refused(text: str) -> None:
    with pytest.raises(UnitError):
        parse_mass(text)


@pytest.mark.parametrize(
    ("text", "digits", "minor"),
    [
        ("189.90", 2, 18990),
        ("189,90", 2, 18990),
        ("189.9", 2, 18990),
        ("189", 2, 18900),
        ("EUR 189.90", 2, 18990),
        ("189.90 EUR", 2, 18990),
        ("189,90 €", 2, 18990),
        ("$1,234.50", 2, 123450),
        ("1.234,50", 2, 123450),
        ("1 234,50", 2, 123450),
        ("1'234.50", 2, 123450),
        ("1,234,567.89", 2, 123456789),
        ("-5", 2, -500),
        ("1200", 0, 1200),
        ("0.125", 3, 125),
        ("0", 2, 0),
    ],
)
def test_money(text: str, digits: int, minor: int) -> None:
    assert parse_money(text, digits) == minor


@pytest.mark.parametrize(
    ("text", "digits"),
    [
        ("", 2),
        ("free", 2),
        ("1,000", 2),
        ("1e3", 2),
        ("1e9999999", 2),
        ("1.999", 2),
        ("0.5", 0),
        ("nan", 2),
        ("inf", 2),
        ("1.2.3", 2),
        ("=2*3", 2),
        ("1/2", 2),
        ("5 - 3", 2),
        ("9" * 90, 2),
    ],
)
def test_what_is_no_amount_is_refused(text: str, digits: int) -> None:
    with pytest.raises(UnitError):
        parse_money(text, digits)


hundredths = st.integers(-(10**6), 10**6)


@given(hundredths)
def test_shown_lengths_read_back(n: int) -> None:
    mm = n / 100
    assert parse_length(show_length(mm)) == pytest.approx(mm, abs=1e-9)


@given(st.integers(0, 10**7))
def test_shown_masses_read_back(g: int) -> None:
    assert parse_mass(show_mass(g).replace(",", "")) == g


@given(st.integers(-(10**9), 10**9), st.integers(0, 3))
def test_shown_amounts_read_back(minor: int, digits: int) -> None:
    plain = show_money(minor, "EUR", digits).replace(",", "")
    assert parse_money(plain, digits) == minor
    assert parse_money(repr(major(minor, digits)), max(digits, 1)) == minor * (1 if digits else 10)


@given(st.integers(0, 10**9))
def test_amounts_with_marked_thousands_read_back(minor: int) -> None:
    shown = show_money(minor, "EUR", 2)
    continental = shown.translate(str.maketrans(",.", ".,"))
    assert parse_money(shown, 2) == parse_money(continental, 2) == minor


@given(st.integers(0, 99), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_fractions_of_an_inch_are_exact(whole: int, top: int, bottom: int) -> None:
    exact = (whole + Fraction(top, bottom)) * Fraction(254, 10)
    assume(whole == 0 or top < bottom)  # 5 63/2 in is a slip
    if whole == 0:
        assert parse_length(f"{top}/{bottom} in") == float(exact)
        return
    for text in (f'{whole} {top}/{bottom}"', f"{whole}-{top}/{bottom} in"):
        assert parse_length(text) == float(exact)
    assert parse_length(f"-{whole} {top}/{bottom} in") == -float(exact)


@given(
    st.one_of(st.decimals(0, 9999, places=places) for places in (1, 2, 3, 4)),
    st.sampled_from(["mm", "cm", "in", "um"]),
)
def test_point_and_comma_mean_the_same_or_are_refused(size: Decimal, unit: str) -> None:
    exact = pytest.approx(float(size) * {"mm": 1, "cm": 10, "in": 25.4, "um": 0.001}[unit])
    for text in (f"{size} {unit}", f"{size} {unit}".replace(".", ",")):
        try:
            assert parse_length(text) == exact
        except AmbiguousError as error:
            assert re.match(r"[1-9][0-9]{0,2}[.,][0-9]{3} ", text), text
            assert [parse_length(reading) for reading in error.readings][1] == exact
        if exact != 0:
            near = (float(size) * 0.9, float(size) * 1.1) if unit == "mm" else None
            assert near is None or parse_length(text, near) == exact


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_but_nothing_else(text: str) -> None:
    for read in (parse_length, parse_mass, lambda t: parse_money(t, 2)):
        try:
            value = read(text)
        except UnitError:
            continue
        assert value == value and abs(value) != float("inf")


def test_an_abbreviated_unit_may_end_with_a_point() -> None:
    assert parse_length("1.25 in.") == 31.75


@given(st.one_of(st.from_regex(r"[0-9]{1,11}\.[0-9]{1,3}( g)?", fullmatch=True), st.text()))
def test_the_usual_writing_means_what_the_careful_reading_says(text: str) -> None:
    amount, mass = usual_money(text, 2), usual_mass(text)
    assert amount is None or amount == parse_money(text, 2, "EUR")
    assert mass is None or mass == parse_mass(text)
    assert usual_money("12.50", 0) is None
    assert (usual_money("12.50", 2), usual_mass("950.5 g")) == (1250, 950.5)


@given(day=st.dates(datetime.date(1900, 1, 1)), time=st.times(), hours=st.integers(-12, 14))
def test_a_day_reads_as_it_is_written_whatever_time_and_zone_stand_behind(
    day: datetime.date, time: datetime.time, hours: int
) -> None:
    zone = datetime.timezone(datetime.timedelta(hours=hours))
    moment = datetime.datetime.combine(day, time, zone)
    for text in (
        *(day.isoformat(), moment.isoformat(), moment.isoformat(" ", "minutes")),
        *(f"{day.day}.{day.month}.{day.year}", f" {day.day:02}. {day.month:02}. {day.year} "),
    ):
        assert parse_day(text) == day


@pytest.mark.parametrize(
    "text",
    ["4/9/2026", "2026-02-30", "31.2.2026", "31.3.26", "today", "", "2026-04", "1.3", "x" * 99],
)
def test_what_is_no_day_or_can_be_two_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match="write it like 2026-03-31"):
        parse_day(text)
