"""The share of whole assemblies that fit, against single pairs and against bounds."""

from __future__ import annotations

import pytest

from fitgraph.explain.reasons import clashes
from fitgraph.explain.shares import share_of_pairs
from fitgraph.graph.assembly import assembly_share
from fitgraph.graph.joints import asked
from fitgraph.graph.options import empty, plain
from fitgraph.model import Catalogue, Option, Verdict
from tests.shared import the_demo


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return the_demo().catalogue


def _combination(demo: Catalogue, *skus: str) -> dict[str, Option]:
    chosen = {r.name: empty(r.name) for r in demo.vocabulary.roles.values() if not r.fill.free}
    for sku in skus:
        chosen[demo.parts[sku].role] = plain(demo.parts[sku])
    return chosen


@pytest.mark.long
def test_share_lies_between_the_bounds_of_its_pairs(demo: Catalogue) -> None:
    """Frechet: at least the sum of shares less n - 1, at most the smallest share."""
    joints = [j for j in asked(demo.vocabulary.joints, tidy=False) if "bore" in j.arguments]
    seen: set[str] = set()
    for bar in demo.of("bar"):
        for clamp in demo.of("clamp")[::3]:
            chosen = _combination(demo, bar.sku, clamp.sku, "KIT-SKE-01", "FORK-VEN-04")
            found = assembly_share(chosen, demo.vocabulary, samples=20_000)
            if found is None:
                continue
            shares = []
            for clash in clashes(
                [j for j in joints if set(j.roles) <= set(chosen)], chosen, at_most=Verdict.FITS
            ):
                share = share_of_pairs(clash)
                assert share is not None
                shares.append(share)
            slack = 5 * found.standard_error + 0.02  # a slot counts with its least width
            assert found.share <= min(shares) + slack
            shares += found.by_pair  # nests among them
            assert found.share >= max(0.0, sum(shares) - len(shares) + 1) - slack - 0.25
            seen.add("certain" if found.share == 1.0 else "none" if found.share == 0 else "some")
    assert {"certain", "none"} <= seen


def test_an_unknown_size_gives_no_share(demo: Catalogue) -> None:
    unknown = next(b for b in demo.of("bar") if not b.features["outside"].lengths["diameter"].known)
    chosen = _combination(demo, unknown.sku, "CLMP-SKE-01", "KIT-SKE-01", "FORK-VEN-04")
    assert assembly_share(chosen, demo.vocabulary) is None


def test_one_pair_alone_is_the_closed_form(demo: Catalogue) -> None:
    wheels, bearings = "WHL-BRA-04", "BRG-BRA-02"
    chosen = _combination(demo, wheels, bearings)
    found = assembly_share(chosen, demo.vocabulary)
    joint = demo.vocabulary.joint("bearing-in-wheel")
    clash = clashes([joint], chosen, at_most=Verdict.FITS)[0]
    assert found is not None
    assert found.share == pytest.approx(share_of_pairs(clash), abs=5e-3)
