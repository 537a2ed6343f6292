"""Random small catalogues: fronts, streams, optima and counts against other judges.

The judges are the plain product of all options, python-constraint, clingo (answer set
programming) and OR-Tools' CP-SAT. They share only the judgement of a single joint.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from unittest.mock import patch

import clingo
import numpy as np
import pytest
from bench.catalogues import scaled
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model
from strategies import (
    LENGTH,
    MARKS,
    WORD,
    a_role,
    all_options,
    catalogues,
    judged,
    keeps_limits,
    lets,
    mass_of,
    price_of,
    requests,
    rows_of,
    verdict_of,
)
from walked_front import nondominated

from fitgraph.graph.joints import asked
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import (
    ABSENT,
    Catalogue,
    Dimension,
    Feature,
    Fill,
    Joint,
    Option,
    Part,
    Presence,
    Reference,
    Verdict,
    Vocabulary,
)
from fitgraph.solve import Request, TreeEngine, best, stream
from fitgraph.solve.engine import SORTS, Build
from fitgraph.solve.limits import count_within
from fitgraph.solve.query import TENTHS, ask
from fitgraph.solve.reference import ReferenceEngine
from fitgraph.solve.stream import Stream
from tests.turns import LONG, turns

RANDOM = settings(
    deadline=None,
    max_examples=turns(80),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)

Row = tuple[int, ...]


def brute_rows(
    catalogue: Catalogue, request: Request, *, tidy: bool, certain: bool
) -> dict[Row, dict[str, Option]]:
    """Return every build within the limits by the places of its options."""
    options = all_options(catalogue)
    inside = {
        role: [n for n, o in enumerate(of_role) if lets(catalogue, request, o)]
        for role, of_role in options.items()
    }
    few = {role: [options[role][n] for n in at] for role, at in inside.items()}
    least = Verdict.FITS if certain else Verdict.UNKNOWN
    found = {}
    for row in rows_of(few, asked(catalogue.vocabulary.joints, tidy=tidy), least):
        chosen = {r: few[r][n] for r, n in zip(few, row, strict=True)}
        if keeps_limits(request, chosen, certain=certain):
            found[tuple(inside[r][n] for r, n in zip(few, row, strict=True))] = chosen
    return found


def weakness(catalogue: Catalogue, chosen: Mapping[str, Option]) -> float:
    """Return what a front minimises: less the moment borne, in thousandths of a N m.

    sigma W of the plain tube, W = pi (D^4 - d^4) / (32 D) (handbook formula), with the
    smallest outside and the largest bore; what is not known comes last.
    """
    source = catalogue.vocabulary.strength
    if source is None:
        return 0.0
    option = chosen[source.outside.role]
    found = [option.features.get(r.feature or "", ABSENT) for r in (source.outside, source.bore)]
    material = MATERIALS.get(option.part.material or "") if option.part is not None else None
    if material is None or material.endurance_mpa is None:
        return math.inf
    if any(f.presence is not Presence.PRESENT for f in found):
        return math.inf
    outside, bore = (f.lengths["size"] for f in found)
    if not (outside.known and bore.known) or outside.lo <= bore.hi:
        return math.inf
    modulus = math.pi * (outside.lo**4 - bore.hi**4) / (32 * outside.lo)
    return -float(round(material.endurance_mpa * modulus))


def vector(
    catalogue: Catalogue, request: Request, chosen: Mapping[str, Option]
) -> tuple[float, float, float]:
    """Return price, mass in tenths of a gram, and weakness."""
    mass = mass_of(chosen)
    assert mass is not None
    return price_of(request, chosen), round(mass * TENTHS), weakness(catalogue, chosen)


def least_of(vectors: set[tuple[float, ...]]) -> set[tuple[float, ...]]:
    """Return the vectors that no other dominates, by comparing each with each."""
    return {
        v
        for v in vectors
        if not any(u != v and all(a <= b for a, b in zip(u, v, strict=True)) for u in vectors)
    }


@settings(RANDOM, max_examples=turns(120))
@given(st.data())
def test_fronts_equal_brute_force(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    request = data.draw(requests(catalogue))
    certain, tidy = data.draw(st.booleans()), data.draw(st.booleans())
    every = [
        chosen
        for chosen in brute_rows(catalogue, request, tidy=tidy, certain=certain).values()
        if mass_of(chosen) is not None
    ]
    wanted = least_of({vector(catalogue, request, c) for c in every})
    found = TreeEngine(catalogue, tidy=tidy).front(request, certain=certain)
    empty = {role: Option(role, None) for role in catalogue.vocabulary.roles}
    got = [{**empty, **build.options} for build in found]
    vectors = [vector(catalogue, request, c) for c in got]
    assert sorted(vectors) == vectors  # cheapest first
    assert len(set(vectors)) == len(vectors)
    assert set(vectors) == wanted
    joints = asked(catalogue.vocabulary.joints, tidy=tidy)
    least = Verdict.FITS if certain else Verdict.UNKNOWN
    for build, chosen in zip(found, got, strict=True):
        assert verdict_of(chosen, joints) >= least
        assert keeps_limits(request, chosen, certain=certain)
        assert build.price == price_of(request, chosen)


def one_post_in_two_bores(post: Dimension, cut: Dimension) -> Catalogue:
    """Return one part whose post has to go into its hole of 10.05 and into its cut."""
    sizes = {"post": post, "hole": Dimension(10.05, 10.05), "cut": cut}
    part = Part(
        sku="A0",
        role="alpha",
        name="alpha 0",
        price=100,
        mass_g=10.0,
        features=MappingProxyType(
            {
                f: Feature(
                    Presence.PRESENT,
                    MappingProxyType({LENGTH: size}),
                    MappingProxyType({WORD: MARKS[0]}),
                )
                for f, size in sizes.items()
            }
        ),
    )
    joints = [
        Joint(
            name=f"joint-{bore}",
            title=f"joint {bore}",
            rule="clearance",
            arguments=MappingProxyType(
                {
                    "bore": Reference("alpha", bore, LENGTH),
                    "spigot": Reference("alpha", "post", LENGTH),
                }
            ),
            limits=MappingProxyType({"least": 0.0, "most": 0.05}),
        )
        for bore in ("hole", "cut")
    ]
    vocabulary = Vocabulary(
        trade="trial",
        currency="EUR",
        minor_digits=2,
        half_width=MappingProxyType({}),
        roles=MappingProxyType({"alpha": a_role("alpha", Fill.ALWAYS, False)}),
        joints=tuple(joints),
    )
    return Catalogue(
        vocabulary,
        MappingProxyType({part.sku: part}),
        by_role=MappingProxyType({"alpha": (part,)}),
    )


@pytest.mark.some(1)
@pytest.mark.parametrize(("cut", "possible"), [(3.0, False), (10.03, True)])
def test_a_figure_that_nobody_knows_is_one_figure_on_a_front(cut: float, possible: bool) -> None:
    """Each bore alone would take some post; both take one only if some size goes into both."""
    bore, request = Dimension(cut, cut), Request()
    tried = [
        TreeEngine(one_post_in_two_bores(Dimension(size, size), bore)).count(request).number
        for size in np.arange(200, 1200, 1 if LONG else 4) / 100 + 0.005
    ]
    assert any(tried) == possible
    catalogue = one_post_in_two_bores(Dimension.unknown(), bore)
    engine = TreeEngine(catalogue)
    for joint in catalogue.vocabulary.joints:
        alone = {o.role: o for o in engine.space.options["alpha"]}
        assert verdict_of(alone, [joint]) is Verdict.UNKNOWN
    front = [point(b) for b in engine.front(request, certain=False)]
    assert front == ([(100, 100, 0)] if possible else [])
    assert engine.count_possible(request).number == len(front)
    assert len(brute_rows(catalogue, request, tidy=True, certain=False)) == len(front)
    assert engine.front(request) == []


@functools.cache
def larger(parts: int, roles: int) -> tuple[TreeEngine, np.ndarray]:
    """Return an engine, and price, mass and weakness of all of its builds."""
    engine = TreeEngine(scaled(parts, roles))
    strength = {r: np.nan_to_num(s) for r, s in engine.space.strength_nm.items()}
    # Only one role's strength is compared; the others count as nothing.
    points = [
        np.column_stack(
            [b.price, b.tenths, -np.rint(1000 * sum(strength[r][c] for r, c in b.options.items()))]
        )
        for b in Stream(ask(engine.space, Request())).batches()
    ]
    return engine, np.concatenate(points)


def point(build: Build) -> tuple[int, int, int]:
    return (
        build.price,
        round((build.mass_g or 0) * TENTHS),
        -round(1000 * (build.strength_nm or 0)),
    )


def test_a_larger_front_holds_what_no_build_betters() -> None:
    """A hundred thousand builds, each compared with the whole front."""
    engine, points = larger(10, 6)
    assert len(points) > 100_000
    vectors = np.unique(points, axis=0)
    front = [point(b) for b in engine.front(Request())]
    assert len(set(front)) == len(front) > 5
    assert set(front) <= set(map(tuple, vectors.tolist()))
    matched = np.zeros(len(vectors), dtype=bool)
    for one in front:
        at_least = (vectors <= one).all(axis=1)
        assert not (at_least & (vectors < one).any(axis=1)).any()
        matched |= (one <= vectors).all(axis=1)
    assert matched.all()


@pytest.mark.parametrize("beams", [(1, 2), (200, 4), (1 << 16, 1)], ids=str)
@pytest.mark.parametrize("sort", SORTS)
def test_the_best_of_a_million_builds_under_limits(sort: str, beams: tuple[int, int]) -> None:
    """Narrow first walks, wide ones or none: the ranking is that of sorting all builds."""
    engine, points = larger(12, 8)
    assert len(points) > 1_000_000
    objective = points[:, SORTS.index(sort)]
    for price, mass, k in ((1.0, 0.02, 100), (0.05, 1.0, 1), (0.3, 0.1, 700), (0.01, 0.01, 30)):
        request = Request(
            budget=int(np.quantile(points[:, 0], price)),
            max_mass_g=float(np.quantile(points[:, 1], mass)) // TENTHS,
        )
        inside = (points[:, 0] <= request.budget) & (points[:, 1] <= request.max_mass_g * TENTHS)
        wanted = np.sort(objective[inside])[:k].tolist()
        with patch.multiple(best, _FIRST=beams[0], _GROWTH=beams[1]):
            found = [point(b) for b in engine.best(request, sort=sort, limit=k)]
        assert [p[SORTS.index(sort)] for p in found] == wanted
        assert all(p[0] <= request.budget for p in found)
        assert all(p[1] <= request.max_mass_g * TENTHS for p in found)


@RANDOM
@given(st.lists(st.tuples(*[st.integers(0, 5)] * 3), max_size=40), st.lists(st.integers(0, 2)))
def test_dominated_points_are_dropped_within_their_group(
    points: list[tuple[int, int, int]], groups: list[int]
) -> None:
    group = [groups[n] if n < len(groups) else 0 for n in range(len(points))]
    kept = nondominated(
        np.array(points, dtype=float).reshape(-1, 3), np.array(group, dtype=np.intp)
    )
    for g in {0, *group}:
        mine = {p for p, of in zip(points, group, strict=True) if of == g}
        found = [points[n] for n in kept if group[n] == g]
        assert sorted(found) == sorted(least_of(mine))


# ---------------------------------------------------------------- streams


def walk(walked: Stream, start: int, stop: int | None, size: int) -> list[tuple]:
    """Return index, places, price and tenths of the builds of a range."""
    found = []
    for batch in walked.batches(start, stop, size=size):
        index = np.arange(len(batch)) if batch.index is None else batch.index
        columns = [c.tolist() for c in batch.options.values()]
        rows = zip(*columns, strict=True)
        for n, row, p, t in zip(index, rows, batch.price, batch.tenths, strict=True):
            found.append((batch.start + int(n), row, int(p), int(t)))
    return found


@RANDOM
@given(st.data())
def test_streams_hold_every_build_once_whatever_the_page(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    request = data.draw(requests(catalogue))
    certain = data.draw(st.booleans())
    query = ask(TreeEngine(catalogue).space, request)
    wanted = brute_rows(catalogue, request, tidy=True, certain=certain)
    # Blocks of a few builds, and few of them kept, so that the walk goes down the tree.
    block, kept = data.draw(st.sampled_from([(1, 1), (2, 5), (9, 30), (1 << 17, 1 << 21)]))
    with patch.multiple(stream, TAIL=block, TAILS_KEPT=kept):
        walked = Stream(query, certain=certain)
        whole = walk(walked, 0, None, 1 << 17)
        assert len({row for _, row, _, _ in whole}) == len(whole)
        assert {row for _, row, _, _ in whole} == set(wanted)
        for _, row, price, tenths in whole:
            assert price == price_of(request, wanted[row])
            known = [o.mass_g for o in wanted[row].values() if o.mass_g is not None]
            assert tenths == round(sum(known) * TENTHS)
        cuts = sorted(data.draw(st.lists(st.integers(0, walked.total), max_size=4)))
        pages = [
            walk(walked, a, b, data.draw(st.sampled_from([1, 3, 1000])))
            for a, b in itertools.pairwise([0, *cuts, walked.total])
        ]
        assert list(itertools.chain.from_iterable(pages)) == whole
    free = walk(Stream(query, certain=certain, limited=False), 0, None, 7)
    assert [index for index, *_ in free] == list(range(walked.total))
    assert whole == [free[index] for index, *_ in whole]


@RANDOM
@given(st.data())
def test_streams_equal_what_python_constraint_lists(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    request = data.draw(requests(catalogue))
    certain = data.draw(st.booleans())
    reference = ReferenceEngine(catalogue)
    listed = reference.best(request, limit=10**6, certain=certain)
    space = TreeEngine(catalogue).space

    def labels(chosen: Mapping[str, Option]) -> tuple[str, ...]:
        return tuple(chosen[r].label if r in chosen else "" for r in space.roles)

    streamed = [
        (labels({r: o for r, o in of_row.items() if o.part is not None}), price)
        for of_row, price in (
            ({r: space.options[r][n] for r, n in zip(space.roles, row, strict=True)}, price)
            for _, row, price, _ in walk(Stream(ask(space, request), certain=certain), 0, None, 99)
        )
    ]
    assert sorted(streamed) == sorted((labels(b.options), b.price) for b in listed)
    assert reference.count(request, certain=certain).number == len(streamed)


@RANDOM
@given(st.data())
def test_counts_do_not_hang_on_the_ceiling(data: st.DataObject) -> None:
    """Where the sums are too many to carry, a walk gives the same number."""
    catalogue = data.draw(catalogues(most_parts=2))
    request = data.draw(requests(catalogue))
    certain = data.draw(st.booleans())
    query = ask(TreeEngine(catalogue).space, request)
    true = len(brute_rows(catalogue, request, tidy=True, certain=certain))
    for ceiling in (1, 8, 1_500_000):
        counted = count_within(query, certain=certain, ceiling=ceiling)
        assert counted.exact
        assert counted.number == true


# ---------------------------------------------------------------- clingo and CP-SAT


def by_clingo(options: Mapping[str, Sequence[Option]], tables: Sequence[tuple]) -> set[Row]:
    """List every answer set: one place for each role, no row that a joint rules out."""
    roles = list(options)
    lines = [f"1 {{ at({r},0..{len(options[n]) - 1}) }} 1." for r, n in enumerate(roles)]
    for j, (names, rows) in enumerate(tables):
        places = [f"P{k}" for k in range(len(names))]
        at = ", ".join(f"at({roles.index(n)},{p})" for n, p in zip(names, places, strict=True))
        lines.append(f":- {at}, not ok{j}({','.join(places)}).")
        lines.append(f"#defined ok{j}/{len(names)}.")
        lines += [f"ok{j}({','.join(map(str, row))})." for row in rows]
    control = clingo.Control(["0"])
    control.add("base", [], "\n".join(lines))
    control.ground([("base", [])])
    found = set()
    with control.solve(yield_=True) as models:
        for model in models:
            at = sorted(
                (s.arguments[0].number, s.arguments[1].number)
                for s in model.symbols(atoms=True)
                if s.name == "at"
            )
            found.add(tuple(place for _, place in at))
    return found


def by_cp_sat_cheapest(
    options: Mapping[str, Sequence[Option]],
    tables: Sequence[tuple],
    request: Request,
) -> int | None:
    """Return the least price within the mass limit, None where no build keeps it."""
    model = cp_model.CpModel()
    at = {r: [model.new_bool_var(f"{r}{n}") for n in range(len(o))] for r, o in options.items()}
    place = {r: model.new_int_var(0, len(o) - 1, r) for r, o in options.items()}
    for role, chosen in at.items():
        model.add_exactly_one(chosen)
        model.add(place[role] == sum(n * b for n, b in enumerate(chosen)))
    for names, rows in tables:
        if not rows:
            return None
        model.add_allowed_assignments([place[n] for n in names], rows)
    every = [(o, b) for r, of_role in options.items() for o, b in zip(of_role, at[r], strict=True)]
    if request.max_mass_g is not None:
        for option, chosen in every:
            if option.mass_g is None:
                model.add(chosen == 0)
        tenths = [(round((o.mass_g or 0.0) * TENTHS), b) for o, b in every]
        model.add(sum(t * b for t, b in tenths) <= round(request.max_mass_g * TENTHS))
    price = sum(price_of(request, {o.role: o}) * b for o, b in every)
    if request.budget is not None:
        model.add(price <= request.budget)
    model.minimize(price)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
    return round(solver.objective_value) if status == cp_model.OPTIMAL else None


@settings(RANDOM, max_examples=turns(60))
@given(st.data())
def test_clingo_lists_the_same_and_cp_sat_finds_the_same_optimum(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    request = data.draw(requests(catalogue))
    options = {
        role: [o for o in of_role if lets(catalogue, request, o)]
        for role, of_role in all_options(catalogue).items()
    }
    engine = TreeEngine(catalogue)
    if not all(options.values()):
        assert engine.count_possible(request).number == 0
        assert engine.best(request) == []
        return
    tables = [
        (joint.roles, [row for row, v in judged(joint, options).items() if v is Verdict.FITS])
        for joint in asked(catalogue.vocabulary.joints, tidy=True)
    ]
    listed = [
        {r: options[r][n] for r, n in zip(options, row, strict=True)}
        for row in by_clingo(options, tables)
    ]
    inside = [c for c in listed if keeps_limits(request, c)]
    assert engine.count(request).number == len(inside)
    (*first,) = engine.best(request, sort="price", limit=1)
    optimum = by_cp_sat_cheapest(options, tables, request)
    assert [b.price for b in first] == ([] if optimum is None else [optimum])
    assert optimum == min((price_of(request, c) for c in inside), default=None)
