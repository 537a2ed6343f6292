"""The small problem of one clique: every combination of classes that its joints allow."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from constraint import OptimizedBacktrackingSolver, Problem

from fitgraph.model import Verdict

Ints = npt.NDArray[np.intp]
Verdicts = npt.NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class ClassTable:
    """What a joint, or several over the same variables, say of classes.

    Parameters
    ----------
    scope : tuple of str
        The variables, one axis each.
    verdicts : ndarray of int8
        Values of :class:`fitgraph.model.Verdict`.
    """

    scope: tuple[str, ...]
    verdicts: Verdicts


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
    problem = Problem(OptimizedBacktrackingSolver())
    for variable in variables:
        problem.addVariable(variable, list(range(sizes[variable])))
    for table in tables:
        possible = {tuple(row) for row in np.argwhere(table.verdicts > Verdict.FAILS).tolist()}

        def allows(*classes: int, _possible: set[tuple[int, ...]] = possible) -> bool:
            return classes in _possible

        problem.addConstraint(allows, list(table.scope))
    solutions = problem.getSolutions() if tables else _product(variables, sizes)
    rows = np.array([[s[v] for v in variables] for s in solutions], dtype=np.intp)
    rows = rows.reshape(-1, len(variables))
    return rows[np.lexsort(rows.T[::-1])]


def _product(variables: Sequence[str], sizes: Mapping[str, int]) -> list[dict[str, int]]:
    ranges = (range(sizes[v]) for v in variables)
    return [dict(zip(variables, row, strict=True)) for row in itertools.product(*ranges)]


def row_verdicts(variables: Sequence[str], rows: Ints, tables: Sequence[ClassTable]) -> Verdicts:
    """Return the worst verdict of the tables on each row."""
    verdicts = np.full(len(rows), Verdict.FITS, dtype=np.int8)
    for table in tables:
        at = tuple(rows[:, list(variables).index(v)] for v in table.scope)
        np.minimum(verdicts, table.verdicts[at], out=verdicts)
    return verdicts
