"""Coverage, stranded stock and weak points, against brute force over every combination."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from dask.distributed import Client, LocalCluster
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitgraph.demand.least import cheapest
from fitgraph.demand.menus import IN_STOCK, SOLD, Menus
from fitgraph.demand.questions import questions_of, request_of
from fitgraph.demand.served import served
from fitgraph.lab import OpenCatalogue
from fitgraph.model import Catalogue, Enquiry, Option, Verdict
from fitgraph.solve import NamingError, TreeEngine
from fitgraph.stock import (
    Standing,
    StandingTally,
    coverage,
    coverage_then,
    grouping_names,
    reliance,
    stranded,
    trend,
)
from tests.shared import the_demo
from tests.strategies import Known, brute_builds, catalogues, keeps_limits, price_of
from tests.turns import turns

SMALL = settings(
    max_examples=turns(25),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=True,
)


@st.composite
def enquiries(draw: st.DrawFn, catalogue: Catalogue, most: int = 4) -> tuple[Enquiry, ...]:
    """Draw enquiries with every kind of limit."""
    skus = sorted(catalogue.parts)
    named = st.lists(st.sampled_from(skus), max_size=2, unique=True) if skus else st.just([])
    return tuple(
        Enquiry(
            f"E{n}",
            have=tuple(draw(named)),
            budget=draw(st.sampled_from([None, 0, 150, 350, 700])),
            max_mass_g=draw(st.sampled_from([None, None, 45.5, 130.2])),
            material=draw(st.sampled_from([None, None, "steel"])),
            style=draw(st.sampled_from(["", "park"])),
            weight=draw(st.sampled_from([1.0, 2.0, 0.5])),
        )
        for n in range(draw(st.integers(1, most)))
    )


@st.composite
def shops(draw: st.DrawFn) -> Catalogue:
    """Draw a small catalogue with enquiries."""
    catalogue = draw(catalogues())
    return replace(catalogue, enquiries=draw(enquiries(catalogue)))


def baskets(
    catalogue: Catalogue, enquiry: Enquiry, known: Known | None = None
) -> list[frozenset[str]]:
    """Return what each certain build of an enquiry takes from the shop: all are tried."""
    request = request_of(enquiry, in_stock=False)
    owned = frozenset(enquiry.have)
    return [
        frozenset(o.part.sku for o in build.values() if o.part is not None) - owned
        for build in brute_builds(catalogue, request, known=known)
        if keeps_limits(request, build)
    ]


def on_shelf(catalogue: Catalogue) -> frozenset[str]:
    """Return the parts in stock that are for sale."""
    return frozenset(s for s, p in catalogue.parts.items() if p.stock and p.price is not None)


def brute_standing(catalogue: Catalogue, enquiry: Enquiry, known: Known) -> Standing:
    """Return the standing of an enquiry, by trying everything."""
    found = baskets(catalogue, enquiry, known)
    if any(basket <= on_shelf(catalogue) for basket in found):
        return Standing.STOCK
    if found:
        return Standing.CATALOGUE
    request = request_of(enquiry, in_stock=False)
    maybe = brute_builds(catalogue, request, least=Verdict.UNKNOWN, known=known)
    if any(keeps_limits(request, b, certain=False) for b in maybe):
        return Standing.POSSIBLY
    return Standing.NEITHER


@lru_cache(maxsize=1)
def demo() -> tuple[OpenCatalogue, TreeEngine]:
    return the_demo(), the_demo().engine


# ---------------------------------------------------------------- coverage


@SMALL
@given(shops())
def test_coverage_equals_brute_force(shop: Catalogue) -> None:
    answer = coverage(TreeEngine(shop))
    assert answer.enquiries == shop.enquiries
    known: Known = {}
    assert list(answer.standings) == [brute_standing(shop, e, known) for e in shop.enquiries]
    assert answer.total.total == sum(e.weight for e in shop.enquiries)
    assert answer.questions <= len(shop.enquiries)


@SMALL
@given(shops())
def test_a_witness_keeps_the_limits(shop: Catalogue) -> None:
    """The build that says yes is one of brute force's, and the least price is its least."""
    menus = Menus(TreeEngine(shop).space)
    questions, _, _ = questions_of(menus, shop.enquiries)
    asked = questions.asked_of(SOLD)
    found = served(menus, asked, certain=True, witness=True)
    least, _ = cheapest(menus, asked.menus, (1.0, 0.0), certain=True)
    known: Known = {}
    for enquiry, n in zip(shop.enquiries, questions.of, strict=True):
        request = request_of(enquiry, in_stock=False)
        builds = brute_builds(shop, request, known=known)
        prices = [price_of(request, b) for b in builds]
        assert least[n] == min(prices, default=np.inf)
        if found.yes[n]:
            options = zip(menus.roles, found.places[n].tolist(), strict=True)
            build: dict[str, Option] = {r: menus.space.options[r][p] for r, p in options}
            # Equal parts of different enquiries share a menu: compare price and verdict.
            assert price_of(request, build) >= least[n]
            assert all(p >= 0 for p in found.places[n])


def test_many_limits_agree_with_the_engine() -> None:
    """Both limits at once over the demo: dual, witnesses and search against the ranking."""
    loaded, engine = demo()
    bars = [e for e in loaded.catalogue.enquiries if 1 < len(e.have) < 9][:3]
    asked = [
        replace(e, number=f"{e.number}-{budget}-{mass}", budget=budget, max_mass_g=mass)
        for e in bars
        for budget in (6_000, 14_000, 30_000)
        for mass in (3_700.0, 4_100.0, 4_600.0)
    ]
    answer = coverage(engine, asked)
    met = 0
    for enquiry, standing in zip(asked, answer.standings, strict=True):
        found = engine.best(request_of(enquiry, in_stock=True), limit=1)
        assert (standing is Standing.STOCK) == bool(found), enquiry.number
        met += bool(found)
    assert 0 < met < len(asked)


def test_coverage_of_the_demo_adds_up() -> None:
    loaded, engine = demo()
    answer = coverage(engine)
    total = sum(e.weight for e in loaded.catalogue.enquiries)
    assert answer.left_out == ()
    assert answer.total.total == total == 301
    for name in grouping_names(loaded.catalogue):
        groups = answer.by(name)
        assert sum(t.total for t in groups.values()) == total
        for standing in Standing:
            assert sum(t.of(standing) for t in groups.values()) == answer.total.of(standing)
    matrix = answer.matrix("material", "system")
    for row in matrix.rows:
        of_row = [matrix.cell(row, column) for column in matrix.columns]
        assert sum(c.total for c in of_row) == answer.by("material")[row].total
    assert matrix.cell("none such", "at all") == StandingTally()


def test_the_gap_that_nobody_makes_shows() -> None:
    """83 riders want an oversized bar on a turned-down fork of Skerrowby's (data/demo)."""
    loaded, engine = demo()
    planted = [e for e in loaded.catalogue.enquiries if e.note == "wants this bar on this fork"]
    answer = coverage(engine)
    standing = dict(zip((e.number for e in answer.enquiries), answer.standings, strict=True))
    unmet = [
        e
        for e in planted
        if standing[e.number] is Standing.NEITHER and any(s.startswith("FORK-SKE") for s in e.have)
    ]
    assert sum(e.weight for e in unmet) == 83
    cell = answer.by("family")["oversized"]
    assert cell.of(Standing.NEITHER) >= 83


def test_progress_is_told_to_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    _, engine = demo()
    monkeypatch.setattr("fitgraph.demand.served.PIECE", 100)
    told: list[tuple[int, int]] = []
    here = coverage(engine, progress=lambda done, total: told.append((done, total)))
    assert len(told) >= 2 and told[-1] == (here.questions, here.questions)
    assert [done for done, _ in told] == sorted(done for done, _ in told)


@pytest.mark.parametrize("where", ["processes", pytest.param("cluster", marks=pytest.mark.long)])
def test_pieces_on_two_workers_are_the_same(where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Processes of their own, of the standard library and of a local Dask cluster."""
    _, engine = demo()
    here, weak = coverage(engine), reliance(engine, pairs=False)
    monkeypatch.setattr("fitgraph.demand.served.SENT", 60)
    told: list[int] = []
    with two_workers(where) as executor:
        there = coverage(engine, executor=executor, progress=lambda done, _: told.append(done))
        assert there.standings == here.standings
        assert reliance(engine, pairs=False, executor=executor) == weak
    assert len(told) >= 3 and told[-1] == here.questions


@contextmanager
def two_workers(where: str) -> Iterator[Executor]:
    """Yield an executor over two worker processes."""
    if where == "processes":
        with ProcessPoolExecutor(2) as pool:
            yield pool
        return
    with (
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
        ) as cluster,
        Client(cluster) as client,
    ):
        assert len(client.scheduler_info()["workers"]) == 2
        yield client.get_executor()


def test_an_enquiry_that_names_nothing_known_is_left_out() -> None:
    _, engine = demo()
    good = Enquiry("A", have=("fork-ven-04",))
    answer = coverage(
        engine, [good, Enquiry("B", have=("FORK-NO",)), Enquiry("C", material="cheese")]
    )
    assert answer.enquiries == (good,)
    assert [(x.number, "FORK-NO" in x.why or "cheese" in x.why) for x in answer.left_out] == [
        ("B", True),
        ("C", True),
    ]
    assert coverage(engine, []).total == StandingTally()


def test_an_unknown_grouping_is_told_with_those_there_are() -> None:
    _, engine = demo()
    with pytest.raises(NamingError, match="family"):
        coverage(engine, []).by("colour")


# ---------------------------------------------------------------- over time


def test_a_trend_adds_up_by_month() -> None:
    loaded, engine = demo()
    months = trend(coverage(engine))
    asked = loaded.catalogue.enquiries
    assert list(months) == sorted({e.date.strftime("%Y-%m") for e in asked if e.date})
    march = sum(e.weight for e in asked if e.date and e.date.month == 3)
    assert months["2026-03"].total == march


def test_each_enquiry_meets_the_shelf_of_its_day() -> None:
    loaded, engine = demo()
    fork = "FORK-VEN-04"
    full = dict.fromkeys(loaded.catalogue.parts, 1)
    counts = {datetime.date(2026, 1, 1): full, datetime.date(2026, 3, 1): {fork: 1}}
    days = [datetime.date(2025, 12, 31), datetime.date(2026, 2, 1), datetime.date(2026, 3, 1)]
    asked = [Enquiry(f"D{n}", day, (fork,)) for n, day in enumerate(days)]
    answer = coverage_then(engine, counts, asked)
    assert [e.number for e in answer.enquiries] == ["D1", "D2"]
    assert answer.standings == (Standing.STOCK, Standing.CATALOGUE)
    assert coverage_then(engine, {}, asked).enquiries == ()


def test_all_days_at_once_are_the_days_one_by_one() -> None:
    loaded, engine = demo()
    asked = loaded.catalogue.enquiries[:60]
    counts = dict(sorted(loaded.supply.counts.items())[::4])
    then, found = {}, dict[Enquiry, Standing]()
    for enquiry in asked:
        before = [day for day in counts if enquiry.date and day <= enquiry.date]
        if before:
            then.setdefault(max(before), []).append(enquiry)
    for day, of_day in then.items():
        alone = coverage(engine, of_day, stock=counts[day])
        found.update(zip(alone.enquiries, alone.standings, strict=True))
    every = coverage(engine, asked)
    for today in (None, every):
        answer = coverage_then(engine, counts, asked, today=today)
        assert dict(zip(answer.enquiries, answer.standings, strict=True)) == found
    assert {Standing.STOCK, Standing.CATALOGUE} < set(found.values())


# ---------------------------------------------------------------- stranded, weak points


def lacking(catalogue: Catalogue, sku: str, known: Known) -> int | None:
    """Return the fewest parts that a build with a part lacks; None where there is no build."""
    found = baskets(catalogue, Enquiry("", have=(sku,)), known)
    return min((len(basket - on_shelf(catalogue)) for basket in found), default=None)


@SMALL
@given(catalogues())
def test_stranded_equals_brute_force(catalogue: Catalogue) -> None:
    found = {s.sku: s for s in stranded(TreeEngine(catalogue))}
    known: Known = {}
    for sku, part in catalogue.parts.items():
        least = lacking(catalogue, sku, known) if part.stock else 0
        assert (sku in found) == (least != 0)
        if sku in found:
            one = found[sku]
            assert (one.standing is Standing.CATALOGUE) == (least is not None)
            assert one.value == (None if part.price is None else part.price * part.stock)
            if least is not None:
                assert len(one.needs) == least


def test_the_planted_stranded_parts_are_found() -> None:
    """HANDMADE rows of data/demo: a turned-down fork tapped M6, wheels that take no bearing."""
    _, engine = demo()
    found = {s.sku: s for s in stranded(engine)}
    assert found["FORK-TAR-06"].standing is Standing.NEITHER
    assert found["FORK-TAR-06"].joints
    assert found["FORK-TAR-06"].pieces == 6
    assert {"HSET-QUA-01", "LIN-QUA-01", "WHL-QUA-10", "WHL-QUA-11"} <= set(found)
    assert found["HSET-QUA-01"].needs == ("DECK-QUA-01",)  # the deck that has run out


@SMALL
@given(shops())
def test_weak_points_equal_brute_force(shop: Catalogue) -> None:
    answer = reliance(TreeEngine(shop))
    shelf, known = on_shelf(shop), Known()
    asked = [(e, [b for b in baskets(shop, e, known) if b <= shelf]) for e in shop.enquiries]
    builds = [b for b in baskets(shop, Enquiry(""), known) if b <= shelf]
    assert answer.builds == len(builds)

    def through(*gone: str) -> int:
        return sum(1 for b in builds if b & set(gone))

    def ended(*gone: str) -> list[Enquiry]:
        return [e for e, found in asked if found and all(b & set(gone) for b in found)]

    found = {w.skus[0]: w for w in answer.parts}
    for sku in shelf:
        weight = sum(e.weight for e in ended(sku))
        assert (sku in found) == bool(weight or through(sku))
        if sku in found:
            assert (found[sku].builds, found[sku].enquiries) == (through(sku), weight)
    pairs = {w.skus: w for w in answer.pairs}
    for one, other in itertools.combinations(sorted(shelf), 2):
        both = ended(one, other)
        alone = [*ended(one), *ended(other)]
        weight = sum(e.weight for e in both if e not in alone)
        assert ((one, other) in pairs) == bool(weight)
        if weight:
            pair = pairs[one, other]
            assert (pair.together, pair.builds) == (weight, through(one, other))
            assert pair.enquiries == sum(e.weight for e in both)


def test_an_other_shelf_can_be_asked_about() -> None:
    loaded, engine = demo()
    everything = dict.fromkeys(loaded.catalogue.parts, 1)
    answer = coverage(engine, stock=everything)
    assert answer.total.of(Standing.CATALOGUE) == 0
    assert coverage(engine, stock={}).total.of(Standing.STOCK) <= 1
    menus = Menus(engine.space, {})
    assert menus.in_stock == frozenset()
    assert len(menus.menu(0, menus.shelf(0, IN_STOCK)).place) <= 1
