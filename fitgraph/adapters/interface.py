"""All other parts of a build, grouped by what they ask of the one part that is made.

For one role, the joints that touch it are taken out of the catalogue; what is left is compiled
as usual. One clique of the junction tree holds every role that the made part meets. Its rows
fall into groups that ask the same of the made part, and a table says which of its options fits
which group. So one pass over the rest answers for any number of made parts, and exactly.

A nest or a stack asks for a sum over several roles. What the others add is one number a row of
the clique, and a made part keeps the condition where its own share makes up for it: so rows that
leave the same made parts are one group there too.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.demand.distinct import dense
from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.joints import JointTable, asked, distinct_rows, joint_table
from fitgraph.graph.sums import SumCondition, Term, sum_condition
from fitgraph.mechanics.rules import EPSILON_MM, RULES
from fitgraph.model import Catalogue, Option, Verdict
from fitgraph.solve.plan import CEILING, TooWideError
from fitgraph.solve.space import Space, compile_tables

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Lengths in mm are compared to so many decimals, so that a sum is the same in any order.
_DECIMALS = 9

#: Bytes that a cell of a sum's table comes to, about: while it is added up and merged, and in the
#: cliques and messages that hold its roles.
_HELD = 240.0


@dataclass(frozen=True, slots=True)
class RoleInterface:
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
    spare : ndarray of float, shape (n_options,)
        What is certainly left at the worst sizes in every nest that an option is in and that
        closes for certain [mm]; infinite where there is none.
    """

    space: Space
    place: int
    group_of: Ints
    fits: Bools
    spare: Floats


@dataclass(frozen=True, slots=True)
class _Asked:
    """What one joint asks of the made part, over the classes of the other roles it touches.

    Parameters
    ----------
    left : JointTable
        Over the other roles, ruling out what none of the made options fits.
    code : ndarray of int
        For each of its cells, what is asked: cells of one code leave the same options.
    fits : ndarray of bool, shape (n_options, n_codes)
        Which options fit what is asked.
    total : ndarray of float or None
        For nests, the least that the other roles add in each of its cells [mm].
    own : ndarray of float, shape (n_options,), or None
        For nests, the least that each option adds; infinite where it is not asked.
    """

    left: JointTable
    code: Ints
    fits: Bools
    total: Floats | None = None
    own: Floats | None = None


def _certain(table: JointTable) -> JointTable:
    """Return a table in which what is not certain fails."""
    verdicts = np.where(table.verdicts == Verdict.FITS, Verdict.FITS, Verdict.FAILS)
    return replace(table, verdicts=verdicts.astype(np.int8))


def _merged(
    values: npt.NDArray[Any], class_of: Sequence[Ints], beside: Floats
) -> tuple[Any, list[Ints], Floats]:
    """Return a table in which classes with equal slices are one, and each option's class.

    Of what stands beside the table, the least of the classes that are one is kept.
    """
    found = []
    for axis in range(values.ndim):
        slices = np.moveaxis(values, axis, 0).reshape(values.shape[axis], -1)
        first, same = distinct_rows(slices)
        values = np.take(values, first, axis=axis)
        order = np.argsort(same, kind="stable")
        starts = np.searchsorted(same[order], np.arange(len(first)))
        beside = np.minimum.reduceat(np.take(beside, order, axis=axis), starts, axis=axis)
        found.append(same[class_of[axis]])
    return values, found, beside


def _without(table: JointTable, role: str) -> _Asked:
    """Return what a joint asks of a role.

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
    code = np.arange(some.size, dtype=np.intp).reshape(some.shape)
    return _Asked(left, code, fits.reshape(len(fits), -1))


def _add_up(terms: Sequence[Term], roles: Sequence[str], name: str) -> tuple[Floats, list[Ints]]:
    """Return the worst sum of some terms over classes of roles, and each option's class.

    Raises
    ------
    TooWideError
        If the table would not fit below the ceiling of memory.
    """
    class_of: list[Ints] = []
    local: list[list[Ints]] = []
    for role in roles:
        mine = [t.class_of[t.roles.index(role)] for t in terms if role in t.roles]
        columns = np.column_stack(mine)
        first, of_role = distinct_rows(columns)
        class_of.append(of_role)
        local.append(list(columns[first].T))
    shape_of = [int(c.max(initial=-1)) + 1 for c in class_of]
    needed = _HELD * math.prod(map(float, shape_of))
    if needed > CEILING:
        raise TooWideError(needed, CEILING, roles, (name,))
    total = np.zeros(shape_of)
    for term in terms:
        axes = sorted(range(len(term.roles)), key=lambda n: roles.index(term.roles[n]))
        values = np.transpose(term.worst, axes)
        picks = []
        for n in axes:
            at = list(roles).index(term.roles[n])
            picks.append(local[at].pop(0))
        values = values[np.ix_(*picks)]
        shape = [1] * len(roles)
        for n, size in zip(axes, values.shape, strict=True):
            shape[list(roles).index(term.roles[n])] = size
        total = total + values.reshape(shape)
    return np.round(total, _DECIMALS), class_of


def _held(condition: SumCondition) -> JointTable:
    """Return a sum as a table: it fits where it holds for certain, and fails elsewhere."""
    total, class_of = _add_up(condition.terms, condition.roles, condition.name)
    holds, classes, _ = _merged(total >= -EPSILON_MM, class_of, total)
    verdicts = np.where(holds, Verdict.FITS, Verdict.FAILS).astype(np.int8)
    joint = replace(condition.joint, name=condition.name)
    return JointTable(joint, condition.roles, tuple(classes), verdicts)


def _sums_without(condition: SumCondition, role: str, count: int) -> Iterator[_Asked]:
    """Yield what a sum asks of a role.

    That is one thing where the role only adds its own share; where it also decides whether
    other shares count, one for each way in which its options decide that.
    """
    mine = [t for t in condition.terms if t.roles == (role,)]
    mixed = [t for t in condition.terms if role in t.roles and len(t.roles) > 1]
    plain = [t for t in condition.terms if role not in t.roles]
    own = np.zeros(count)
    for term in mine:
        own = own + term.worst[term.class_of[0]]
    deciding = [t.class_of[t.roles.index(role)] for t in mixed]
    first, way_of = distinct_rows(np.column_stack([np.zeros((count, 1), dtype=np.intp), *deciding]))
    others = tuple(r for r in condition.roles if r != role)
    for way, example in enumerate(first):
        terms = list(plain)
        for term in mixed:
            at = term.roles.index(role)
            terms.append(
                Term(
                    tuple(r for r in term.roles if r != role),
                    tuple(c for k, c in enumerate(term.class_of) if k != at),
                    np.take(term.worst, term.class_of[at][example], axis=at),
                    np.take(term.best, term.class_of[at][example], axis=at),
                )
            )
        these = way_of == way
        total, class_of = _add_up(terms, others, condition.name)
        # Rounded as sums are: what is asked is the least share that still keeps the condition.
        need = np.round(-own - EPSILON_MM, _DECIMALS)
        marks = np.unique(need[these])
        code = np.searchsorted(marks, total, side="right").astype(np.intp)
        code, classes, total = _merged(code, class_of, total)
        fits = np.arange(len(marks) + 1) > np.searchsorted(marks, need)[:, None]
        fits[~these] = True
        some = np.asarray(fits.any(axis=0))
        verdicts = np.where(some[code], Verdict.UNKNOWN, Verdict.FAILS)
        joint = replace(condition.joint, name=f"{condition.name}, {way}")
        table = JointTable(joint, others, tuple(classes), verdicts.astype(np.int8))
        if condition.joint.rings:
            yield _Asked(table, code, fits, total, np.where(these, own, np.inf))
        else:
            yield _Asked(table, code, fits)


def _decided(asks: _Asked) -> JointTable:
    """Return a table that the other roles alone have to keep, whichever option is made."""
    verdicts = np.where(asks.fits[0][asks.code], Verdict.FITS, Verdict.FAILS).astype(np.int8)
    return replace(asks.left, verdicts=verdicts)


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
    over = link.whole() if link.scope[0] == role else link.whole().T
    return first[np.argmax(over == Verdict.FITS, axis=0)]


def _meeting(space: Space, roles: Sequence[str]) -> tuple[int, dict[str, str]]:
    """Return a clique that holds some roles, and the variable of each in it."""
    for place, clique in enumerate(space.tree.cliques):
        home = {v.split("/")[0]: v for v in reversed(clique.variables)}
        if home.keys() >= set(roles):
            return place, {r: home[r] for r in roles}
    raise AssertionError(f"no clique holds {', '.join(roles)}")


def tables_apart(
    catalogue: Catalogue, role: str, options: Mapping[str, tuple[Option, ...]]
) -> list[JointTable]:
    """Return what the joints say that do not touch a role, with nothing that is not certain.

    Parameters
    ----------
    catalogue, role, options
        As in :func:`interface`.
    """
    columns = columns_of({r: os for r, os in options.items() if r != role}, WordCodes())
    found = []
    for joint in asked(catalogue.vocabulary.joints, tidy=True):
        if role in joint.roles or not all(options[r] for r in joint.roles):
            continue
        if RULES[joint.rule].sums:
            found.append(_held(sum_condition(joint, columns)))
        else:
            found.append(_certain(joint_table(joint, columns)))
    return found


def interface(
    catalogue: Catalogue,
    role: str,
    made: Sequence[Option],
    options: Mapping[str, tuple[Option, ...]],
    apart: Sequence[JointTable] | None = None,
) -> RoleInterface | None:
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
    apart : sequence of JointTable, optional
        From :func:`tables_apart`, if it is at hand.

    Returns
    -------
    Interface or None
        None where nothing is made, or some other role that has to be filled has no part.
    """
    others = {r: os for r, os in options.items() if r != role}
    if not made or not all(others.values()):
        return None
    codes = WordCodes()
    columns = columns_of({**others, role: made}, codes)
    kept = list(tables_apart(catalogue, role, options) if apart is None else apart)
    touching: list[_Asked] = []
    alone = np.ones(len(made), dtype=bool)
    for joint in asked(catalogue.vocabulary.joints, tidy=True):
        if role not in joint.roles:
            continue
        if RULES[joint.rule].sums:
            condition = sum_condition(joint, columns)
            if role not in condition.roles:  # all that could be made are the same to it
                kept.append(_held(condition))
            else:
                touching += _sums_without(condition, role, len(made))
            continue
        table = joint_table(joint, columns)
        if joint.roles == (role,):
            alone &= table.verdicts[table.class_of[0]] == Verdict.FITS
        elif not (table.verdicts == Verdict.FITS).all():
            touching.append(_without(table, role))
    # What all of them answer alike is no question to any of them.
    alike = [bool((a.fits == a.fits[:1]).all()) and a.total is None for a in touching]
    kept += [_decided(a) for a, same in zip(touching, alike, strict=True) if same]
    touching = [a for a, same in zip(touching, alike, strict=True) if not same]
    left = [asks.left for asks in touching]
    space = compile_tables(catalogue, others, [*kept, *left, *_together(left)])
    # A role whose options these joints do not tell apart may stand in another clique.
    met = dict.fromkeys(
        r for t in left for r, n in zip(t.roles, t.verdicts.shape, strict=True) if n > 1
    )
    place, variable = _meeting(space, list(met))
    clique = space.tree.cliques[place]
    stands_for = {r: _option_of(space, r, v)[clique.column(v)] for r, v in variable.items()}
    nobody = np.zeros(len(clique.rows), dtype=np.intp)
    rows = [
        tuple(
            c[stands_for.get(r, nobody)] for r, c in zip(a.left.roles, a.left.class_of, strict=True)
        )
        for a in touching
    ]
    keys = [asks.code[row] for row, asks in zip(rows, touching, strict=True)]
    if keys and len(clique.rows):
        first, group_of = dense(keys)
    else:
        first = np.zeros(min(1, len(clique.rows)), dtype=np.intp)
        group_of = np.zeros(len(clique.rows), dtype=np.intp)
    fits_all = np.repeat(alone[:, None], len(first), axis=1)
    for key, asks in zip(keys, touching, strict=True):
        fits_all &= asks.fits[:, key[first]]
    # Groups that the same options fit are one.
    kinds, merged = distinct_rows(np.packbits(fits_all, axis=0).T)
    group_of, fits_all = merged[group_of], fits_all[:, kinds]
    spare = np.full(len(made), np.inf)
    for row, asks in zip(rows, touching, strict=True):
        if asks.total is None or asks.own is None:
            continue
        least = np.full(fits_all.shape[1], np.inf)
        np.minimum.at(least, group_of, asks.total[row])
        nearest = np.where(fits_all, least, np.inf).min(axis=1, initial=np.inf)
        np.minimum(spare, asks.own + nearest, out=spare)
    return RoleInterface(space, place, group_of, fits_all, spare)
