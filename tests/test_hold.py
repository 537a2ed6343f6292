"""How hard a clamp holds a combination: the nest that follows from the joints, and what it does."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fitgraph.explain import held_texts, hold_text, pressed_text, strain_texts
from fitgraph.explain.words_rider import grip_text
from fitgraph.graph.columns import word_of
from fitgraph.graph.hold import Hold, clamp_ratio, hold, hold_ratio
from fitgraph.graph.options import empty, length_of, plain
from fitgraph.graph.pressed import pressed
from fitgraph.mechanics.clamps import check_torque
from fitgraph.mechanics.crush import tube_crush
from fitgraph.mechanics.grip import (
    Bolts,
    RingSection,
    inverse,
    nest_grip,
    share_that_holds,
)
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.notches import slot_end_factor
from fitgraph.mechanics.press_fits import press_fit
from fitgraph.mechanics.threads import engagement_needed_mm
from fitgraph.model import Catalogue, Dimension, Option, Reference
from tests.shared import the_demo

COLLARED = ("FORK-VEN-04", "BAR-MAR-05", "CLMP-SKE-01", "KIT-VEN-01")
EXTERNAL = ("BAR-PEL-13", "CLMP-TAR-04", "FORK-OST-04", "KIT-OST-04")


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return the_demo().catalogue


def _combination(demo: Catalogue, *skus: str) -> dict[str, Option]:
    chosen = {r.name: empty(r.name) for r in demo.vocabulary.roles.values()}
    for sku in skus:
        chosen[demo.parts[sku].role] = plain(demo.parts[sku])
    return chosen


def _size(chosen: dict[str, Option], name: str) -> Dimension:
    reference = Reference(*name.split("."))
    found = length_of(chosen[reference.role], reference)
    assert found is not None and found.known
    return found


def _held(demo: Catalogue, *skus: str) -> Hold:
    found = hold(_combination(demo, *skus), demo.vocabulary)
    assert found is not None
    return found


def test_the_nest_of_a_collar_follows_from_the_joints(demo: Catalogue) -> None:
    """Steerer, kit's sleeve, bar, collar: written out by hand from the catalogue's figures."""
    chosen = _combination(demo, *COLLARED)
    top, shim_in, shim_out = (
        _size(chosen, n)
        for n in ("fork.top.diameter", "kit.shim_bore.diameter", "kit.shim_outside.diameter")
    )
    bar_in, bar_out, clamp_in = (
        _size(chosen, n)
        for n in ("bar.bore.diameter", "bar.outside.diameter", "clamp.bore.diameter")
    )
    height = _size(chosen, "clamp.height.length").lo
    stiffest = max(m.modulus_gpa or 0.0 for m in MATERIALS.values())
    bar_part = chosen["bar"].part
    assert bar_part is not None and bar_part.material is not None
    bar_material = MATERIALS[bar_part.material]

    def ring(
        bore: Dimension,
        core: Dimension,
        outside: float | None,
        modulus: float | None,
        slot: str,
        length: float | None = None,
    ) -> RingSection:
        gap = (bore.lo - core.hi, bore.hi - core.lo)
        width = _size(chosen, slot).lo
        return RingSection(bore.mid, outside, height, modulus or 0.0, width, length, gap)

    rings = [
        ring(shim_in, top, shim_out.mid, stiffest, "kit.shim_slot.width"),
        ring(
            bar_in,
            shim_out,
            bar_out.mid,
            bar_material.modulus_gpa,
            "bar.slot.width",
            _size(chosen, "bar.slot.length").lo,
        ),
        ring(
            clamp_in,
            bar_out,
            _size(chosen, "clamp.ring_outside.diameter").mid,
            68.9,
            "clamp.slot.width",
        ),
    ]
    bolts = Bolts(2, 18.0, 8.0)
    found = _held(demo, *COLLARED)
    assert found.grip == nest_grip(rings, bolts, turned=1)
    assert found.demand_nm == 50 and found.demand_share == (
        share_that_holds(rings, bolts, 50.0, turned=1)
    )
    assert found.weakest.outer.label == "KIT-VEN-01" and found.weakest.inner.label == "FORK-VEN-04"
    most = sum(max(r.clearance_mm[1], 0.0) for r in rings[:2])
    assert found.gap_mm == pytest.approx(math.pi * most)
    assert found.crush is None
    roots = bar_material.neuber_root
    assert roots is not None
    assert found.notch == slot_end_factor(_size(chosen, "bar.slot.width").mid, roots)
    assert found.thread_needs_mm == engagement_needed_mm(
        "M8", check_torque(18.0, "M8", "8.8").proof_load_n, 310.0
    )


def test_a_clamp_with_two_bores_shares_its_bolts_and_the_weaker_one_counts(
    demo: Catalogue,
) -> None:
    chosen, found = _combination(demo, *EXTERNAL), _held(demo, *EXTERNAL)
    assert found.bolts == 4 and found.pressing == 2.0
    assert found.weakest.inner.label == "FORK-OST-04", "the steerer is the thinner of the two"
    outside, bore = _size(chosen, "bar.outside.diameter"), _size(chosen, "bar.bore.diameter")
    room = _size(chosen, "clamp.bore.diameter").hi - outside.lo
    part = chosen["bar"].part
    assert part is not None and part.material is not None
    material = MATERIALS[part.material]
    assert material.modulus_gpa is not None and material.yield_mpa is not None
    height = _size(chosen, "clamp.height.length").lo / 2
    assert found.crush == tube_crush(
        2 * found.torque.preload_n[1],
        outside.lo,
        bore.hi,
        height,
        material.modulus_gpa,
        material.yield_mpa,
        room,
    )
    assert found.notch is None and found.slot_beyond_mm is None


def test_nothing_is_said_where_a_figure_is_lacking(demo: Catalogue) -> None:
    chosen = _combination(demo, *COLLARED)
    silent = replace(demo.vocabulary, hold=None)
    assert hold(chosen, silent) is None
    assert hold(_combination(demo, "BAR-MAR-05", "FORK-VEN-04"), demo.vocabulary) is None
    unknown = next(b for b in demo.of("bar") if not b.features["outside"].lengths["diameter"].known)
    lacking = _combination(demo, unknown.sku, *COLLARED[:1], *COLLARED[2:])
    assert hold(lacking, demo.vocabulary) is None


def test_sentences_name_the_weakest_surface_the_demand_and_what_breaks(demo: Catalogue) -> None:
    found = _held(demo, *COLLARED)
    text = hold_text(found)
    for piece in (
        "(KIT-VEN-01) and Vendlemoor Yarrith fork 120 x 30 (FORK-VEN-04) slips first",
        "50 N·m",
        "ISO 4210-5:2014",
    ):
        assert piece in text
    assert f"{found.grip.middle_nm:.0f} N·m" in text
    topics = [topic for topic, _ in strain_texts(found)]
    assert topics == ["strength", "thread"]
    assert [topic for topic, _ in strain_texts(_held(demo, *EXTERNAL))] == ["crush", "thread"]


def test_rings_that_do_not_close_are_said_to_press_nothing(demo: Catalogue) -> None:
    found = _held(demo, *COLLARED)
    none = nest_grip(
        [RingSection(28.6, 31.8, 40.0, 205.0, clearance_mm=(0.2, 0.2))], Bolts(2, 9.0, 6.0)
    )
    text = hold_text(replace(found, grip=none))
    assert (
        "the surface between Vendlemoor IHC kit (KIT-VEN-01) and "
        "Vendlemoor Yarrith fork 120 x 30 (FORK-VEN-04) is not pressed" in text
    )
    half = replace(found, grip=replace(found.grip, closes=0.6), demand_share=0.123)
    assert "In 40% of the cases" in hold_text(half) and "12.3% of the cases" in hold_text(half)


def test_every_grip_of_the_demo_is_in_order(demo: Catalogue) -> None:
    """Over many combinations: percentiles within bounds, the weakest surface the least of all."""
    told = 0
    for bar in demo.of("bar")[::6]:
        for clamp in demo.of("clamp")[::3]:
            found = hold(
                _combination(demo, bar.sku, clamp.sku, "KIT-VEN-01", "FORK-VEN-04"), demo.vocabulary
            )
            if found is None:
                continue
            told += 1
            grip = found.grip
            low, high = grip.bounds_nm
            assert low - 1e-9 <= grip.low_nm <= grip.middle_nm <= grip.high_nm <= high + 1e-9
            assert len(grip.surfaces_nm) == len(found.surfaces)
            assert 0 <= grip.closes <= 1 and hold_text(found)
            assert found.closes == (low > 0)
    assert told > 20


def test_what_is_pressed_is_lames_ring_over_the_limits(demo: Catalogue) -> None:
    """A bearing in its wheel, with the usual walls of the vocabulary's [press] table."""
    chosen = _combination(demo, "WHL-MAR-01", "BRG-BRA-01")
    seat, ring = _size(chosen, "wheels.seat.diameter"), _size(chosen, "bearings.outside.diameter")
    (one,) = pressed(chosen, demo.vocabulary)
    (source,) = [p for p in demo.vocabulary.press if p.joint == "bearing-in-wheel"]
    bore = ring.lo - 2 * source.shaft_wall_mm
    wanted = press_fit(
        (seat.lo, seat.hi),
        (ring.lo, ring.hi),
        (seat.hi + 2 * source.wall_mm[0], seat.hi + 2 * source.wall_mm[1]),
        source.length_mm,
        68.9,
        200.0,
        240.0,
        (bore, bore),
    )
    assert one.fit.interference_mm == pytest.approx(wanted.interference_mm)
    assert one.fit.pressure_mpa == pytest.approx(wanted.pressure_mpa, rel=0.05)
    text = pressed_text(one)
    assert "BRG-BRA-01" in text and "WHL-MAR-01" in text and "of yield" in text
    assert held_texts(None, (one,)) == (("press", text),)


def test_nothing_is_pressed_beyond_what_its_joint_wants(demo: Catalogue) -> None:
    least = {j.name: j.limits["least"] for j in demo.vocabulary.joints if "least" in j.limits}
    for wheels in demo.of("wheels"):
        for bearings in demo.of("bearings"):
            for one in pressed(_combination(demo, wheels.sku, bearings.sku), demo.vocabulary):
                assert 0 < one.fit.interference_mm[1] <= -least[one.joint.name] + 1e-9


def test_of_two_clamps_what_they_share_cancels(demo: Catalogue) -> None:
    """As many bolts of one size on one height press alike, whatever the friction."""
    option = plain(demo.parts["CLMP-SKE-01"])
    alike = clamp_ratio(option, option, demo.vocabulary)
    assert alike is not None
    assert (alike.low, alike.middle, alike.high) == pytest.approx((1.0, 1.0, 1.0))
    bolts = option.features["bolts"]
    words = {**bolts.words, "count": replace(bolts.words["count"], value="4")}
    more = replace(option, features={**option.features, "bolts": replace(bolts, words=words)})
    ratio = clamp_ratio(more, option, demo.vocabulary)
    assert ratio is not None
    count = word_of(option, demo.vocabulary.hold.count)  # type: ignore[union-attr]
    assert (ratio.low, ratio.high) == pytest.approx((4 / int(count or 0),) * 2)
    whole = _combination(demo, *COLLARED)
    same = hold_ratio(whole, whole, demo.vocabulary)
    assert same is not None and (same.low, same.high) == pytest.approx((1.0, 1.0))
    assert grip_text(ratio, ("A", "B"), "on a core").startswith("A holds about 2 times as much")
    assert "B holds" not in grip_text(inverse(ratio), ("B", "A"), "on a core")
