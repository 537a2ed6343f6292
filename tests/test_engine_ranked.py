"""Ranked builds of catalogues measured one by one, and counts under limits there.

The plan without conditions on sums is ranked and its builds are held to them; brute force is the
stream of all builds of the plan with all conditions.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from bench.catalogues import measured, scaled
from scipy.stats import binom

from fitgraph.solve import Request, TreeEngine, estimate, limits, paired, ranked
from fitgraph.solve.best import k_best
from fitgraph.solve.engine import SORTS, criteria_of
from fitgraph.solve.estimate import CONFIDENCE
from fitgraph.solve.kept import keeps_sums
from fitgraph.solve.limits import count_within
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.query import TENTHS, Query, ask
from fitgraph.solve.ranked import best_of
from fitgraph.solve.stream import Stream


@pytest.fixture
def wide(monkeypatch: pytest.MonkeyPatch) -> None:
    """Call every plan wide, so that small catalogues take the way of large ones."""
    monkeypatch.setattr("fitgraph.solve.plan.Plan.reads", True)


def _listed(query: Query, *, certain: bool) -> tuple[np.ndarray, np.ndarray]:
    whole = list(Stream(query, certain=certain).batches())
    price = np.concatenate([np.zeros(0), *(b.price for b in whole)])
    return price, np.concatenate([np.zeros(0), *(b.tenths for b in whole)])


@pytest.mark.usefixtures("wide")
@pytest.mark.some(2)
@pytest.mark.parametrize("certain", [True, False])
@pytest.mark.parametrize("seed", [1, 2])
def test_ranked_builds_of_measured_parts_are_those_of_all_conditions(
    seed: int, certain: bool
) -> None:
    engine = TreeEngine(measured(scaled(8, 8, seed=seed), seed=seed))
    space = engine.space
    plain = space.without_sums(certain=certain)
    assert plain is not None
    query = ask(space, Request())
    price, tenths = _listed(query, certain=certain)
    assert len(price) > 100
    middle = float(np.median(tenths)) // TENTHS
    for request in (
        Request(),
        Request(max_mass_g=middle),
        Request(budget=int(np.quantile(price, 0.2)), max_mass_g=middle),
    ):
        asked = ask(space, request)
        lets = asked.mask(certain=certain)
        for sort in SORTS:
            criteria = criteria_of(asked, sort)
            plan = space.plan(certain=certain)
            for k in (1, 7, 300):
                options, costs = best_of(space, lets, criteria, k, certain=certain)
                _, whole = k_best(plan, space.class_of, lets, criteria, k)
                assert np.array_equal(costs[:, 0], whole[:, 0])
                assert (costs[:, 1:] <= criteria.limits).all()
                if len(costs):
                    assert keeps_sums(space, options, certain=certain).all()
                    assert len(set(zip(*(o.tolist() for o in options.values()), strict=True))) == (
                        len(costs)
                    )
    kept = price[tenths <= middle * TENTHS] if certain else price
    request = Request(max_mass_g=middle) if certain else Request()
    best = engine.best(request, limit=50, certain=certain)
    assert [b.price for b in best] == sorted(kept)[:50]


@pytest.mark.usefixtures("wide")
def test_where_too_many_partial_builds_wait_all_conditions_are_asked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    space = TreeEngine(measured(scaled(8, 8, seed=1), seed=1)).space
    query = ask(space, Request())
    lets, criteria = query.mask(certain=True), criteria_of(query, "price")
    _, known = best_of(space, lets, criteria, 20, certain=True)
    plan = space.plan(certain=True)
    with pytest.raises(TooWideError, match="memory"):
        k_best(plan, space.class_of, lets, criteria, 20, room=1e3)
    monkeypatch.setattr(ranked, "_SHARE", 1e-9)
    with pytest.raises(TooWideError):
        ranked._sifted(space, lets, criteria, 20, 1 << 17, certain=True)
    _, found = best_of(space, lets, criteria, 20, certain=True)
    assert np.array_equal(found[:, 0], known[:, 0])


@pytest.mark.usefixtures("wide")
def test_a_named_part_is_ranked_along_its_own_plan_or_by_sifting(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    space = TreeEngine(measured(scaled(8, 8, seed=1), seed=1)).space
    (part,) = TreeEngine(space.catalogue).best(Request(), limit=1)
    query = ask(space, Request(want=(part.parts["fork"],)))
    lets, criteria = query.mask(certain=True), criteria_of(query, "price")
    found = []
    for soon, looked in ((0, math.inf), (0, 0.0), (1 << 17, 0.0)):
        monkeypatch.setattr(ranked, "_SOON", soon)
        monkeypatch.setattr(ranked, "_LOOKED", looked)
        found.append(best_of(space, lets, criteria, 40, certain=True)[1][:, 0].tolist())
    assert len(found[0]) == 40
    assert found[0] == found[1] == found[2]


@pytest.mark.usefixtures("wide")
def test_conditions_on_sums_judge_as_the_plan_does() -> None:
    """Of the builds without them, those that keep them are as many as the plan counts."""
    engine = TreeEngine(measured(scaled(8, 8, seed=3), seed=3))
    for certain in (True, False):
        plain = engine.space.without_sums(certain=certain)
        assert plain is not None
        stream = Stream(ask(plain, Request()), certain=certain)
        kept = sum(
            int(keeps_sums(engine.space, dict(batch.options), certain=certain).sum())
            for batch in stream.batches()
        )
        true = engine.count(Request()) if certain else engine.count_possible(Request())
        assert kept == true.number
        assert kept < stream.total


@pytest.mark.usefixtures("wide")
def test_counts_of_measured_parts_within_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Estimates hold the number, few builds are counted exactly by ranking them."""
    engine = TreeEngine(measured(scaled(10, 8, seed=2), seed=2))
    query = ask(engine.space, Request())
    price, tenths = _listed(query, certain=True)
    monkeypatch.setattr(limits, "WORTH_WALKING", 0)
    monkeypatch.setattr(estimate, "SAMPLE", 20_000)
    held = asked = 0
    for share in (0.003, 0.05, 0.3, 0.7, 0.99):
        budget = int(np.quantile(price, share))
        most = float(np.quantile(tenths, 0.6)) // TENTHS
        true = int(((price <= budget) & (tenths <= most * TENTHS)).sum())
        request = ask(engine.space, Request(budget=budget, max_mass_g=most))
        assert count_within(request, certain=True) == limits.exactly(true)
        for seed in range(6):
            monkeypatch.setattr(estimate, "SEED", seed)
            guess = count_within(request, certain=True, ceiling=-1)
            assert guess.least <= guess.number <= guess.most
            asked += 1
            held += guess.least <= true <= guess.most
    assert asked == 30
    assert held >= 28


def test_an_endless_ranking_tells_every_build_once_and_in_order() -> None:
    """Pieces meet without a gap, ties included: prices are a few tens."""
    engine = TreeEngine(scaled(8, 6))
    price, tenths = _listed(ask(engine.space, Request()), certain=True)
    most = float(np.quantile(tenths, 0.05)) // TENTHS
    request = Request(max_mass_g=most)
    kept = sorted(price[tenths <= most * TENTHS])
    assert 1000 < len(kept) < len(price)
    told = list(engine.ranked(request))
    assert [b.price for b in told] == kept
    assert len(
        {
            tuple(sorted((r, o.part.sku, o.services) for r, o in b.options.items() if o.part))
            for b in told
        }
    ) == len(kept)
    first = [b.price for b, _ in zip(engine.ranked(request), range(40), strict=False)]
    assert first == kept[:40]


@pytest.mark.long
def test_paired_halves_keep_their_confidence(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hundred questions; the normal approximation of 32 batches is held to brute force."""
    assert binom.cdf(95, 100, CONFIDENCE) < 0.004
    query = ask(TreeEngine(scaled(12, 8)).space, Request())
    price, tenths = _listed(query, certain=True)
    rng = np.random.default_rng(23)
    monkeypatch.setattr(paired, "EACH", 128)
    held, wide = 0, []
    for seed in range(100):
        budget = int(np.quantile(price, 10 ** rng.uniform(-2, 0)))
        most = float(np.quantile(tenths, 10 ** rng.uniform(-1, 0))) // TENTHS
        one = (
            Request(budget=budget),
            Request(max_mass_g=most),
            Request(budget=budget, max_mass_g=most),
        )[seed % 3]
        inside = np.ones(len(price), dtype=bool)
        if one.budget is not None:
            inside &= price <= budget
        if one.max_mass_g is not None:
            inside &= tenths <= most * TENTHS
        true = int(inside.sum())
        monkeypatch.setattr(estimate, "SEED", seed)
        guess = estimate.estimate(ask(query.space, one), len(price), certain=True)
        held += guess.least <= true <= guess.most
        if true > 10_000:
            wide.append((guess.most - guess.least) / 2 / true)
    assert held >= 96
    assert float(np.median(wide)) < 0.03
