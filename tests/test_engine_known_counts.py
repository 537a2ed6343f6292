"""The core that counts builds, on problems whose counts are known.

Colourings, queens and hard squares have nothing to do with parts; the same plan and passes
count them. Published values stand beside each check.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

import networkx as nx
import numpy as np
import pytest

from fitgraph.model import Verdict
from fitgraph.solve import Space, counting
from tests.bench.cores import Table, space_of


def pairwise(
    sizes: Mapping[str, int], pairs: Mapping[tuple[str, str], np.ndarray], *, maybe: bool = False
) -> Space:
    """Return roles with tables between two; what is not allowed fails, or may fit."""
    tables = [Table(scope, allowed) for scope, allowed in pairs.items()]
    return space_of(sizes, tables, otherwise=Verdict.UNKNOWN if maybe else Verdict.FAILS)


def ones(sizes: Mapping[str, int]) -> dict[str, np.ndarray]:
    return {v: np.ones(n) for v, n in sizes.items()}


def by_class(space: Space, weights: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Return weights of options added up over each interface class."""
    return {
        role: np.bincount(of, weights[role], minlength=space.sizes[role])
        for role, of in space.class_of.items()
    }


def count(space: Space, weights: Mapping[str, np.ndarray], *, certain: bool) -> int:
    """Return the number of ways, along rows where they are few and along the plan."""
    mine = by_class(space, weights)
    number = space.counts({role: of[None] for role, of in mine.items()}, certain=certain)[0]
    assert counting.count(space.plan(certain=certain), mine) == number
    return number


def count_each(
    space: Space, weights: Mapping[str, np.ndarray], *, certain: bool
) -> dict[str, np.ndarray]:
    """Return how many ways there are with each option, in both ways."""
    mine = by_class(space, weights)
    each = space.through(mine, certain=certain)
    along = counting.count_each(space.plan(certain=certain), mine)
    assert all((along[role] == of).all() for role, of in each.items())
    return {role: each[role][of] for role, of in space.class_of.items()}


def colourings(graph: nx.Graph, colours: int) -> int:
    """Count proper colourings, every way the core can."""
    sizes = {str(v): colours for v in graph}
    differ = ~np.eye(colours, dtype=bool)
    pairs = {(str(a), str(b)): differ for a, b in graph.edges}
    strict = pairwise(sizes, pairs)
    number = count(strict, ones(sizes), certain=True)
    assert count(strict, ones(sizes), certain=False) == number
    if colours ** len(sizes) < 100_000:
        # Where a clash is only unknown, everything is possible and as much is certain.
        loose = pairwise(sizes, pairs, maybe=True)
        assert count(loose, ones(sizes), certain=True) == number
        assert count(loose, ones(sizes), certain=False) == colours ** len(sizes)
    # By symmetry every colour of every vertex is in as many colourings.
    for each in count_each(strict, ones(sizes), certain=True).values():
        assert [colours * int(n) for n in each] == [number] * colours
    return number


# Chromatic polynomials: R. C. Read, "An introduction to chromatic polynomials", J. Combinatorial
# Theory 4 (1968) 52-71 (reference checked; the polynomials are textbook ones).


@pytest.mark.parametrize("k", [2, 3, 4, 5])
@pytest.mark.parametrize("n", [3, 4, 5, 8, 13])
def test_cycles(n: int, k: int) -> None:
    assert colourings(nx.cycle_graph(n), k) == (k - 1) ** n + (-1) ** n * (k - 1)


@pytest.mark.parametrize("k", [1, 2, 3, 7])
@pytest.mark.parametrize(
    "graph",
    [
        nx.path_graph(12),
        nx.star_graph(9),
        nx.balanced_tree(2, 3),
        nx.from_prufer_sequence([3, 3, 1, 0, 1, 5, 5]),
    ],
    ids=["path", "star", "binary", "labelled"],
)
def test_trees(graph: nx.Graph, k: int) -> None:
    assert colourings(graph, k) == k * (k - 1) ** (len(graph) - 1)


@pytest.mark.parametrize(("n", "k"), [(3, 3), (4, 3), (4, 6), (5, 5), (5, 7)])
def test_complete_graphs(n: int, k: int) -> None:
    assert colourings(nx.complete_graph(n), k) == math.perm(k, n)


@pytest.mark.parametrize("n", [2, 4, 9])
@pytest.mark.parametrize("k", [2, 3, 4])
def test_ladders(n: int, k: int) -> None:
    assert colourings(nx.ladder_graph(n), k) == k * (k - 1) * (k * k - 3 * k + 3) ** (n - 1)


@pytest.mark.parametrize(("k", "number"), [(2, 0), (3, 120), (4, 12_960)])
def test_petersen_graph(k: int, number: int) -> None:
    """120 colourings with three colours; the polynomial agrees with deletion and contraction."""
    polynomial = (k * (k - 1) * (k - 2)) * (
        k**7 - 12 * k**6 + 67 * k**5 - 230 * k**4 + 529 * k**3 - 814 * k**2 + 775 * k - 352
    )
    assert colourings(nx.petersen_graph(), k) == polynomial == number


def test_separate_graphs_multiply() -> None:
    graph = nx.disjoint_union_all([nx.cycle_graph(5), nx.path_graph(3), nx.empty_graph(2)])
    assert colourings(graph, 3) == 30 * 12 * 9


def by_deletion_and_contraction(graph: nx.Graph, k: int) -> int:
    """P(G) = P(G less an edge) - P(G with the edge drawn together): the textbook recurrence."""
    edge = next(iter(graph.edges), None)
    if edge is None:
        return k ** len(graph)
    fewer = nx.restricted_view(graph, [], [edge])
    return by_deletion_and_contraction(nx.Graph(fewer), k) - by_deletion_and_contraction(
        nx.contracted_edge(graph, edge, self_loops=False), k
    )


@pytest.mark.parametrize("seed", range(6))
def test_random_graphs(seed: int) -> None:
    graph = nx.gnm_random_graph(7, 9, seed=seed)
    for k in (3, 4):
        assert colourings(graph, k) == by_deletion_and_contraction(graph, k)


@pytest.mark.parametrize(("n", "number"), [(4, 2), (5, 10), (6, 4), (7, 40), (8, 92)])
def test_queens(n: int, number: int) -> None:
    """OEIS A000170 (values checked): a variable a column, a table for each pair."""
    rows = np.arange(n)
    apart = np.abs(rows[:, None] - rows[None, :])
    sizes = {f"c{i}": n for i in range(n)}
    pairs = {
        (f"c{i}", f"c{j}"): (apart != 0) & (apart != j - i)
        for i, j in itertools.combinations(range(n), 2)
    }
    space = pairwise(sizes, pairs)
    assert count(space, ones(sizes), certain=True) == number
    by_column = count_each(space, ones(sizes), certain=True)
    assert all(each.sum() == number for each in by_column.values())


@pytest.mark.parametrize(
    ("n", "number"), [(1, 2), (2, 7), (3, 63), (4, 1234), (5, 55_447), (6, 5_598_861)]
)
def test_hard_squares(n: int, number: int) -> None:
    """Independent sets of the n x n grid: OEIS A006506.

    The first four values were looked up; a count row by row gives all six as well.
    """
    sizes = {f"{a},{b}": 2 for a, b in nx.grid_2d_graph(n, n)}
    not_both = np.array([[True, True], [True, False]])
    pairs = {
        (f"{a[0]},{a[1]}", f"{b[0]},{b[1]}"): not_both for a, b in nx.grid_2d_graph(n, n).edges
    }
    assert count(pairwise(sizes, pairs), ones(sizes), certain=True) == number


@pytest.mark.parametrize("n", [1, 2, 10, 150, pytest.param(300, marks=pytest.mark.long)])
def test_fibonacci_numbers_of_any_length(n: int) -> None:
    """Independent sets of a path are Fibonacci numbers; the 302nd has 63 digits."""
    sizes = {f"v{i:03}": 2 for i in range(n)}
    not_both = np.array([[True, True], [True, False]])
    pairs = {(f"v{i:03}", f"v{i + 1:03}"): not_both for i in range(n - 1)}
    a, b = 1, 2
    for _ in range(n - 1):
        a, b = b, a + b
    assert count(pairwise(sizes, pairs), ones(sizes), certain=True) == b


# ---------------------------------------------------------------- large numbers


def _walks(weights: Sequence[Sequence[int]], allowed: np.ndarray) -> int:
    """Count weighted walks by Python integers alone."""
    reach = list(weights[0])
    for of_next in weights[1:]:
        reach = [
            sum(n for n, free in zip(reach, column, strict=True) if free) * w
            for column, w in zip(allowed.T.tolist(), of_next, strict=True)
        ]
    return sum(reach)


@pytest.mark.parametrize("most", [9, 10**4, 10**9])
def test_weighted_chains_are_exact_below_and_beyond_two_to_53(most: int) -> None:
    """Odd weights, so that a rounded float would show in the last digit."""
    rng = np.random.default_rng(most)
    length, classes = 12, 6
    weights = [(2 * rng.integers(1, most, classes) + 1).tolist() for _ in range(length)]
    allowed = rng.random((classes, classes)) < 0.7
    sizes = {f"v{i:02}": classes for i in range(length)}
    pairs = {(f"v{i:02}", f"v{i + 1:02}"): allowed for i in range(length - 1)}
    space = pairwise(sizes, pairs)
    given = {v: np.array(w, dtype=float) for v, w in zip(sizes, weights, strict=True)}
    total = _walks(weights, allowed)
    assert total > 10**10
    assert count(space, given, certain=True) == total
    each = count_each(space, given, certain=True)
    for v, of in zip(sizes, weights, strict=True):
        assert sum(int(n) * w for n, w in zip(each[v], of, strict=True)) == total


@pytest.mark.parametrize(
    ("factors", "beyond"),
    [((94_906_267, 94_906_299), 2**53), ((99_991, 99_989, 99_971, 99_961, 9), 10**20)],
)
def test_products_of_free_roles_are_exact(factors: tuple[int, ...], beyond: int) -> None:
    sizes = {f"v{i}": 1 for i in range(len(factors))}
    space = pairwise(sizes, {})
    weights = {v: np.array([float(f)]) for v, f in zip(sizes, factors, strict=True)}
    product = math.prod(factors)
    assert product > beyond
    assert product % 2 == 1  # no float holds it
    assert count(space, weights, certain=True) == product
    each = count_each(space, weights, certain=True)
    assert [int(each[v][0]) for v in sizes] == [product // f for f in factors]
