"""What to measure next, against plain enumeration before and after every outcome."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType

import pytest
from bench import catalogues as shapes
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import brute_builds, catalogues, requests

from fitgraph.catalogue import load, shipped_folder
from fitgraph.explain.measure import Measurement, Measurer
from fitgraph.explain.outcomes import (
    Possibility,
    measured,
    open_figures,
    possibilities,
    share_present,
    together,
)
from fitgraph.model import Basis, Catalogue, Dimension, Option, Part, Verdict
from fitgraph.solve import Request, TreeEngine
from tests.shared import the_demo


def _only(catalogue: Catalogue, part: Part) -> Catalogue:
    """Return a catalogue in which a part is the only one of its role."""
    parts = {s: p for s, p in catalogue.parts.items() if p.role != part.role}
    return replace(
        catalogue,
        parts=MappingProxyType({**parts, part.sku: part}),
        by_role=MappingProxyType({**catalogue.by_role, part.role: (part,)}),
    )


def _builds(catalogue: Catalogue, request: Request, part: Part, least: Verdict) -> list[Option]:
    """Return the option of the part in every build that has it."""
    named = {s for s in (*request.have, *request.want) if catalogue.parts[s].role == part.role}
    alone = tuple(s for s in request.have if s == part.sku or s not in named)
    wanted = tuple(s for s in request.want if s == part.sku or s not in named)
    asked = replace(request, have=alone, want=wanted)
    if named and part.sku not in named:
        return []
    found = brute_builds(_only(catalogue, part), asked, least=least)
    return [b[part.role] for b in found if b[part.role].part is not None]


def _open(
    catalogue: Catalogue, request: Request, part: Part, services: set[tuple[str, ...]] | None = None
) -> tuple[int, int]:
    """Return the certain and the possible builds with a part, after given services only."""
    sure, maybe = (
        sum(services is None or o.services in services for o in builds)
        for builds in (
            _builds(catalogue, request, part, Verdict.FITS),
            _builds(catalogue, request, part, Verdict.UNKNOWN),
        )
    )
    return sure, maybe


def _expected(
    catalogue: Catalogue, request: Request, part: Part, found: list[Possibility]
) -> Fraction:
    services = {o.services for o in _builds(catalogue, request, part, Verdict.UNKNOWN)}
    sure, maybe = _open(catalogue, request, part, services)
    total = Fraction()
    for possibility in found:
        after = measured(part, possibility.changes)
        sure_after, maybe_after = _open(catalogue, request, after, services)
        assert sure <= sure_after <= maybe_after <= maybe  # it can only close open builds
        total += possibility.share * ((maybe - sure) - (maybe_after - sure_after))
    return total


def _by_figure(ranked: list[Measurement]) -> dict[tuple[str, str, str | None], Measurement]:
    found = {(m.sku, m.feature, m.dimension): m for m in ranked}
    assert len(found) == len(ranked)
    return found


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_expected_numbers_are_those_of_plain_enumeration(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues(most_parts=2))
    request = data.draw(requests(catalogue, limited=False))
    ranked = Measurer(catalogue).rank(request)
    named = {*request.have, *request.want}
    for own in (True, False):  # the parts named go first
        lot = [m.expected for m in ranked if (m.sku in named) == own]
        assert lot == sorted(lot, reverse=True)
    assert [m.sku in named for m in ranked] == sorted(
        (m.sku in named for m in ranked), reverse=True
    )
    told = _by_figure(ranked)
    for part in catalogue.parts.values():
        figures = list(open_figures(catalogue, part))
        everything = together(catalogue, figures) if sum(not f.known for f in figures) > 1 else []
        for figure in figures:
            found = possibilities(catalogue, figure)
            assert not found or sum(p.share for p in found) == 1
            expected = _expected(catalogue, request, part, found)
            m = told.get((part.sku, figure.feature, figure.dimension))
            assert expected == (m.expected if m else 0)
            if m is None:
                continue
            sure, maybe = _open(catalogue, request, part)
            assert m.open_builds == maybe - sure
            assert sum(o.share for o in m.outcomes) == 1
            assert sum(o.share * o.settled for o in m.outcomes) == m.expected
            for outcome in m.outcomes:
                services = {o.services for o in _builds(catalogue, request, part, Verdict.UNKNOWN)}
                after = _open(catalogue, request, outcome.part, services)
                assert after == (sure + outcome.certain, maybe - outcome.impossible)
            if everything and m.rest:
                assert m.with_rest >= _expected(catalogue, request, part, everything)


def _hand() -> Catalogue:
    return load(shipped_folder("data") / "bench40").catalogue


def test_forty_parts_by_hand() -> None:
    """The open figures of data/bench40, whose README counts what hangs on each of them.

    B4 hangs on the look for its slot: its open builds are 12/17 of those of the bars of bore
    28.6 (README): 12 per base, where bases are 3*2 + 3*1 + 1 + 1 without a sleeve (F8 with K6
    counted) and 3*2 with S3. If there is none (the rule of succession: of nine bars looked at
    seven have a slot, so 3 in 11), it is impossible everywhere; if there is one, its width and
    length are still not known, and nothing is settled.
    """
    catalogue = _hand()
    told = _by_figure(Measurer(catalogue).rank())
    slot = told[("B4", "slot", None)]
    bases = 3 * 2 + 3 * 1 + 1 + 1 + 3 * 2
    assert slot.open_builds == 12 * bases
    assert share_present(catalogue, "bar", "slot") == Fraction(7 + 1, 9 + 2)
    assert slot.expected == Fraction(3, 11) * 12 * bases
    assert {o.values: o.settled for o in slot.outcomes} == {(True,): 0, (False,): 12 * bases}
    # F8's thread: 144 + 46 + 288 builds hang on it; M8 stands in three forks, M6 in three.
    # With M6 every kit K3 to K6 is certain on it, so only builds open for another reason stay.
    thread = told[("F8", "anchor", "thread")]
    assert thread.open_builds == 144 + 46 + 288
    words = {o.values: (o.share, o.certain, o.impossible) for o in thread.outcomes}
    # Certain with M6: 3*36 without a sleeve, 29 with K6 alone, 4*36 over S2.
    # Impossible with M6: K1 and K2 over S2, 2*48. With M8 the rest: (144 + 46) + 4*48 go,
    # and 2*36 over S2 are certain.
    assert words[("M6",)] == (Fraction(1, 2), 3 * 36 + 29 + 4 * 36, 2 * 48)
    assert words[("M8",)] == (Fraction(1, 2), 2 * 36, 144 + 46 + 4 * 48)
    # C8's height: every clamp is known, heights as in features.csv.
    height = told[("C8", "height", "length")]
    assert 0 < height.expected <= height.open_builds


@pytest.mark.long
@pytest.mark.parametrize("shop", ["demo", "measured"])
def test_a_measurement_typed_into_the_catalogue_settles_what_was_promised(shop: str) -> None:
    """The engine before and after: the first three of the list."""
    demo = shop == "demo"  # of measured parts each role's measurements are counted apart
    catalogue = the_demo().catalogue if demo else shapes.measured(shapes.scaled(30))
    engine = TreeEngine(catalogue)
    before = (engine.count(Request()).number, engine.count_possible(Request()).number)
    for m in Measurer(catalogue).rank()[: 3 if demo else 1]:
        outcome = max(m.outcomes, key=lambda o: (o.share, o.settled))
        parts = {**catalogue.parts, m.sku: outcome.part}
        after = replace(
            catalogue,
            parts=MappingProxyType(parts),
            by_role=MappingProxyType(
                {r: tuple(parts[p.sku] for p in ps) for r, ps in catalogue.by_role.items()}
            ),
        )
        changed = TreeEngine(after)
        assert changed.count(Request()).number == before[0] + outcome.certain
        assert changed.count_possible(Request()).number == before[1] - outcome.impossible


@pytest.mark.long
def test_demo_list_names_what_one_look_decides() -> None:
    """data/demo/README.md: one look decides FORK-VEN-07, BAR-WYN-02 and KIT-QUA-01."""
    catalogue = the_demo().catalogue
    measurer = Measurer(catalogue)
    told = _by_figure(measurer.rank())
    assert told[("FORK-VEN-07", "anchor", None)].expected > 0
    assert told[("KIT-QUA-01", "bolt", "thread")].expected > 0
    assert told[("BAR-WYN-02", "slot", None)].expected > 0
    only = measurer.rank(Request(have=("FORK-VEN-07",)))
    assert (only[0].sku, only[0].feature) == ("FORK-VEN-07", "anchor"), "named parts go first"
    assert all(m.role != "fork" or m.sku == "FORK-VEN-07" for m in only)


def test_numbers_past_what_floats_hold_stay_exact() -> None:
    """Scaled so that counts pass 2**53: each of ten spare roles multiplies them by 100."""
    catalogue = _hand()
    role = catalogue.vocabulary.roles["grips"]
    spare = {f"spare-{n}": replace(role, name=f"spare-{n}") for n in range(10)}
    vocabulary = replace(
        catalogue.vocabulary,
        roles=MappingProxyType({**catalogue.vocabulary.roles, **spare}),
    )
    more = {
        f"{name}-{n}": replace(catalogue.parts["G1"], sku=f"{name}-{n}", role=name)
        for name in spare
        for n in range(100)
    }
    parts = {**catalogue.parts, **more}
    big = replace(
        catalogue,
        vocabulary=vocabulary,
        parts=MappingProxyType(parts),
        by_role=MappingProxyType(
            {r: tuple(p for p in parts.values() if p.role == r) for r in vocabulary.roles}
        ),
    )
    small = _by_figure(Measurer(catalogue).rank())
    told = _by_figure(Measurer(big).rank())
    for key, m in small.items():
        assert told[key].expected == m.expected * 100**10
        assert told[key].open_builds == m.open_builds * 100**10 > 2**53


@pytest.mark.parametrize("known", [True, False])
def test_wide_limits_are_measured_inside_themselves(known: bool) -> None:
    catalogue = _hand()
    part = catalogue.parts["C1"]
    bore = Dimension(31.5, 32.5, Basis.NOMINAL) if known else Dimension.unknown()
    feature = part.features["bore"]
    changed = replace(
        part,
        features=MappingProxyType(
            {
                **part.features,
                "bore": replace(feature, lengths=MappingProxyType({"diameter": bore})),
            }
        ),
    )
    figure = next(f for f in open_figures(catalogue, changed) if f.feature == "bore")
    assert figure.known is known
    found = possibilities(catalogue, figure)
    assert sum(p.share for p in found) == 1
    sizes = [p.changes["bore"].lengths["diameter"] for p in found]
    if known:
        assert all(31.5 <= s.lo < s.hi <= 32.5 for s in sizes)
    else:
        seen = {round(p.features["bore"].lengths["diameter"].mid, 3) for p in catalogue.of("clamp")}
        assert {round(s.mid, 3) for s in sizes} == seen
    assert all(s.basis is Basis.MEASURED for s in sizes)


def test_counterparts_alike_today_may_come_apart_once_one_is_measured(tmp_path: Path) -> None:
    """Both rings are open with the peg today; its size decides the exact ring alone."""
    (tmp_path / "vocabulary.toml").write_text(
        """
[trade]
name = "pegs"
[limits]
measured = "0 mm"
[roles.peg.features.post]
kind = "spigot"
dimensions.size = {}
[roles.ring.features.hole]
kind = "bore"
dimensions.size = {}
[[joints]]
id = "ring-on-peg"
rule = "clearance"
bore = "ring.hole.size"
spigot = "peg.post.size"
least = "0 mm"
most = "0.05 mm"
""",
        encoding="utf-8",
    )
    (tmp_path / "parts.csv").write_text(
        "sku,role,price\nP,peg,1\nR-1,ring,1\nR-2,ring,1\n", encoding="utf-8"
    )
    (tmp_path / "features.csv").write_text(
        "sku,feature,dimension,value,basis\nP,post,size,9.95..10.02,maker\n"
        "R-1,hole,size,10.0..10.0,maker\nR-2,hole,size,9.95..10.02,maker\n",
        encoding="utf-8",
    )
    catalogue = load(tmp_path).catalogue
    peg = next(m for m in Measurer(catalogue).rank() if m.sku == "P")
    told = {size: (o.certain, o.impossible) for o in peg.outcomes for size in o.values}
    assert len(told) > 3
    for size, found in told.items():
        assert isinstance(size, float)
        # Ring 1 is exact, so any size of the peg decides; ring 2 stays open, as its own limits
        # are wider than the window and reach past every size the peg can have.
        fits = 0.0 <= 10.0 - size <= 0.05
        assert found == ((1, 0) if fits else (0, 1)), size
    assert set(told.values()) == {(1, 0), (0, 1)}
