"""Sums along a nest or a stack as chains of running sums, each kept only as far as it matters.

Two running sums are one where no completion tells them apart, so the last running sum has no
more values than the last role has figures. Figures are whole millionths of a micrometre, so that
a sum is the same in whichever order it is taken.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats, Ints
from fitgraph.graph.sums import SumCondition
from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.records import dataclass
from fitgraph.solve.arrays import distinct
from fitgraph.solve.relations import Relation, combined, reduced

#: A term: its variables, the place of each of their base classes, and the values.
_Values = tuple[tuple[str, ...], tuple[Ints, ...], Floats]

#: Steps in a millimetre, what stands for "does not bind" and for "nothing keeps it": sums of a
#: few of them stay exact.
STEPS, FREE, LOST = 1e9, float(2**49), -float(2**44)

#: Thresholds that are listed to merge running sums; beyond, only equal sums are one.
_THRESHOLDS = 1 << 20


@dataclass(frozen=True, slots=True, eq=False)
class Running:
    """A running sum as a variable that two others decide.

    Parameters
    ----------
    name : str
        Of the variable.
    size : int
        How many values it has.
    of : tuple of str
        The two variables that decide it.
    maps : tuple of ndarray of int
        For each, the axis place of its base classes.
    table : ndarray of int
        The value for each pair of places.
    """

    name: str
    size: int
    of: tuple[str, str]
    maps: tuple[Ints, Ints]
    table: npt.NDArray[np.signedinteger[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class RunningChain:
    """A sum condition as running sums and one relation at the end; nothing where it holds."""

    running: tuple[Running, ...]
    last: Relation | None


class TooWideSumError(Exception):
    """The running sums of a condition would have too many values."""


def in_steps(values: Floats) -> Floats:
    """Return lengths in mm as whole steps."""
    steps = np.rint(np.clip(values, -1e4, 1e4) * STEPS)
    return np.where(values == np.inf, FREE, np.where(values == -np.inf, LOST, steps))


def presence_axes(condition: SumCondition) -> list[tuple[str, Ints]]:
    """Return roles that a condition asks for presence, and the class of each of their options."""
    return [
        (role, term.class_of[axis])
        for term in condition.terms
        for axis, role in enumerate(term.roles)
        if axis and term.worst.shape[axis] > 1
    ]


def values_over(
    condition: SumCondition,
    first: Mapping[str, Ints],
    domains: Mapping[str, Ints],
    *,
    certain: bool,
) -> list[tuple[tuple[str, ...], tuple[Ints, ...], Floats]]:
    """Return each term over some domains: its roles, maps and values, without idle roles."""
    found = []
    for term in condition.terms:
        values = in_steps(term.worst if certain else term.best)
        roles: list[str] = []
        maps: list[Ints] = []
        for axis in range(len(term.roles) - 1, -1, -1):
            role = term.roles[axis]
            of_base = term.class_of[axis][first[role]]
            among = np.zeros(values.shape[axis], dtype=bool)
            among[of_base[domains[role]]] = True
            used = np.flatnonzero(among)
            place = np.cumsum(among) - 1
            values = np.take(values, used, axis=axis)
            if values.ndim == 1:
                _, at, same = np.unique(values, return_index=True, return_inverse=True)
            else:
                slices = np.moveaxis(values, axis, 0).reshape(len(used), -1)
                _, at, same = np.unique(slices, axis=0, return_index=True, return_inverse=True)
            values = np.take(values, at, axis=axis)
            if len(at) == 1:
                values = np.asarray(values.take(0, axis=axis))
            else:
                roles.append(role)
                maps.append(same.reshape(-1).astype(np.intp)[place][of_base])
        found.append((tuple(reversed(roles)), tuple(reversed(maps)), values))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Terms:
    """A condition over some domains: what is added up, nothing idle, one term a role.

    Parameters
    ----------
    condition : SumCondition
        The condition.
    base : float
        What is added whatever is chosen [steps].
    values : tuple
        For each term its variables, the place of each of their base classes, and the values.
    """

    condition: SumCondition
    base: float
    values: tuple[_Values, ...]

    @property
    def ends(self) -> tuple[float, float]:
        """Return the least and the most that it can come to [steps]."""
        least = self.base + sum(float(v.min()) for *_, v in self.values)
        return least, self.base + sum(float(v.max()) for *_, v in self.values)

    @property
    def holds(self) -> bool:
        """Whether nothing that can be chosen breaks it."""
        return self.ends[0] >= -EPSILON_MM * STEPS


def terms_of(
    condition: SumCondition,
    first: Mapping[str, Ints],
    domains: Mapping[str, Ints],
    *,
    certain: bool,
) -> Terms:
    """Return what a condition adds up.

    Parameters
    ----------
    condition : SumCondition
        The condition.
    first, domains : mapping
        One option of each base class, and the base classes that may be used.
    certain : bool
        Whether the worst sums count, not the best.
    """
    base, values = 0.0, []
    for roles, maps, of_term in values_over(condition, first, domains, certain=certain):
        if not roles:
            base += float(of_term)
        else:
            values.append((roles, maps, of_term))
    return Terms(condition, base, tuple(_one_a_role(values)))


def chain_of_terms(of: Terms, *, tag: str, most_cells: float) -> RunningChain:
    """Return what a condition adds up as running sums.

    Parameters
    ----------
    of : Terms
        From :func:`terms_of`, or what is left of it beside a shared sum.
    tag : str
        Told in the names of the variables.
    most_cells : float
        Ceiling on a table.

    Raises
    ------
    TooWideSumError
        If a table would have more cells.
    """
    condition, base, values = of.condition, of.base, of.values
    least, most = of.ends
    edge = -EPSILON_MM * STEPS
    if least >= edge:
        return RunningChain((), None)
    if most < edge:
        nothing = Relation((), (), np.zeros((), dtype=bool), (condition.joint.name,))
        return RunningChain((), nothing)
    running: list[Running] = []
    terms: list[tuple[str, Ints, Floats]] = []
    for n, (roles, maps, of_term) in enumerate(values):
        # A term over several roles is decided two at a time, like a sum.
        name, of_base, table = roles[0], maps[0], of_term
        for k in range(1, len(roles)):
            pair = table.reshape(table.shape[0] * table.shape[1], -1)
            _, at, same = np.unique(pair, axis=0, return_index=True, return_inverse=True)
            variable = f"{condition.name}{tag}.{n}.{k}"
            running.append(
                Running(
                    variable,
                    len(at),
                    (name, roles[k]),
                    (of_base, maps[k]),
                    same.reshape(table.shape[:2]).astype(np.intp),
                )
            )
            name, of_base = variable, np.arange(len(at), dtype=np.intp)
            table = pair[at].reshape(len(at), *table.shape[2:])
        terms.append((name, of_base, table))
    name, of_base, sums = terms[0]
    sums = sums + base
    for n, (other, map_of, addend) in enumerate(terms[1:-1], start=1):
        if float(len(sums)) * len(addend) > most_cells:
            raise TooWideSumError(condition.name)
        total = sums[:, None] + addend
        marks = thresholds([t for *_, t in terms[n + 1 :]], edge)
        if marks is not None:
            kept = np.searchsorted(marks, total.ravel(), side="right").astype(float)
        else:
            kept = total.ravel()
        _, at, same = np.unique(kept, return_index=True, return_inverse=True)
        variable = f"{condition.name}{tag}+{n}"
        running.append(
            Running(
                variable,
                len(at),
                (name, other),
                (of_base, map_of),
                same.reshape(total.shape).astype(np.intp),
            )
        )
        name, of_base, sums = variable, np.arange(len(at), dtype=np.intp), total.ravel()[at]
    if len(terms) == 1:
        last = Relation((name,), (of_base,), sums >= edge, (condition.joint.name,))
        return RunningChain(tuple(running), last)
    other, map_of, addend = terms[-1]
    if float(len(sums)) * len(addend) > most_cells:
        raise TooWideSumError(condition.name)
    allowed = sums[:, None] + addend >= edge
    return RunningChain(
        tuple(running),
        Relation((name, other), (of_base, map_of), allowed, (condition.joint.name,)),
    )


def relation_of_sum(
    condition: SumCondition,
    first: Mapping[str, Ints],
    domains: Mapping[str, Ints],
    *,
    certain: bool,
    most_cells: float,
) -> Relation | None:
    """Return a condition as one relation over all its roles, None where that is too large.

    Parameters
    ----------
    condition, first, domains, certain
        As in :func:`terms_of`.
    most_cells : float
        Ceiling on the relation.
    """
    terms = values_over(condition, first, domains, certain=certain)
    roles = list(dict.fromkeys(role for of_term, _, _ in terms for role in of_term))
    kinds = {
        role: combined([ms[rs.index(role)] for rs, ms, _ in terms if role in rs], domains[role])
        for role in roles
    }
    shape = [len(at) for _, at in kinds.values()]
    if math.prod(map(float, shape)) > most_cells:
        return None
    total = np.zeros(shape)
    for of_term, maps, values in terms:
        order = sorted(range(len(of_term)), key=lambda n: roles.index(of_term[n]))
        at = np.ix_(*(maps[n][kinds[of_term[n]][1]] for n in order))
        spread = [len(kinds[r][1]) if r in of_term else 1 for r in roles]
        total += np.transpose(values, order)[at].reshape(spread) if order else values
    whole = Relation(
        tuple(roles),
        tuple(of_base for of_base, _ in kinds.values()),
        np.asarray(total >= -EPSILON_MM * STEPS),
        (condition.joint.name,),
    )
    return reduced(whole, domains)


def _one_a_role(values: Sequence[_Values]) -> list[_Values]:
    """Return terms with those over one and the same role added up."""
    found: dict[tuple[str, ...], Floats] = {}
    rest: list[_Values] = []
    for roles, maps, of_term in values:
        if len(roles) > 1:
            rest.append((roles, maps, of_term))
        else:
            of_base = of_term[maps[0]]
            found[roles] = found[roles] + of_base if roles in found else of_base
    ones: list[_Values] = []
    for roles, of_base in found.items():
        distinct, same = np.unique(of_base, return_inverse=True)
        ones.append((roles, (same.reshape(-1).astype(np.intp),), distinct))
    return [*ones, *rest]


def thresholds(addends: Sequence[Floats], edge: float) -> Floats | None:
    """Return the running sums at which some completion begins to keep the condition."""
    marks = np.array([edge])
    for addend in addends:
        if float(len(marks)) * len(addend) > _THRESHOLDS:
            return None
        marks = distinct(marks[:, None] - addend)
    return marks
