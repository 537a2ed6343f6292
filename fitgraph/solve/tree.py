"""A junction tree over the cliques of variables that share tables.

References
----------
.. [1] S. L. Lauritzen, D. J. Spiegelhalter, "Local computations with
   probabilities on graphical structures", J. Royal Statistical Society B 50
   (1988) 157-224 (reference checked).
.. [2] R. Dechter, "Constraint Processing", Morgan Kaufmann 2003, chapter 9
   (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from fitgraph.model import Verdict
from fitgraph.solve.cliques import ClassTable, clique_rows, row_verdicts

if TYPE_CHECKING:
    # networkx takes longer to load than most questions to answer, and few come here.
    import networkx as nx

Ints = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Clique:
    """A node of the junction tree.

    Parameters
    ----------
    variables : tuple of str
        One column each.
    rows : ndarray of int, shape (n_rows, n_variables)
        Combinations of classes, sorted by group.
    certain : ndarray of bool
        Whether every table of the clique certainly allows the row.
    own : tuple of str
        The variables that are counted here and in no other clique.
    parent : int
        Place of the parent in the tree; -1 for a root.
    children : tuple of int
        Places of the children.
    starts : ndarray of int, shape (n_groups,)
        Where each group of rows begins; a group shares its separator.
    group_in_parent : ndarray of int
        For each row of the parent, the group of this clique that goes with it.
    """

    variables: tuple[str, ...]
    rows: Ints
    certain: npt.NDArray[np.bool_]
    own: tuple[str, ...]
    parent: int
    children: tuple[int, ...]
    starts: Ints
    group_in_parent: Ints

    @property
    def group_of(self) -> Ints:
        """Return the group of each row."""
        marks = np.zeros(len(self.rows), dtype=np.intp)
        marks[self.starts[1:]] = 1
        return np.cumsum(marks)

    def column(self, variable: str) -> Ints:
        """Return the class of a variable on each row."""
        return self.rows[:, self.variables.index(variable)]


@dataclass(frozen=True, slots=True)
class Tree:
    """A junction forest; children stand before their parents.

    Parameters
    ----------
    cliques : tuple of Clique
        In an order in which every child comes before its parent.
    sizes : mapping of str to int
        The number of classes of each variable.
    """

    cliques: tuple[Clique, ...]
    sizes: Mapping[str, int]

    @property
    def roots(self) -> tuple[int, ...]:
        """Return the places of the roots."""
        return tuple(i for i, c in enumerate(self.cliques) if c.parent < 0)

    @property
    def preorder(self) -> tuple[int, ...]:
        """Return the places with every parent before its children."""
        return tuple(range(len(self.cliques) - 1, -1, -1))


def _bags(variables: Sequence[str], tables: Sequence[ClassTable]) -> nx.Graph:
    """Return a tree decomposition: bags of variables, joined into a forest."""
    import networkx as nx
    from networkx.algorithms.approximation import treewidth_min_fill_in

    primal = nx.Graph()
    primal.add_nodes_from(variables)
    for table in tables:
        primal.add_edges_from(
            (a, b) for i, a in enumerate(table.scope) for b in table.scope[i + 1 :]
        )
    forest = nx.Graph()
    for component in nx.connected_components(primal):
        ordered = primal.subgraph(component)
        if len(component) == 1:
            forest.add_node(frozenset(component))
            continue
        # The order of nodes decides ties; keep it that of the variables.
        small = nx.Graph()
        small.add_nodes_from(v for v in variables if v in component)
        small.add_edges_from(sorted(tuple(sorted(e)) for e in ordered.edges))
        _, decomposition = treewidth_min_fill_in(small)
        forest.add_nodes_from(decomposition.nodes)
        forest.add_edges_from(decomposition.edges)
    # A bag inside its neighbour adds nothing.
    shrunk = True
    while shrunk:
        shrunk = False
        for a, b in list(forest.edges):
            if a <= b or b <= a:
                keep, drop = (b, a) if a <= b else (a, b)
                forest.add_edges_from((keep, n) for n in forest[drop] if n != keep)
                forest.remove_node(drop)
                shrunk = True
                break
    return forest


def _separator_keys(rows: Ints, columns: Sequence[int], sizes: Sequence[int]) -> Ints:
    key = np.zeros(len(rows), dtype=np.intp)
    for column, size in zip(columns, sizes, strict=True):
        key *= size
        key += rows[:, column]
    return key


def _with_partner(rows: Ints, keys: Ints, partners: Ints) -> Ints:
    """Return the rows whose key is among those of a neighbour."""
    kept = np.isin(keys, partners)
    return rows if kept.all() else rows.compress(kept, axis=0)


def build_tree(
    variables: Sequence[str], sizes: Mapping[str, int], tables: Sequence[ClassTable]
) -> Tree:
    """Return the junction forest of a set of tables.

    Parameters
    ----------
    variables : sequence of str
        All variables, also those in no table.
    sizes : mapping of str to int
        The number of classes of each variable.
    tables : sequence of ClassTable
        The constraints.

    Returns
    -------
    Tree
        With rows that no other clique rules out (directional consistency
        both ways).
    """
    import networkx as nx

    forest = _bags(variables, tables)
    order: list[frozenset[str]] = []
    parent_of: dict[frozenset[str], frozenset[str] | None] = {}

    def rank(bag: frozenset[str]) -> tuple[int, list[str]]:
        return (-len(bag), sorted(bag))

    for component in sorted(nx.connected_components(forest), key=lambda c: min(map(rank, c))):
        root = min(component, key=rank)
        parent_of[root] = None
        reached = [root]
        for bag in reached:
            for near in sorted(forest[bag], key=rank):
                if near not in parent_of:
                    parent_of[near] = bag
                    reached.append(near)
        order.extend(reached)
    order.reverse()  # children first
    place = {bag: i for i, bag in enumerate(order)}
    listed = [tuple(v for v in variables if v in bag) for bag in order]
    inside = [[t for t in tables if set(t.scope) <= bag] for bag in order]
    rows = [
        clique_rows(vs, sizes, ts) if all(sizes[v] for v in vs) else np.zeros((0, len(vs)), np.intp)
        for vs, ts in zip(listed, inside, strict=True)
    ]

    def key(at: int, shared: Sequence[str]) -> Ints:
        columns = [listed[at].index(v) for v in shared]
        return _separator_keys(rows[at], columns, [sizes[v] for v in shared])

    shared_with_parent: list[tuple[str, ...]] = []
    for i, bag in enumerate(order):
        above = parent_of[bag]
        shared_with_parent.append(
            () if above is None else tuple(v for v in listed[i] if v in above)
        )
    for i, bag in enumerate(order):  # upwards
        above = parent_of[bag]
        if above is not None:
            p, shared = place[above], shared_with_parent[i]
            rows[p] = _with_partner(rows[p], key(p, shared), key(i, shared))
    for i in range(len(order) - 1, -1, -1):  # downwards
        above = parent_of[order[i]]
        if above is not None:
            p, shared = place[above], shared_with_parent[i]
            rows[i] = _with_partner(rows[i], key(i, shared), key(p, shared))
    for i in range(len(order)):
        if shared_with_parent[i]:
            keys = key(i, shared_with_parent[i])
            rows[i] = rows[i].take(np.argsort(keys, kind="stable"), axis=0)
    cliques = []
    counted: set[str] = set()
    owns: dict[int, tuple[str, ...]] = {}
    for i in range(len(order) - 1, -1, -1):
        owns[i] = tuple(v for v in listed[i] if v not in counted)
        counted.update(listed[i])
    for i, bag in enumerate(order):
        above = parent_of[bag]
        shared = shared_with_parent[i]
        keys, starts = np.unique(key(i, shared), return_index=True)
        if above is None:
            in_parent = np.zeros(0, dtype=np.intp)
        else:
            in_parent = np.searchsorted(keys, key(place[above], shared)).astype(np.intp)
        cliques.append(
            Clique(
                listed[i],
                rows[i],
                row_verdicts(listed[i], rows[i], inside[i]) == Verdict.FITS,
                owns[i],
                -1 if above is None else place[above],
                tuple(place[b] for b in order if parent_of[b] == bag),
                starts.astype(np.intp),
                in_parent,
            )
        )
    return Tree(tuple(cliques), dict(sizes))
