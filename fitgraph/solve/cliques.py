"""The small problem of one clique: every combination of classes that its joints allow."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.graph.joints import distinct_rows
from fitgraph.model import Verdict

Ints = npt.NDArray[np.intp]
Verdicts = npt.NDArray[np.int8]

#: Numbers of rows stay below this, so that they are exact.
_LARGEST = 1 << 62

#: Combinations that are looked at together when another variable joins.
_CELLS = 1 << 23


@dataclass(frozen=True, slots=True)
class ClassTable:
    """What a joint, or several over the same variables, say of classes.

    Parameters
    ----------
    scope : tuple of str
        The variables, one axis each.
    verdicts : ndarray of int8
        Values of :class:`fitgraph.model.Verdict`, over what the joint can tell apart.
    place_of : tuple of ndarray of int
        For each axis, the place of every class on it: classes are many, places few.
    """

    scope: tuple[str, ...]
    verdicts: Verdicts
    place_of: tuple[Ints, ...]

    @classmethod
    def over(cls, scope: tuple[str, ...], verdicts: Verdicts) -> ClassTable:
        """Return a table with a place for every class."""
        return cls(scope, verdicts, tuple(np.arange(n) for n in verdicts.shape))

    @property
    def shape(self) -> tuple[int, ...]:
        """Return the number of classes on each axis."""
        return tuple(len(p) for p in self.place_of)

    def whole(self) -> Verdicts:
        """Return the verdicts over the classes themselves."""
        return np.asarray(self.verdicts[np.ix_(*self.place_of)])


def clique_rows(
    variables: Sequence[str], sizes: Mapping[str, int], tables: Sequence[ClassTable]
) -> Ints:
    """Return every combination of classes that no table rules out.

    Parameters
    ----------
    variables : sequence of str
        The clique.
    sizes : mapping of str to int
        The number of classes of each variable.
    tables : sequence of ClassTable
        With scopes inside the clique.

    Returns
    -------
    ndarray of int, shape (n_rows, n_variables)
        Sorted, so that equal questions give equal answers.
    """
    kinds = {v: _kinds(v, sizes[v], tables) for v in variables}
    reduced = [_over_kinds(table, kinds) for table in tables]
    rows = _joined(variables, kinds, [*_pairwise(reduced), *reduced])
    rows = _expand(rows, [kinds[v][1] for v in variables])
    if math.prod(sizes[v] for v in variables) < _LARGEST:  # one number a row sorts much quicker
        key = np.zeros(len(rows), dtype=np.int64)
        for column, v in zip(rows.T, variables, strict=True):
            key *= sizes[v]
            key += column
        return rows.take(np.argsort(key), axis=0)
    return rows.take(np.lexsort(rows.T[::-1]), axis=0)


def _joined(
    variables: Sequence[str],
    kinds: Mapping[str, tuple[Ints, Ints]],
    tables: Sequence[ClassTable],
) -> Ints:
    """Return the combinations of kinds that tables allow, joined variable by variable."""
    placed: list[str] = []
    rows = np.zeros((1, 0), dtype=np.intp)
    while len(placed) < len(variables):
        # The next is the one that most is asked of by those that are there; of equals the least.
        variable = max(
            (v for v in variables if v not in placed),
            key=lambda v: (
                sum(v in t.scope and {*t.scope} <= {*placed, v} for t in tables),
                -len(kinds[v][0]),
            ),
        )
        asked = [t for t in tables if variable in t.scope and {*t.scope} <= {*placed, variable}]
        size = len(kinds[variable][0])
        step = max(1, _CELLS // max(size, 1))
        found = [np.zeros((0, len(placed) + 1), dtype=np.intp)]
        for start in range(0, len(rows), step):
            some = rows[start : start + step]
            allowed = np.ones((len(some), size), dtype=bool)
            for table in asked:
                axis = table.scope.index(variable)
                possible = np.moveaxis(table.verdicts > Verdict.FAILS, axis, -1)
                at = tuple(
                    of[some[:, placed.index(v)]]
                    for v, of in zip(table.scope, table.place_of, strict=True)
                    if v != variable
                )
                allowed &= possible[at][..., table.place_of[axis]]
            row, kind = np.nonzero(allowed)
            found.append(np.column_stack([some[row], kind]))
        rows = np.concatenate(found)
        placed.append(variable)
    return rows[:, [placed.index(v) for v in variables]]


def _kinds(variable: str, size: int, tables: Sequence[ClassTable]) -> tuple[Ints, Ints]:
    """Return classes that these tables can tell apart, and the kind of every class."""
    told = []
    for table in tables:
        if variable in table.scope:
            axis = table.scope.index(variable)
            possible = np.moveaxis(table.verdicts > Verdict.FAILS, axis, 0)
            flat = possible.reshape(len(possible), -1)
            told.append(distinct_rows(np.packbits(flat, axis=1))[1][table.place_of[axis]])
    if not told:
        return np.zeros(1, dtype=np.intp), np.zeros(size, dtype=np.intp)
    return distinct_rows(np.column_stack(told))


def _over_kinds(table: ClassTable, kinds: Mapping[str, tuple[Ints, Ints]]) -> ClassTable:
    place_of = (of[kinds[v][0]] for v, of in zip(table.scope, table.place_of, strict=True))
    return ClassTable(table.scope, table.verdicts, tuple(place_of))


def _pairwise(tables: Sequence[ClassTable]) -> list[ClassTable]:
    """Return what wider tables say of pairs, so that a search turns back early."""
    pairs = []
    for table in tables:
        axes = range(len(table.scope))
        for a, b in itertools.combinations(axes, 2) if len(axes) > 2 else ():
            shadow = table.verdicts.max(axis=tuple(k for k in axes if k not in (a, b)))
            if (shadow == Verdict.FAILS).any():
                scope = (table.scope[a], table.scope[b])
                pairs.append(ClassTable(scope, shadow, (table.place_of[a], table.place_of[b])))
    return pairs


def _expand(rows: Ints, kind_of: Sequence[Ints]) -> Ints:
    """Return rows of kinds as rows of classes."""
    for at, of_class in enumerate(kind_of):
        order = np.argsort(of_class, kind="stable")
        counts = np.bincount(of_class, minlength=int(of_class.max(initial=-1)) + 1)
        starts = np.cumsum(counts) - counts
        repeat = counts[rows[:, at]]
        if (counts == 1).all():  # each kind is one class
            rows[:, at] = order[starts[rows[:, at]]]
            continue
        owner = np.repeat(np.arange(len(rows)), repeat)
        number = np.arange(len(owner)) - np.repeat(np.cumsum(repeat) - repeat, repeat)
        rows = rows.take(owner, axis=0)
        rows[:, at] = order[starts[rows[:, at]] + number]
    return rows


def row_verdicts(variables: Sequence[str], rows: Ints, tables: Sequence[ClassTable]) -> Verdicts:
    """Return the worst verdict of the tables on each row."""
    verdicts = np.full(len(rows), Verdict.FITS, dtype=np.int8)
    columns = dict(zip(variables, np.ascontiguousarray(rows.T), strict=True))
    for table in tables:
        if (table.verdicts == Verdict.FITS).all():
            continue
        cell = np.zeros(len(rows), dtype=np.intp)
        for v, of, size in zip(table.scope, table.place_of, table.verdicts.shape, strict=True):
            cell *= size
            cell += of.take(columns[v])
        np.minimum(verdicts, table.verdicts.ravel().take(cell), out=verdicts)
    return verdicts
