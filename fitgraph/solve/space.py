"""A catalogue compiled for questions: options, their classes, and the junction tree."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from fitgraph.graph.joints import JointTable, joint_tables
from fitgraph.graph.options import options_for, strength_nm
from fitgraph.model import Catalogue, Option, Verdict
from fitgraph.solve.cliques import ClassTable
from fitgraph.solve.tree import Tree, build_tree

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Space:
    """Everything about a catalogue that does not depend on the question.

    Parameters
    ----------
    catalogue : Catalogue
        What was compiled.
    tidy : bool
        Whether needless parts are kept out.
    options : mapping of str to tuple of Option
        The options of each role, in catalogue order.
    class_of : mapping of str to ndarray of int
        The interface class of each option: options of a class are told
        apart by no joint.
    tables : tuple of ClassTable
        The joints over classes.
    joint_tables : tuple of JointTable
        The same, joint by joint, over each joint's own classes.
    tree : Tree
        The junction tree of the tables.
    mass_g : mapping of str to ndarray of float
        The mass of each option in g; nan where it is not known.
    strength_nm : mapping of str to ndarray of float
        The bending moment at yield in N m; nan where none is compared or known.
    """

    catalogue: Catalogue
    tidy: bool
    options: Mapping[str, tuple[Option, ...]]
    class_of: Mapping[str, Ints]
    tables: tuple[ClassTable, ...]
    joint_tables: tuple[JointTable, ...]
    tree: Tree
    mass_g: Mapping[str, Floats]
    strength_nm: Mapping[str, Floats]

    @property
    def roles(self) -> tuple[str, ...]:
        """Return the roles, in the order of the vocabulary."""
        return tuple(self.options)


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _classes(
    roles: Sequence[str],
    options: Mapping[str, Sequence[Option]],
    tables: Sequence[JointTable],
) -> tuple[dict[str, Ints], tuple[ClassTable, ...]]:
    """Return the classes of each role's options, and the tables over them."""
    class_of: dict[str, Ints] = {}
    local: dict[tuple[int, str], Ints] = {}
    for role in roles:
        mine = [
            (k, table.class_of[table.roles.index(role)])
            for k, table in enumerate(tables)
            if role in table.roles and table.verdicts.shape[table.roles.index(role)] > 1
        ]
        if not mine:
            class_of[role] = np.zeros(len(options[role]), dtype=np.intp)
            continue
        columns = np.column_stack([c for _, c in mine])
        distinct, inverse = np.unique(columns, axis=0, return_inverse=True)
        class_of[role] = inverse.reshape(-1).astype(np.intp)
        for j, (k, _) in enumerate(mine):
            local[(k, role)] = distinct[:, j].astype(np.intp)
    over_classes: list[ClassTable] = []
    for k, table in enumerate(tables):
        if (table.verdicts == Verdict.FITS).all():
            continue
        verdicts = table.verdicts
        scope = []
        for axis in range(len(table.roles) - 1, -1, -1):
            role = table.roles[axis]
            if (k, role) in local:
                verdicts = np.take(verdicts, local[(k, role)], axis=axis)
                scope.append(role)
            else:
                verdicts = np.asarray(verdicts.take(0, axis=axis))
        scope.reverse()
        if not scope:  # fails or is unknown whatever is chosen: keep it on one role
            role = table.roles[0]
            size = int(class_of[role].max(initial=0)) + 1
            scope, verdicts = [role], np.full(size, verdicts, dtype=np.int8)
        over_classes.append(ClassTable(tuple(scope), np.asarray(verdicts)))
    return class_of, _joined(over_classes)


def _joined(tables: Sequence[ClassTable]) -> tuple[ClassTable, ...]:
    """Return the tables with those over the same variables made one."""
    merged: dict[tuple[str, ...], npt.NDArray[np.int8]] = {}
    for table in tables:
        order = sorted(range(len(table.scope)), key=lambda i: table.scope[i])
        scope = tuple(table.scope[i] for i in order)
        verdicts = np.transpose(table.verdicts, order)
        if scope in merged:
            verdicts = np.minimum(merged[scope], verdicts)
        merged[scope] = verdicts
    return tuple(ClassTable(scope, verdicts) for scope, verdicts in merged.items())


def compile_space(catalogue: Catalogue, *, tidy: bool = True) -> Space:
    """Compile a catalogue.

    Parameters
    ----------
    catalogue : Catalogue
        What to compile.
    tidy : bool
        Whether joints that only keep needless parts out count as well: yes
        for lists of builds, no for the question whether named parts fit.

    Returns
    -------
    Space
        Ready for any number of questions.
    """
    vocabulary = catalogue.vocabulary
    options = {role: options_for(catalogue.of(role), role, vocabulary) for role in vocabulary.roles}
    tables = joint_tables(vocabulary, options, tidy=tidy)
    class_of, over_classes = _classes(tuple(options), options, tables)
    sizes = {role: int(c.max(initial=-1)) + 1 for role, c in class_of.items()}
    return Space(
        catalogue,
        tidy,
        MappingProxyType(options),
        MappingProxyType(class_of),
        over_classes,
        tuple(tables),
        build_tree(tuple(options), sizes, over_classes),
        MappingProxyType(
            {r: np.array([_number(o.mass_g) for o in os]) for r, os in options.items()}
        ),
        MappingProxyType(
            {
                r: np.array([_number(strength_nm(o, vocabulary)) for o in os])
                for r, os in options.items()
            }
        ),
    )
