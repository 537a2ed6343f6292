"""What a joint says of options, as a table over classes of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints
from fitgraph.graph.classes import distinct_rows
from fitgraph.graph.columns import Columns, WordCodes, columns_of
from fitgraph.graph.sums import required
from fitgraph.mechanics.rules import RULES, Judgement, Limits
from fitgraph.model import Condition, Joint, Option
from fitgraph.records import dataclass
from fitgraph.stopping import check

Verdicts = npt.NDArray[np.int8]


def conditions_of(joint: Joint) -> tuple[Condition, ...]:
    """Return when a joint is there: its own conditions, and the features it cannot do without."""
    rule = RULES[joint.rule]
    if rule.sums:
        return required(joint)
    implied = dict.fromkeys(
        Condition(reference.role, reference.feature)
        for name, reference in joint.arguments.items()
        if name not in rule.optional and name not in rule.may_lack
    )
    return (*joint.when, *(c for c in implied if c not in joint.when))


@dataclass(frozen=True, slots=True)
class JointTable:
    """A joint over classes of options that it cannot tell apart.

    Parameters
    ----------
    joint : Joint
        The joint.
    roles : tuple of str
        The roles it touches, one axis each.
    class_of : tuple of ndarray of int
        For each role, the class of each of its options.
    verdicts : ndarray of int8
        Values of :class:`fitgraph.model.Verdict`, one axis a role.
    """

    joint: Joint
    roles: tuple[str, ...]
    class_of: tuple[Ints, ...]
    verdicts: Verdicts


class _Side:
    """One role's share of a joint, for each of its options."""

    def __init__(self, joint: Joint, role: str, columns: Columns) -> None:
        rule = RULES[joint.rule]
        self.there = columns.hold(c for c in conditions_of(joint) if c.role == role)
        self.names: list[str] = []
        found = [self.there]
        for name, reference in joint.arguments.items():
            if reference.role != role:
                continue
            self.names.append(name)
            if name in rule.words:
                found.append(columns.words(reference))
            elif name in rule.may_lack:
                found.extend(columns.open_limits(reference))
            else:
                found.extend(columns.limits(reference, optional=name in rule.optional))
        self.subject = joint.subject is not None and joint.subject.role == role
        if self.subject and joint.subject is not None:
            found.append(columns.presence(joint.subject.feature))
        rows = np.column_stack(found) + 0.0  # minus zero and zero are one
        rows[self.there == 0, 1:] = 0.0  # where the joint is not there, nothing else counts
        first, self.class_of = distinct_rows(rows)
        self.rows = rows[first]


def _evaluate(
    joint: Joint, columns: Mapping[str, Columns]
) -> tuple[list[_Side], Judgement, npt.NDArray[np.int8]]:
    """Return the sides of a joint and, over their rows, what its rule says and its presence."""
    check()
    rule = RULES[joint.rule]
    roles = joint.roles
    sides = [_Side(joint, role, columns[role]) for role in roles]

    def on_axis(axis: int, values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return values.reshape([-1 if k == axis else 1 for k in range(len(roles))])

    there = np.full([len(side.rows) for side in sides], 2, dtype=np.int8)
    values: dict[str, object] = {}
    subject = None
    for axis, side in enumerate(sides):
        there = np.minimum(there, on_axis(axis, side.rows[:, 0]).astype(np.int8))
        at = 1
        for name in side.names:
            if name in rule.words:
                values[name] = on_axis(axis, side.rows[:, at]).astype(np.int64)
                at += 1
            else:
                values[name] = Limits(
                    on_axis(axis, side.rows[:, at]), on_axis(axis, side.rows[:, at + 1])
                )
                at += 2
        if side.subject:
            subject = on_axis(axis, side.rows[:, at]).astype(np.int8)
    arguments = (subject,) if rule.on_presence else ()
    judged = rule.judge(*arguments, **values, **joint.limits)
    verdicts = np.maximum(np.broadcast_to(judged.verdict, there.shape), 2 - there).astype(np.int8)
    margins = np.broadcast_to(judged.margin, there.shape)
    return sides, judged._replace(verdict=verdicts, margin=margins), there


class Judged(NamedTuple):
    """A joint over the distinct figures that options of each role show it.

    Attributes
    ----------
    row_of : tuple of ndarray of int
        For each role of the joint, the row of each of its options.
    holds : tuple of ndarray of int8
        For each role and row, whether the joint is there as far as the role tells, as values of
        :class:`fitgraph.model.Presence`.
    verdicts, margins, there : ndarray
        One axis a role, over the rows; as in :class:`fitgraph.graph.said.Said`, nan for no
        margin.
    """

    row_of: tuple[Ints, ...]
    holds: tuple[Verdicts, ...]
    verdicts: Verdicts
    margins: npt.NDArray[np.float64]
    there: npt.NDArray[np.int8]


def judge_rows(joint: Joint, columns: Mapping[str, Columns]) -> Judged:
    """Judge a joint over the distinct figures of its roles' options, never option by option.

    Parameters
    ----------
    joint : Joint
        Of a rule that adds nothing up.
    columns : mapping of str to Columns
        The options of each role the joint touches.
    """
    sides, said, there = _evaluate(joint, columns)
    return Judged(
        tuple(side.class_of for side in sides),
        tuple(side.rows[:, 0].astype(np.int8) for side in sides),
        said.verdict,
        said.margin,
        there,
    )


def judge_all(
    joint: Joint, columns: Mapping[str, Columns]
) -> tuple[Judgement, npt.NDArray[np.int8]]:
    """Return what a joint says over the distinct sides of its roles, and whether it is there."""
    _, said, there = _evaluate(joint, columns)
    return said, there


def joint_table(joint: Joint, columns: Mapping[str, Columns]) -> JointTable:
    """Return what a joint says of every combination of options, by classes.

    Parameters
    ----------
    joint : Joint
        The joint.
    columns : mapping of str to Columns
        The options of each role the joint touches.

    Returns
    -------
    JointTable
        Over the fewest classes: two options of a role share a class exactly
        when the joint gives them the same verdict with everything else.
    """
    sides, said, _ = _evaluate(joint, columns)
    return over_fewest(joint, joint.roles, [side.class_of for side in sides], said.verdict)


def over_fewest(
    joint: Joint, roles: tuple[str, ...], classes: Sequence[Ints], verdicts: npt.NDArray[np.int8]
) -> JointTable:
    """Return verdicts over classes as a table over the fewest: like classes are made one."""
    merged = []
    for axis, class_of in enumerate(classes):
        slices = np.moveaxis(verdicts, axis, 0).reshape(verdicts.shape[axis], -1)
        first, same = distinct_rows(slices)
        verdicts = np.take(verdicts, first, axis=axis)
        merged.append(same[class_of])
    return JointTable(joint, roles, tuple(merged), verdicts)


def judge_pairs(
    joint: Joint, ones: Sequence[Option], others: Sequence[Option]
) -> tuple[Verdicts, npt.NDArray[np.float64], npt.NDArray[np.int8]]:
    """Judge every pair of options of a joint between two roles.

    Parameters
    ----------
    joint : Joint
        It touches exactly two roles.
    ones, others : sequence of Option
        The options of its first and its second role.

    Returns
    -------
    verdicts, margins, there : ndarray, shape (n_ones, n_others)
        As in :class:`Said`; a margin is nan where there is none.
    """
    one, other = joint.roles
    columns = columns_of({one: ones, other: others}, WordCodes())
    sides, said, there = _evaluate(joint, columns)
    at = np.ix_(sides[0].class_of, sides[1].class_of)
    return said.verdict[at], said.margin[at], there[at]


def asked(joints: Iterable[Joint], *, tidy: bool) -> list[Joint]:
    """Return the joints that decide a combination."""
    return [j for j in joints if not j.check and (tidy or not j.tidy)]
