"""Closing a slot: geometry, force, stress, and the hold of the tube beyond the slot."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from fitgraph.mechanics import slots

OUTSIDE, BORE, HEIGHT, MODULUS = 34.9, 30.9, 40.0, 205.0
RADIUS, WALL = (OUTSIDE + BORE) / 4, (OUTSIDE - BORE) / 2
BENDING = MODULUS * 1e3 * HEIGHT * WALL**3 / 12

# Closure at the mouth of a slotted steel tube under even outside pressure, as a share of the
# thin ring's 3 pi F R^3 / (E I): linear three-dimensional finite elements, computed once with
# the general finite-element library scikit-fem 12 (27-node hexahedra, one through the wall,
# 20 around half of the tube, E 205 GPa, nu 0.3, far end held): mean radius, wall, slot length,
# pressed length, share.
FINITE_ELEMENTS = [
    (16.5, 2.0, 60, 60, 0.174),
    (16.5, 2.0, 40, 40, 0.063),
    (16.5, 2.0, 80, 80, 0.336),
    (16.5, 2.0, 120, 120, 0.682),
    (16.5, 2.0, 200, 200, 0.991),
    (16.5, 1.5, 60, 60, 0.128),
    (16.5, 3.0, 60, 60, 0.257),
    (15.0, 2.5, 50, 50, 0.194),
    (20.0, 2.0, 70, 70, 0.129),
    (20.0, 2.5, 100, 100, 0.367),
    (18.0, 1.5, 45, 30, 0.042),
    (16.5, 2.0, 60, 40, 0.161),
    (16.5, 2.0, 80, 40, 0.271),
    (16.5, 2.0, 120, 40, 0.438),
    (15.0, 2.0, 50, 35, 0.146),
    (15.0, 3.0, 100, 50, 0.621),
    (16.5, 2.0, 200, 100, 0.881),
    (16.5, 2.0, 200, 60, 0.681),
    (16.5, 2.0, 200, 40, 0.515),
    (16.5, 2.0, 200, 20, 0.292),
    (16.5, 2.0, 120, 20, 0.254),
    (16.5, 2.0, 120, 60, 0.563),
    (16.5, 2.0, 60, 15, 0.085),
    (15.0, 3.0, 150, 50, 0.694),
    (15.0, 3.0, 200, 50, 0.697),
    (16.5, 2.0, 300, 60, 0.682),
]


def test_closing_force_agrees_with_castigliano_by_numerical_integration() -> None:
    """Castigliano: the gap closes by the integral of M dM/dF / (E I) around the ring."""
    force = slots.closing_force_n(1.0, OUTSIDE, BORE, HEIGHT, MODULUS)

    def integrand(angle: float) -> float:
        arm = RADIUS * (1 - np.cos(angle))
        return force * arm * arm / BENDING * RADIUS

    assert quad(integrand, 0, 2 * np.pi)[0] == pytest.approx(1.0)


def _chain_of_beams(forces: np.ndarray, angles: np.ndarray) -> np.ndarray:
    """Solve a half ring of straight two-node beams, held opposite the gap; plane frame.

    Direct stiffness method (any textbook on matrix structural analysis), written out here so
    that it shares nothing with the formula under test.
    """
    x, y = RADIUS * np.cos(angles), RADIUS * np.sin(angles)
    size = 3 * len(angles)
    stiffness = np.zeros((size, size))
    # Ten thousand times the true axial stiffness: the formula has bending only.
    axial = MODULUS * 1e3 * HEIGHT * WALL * 1e4
    for i in range(len(angles) - 1):
        length = np.hypot(x[i + 1] - x[i], y[i + 1] - y[i])
        c, s = (x[i + 1] - x[i]) / length, (y[i + 1] - y[i]) / length
        a, b = axial / length, BENDING / length**3
        local = np.array(
            [
                [a, 0, 0, -a, 0, 0],
                [0, 12 * b, 6 * b * length, 0, -12 * b, 6 * b * length],
                [0, 6 * b * length, 4 * b * length**2, 0, -6 * b * length, 2 * b * length**2],
                [-a, 0, 0, a, 0, 0],
                [0, -12 * b, -6 * b * length, 0, 12 * b, -6 * b * length],
                [0, 6 * b * length, 2 * b * length**2, 0, -6 * b * length, 4 * b * length**2],
            ]
        )
        turn = np.kron(np.eye(2), np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]))
        at = slice(3 * i, 3 * i + 6)
        stiffness[at, at] += turn.T @ local @ turn
    moved = np.zeros(size)
    moved[3:] = np.linalg.solve(stiffness[3:, 3:], forces[3:])
    return moved


def test_closing_force_agrees_with_a_chain_of_beam_elements() -> None:
    angles = np.linspace(0, np.pi, 121)
    forces = np.zeros(3 * len(angles))
    forces[-2] = -slots.closing_force_n(1.0, OUTSIDE, BORE, HEIGHT, MODULUS)
    # The gap is at angle pi; its face moves half of the gap towards the plane of symmetry.
    assert -_chain_of_beams(forces, angles)[-2] == pytest.approx(0.5, rel=2e-3)


def test_even_pressure_closes_like_a_force_of_pressure_times_radius() -> None:
    angles = np.linspace(0, np.pi, 241)
    force = slots.closing_force_n(1.0, OUTSIDE, BORE, HEIGHT, MODULUS)
    share = np.full(len(angles), np.pi / 240)
    share[[0, -1]] /= 2
    forces = np.zeros(3 * len(angles))
    forces[0::3] = -force * share * np.cos(angles)
    forces[1::3] = -force * share * np.sin(angles)
    assert -_chain_of_beams(forces, angles)[-2] == pytest.approx(0.5, rel=2e-3)


@pytest.mark.parametrize(("radius", "wall", "slot", "pressed", "share"), FINITE_ELEMENTS)
def test_hold_of_the_tube_agrees_with_finite_elements(
    radius: float, wall: float, slot: float, pressed: float, share: float
) -> None:
    computed = slots.closing_share(slot, pressed, 2 * radius + wall, 2 * radius - wall)
    assert computed == pytest.approx(share, rel=0.11 if radius / wall > 5.5 else 0.20)


def test_a_very_long_slot_closes_like_a_ring() -> None:
    ring = slots.closing_force_n(1.0, OUTSIDE, BORE, 1000.0, MODULUS)
    slot = slots.closing_force_n(1.0, OUTSIDE, BORE, 1000.0, MODULUS, slot_length=1000.0)
    assert slot == pytest.approx(ring, rel=1e-6)


def test_full_closure_takes_the_slot_out_of_the_circumference() -> None:
    assert np.pi * (30.0 - slots.diametral_closure_mm(4.0)) == pytest.approx(np.pi * 30.0 - 4.0)
    assert slots.slot_width_for_mm(slots.diametral_closure_mm(4.0)) == pytest.approx(4.0)
    assert slots.slot_width_for_mm(-0.1) == 0.0


def test_stress_follows_from_the_moment_opposite_the_gap() -> None:
    """Bending stress 6 M / (h t^2) with M = 2 F R (Shigley, section 3-10)."""
    force = slots.closing_force_n(0.8, OUTSIDE, BORE, HEIGHT, MODULUS)
    moment = 2 * force * RADIUS
    stress = slots.closing_stress_mpa(0.8, OUTSIDE, BORE, MODULUS)
    assert stress == pytest.approx(6 * moment / (HEIGHT * WALL**2))


def test_elastic_limit_is_where_the_ring_yields() -> None:
    gap = slots.elastic_gap_mm(OUTSIDE, BORE, MODULUS, 436.0)
    assert slots.closing_stress_mpa(gap, OUTSIDE, BORE, MODULUS) == pytest.approx(436.0)
    closure = slots.elastic_closure_mm(OUTSIDE, BORE, MODULUS, 436.0, np.array([1.0, 9.0]))
    np.testing.assert_allclose(closure, [1.0 / np.pi, gap / np.pi])


@given(slot=st.floats(0, 12), more=st.floats(0.01, 5))
def test_a_wider_slot_closes_further(slot: float, more: float) -> None:
    assert slots.diametral_closure_mm(slot + more) > slots.diametral_closure_mm(slot)


@given(length=st.floats(20, 400), more=st.floats(1, 100), pressed=st.floats(5, 60))
def test_a_longer_slot_never_takes_more_force(length: float, more: float, pressed: float) -> None:
    short = slots.closing_force_n(1.0, OUTSIDE, BORE, pressed, MODULUS, length)
    long = slots.closing_force_n(1.0, OUTSIDE, BORE, pressed, MODULUS, length + more)
    assert long <= short * (1 + 1e-9)
    assert slots.gap_under_force_mm(short, OUTSIDE, BORE, pressed, MODULUS, length) == (
        pytest.approx(1.0)
    )


@given(force=st.floats(1, 1e4), wall=st.floats(1, 4), more=st.floats(0.1, 1))
def test_a_thicker_wall_closes_less(force: float, wall: float, more: float) -> None:
    thin = slots.gap_under_force_mm(force, 35.0, 35.0 - 2 * wall, HEIGHT, MODULUS)
    thick = slots.gap_under_force_mm(force, 35.0, 35.0 - 2 * (wall + more), HEIGHT, MODULUS)
    assert thick < thin


def test_sizes_that_are_no_ring_are_refused() -> None:
    with pytest.raises(ValueError, match="bore"):
        slots.closing_force_n(1.0, 30.0, 0.0, HEIGHT, MODULUS)
    with pytest.raises(ValueError, match="longer than 0"):
        slots.closing_share(0.0, 30.0, OUTSIDE, BORE)
    with pytest.raises(ValueError, match="slot"):
        slots.diametral_closure_mm(-1.0)
