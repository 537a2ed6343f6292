"""Stripping of tapped threads: a worked example, limits of size by the standard's formulas."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitgraph.mechanics import threads
from fitgraph.mechanics.clamps import preload_range_n, proof_load_n
from fitgraph.mechanics.standards import SCREWS


def test_engagement_is_a_handbook_example() -> None:
    """A published example: M10 x 1.5 6g, 12.9 at 1200 MPa on 58 mm2, in 310 aluminium.

    Shear strength 130 MPa, largest pitch diameter 9.206 mm, major diameter 9.968 mm: 21.6 mm
    (doi 10.1201/9781482273786-99, abstract).
    """
    per_mm = threads.hole_shear_area_mm2(1.0, 1.5, 9.968, 9.206) * 130.0
    assert 1200 * 58 / per_mm == pytest.approx(21.6, abs=0.05)


# threadlib (github.com/adrianschlatter/threadlib, BSD), design/metric_thread.csv, seen on
# 2026-11-29; bolts over 10 mm to four figures. The holes of M10, M12 and M14 stand the same in
# ANSI/ASME B1.13M-1995 as engineersedge.com, hardware/metric-internal-thread-sizes1.htm, lists it.
THREADLIB = {
    "M3": (2.874, 2.58, 2.599, 2.775),
    "M4": (3.838, 3.433, 3.422, 3.663),
    "M5": (4.826, 4.361, 4.334, 4.605),
    "M6": (5.794, 5.212, 5.153, 5.5),
    "M8": (7.76, 7.042, 6.912, 7.348),
    "M10": (9.732, 8.862, 8.676, 9.206),
    "M12": (11.7, 10.68, 10.441, 11.063),
    "M14": (13.68, 12.5, 12.21, 12.913),
    "M16": (15.68, 14.5, 14.21, 14.913),
}


@pytest.mark.parametrize("thread", threads.LIMITS)
def test_limits_of_threads_are_those_of_an_open_library(thread: str) -> None:
    told = threads.thread_limits(thread)
    ours = (told.bolt_outside_mm, told.bolt_pitch_mm, told.hole_bore_mm, told.hole_pitch_mm)
    for bolt, figure, theirs in zip(
        (True, True, False, False), ours, THREADLIB[thread], strict=True
    ):
        places = 2 if bolt and SCREWS[thread].diameter_mm > 10 else 3
        assert round(figure, places) == theirs, thread


def test_a_hole_widens_as_a_technical_report_says() -> None:
    """ISO/TR 16224:2012, equation 6, as screw-thread-lib computes it: 1 from 1.8 diameters on."""
    for across, factor in zip((1.4, 1.8), threads.WIDENING, strict=True):
        assert factor == pytest.approx(-(across**2) + 3.8 * across - 2.6, abs=0.015)


@pytest.mark.parametrize("thread", threads.LIMITS)
def test_limits_of_threads_follow_the_standards_formulas(thread: str) -> None:
    """ISO 965-1, tolerances 6H and 6g by formula; the standard rounds by the series R40."""
    size, told = SCREWS[thread], threads.thread_limits(thread)
    d, p = size.diameter_mm, size.pitch_mm
    steps = np.array([0.99, 1.4, 2.8, 5.6, 11.2, 22.4])
    middle = np.sqrt(steps[steps < d].max() * steps[steps >= d].min())
    shift = (15 + 11 * p) / 1e3
    outside = (180 * p ** (2 / 3) - 3.15 / p**0.5) / 1e3
    pitch = 90 * p**0.4 * middle**0.1 / 1e3
    bore = (230 * p**0.7 if p >= 1 else 433 * p - 190 * p**1.22) / 1e3
    # R40 rounds by up to 3 %, and the standard's shift by up to a micrometre and a half.
    near = 0.03 * max(outside, pitch * 1.32, bore) + 0.0015
    basic, minor = d - 0.649519 * p, d - 1.082532 * p
    assert told.bolt_outside_mm == pytest.approx(d - shift - outside, abs=near)
    assert told.bolt_pitch_mm == pytest.approx(basic - shift - pitch, abs=near)
    assert told.hole_bore_mm == pytest.approx(minor + bore, abs=near)
    assert told.hole_pitch_mm == pytest.approx(basic + 1.32 * pitch, abs=near)


@pytest.mark.parametrize("thread", threads.LIMITS)
def test_shear_area_agrees_with_the_triangle_of_the_thread(thread: str) -> None:
    """By geometry: the 60-degree tooth is as thick, at the bolt's outside, as the sketch says."""
    limits, pitch = threads.thread_limits(thread), SCREWS[thread].pitch_mm
    # Half the pitch at the pitch diameter; flanks of 30 degrees open by tan 30 on each side.
    out = (limits.bolt_outside_mm - limits.hole_pitch_mm) / 2
    tooth = pitch / 2 + 2 * out * np.tan(np.pi / 6)
    area = np.pi * limits.bolt_outside_mm * tooth / pitch
    found = threads.hole_shear_area_mm2(1.0, pitch, limits.bolt_outside_mm, limits.hole_pitch_mm)
    assert found == pytest.approx(area)
    inner = (limits.bolt_pitch_mm - limits.hole_bore_mm) / 2
    tooth = pitch / 2 + 2 * inner * np.tan(np.pi / 6)
    found = threads.bolt_shear_area_mm2(1.0, pitch, limits.bolt_pitch_mm, limits.hole_bore_mm)
    assert found == pytest.approx(np.pi * limits.hole_bore_mm * tooth / pitch)
    # The hole's thread is the larger by a fourth to a half: in like metals the bolt strips.
    assert (
        1.2
        < threads.hole_shear_area_mm2(1.0, pitch, limits.bolt_outside_mm, limits.hole_pitch_mm)
        / threads.bolt_shear_area_mm2(1.0, pitch, limits.bolt_pitch_mm, limits.hole_bore_mm)
        < 1.7
    )


def test_aluminium_wants_the_trades_one_and_a_half_to_two_diameters() -> None:
    """Common practice, no source: an 8.8 bolt in aluminium of 310 MPa, to its tensile load."""
    for thread in ("M5", "M6", "M8"):
        load = SCREWS[thread].stress_area_mm2 * 800
        least, most = threads.engagement_needed_mm(thread, load, 310.0)
        assert 0.7 < least / SCREWS[thread].diameter_mm < most / SCREWS[thread].diameter_mm < 2


@given(
    engagement=st.floats(2, 20),
    more=st.floats(0, 10),
    torque=st.floats(1, 25),
    tensile=st.floats(150, 600),
)
def test_more_thread_never_strips_sooner(
    engagement: float, more: float, torque: float, tensile: float
) -> None:
    preload, proof = preload_range_n(torque, 6.0), proof_load_n("M6", "8.8")
    short, long = (
        threads.stripping("M6", length, tensile, preload, proof)
        for length in (engagement, engagement + more)
    )
    assert short.possibly >= long.possibly and short.for_certain >= long.for_certain
    assert short.bolt_goes_first <= long.bolt_goes_first
    assert short.possibly >= short.for_certain
    assert threads.stripping_load_n("M6", short.needed_mm[1], tensile)[0] == pytest.approx(proof)


def test_a_shallow_thread_in_soft_metal_strips() -> None:
    proof = proof_load_n("M6", "12.9")
    shallow = threads.stripping("M6", 4.0, 240.0, (12_000.0, 18_000.0), proof)
    assert shallow.for_certain and not shallow.bolt_goes_first
    with pytest.raises(ValueError, match="engagement"):
        threads.stripping("M6", 0.0, 240.0, (1.0, 2.0), proof)
    with pytest.raises(KeyError, match="M7"):
        threads.stripping_load_n("M7", 5.0, 240.0)
