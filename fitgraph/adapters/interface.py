"""All other parts of a build, grouped by what they ask of the one part that is made.

For one role, the joints that touch it are taken out of the catalogue; what is left is compiled
as usual. One clique of the junction tree holds every role that the made part meets. Its rows
fall into groups that ask the same of the made part, and a table says which of its options fits
which group. So one pass over the rest answers for any number of made parts, and exactly.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.joints import JointTable, asked, distinct_rows, joint_table
from fitgraph.model import Catalogue, Option, Verdict
from fitgraph.solve.space import Space, compile_tables

Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Interface:
    """What the rest of a build asks of one role.

    Parameters
    ----------
    space : Space
        The other roles, with nothing that is not certain.
    place : int
        The clique that holds all roles the made part meets.
    group_of : ndarray of int
        For each row of the clique, its group.
    fits : ndarray of bool, shape (n_options, n_groups)
        Whether an option of the made role certainly fits what a group asks.
    """

    space: Space
    place: int
    group_of: Ints
    fits: Bools


def _certain(table: JointTable) -> JointTable:
    """Return a table in which what is not certain fails."""
    verdicts = np.where(table.verdicts == Verdict.FITS, Verdict.FITS, Verdict.FAILS)
    return replace(table, verdicts=verdicts.astype(np.int8))


def _without(table: JointTable, role: str) -> tuple[JointTable, npt.NDArray[np.bool_]]:
    """Return a table over the other roles, and whether each option fits each of its cells.

    The table keeps the other roles' options apart as far as the made options do, and rules out
    what none of these fits.
    """
    at = table.roles.index(role)
    fits = np.moveaxis(table.verdicts == Verdict.FITS, at, 0)[table.class_of[at]]
    some = np.where(fits.any(axis=0), Verdict.UNKNOWN, Verdict.FAILS).astype(np.int8)
    others = [k for k in range(len(table.roles)) if k != at]
    left = JointTable(
        table.joint,
        tuple(table.roles[k] for k in others),
        tuple(table.class_of[k] for k in others),
        some,
    )
    return left, fits


def _together(tables: Sequence[JointTable]) -> list[JointTable]:
    """Return tables that rule nothing out but keep all roles of some tables in one clique."""
    columns: dict[str, list[Ints]] = {}
    for table in tables:
        for role, class_of in zip(table.roles, table.class_of, strict=True):
            columns.setdefault(role, []).append(class_of)
    merged = {role: distinct_rows(np.column_stack(cs))[1] for role, cs in columns.items()}
    found = []
    for one, other in itertools.combinations(merged, 2):
        shape = (int(merged[one].max()) + 1, int(merged[other].max()) + 1)
        found.append(
            JointTable(
                replace(tables[0].joint, name=f"{one} with {other}"),
                (one, other),
                (merged[one], merged[other]),
                np.full(shape, Verdict.UNKNOWN, dtype=np.int8),
            )
        )
    return found


def _option_of(space: Space, role: str, variable: str) -> Ints:
    """Return for each class of a variable the place of one option of its role in that class."""
    whole = space.class_of[role]
    first = np.full(space.tree.sizes[role], -1, dtype=np.intp)
    first[whole[::-1]] = np.arange(len(whole) - 1, -1, -1)
    if variable == role:
        return first
    link = next(t for t in space.tables if set(t.scope) == {role, variable})
    over = link.verdicts if link.scope[0] == role else link.verdicts.T
    return first[np.argmax(over == Verdict.FITS, axis=0)]


def _meeting(space: Space, roles: Sequence[str]) -> tuple[int, dict[str, str]]:
    """Return a clique that holds some roles, and the variable of each in it."""
    for place, clique in enumerate(space.tree.cliques):
        home = {v.split("/")[0]: v for v in reversed(clique.variables)}
        if home.keys() >= set(roles):
            return place, {r: home[r] for r in roles}
    raise AssertionError(f"no clique holds {', '.join(roles)}")


def interface(
    catalogue: Catalogue,
    role: str,
    made: Sequence[Option],
    options: Mapping[str, tuple[Option, ...]],
) -> Interface | None:
    """Compile what the rest of a build asks of a role.

    Parameters
    ----------
    catalogue : Catalogue
        Where the other parts come from.
    role : str
        The role of the made part.
    made : sequence of Option
        Options of that role: parts that exist and parts that could be made.
    options : mapping of str to tuple of Option
        The options of every role.

    Returns
    -------
    Interface or None
        None where some other role that has to be filled has no part.
    """
    others = {r: os for r, os in options.items() if r != role}
    if not all(others.values()):
        return None
    codes = WordCodes()
    columns = columns_of({**others, role: made}, codes)
    kept: list[JointTable] = []
    touching: list[tuple[JointTable, Bools]] = []
    alone = np.ones(len(made), dtype=bool)
    for joint in asked(catalogue.vocabulary.joints, tidy=True):
        table = joint_table(joint, columns)
        if role not in joint.roles:
            kept.append(_certain(table))
        elif joint.roles == (role,):
            alone &= table.verdicts[table.class_of[0]] == Verdict.FITS
        elif not (table.verdicts == Verdict.FITS).all():
            touching.append(_without(table, role))
    left = [table for table, _ in touching]
    space = compile_tables(catalogue, others, [*kept, *left, *_together(left)])
    # A role whose options these joints do not tell apart may stand in another clique.
    met = dict.fromkeys(
        r for t in left for r, n in zip(t.roles, t.verdicts.shape, strict=True) if n > 1
    )
    place, variable = _meeting(space, list(met))
    clique = space.tree.cliques[place]
    stands_for = {r: _option_of(space, r, v)[clique.column(v)] for r, v in variable.items()}
    nobody = np.zeros(len(clique.rows), dtype=np.intp)
    keys = [
        np.ravel_multi_index(
            [c[stands_for.get(r, nobody)] for r, c in zip(t.roles, t.class_of, strict=True)],
            fits.shape[1:],
        )
        for t, fits in touching
    ]
    if keys and len(clique.rows):
        first, group_of = distinct_rows(np.column_stack(keys))
    else:
        first = np.zeros(min(1, len(clique.rows)), dtype=np.intp)
        group_of = np.zeros(len(clique.rows), dtype=np.intp)
    fits_all = np.repeat(alone[:, None], len(first), axis=1)
    for key, (_, fits) in zip(keys, touching, strict=True):
        fits_all &= fits.reshape(len(made), -1)[:, key[first]]
    # Groups that the same options fit are one.
    kinds, merged = distinct_rows(np.packbits(fits_all, axis=0).T)
    return Interface(space, place, merged[group_of], fits_all[:, kinds])
