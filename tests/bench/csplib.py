"""Problems of CSPLib and of graph theory as roles and tables, with their published counts.

CSPLib: a problem library for constraints, csplib.org (I. P. Gent, T. Walsh). The statements and
the small example of prob001 were looked up there.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import networkx as nx
import numpy as np
import numpy.typing as npt

from tests.bench.cores import Table


@dataclass(frozen=True)
class Problem:
    """Roles and tables, how many builds there are, and who says so.

    Parameters
    ----------
    sizes : dict of str to int
        Options of each role.
    tables : list of Table
        What goes together.
    count : int
        Published, or from a formula that is.
    source : str
        Where.
    """

    sizes: dict[str, int]
    tables: list[Table]
    count: int
    source: str


#: OEIS A000170, number of ways to place n queens (looked up).
_QUEENS = {4: 2, 5: 10, 6: 4, 7: 40, 8: 92, 9: 352}


def queens(n: int) -> Problem:
    """Return prob054: a queen a row, of which no two attack one another."""
    rows = [f"row{k}" for k in range(n)]
    column = np.arange(n)
    tables = []
    for a, b in itertools.combinations(range(n), 2):
        apart = np.abs(np.subtract.outer(column, column))
        tables.append(Table((rows[a], rows[b]), (apart > 0) & (apart != b - a)))
    source = "CSPLib prob054; OEIS A000170"
    return Problem(dict.fromkeys(rows, n), tables, _QUEENS[n], source)


#: OEIS A002860, number of Latin squares of order n (looked up).
_LATIN = {2: 2, 3: 12, 4: 576, 5: 161_280}


def latin_squares(n: int) -> Problem:
    """Return the quasigroups of prob003 without further conditions."""
    cells = {(r, c): f"r{r}c{c}" for r in range(n) for c in range(n)}
    differ = ~np.eye(n, dtype=bool)
    tables = [
        Table((cells[a], cells[b]), differ)
        for a, b in itertools.combinations(cells, 2)
        if a[0] == b[0] or a[1] == b[1]
    ]
    source = "CSPLib prob003; OEIS A002860"
    return Problem(dict.fromkeys(cells.values(), n), tables, _LATIN[n], source)


#: OEIS A014552, number of solutions up to reversal (looked up).
_LANGFORD = {3: 1, 4: 1, 7: 26, 8: 150}


def _apart(one: list[set[int]], other: list[set[int]]) -> npt.NDArray[np.bool_]:
    return np.array([[p.isdisjoint(q) for q in other] for p in one])


def langford(n: int) -> Problem:
    """Return prob024: numbers 1 to n twice each, k others between the two k."""
    names = {k: f"k{k}" for k in range(1, n + 1)}
    places = {k: [{at, at + k + 1} for at in range(2 * n - k - 1)] for k in names}
    tables = [
        Table(
            (names[a], names[b]),
            np.array([[p.isdisjoint(q) for q in places[b]] for p in places[a]]),
        )
        for a, b in itertools.combinations(names, 2)
    ]
    sizes = {names[k]: len(of_number) for k, of_number in places.items()}
    return Problem(sizes, tables, 2 * _LANGFORD[n], "CSPLib prob024; OEIS A014552, twice")


#: The example of prob001: cars of a class, and which options they have.
_CARS = (
    (1, "10110"),
    (1, "00010"),
    (2, "01001"),
    (2, "01010"),
    (2, "10100"),
    (2, "11000"),
)

#: Of each option, at most so many cars in every block of so many.
_CAPACITY = ((1, 2), (2, 3), (1, 3), (2, 5), (1, 5))


def car_sequencing() -> Problem:
    """Return the example of prob001 (M. Dincbas, H. Simonis, P. van Hentenryck, ECAI 1988).

    How many cars of each class there were so far is a role of its own, which the one before it
    and the car decide.
    """
    number = sum(many for many, _ in _CARS)
    cars = [f"car{n}" for n in range(number)]
    used = list(itertools.product(*(range(many + 1) for many, _ in _CARS)))
    states = [[u for u in used if sum(u) == n] for n in range(number + 1)]
    sizes = dict.fromkeys(cars, len(_CARS))
    tables = []
    for n in range(number):
        name, after = f"used{n}", f"used{n + 1}"
        sizes[name], sizes[after] = len(states[n]), len(states[n + 1])
        place = {u: k for k, u in enumerate(states[n + 1])}
        allowed = np.zeros((len(states[n]), len(_CARS), len(states[n + 1])), dtype=bool)
        for k, u in enumerate(states[n]):
            for c in range(len(_CARS)):
                more = tuple(m + (c == d) for d, m in enumerate(u))
                if more in place:
                    allowed[k, c, place[more]] = True
        tables.append(Table((name, cars[n], after), allowed))
    for option, (most, block) in enumerate(_CAPACITY):
        has = np.array([what[option] == "1" for _, what in _CARS])
        for start in range(number - block + 1):
            sums = np.zeros([1] * block, dtype=int)
            for axis in range(block):
                sums = sums + has.reshape([-1 if a == axis else 1 for a in range(block)])
            tables.append(Table(tuple(cars[start : start + block]), sums <= most))
    source = "CSPLib prob001; its six solutions as another solver's tests list them"
    return Problem(sizes, tables, 6, source)


def _coloured(graph: nx.Graph, colours: int, count: int, source: str) -> Problem:
    differ = ~np.eye(colours, dtype=bool)
    names = {v: f"v{n:03d}" for n, v in enumerate(graph)}
    tables = [Table((names[a], names[b]), differ) for a, b in graph.edges]
    return Problem(dict.fromkeys(names.values(), colours), tables, count, source)


#: Coefficients of the chromatic polynomial of Petersen's graph over k (k - 1) (k - 2).
_PETERSEN = (1, -12, 67, -230, 529, -814, 775, -352)


def petersen_colourings(k: int) -> Problem:
    """Return the colourings of Petersen's graph with so many colours."""
    count = k * (k - 1) * (k - 2) * int(np.polyval(_PETERSEN, k))
    source = "chromatic polynomial, by deletion and contraction"
    return _coloured(nx.petersen_graph(), k, count, source)


#: OEIS A068253, a third of the number of three-colourings of the square grid (looked up).
_GRID = {2: 6, 3: 82, 4: 2_604, 5: 193_662, 6: 33_865_632, 10: 169_426_507_164_530_254_380}


def grid_colourings(n: int) -> Problem:
    """Return the three-colourings of the square grid, which are the states of square ice."""
    return _coloured(nx.grid_2d_graph(n, n), 3, 3 * _GRID[n], "OEIS A068253, three times")


PROBLEMS: dict[str, Callable[[], Problem]] = {
    "8 queens": lambda: queens(8),
    "Latin squares of order 4": lambda: latin_squares(4),
    "Langford's problem, 8 numbers": lambda: langford(8),
    "car sequencing, 10 cars": car_sequencing,
    "five colours on Petersen's graph": lambda: petersen_colourings(5),
    "three colours on a grid of 10 x 10": lambda: grid_colourings(10),
}
