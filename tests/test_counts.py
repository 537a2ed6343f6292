"""Counts, what remains and rankings: four ways to the same number.

The engine is compared with a hand count, with the plain product of all options, with
python-constraint and with OR-Tools' CP-SAT. Only the judgement of a single joint is shared;
the search is not.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

import pytest
from constraint import FunctionConstraint, Problem
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model
from strategies import (
    all_options,
    allowed_options,
    brute_builds,
    catalogues,
    judged,
    keeps_limits,
    lets,
    mass_of,
    price_of,
    requests,
    rows_of,
    together_of,
    verdict_of,
)

from fitgraph.catalogue import load, shipped_folder
from fitgraph.graph.joints import asked
from fitgraph.graph.said import judge
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import (
    ABSENT,
    Catalogue,
    Fill,
    Joint,
    Option,
    Part,
    Presence,
    Role,
    StrengthSource,
    Verdict,
    Vocabulary,
)
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.engine import SORTS
from fitgraph.solve.reference import ReferenceEngine
from tests.turns import LONG, turns

Options = Mapping[str, Sequence[Option]]

RANDOM = settings(
    deadline=None,
    max_examples=turns(80),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def by_product(options: Options, joints: Sequence[Joint], least: Verdict) -> int:
    """Count by trying everything."""
    return sum(1 for _ in rows_of(options, joints, least))


def asked_together(
    options: Options, joints: Sequence[Joint], least: Verdict
) -> set[tuple[int, ...]] | None:
    """Return the rows that joints leave which ask of one unknown figure; None if none do."""
    together = {} if least is Verdict.FITS else together_of(options, joints)
    if not together:
        return None
    every = itertools.product(*(range(len(o)) for o in options.values()))
    return {row for row in every if all(holds(row) for holds in together.values())}


def by_python_constraint(options: Options, joints: Sequence[Joint], least: Verdict) -> int:
    """Count with python-constraint over the options themselves."""
    if not all(options.values()):
        return 0
    problem = Problem()
    for role, of_role in options.items():
        problem.addVariable(role, list(range(len(of_role))))
    for joint in joints:

        @functools.cache
        def allows(*places: int, _joint: Joint = joint) -> bool:
            chosen = {r: options[r][i] for r, i in zip(_joint.roles, places, strict=True)}
            return judge(_joint, chosen).verdict >= least

        problem.addConstraint(FunctionConstraint(allows), list(joint.roles))
    together = asked_together(options, joints, least)
    if together is not None:
        problem.addConstraint(FunctionConstraint(lambda *row: row in together), list(options))
    return len(problem.getSolutions())


class _Counter(cp_model.CpSolverSolutionCallback):
    def __init__(self) -> None:
        super().__init__()
        self.number = 0

    def on_solution_callback(self) -> None:
        self.number += 1


def by_cp_sat(options: Options, joints: Sequence[Joint], least: Verdict) -> int:
    """Count with CP-SAT: one table of allowed places for each joint, all solutions."""
    if not all(options.values()):
        return 0
    model = cp_model.CpModel()
    variables = {r: model.new_int_var(0, len(o) - 1, r) for r, o in options.items()}
    for joint in joints:
        rows = [row for row, verdict in judged(joint, options).items() if verdict >= least]
        if not rows:
            return 0
        model.add_allowed_assignments([variables[r] for r in joint.roles], rows)
    together = asked_together(options, joints, least)
    if together is not None:
        if not together:
            return 0
        model.add_allowed_assignments(list(variables.values()), sorted(together))
    solver = cp_model.CpSolver()
    solver.parameters.enumerate_all_solutions = True
    solver.parameters.num_workers = 1
    counter = _Counter()
    status = solver.solve(model, counter)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
    return counter.number


@pytest.fixture(scope="module")
def hoses() -> Catalogue:
    return load(shipped_folder("data") / "hoses").catalogue


@pytest.fixture(scope="module")
def bench40() -> Catalogue:
    return load(shipped_folder("data") / "bench40").catalogue


#: Counted by hand in ``data/bench40/README.md``: builds that fit, and that fit or may fit.
BY_HAND = {Verdict.FITS: 614 + 858, Verdict.UNKNOWN: 614 + 468 + 858 + 618}


@pytest.mark.parametrize(
    "least", [Verdict.FITS, pytest.param(Verdict.UNKNOWN, marks=pytest.mark.long)]
)
def test_forty_parts_are_counted_as_by_hand_five_ways(bench40: Catalogue, least: Verdict) -> None:
    options = allowed_options(bench40, Request())
    joints = asked(bench40.vocabulary.joints, tidy=True)
    assert math.prod(len(o) for o in options.values()) == 89_600
    engine, reference = TreeEngine(bench40), ReferenceEngine(bench40)
    certain = least is Verdict.FITS
    counted = engine.count(Request()) if certain else engine.count_possible(Request())
    assert counted.exact
    assert counted.number == BY_HAND[least]
    assert reference.count(Request(), certain=certain).number == BY_HAND[least]
    assert by_product(options, joints, least) == BY_HAND[least]
    if LONG:  # the reference asks the same library, in words of its own
        assert by_python_constraint(options, joints, least) == BY_HAND[least]
    assert by_cp_sat(options, joints, least) == BY_HAND[least]


def test_forty_parts_row_by_row_as_in_the_hand_count(bench40: Catalogue) -> None:
    """Each fork with each sleeve or none, from the tables of the README."""
    engine = TreeEngine(bench40)
    told = engine.remaining(Request())
    by_fork = {
        o.label: int(n)
        for o, n in zip(engine.space.options["fork"], told["fork"].builds, strict=True)
    }
    # F1 to F3: two kits, and S1 or S3 besides; F4 to F6: four kits, and S2 besides.
    small, large, bare = 2 * 29 + 2 * 36 + 2 * 29, 3 * 36 + 29 + 4 * 36, 29 + 36
    assert by_fork == {
        **dict.fromkeys(("F1", "F2", "F3"), small),
        **dict.fromkeys(("F4", "F5", "F6"), large),
        "F7": bare,
        "F8": 0,
    }
    by_sleeve = {
        o.label: int(n)
        for o, n in zip(engine.space.options["sleeve"], told["sleeve"].builds, strict=True)
    }
    assert by_sleeve == {"none": 614, "S1": 216, "S2": 432 + 36, "S3": 174}
    unslotted = {
        o.label: Verdict(int(v))
        for o, v in zip(engine.space.options["bar"], told["bar"].verdicts, strict=True)
    }
    assert [label for label, v in unslotted.items() if v is Verdict.FAILS] == ["B3", "B8"]
    assert [label for label, v in unslotted.items() if v is Verdict.UNKNOWN] == ["B4"]


def test_forty_parts_cheapest_and_lightest_as_by_hand(bench40: Catalogue) -> None:
    engine = TreeEngine(bench40)
    (cheapest,) = engine.best(Request(), sort="price", limit=1)
    assert sorted(cheapest.parts.values()) == ["B1", "C1", "F7", "G1"]
    assert cheapest.price == 12000
    (lightest,) = engine.best(Request(), sort="mass", limit=1)
    assert sorted(lightest.parts.values()) == ["B9", "C4", "F7", "G1"]
    assert lightest.mass_g == pytest.approx(570 + 990 + 190 + 91)


@pytest.mark.parametrize("tidy", [True, False])
def test_a_second_trade_is_solved_by_the_same_code(hoses: Catalogue, tidy: bool) -> None:
    options = allowed_options(hoses, Request())
    joints = asked(hoses.vocabulary.joints, tidy=tidy)
    engine = TreeEngine(hoses, tidy=tidy)
    certain = by_product(options, joints, Verdict.FITS)
    assert certain > 0
    assert engine.count(Request()).number == certain
    assert engine.count_possible(Request()).least == by_product(options, joints, Verdict.UNKNOWN)
    assert by_python_constraint(options, joints, Verdict.FITS) == certain
    assert by_cp_sat(options, joints, Verdict.FITS) == certain


# ---------------------------------------------------------------- random catalogues


@RANDOM
@given(st.data())
def test_counts_equal_brute_force(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    request = data.draw(requests(catalogue, limited=False))
    tidy = data.draw(st.booleans())
    engine = TreeEngine(catalogue, tidy=tidy)
    certain, possible = engine.count(request), engine.count_possible(request)
    assert certain.exact and possible.exact
    assert certain.least == len(brute_builds(catalogue, request, tidy=tidy))
    assert possible.least == len(brute_builds(catalogue, request, tidy=tidy, least=Verdict.UNKNOWN))


@RANDOM
@given(st.data())
def test_counts_within_limits_equal_brute_force(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    request = data.draw(requests(catalogue))
    engine = TreeEngine(catalogue)
    for certain, counted in (
        (True, engine.count(request)),
        (False, engine.count_possible(request)),
    ):
        least = Verdict.FITS if certain else Verdict.UNKNOWN
        true = sum(
            keeps_limits(request, chosen, certain=certain)
            for chosen in brute_builds(catalogue, request, least=least)
        )
        assert counted.exact
        assert counted.number == counted.least == true


@settings(RANDOM, max_examples=turns(30))
@given(st.data())
def test_other_solvers_count_the_same(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    request = data.draw(requests(catalogue, limited=False))
    options = allowed_options(catalogue, request)
    joints = asked(catalogue.vocabulary.joints, tidy=True)
    engine = TreeEngine(catalogue)
    for least, counted in (
        (Verdict.FITS, engine.count(request)),
        (Verdict.UNKNOWN, engine.count_possible(request)),
    ):
        assert by_product(options, joints, least) == counted.least
        assert by_python_constraint(options, joints, least) == counted.least
        assert by_cp_sat(options, joints, least) == counted.least


@RANDOM
@given(st.data())
def test_what_remains_equals_brute_force(data: st.DataObject) -> None:
    """Each option is tried with everything else that the request lets in."""
    catalogue = data.draw(catalogues(most_parts=2))
    request = data.draw(requests(catalogue, limited=False))
    joints = asked(catalogue.vocabulary.joints, tidy=True)
    options = all_options(catalogue)
    inside = {
        role: [lets(catalogue, request, o) for o in of_role] for role, of_role in options.items()
    }

    def through(least: Verdict) -> dict[str, list[int]]:
        counts = {role: [0] * len(of_role) for role, of_role in options.items()}
        for row in rows_of(options, joints, least):
            strangers = [r for r, n in zip(options, row, strict=True) if not inside[r][n]]
            for role, n in zip(options, row, strict=True):
                counts[role][n] += strangers in ([], [role])
        return counts

    sure, maybe = through(Verdict.FITS), through(Verdict.UNKNOWN)
    told = TreeEngine(catalogue).remaining(request)
    for role in options:
        assert told[role].builds.tolist() == sure[role]
        assert told[role].verdicts.tolist() == [
            Verdict.FITS if s else Verdict.UNKNOWN if m else Verdict.FAILS
            for s, m in zip(sure[role], maybe[role], strict=True)
        ]


def _cost(catalogue: Catalogue, request: Request, sort: str, chosen: Mapping[str, Option]):
    """Return what a ranking compares; what is not known comes last."""
    if sort == "price":
        return price_of(request, chosen)
    if sort == "mass":
        masses = [o.mass_g for o in chosen.values()]
        return (masses.count(None), round(sum(m for m in masses if m is not None), 1))
    source = catalogue.vocabulary.strength
    if source is None:
        return 0
    strength = _yield_moment(chosen[source.outside.role], source)
    return (strength is None, 0 if strength is None else -round(strength, 3))


def _yield_moment(option: Option, source: StrengthSource) -> float | None:
    """Return sigma W of the round tube in N m: W = pi (D^4 - d^4) / (32 D) (handbook formula)."""
    found = [option.features.get(r.feature, ABSENT) for r in (source.outside, source.bore)]
    material = MATERIALS.get(option.part.material or "") if option.part is not None else None
    if material is None or any(f.presence is not Presence.PRESENT for f in found):
        return None
    outside, bore = (f.lengths["size"] for f in found)
    if not (outside.known and bore.known) or outside.lo <= bore.hi:
        return None
    modulus = math.pi * (outside.lo**4 - bore.hi**4) / (32 * outside.lo)
    return material.yield_mpa * modulus / 1000


@settings(RANDOM, max_examples=turns(150))
@given(st.data())
def test_best_builds_equal_brute_force(data: st.DataObject) -> None:
    """Costs of the first k, ties in any order; every build valid, none twice."""
    catalogue = data.draw(catalogues(most_parts=4))
    request = data.draw(requests(catalogue))
    sort = data.draw(st.sampled_from(SORTS))
    limit = data.draw(st.sampled_from([5, 1, 2, 20, 1000, 0]))
    certain = data.draw(st.booleans())
    tidy = data.draw(st.booleans())
    least = Verdict.FITS if certain else Verdict.UNKNOWN
    found = TreeEngine(catalogue, tidy=tidy).best(request, sort=sort, limit=limit, certain=certain)
    every = [
        chosen
        for chosen in brute_builds(catalogue, request, tidy=tidy, least=least)
        if keeps_limits(request, chosen, certain=certain)
    ]
    wanted = sorted(_cost(catalogue, request, sort, c) for c in every)[:limit]
    empty = {role: Option(role, None) for role in catalogue.vocabulary.roles}
    got = [{**empty, **build.options} for build in found]
    assert [_cost(catalogue, request, sort, c) for c in got] == wanted
    assert len({tuple(o.label for o in c.values()) for c in got}) == len(got)
    joints = asked(catalogue.vocabulary.joints, tidy=tidy)
    for build, chosen in zip(found, got, strict=True):
        assert verdict_of(chosen, joints) >= least
        assert keeps_limits(request, chosen, certain=certain)
        assert build.price == price_of(request, chosen)
        mass = mass_of(chosen)
        assert build.mass_g == (None if mass is None else pytest.approx(mass))


def test_large_counts_stay_exact() -> None:
    """A number beyond 2**53 cannot be had from floats: roles without clashes multiply."""
    names = [f"role{n}" for n in range(20)]
    vocabulary, made = _free_trade(names, parts_each=7)
    catalogue = Catalogue(
        vocabulary,
        {p.sku: p for ps in made.values() for p in ps},
        by_role={n: tuple(ps) for n, ps in made.items()},
    )
    engine = TreeEngine(catalogue)
    assert 7**20 > 2**53
    assert engine.count(Request()).least == 7**20
    told = engine.remaining(Request())
    assert all(n == 7**19 for role in told.values() for n in role.builds)


def _free_trade(names: Sequence[str], parts_each: int) -> tuple[Vocabulary, dict[str, list[Part]]]:
    """Return roles that no joint ties, and as many parts for each."""
    roles = {n: Role(n, n, Fill.ALWAYS, {}) for n in names}
    vocabulary = Vocabulary("free", "EUR", 2, {}, MappingProxyType(roles), ())
    made = {
        n: [Part(f"{n}-{k}".upper(), n, price=1, mass_g=1.0) for k in range(parts_each)]
        for n in names
    }
    return vocabulary, made
