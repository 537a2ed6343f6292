"""The share of pairs that fit, against plain counting of random pairs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fitgraph.explain import Explainer, share_of_pairs
from fitgraph.explain.reasons import Clash
from fitgraph.explain.words import clash_text
from fitgraph.model import Verdict
from tests.shared import the_demo
from tests.turns import turns


def _counted(clash: Clash, samples: int = 400_000) -> float:
    rng = np.random.default_rng(7)
    drawn = {
        f.argument: rng.uniform(f.dimension.lo, f.dimension.hi, samples)
        for f in clash.figures
        if f.dimension is not None
    }
    outer = drawn.get("bore", drawn.get("whole"))
    inner = drawn.get("spigot", drawn.get("part"))
    assert outer is not None and inner is not None
    gap = outer - inner
    limits = clash.joint.limits
    most = np.full(samples, limits.get("most", math.inf))
    if "slot" in drawn:
        most = drawn["slot"] / math.pi - limits.get("reserve", 0.0)
    return float(np.mean((gap >= limits.get("least", 0.0)) & (gap <= most)))


@pytest.fixture(scope="module")
def measured() -> list[Clash]:
    """Every joint between lengths around some named demo parts."""
    catalogue = the_demo().catalogue
    explainer = Explainer(catalogue)
    found = []
    for role, other in (("clamp", "bar"), ("headset", "deck"), ("bearings", "wheels")):
        for one in catalogue.of(role)[: turns(6, 3)]:
            for two in catalogue.of(other)[:3]:
                found += explainer.why([one.sku, two.sku], with_changes=False).joints
    return [c for c in found if share_of_pairs(c) is not None]


def test_share_equals_counting(measured: list[Clash]) -> None:
    assert len(measured) > turns(50, 25)
    for clash in measured[::5]:
        assert share_of_pairs(clash) == pytest.approx(_counted(clash), abs=5e-3)


def test_share_agrees_with_the_verdict(measured: list[Clash]) -> None:
    for clash in measured:
        share = share_of_pairs(clash)
        if clash.verdict is Verdict.FITS:
            assert share == pytest.approx(1.0, abs=1e-9)
        if clash.verdict is Verdict.FAILS:
            assert share == pytest.approx(0.0, abs=1e-9)


def test_overlapping_limits_are_told_with_their_share(measured: list[Clash]) -> None:
    catalogue = the_demo().catalogue
    overlapping = [c for c in measured if c.verdict is Verdict.UNKNOWN]
    for clash in overlapping:
        share = share_of_pairs(clash)
        assert share is not None and 0.0 < share < 1.0
        assert f"{share:.0%} of such pairs fit" in clash_text(clash, catalogue)
    sure = next(c for c in measured if c.verdict is Verdict.FITS)
    assert "of such pairs" not in clash_text(replace(sure), catalogue)
