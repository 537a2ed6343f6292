"""What people really type for sizes, masses, prices and counts: read as meant, or refused.

Every text here either has one meaning, and that one is read, or it is refused with a message
that says how to write it. Nothing is read as something else. Sizes in inches are worked out by
hand from 25.4 mm, masses from 453.59237 g (sources in test_units.py).
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitgraph.catalogue.figures import parse_figure
from fitgraph.model import Basis
from fitgraph.units import (
    AmbiguousError,
    UnitError,
    parse_count,
    parse_length,
    parse_mass,
    parse_money,
    parse_number,
)

REFUSED = None

FIGURES: dict[str, tuple[float, float] | None] = {
    # One size: its basis gives 0.05 mm to either side here.
    "28.6": (28.55, 28.65),
    "28,6": (28.55, 28.65),
    "28.6 mm": (28.55, 28.65),
    "28.6mm": (28.55, 28.65),
    "28.6 MM": (28.55, 28.65),
    "28.6 Millimeter": (28.55, 28.65),
    "28,6 millimetres": (28.55, 28.65),
    "28.60": (28.55, 28.65),
    "28.600": (28.55, 28.65),
    "41.275": (41.225, 41.325),
    "2.86 cm": (28.55, 28.65),
    "0.6 m": (599.95, 600.05),
    ".5": (0.45, 0.55),
    ",5 mm": (0.45, 0.55),
    "0.125": (0.075, 0.175),
    "0,125": (0.075, 0.175),
    "1000": (999.95, 1000.05),
    "1250 mm": (1249.95, 1250.05),
    "1\u00a0250 mm": (1249.95, 1250.05),
    "1.234,5 mm": (1234.45, 1234.55),
    "1,234.5 mm": (1234.45, 1234.55),
    "28.6\u00a0mm": (28.55, 28.65),
    "28.6\u202fmm": (28.55, 28.65),
    "２８．６": (28.55, 28.65),
    "ø34.9": (34.85, 34.95),
    "Ø 34.9 mm": (34.85, 34.95),
    "⌀34.9": (34.85, 34.95),
    "∅ 34,9": (34.85, 34.95),
    "34.9 ø": (34.85, 34.95),
    "dia 34.9": (34.85, 34.95),
    "dia. 34.9 mm": (34.85, 34.95),
    "34.9 mm dia": (34.85, 34.95),
    "diameter 34.9": (34.85, 34.95),
    "5½ mm": (5.45, 5.55),
    "5 1/2 mm": (5.45, 5.55),
    "500 µm": (0.45, 0.55),
    "500 μm": (0.45, 0.55),  # the Greek letter
    "500 um": (0.45, 0.55),
    '1 1/8"': (28.525, 28.625),
    "1 1/8″": (28.525, 28.625),
    "1 1/8”": (28.525, 28.625),
    "1 1/8''": (28.525, 28.625),
    "1⅛ in": (28.525, 28.625),
    '1⅛"': (28.525, 28.625),
    "1-1/8 in": (28.525, 28.625),
    "1-1/8”": (28.525, 28.625),
    "1 1⁄8 in": (28.525, 28.625),
    "9/8 in": (28.525, 28.625),
    "1.125 in": (28.525, 28.625),
    "1,125 Zoll": REFUSED,
    "1.125 Zoll": (28.525, 28.625),
    "1.25in": (31.7, 31.8),
    "1.250 in": (31.7, 31.8),
    "1.25 in.": (31.7, 31.8),
    "1/2 mm": (0.45, 0.55),
    # With limits.
    "28.6 ±0.05": (28.55, 28.65),
    "28.6±.05": (28.55, 28.65),
    "28,6 ±0,05 mm": (28.55, 28.65),
    "28.6 mm ±0.05": (28.55, 28.65),
    "28.6 +/-0.05": (28.55, 28.65),
    "28.6 +-0.05": (28.55, 28.65),
    "28.6 (±0.1)": (28.5, 28.7),
    "28.6 ( ±0.1 )": (28.5, 28.7),
    "28.6 mm ±50 µm": (28.55, 28.65),
    "28.6 ＋/－ 0.05": (28.55, 28.65),
    "28.6 +0.1/-0.05": (28.55, 28.7),
    "28.6 +0.1 -0.05": (28.55, 28.7),
    "28.6 +0.1 / -0.05 mm": (28.55, 28.7),
    "28.6 (+0.1/-0.05)": (28.55, 28.7),
    "28.6 −0.05/+0.1": (28.55, 28.7),
    "28.6-0.05/+0": (28.55, 28.6),
    "31,8 +0,1/-0": (31.8, 31.9),
    "31,8 +0,1/0": (31.8, 31.9),
    "28.6 0/-0.1": (28.5, 28.6),
    "28.6 +0.1mm/-0.05mm": (28.55, 28.7),
    "28.6 +0.2/+0.1": (28.7, 28.8),
    "28.6 -0.1/-0.2": (28.4, 28.5),
    "28.5..28.7": (28.5, 28.7),
    "28.5...28.7": (28.5, 28.7),
    "28.5…28.7": (28.5, 28.7),
    "28.5–28.7 mm": (28.5, 28.7),
    "28.5 to 28.7": (28.5, 28.7),
    "28.5 to 29": (28.5, 29),
    "28 TO 29": (28, 29),
    "28000..28000 µm": (28, 28),
    "28.5 mm..28.7": (28.5, 28.7),
    "1.250..1.252 in": (31.75, 31.8008),
    "1 1/8 in..1 1/4 in": (28.575, 31.75),
    "1.125 in ±0.002 in": (28.5242, 28.6258),
    '1.125" +.002"/-.001"': (28.5496, 28.6258),
    # ISO 286-1:2010, table 1 (IT9 over 18 up to 30: 0.052; over 30 up to 50: 0.062) and
    # table 2 (deviations of h and H are zero).
    "28.6 h9": (28.548, 28.6),
    "28.6h9": (28.548, 28.6),
    "28.6 H9": (28.6, 28.652),
    "28.6 mm h9": (28.548, 28.6),
    "28.6 h 9": (28.548, 28.6),
    "ø34.9 h9": (34.838, 34.9),
    "ø 34,9 H9": (34.9, 34.962),
    # Two meanings, or none.
    "1 1/8": REFUSED,
    "1-1/8": REFUSED,
    "1⅛": REFUSED,
    "14/23": REFUSED,
    "14/23 mm": REFUSED,
    "14/23 in": REFUSED,
    "31.8/34.9": REFUSED,
    "110/24": REFUSED,
    "1e2": REFUSED,
    "28.6e8": REFUSED,
    "1E2": REFUSED,
    "1,250": REFUSED,
    "1.250": REFUSED,
    "1,250 mm": REFUSED,
    "12,500": REFUSED,
    "9.525": REFUSED,
    "1,250 in": REFUSED,
    "-5": REFUSED,
    "−5": REFUSED,
    "-5 mm": REFUSED,
    "-5..5": REFUSED,
    "1.125 in ±0.002": REFUSED,
    "1.125 ±0.002 in": REFUSED,
    '1 1/8" ±0.05': REFUSED,
    '1 1/8" +0.1/-0': REFUSED,
    "1.125 in +0.002/-0.001": REFUSED,
    "1 in to 25.5": REFUSED,
    "28.6 ±50 µm": REFUSED,
    "8x10": REFUSED,
    "8 x 10": REFUSED,
    "8 × 10": REFUSED,
    "110x24": REFUSED,
    "5m6": REFUSED,
    "5 m 6": REFUSED,
    "8.10..8.1": REFUSED,
    "8.10..8": REFUSED,
    "8.10..": REFUSED,
    "8.": REFUSED,
    "28.7..28.5": REFUSED,
    "28.5-28.7": REFUSED,
    "28.5 - 28.7": REFUSED,
    "34,9 -0,1": REFUSED,
    "28.6 ±": REFUSED,
    "28.6 ±0.1/0.2": REFUSED,
    "1'2\"": REFUSED,
    "1'": REFUSED,
    "1 2 3": REFUSED,
    "25 400": REFUSED,
    "1_000": REFUSED,
    "about 28": REFUSED,
    "~28": REFUSED,
    "<28": REFUSED,
    "max 28": REFUSED,
    "28.6 or 28.7": REFUSED,
    "28.6, 28.7": REFUSED,
    "28.6 28.7": REFUSED,
    "M8": REFUSED,
    "45°": REFUSED,
    "28.6 kg": REFUSED,
    "٢٨": REFUSED,
    "²8": REFUSED,
    "28²": REFUSED,
    "1.2.3": REFUSED,
    "1,2,3": REFUSED,
    "1.250.5": REFUSED,
    "nan": REFUSED,
    "inf": REFUSED,
    "0x10": REFUSED,
    "=28+0.6": REFUSED,
    "28.6 Q99": REFUSED,
    "8.6.2026": REFUSED,
    "2026-06-08": REFUSED,
    "8. Jun": REFUSED,
}

MASSES: dict[str, float | None] = {
    "950": 950,
    "950 g": 950,
    "950g": 950,
    "950 gr": 950,
    "950 grams": 950,
    "950,5 g": 950.5,
    "0.95 kg": 950,
    "0,95 kg": 950,
    ".95kg": 950,
    "1.2 kgs": 1200,
    "1.200 kg": 1200,
    "1,200 kg": 1200,
    "1.25 kilos": 1250,
    "1 200 g": 1200,
    "1\u00a0200 g": 1200,
    "1\u202f200 g": 1200,
    "1'200 g": 1200,
    "1’200 g": 1200,
    "1,234.5 g": 1234.5,
    "1.234,5 g": 1234.5,
    "1,234,567 g": 1234567,
    "１２００ g": 1200,
    "2 lb": 907.18474,
    "2lbs": 907.18474,
    "12 oz": 340.194277,
    "2 lb 3 oz": 992.233309375,
    "2lb 3oz": 992.233309375,
    "2 lbs, 3.5 oz": 1006.4080709375,
    "2 pounds 3 ounces": 992.233309375,
    "1 kg 250 g": 1250,
    "1/2 lb": 226.796185,
    "1½ lb": 680.388555,
    "1,200 g": REFUSED,
    "1.200 g": REFUSED,
    "1,200": REFUSED,
    "1.200": REFUSED,
    "12,500 g": REFUSED,
    "2,250 oz": REFUSED,
    "1/2": REFUSED,
    "2 lb 20 oz": REFUSED,
    "2 lb 3": REFUSED,
    "950 g each": REFUSED,
    "ca. 950 g": REFUSED,
    "950-970 g": REFUSED,
    "1e3": REFUSED,
    "1_200": REFUSED,
    "950 mm": REFUSED,
    "950 g/m": REFUSED,
    "1.2.3": REFUSED,
    "heavy": REFUSED,
}

#: By currency and its decimal digits.
MONEY: dict[tuple[str, int], dict[str, int | None]] = {
    ("EUR", 2): {
        "189.90": 18990,
        "189,90": 18990,
        "189.9": 18990,
        "189": 18900,
        "189.9000": 18990,
        "€189.90": 18990,
        "€ 189,90": 18990,
        "189,90 €": 18990,
        "189,90\u00a0€": 18990,
        "EUR 189.90": 18990,
        "189.90 eur": 18990,
        "189.90EUR": 18990,
        "189,90 Euro": 18990,
        "1.234,56 €": 123456,
        "1,234.56": 123456,
        "1 234,56 €": 123456,
        "1\u202f234,56 €": 123456,
        "1'234.56": 123456,
        "1,234,567": 123456700,
        "1 234": 123400,
        ".99": 99,
        ",99": 99,
        "39,-": 3900,
        "39.- €": 3900,
        "39,–": 3900,
        "39.--": 3900,
        "50 ct": 50,
        "50ct": 50,
        "50 cents": 50,
        "-5": -500,
        "−5,00": -500,
        "- 5.00 €": -500,
        "€-5": -500,
        "１２，５０": 1250,
        "£7.00": REFUSED,
        "7.00 GBP": REFUSED,
        "$7.00": REFUSED,
        "99p": REFUSED,
        "7 CHF": REFUSED,
        "1k": REFUSED,
        "1.5k": REFUSED,
        "ab12": REFUSED,
        "ab 12": REFUSED,
        "from 12": REFUSED,
        "12 each": REFUSED,
        "7.00 per pair": REFUSED,
        "7.00/pair": REFUSED,
        "12 / 15": REFUSED,
        "12-15": REFUSED,
        "(6.50)": REFUSED,
        "7.00-": REFUSED,
        "7.00 -": REFUSED,
        "50%": REFUSED,
        "50 %": REFUSED,
        "1,000": REFUSED,
        "1.000": REFUSED,
        "1.999": REFUSED,
        "1.9999": REFUSED,
        "1e3": REFUSED,
        "1_000": REFUSED,
        "0.5 ct": REFUSED,
        "free": REFUSED,
        "n/a": REFUSED,
        "#REF!": REFUSED,
        "=2*3": REFUSED,
        "12.06.2026": REFUSED,
        "6 50": REFUSED,
        "1,23,456": REFUSED,
        "": REFUSED,
    },
    ("GBP", 2): {
        "£39.99": 3999,
        "39.99 GBP": 3999,
        "99p": 99,
        "99 pence": 99,
        "£0.99p": REFUSED,
        "€39.99": REFUSED,
        "50 ct": REFUSED,
    },
    ("JPY", 0): {
        "¥1,200": 1200,
        "1,200": 1200,
        "1200円": 1200,
        "1200.0": 1200,
        "1200.5": REFUSED,
        "$12": REFUSED,
    },
    ("KWD", 3): {"1.250": 1250, "1.25 KWD": 1250, "1,250": REFUSED, "12.5": 12500},
    ("CHF", 2): {"Fr. 39.90": 3990, "CHF 1'234.50": 123450, "39.-": 3900, "50 Rp.": 50},
    ("USD", 2): {"$1,234.50": 123450, "US$ 5": 500, "99¢": 99, "CAD 5": REFUSED},
}

COUNTS: dict[str, int | None] = {
    "0": 0,
    "12": 12,
    "12.0": 12,
    "12,00": 12,
    "1\u00a0200": 1200,
    "１２": 12,
    "1,000": REFUSED,
    "1.000": REFUSED,
    "1_000": REFUSED,
    "1e3": REFUSED,
    "1e308": REFUSED,
    "-3": REFUSED,
    "−3": REFUSED,
    "+3": REFUSED,
    "1.5": REFUSED,
    "9" * 30: REFUSED,
    "9999999999": REFUSED,
    "٣": REFUSED,
    "²": REFUSED,
    "twelve": REFUSED,
    "12 pcs": REFUSED,
    "": REFUSED,
}


def told(caught: pytest.ExceptionInfo[UnitError]) -> None:
    """Check that a refusal says how to write it."""
    text = str(caught.value)
    assert re.search(r"write|use one of|look it up", text), text
    assert text.isprintable()


@pytest.mark.parametrize(("text", "limits"), FIGURES.items())
def test_figures(text: str, limits: tuple[float, float] | None) -> None:
    if limits is None:
        with pytest.raises(UnitError) as caught:
            parse_figure(text, Basis.MAKER, 0.05)
        told(caught)
        return
    figure = parse_figure(text, Basis.MAKER, 0.05)
    assert (figure.lo, figure.hi) == (
        pytest.approx(limits[0], abs=1e-9),
        pytest.approx(limits[1], abs=1e-9),
    )
    assert figure.text == text.strip()


@pytest.mark.parametrize(("text", "grams"), MASSES.items())
def test_masses(text: str, grams: float | None) -> None:
    if grams is None:
        with pytest.raises(UnitError) as caught:
            parse_mass(text)
        told(caught)
    else:
        assert parse_mass(text) == pytest.approx(grams, abs=1e-6)


@pytest.mark.parametrize(
    ("currency", "digits", "text", "minor"),
    [(*key, text, minor) for key, of in MONEY.items() for text, minor in of.items()],
)
def test_money(currency: str, digits: int, text: str, minor: int | None) -> None:
    if minor is None:
        with pytest.raises(UnitError) as caught:
            parse_money(text, digits, currency)
        told(caught)
    else:
        assert parse_money(text, digits, currency) == minor


@pytest.mark.parametrize(("text", "pieces"), COUNTS.items())
def test_counts(text: str, pieces: int | None) -> None:
    if pieces is None:
        with pytest.raises(UnitError) as caught:
            parse_count(text)
        told(caught)
    else:
        assert parse_count(text) == pieces


def test_what_can_mean_two_things_names_both_and_each_is_read() -> None:
    for text, readings in (
        ("1,250", (1250.0, 1.25)),
        ("9.525", (9525.0, 9.525)),
        ("1 1/8", (28.575, 1.125)),
    ):
        with pytest.raises(AmbiguousError) as caught:
            parse_length(text)
        assert tuple(parse_length(reading) for reading in caught.value.readings) == readings
    with pytest.raises(AmbiguousError, match=r"1200 g or 1\.2 g") as caught:
        parse_mass("1.200 g")
    assert [parse_mass(reading) for reading in caught.value.readings] == [1200, 1.2]


def test_what_a_dimension_can_be_decides_between_two_readings() -> None:
    assert parse_figure("9,525", Basis.MAKER, 0.0, (4, 20)).lo == 9.525
    assert parse_figure("1.250", Basis.MAKER, 0.0, (300, 2000)).lo == 1250
    with pytest.raises(AmbiguousError):
        parse_figure("1.250", Basis.MAKER, 0.0, (0, 2000))
    with pytest.raises(AmbiguousError):
        parse_figure("1.250", Basis.MAKER, 0.0, (20, 30))
    assert parse_figure("-5", Basis.MAKER, 0.0, (-10, 10)).lo == -5


pieces = st.lists(
    st.sampled_from(
        [
            *"0123456789",
            *".,'/ -+±−–",
            "\xa0",
            "⅛",
            "mm",
            "in",
            '"',
            "g",
            "kg",
            "lb",
            "oz",
            "€",
            "£",
            "EUR",
            "ct",
            "p",
            "k",
            "ø",
            "h9",
            "H7",
            "..",
            " to ",
            "e",
            "x",
            "(",
            ")",
        ]
    ),
    max_size=9,
).map("".join)


@given(st.one_of(pieces, st.text(max_size=90)))
def test_anything_typed_is_read_or_refused_with_a_remedy(text: str) -> None:
    for read in (
        lambda t: parse_figure(t, Basis.NOMINAL, 0.1).known and 0.0,
        parse_length,
        parse_mass,
        lambda t: parse_money(t, 2, "EUR"),
        parse_number,
        parse_count,
    ):
        try:
            value = read(text)
        except UnitError as error:
            assert re.search(r"write|use one of|look it up|ISO 286|cannot be used", str(error))
            continue
        assert value == value and abs(value) < 1e90


@given(st.integers(1, 999), st.integers(0, 999), st.sampled_from(".,"))
def test_one_mark_before_three_digits_is_never_read_as_grams(n: int, m: int, mark: str) -> None:
    with pytest.raises(AmbiguousError):
        parse_mass(f"{min(n, 99)}{mark}{m:03} g")
    with pytest.raises(AmbiguousError):
        parse_money(f"{n}{mark}{m:03}", 2, "EUR")
    with pytest.raises(AmbiguousError):
        parse_count(f"{n}{mark}{m:03}")


@given(st.decimals(0, 99_999, places=2), st.sampled_from(["EUR", "GBP"]))
def test_amounts_in_every_usual_dress_mean_the_same(amount: object, currency: str) -> None:
    plain = f"{amount}"
    minor = int(plain.replace(".", ""))
    whole, part = plain.split(".")
    grouped = f"{int(whole):,}"
    for text in (
        f"{plain} {currency}",
        f"{whole},{part}",
        f"{grouped}.{part}",
        f"{grouped.replace(',', '.')},{part}",
        f"{grouped.replace(',', ' ')},{part} {currency}",
        f"{grouped.replace(',', chr(0x202F))},{part}",
        f"{grouped.replace(',', chr(39))}.{part}",
    ):
        assert parse_money(text, 2, currency) == minor
