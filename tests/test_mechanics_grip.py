"""The weakest surface of a nest: one ring by hand, nests step by step, draws against bounds."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitgraph.mechanics import clamps, slots
from fitgraph.mechanics import grip as g
from fitgraph.mechanics.numbers import percentile
from tests.turns import turns

STEEL, ALUMINIUM, ACETAL = 205.0, 68.9, 2.8
SLEEVE = g.RingSection(28.6, 31.8, 40.0, ACETAL, 3.0, clearance_mm=(0.05, 0.15))
BAR = g.RingSection(31.95, 34.9, 40.0, STEEL, 4.0, 60.0, clearance_mm=(0.10, 0.20))
COLLAR = g.RingSection(34.9, 50.0, 40.0, ALUMINIUM, 4.0, clearance_mm=(0.0, 0.10))
BOLTS = g.Bolts(4, 9.0, 6.0)


def test_one_ring_without_clearance_is_the_clamps_grip() -> None:
    """The bounds are those of clamps.clamp_grip, whose lower end is a worked split hub's."""
    preload = clamps.preload_range_n(9.0, 6.0)
    known = clamps.clamp_grip(4, preload, 34.9, 40.0)
    ring = g.RingSection(34.9, 50.0, 40.0, ALUMINIUM, 4.0)
    found = g.nest_grip([ring], BOLTS)
    assert found.bounds_nm == pytest.approx(known.torque_nm)
    assert found.closing_n == 0.0 and found.closes == 1.0 and found.governing == 0
    assert known.torque_nm[0] < found.low_nm < found.middle_nm < found.high_nm < known.torque_nm[1]


def test_worked_split_hubs_are_met() -> None:
    """dsoftcon.be, Split hub design: 60 mm, 2 bolts a side of 41.4 kN, friction 0.16: 1588 N m."""
    ring = g.RingSection(60.0, 100.0, 80.0, STEEL, 2.0)
    bolts = g.Bolts(2, 41.4 * 0.2 * 20, 20.0, (0.2, 0.2))
    found = g.nest_grip([ring], bolts, friction=(0.16, 0.16), contact=(2.0, 2.0))
    assert found.low_nm == found.high_nm == pytest.approx(1588.0, rel=3e-3)


def _by_hand(clearances: tuple[float, ...], nut: float, mu: float, kappa: float) -> list[float]:
    """Close a nest of the three rings step by step, from the outside, in plain arithmetic."""
    left = 4 * 9000.0 / (nut * 6.0)
    inside, out = list(clearances), []
    for ring in (COLLAR, BAR, SLEEVE):
        gap = math.pi * sum(inside)
        left -= float(
            slots.closing_force_n(
                gap, ring.outside_mm, ring.bore_mm, 40.0, ring.modulus_gpa, ring.slot_length_mm
            )
        )
        out.append(kappa * mu * max(left, 0.0) * ring.bore_mm / 1e3)
        inside.pop()
    return out[::-1]


def test_bounds_are_those_of_a_nest_closed_by_hand() -> None:
    rings = [SLEEVE, BAR, COLLAR]
    found = g.nest_grip(rings, BOLTS, turned=1)
    worst = _by_hand((0.15, 0.20, 0.10), 0.24, 0.10, 2.0)
    best = _by_hand((0.05, 0.10, 0.0), 0.16, 0.20, math.pi)
    assert found.bounds_nm == pytest.approx((min(worst[:2]), min(best[:2])))
    assert found.governing == 0 and found.governs > 0.5
    assert len(found.surfaces_nm) == 3


def test_inner_surfaces_have_less_left_than_outer_ones() -> None:
    found = g.nest_grip([SLEEVE, BAR, COLLAR], BOLTS, friction=(0.15, 0.15), contact=(2.0, 2.0))
    assert found.surfaces_nm[0] < found.surfaces_nm[1] < found.surfaces_nm[2]
    assert found.governing == 0 and found.governs == 1.0
    assert found.closing_n > 0


def test_a_ring_that_cannot_close_leaves_the_inside_unpressed() -> None:
    tight = g.RingSection(31.95, 34.9, 40.0, STEEL, 0.4, 60.0, clearance_mm=(0.10, 0.20))
    found = g.nest_grip([SLEEVE, tight, COLLAR], BOLTS)
    assert found.closes == 0.0 and found.middle_nm == 0.0 and found.governing == 1
    closed = g.RingSection(31.95, 34.9, 40.0, STEEL, clearance_mm=(0.10, 0.20))
    assert g.nest_grip([SLEEVE, closed, COLLAR], BOLTS).middle_nm == 0.0
    snug = g.RingSection(31.95, 34.9, 40.0, STEEL)
    assert g.nest_grip([snug, COLLAR], BOLTS).low_nm > 0


def test_weak_bolts_do_not_reach_the_core() -> None:
    found = g.nest_grip([SLEEVE, BAR, COLLAR], g.Bolts(1, 0.5, 6.0))
    assert found.closes == 0.0 and found.high_nm == 0.0


@settings(max_examples=turns(40))
@given(
    gaps=st.tuples(*[st.floats(0, 0.2)] * 3),
    more=st.floats(0, 0.2),
    torque=st.floats(1, 12),
    at=st.tuples(*[st.floats(0, 1)] * 3),
)
def test_draws_lie_within_the_bounds_and_clearance_never_helps(
    gaps: tuple[float, ...], more: float, torque: float, at: tuple[float, ...]
) -> None:
    rings = [
        replace(ring, clearance_mm=(gap, gap + more))
        for ring, gap in zip((SLEEVE, BAR, COLLAR), gaps, strict=True)
    ]
    bolts = g.Bolts(4, torque, 6.0)
    found = g.nest_grip(rings, bolts, samples=400)
    low, high = found.bounds_nm
    assert low - 1e-9 <= found.low_nm <= found.middle_nm <= found.high_nm <= high + 1e-9
    snug = [replace(ring, clearance_mm=(gap, gap)) for ring, gap in zip(rings, gaps, strict=True)]
    tight = g.nest_grip(snug, bolts, samples=400)
    assert tight.bounds_nm[0] >= low - 1e-9 and tight.low_nm >= found.low_nm - 1e-9


def test_results_repeat_and_settle() -> None:
    rings = [SLEEVE, BAR, COLLAR]
    one, again = (g.nest_grip(rings, BOLTS) for _ in range(2))
    assert one == again
    other = g.nest_grip(rings, BOLTS, seed=7)
    assert other.middle_nm == pytest.approx(one.middle_nm, rel=0.02)
    assert other.low_nm == pytest.approx(one.low_nm, rel=0.03)


def test_the_middle_of_one_surface_is_that_of_its_product() -> None:
    """kappa mu / K of independent uniform ranges, by quadrature of the distribution."""
    ring = g.RingSection(34.9, 50.0, 40.0, ALUMINIUM, 4.0)
    found = g.nest_grip([ring], BOLTS, samples=200_000)
    steps = (np.arange(120) + 0.5) / 120
    mu = 0.10 + 0.10 * steps[:, None, None]
    nut = 0.16 + 0.08 * steps[None, :, None]
    kappa = 2 + (math.pi - 2) * steps[None, None, :]
    torque = kappa * mu * 4 * 9000 / (nut * 6) * 34.9 / 1e3
    assert [found.low_nm, found.middle_nm, found.high_nm] == pytest.approx(
        list(np.percentile(torque, [5, 50, 95])), rel=5e-3
    )


def test_what_two_clamps_share_cancels() -> None:
    """Each alone spreads by a factor of three; the ratio of both by a few per cent."""
    tall = g.RingSection(34.9, 50.0, 50.0, ALUMINIUM, 4.0, clearance_mm=(0.0, 0.1))
    one, other = ([tall], g.Bolts(3, 9.0, 6.0)), ([COLLAR], g.Bolts(2, 9.0, 6.0))
    alone = g.nest_grip(*one)
    assert alone.high_nm / alone.low_nm > 2
    ratio = g.grip_ratio(one, other)
    assert ratio.high / ratio.low < 1.2 and ratio.more == 1.0
    assert 1.3 < ratio.low <= ratio.middle <= ratio.high < 1.7
    back = g.grip_ratio(other, one)
    assert back.middle == pytest.approx(1 / ratio.middle, rel=1e-3) and back.more == 0.0


def test_nests_of_which_none_or_one_holds_are_compared() -> None:
    none = ([g.RingSection(34.9, 50.0, 40.0, STEEL, clearance_mm=(0.2, 0.2))], BOLTS)
    some = ([COLLAR], BOLTS)
    assert g.grip_ratio(some, none).low == math.inf
    assert g.grip_ratio(none, none) == g.GripRatio(1.0, 1.0, 1.0, 0.0)


def test_share_that_holds_falls_with_the_demand() -> None:
    """ISO 4210-5:2014, 4.6, table 5: 40 N m, 50 for mountain bicycles; by analogy."""
    torques = [t.stem_on_steerer_nm for t in g.STEERING_TORQUES.values()]
    assert sorted(torques) == [40, 40, 40, 50]
    assert sorted(t.bar_in_stem_nm for t in g.STEERING_TORQUES.values()) == [60, 60, 60, 80]
    found = g.nest_grip([COLLAR], g.Bolts(1, 5.0, 6.0))
    for demand, share in ((found.low_nm, 0.95), (found.middle_nm, 0.5), (found.high_nm, 0.05)):
        holds = g.share_that_holds([COLLAR], g.Bolts(1, 5.0, 6.0), demand)
        assert holds == pytest.approx(share, abs=1e-3)


def test_bolts_press_where_they_are() -> None:
    assert g.bolts_within(4, 80.0, 0.0, 80.0) == 4
    assert g.bolts_within(4, 80.0, 0.0, 40.0) == 2
    assert g.bolts_within(2, 40.0, 25.0, 40.0) == 1
    assert g.bolts_within(2, 40.0, 12.0, 28.0) == 0


def test_arguments_without_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="clamp"):
        g.nest_grip([], BOLTS)
    with pytest.raises(ValueError, match="bolt"):
        g.nest_grip([COLLAR], g.Bolts(0, 9.0, 6.0))
    with pytest.raises(ValueError, match="turned"):
        g.nest_grip([COLLAR], BOLTS, turned=1)
    with pytest.raises(ValueError, match="bore"):
        g.nest_grip([g.RingSection(30.0, 30.0, 40.0, STEEL)], BOLTS)


@pytest.mark.parametrize("shape", [(1,), (2,), (7,), (4, 100), (3, 2001)])
def test_percentiles_are_those_of_numpy(shape: tuple[int, ...]) -> None:
    values = np.random.default_rng(5).normal(100.0, 20.0, shape)
    for share in (0.0, 5.0, 33.3, 50.0, 95.0, 100.0):
        wanted = np.percentile(values, share, axis=-1)
        assert percentile(values, share) == pytest.approx(wanted, rel=1e-13)
