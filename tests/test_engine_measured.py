"""Parts that are all different: counts, rankings and fronts against brute force and CP-SAT.

Tables and sum conditions are drawn at random, with no joint of any trade behind them: dense ones
over up to five roles, rings, roles that matter only by being there, sums along a nest whose terms
hang on presence. The judges are the plain product of all options, python-constraint and CP-SAT.
"""

from __future__ import annotations

import functools
import gc
import itertools
import math
import weakref
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from types import MappingProxyType
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest
from bench.catalogues import measured, scaled
from bench.peers import cp_sat_cheapest, task_of
from hypothesis import given, settings
from hypothesis import strategies as st
from walked_front import pareto_front

from fitgraph.catalogue import Loaded
from fitgraph.demand.least import least_through
from fitgraph.graph.joints import JointTable
from fitgraph.graph.sums import SumCondition, Term
from fitgraph.model import Catalogue, Fill, Joint, Option, Part, Role, Verdict, Vocabulary
from fitgraph.shop.front import Shop
from fitgraph.solve import (
    Request,
    Services,
    Space,
    TooWideError,
    TreeEngine,
    best,
    bundles,
    case_plan,
    circuit_rows,
    dominance,
    fronts,
    grouping,
    plan,
    planning,
    relations,
    rows,
    splits,
    step_work,
    within,
)
from fitgraph.solve.best import Criteria, k_best
from fitgraph.solve.circuit_home import CircuitHome
from fitgraph.solve.circuit_rows import circuit_of
from fitgraph.solve.counted import Counted
from fitgraph.solve.counting import count, count_each
from fitgraph.solve.draft import Draft
from fitgraph.solve.fronts import Fronts
from fitgraph.solve.limits import count_within
from fitgraph.solve.messages import Demands
from fitgraph.solve.order import NoOrderError, Order, Tangle, best_order
from fitgraph.solve.plan import Plan
from fitgraph.solve.query import TENTHS, Query, ask
from fitgraph.solve.reference import ReferenceEngine
from fitgraph.solve.residues import joined, words_of
from fitgraph.solve.space import compile_tables
from fitgraph.solve.stream import Stream
from tests.shared import the_demo
from tests.sum_tables import table_of
from tests.turns import LONG, turns


def no_order_of_tuples(tangle: Tangle, enough: float = 0.0, tries: int = 0) -> Order:
    """Return an order, but none where tuples have to stay apart from what they decide."""
    if tangle.apart:
        raise NoOrderError
    return best_order(tangle, enough, tries)


Patches = list[tuple[object, Mapping[str, Any]]]


def in_components(draft: Draft) -> Plan:
    """Return a plan with sorted tuples, in finer cases."""
    return planning._finished(replace(draft, apart=True))


#: All work is worth cases, sums are never one table, and every relation is wide.
SPLIT: Patches = [(planning, {"CHEAP": 0.0}), (case_plan, {"CHEAP": 0.0})]
RUNNING: Patches = [(within, {"_AS_TABLE": -1})]
WIDE: Patches = [(splits, {"_WIDE": 0})]
SLICES: Patches = [(step_work, {"SLICE": 8})]
READ: Patches = [(plan, {"READ": 0})]
TUPLES: Patches = [(bundles, {"WORTH": 0})]
#: Every case falls into as many as it can.
COMPONENTS: Patches = [(planning, {"_WIDE": -1.0, "_WORTH": math.inf, "_of_tuples": in_components})]

#: Ways to work: as it comes; in as many cases, blocks, bridges and slices as there can be.
WAYS: dict[str, Patches] = {
    "plain": [],
    "cases": [*SPLIT, *WIDE],
    "bridges": [(grouping, {"_SMALL": 0, "_BLOCK": 0.01})],
    "slices": [
        *SPLIT,
        *WIDE,
        *SLICES,
        (grouping, {"_SMALL": 0}),
        (fronts, {"_AT_ONCE": 4, "_WEIGHTINGS": 1}),
        (dominance, {"_LEVELS": 2}),
    ],
    "running": RUNNING,
    "running cases": [*RUNNING, *SPLIT, *WIDE, *SLICES],
    "read": [*RUNNING, *READ],
    "read cases": [*RUNNING, *SPLIT, *WIDE, *READ, *SLICES],
    "tuples": [*RUNNING, *SPLIT, *TUPLES, (circuit_rows, {"_NARROW": np.int16})],
    "tuples cases": [
        *RUNNING,
        *SPLIT,
        *WIDE,
        *READ,
        *TUPLES,
        *SLICES,
        (rows, {"_AT_ONCE": 8}),
        # Numbers in so few bytes that an overflow anywhere would show.
        (circuit_rows, {"_NARROW": np.int8, "_AT_ONCE": 8, "_CELLS": 4, "_BLOCK": 16}),
    ],
    "components": [*RUNNING, *SPLIT, *WIDE, *COMPONENTS],
    "tuples components": [*RUNNING, *SPLIT, *WIDE, *TUPLES, *COMPONENTS],
    "no order": [*RUNNING, *SPLIT, *TUPLES, (case_plan, {"best_order": no_order_of_tuples})],
    "apart": [(relations, {"_MERGED": 0}), (best, {"_FIRST": 1, "_GROWTH": 1, "_ROWS": 1})],
}


@contextmanager
def patched(patches: Patches) -> Iterator[None]:
    """Have constants of modules be others."""
    with ExitStack() as stack:
        for module, values in patches:
            stack.enter_context(patch.multiple(module, **values))
        yield


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest) -> Iterator[str]:
    with patched(WAYS[request.param]):
        yield request.param


def free_catalogue(counts: Mapping[str, int], rng: np.random.Generator) -> Catalogue:
    """Return roles that no joint of a vocabulary ties, with parts at random prices and masses."""
    roles = {n: Role(n, n, Fill.ALWAYS, {}) for n in counts}
    vocabulary = Vocabulary("free", "EUR", 2, {}, MappingProxyType(roles), ())
    made = {
        name: tuple(
            Part(
                f"{name}-{k}".upper(),
                name,
                price=int(rng.integers(1, 9)),
                mass_g=float(rng.integers(1, 9)),
            )
            for k in range(number)
        )
        for name, number in counts.items()
    }
    parts = {p.sku: p for of_role in made.values() for p in of_role}
    return Catalogue(vocabulary, MappingProxyType(parts), by_role=MappingProxyType(made))


def classes(rng: np.random.Generator, count: int, most: int) -> np.ndarray:
    of = rng.integers(0, most, count)
    return np.unique(of, return_inverse=True)[1].astype(np.intp)


def random_table(
    rng: np.random.Generator,
    name: str,
    roles: tuple[str, ...],
    counts: Mapping[str, int],
    *,
    blocks: bool = False,
) -> JointTable:
    """Return a table over some roles: the first two may be told apart one by one, others hardly.

    With ``blocks`` every other class of the first two goes only with every other.
    """
    of = tuple(
        classes(rng, counts[r], counts[r] if n < 2 else int(rng.integers(1, 4)))
        for n, r in enumerate(roles)
    )
    shape = [int(c.max()) + 1 for c in of]
    kind = rng.integers(0, 3)
    if kind == 0 and len(shape) > 1:  # sizes: a clearance within limits
        ends = np.add.outer(rng.normal(size=shape[0]), rng.normal(size=shape[1]))
        ends = ends.reshape(shape[:2] + [1] * (len(shape) - 2))
        verdicts = np.where(ends > -0.3, 2, np.where(ends > -0.8, 1, 0))
        verdicts = np.broadcast_to(verdicts, shape).copy()
    else:
        verdicts = rng.choice([0, 1, 2], size=shape, p=[0.25, 0.1, 0.65])
    if blocks and len(shape) > 1:
        verdicts[np.add.outer(np.arange(shape[0]), np.arange(shape[1])) % 2 > 0] = 0
    for axis in range(2, len(shape)):  # mostly it binds only where something is missing
        index: list[object] = [slice(None)] * len(shape)
        index[axis] = int(rng.integers(0, shape[axis]))
        if shape[axis] > 1 and rng.random() < 0.8:
            verdicts[tuple(index)] = 2
    joint = Joint(name, name, "present")
    return JointTable(joint, roles, of, verdicts.astype(np.int8))


def random_sum(
    rng: np.random.Generator,
    name: str,
    roles: list[str],
    counts: Mapping[str, int],
    asks: float = 0.25,
) -> SumCondition:
    """Return a condition over some roles, with presence of others in its terms."""
    terms = []
    for role in roles:
        others = [o for o in counts if o != role and rng.random() < asks][:2]
        over = (role, *others)
        of = tuple(classes(rng, counts[r], counts[r] if n == 0 else 2) for n, r in enumerate(over))
        shape = [int(c.max()) + 1 for c in of]
        worst = rng.normal(size=shape).round(2)
        more = np.abs(rng.normal(scale=0.3, size=shape)).round(2)
        high = worst + more
        worst[rng.random(shape) < 0.05] = -np.inf
        high[rng.random(shape) < 0.05] = np.inf
        free = rng.random(shape) < 0.05
        worst[free], high[free] = np.inf, np.inf
        terms.append(Term(over, of, worst, high))
    return SumCondition(Joint(name, name, "present"), name, tuple(terms))


def random_space(seed: int, *, blocks: bool = False) -> Space:
    """Return a space of three to six roles."""
    rng = np.random.default_rng(seed)
    names = [f"r{n}" for n in range(int(rng.integers(3, 7)))]
    counts = {n: int(rng.integers(2, 5 if len(names) > 4 else 7)) for n in names}
    catalogue = free_catalogue(counts, rng)
    options = {n: tuple(Option(n, p, (), {}) for p in catalogue.of(n)) for n in counts}
    tables = []
    ring = rng.random() < 0.5
    for n, name in enumerate(names):
        if ring or rng.random() < 0.5:
            roles = (name, names[(n + 1) % len(names)])
            tables.append(random_table(rng, f"ring {n}", roles, counts, blocks=blocks))
    for n in range(int(rng.integers(0, 3))):
        size = int(rng.integers(1, min(len(names), 5) + 1))
        roles = tuple(rng.permutation(names)[:size].tolist())
        tables.append(random_table(rng, f"wide {n}", roles, counts, blocks=blocks))
    sums = []
    if rng.random() < 0.5:
        for n in range(int(rng.integers(0, 3))):
            over = rng.permutation(names)[: int(rng.integers(1, 6))].tolist()
            sums.append(random_sum(rng, f"sum {n}", over, counts))
    else:  # several that add something of the same roles
        common = rng.permutation(names)[: int(rng.integers(2, 4))].tolist()
        for n in range(int(rng.integers(2, 5))):
            beside = [r for r in names if r not in common and rng.random() < 0.4]
            sums.append(random_sum(rng, f"sum {n}", [*common, *beside], counts, asks=0.02))
    return compile_tables(catalogue, options, tables, sums=sums)


def stacked_space(seed: int, *, blocks: bool = False) -> Space:
    """Return a space in which several conditions ask for the length of the same three roles.

    Some ask for it at its least, some at its most, as of a stack of parts with tolerances; some
    roles beside the stack matter in some conditions only by being there.
    """
    rng = np.random.default_rng(1000 + seed)
    names = [f"r{n}" for n in range(int(rng.integers(4, 7)))]
    counts = {n: int(rng.integers(2, 5 if len(names) > 4 else 6)) for n in names}
    catalogue = free_catalogue(counts, rng)
    options = {n: tuple(Option(n, p, (), {}) for p in catalogue.of(n)) for n in counts}
    tables = []
    for n in range(int(rng.integers(2, 6))):
        roles = tuple(rng.permutation(names)[: int(rng.integers(2, 4))].tolist())
        tables.append(random_table(rng, f"table {n}", roles, counts, blocks=blocks))
    stack = rng.permutation(names)[:3].tolist()
    middle = {r: rng.normal(size=counts[r]).round(2) for r in stack}
    half = {r: rng.choice([0.1, 0.2, 0.35], size=counts[r]) for r in stack}
    if rng.random() < 0.3:  # one that leaves a condition open, whatever the others are
        middle[stack[0]][0] = np.inf
    sums = []
    for n in range(int(rng.integers(2, 5))):
        sign = 1.0 if rng.random() < 0.5 else -1.0
        terms = []
        for role in stack:
            each = np.arange(counts[role], dtype=np.intp)
            worst, high = (sign * middle[role] - half[role], sign * middle[role] + half[role])
            lost = ~np.isfinite(middle[role])
            worst[lost], high[lost] = np.inf, np.inf
            terms.append(Term((role,), (each,), worst, high))
        beside = [r for r in names if r not in stack and rng.random() < 0.7]
        asks = 0.3 if rng.random() < 0.5 else 0.0  # or several roles add to it by themselves
        more = random_sum(rng, f"sum {n}", beside, counts, asks=asks).terms if beside else ()
        more = tuple(t for t in more if not set(t.roles) & set(stack))
        sums.append(
            SumCondition(Joint(f"sum {n}", f"sum {n}", "present"), f"sum {n}", (*terms, *more))
        )
    return compile_tables(catalogue, options, tables, sums=sums)


def space_for(seed: int, way: str) -> Space:
    """Return a space that brings out a way to work."""
    made = stacked_space if way.startswith("tuples") else random_space
    return made(seed, blocks=way.endswith("components"))


#: With sums over the same roles, or over any.
STACKS = (random_space, stacked_space)


def along(space: Space, roles: tuple[str, ...], class_of: tuple[np.ndarray, ...]) -> tuple:
    """Return an index of a table over classes, an axis of options for each role of the space."""
    index = []
    for role, of in zip(roles, class_of, strict=True):
        index.append(of.reshape([-1 if r == role else 1 for r in space.roles]))
    return tuple(index)


def judged(space: Space, least: Verdict) -> np.ndarray:
    """Return whether all tables and sums allow each combination of options, an axis a role."""
    shape = [len(o) for o in space.options.values()]
    good = np.ones(shape, dtype=bool)
    for table in space.joint_tables:
        good &= table.verdicts[along(space, table.roles, table.class_of)] >= least
    for condition in space.sums:
        good &= keeps(space, condition, least)
    return good


def keeps(space: Space, condition: SumCondition, least: Verdict) -> np.ndarray:
    """Return which combinations keep a sum, added up as the sum says."""
    total, free = np.zeros([1] * len(space.roles)), np.zeros([1] * len(space.roles), dtype=bool)
    for term in condition.terms:
        values = term.worst if least is Verdict.FITS else term.best
        values = values[along(space, term.roles, term.class_of)]
        free = free | (values == np.inf)
        total = total + np.where(values == np.inf, 0.0, values)
    return free | (total >= -1e-9)


def added(space: Space, of: Mapping[str, np.ndarray]) -> np.ndarray:
    """Return the sum of one number an option, for every combination of options."""
    total = np.zeros([1] * len(space.roles))
    for role in space.roles:
        total = total + of[role][along(space, (role,), (np.arange(len(of[role])),))]
    return total


def circuit_agrees(
    made: plan.Plan,
    weights: Mapping[str, np.ndarray],
    large: Mapping[str, np.ndarray],
    space: Space,
) -> None:
    """Hold a circuit to passes over its plan: as asked, with large numbers, after a pick."""
    whole = {r: np.bincount(c).astype(float) for r, c in space.class_of.items()}
    made_rows = circuit_of(made, whole, 1e9)
    home = CircuitHome(made_rows, weights)
    first = next(iter(weights))
    picks = [{**weights, first: np.eye(len(w))[n] * w} for w in [weights[first]] for n in (0, -1)]
    for asked in (weights, large, *picks, weights, *picks):
        each = count_each(made, asked)
        lets = {r: w > 0 for r, w in asked.items()}
        for narrow in (made_rows.within(lets), made_rows.within(lets).within(lets)):
            assert narrow.rows <= made_rows.rows
            assert narrow.count(asked) == count(made, asked)
            found = narrow.count_each(asked)
            for role, wanted in each.items():
                assert found[role][lets[role]].tolist() == [int(n) for n in wanted[lets[role]]]
        for way in (made_rows, home):
            assert way.count(asked) == count(made, asked)
            found, some = way.count_each(asked), way.possible(asked)
            for role, wanted in each.items():
                assert found[role].tolist() == [int(n) for n in wanted]
                assert some[role].tolist() == [n > 0 for n in wanted]


@pytest.mark.parametrize("total", [2**63, 2**64 - 1, 2**64, 2**64 + 1, 2**92 - 1, 2**92])
def test_numbers_near_the_end_of_a_word_are_exact(total: int) -> None:
    # Each is a product of two whole numbers that a float holds.
    halves = {
        2**63: (2**31, 2**32),
        2**64 - 1: (2**32 - 1, 2**32 + 1),
        2**64: (2**32, 2**32),
        2**64 + 1: (274177, 67280421310721),
        2**92 - 1: (2**46 - 1, 2**46 + 1),
        2**92: (2**46, 2**46),
    }
    one, other = halves[total]
    catalogue = free_catalogue({"a": 1, "b": 1, "c": 1}, np.random.default_rng(0))
    options = TreeEngine(catalogue).space.options
    space = compile_tables(catalogue, options, [])
    third = next(d for d in (3, 5, 7, 11, 13, 1) if other % d == 0)
    weights = {
        n: np.array([float(w)]) for n, w in zip("abc", (one, other // third, third), strict=True)
    }
    made_rows = circuit_of(space.plan(certain=True), weights, 1e9)
    assert made_rows.most(weights) >= total
    assert made_rows.count(weights) == total
    each = made_rows.count_each(weights)
    assert {r: v.tolist() for r, v in each.items()} == {
        r: [total // int(w[0])] for r, w in weights.items()
    }


@settings(deadline=None)
@given(st.lists(st.integers(0, 2**120), min_size=1, max_size=5))
def test_words_put_together_are_the_number(numbers: list[int]) -> None:
    words = words_of(120)
    rests = [
        np.array([n % (int(w.prime) or 2**64) for n in numbers], dtype=np.uint64) for w in words
    ]
    assert joined(rests, words).tolist() == numbers


SEEDS = [*range(12), *(pytest.param(n, marks=pytest.mark.long) for n in range(12, 60))]


@pytest.mark.some(14)
@pytest.mark.parametrize("seed", SEEDS)
def test_random_tables_and_sums_equal_brute_force(seed: int, way: str) -> None:
    space = space_for(seed, way)
    query = ask(space, Request())
    rng = np.random.default_rng(seed)
    lets = {r: rng.random(len(o)) < 0.85 for r, o in space.options.items()}
    for certain in (True, False):
        good = judged(space, Verdict.FITS if certain else Verdict.UNKNOWN)
        others = {  # all that is let in but for one role, by role
            r: good & (added(space, {v: ~lets[v] & (v != r) for v in space.roles}) == 0)
            for r in space.roles
        }
        inside = good & (added(space, {v: ~lets[v] for v in space.roles}) == 0)
        weights = query.weights(lets)
        made = space.plan(certain=certain)
        assert count(made, weights) == inside.sum()
        each = count_each(made, weights)
        many = 3_000_017  # beyond what a float holds exactly
        large = {r: w * many for r, w in weights.items()}
        assert count(made, large) == int(inside.sum()) * many ** len(space.roles)
        both = {r: np.array([weights[r], large[r]]) for r in space.roles}
        assert space.counts(both, certain=certain) == [count(made, weights), count(made, large)]
        through = count_each(made, large)
        circuit_agrees(made, weights, large, space)
        for n, role in enumerate(space.roles):
            rest = tuple(k for k in range(len(space.roles)) if k != n)
            wanted = others[role].sum(axis=rest)
            assert each[role][space.class_of[role]].tolist() == wanted.tolist()
            expected = [int(w) * many ** (len(space.roles) - 1) for w in wanted]
            assert [int(n) for n in through[role][space.class_of[role]]] == expected
        price, tenths = (np.broadcast_to(added(space, o), good.shape)[inside] for o in of(query))
        limits = np.array([np.inf, np.inf])
        if len(price) and rng.random() < 0.7:
            limits = np.array([np.quantile(s, rng.random()) for s in (price, tenths)])
        kept = (price <= limits[0]) & (tenths <= limits[1])
        k = int(rng.integers(1, 12))
        costs = {r: np.array([query.price[r], query.price[r], query.tenths[r]]) for r in lets}
        options, found = k_best(made, space.class_of, lets, Criteria(costs, limits), k)
        assert found[:, 0].tolist() == np.sort(price[kept])[:k].tolist()
        assert (found[:, 1:] <= limits).all()
        chosen = np.array([options[r] for r in space.roles])
        assert inside[tuple(chosen)].all()
        assert len(np.unique(chosen, axis=1).T) == len(found)
        weak = {r: rng.integers(0, 9, len(o)).astype(float) for r, o in space.options.items()}
        three = {r: np.array([query.price[r], query.tenths[r], weak[r]]) for r in lets}
        _, front = pareto_front(made, space.class_of, lets, three, np.array([*limits, np.inf]))
        third = np.broadcast_to(added(space, weak), good.shape)[inside]
        points = np.unique(np.array([price, tenths, third])[:, kept], axis=1).T
        least = [tuple(p) for p in points if not ((points <= p).all(1) & (points < p).any(1)).any()]
        assert sorted(tuple(p) for p in front) == sorted(least)


def of(query: Query) -> tuple[Mapping[str, np.ndarray], Mapping[str, np.ndarray]]:
    return query.price, query.tenths


def test_conditions_on_the_same_roles_share_a_running_sum() -> None:
    many = turns(120, 40)
    with patched(RUNNING):
        plans = [random_space(n).plan(certain=sure) for n in range(many) for sure in (True, False)]
    shared = [any(s.variable.startswith("sum/") for s in p.steps) for p in plans]
    assert sum(shared) > many / 12


def test_cases_fall_into_components() -> None:
    many = turns(60, 30)
    found = {}
    for finer in ([], COMPONENTS):
        with patched([*RUNNING, *SPLIT, *WIDE, *TUPLES, *finer]):
            spaces = [made(n, blocks=True) for n in range(many) for made in STACKS]
            found[len(finer)] = [len(s.plan(certain=True).cases) for s in spaces]
    more = np.array(found[1]) > np.array(found[0])
    assert more.mean() > 0.05
    assert more[::2].any() and more[1::2].any()


def test_roles_that_conditions_add_up_become_tuples() -> None:
    many = turns(60, 30)
    with patched([*RUNNING, *SPLIT, *TUPLES]):
        plans = [stacked_space(n).plan(certain=sure) for n in range(many) for sure in (True, False)]
        stacks = [stacked_space(n) for n in range(many // 3)]
        led = [s.around(r, certain=True).plan for s in stacks for r in s.roles]
    made = [any(s.summed is not None for s in p.steps) for p in plans]
    assert sum(made) > many / 3
    assert sum(any(s.summed is not None for s in p.steps) for p in led) > many / 6
    assert sum(m for m, p in zip(made, plans, strict=True) if len(p.cases) > 1) > many / 12


@pytest.mark.some(14)
@pytest.mark.parametrize("seed", SEEDS)
def test_random_tables_and_sums_are_listed_and_counted_within_limits(seed: int, way: str) -> None:
    space = space_for(seed, way)
    query = ask(space, Request())
    for certain in (True, False):
        good = judged(space, Verdict.FITS if certain else Verdict.UNKNOWN)
        walked = Stream(query, certain=certain)
        listed = np.concatenate(
            [np.zeros((len(space.roles), 0), dtype=np.intp)]
            + [np.array([b.options[r] for r in space.roles]) for b in walked.batches()],
            axis=1,
        ).astype(np.intp)
        assert walked.total == listed.shape[1] == good.sum()
        assert good[tuple(listed)].all() and len(np.unique(listed, axis=1).T) == good.sum()
        middle = walked.total // 2
        pages = walked.batches(middle, middle + 5)
        page = [n for b in pages for n in b.options[space.roles[0]].tolist()]
        assert page == listed[0, middle : middle + 5].tolist()
        if not good.any():
            continue
        price, tenths = (np.broadcast_to(added(space, o), good.shape)[good] for o in of(query))
        request = Request(budget=int(np.median(price)), max_mass_g=float(np.median(tenths)) / 10)
        inside = (price <= request.budget) & (tenths <= np.median(tenths))
        counted = count_within(ask(space, request), certain=certain)
        assert counted.exact and counted.number == inside.sum()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_sum_as_a_table_says_the_same(seed: int) -> None:
    space = random_space(seed)
    for condition in space.sums:
        table = table_of(condition)
        told = table.verdicts[along(space, table.roles, table.class_of)]
        sure, maybe = (keeps(space, condition, v) for v in (Verdict.FITS, Verdict.UNKNOWN))
        assert ((told == Verdict.FITS) == sure).all()
        assert ((told >= Verdict.UNKNOWN) == (sure | maybe)).all()


# ---------------------------------------------------------------- the demo's joints, all measured


@functools.cache
def demo_engine() -> TreeEngine:
    return the_demo().engine


@functools.cache
def shop(parts: int, roles: int, seed: int) -> TreeEngine:
    return TreeEngine(measured(scaled(parts, roles, seed=seed), seed=seed))


@pytest.mark.some(1)
@pytest.mark.parametrize("seed", range(6))
def test_measured_parts_are_counted_as_python_constraint_counts(seed: int) -> None:
    engine = shop(6, 6, seed)
    plain = ReferenceEngine(engine.catalogue)
    for request in (Request(), Request(max_mass_g=2600.0), Request(services=Services.NONE)):
        assert engine.count(request) == plain.count(request)
        ours, theirs = (e.best(request, limit=7) for e in (engine, plain))
        assert [b.price for b in ours] == [b.price for b in theirs]


@pytest.mark.some(1)
@pytest.mark.parametrize("clamp", ["CLMP-SKE-02", "CLMP-TAR-03", "CLMP-MAR-01", "CLMP-OST-02"])
def test_nests_and_stacks_count_for_python_constraint_as_well(clamp: str) -> None:
    """On the demo, bar and clamp open and the rest held: some are ruled out by sums alone."""
    engine = demo_engine()
    (build,) = engine.best(Request(want=(clamp,)), limit=1)
    held = [o.part.sku for o in build.options.values() if o.part is not None]
    open_roles = {"bar", "clamp"}
    request = Request(
        have=tuple(s for s in held if engine.catalogue.parts[s].role not in open_roles)
    )
    plain = ReferenceEngine(engine.catalogue)
    assert engine.count(request) == plain.count(request)
    assert engine.count_possible(request) == plain.count(request, certain=False)


@pytest.mark.some(1)
@pytest.mark.parametrize("seed", range(3))
def test_the_cheapest_of_measured_parts_is_that_of_cp_sat(seed: int) -> None:
    engine = shop(25, 12, seed)
    task = task_of(ask(engine.space, Request()))
    (light,) = engine.best(Request(), sort="mass", limit=1)
    limit = round((light.mass_g or 0.0) * 1.08)
    found = engine.best(Request(max_mass_g=float(limit)), limit=5)
    peer = cp_sat_cheapest(task, limit * TENTHS, 60.0)
    assert peer.proved and peer.prices == [b.price for b in found[:1]]


# ---------------------------------------------------------------- rings, cliques, ceilings


def ring(length: int, kinds: int, seed: int) -> Space:
    """Return roles in a ring, each two of which leave a random half of all pairs."""
    rng = np.random.default_rng(seed)
    counts = {f"r{n:02d}": kinds for n in range(length)}
    catalogue = free_catalogue(counts, rng)
    options = {n: tuple(Option(n, p, (), {}) for p in catalogue.of(n)) for n in counts}
    names = list(counts)
    each = np.arange(kinds, dtype=np.intp)
    tables = [
        JointTable(
            Joint(f"{a} and {b}", "", "present"),
            (a, b),
            (each, each),
            np.where(rng.random((kinds, kinds)) < 0.5, 2, 0).astype(np.int8),
        )
        for a, b in zip(names, names[1:] + names[:1], strict=True)
    ]
    return compile_tables(catalogue, options, tables)


@pytest.mark.parametrize(("length", "kinds"), [(4, 60), (6, 50), (12, 40)])
def test_rings_are_counted_as_the_trace_of_a_product(length: int, kinds: int) -> None:
    """The closed walks of a ring of relations are the trace of their product."""
    space = ring(length, kinds, length)
    product = np.eye(kinds, dtype=object)
    for table in space.joint_tables:
        product = product @ (table.verdicts == Verdict.FITS).astype(object)
    query = ask(space, Request())
    assert count(space.plan(certain=True), query.weights(query.lets)) == np.trace(product)


def clique(roles: int, kinds: int) -> Space:
    """Return roles of which every two are tied."""
    rng = np.random.default_rng(1)
    counts = {f"r{n:02d}": kinds for n in range(roles)}
    catalogue = free_catalogue(counts, rng)
    options = {n: tuple(Option(n, p, (), {}) for p in catalogue.of(n)) for n in counts}
    each = np.arange(kinds, dtype=np.intp)
    tables = [
        JointTable(
            Joint(f"{a} and {b}", "", "present"),
            (a, b),
            (each, each),
            np.where(rng.random((kinds, kinds)) < 0.95, 2, 0).astype(np.int8),
        )
        for a, b in itertools.combinations(counts, 2)
    ]
    return compile_tables(catalogue, options, tables)


def test_what_needs_too_much_memory_is_refused_in_words() -> None:
    space = clique(12, 10)
    with pytest.raises(TooWideError) as refused:
        space.plan(certain=True)
    assert len(refused.value.roles) > 8
    assert refused.value.needed > refused.value.ceiling
    told = str(refused.value)
    assert "r00" in told and "GB" in told and "What helps" in told


@pytest.mark.some(14)
@pytest.mark.parametrize("seed", SEEDS)
def test_fronts_by_messages_equal_those_by_walking(seed: int, way: str) -> None:
    """One role alone counts in the third criterion, as it does for strength."""
    space = space_for(seed, way)
    query = ask(space, Request())
    rng = np.random.default_rng(seed)
    lets = {r: rng.random(len(o)) < 0.85 for r, o in space.options.items()}
    last = space.roles[int(rng.integers(len(space.roles)))]
    weak = {r: np.full(len(o), 3.0) for r, o in space.options.items()}
    weak[last] = rng.integers(0, 9, len(weak[last])).astype(float)
    costs = {r: np.array([query.price[r], query.tenths[r], weak[r]]) for r in lets}
    limits = np.array([rng.choice([20.0, np.inf]), rng.choice([200.0, np.inf]), np.inf])
    certain = bool(rng.integers(2))
    _, wanted = pareto_front(space.plan(certain=certain), space.class_of, lets, costs, limits)
    made = Fronts(space.support(certain=certain), last, space.class_of, lets, costs, limits)
    fits = judged(space, Verdict.FITS if certain else Verdict.UNKNOWN)
    for exact in (False, True):
        options, found = made.exact() if exact else made.coarse()
        assert fits[tuple(options[r] for r in space.roles)].all()
        assert all(lets[r][o].all() for r, o in options.items())
        assert (found <= limits).all()
        for n, row in enumerate(found):
            assert sum(costs[r][:, options[r][n]] for r in space.roles).tolist() == row.tolist()
            assert not ((found <= row).all(1) & (found < row).any(1)).any()
    assert found.tolist() == wanted.tolist()


def test_where_every_order_ties_what_has_to_stay_apart_none_is_found() -> None:
    """Tuples and their sum both wait for a role that is tied to both."""
    tangle = Tangle(
        ("role", "tuples", "sum"),
        [{"role": 0, "tuples": 0}, {"role": 0, "sum": 0}],
        {},
        {"tuples": {"role"}, "sum": {"role"}},
        frozenset({"tuples", "sum"}),
        lambda variable, maps: (3, 0),
    )
    with pytest.raises(NoOrderError):
        best_order(tangle)
    free = Tangle(tangle.variables, tangle.scopes, {}, {}, tangle.apart, tangle.size)
    assert best_order(free).variables[0] != "role"


def test_what_remains_is_told_where_what_is_possible_has_no_plan() -> None:
    catalogue = measured(scaled(12))
    wanted = TreeEngine(catalogue)
    engine = TreeEngine(catalogue)
    # A plan of so many parts takes minutes to be refused; here it is said to have been.
    refused = TooWideError(1e13, 2e9, ["fork", "bar"], ["length"])
    engine.space._held[False, None, None, frozenset()] = refused
    assert not wanted.left_out
    assert set(engine.left_out) == {c.joint.title for c in engine.space.sums}
    request = Request(want=(catalogue.of("bar")[0].sku,))
    told, which = engine.remaining(request), engine.possible(request)
    exact = wanted.remaining(request)
    loose = 0
    for role, true in exact.items():
        assert told[role].builds.tolist() == true.builds.tolist()
        assert told[role].verdicts.tolist() == which[role].tolist()
        fits = true.verdicts == Verdict.FITS
        assert ((told[role].verdicts == Verdict.FITS) == fits).all()
        # Nothing that is possible is called impossible, and some may stay open.
        assert (told[role].verdicts >= true.verdicts).all()
        loose += int((told[role].verdicts > true.verdicts).sum())
    assert loose
    with pytest.raises(TooWideError):
        engine.count_possible(request)


def test_a_page_of_what_remains_says_what_did_not_count() -> None:
    shop = Shop(Loaded(measured(scaled(12)), ()))
    quiet = str(shop.remaining())
    shop.engine.space._held[False, None, None, frozenset()] = TooWideError(1e13, 2e9, [], [])
    assert "would need too much memory here" in str(shop.remaining())
    assert "would need too much memory here" not in quiet


@functools.cache
def answers_of_the_whole_plan() -> tuple[
    tuple[Request, list[tuple[int, float | None]], Counted], ...
]:
    """Return questions with a pick or without, with their best builds and their number."""
    wanted = TreeEngine(measured(scaled(16)))
    (cheap,), (light,) = (
        wanted.best(Request(), limit=1),
        wanted.best(Request(), sort="mass", limit=1),
    )
    assert cheap.mass_g is not None and light.mass_g is not None
    picks = [(), *((b.parts[r],) for b in (cheap, light) for r in ("fork", "bar", "deck"))]
    limits: list[dict[str, float]] = [
        {},
        {"budget": round(1.2 * cheap.price)},
        {"max_mass_g": (cheap.mass_g + light.mass_g) / 2},
        {"budget": light.price, "max_mass_g": cheap.mass_g},
        {"budget": 1},
    ]
    requests = [Request(want=p, **limit) for p, limit in itertools.product(picks, limits)]
    best_of = [[(b.price, b.mass_g) for b in wanted.best(r, limit=20)] for r in requests]
    return tuple(zip(requests, best_of, map(wanted.count, requests), strict=True))


@pytest.mark.some(1)
@pytest.mark.parametrize("weightings", [1, 2, 99])
def test_a_plan_of_a_question_alone_gives_the_same_answers(weightings: int) -> None:
    # Where the whole plan is large, and where few weightings fit in memory at once.
    engine = TreeEngine(measured(scaled(16)))
    narrow = 0
    # Each limit and each pick comes up with few weightings as well, if not each with each.
    some = slice(None) if LONG or weightings > 2 else slice(None, None, 5)
    for request, true, exact in answers_of_the_whole_plan()[some]:
        with (
            patch("fitgraph.solve.space._FEW", 0.0),
            patch("fitgraph.solve.best.Prices.fitting", lambda *_: weightings),
        ):
            found = engine.best(request, limit=20)
            number = engine.count(request)
        assert [(b.price, b.mass_g) for b in found] == true
        if number.exact and exact.exact:
            assert number.number == exact.number
        narrow += len(engine.space.kept(("plans within",), dict))
    assert narrow


@pytest.mark.some(14)
@pytest.mark.parametrize("seed", SEEDS)
def test_what_asks_the_same_of_a_role_that_goes_first_equals_brute_force(
    seed: int, way: str
) -> None:
    """Builds through each of its classes, and the least that all others cost there."""
    space, rng = space_for(seed, way), np.random.default_rng(seed)
    good = judged(space, Verdict.FITS)
    for role in space.roles:
        runs = space.around(role, certain=True)
        others = tuple(n for n, r in enumerate(space.roles) if r != role)
        weights = {r: np.bincount(of).astype(float) for r, of in space.class_of.items()}
        each = runs.count_each({**weights, role: np.ones(space.sizes[role])})[role]
        assert [each[c] for c in space.class_of[role]] == good.sum(axis=others).tolist()
        of_class = {
            r: np.where(rng.random((3, n)) < 0.8, rng.integers(0, 99, (3, n)), np.inf)
            for r, n in space.sizes.items()
        }
        every = np.arange(3)
        least = least_through(runs, Demands(of_class, dict.fromkeys(of_class, every)), role)
        for n in range(3):
            cost = {r: of_class[r][n][of] for r, of in space.class_of.items()}
            cost[role] = np.zeros(len(space.class_of[role]))
            best = np.where(good, added(space, cost), np.inf).min(axis=others)
            assert least[n][space.class_of[role]].tolist() == best.tolist()


def test_tuples_decide_their_sum_where_only_a_running_sum_asks_for_it() -> None:
    """No relation mentions the sum itself, as where nothing else is left of a request."""
    made, drafts, finished = 0, [], planning._finished
    with (
        patched([*RUNNING, *SPLIT, *TUPLES]),
        patch.object(planning, "_finished", lambda d: drafts.append(d) or finished(d)),
    ):
        for seed in range(12):
            stacked_space(seed).plan(certain=True)
        for draft in drafts:
            bundle, planner = draft.bundle, planning._Planner(draft)
            if bundle is None:
                continue
            of_tuples = np.arange(bundle.tuples, dtype=np.intp)
            of_sum = np.arange(bundle.size, dtype=np.intp)
            domains = {**draft.domains, bundle.name: of_tuples, bundle.sum: of_sum}
            relations, running = planner.within.left(domains) or ([], [])
            rest = [r for r in relations if bundle.sum not in r.scope]
            if any(bundle.sum in r.of for r in running):
                domains |= {r.name: np.arange(r.size, dtype=np.intp) for r in running}
                case = case_plan.CasePlan(planner.steps, {}, domains, rest, running)
                order = case.found.variables
                assert order.index(bundle.name) < order.index(bundle.sum)
                made += 1
    assert made


def test_a_role_goes_first_among_sorted_tuples_as_among_plain_roles() -> None:
    """Measured parts, and what all others cost with each class of every role."""
    rng, summed = np.random.default_rng(0), 0
    with patched(TUPLES):
        ours = shop(parts=8, roles=12, seed=1).space
        of_tuples = {role: ours.around(role, certain=True) for role in ours.roles}
    plain = shop(parts=8, roles=12, seed=1).space
    for role, runs in of_tuples.items():
        summed += any(s.summed is not None and role in s.below for s in runs.plan.steps)
        other = plain.around(role, certain=True)
        cost = {
            r: np.where(rng.random((3, n)) < 0.9, rng.integers(0, 99, (3, n)), np.inf)
            for r, n in plain.sizes.items()
        }
        demands = Demands(cost, dict.fromkeys(cost, np.arange(3)))
        least = least_through(runs, demands, role)
        assert np.array_equal(least, least_through(other, demands, role))
        assert np.isfinite(least).any()
        ones = {r: np.ones(n) for r, n in plain.sizes.items()}
        assert runs.count_each(ones)[role].tolist() == other.count_each(ones)[role].tolist()
    assert summed


def test_a_refusal_that_is_kept_holds_nothing_of_what_led_to_it() -> None:
    space, left = shop(parts=8, roles=8, seed=1).space, []

    def finished(draft: Draft) -> Plan:
        left.append(weakref.ref(draft))
        try:
            raise NoOrderError
        except NoOrderError:
            raise TooWideError(1e13, draft.ceiling, ("fork",), ("length",)) from None

    weights = {r: np.ones(n) for r, n in space.sizes.items()}
    with patched([(planning, {"_finished": finished})]):
        for ask_for in (space.plan, functools.partial(space.plan_within, weights)):
            said = []
            for _ in range(2):
                with pytest.raises(TooWideError) as refused:
                    ask_for(certain=True)
                said.append(str(refused.value))
                del refused
            assert said[0] == said[1]
    gc.collect()
    assert left and not any(draft() is not None for draft in left)


def test_a_plan_stands_where_another_way_to_plan_is_too_wide() -> None:
    space = shop(parts=8, roles=12, seed=1).space
    made = planning._finished

    def finished(draft: Draft) -> Plan:
        if draft.share:
            raise TooWideError(np.inf, draft.ceiling, (), ())
        return made(draft)

    plain = space.ingredients(certain=True).plan({}, leading="sleeve")
    with patched([(planning, {"_LOOKED": 0.0, "_finished": finished})]):
        found = space.ingredients(certain=True).plan({}, leading="sleeve")
    assert [s.variable for s in found.steps] == [s.variable for s in plain.steps]
