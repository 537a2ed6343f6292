"""Adding tolerances up: worst case, root sum of squares, and shares that fit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fitgraph.mechanics import stackup
from fitgraph.mechanics.stackup import ChainDimension, Pair

# Shigley, 10th ed., example 1-7: a shouldered screw, in inches; w = a - b - c - d
# (looked up).
SCREW = [
    ChainDimension("a", 1.747, 1.753),
    ChainDimension("b", 0.749, 0.751, -1),
    ChainDimension("c", 0.115, 0.125, -1),
    ChainDimension("d", 0.874, 0.876, -1),
]


def test_worst_case_and_root_sum_of_squares_are_the_handbook_example() -> None:
    assert stackup.worst_case_mm(SCREW) == pytest.approx((-0.005, 0.015))
    assert stackup.rss_mm(SCREW) == pytest.approx((0.005 - 0.006, 0.005 + 0.006))


def test_monte_carlo_agrees_with_the_normal_law() -> None:
    """Sums of normal dimensions are normal with added variances (JCGM 101:2008)."""
    results = stackup.simulate_mm(SCREW, 200_000, seed=3, shape="normal", sigmas=5)
    sigma = np.sqrt(sum(((x.hi - x.lo) / 10) ** 2 for x in SCREW))
    for least, most in [(0.004, 0.006), (0.0, 0.0055), (0.006, 0.02)]:
        law = stats.norm(0.005, sigma)
        exact = law.cdf(most) - law.cdf(least)
        error = np.sqrt(exact * (1 - exact) / 200_000)
        assert stackup.share_within(results, least, most) == pytest.approx(exact, abs=4 * error)


def test_pairs_of_normal_sizes_agree_with_monte_carlo() -> None:
    bore, spigot = (31.80, 31.95), (31.70, 31.85)
    chain = [ChainDimension("bore", *bore), ChainDimension("spigot", *spigot, -1)]
    drawn = stackup.simulate_mm(chain, 200_000, seed=5, shape="normal", sigmas=4)
    exact = stackup.share_that_fit_normal(bore, spigot, 0.05, 0.14, sigmas=4)
    assert stackup.share_within(drawn, 0.05, 0.14) == pytest.approx(exact, abs=0.005)


@pytest.mark.parametrize(
    "limits",
    [(31.8, 32.0, 31.7, 31.85), (31.8, 31.85, 31.5, 31.9), (31.8, 31.8, 31.7, 31.9)],
)
def test_pairs_of_uniform_sizes_agree_with_monte_carlo(limits: tuple[float, ...]) -> None:
    chain = [ChainDimension("bore", *limits[:2]), ChainDimension("spigot", *limits[2:], -1)]
    drawn = stackup.simulate_mm(chain, 200_000, seed=7)
    for least, most in [(0.0, 0.1), (-0.05, 0.02), (0.05, 0.4)]:
        exact = stackup.share_that_fit(*limits, least, most)
        assert stackup.share_within(drawn, least, most) == pytest.approx(exact, abs=0.005)


def test_equal_uniform_widths_make_the_triangular_law() -> None:
    """scipy.stats.triang: the difference of two uniform sizes of the same width."""
    law = stats.triang(0.5, loc=-0.2, scale=0.4)
    share = stackup.share_that_fit(10.0, 10.2, 10.0, 10.2, -0.05, 0.12)
    assert share == pytest.approx(law.cdf(0.12) - law.cdf(-0.05))


def test_exact_sizes_fit_or_do_not() -> None:
    shares = stackup.share_that_fit(
        np.array([10.0, 10.0, 10.0]), np.array([10.0, 10.0, 10.1]), 9.9, 9.9, [0.1, 0.11, 0.15], 0.2
    )
    np.testing.assert_allclose(shares, [1.0, 0.0, 0.5])


@settings(deadline=None)
@given(
    start=st.floats(20, 40),
    widths=st.tuples(st.floats(0, 0.5), st.floats(0, 0.5)),
    gap=st.floats(-0.5, 0.5),
    window=st.floats(0, 0.5),
)
def test_windows_side_by_side_add_up(
    start: float, widths: tuple[float, float], gap: float, window: float
) -> None:
    sizes = (start, start + widths[0], start - gap, start - gap + widths[1])
    everything = stackup.share_that_fit(*sizes, -5.0, 5.0)
    some = stackup.share_that_fit(*sizes, 0.0, window)
    assert everything == pytest.approx(1.0)
    assert 0 <= some <= stackup.share_that_fit(*sizes, -0.1, window + 0.1) + 1e-12


@settings(deadline=None)
@given(width=st.floats(0.01, 0.3), more=st.floats(0.001, 0.2))
def test_a_larger_spigot_slides_on_less_often(width: float, more: float) -> None:
    small = stackup.share_that_fit(30.0, 30.0 + width, 29.9, 30.0, 0.0, 5.0)
    large = stackup.share_that_fit(30.0, 30.0 + width, 29.9 + more, 30.0 + more, 0.0, 5.0)
    assert large <= small + 1e-12


def test_assemblies_share_their_dimensions() -> None:
    """Two pairs on one spigot are not independent: the share is not the product."""
    sizes = {"low": (30.0, 30.1), "high": (30.0, 30.1), "spigot": (29.9, 30.1)}
    pairs = [Pair("low", "spigot", 0.0, 1.0), Pair("high", "spigot", 0.0, 1.0)]
    result = stackup.share_of_assemblies(sizes, pairs, 100_000, seed=11)
    one = stackup.share_that_fit(30.0, 30.1, 29.9, 30.1, 0.0, 1.0)
    assert result.by_pair == pytest.approx((one, one), abs=0.005)
    # Spigot below 30: always; above, by u in 0 to 0.1: (1 - u/0.1)^2, which averages 1/3.
    assert result.share == pytest.approx(0.5 + 0.5 / 3, abs=4 * result.standard_error)
    assert result.share > one**2


def test_the_same_seed_repeats_a_result() -> None:
    first, again = (stackup.simulate_mm(SCREW, 50, seed=1) for _ in range(2))
    other = stackup.simulate_mm(SCREW, 50, seed=2)
    np.testing.assert_array_equal(first, again)
    assert not np.array_equal(first, other)


@given(shape=st.sampled_from(["uniform", "normal"]), width=st.floats(0, 1))
@settings(max_examples=20, deadline=None)
def test_no_size_is_drawn_beyond_its_limits(shape: stackup.Shape, width: float) -> None:
    drawn = stackup.draw((5.0, 5.0 + width), 500, np.random.default_rng(0), shape)
    assert drawn.min() >= 5.0 and drawn.max() <= 5.0 + width


def test_reversed_limits_are_refused() -> None:
    with pytest.raises(ValueError, match="bore"):
        ChainDimension("bore", 2.0, 1.0)
    with pytest.raises(ValueError, match="sign"):
        ChainDimension("bore", 1.0, 2.0, 0)
    with pytest.raises(ValueError, match="reversed"):
        stackup.share_that_fit(2.0, 1.0, 1.0, 2.0, 0.0, 1.0)
    with pytest.raises(ValueError, match="exact"):
        stackup.share_that_fit_normal((1.0, 1.0), (1.0, 1.0), 0.0, 1.0)
