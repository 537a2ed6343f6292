"""What a joint says of options: one combination at a time, or all of them as a table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from fitgraph.graph.options import presence_of
from fitgraph.mechanics.rules import RULES, UNKNOWN_WORD, Judgement, Limits
from fitgraph.model import Condition, Joint, Option, Presence, Reference, Verdict, Vocabulary

Ints = npt.NDArray[np.intp]
Verdicts = npt.NDArray[np.int8]


def fold(word: str) -> str:
    """Return a word as it is compared: without case and spaces."""
    return "".join(word.casefold().split())


class WordCodes:
    """Numbers for words, so that arrays can compare them."""

    def __init__(self) -> None:
        self._codes: dict[str, int] = {}

    def code(self, word: str | None) -> int:
        """Return the number of a word; :data:`UNKNOWN_WORD` for None."""
        if word is None or not word.strip():
            return UNKNOWN_WORD
        return self._codes.setdefault(fold(word), len(self._codes))


def word_of(option: Option, reference: Reference) -> str | None:
    """Return the word a reference names, None where it is not known."""
    if option.part is None:
        return None
    if reference.feature is None:
        return getattr(option.part, reference.name) or None
    feature = option.features.get(reference.feature)
    word = feature.words.get(reference.name) if feature is not None else None
    return word.value if word is not None else None


def limits_of(option: Option, reference: Reference, *, optional: bool) -> tuple[float, float]:
    """Return the limits in mm of a dimension.

    An optional dimension counts as zero where the feature is absent, and may
    be zero where nobody knows whether the feature is there.
    """
    presence = presence_of(option, reference.feature)
    if presence is Presence.ABSENT:
        return (0.0, 0.0)
    dimension = option.features[reference.feature or ""].lengths.get(reference.name)
    lo, hi = (dimension.lo, dimension.hi) if dimension is not None else (-math.inf, math.inf)
    if optional:
        lo = 0.0 if presence is Presence.UNKNOWN else max(lo, 0.0)
    return (lo, hi)


def conditions_of(joint: Joint) -> tuple[Condition, ...]:
    """Return when a joint is there: its own conditions, and the features it compares."""
    rule = RULES[joint.rule]
    implied = dict.fromkeys(
        Condition(reference.role, reference.feature)
        for name, reference in joint.arguments.items()
        if name not in rule.optional
    )
    return (*joint.when, *(c for c in implied if c not in joint.when))


def _kleene(option: Option, condition: Condition) -> int:
    presence = int(presence_of(option, condition.feature))
    return presence if condition.wanted else 2 - presence


class Said(NamedTuple):
    """What a joint says of one combination.

    Attributes
    ----------
    verdict : Verdict
        Fits where the joint is not there.
    margin : float or None
        In mm; see :class:`fitgraph.mechanics.rules.Judgement`.
    there : Presence
        Whether the joint is there at all.
    """

    verdict: Verdict
    margin: float | None
    there: Presence


def judge(joint: Joint, chosen: Mapping[str, Option]) -> Said:
    """Judge one combination.

    Parameters
    ----------
    joint : Joint
        The joint.
    chosen : mapping of str to Option
        An option for every role that the joint touches.

    Returns
    -------
    Said
        The verdict, its margin and whether the joint is there.
    """
    there = Presence(
        min(_kleene(chosen[c.role], c) for c in conditions_of(joint)) if conditions_of(joint) else 2
    )
    if there is Presence.ABSENT:
        return Said(Verdict.FITS, None, there)
    rule = RULES[joint.rule]
    judged: Judgement
    if rule.on_presence and joint.subject is not None:
        subject = presence_of(chosen[joint.subject.role], joint.subject.feature)
        judged = rule.function(np.array(int(subject), dtype=np.int8))
    else:
        values: dict[str, object] = {}
        codes = WordCodes()
        for name, reference in joint.arguments.items():
            option = chosen[reference.role]
            if name in rule.words:
                values[name] = np.array(codes.code(word_of(option, reference)))
            else:
                lo, hi = limits_of(option, reference, optional=name in rule.optional)
                values[name] = Limits(np.array(lo), np.array(hi))
        judged = rule.function(**values, **joint.limits)
    verdict = Verdict(max(int(judged.verdict), 2 - int(there)))
    margin = float(judged.margin)
    return Said(verdict, None if math.isnan(margin) else margin, there)


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


def distinct_rows(rows: npt.NDArray[Any]) -> tuple[Ints, Ints]:
    """Return the first index of every distinct row, and each row's class."""
    seen: dict[bytes, int] = {}
    rows = np.ascontiguousarray(rows)
    class_of = np.fromiter(
        (seen.setdefault(row.tobytes(), len(seen)) for row in rows), dtype=np.intp, count=len(rows)
    )
    first = np.full(len(seen), -1, dtype=np.intp)
    backwards = np.arange(len(rows) - 1, -1, -1)
    first[class_of[backwards]] = backwards
    return first, class_of


class _Side:
    """One role's share of a joint, for each of its options."""

    def __init__(self, joint: Joint, role: str, options: Sequence[Option], codes: WordCodes):
        rule = RULES[joint.rule]
        mine = [c for c in conditions_of(joint) if c.role == role]
        self.there = np.array(
            [min((_kleene(o, c) for c in mine), default=2) for o in options], dtype=float
        )
        self.names: list[str] = []
        columns = [self.there]
        for name, reference in joint.arguments.items():
            if reference.role != role:
                continue
            self.names.append(name)
            if name in rule.words:
                columns.append(
                    np.array([codes.code(word_of(o, reference)) for o in options], float)
                )
            else:
                optional = name in rule.optional
                pairs = [limits_of(o, reference, optional=optional) for o in options]
                columns.extend(np.array(pairs, dtype=float).reshape(-1, 2).T)
        self.subject = joint.subject is not None and joint.subject.role == role
        if self.subject and joint.subject is not None:
            feature = joint.subject.feature
            columns.append(np.array([presence_of(o, feature) for o in options], dtype=float))
        rows = np.column_stack(columns) + 0.0  # minus zero and zero are one
        rows[self.there == 0, 1:] = 0.0  # where the joint is not there, nothing else counts
        first, self.class_of = distinct_rows(rows)
        self.rows = rows[first]


def _evaluate(
    joint: Joint, options: Mapping[str, Sequence[Option]], codes: WordCodes
) -> tuple[list[_Side], Verdicts, npt.NDArray[np.float64], npt.NDArray[np.int8]]:
    """Return the sides of a joint and, over their rows, verdicts, margins and presence."""
    rule = RULES[joint.rule]
    roles = joint.roles
    sides = [_Side(joint, role, options[role], codes) for role in roles]

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
    judged = rule.function(*arguments, **values, **joint.limits)
    verdicts = np.maximum(np.broadcast_to(judged.verdict, there.shape), 2 - there).astype(np.int8)
    return sides, verdicts, np.broadcast_to(judged.margin, there.shape), there


def joint_table(
    joint: Joint, options: Mapping[str, Sequence[Option]], codes: WordCodes
) -> JointTable:
    """Return what a joint says of every combination of options, by classes.

    Parameters
    ----------
    joint : Joint
        The joint.
    options : mapping of str to sequence of Option
        The options of each role the joint touches.
    codes : WordCodes
        Shared numbers for words.

    Returns
    -------
    JointTable
        Over the fewest classes: two options of a role share a class exactly
        when the joint gives them the same verdict with everything else.
    """
    sides, verdicts, _, _ = _evaluate(joint, options, codes)
    classes = []
    for axis, side in enumerate(sides):
        slices = np.moveaxis(verdicts, axis, 0).reshape(verdicts.shape[axis], -1)
        first, merged = distinct_rows(slices)
        verdicts = np.take(verdicts, first, axis=axis)
        classes.append(merged[side.class_of])
    return JointTable(joint, joint.roles, tuple(classes), verdicts)


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
    found = _evaluate(joint, {one: ones, other: others}, WordCodes())
    sides, verdicts, margins, there = found
    at = np.ix_(sides[0].class_of, sides[1].class_of)
    return verdicts[at], margins[at], there[at]


def joint_tables(
    vocabulary: Vocabulary, options: Mapping[str, Sequence[Option]], *, tidy: bool
) -> list[JointTable]:
    """Return the tables of all joints between parts.

    Parameters
    ----------
    vocabulary : Vocabulary
        Its joints.
    options : mapping of str to sequence of Option
        For every role.
    tidy : bool
        Whether joints that only keep needless parts out count as well.
    """
    codes = WordCodes()
    return [joint_table(joint, options, codes) for joint in asked(vocabulary.joints, tidy=tidy)]


def asked(joints: Iterable[Joint], *, tidy: bool) -> list[Joint]:
    """Return the joints that decide a combination."""
    return [j for j in joints if not j.check and (tidy or not j.tidy)]
