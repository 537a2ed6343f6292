"""Formulas as spaces of roles: literals that exclude one another become one role.

Of literals of which no two can hold together at most one holds: they are a role whose options
are each of them, and none. What is left of the clauses are tables between roles; a long clause
is a chain of roles with two options, "kept so far", that the others decide, so that the count
stays what it is.
"""

from __future__ import annotations

import heapq
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

import networkx as nx
import numpy as np
import numpy.typing as npt

from fitgraph.solve import Space
from tests.bench.clauses import Clause, Simplified, needed
from tests.bench.cores import Table, space_of

Bools = npt.NDArray[np.bool_]

#: Roles up to which a clause is one table; a longer one is a chain.
SHORT = 8

#: Cells up to which clauses between the same roles are one table.
_CELLS = 1 << 20

Excluded = Mapping[int, set[int]]
Group = tuple[int, ...]


def by_clauses(formula: Simplified) -> Excluded:
    """Return, for each literal, those that a clause of two says cannot hold beside it."""
    found: dict[int, set[int]] = defaultdict(set)
    for clause in formula.clauses:
        if len(clause) == 2:
            one, other = clause
            found[-one].add(-other)
            found[-other].add(-one)
    return found


def by_propagation(formula: Simplified) -> Excluded:
    """Return, for each literal, those that unit propagation says cannot hold beside it."""
    found: dict[int, set[int]] = defaultdict(set)
    for literal, implied in formula.implied.items():
        for other in implied:
            if other != literal:
                found[literal].add(-other)
                found[-other].add(literal)
    return found


def groups_of(variables: Iterable[int], excluded: Excluded) -> list[Group]:
    """Return groups of literals of which no two can hold together, each variable in one.

    They are taken one by one, each as large as a greedy search from the literal that excludes
    the most finds it.
    """
    left = set(variables)
    groups: list[Group] = []
    waiting = [(-len(excluded.get(x, ())), x) for v in left for x in (v, -v)]
    heapq.heapify(waiting)
    while waiting:
        before, seed = heapq.heappop(waiting)
        if abs(seed) not in left:
            continue
        may = {x for x in excluded.get(seed, ()) if abs(x) in left and abs(x) != abs(seed)}
        if not may:
            continue
        if -len(may) > before:
            heapq.heappush(waiting, (-len(may), seed))
            continue
        group = [seed]
        while may:
            best = max(may, key=lambda x: (len(excluded[x] & may), x))
            group.append(best)
            may = {x for x in may & excluded[best] if abs(x) != abs(best)}
        groups.append(tuple(group))
        left -= {abs(x) for x in group}
    return [*groups, *((v,) for v in sorted(left))]


def _graph(clauses: Iterable[Clause], home: Mapping[int, int], roles: int) -> nx.Graph:
    """Return which roles short clauses tie."""
    graph = nx.Graph()
    graph.add_nodes_from(range(roles))
    for clause in clauses:
        scope = sorted({home[abs(x)] for x in clause})
        if len(scope) <= SHORT:
            graph.add_edges_from((a, b) for n, a in enumerate(scope) for b in scope[n + 1 :])
    return graph


def elimination(graph: nx.Graph, sizes: Sequence[int]) -> tuple[list[int], dict[int, int], float]:
    """Return an order of elimination, what each vertex hangs on, and the cells in all.

    The vertex goes next that looks at the fewest cells with its neighbours (min-weight; on such
    orders H. L. Bodlaender, A. M. C. A. Koster, "Treewidth computations I", Information and
    Computation 208 (2010) 259-275, reference checked).
    """
    graph = graph.copy()
    bits = np.log2(sizes)
    costs = {v: bits[v] + sum(bits[u] for u in graph[v]) for v in graph}
    order: list[int] = []
    near: dict[int, list[int]] = {}
    cells = 0.0
    while graph:
        v = min(graph, key=costs.__getitem__)
        cells += 2.0 ** costs[v]
        order.append(v)
        near[v] = list(graph[v])
        graph.add_edges_from(
            (a, b) for n, a in enumerate(near[v]) for b in near[v][n + 1 :] if b not in graph[a]
        )
        graph.remove_node(v)
        for u in near[v]:
            costs[u] = bits[u] + sum(bits[w] for w in graph[u])
    place = {v: n for n, v in enumerate(order)}
    above = {v: min(us, key=place.__getitem__) for v, us in near.items() if us}
    return order, above, cells


def _walk(order: Sequence[int], above: Mapping[int, int]) -> dict[int, int]:
    """Return the places of the vertices in a walk through the trees that they hang in."""
    below: dict[int, list[int]] = defaultdict(list)
    for v in order:
        if v in above:
            below[above[v]].append(v)
    found: list[int] = []
    waiting = [v for v in order if v not in above]
    while waiting:
        v = waiting.pop()
        found.append(v)
        waiting += below[v]
    return {v: n for n, v in enumerate(found)}


def space_of_clauses(formula: Simplified) -> Space:
    """Return the space whose builds are the assignments of a formula's variables.

    Of two ways to group the literals that one is taken that looks at fewer cells.
    """
    best: tuple[float, list[Group], list[Clause], dict[int, int]] | None = None
    for excluded in (by_clauses(formula), by_propagation(formula)):
        groups = groups_of(formula.variables, excluded)
        home = {abs(x): n for n, group in enumerate(groups) for x in group}
        span = {c: (len({home[abs(x)] for x in c}), len(c)) for c in formula.clauses}
        clauses = needed(formula.clauses, span)
        graph = _graph(clauses, home, len(groups))
        order, above, cells = elimination(graph, [len(g) + 1 for g in groups])
        if best is None or cells < best[0]:
            best = cells, groups, clauses, _walk(order, above)
    assert best is not None
    _, groups, clauses, walk = best
    return space_of(*_tables(groups, clauses, walk))


def _tables(
    groups: Sequence[Group], clauses: Sequence[Clause], walk: Mapping[int, int]
) -> tuple[dict[str, int], list[Table]]:
    """Return the sizes of roles, and what clauses are as tables between them."""
    home = {abs(x): (n, k) for n, group in enumerate(groups) for k, x in enumerate(group, start=1)}
    holds: dict[int, Bools] = {}  # for each literal, the options of its role with which it holds
    for group in groups:
        for k, x in enumerate(group, start=1):
            holds[x] = np.arange(len(group) + 1) == k
            holds[-x] = ~holds[x]
    names = [f"g{n:04d}" for n in range(len(groups))]
    sizes = {name: len(group) + 1 for name, group in zip(names, groups, strict=True)}
    dense: dict[tuple[int, ...], Bools] = {}
    tables: list[Table] = []
    for number, clause in enumerate(clauses):
        keeps: dict[int, Bools] = {}
        for x in clause:
            role = home[abs(x)][0]
            keeps[role] = keeps[role] | holds[x] if role in keeps else holds[x]
        scope = tuple(sorted(keeps, key=walk.__getitem__))
        if any(keeps[role].all() for role in scope):
            continue
        if len(scope) > SHORT:
            tables += _chain(number, [(names[r], keeps[r]) for r in scope], sizes)
            continue
        shape = [sizes[names[r]] for r in scope]
        broken = np.ones([1] * len(scope), dtype=bool)
        if math.prod(shape) > _CELLS:
            allowed = np.ones((2,) * len(scope), dtype=bool)
            allowed[(0,) * len(scope)] = False
            maps = tuple(keeps[r].astype(np.intp) for r in scope)
            tables.append(Table(tuple(names[r] for r in scope), allowed, maps))
            continue
        for axis, r in enumerate(scope):
            along = [-1 if a == axis else 1 for a in range(len(scope))]
            broken = broken & ~keeps[r].reshape(along)
        dense[scope] = dense[scope] & ~broken if scope in dense else ~broken
    tables += [Table(tuple(names[r] for r in scope), allowed) for scope, allowed in dense.items()]
    return sizes, tables


def _chain(
    number: int, scope: Sequence[tuple[str, Bools]], sizes: dict[str, int]
) -> Iterator[Table]:
    """Yield a long clause as tables between its roles and new ones: whether it is kept so far."""
    before, kept = scope[0]
    for n, (role, own) in enumerate(scope[1:-1], start=1):
        name = f"c{number:05d}.{n:03d}"
        sizes[name] = 2
        either = kept[:, None] | own
        yield Table((before, role, name), np.stack([~either, either], axis=-1))
        before, kept = name, np.array([False, True])
    role, own = scope[-1]
    yield Table((before, role), kept[:, None] | own)
