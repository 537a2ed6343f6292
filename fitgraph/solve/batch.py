"""Many requests at once over one junction tree, with what is equal in them worked out once.

A request reaches the tree as what it makes of each role's classes: a cost (or a number of
options) for each class. Requests that say the same of the roles below a clique share the
message from there, so a message is a matrix with one row for each distinct demand.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.solve.tree import Clique, Tree

Ints = npt.NDArray[np.intp]
Numbers = npt.NDArray[Any]

#: Numbers of a matrix that are worked on at once: few enough to stay in a processor's cache.
CELLS = 1 << 16


@dataclass(frozen=True, slots=True)
class Algebra:
    """How the values of alternatives, and of parts of one build, go together."""

    either: np.ufunc
    both: np.ufunc
    none: float
    one: float


#: Least sums of costs, where infinity stands for what cannot be.
LEAST = Algebra(np.minimum, np.add, np.inf, 0.0)

#: Numbers of builds.
COUNT = Algebra(np.add, np.multiply, 0, 1)


@dataclass(frozen=True, slots=True)
class Demands:
    """What some requests make of each role.

    Parameters
    ----------
    values : mapping of str to ndarray, shape (n_demands, n_classes)
        For each role, the distinct demands on it: a value for each of its classes.
    of : mapping of str to ndarray of int, shape (n_requests,)
        Which of them each request has.
    """

    values: Mapping[str, Numbers]
    of: Mapping[str, Ints]

    def part(self, start: int, stop: int) -> Demands:
        """Return the demands of a range of requests."""
        return Demands(self.values, {r: ids[start:stop] for r, ids in self.of.items()})

    @property
    def count(self) -> int:
        """Return the number of requests."""
        return len(next(iter(self.of.values())))


@dataclass(frozen=True, slots=True)
class _Message:
    """A value for each group of a clique, one row a distinct demand, and each request's row."""

    values: Numbers
    row_of: Ints


class Passes:
    """Messages of many requests along a tree.

    Parameters
    ----------
    tree : Tree
        The junction tree; every row of its cliques counts, whatever its verdict.
    demands : Demands
        Of all requests.
    algebra : Algebra
        :data:`LEAST` or :data:`COUNT`.
    """

    def __init__(self, tree: Tree, demands: Demands, algebra: Algebra) -> None:
        self.tree, self.demands, self.algebra = tree, demands, algebra
        self._below: list[tuple[str, ...]] = []
        for clique in tree.cliques:
            mine = [v for v in clique.own if v in demands.values]
            for child in clique.children:
                mine.extend(self._below[child])
            self._below.append(tuple(mine))
        self._up: dict[int, _Message] = {}

    def _distinct(self, roles: tuple[str, ...]) -> tuple[Ints, Ints]:
        """Return one request for each distinct demand on some roles, and each one's demand."""
        if not roles:
            return np.zeros(1, dtype=np.intp), np.zeros(self.demands.count, dtype=np.intp)
        key = np.zeros(self.demands.count, dtype=np.int64)
        for role in roles:
            key = key * len(self.demands.values[role]) + self.demands.of[role]
            if len(roles) > 1:  # keep keys small, so that no product of sizes overflows
                key = np.unique(key, return_inverse=True)[1].astype(np.int64)
        _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
        return first.astype(np.intp), inverse.astype(np.intp)

    def blocks(
        self, at: int, requests: Ints, children: tuple[int, ...], outside: _Message | None
    ) -> Iterator[tuple[slice, Ints, Numbers]]:
        """Yield for blocks of requests the rows of a clique that can be, and their values."""
        clique, none = self.tree.cliques[at], self.algebra.none
        own = [v for v in clique.own if v in self.demands.values]
        # Requests that leave the same rows stand together, so that a block has few rows.
        step, start = max(1, CELLS // max(len(clique.rows), 1)), 0
        while start < len(requests):
            block = slice(start, min(start + step, len(requests)))
            some = requests[block]
            lets = np.ones(len(clique.rows), dtype=bool)
            demands = {v: self.demands.values[v][self.demands.of[v][some]] for v in own}
            for variable in own:
                lets &= (demands[variable] != none).any(axis=0)[clique.column(variable)]
            rows = np.flatnonzero(lets)
            yield block, rows, self._values(clique, some, rows, demands, children, outside)
            start = block.stop
            # Few rows were left: take more requests next time.
            step = max(1, min(CELLS // max(len(rows), 1), 4 * step))

    def _values(
        self,
        clique: Clique,
        some: Ints,
        rows: Ints,
        demands: Mapping[str, Numbers],
        children: tuple[int, ...],
        outside: _Message | None,
    ) -> Numbers:
        both = self.algebra.both
        kind = next(iter(self.demands.values.values())).dtype
        if outside is None:
            values = np.full((len(some), len(rows)), self.algebra.one, dtype=kind)
        else:
            values = outside.values[outside.row_of[some][:, None], clique.group_of[rows][None, :]]
        for variable, table in demands.items():
            values = both(values, table[:, clique.column(variable)[rows]])
        for child in children:
            message = self._up[child]
            groups = self.tree.cliques[child].group_in_parent[rows]
            values = both(values, message.values[message.row_of[some]][:, groups])
        return values

    def _gathered(
        self, groups: Ints, count: int, of_rows: Iterator[tuple[slice, Ints, Numbers]], n: int
    ) -> Numbers:
        """Return values of rows put together by the groups that the rows belong to."""
        kind = next(iter(self.demands.values.values())).dtype
        found = np.full((n, count), self.algebra.none, dtype=kind)
        for block, rows, values in of_rows:
            if len(rows):
                order = np.argsort(groups[rows], kind="stable")
                sorted_groups = groups[rows][order]
                starts = np.flatnonzero(np.diff(sorted_groups, prepend=-1))
                found[block, sorted_groups[starts]] = self.algebra.either.reduceat(
                    values[:, order], starts, axis=1
                )
        return found

    def _ordered(self, at: int, roles: tuple[str, ...]) -> tuple[Ints, Ints]:
        """Return distinct demands as :meth:`_distinct`, those on the clique's own roles first."""
        own = [v for v in self.tree.cliques[at].own if v in roles]
        return self._distinct((*own, *(r for r in roles if r not in own)))

    def _upward(self, at: int) -> None:
        clique = self.tree.cliques[at]
        some, row_of = self._ordered(at, self._below[at])
        found = self._gathered(
            clique.group_of,
            len(clique.starts),
            self.blocks(at, some, clique.children, None),
            len(some),
        )
        self._up[at] = _Message(found, row_of)

    def at(self, place: int, groups: Ints, count: int) -> Iterator[tuple[Ints, Numbers]]:
        """Yield requests, and the value of each of some groups of one clique's rows.

        Parameters
        ----------
        place : int
            Which clique.
        groups : ndarray of int
            The group of each of its rows.
        count : int
            How many groups there are.

        Yields
        ------
        requests : ndarray of int
            Some requests.
        values : ndarray, shape (n_requests, n_groups)
            The least cost, or the number, of whole builds through a row of the group.
        """
        tree = self.tree
        path = [place]
        while tree.cliques[path[-1]].parent >= 0:
            path.append(tree.cliques[path[-1]].parent)
        for at in range(len(tree.cliques)):
            if at not in path:
                self._upward(at)
        outside: _Message | None = self._others(path[-1])
        for above, below in zip(path[:0:-1], path[-2::-1], strict=True):
            outside = self._downward(above, below, outside)
        everyone = self._request_order(place)
        children = tree.cliques[place].children
        for block, rows, values in self.blocks(place, everyone, children, outside):
            some = everyone[block]
            whole = iter([(slice(0, len(some)), rows, values)])
            yield some, self._gathered(groups, count, whole, len(some))

    def _request_order(self, place: int) -> Ints:
        own = [v for v in self.tree.cliques[place].own if v in self.demands.values]
        if not own:
            return np.arange(self.demands.count, dtype=np.intp)
        return np.lexsort([self.demands.of[v] for v in reversed(own)]).astype(np.intp)

    def _others(self, root: int) -> _Message:
        """Return what the trees beside this root's come to, as if it were above the root."""
        kind = next(iter(self.demands.values.values())).dtype
        total: Numbers = np.full(self.demands.count, self.algebra.one, dtype=kind)
        for other in self.tree.roots:
            if other == root:
                continue
            message = self._up[other]
            whole = (
                message.values[:, 0]
                if message.values.shape[1]
                else np.full(len(message.values), self.algebra.none, dtype=kind)
            )
            total = self.algebra.both(total, whole[message.row_of])
        return _Message(total[:, None], np.arange(self.demands.count, dtype=np.intp))

    def _downward(self, above: int, below: int, outside: _Message | None) -> _Message:
        clique, child = self.tree.cliques[above], self.tree.cliques[below]
        everyone = self._request_order(above)
        others = tuple(c for c in clique.children if c != below)
        found = self._gathered(
            child.group_in_parent,
            len(child.starts),
            self.blocks(above, everyone, others, outside),
            len(everyone),
        )
        row_of = np.empty(len(everyone), dtype=np.intp)
        row_of[everyone] = np.arange(len(everyone))
        return _Message(found, row_of)
