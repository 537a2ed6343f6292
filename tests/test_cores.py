"""Cores, their fillings and the rows that stand for all, against trying everything."""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
from first_rows import measure
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import brute_builds, catalogues, keeps_limits, mass_of, price_of, requests

from fitgraph.catalogue import load, shipped_folder
from fitgraph.explain.representatives import weighings
from fitgraph.explain.requested import list_builds
from fitgraph.graph.options import empty
from fitgraph.model import Catalogue, Option
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve import cores as cores_module
from fitgraph.solve.cores import Tallies, count_all, list_cores
from fitgraph.solve.query import ask
from tests.shared import the_demo
from tests.turns import turns

RANDOM = settings(
    deadline=None,
    max_examples=turns(120),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)

#: A core by what it is made of.
Core = tuple[tuple[str, str | None, tuple[str, ...]], ...]


def marked(catalogue: Catalogue, roles: tuple[str, ...]) -> Catalogue:
    """Return a catalogue in which these roles decide."""
    words = catalogue.vocabulary
    told = {n: replace(r, decides=n in roles) for n, r in words.roles.items()}
    return replace(catalogue, vocabulary=replace(words, roles=MappingProxyType(told)))


@st.composite
def asked(draw: st.DrawFn, limited: bool = True) -> tuple[Catalogue, Request]:
    """Draw a catalogue of which some roles decide, and a request."""
    catalogue = draw(catalogues())
    names = list(catalogue.vocabulary.roles)
    roles = draw(st.lists(st.sampled_from(names), max_size=len(names), unique=True))
    return marked(catalogue, tuple(roles)), draw(requests(catalogue, limited=limited))


def core_of(chosen: Mapping[str, Option], roles: tuple[str, ...]) -> Core:
    """Return what a build is made of in the roles that decide."""
    found = []
    for role in roles:
        option = chosen[role]
        found.append((role, option.part.sku if option.part else None, option.services))
    return tuple(found)


def brute_cores(catalogue: Catalogue, request: Request) -> dict[Core, list[dict[str, Option]]]:
    """Return the builds of each core, by trying everything."""
    found: dict[Core, list[dict[str, Option]]] = defaultdict(list)
    for chosen in brute_builds(catalogue, request):
        if keeps_limits(request, chosen):
            found[core_of(chosen, catalogue.vocabulary.deciding)].append(chosen)
    return dict(found)


@RANDOM
@given(asked())
def test_cores_and_their_fillings_against_trying_everything(
    drawn: tuple[Catalogue, Request],
) -> None:
    catalogue, request = drawn
    query = ask(TreeEngine(catalogue).space, request)
    brute = brute_cores(catalogue, request)
    cores = list_cores(query)
    assert cores is not None
    assert cores.count.exact
    tallies = Tallies(cores, np.arange(len(cores), dtype=np.intp))
    names = catalogue.vocabulary.deciding
    found = {}
    for n in range(len(cores)):
        options = {r: query.space.options[r][i] for r, i in cores.at(n).items()}
        found[core_of(options, names)] = n
    assert len(found) == len(cores), "each core once"
    assert set(found) == set(brute)
    free = brute_cores(catalogue, replace(request, budget=None, max_mass_g=None))
    if request.max_mass_g is None:
        assert count_all(query) == len(free)
    for core, n in found.items():
        builds, tally = brute[core], tallies.of(n)
        assert tally.fillings.exact
        assert tally.fillings.number == len(builds)
        assert tallies.fillings(n) == len(builds)
        prices = [price_of(request, b) for b in builds]
        assert tally.price == (min(prices), max(prices))
        masses = [m for m in map(mass_of, builds) if m is not None]
        if masses:
            assert tally.tenths is not None
            assert tally.tenths == pytest.approx((min(masses) * 10, max(masses) * 10), abs=0.6)
        else:
            assert tally.tenths is None
        shelf = [
            b
            for b in builds
            if all(o.part is None or o.part.stock or o.part.sku in request.have for o in b.values())
        ]
        today = tallies.price_from_stock(n)
        assert today == (min(price_of(request, b) for b in shelf) if shelf else math.inf)


@RANDOM
@given(asked())
def test_titles_are_true(drawn: tuple[Catalogue, Request]) -> None:
    catalogue, request = drawn
    brute = brute_cores(catalogue, request)
    rows = list_builds(TreeEngine(catalogue), request, sort="price", limit=1, rows=8).answers
    if not brute:
        assert not rows
        return
    names, services = catalogue.vocabulary.deciding, catalogue.vocabulary.services
    from_, today, work = {}, {}, {}
    for core, builds in brute.items():
        from_[core] = min(price_of(request, b) for b in builds)
        shelf = [
            price_of(request, b)
            for b in builds
            if all(o.part is None or o.part.stock or o.part.sku in request.have for o in b.values())
        ]
        if shelf:
            today[core] = min(shelf)
        work[core] = sum(services[s].minutes for _, _, done in core for s in done)
    told = [core_of({r: o.options.get(r, empty(r)) for r in names}, names) for o in rows]
    assert [o.today for o in rows] == [today.get(core) for core in told]
    every = [reason for o in rows for reason in o.reasons]
    assert {r: every.count(r) for r in ("cheapest", "shelf", "work")} == {
        "cheapest": 1,
        "shelf": bool(today),
        "work": len(set(work.values())) > 1,
    }
    idle = {core for core, minutes in work.items() if minutes == min(work.values())}
    for n, (row, core) in enumerate(zip(rows, told, strict=True)):
        if "cheapest" in row.reasons:
            assert n == 0 and from_[core] == min(from_.values())
        if "shelf" in row.reasons:
            assert today[core] == min(today.values())
        if "work" in row.reasons:
            assert core in idle and from_[core] == min(from_[c] for c in idle)
        if row.reasons == ("different",):
            near = [c for c, price in from_.items() if price <= min(from_.values()) * 1.25]
            assert core in near
            assert apart(core, told[:n]) == max(apart(c, told[:n]) for c in near)


def apart(core: Core, others: Sequence[Core]) -> int:
    """Return in how many roles a core differs from the nearest of others."""
    return min(sum(a != b for a, b in zip(core, other, strict=True)) for other in others)


def test_the_first_five_rows_are_the_same_whatever_is_listed_behind_them() -> None:
    shop = the_demo().shop
    eight = shop.builds(["FORK-VEN-04"], limit=1).answers
    five = shop.builds(["FORK-VEN-04"], limit=1, ways=5).answers
    assert [o.parts for o in five] == [o.parts for o in eight[:5]]
    two = shop.builds(["FORK-VEN-04"], limit=1, ways=2).answers
    assert [o.reasons[0] for o in two] == ["cheapest", "lightest"]
    every = {reason for o in eight for reason in o.reasons}
    assert {"cheapest", "lightest", "strongest", "balance", "shelf"} <= every


@pytest.mark.long
@RANDOM
@given(asked(), st.sampled_from(["price", "mass", "strength"]))
def test_the_ends_stand_among_the_rows(drawn: tuple[Catalogue, Request], sort: str) -> None:
    catalogue, request = drawn
    engine = TreeEngine(catalogue)
    listed = list_builds(engine, request, sort=sort, limit=3, rows=8)
    brute = brute_cores(catalogue, request)
    builds = [b for of in brute.values() for b in of]
    assert listed.cores is not None
    assert listed.cores.number == len(brute)
    assert listed.count.number == len(builds)
    rows = listed.answers
    assert len({tuple(o.places.items()) for o in rows}) == len(rows) <= min(8, len(brute))
    if not builds:
        assert not rows
        return
    (cheapest,) = [o for o in rows if "cheapest" in o.reasons]
    assert cheapest.price_from == min(price_of(request, b) for b in builds)
    masses = [m for m in map(mass_of, builds) if m is not None]
    lightest = [o.mass_from_g for o in rows if "lightest" in o.reasons]
    assert lightest == ([pytest.approx(min(masses), abs=0.06)] if masses else [])
    known = engine.best(request, sort="strength", limit=1)[0].strength_nm
    source = catalogue.vocabulary.strength
    if source is not None and source.outside.role not in catalogue.vocabulary.deciding:
        known = None  # then it is what fills that bears, and each row has any
    strongest = [o.strength_nm for o in rows if "strongest" in o.reasons]
    assert strongest == ([] if known is None else [pytest.approx(known, abs=1e-3)])
    shelf = [
        price_of(request, b)
        for b in builds
        if all(o.part is None or o.part.stock or o.part.sku in request.have for o in b.values())
    ]
    told = [o for o in rows if "shelf" in o.reasons]
    assert len(told) == bool(shelf)
    assert all(o.in_stock and o.price_from <= min(shelf) for o in told)
    end = {"price": "cheapest", "mass": "lightest", "strength": "strongest"}[sort]
    assert end in rows[0].reasons or not any(end in o.reasons for o in rows)


def test_a_catalogue_in_which_no_role_is_marked_has_one_filling_a_core() -> None:
    catalogue = marked(load(shipped_folder("data") / "hoses").catalogue, ())
    engine = TreeEngine(catalogue)
    listed = list_builds(engine, Request(), sort="price", limit=1, rows=5)
    assert listed.cores == listed.count
    assert {o.fillings.number for o in listed.answers} == {1}


@pytest.mark.some(1)
@pytest.mark.parametrize("name", ["hoses", "bench40"])
def test_small_trades_by_hand_and_by_trying_everything(name: str) -> None:
    catalogue = load(shipped_folder("data") / name).catalogue
    brute = brute_cores(catalogue, Request())
    listed = list_builds(TreeEngine(catalogue), Request(), sort="price", limit=1, rows=5)
    assert listed.cores is not None
    assert listed.cores.number == len(brute)
    assert sum(map(len, brute.values())) == listed.count.number


def test_too_many_cores_to_list_are_counted_and_their_best_still_stand(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    engine = the_demo().shop.engine
    request = Request(have=("FORK-VEN-04",))
    whole = list_builds(engine, request, sort="price", limit=3, rows=5)
    monkeypatch.setattr(cores_module, "MOST_LISTED", 2_000)
    part = list_builds(engine, request, sort="price", limit=3, rows=5)
    assert whole.cores == part.cores
    assert part.answers[0].price_from == whole.answers[0].price_from
    bound = replace(request, budget=60_000)
    limited = list_builds(engine, bound, sort="price", limit=3, rows=5)
    assert limited.cores is not None
    assert not limited.cores.exact
    monkeypatch.undo()
    sure = list_builds(engine, bound, sort="price", limit=3, rows=5).cores
    assert sure is not None
    assert limited.cores.least <= sure.number <= limited.cores.most


def test_the_masses_of_a_core_of_unknown_mass_are_unknown_under_a_budget() -> None:
    catalogue = the_demo().shop.catalogue
    role = catalogue.vocabulary.deciding[0]
    parts = {
        k: replace(p, mass_g=None) if p.role == role else p for k, p in catalogue.parts.items()
    }
    unweighed = replace(
        catalogue,
        parts=MappingProxyType(parts),
        by_role=MappingProxyType(
            {r: tuple(parts[p.sku] for p in of) for r, of in catalogue.by_role.items()}
        ),
    )
    fork = next(p.sku for p in catalogue.of(role))
    query = ask(TreeEngine(unweighed).space, Request(have=(fork,), budget=40_000))
    cores = list_cores(query)
    assert cores is not None
    assert len(cores)
    assert not cores.weighed.any()
    tallies = Tallies(cores, np.arange(len(cores), dtype=np.intp))
    assert any(not tallies._free(n) for n in range(len(cores)))
    assert {tallies.of(n).tenths for n in range(len(cores))} == {None}


def test_weighings_cover_the_triangle_evenly() -> None:
    weights = weighings(4)
    assert weights.shape == (16, 3)
    assert np.allclose(weights.sum(axis=1), 1)
    assert (weights > 0).all()
    # Every order of the three is in it as often: the triangle has no favourite.
    for order in itertools.permutations(range(3)):
        turned = {tuple(np.round(w[list(order)], 9)) for w in weights}
        assert turned == {tuple(np.round(w, 9)) for w in weights}


def test_no_rows_are_asked_for() -> None:
    shop = the_demo().shop
    answer = shop.builds(["FORK-VEN-04"], ways=0)
    assert answer.cores == 6114
    assert not answer.answers


@pytest.mark.long
def test_the_first_rows_hold_the_best_for_nine_weighings_of_ten() -> None:
    # All enquiries: python -m tests.bench.first_rows
    shop = the_demo().shop
    found = measure(shop.engine, shop.catalogue.enquiries[::8], draws=300)
    assert found.enquiries >= 10
    assert found.hits >= 0.9
    assert found.regret <= 0.02
