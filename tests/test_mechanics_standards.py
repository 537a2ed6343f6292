"""Standard sizes against another library's tables and against the rules behind them."""

from __future__ import annotations

import csv
from fractions import Fraction
from importlib import metadata
from importlib.resources import files

import numpy as np
import pytest

from fitgraph.mechanics import standards
from fitgraph.mechanics.cautions import CAUTIONS, caution
from fitgraph.mechanics.published import rows

_BEARING_TABLES = (
    "single_row_deep_groove_ball_bearing_parameters.csv",
    "single_row_capped_deep_groove_ball_bearing_parameters.csv",
)


def _other(name: str) -> list[dict[str, str]]:
    """Return a table of the library bd-warehouse.

    It is read as a file: importing the library takes a CAD kernel of several
    hundred megabytes, so the tests install it with ``pip install --no-deps``.
    """
    found = next(f for f in metadata.files("bd-warehouse") or () if f.name == name)
    return list(csv.DictReader(found.read_text().splitlines()))


def _other_bearings() -> dict[str, set[tuple[float, ...]]]:
    """Return bore, outside and width in mm by designation, as the trade writes it."""
    sizes: dict[str, set[tuple[float, ...]]] = {}
    for table in _BEARING_TABLES:
        for row in _other(table):
            for column in (c for c in row if c.endswith("Designation") and row[c]):
                maker = column.removesuffix("Designation")
                name = row[column].split("-")[0].removeprefix("* ").removeprefix("E2.")
                if len(name) == 5 and name[:3] in ("618", "619"):
                    name = f"6{name[2:]}"  # it writes 618xx for the series 68xx
                size = tuple(float(row[f"{maker}{d}"]) for d in "dDB")
                sizes.setdefault(name, set()).add(size)
    return sizes


def test_bearings_agree_with_another_library() -> None:
    """bd-warehouse (Apache-2.0), its tables of deep groove ball bearings."""
    others = _other_bearings()
    both = [b for b in standards.BEARINGS.values() if b.name in others]
    assert {"608", "6900"} <= {b.name for b in both}
    assert len(both) >= 12
    for b in both:
        assert (b.bore_mm, b.outside_mm, b.width_mm) in others[b.name], b.name


def test_bearing_names_carry_their_bore() -> None:
    """ISO 15 bore codes: 00 10 mm, 01 12, 02 15, 03 17, from 04 five times the code."""
    codes = {"00": 10, "01": 12, "02": 15, "03": 17}
    named = [b for b in standards.BEARINGS.values() if len(b.name) == 4]
    assert len(named) > 20
    for b in named:
        assert b.bore_mm == codes.get(b.name[2:], 5 * int(b.name[2:]))


def test_heavier_bearing_series_are_larger_on_the_same_bore() -> None:
    """ISO 15 diameter series: 8, 9, 0, 2 in growing outside diameter."""
    for code in ("00", "01", "02", "03"):
        outside = [standards.bearing(f"6{series}{code}").outside_mm for series in "8902"]
        assert outside == sorted(set(outside))


def test_threads_agree_with_another_library() -> None:
    """bd-warehouse (Apache-2.0), its table of ISO 4762 screws."""
    others = {row["Size"] for row in _other("socket_head_cap_parameters.csv")}
    ours = {f"{s.thread}-{s.pitch_mm:g}" for s in standards.SCREWS.values()}
    assert len(ours) >= 9
    assert ours <= others


def test_stress_areas_follow_the_formula_of_the_standard() -> None:
    """ISO 898-1: pi/4 ((d2 + d3)/2)^2 = pi/4 (d - 0.9382 P)^2, rounded to three figures."""
    for s in standards.SCREWS.values():
        area = np.pi / 4 * (s.diameter_mm - 0.9382 * s.pitch_mm) ** 2
        assert s.stress_area_mm2 == pytest.approx(area, rel=4e-3), s.thread


# ISO 898-1 as The Engineering ToolBox lists it (engineeringtoolbox.com,
# metric-bolts-minimum-ultimate-tensile-proof-loads-d_2026.html, seen on 2026-11-29): pitch in mm
# and nominal stress area in mm2.
STRESS_AREAS = {
    "M3": (0.5, 5.03),
    "M4": (0.7, 8.78),
    "M5": (0.8, 14.2),
    "M6": (1.0, 20.1),
    "M8": (1.25, 36.6),
    "M10": (1.5, 58.0),
    "M12": (1.75, 84.3),
    "M14": (2.0, 115.0),
    "M16": (2.0, 157.0),
}


def test_stress_areas_are_those_of_a_published_table() -> None:
    ours = {s.thread: (s.pitch_mm, s.stress_area_mm2) for s in standards.SCREWS.values()}
    assert ours == STRESS_AREAS


def test_proof_stress_stays_below_yield_of_the_class() -> None:
    """ISO 898-1: a class a.b yields at a * b * 10 MPa; proof stress is 0.88 to 0.95 of it."""
    for c in standards.PROPERTY_CLASSES.values():
        first, second = c.name.split(".")
        nominal_yield = int(first) * int(second) * 10
        assert 0.87 <= c.proof_stress_mpa / nominal_yield <= 0.975, c.name
        assert c.tensile_mpa >= int(first) * 100


def test_inch_sizes_are_exact_and_near_their_trade_names() -> None:
    """International inch of 1959: 25.4 mm exactly."""
    for row in rows("inch_tubes"):
        tube = standards.INCH_TUBES[row["name"]]
        assert tube.exact_mm == pytest.approx(float(Fraction(row["inches"])) * 25.4, abs=1e-12)
        assert tube.trade_mm == pytest.approx(tube.exact_mm, abs=0.051)


def test_head_tube_codes_carry_their_bore() -> None:
    """Standardized Headset Identification System: the number is the bore's whole millimetres."""
    for tube in standards.HEAD_TUBES.values():
        assert abs(tube.bore_mm - int(tube.code[2:])) < 1, tube.code
        kind = {"EC": "external", "ZS": "semi-integrated", "IS": "integrated"}[tube.code[:2]]
        assert tube.cup == kind
    assert standards.head_tube("zs44").bore_mm == standards.head_tube("EC44").bore_mm


@pytest.mark.parametrize(
    ("mass", "classes"),
    [(15, ""), (20, ""), (30, "B"), (42, "AB"), (75, "A"), (100, "A"), (101, "")],
)
def test_rider_classes_by_mass(mass: float, classes: str) -> None:
    """EN 14619:2019, scope: over 20 kg, less than 100 kg; classes from memory, see the table."""
    assert "".join(c.name for c in standards.rider_classes(mass)) == classes


def test_every_row_of_every_table_names_its_source() -> None:
    tables = files("fitgraph.mechanics") / "tables"
    names = [t.name[:-4] for t in tables.iterdir() if t.name.endswith(".csv")]
    assert len(names) >= 8
    for name in names:
        assert rows(name), name
        assert all(row["source"].strip() for row in rows(name)), name


def test_unknown_names_are_answered_with_the_known_ones() -> None:
    with pytest.raises(KeyError, match="608"):
        standards.bearing("609X")
    with pytest.raises(KeyError, match="EC34"):
        standards.head_tube("XX99")


@pytest.mark.parametrize("topic", ["cutting", "torque", "strength", "press"])
def test_cautions_defer_to_the_maker(topic: str) -> None:
    assert "maker's" in caution(topic)


def test_an_unknown_caution_names_the_topics() -> None:
    with pytest.raises(KeyError, match=", ".join(CAUTIONS)):
        caution("glue")
