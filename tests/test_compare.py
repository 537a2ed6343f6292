"""Parts and builds side by side, against pairs judged one by one."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import brute_builds, catalogues
from typer.testing import CliRunner

from fitgraph.catalogue import load, shipped_folder
from fitgraph.cli import main
from fitgraph.explain import Explainer
from fitgraph.explain.advice import advise, marks, tubes
from fitgraph.explain.compare import Comparer, opened
from fitgraph.explain.triangle import doubtful, tube_figures
from fitgraph.graph.options import plain
from fitgraph.graph.said import judge
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Presence, Verdict
from fitgraph.solve import NamingError, Request
from tests.shared import the_demo
from tests.turns import turns

# Commands on the demo do not each read it.
pytestmark = pytest.mark.usefixtures("demo_read_once")


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return the_demo().catalogue


@pytest.fixture(scope="module")
def comparer(demo: Catalogue) -> Comparer:
    return Comparer(demo)


@settings(max_examples=turns(25), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_counterparts_are_those_of_every_pair_judged_alone(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    roles = [r for r in catalogue.vocabulary.roles if len(catalogue.of(r)) > 1]
    if not roles:
        return
    role = data.draw(st.sampled_from(roles))
    one, other = catalogue.of(role)[:2]
    for found in opened(catalogue, one, other):
        two = {role, found.role}
        bare = replace(found.joint, when=tuple(c for c in found.joint.when if c.role in two))
        for part, mates in zip((one, other), found.mates, strict=True):
            told = dict.fromkeys(mates.fits, Verdict.FITS)
            told |= dict.fromkeys(mates.unknown, Verdict.UNKNOWN)
            told |= dict.fromkeys(mates.fails, Verdict.FAILS)
            for counterpart in catalogue.of(found.role):
                said = judge(bare, {role: plain(part), found.role: plain(counterpart)})
                if said.there is Presence.ABSENT:
                    assert counterpart.sku not in told
                else:
                    assert told[counterpart.sku] is said.verdict
        for side in (0, 1):
            others = set(found.mates[1 - side].fits)
            assert set(found.opens(side)) == set(found.mates[side].fits) - others


def test_builds_of_each_part_by_enumeration() -> None:
    """data/bench40, where B1 and B9 differ in their outside (README there)."""
    catalogue = load(shipped_folder("data") / "bench40").catalogue
    found = Comparer(catalogue).parts("B1", "B9")
    for part, totals in zip(found.parts, found.totals, strict=True):
        request = Request(have=(part.sku,))
        assert totals.builds == len(brute_builds(catalogue, request))
        assert totals.possible == len(brute_builds(catalogue, request, least=Verdict.UNKNOWN))
    clamps = next(o for o in found.joints if o.joint.name == "clamp-on-bar")
    assert set(clamps.opens(0)) == {"C1", "C2", "C3"}  # 31.8, as the README has them
    assert set(clamps.opens(1)) == {"C4", "C5", "C6", "C7", "C8"}  # 34.9
    differ = {(d.feature, d.dimension) for d in found.differences if not d.same}
    assert ("outside", "diameter") in differ
    assert ("bore", "diameter") not in differ


def test_an_aluminium_bar_opens_what_a_steel_bar_closes(comparer: Comparer) -> None:
    """Common practice, no source: aluminium's bore is one size smaller at one outside."""
    found = comparer.parts("bar-tar-07", "BAR-PEL-02")
    assert [p.material for p in found.parts] == ["steel-4130", "aluminium-6061-t6"]
    clamps = next(o for o in found.joints if o.joint.name == "clamp-on-bar")
    assert clamps.mates[0] == clamps.mates[1]  # both are 34.9 outside
    nuts = next(o for o in found.joints if o.joint.name == "nut-in-bar")
    assert not nuts.mates[0].fits and len(nuts.mates[1].fits) == 4  # star nuts for 28.6
    bore = next(d for d in found.differences if d.feature == "bore")
    assert not bore.same
    assert [s.size.mid for s in bore.sides if s.size] == pytest.approx([31.9, 28.7], abs=0.1)
    assert found.totals[0].mass_g is not None and found.totals[1].mass_g is not None
    assert found.totals[1].mass_g < found.totals[0].mass_g


def test_builds_side_by_side(comparer: Comparer, demo: Catalogue) -> None:
    good = ["FORK-VEN-04", "BAR-MAR-05", "CLMP-SKE-01", "KIT-VEN-01"]
    bad = ["FORK-VEN-04", "BAR-SKE-06", "CLMP-TAR-03", "KIT-VEN-01"]
    found = comparer.builds(bad, good)
    assert [a.verdict for a in found.answers] == [Verdict.FAILS, Verdict.FITS]
    assert found.roles == {
        "bar": ("BAR-SKE-06", "BAR-MAR-05"),
        "clamp": ("CLMP-TAR-03", "CLMP-SKE-01"),
    }
    differ = {j.joint.name: [c and c.verdict.word for c in j.sides] for j in found.joints}
    assert differ["bar-on-shim"] == ["fails", "fits"]
    assert {n for n, v in differ.items() if v[0] != v[1]} == {
        "bar-on-shim",
        "closing/bar",
        "closing/clamp",
    }
    for skus, totals in zip(found.named, found.totals, strict=True):
        assert totals.price == sum(demo.parts[s].price or 0 for s in skus)
        assert totals.mass_g == sum(demo.parts[s].mass_g or 0 for s in skus)
    # Vendlemoor's adapter sleeves make builds of the first all the same; Skerrowby's forks
    # have none (data/demo/README.md).
    assert all(t.builds > 0 for t in found.totals)
    none = comparer.builds(["FORK-SKE-04", "BAR-SKE-06", "KIT-SKE-01"], good)
    assert none.totals[0].builds == none.totals[0].possible == 0
    alone = Explainer(demo).why(good, with_changes=False)
    assert found.answers[1].verdict is alone.verdict


@pytest.mark.parametrize(
    ("one", "other", "wanted"),
    [
        ("BAR-SKE-01", "FORK-SKE-01", "compare two of one role"),
        ("BAR-SKE-01", "BAR-SKE-99", "did you mean"),
        ("BAR-SKE-01,BAR-SKE-02", "FORK-SKE-01", "of one role"),
        (",", "BAR-SKE-01", "nothing to compare"),
    ],
)
def test_what_cannot_be_compared_is_said(one: str, other: str, wanted: str) -> None:
    result = CliRunner().invoke(main.app, ["compare", one, other])
    assert result.exit_code == 2
    assert wanted in result.output


def test_command_as_json_and_for_people() -> None:
    run = CliRunner().invoke
    answer = json.loads(run(main.app, ["compare", "BAR-TAR-07", "BAR-PEL-02", "--json"]).stdout)
    assert answer["compared"] == "parts" and answer["role"] == "bar"
    assert [s["price"] for s in answer["sides"]] == [77.90, 88.95]
    assert all(len(j["sides"]) == 2 for j in answer["joints"])
    assert any("not a certificate" in c for c in answer["cautions"])
    text = " ".join(run(main.app, ["compare", "BAR-TAR-07", "BAR-PEL-02"]).stdout.split())
    assert (
        "77.90 EUR" in text
        and "(compression kit): Tarnholt Mortaby bar 640 x 680 fits 0 of 4; "
        "Pellanwick Coopith bar 600 x 630 fits 4 of 4"
        in text
    )
    parts = (
        "FORK-VEN-04,KIT-VEN-01,BAR-SKE-06,CLMP-TAR-03",
        "FORK-VEN-04,KIT-VEN-01,BAR-MAR-05,CLMP-SKE-01",
    )
    pair = list(parts)
    answer = json.loads(run(main.app, ["compare", *pair, "--json"]).stdout)
    assert [s["verdict"] for s in answer["sides"]] == ["fails", "fits"]
    text = run(main.app, ["compare", *pair]).stdout
    assert "Does not fit." in text and "bar over the kit's sleeve" in text


def test_to_measure_an_unknown_part_is_bad_input() -> None:
    assert CliRunner().invoke(main.app, ["measure", "FORK-NO-01"]).exit_code == 2


@pytest.mark.long
def test_measure_command() -> None:
    run = CliRunner().invoke
    answer = json.loads(run(main.app, ["measure", "FORK-VEN-07", "--limit", "1", "--json"]).stdout)
    (first,) = answer["measurements"]
    assert (first["sku"], first["feature"], first["dimension"]) == ("FORK-VEN-07", "anchor", None)
    assert 0 < first["expected"] <= first["open_builds"]
    assert sum(o["share"] for o in first["outcomes"]) == pytest.approx(1.0, abs=1e-3)
    assert answer["more"] > 0
    result = run(main.app, ["measure", "FORK-VEN-07", "--limit", "1"])
    assert result.exit_code == 0
    assert "Look whether the fork has an anchor" in result.stdout
    assert "% on average" in result.stdout


# -- advice ------------------------------------------------------------------------


def test_marks_stand_between_worst_and_best(demo: Catalogue) -> None:
    each = marks(tube_figures(demo))
    for m in each:
        assert all(0 <= x <= 1 for x in (m.light, m.strong, m.affordable))
    by_mass = sorted(each, key=lambda m: m.figures.mass_g)
    assert [m.light for m in by_mass] == sorted((m.light for m in each), reverse=True)
    by_price = sorted(each, key=lambda m: m.figures.price)
    assert [m.affordable for m in by_price] == sorted((m.affordable for m in each), reverse=True)
    by_strength = sorted(each, key=lambda m: m.figures.strength_nm)
    assert [m.strong for m in by_strength] == sorted(m.strong for m in each)


def test_parts_with_impossible_masses_are_not_recommended(demo: Catalogue) -> None:
    """data/demo/README.md: masses that cannot be true, and an outside swapped with its bore."""
    odd = doubtful(demo)
    assert {"BAR-CUL-15", "BAR-PEL-16", "BAR-WYN-04"} <= odd
    found = advise(demo, "unbudgeted", parts=100)
    named = {f.sku for family in found.families for f in family.best}
    assert named and not named & odd


def test_worth_is_the_weighted_mean(demo: Catalogue) -> None:
    each = marks(tube_figures(demo))[0]
    style = demo.vocabulary.advice.styles["park"]  # type: ignore[union-attr]
    total = style.light + style.strong + style.affordable
    by_hand = (
        style.light * each.light + style.strong * each.strong + style.affordable * each.affordable
    )
    assert each.worth(style) == pytest.approx(by_hand / total)


def test_tubes_count_parts_by_hand(demo: Catalogue) -> None:
    found = {t.kind: t for t in tubes(demo, "titanium")}
    outside = [
        p.features["outside"].lengths["diameter"].mid
        for p in demo.of("bar")
        if p.material and MATERIALS[p.material].family == "titanium"
        if p.features["outside"].lengths["diameter"].known
    ]
    assert found["oversized"].parts == sum(34 < d < 36 for d in outside)
    assert found["standard"].parts == sum(31 < d < 32.5 for d in outside)
    for tube in found.values():
        (lo, hi), (inner, _) = tube.sizes["outside"], tube.sizes["bore"]
        assert tube.wall_mm == pytest.approx((hi - inner) / 2, abs=0.2) and lo <= hi


def test_advise_command() -> None:
    run = CliRunner().invoke
    answer = json.loads(run(main.app, ["advise", "--style", "beginner", "--json"]).stdout)
    assert answer["families"][0]["family"] == "steel"
    assert answer["rule"].endswith("matters least.")
    assert any("not a certificate" in c for c in answer["cautions"])
    text = run(main.app, ["advise", "--style", "park", "--broken"]).stdout
    assert "should go to" in text and "not a certificate" in " ".join(text.split())
    result = run(main.app, ["advise", "--style", "swimming"])
    assert result.exit_code == 2 and "use one of" in result.output


def test_a_catalogue_without_advice_says_so() -> None:
    with pytest.raises(NamingError, match=r"\[advice\]"):
        advise(load(shipped_folder("data") / "bench40").catalogue)
