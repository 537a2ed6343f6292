"""Closing a slot: geometry, force, stress, and the hold of the tube beyond the slot."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from shapely import Point, Polygon, box

from fitgraph.mechanics import slots
from tests.bent_ring import closure_mm

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


def _faces(width: float, bore: float, outside: float) -> tuple[Polygon, Polygon]:
    """Return the halves of a ring from which a straight strip was milled, slot at the top."""
    ring = Point(0, 0).buffer(outside / 2, quad_segs=720)
    ring = ring.difference(Point(0, 0).buffer(bore / 2, quad_segs=720))
    ring = ring.difference(box(-width / 2, 0, width / 2, outside))
    # Long straight edges have to bend as well: no edge longer than a twentieth of the wall.
    ring = ring.segmentize((outside - bore) / 40)
    halves = (box(0, -outside, outside, outside), box(-outside, -outside, 0, outside))
    return tuple(ring.intersection(half) for half in halves)


def _bent(half: Polygon, mean: float, closure: float) -> Polygon:
    """Bend half a ring to a smaller circle: the mean line keeps its length, sections stay plane."""
    x, y = np.asarray(half.exterior.coords).T
    smaller = mean - closure / 2
    # Angles count from the section opposite to the slot, which stays where it is.
    angle = np.arctan2(x, -y) * mean / smaller
    radius = np.hypot(x, y) - mean + smaller
    return Polygon(np.column_stack([radius * np.sin(angle), -radius * np.cos(angle)]))


@pytest.mark.parametrize("outside", [22.0, 34.9, 60.0])
@pytest.mark.parametrize("thickness", [0.02, 0.1, 0.2, 0.35])
@pytest.mark.parametrize("narrow", [0.02, 0.08, 0.2])
def test_full_closure_is_where_bent_polygons_meet(
    outside: float, thickness: float, narrow: float
) -> None:
    """Explicit geometry: polygons are bent step by step until the two faces overlap."""
    mean = outside / (2 + thickness)
    bore, width = 2 * mean - thickness * mean, narrow * outside
    right, left = _faces(width, bore, outside)

    def overlap(closure: float) -> float:
        return _bent(right, mean, closure).intersection(_bent(left, mean, closure)).area

    computed = slots.closes_by_mm(width, bore, outside)
    # Polygons stand inside of their circles by up to 1e-6 of the radius.
    slack = 2e-5 * outside
    assert all(overlap(share * (computed - slack)) < 1e-9 for share in (0.3, 0.7, 0.9, 1.0))
    assert overlap(computed + slack) > 0


@pytest.mark.some(2)
@pytest.mark.parametrize(
    ("thickness", "narrow"), [(0.05, 0.1), (0.12, 0.03), (0.2, 0.1), (0.3, 0.16)]
)
def test_full_closure_agrees_with_finite_elements(thickness: float, narrow: float) -> None:
    """Plane stress, large displacements: less by t^2/(12 R^2), where the neutral line lies."""
    bore, outside = RADIUS * (2 - thickness), RADIUS * (2 + thickness)
    width = narrow * outside
    found, off = closure_mm(width, bore, outside)
    computed = slots.closes_by_mm(width, bore, outside)
    assert found / computed == pytest.approx(1 - thickness**2 / 12, abs=1.2e-3)
    assert off < 1e-3, "a ring in pure bending stays round"


def test_closure_of_a_thin_wall_is_the_width_out_of_the_circumference() -> None:
    """w/pi holds for a thin wall and a narrow slot, and is off by t/D - (w/D)^2/6 elsewhere."""
    assert slots.closes_by_mm(0.1, 30.0, 30.0) == pytest.approx(0.1 / np.pi, rel=2e-6)
    for wall in (0.5, 1.0, 2.0, 4.0):
        for width in (0.5, 2.0, 5.0):
            off = 1 - slots.closes_by_mm(width, 34.9 - 2 * wall, 34.9) * np.pi / width
            assert off == pytest.approx(wall / 34.9 - (width / 34.9) ** 2 / 6, abs=6e-4)
    # To first order w R / (pi r), with the mean and the outer radius.
    first = 2.0 * (34.9 + 30.9) / 4 / (np.pi * 34.9 / 2)
    assert slots.closes_by_mm(2.0, 30.9, 34.9) == pytest.approx(first, rel=1e-3)


@st.composite
def rings(draw: st.DrawFn) -> tuple[float, float, float]:
    outside = draw(st.floats(5, 80))
    bore = draw(st.floats(0.3, 1.0)) * outside
    return draw(st.floats(0, 0.9)) * bore, bore, outside


@given(ring=rings(), more=st.floats(1e-3, 5))
def test_closure_grows_with_width_and_bore_and_falls_with_the_outside(
    ring: tuple[float, float, float], more: float
) -> None:
    width, bore, outside = ring
    closes = slots.closes_by_mm(width, bore, outside)
    assert slots.closes_by_mm(min(width + more, outside), bore, outside) > closes - 1e-12
    assert slots.closes_by_mm(width, min(bore + more, outside), outside) >= closes - 1e-12
    assert slots.closes_by_mm(width, bore, outside + more) <= closes + 1e-12
    assert width / (2 * np.pi) <= closes + 1e-12 and closes <= width / 2 + 1e-12
    assert slots.width_to_close_by_mm(closes, bore, outside) == pytest.approx(width, abs=1e-9)


@given(
    ring=rings(),
    slack=st.tuples(*[st.floats(0, 6)] * 6),
    at=st.tuples(*[st.floats(0, 1)] * 3),
    unknown=st.tuples(*[st.booleans()] * 4),
)
def test_no_ring_within_limits_closes_less_or_more(
    ring: tuple[float, float, float],
    slack: tuple[float, ...],
    at: tuple[float, ...],
    unknown: tuple[bool, ...],
) -> None:
    """Draw one ring, put limits around it, then try others within these limits."""
    lows = [max(x - s, 0.0) for x, s in zip(ring, slack[:3], strict=True)]
    highs = [x + s for x, s in zip(ring, slack[3:], strict=True)]
    told = [*zip(lows, highs, strict=True)]
    for i, (no_low, no_high) in ((1, unknown[:2]), (2, unknown[2:])):
        told[i] = (-np.inf if no_low else told[i][0], np.inf if no_high else told[i][1])
    lo, hi = slots.closes_by_limits(*told[0], *told[1], *told[2])
    tried = [a + t * (b - a) for a, b, t in zip(lows, highs, at, strict=True)]
    for w, d, outer in (ring, tried):
        if d <= outer and w <= outer and outer > 0:
            assert lo - 1e-9 <= slots.closes_by_mm(w, d, outer) <= hi + 1e-9


def test_limits_of_closure_are_attained() -> None:
    """Each bound is what some ring closes: bounds that are too wide would be no use."""
    told = (4.9, 5.1, 30.8, 31.0, 34.8, 35.0)
    lo, hi = slots.closes_by_limits(*told)
    assert lo == slots.closes_by_mm(4.9, 30.8, 35.0)
    assert hi == slots.closes_by_mm(5.1, 31.0, 34.8)
    lo, hi = slots.closes_by_limits(5.0, 5.0, 30.0, 31.0, -np.inf, np.inf)
    assert lo == pytest.approx(slots.closes_by_mm(5.0, 30.0, 1e9), rel=1e-6)
    assert hi == slots.closes_by_mm(5.0, 30.0, 30.0)
    lo, hi = slots.closes_by_limits(5.0, 5.0, -np.inf, np.inf, -np.inf, np.inf)
    assert (lo, hi) == pytest.approx((5 / (2 * np.pi), 2.5))
    assert slots.closes_by_limits(0.0, 0.0, -np.inf, np.inf, -np.inf, np.inf) == (0.0, 0.0)
    assert slots.closes_by_limits(0.0, np.inf, 30, 30, 34, 34) == (
        0.0,
        slots.closes_by_mm(34.0, 30.0, 34.0),
    )
    assert slots.closes_by_limits(0.0, np.inf, 0.0, np.inf, 0.0, np.inf) == (0.0, np.inf)


def test_limits_of_closure_take_arrays() -> None:
    lo, hi = slots.closes_by_limits(
        np.array([[5.0], [0.0]]), np.array([[5.0], [0.0]]), 30.9, 30.9, 34.9, np.array([34.9, 36])
    )
    assert np.shape(lo) == np.shape(hi) == (2, 2)
    assert lo[0, 0] == hi[0, 0] == slots.closes_by_mm(5.0, 30.9, 34.9)
    assert lo[0, 1] < hi[0, 1] and (lo[1] == 0).all() and (hi[1] == 0).all()


def test_a_slot_for_no_clearance_or_for_too_much() -> None:
    assert slots.width_to_close_by_mm(-0.1, 30.0, 34.0) == 0.0
    assert slots.width_to_close_by_mm(30.0, 30.0, 34.0) == np.inf


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
    np.testing.assert_allclose(closure, [slots.closes_by_mm(1.0, BORE, OUTSIDE), gap / np.pi])


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
    for wrong, word in (
        ((-1.0, BORE, OUTSIDE), "slot"),
        ((1.0, -1.0, OUTSIDE), "bore"),
        ((1.0, OUTSIDE, BORE), "less than the bore"),
        ((1.0, BORE, np.inf), "number"),
        ((36.0, BORE, OUTSIDE), "wider"),
    ):
        with pytest.raises(ValueError, match=word):
            slots.closes_by_mm(*wrong)
    with pytest.raises(ValueError, match="less than the bore"):
        slots.width_to_close_by_mm(1.0, OUTSIDE, BORE)
