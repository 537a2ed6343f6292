"""The readers of public instances: each small formula or problem against brute force.

What the engine's core counts along the way of the bench (simplified, literals that exclude one
another grouped, long clauses as chains) is held against all assignments, one by one.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from tests.bench.clauses import Clauses, needed, read_dimacs, simplified
from tests.bench.cores import Table, space_of
from tests.bench.csplib import (
    Problem,
    grid_colourings,
    langford,
    latin_squares,
    petersen_colourings,
    queens,
)
from tests.bench.groups import SHORT, by_clauses, by_propagation, groups_of
from tests.bench.public import count_formula, total
from tests.bench.xcsp import read_xcsp3


def keeps(formula: Clauses, values: tuple[bool, ...]) -> bool:
    return all(any(values[abs(x) - 1] == (x > 0) for x in c) for c in formula.clauses)


def by_brute_force(formula: Clauses) -> int:
    every = itertools.product((False, True), repeat=formula.variables)
    return sum(keeps(formula, values) for values in every)


def drawn(seed: int) -> Clauses:
    """Return a formula as feature models have them: pairs, alternatives, and long clauses."""
    rng = np.random.default_rng(seed)
    variables = int(rng.integers(3, 13))

    def clause(length: int) -> tuple[int, ...]:
        chosen = rng.permutation(variables)[:length] + 1
        return tuple(int(v) if rng.random() < 0.5 else -int(v) for v in chosen)

    clauses = [clause(int(rng.integers(1, 4))) for _ in range(int(rng.integers(2, 12)))]
    alternatives = [int(v) + 1 for v in rng.permutation(variables)[: int(rng.integers(2, 6))]]
    clauses += [(-a, -b) for a, b in itertools.combinations(alternatives, 2)]
    clauses += [tuple(alternatives), clause(variables)]
    return Clauses(variables, tuple(clauses))


@pytest.mark.parametrize("seed", range(60))
def test_counts_of_formulas_are_those_of_brute_force(seed: int) -> None:
    formula = drawn(seed)
    assert count_formula(formula) == by_brute_force(formula)


@pytest.mark.parametrize("seed", range(20))
def test_a_long_clause_is_a_chain_that_keeps_the_count(seed: int) -> None:
    # No two of these variables exclude one another, so the clause spans as many roles.
    rng = np.random.default_rng(seed)
    variables = SHORT + 4
    long = tuple(int(v) if rng.random() < 0.5 else -int(v) for v in range(1, variables + 1))
    ties = [(1, -2, 3), (2, 4, -5), (-3, 6, 7), (-long[0], -long[4], -long[8])]
    formula = Clauses(variables, (long, *ties))
    assert count_formula(formula) == by_brute_force(formula)


@pytest.mark.parametrize("seed", range(20))
def test_simplifying_keeps_the_number_of_assignments(seed: int) -> None:
    formula = drawn(seed)
    left = simplified(formula)
    number = by_brute_force(formula)
    if not left.possible:
        assert number == 0
        return
    place = {v: n for n, v in enumerate(left.variables, start=1)}
    dense = [tuple(place[abs(x)] * (1 if x > 0 else -1) for x in c) for c in left.clauses]
    rest = Clauses(len(place), tuple(dense))
    assert by_brute_force(rest) << left.free == number
    kept = needed(dense, {c: (len(c),) for c in dense})
    assert by_brute_force(Clauses(len(place), tuple(kept))) << left.free == number


@pytest.mark.parametrize("seed", range(20))
def test_of_a_group_at_most_one_literal_holds(seed: int) -> None:
    formula = drawn(seed)
    left = simplified(formula)
    for excluded in (by_clauses(left), by_propagation(left)):
        groups = groups_of(left.variables, excluded)
        assert sorted(abs(x) for g in groups for x in g) == sorted(left.variables)
        for values in itertools.product((False, True), repeat=formula.variables):
            if keeps(formula, values):
                held = [sum(values[abs(x) - 1] == (x > 0) for x in g) for g in groups]
                assert max(held, default=0) <= 1


def test_a_formula_that_cannot_be_kept_has_no_assignment() -> None:
    assert count_formula(Clauses(2, ((1, 2), (1, -2), (-1, 2), (-1, -2)))) == 0
    assert count_formula(Clauses(3, ((),))) == 0
    assert count_formula(Clauses(3, ())) == 8


def test_dimacs_is_read_over_lines_and_with_comments() -> None:
    text = "c 1 left\nc 2 right\np cnf 3 3\n1 -2 0 2\n3 0\nc more\n-1 -3 0\n"
    formula = read_dimacs(text)
    assert formula == Clauses(3, ((1, -2), (2, 3), (-1, -3)))
    assert count_formula(formula) == by_brute_force(formula)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1 2 0\n", "no line that begins"),
        ("p sat 3 1\n1 0\n", "no head of a CNF"),
        ("p cnf 2 1\n1 3 0\n", "do not agree"),
        ("p cnf 2 2\n1 2 0\n", "do not agree"),
    ],
)
def test_dimacs_that_is_wrong_is_refused(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        read_dimacs(text)


XCSP3 = """<instance format="XCSP3" type="CSP">
  <variables>
    <var id="a"> 1..4 </var>
    <var id="b" as="a"/>
    <array id="x" size="[3]"> 0 2 5 </array>
  </variables>
  <constraints>
    <extension><list> a b </list><supports> (1,2)(2,1)(3,*)(9,9) </supports></extension>
    <block>
      <extension><list> b x[0] x[1] </list><conflicts> (1,0,0)(2,*,5) </conflicts></extension>
    </block>
    <extension><list> a </list><conflicts> 4 </conflicts></extension>
    <group>
      <extension><list> %0 %1 </list><supports> (0,2)(2,5)(5,0)(2,2) </supports></extension>
      <args> x[0] x[1] </args>
      <args> x[1] x[2] </args>
    </group>
    <allDifferent> a b </allDifferent>
  </constraints>
</instance>"""


def meets(a: int, b: int, x: tuple[int, ...]) -> bool:
    pairs = {(0, 2), (2, 5), (5, 0), (2, 2)}
    return (
        ((a, b) in {(1, 2), (2, 1)} or a == 3)
        and (b, x[0], x[1]) != (1, 0, 0)
        and not (b == 2 and x[1] == 5)
        and a != 4
        and (x[0], x[1]) in pairs
        and (x[1], x[2]) in pairs
        and a != b
    )


def test_xcsp3_with_tables_is_counted_as_by_brute_force() -> None:
    sizes, tables = read_xcsp3(XCSP3)
    assert sizes == {"a": 4, "b": 4, "x[0]": 3, "x[1]": 3, "x[2]": 3}
    expected = sum(
        meets(a, b, x)
        for a in range(1, 5)
        for b in range(1, 5)
        for x in itertools.product((0, 2, 5), repeat=3)
    )
    assert expected > 10
    assert total(space_of(sizes, tables)) == expected


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("<allDifferent> a b </allDifferent>", "<intension> lt(a,b) </intension>", "intension"),
        ("%0 %1", "%0 y", "'y'"),
        ('type="CSP"', 'type="COP"', "COP"),
        ("<list> a b </list>", "<list> a a </list>", "different variables"),
    ],
)
def test_xcsp3_that_is_not_read_is_refused_by_name(old: str, new: str, says: str) -> None:
    text = XCSP3.replace(old, new)
    assert text != XCSP3
    with pytest.raises(ValueError, match=says):
        read_xcsp3(text)


PROBLEMS = {
    "four queens": queens(4),
    "six queens": queens(6),
    "Latin squares of order 3": latin_squares(3),
    "Langford with four": langford(4),
    "Petersen's graph in three colours": petersen_colourings(3),
    "a grid of 3 x 3": grid_colourings(3),
}


def searched(problem: Problem) -> int:
    """Return the count by plain backtracking over tables of pairs."""
    roles = list(problem.sizes)
    ties: dict[str, list[Table]] = {r: [t for t in problem.tables if r in t.roles] for r in roles}

    def below(at: int, chosen: dict[str, int]) -> int:
        if at == len(roles):
            return 1
        role, number = roles[at], 0
        for k in range(problem.sizes[role]):
            now = {**chosen, role: k}
            done = [t for t in ties[role] if all(r in now for r in t.roles)]
            if all(t.allowed[tuple(now[r] for r in t.roles)] for t in done):
                number += below(at + 1, now)
        return number

    return below(0, {})


@pytest.mark.parametrize("name", PROBLEMS)
def test_published_counts(name: str) -> None:
    problem = PROBLEMS[name]
    assert math.prod(problem.sizes.values()) > problem.count
    assert total(space_of(problem.sizes, problem.tables)) == problem.count == searched(problem)
