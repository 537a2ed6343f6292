"""Interference fits against worked examples and against the thick-cylinder displacements."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitgraph.mechanics import press_fits as pf
from fitgraph.mechanics.limits_and_fits import limits, worst_clearances_mm

PSI = 6.894757e-3  # MPa

# Solutions to Shigley's Mechanical Engineering Design, 8th ed., problems 3-64 and 3-66: 40 mm
# shaft in an 80 mm hub, steel, E 207 GPa; diametral interference in mm, pressure in MPa.
SHIGLEY_40_MM = [(0.059, 114.5), (0.018, 34.9), (0.076, 147.5), (0.035, 67.9)]


@pytest.mark.parametrize(("interference", "pressure"), SHIGLEY_40_MM)
def test_pressure_is_the_handbook_solution(interference: float, pressure: float) -> None:
    ours = pf.interference_pressure_mpa(interference, 40.0, 80.0, 207.0, 207.0)
    assert ours == pytest.approx(pressure, rel=2e-3)


def test_stress_is_the_handbook_solution() -> None:
    """Solution to Shigley, 8th ed., problem 3-68: 22 500 psi, 37 500 psi in the hub."""
    inch = 25.4
    pressure = pf.interference_pressure_mpa(
        0.002 * inch, 1.0 * inch, 2.0 * inch, 30e6 * PSI / 1e3, 30e6 * PSI / 1e3, 0.0, 0.292, 0.292
    )
    assert pressure / PSI == pytest.approx(22_500, rel=1e-3)
    assert pf.hub_stress_mpa(pressure, 1.0, 2.0) / PSI == pytest.approx(37_500, rel=1e-3)
    assert pf.shaft_stress_mpa(pressure, 1.0) / PSI == pytest.approx(-22_500, rel=1e-3)


def test_slip_torque_is_a_published_example() -> None:
    """novasolver.jp, shrink fit: 100 mm in 150 mm, 0.1 mm, E 210 GPa, 50 mm long, mu 0.15."""
    pressure = pf.interference_pressure_mpa(0.1, 100.0, 150.0, 210.0, 210.0)
    assert pressure == pytest.approx(58.3, abs=0.05)
    assert pf.hub_stress_mpa(pressure, 100.0, 150.0) == pytest.approx(151.7, abs=0.1)
    torque = pf.slip_torque_nm(pressure, 100.0, 50.0, (0.15, 0.15))
    assert torque == pytest.approx((6870, 6870), rel=1e-3)


@given(
    interference=st.floats(0.001, 0.1),
    inner=st.floats(0, 25),
    outer=st.floats(35, 80),
    hub=st.floats(60, 210),
    shaft=st.floats(60, 210),
)
def test_both_parts_give_way_by_the_interference(
    interference: float, inner: float, outer: float, hub: float, shaft: float
) -> None:
    """Roark's Formulas, 7th ed., table 13.5, cases 1a and 1c: radial displacement at the fit."""
    fit, poisson = 30.0, 0.3
    p = pf.interference_pressure_mpa(interference, fit, outer, hub, shaft, inner)
    a, b, c = inner / 2, fit / 2, outer / 2
    out = p * b / (hub * 1e3) * ((c**2 + b**2) / (c**2 - b**2) + poisson)
    inward = p * b / (shaft * 1e3) * ((b**2 + a**2) / (b**2 - a**2) - poisson)
    assert 2 * (out + inward) == pytest.approx(interference, rel=1e-9)


@given(interference=st.floats(0, 0.1), more=st.floats(0.001, 0.1))
def test_more_interference_takes_more_force(interference: float, more: float) -> None:
    forces = [
        pf.pressing_force_n(pf.interference_pressure_mpa(x, 22, 35, 69, 205), 22, 7)
        for x in (interference, interference + more)
    ]
    assert forces[0][0] < forces[1][0] and forces[0][1] < forces[1][1]
    assert all(least <= most for least, most in forces)


def test_clearance_presses_on_nothing() -> None:
    least, most = worst_clearances_mm(limits(22, "H7"), limits(22, "h6"))
    assert pf.interference_pressure_mpa(-most, 22.0, 35.0, 69.0, 205.0) == 0.0
    assert pf.interference_pressure_mpa(-least, 22.0, 35.0, 69.0, 205.0) == 0.0


def test_equivalent_stress_is_von_mises_of_tension_and_pressure() -> None:
    """Shigley, eq. 5-13, plane stress, written out for +s and -p."""
    s, p = pf.hub_stress_mpa(50.0, 30.0, 50.0), 50.0
    expected = (s**2 - s * -p + p**2) ** 0.5
    assert pf.hub_equivalent_stress_mpa(50.0, 30.0, 50.0) == pytest.approx(expected)


def test_a_hollow_shaft_is_stressed_most_at_its_bore() -> None:
    """Roark, table 13.5, case 1c: -2 p b^2 / (b^2 - a^2)."""
    assert pf.shaft_stress_mpa(10.0, 30.0, 20.0) == pytest.approx(-2 * 10 * 900 / (900 - 400))


def test_diameters_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="between"):
        pf.interference_pressure_mpa(0.01, 30.0, 30.0, 200.0, 200.0)
    with pytest.raises(ValueError, match="bore"):
        pf.interference_pressure_mpa(0.01, 30.0, 40.0, 200.0, 200.0, -1.0)


@given(
    bore=st.tuples(st.floats(33.9, 34.0), st.floats(0, 0.05)),
    cup=st.tuples(st.floats(33.95, 34.1), st.floats(0, 0.05)),
    outside=st.tuples(st.floats(37, 40), st.floats(0, 1)),
    inner=st.tuples(st.floats(0, 30), st.floats(0, 1)),
    at=st.tuples(*[st.floats(0, 1)] * 4),
)
def test_no_sizes_within_limits_go_beyond_a_press_fits_figures(
    bore: tuple[float, float],
    cup: tuple[float, float],
    outside: tuple[float, float],
    inner: tuple[float, float],
    at: tuple[float, ...],
) -> None:
    spans = [(low, low + width) for low, width in (bore, cup, outside, inner)]
    fit = pf.press_fit(*spans[:3], 10.0, 69.0, 69.0, 276.0, spans[3])
    b, c, o, i = (low + t * (high - low) for (low, high), t in zip(spans, at, strict=True))
    interference = c - b
    least, most = fit.interference_mm
    assert least - 1e-12 <= interference <= most + 1e-12
    pressure = pf.interference_pressure_mpa(interference, (b + c) / 2, o, 69.0, 69.0, i)
    # The fit's diameter is taken in the middle of its limits, which is worth a thousandth.
    assert fit.pressure_mpa[0] * 0.99 <= pressure <= fit.pressure_mpa[1] * 1.01
    for force in pf.pressing_force_n(pressure, (b + c) / 2, 10.0):
        assert fit.force_n[0] * 0.98 <= force <= fit.force_n[1] * 1.02
    stress = pf.hub_equivalent_stress_mpa(pressure, (b + c) / 2, o)
    assert fit.hub_stress_mpa[0] * 0.98 <= stress <= fit.hub_stress_mpa[1] * 1.02


def test_a_press_fit_tells_loose_from_too_tight() -> None:
    """Shigley, 8th ed., problem 3-64: 40 H7/s6 presses at 34.9 to 114.5 MPa, steel in steel."""
    hole, shaft = limits(40, "H7"), limits(40, "s6")
    fit = pf.press_fit(hole, shaft, (80.0, 80.0), 40.0, 207.0, 207.0, 400.0)
    assert fit.interference_mm == pytest.approx((0.018, 0.059))
    assert fit.pressure_mpa == pytest.approx((34.9, 114.5), rel=2e-3)
    assert not fit.loose and not fit.possibly_yields
    slack = pf.press_fit((30.0, 30.1), (30.05, 30.06), (33.0, 33.0), 8.0, 69.0, 69.0, 50.0)
    assert slack.loose and slack.force_n[0] == 0.0 and slack.possibly_yields
