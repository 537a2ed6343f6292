"""Measured catalogues as large as shops have, against joins written out by hand.

Some options of each role are let in, those of a few builds drawn by lot and some more, so that
all their builds can be listed: role by role, each joint and each sum held to as soon as it can
be. The plans, rows and runs are those of the whole catalogue, with all their kinds.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from bench.catalogues import measured, scaled

from fitgraph.model import Verdict
from fitgraph.solve import Request, Space, TreeEngine
from fitgraph.solve.best import Criteria, k_best
from fitgraph.solve.circuit_home import CircuitHome
from fitgraph.solve.cores import deciding, list_cores
from fitgraph.solve.counting import count, count_each
from fitgraph.solve.fronts import Fronts
from fitgraph.solve.limits import count_within
from fitgraph.solve.query import Query, ask
from fitgraph.solve.ranked import best_of
from fitgraph.solve.sample import Lottery
from fitgraph.solve.stream import Stream
from tests.turns import turns

Bools = np.ndarray


@functools.cache
def shop(parts: int) -> Space:
    return TreeEngine(measured(scaled(parts))).space


def joined(space: Space, lets: Mapping[str, Bools], least: Verdict) -> np.ndarray:
    """Return all builds as options, (n_builds, n_roles), role by role."""
    found = np.zeros((1, 0), dtype=np.intp)
    known: list[str] = []
    tables = [(t.roles, t.class_of, t.verdicts >= least) for t in space.joint_tables]
    for role in space.roles:
        some = np.flatnonzero(lets[role])
        found = np.column_stack(
            [np.repeat(found, len(some), axis=0), np.tile(some, len(found))]
        ).astype(np.intp)
        known.append(role)
        at = {r: found[:, n] for n, r in enumerate(known)}
        good = np.ones(len(found), dtype=bool)
        for roles, class_of, allowed in tables:
            if role in roles and set(roles) <= set(known):
                index = tuple(c[at[r]] for r, c in zip(roles, class_of, strict=True))
                good &= allowed[index]
        for condition in space.sums:
            roles_of = {r for t in condition.terms for r in t.roles}
            if role in roles_of and roles_of <= set(known):
                total, free = np.zeros(len(found)), np.zeros(len(found), dtype=bool)
                for term in condition.terms:
                    values = term.worst if least is Verdict.FITS else term.best
                    own = values[
                        tuple(c[at[r]] for r, c in zip(term.roles, term.class_of, strict=True))
                    ]
                    free |= own == np.inf
                    total += np.where(own == np.inf, 0.0, own)
                good &= free | (total >= -1e-9)
        found = found[good]
        assert len(found) < 2_000_000
    return found


def drawn(space: Space, query: Query, rng: np.random.Generator, certain: bool) -> dict[str, Bools]:
    """Return options of a few builds drawn by lot, and some more."""
    lot = Lottery(
        space.plan(certain=certain),
        space.class_of,
        {r: m.astype(float) for r, m in query.mask(certain=certain).items()},
    ).draw(3 if certain else 2, rng)
    lets = {}
    for role in space.roles:
        lets[role] = np.zeros(len(space.options[role]), dtype=bool)
        lets[role][lot[role]] = True
        lets[role][rng.integers(0, len(lets[role]), int(certain))] = True
    return lets


def front_is_that_of(space: Space, query: Query, builds: np.ndarray, certain: bool) -> None:
    """Hold the front of price, mass and a third criterion of one role to that of all builds."""
    weak = {r: np.zeros(len(o)) for r, o in space.options.items()}
    weak["bar"] = np.arange(len(weak["bar"]), dtype=float) % 7
    costs = {r: np.array([query.price[r], query.tenths[r], weak[r]]) for r in space.roles}
    spent = [costs[r][:, builds[:, n]] for n, r in enumerate(space.roles)]
    points = np.unique(np.sum(spent, axis=0).T, axis=0)
    least = [p for p in points if not ((points <= p).all(1) & (points < p).any(1)).any()]
    made = Fronts(
        space.support(certain=certain),
        "bar",
        space.class_of,
        query.mask(certain=certain),
        costs,
        np.full(3, np.inf),
    )
    assert sorted(map(tuple, made.exact()[1])) == sorted(map(tuple, least))


@pytest.mark.some(2)
@pytest.mark.parametrize("certain", [True, False])
@pytest.mark.parametrize("parts", [30, 40, pytest.param(80, marks=pytest.mark.long)])
def test_what_is_counted_and_listed_is_what_a_join_finds(parts: int, certain: bool) -> None:
    space = shop(parts)
    whole = ask(space, Request())
    home: CircuitHome | None = None
    least = Verdict.FITS if certain else Verdict.UNKNOWN
    for seed in range(turns(12, 1)):
        rng = np.random.default_rng(seed)
        lets = drawn(space, whole, rng, certain)
        query = replace(whole, lets=lets)
        builds = joined(space, query.mask(certain=certain), least)
        assert len(builds) >= 2
        weights = query.weights(query.mask(certain=certain))
        assert count(space.plan(certain=certain), weights) == len(builds)
        assert space.counts({r: w[None] for r, w in weights.items()}, certain=certain) == [
            len(builds)
        ]
        circuit = space.circuit(certain=certain)
        if circuit is not None:
            home = home or CircuitHome(circuit, whole.weights(whole.mask(certain=certain)))
            assert circuit.count(weights) == home.count(weights) == len(builds)
        for n, role in enumerate(space.roles):
            each = space.through(weights, certain=certain)[role]
            own = np.bincount(builds[:, n], minlength=len(lets[role]))
            for place in np.flatnonzero(lets[role]):
                assert own[place] == each[space.class_of[role][place]]
        stream = Stream(query, certain=certain)
        listed = [np.column_stack([b.options[r] for r in space.roles]) for b in stream.batches()]
        assert {tuple(b) for some in listed for b in some} == {tuple(b) for b in builds}
        price = sum(query.price[r][builds[:, n]] for n, r in enumerate(space.roles))
        costs = {r: np.array([query.price[r], query.price[r], query.tenths[r]]) for r in lets}
        criteria = Criteria(costs, np.array([np.inf, np.inf]))
        mask = query.mask(certain=certain)
        wanted = np.sort(price)[:9].tolist()
        ranked = best_of(space, mask, criteria, 9, certain=certain)[1]
        assert ranked[:, 0].tolist() == wanted
        rows = space.support(certain=certain)
        along = k_best(rows.plan, space.class_of, mask, criteria, 9, rows)[1]
        assert along[:, 0].tolist() == wanted
        middle = replace(query, request=replace(query.request, budget=int(np.median(price))))
        held = count_within(middle, certain=certain)
        assert held.least <= (price <= np.median(price)).sum() <= held.most
        front_is_that_of(space, query, builds, certain)
        if not certain:  # cores are of certain builds
            continue
        late = [space.roles.index(r) for r in space.roles if r in deciding(query)]
        cores = list_cores(query)
        assert cores is not None
        kinds, times = np.unique(builds[:, late], axis=0, return_counts=True)
        at = np.column_stack([cores.options[space.roles[n]] for n in late])
        assert dict(zip(map(tuple, at.tolist()), cores.fillings.tolist(), strict=True)) == dict(
            zip(map(tuple, kinds.tolist()), times.tolist(), strict=True)
        )


@pytest.mark.parametrize("parts", [30, 40])
def test_rows_and_runs_of_a_whole_catalogue_count_as_passes_do(parts: int) -> None:
    space = shop(parts)
    whole = ask(space, Request())
    for certain in (True, False):
        plan = space.plan(certain=certain)
        weights = whole.weights(whole.mask(certain=certain))
        assert any(s.decided is not None and s.kinds > 32 for s in plan.steps)
        number = count(plan, weights)
        each = count_each(plan, weights)
        circuit = space.circuit(certain=certain)
        assert circuit is not None
        assert circuit.count(weights) == number
        for role, found in circuit.count_each(weights).items():
            assert found.tolist() == [int(n) for n in each[role]]
