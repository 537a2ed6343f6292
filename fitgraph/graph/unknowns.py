"""One unknown figure is one figure: what several joints ask of it has to go together.

A joint alone finds an unknown size possible if some size does. Two joints on the same size may
want sizes that exclude each other, though each is possible alone. Every joint on lengths is one
or two inequalities that are linear in each size,

    +- x + (all the rest at its most favourable) >= 0,

so a size that nobody knows can be eliminated (Fourier and Motzkin [1]): the sum of an inequality
in which it stands with plus and of one in which it stands with minus no longer has it, and some
size satisfies them all exactly if every such sum holds. The sums are conditions on the parts
around it, there only where the figure is unknown. They can hold further unknown figures, which
are eliminated in turn.

Words are the simpler case: an unknown thread has to equal both of two threads, so those have to
be equal. Where nobody knows whether a feature is there, no build may need it both there and not;
that is judged two joints at a time, and where its sizes are unknown as well, what is possible
may still be a little more than some truth allows. A nest is judged by itself, with each unknown
diameter anywhere it is plausible: several rings ask for it already, each by its own joint.

References
----------
.. [1] G. B. Dantzig, B. C. Eaves, "Fourier-Motzkin elimination and its dual", J. Combinatorial
   Theory A 14 (1973) 288-297 (reference checked).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.graph.buckets import Factor, TooManyCellsError, least_sum
from fitgraph.graph.classes import distinct_rows, used_classes
from fitgraph.graph.columns import Columns
from fitgraph.graph.joints import JointTable, conditions_of, joint_table, over_fewest
from fitgraph.graph.sums import SumCondition, Term, ring_there
from fitgraph.mechanics.limits_of_size import Limits
from fitgraph.mechanics.nests import closes, growth
from fitgraph.mechanics.rules import EPSILON_MM, RULES, UNBOUNDED_MM, UNKNOWN_WORD
from fitgraph.model import (
    Condition,
    Joint,
    Presence,
    Reference,
    Verdict,
    contradictory,
)
from fitgraph.records import dataclass

#: Name of the rule of a joint that says what two others ask of one unknown figure.
SHARED = "one-figure"

#: How many unknown figures of different parts are eliminated one after the other.
_DEPTH = 3

#: Cells of a table of two joints together; wider ones are left to each joint alone.
_CELLS = 4_000_000


@dataclass(frozen=True, slots=True)
class _Item:
    """One size in an inequality, both walls of a ring, or what a slot closes.

    `loose` marks the outside of a ring, of which nothing is known where the part may lack the
    feature: the ring is there all the same.
    """

    role: str
    sign: int
    size: Reference | None
    closing: tuple[Reference, Reference, Reference | None] | None = None
    walls: tuple[Reference, Reference] | None = None
    loose: bool = False
    there: tuple[Condition, ...] = ()

    def sign_of(self, size: Reference) -> int:
        """Return the sign with which a size stands in it, zero where it does not."""
        if self.walls is not None:
            return (size == self.walls[0]) - (size == self.walls[1])
        return self.sign if self.size == size else 0

    def without(self, gone: tuple[Reference, ...]) -> _Item | None:
        """Return what is left of it without eliminated sizes, None where nothing is."""
        if self.walls is None:
            return None if self.size in gone else self
        left = [(s, sign) for s, sign in zip(self.walls, (1, -1), strict=True) if s not in gone]
        if len(left) == 2:
            return self
        if not left:
            return None
        size, sign = left[0]
        return _Item(self.role, sign, size, loose=size == self.walls[0])


@dataclass(frozen=True, slots=True)
class Inequality:
    """That sizes with signs, and a constant, add up to nothing or more.

    Parameters
    ----------
    joints : tuple of Joint
        The joints it comes from.
    items : tuple
        The sizes.
    constant : float
        In mm.
    gone : tuple of Reference
        The unknown figures that were eliminated.
    """

    joints: tuple[Joint, ...]
    items: tuple[_Item, ...]
    constant: float
    gone: tuple[Reference, ...] = ()

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """Return when it counts: where its joints are there."""
        asked = itertools.chain.from_iterable(conditions_of(j) for j in self.joints)
        eliminated = (Condition(r.role, r.feature) for r in self.gone)
        rings = (c for item in self.items if item.without(self.gone) != item for c in item.there)
        return tuple(dict.fromkeys((*asked, *eliminated, *rings)))

    @property
    def contradictory(self) -> bool:
        """Whether its joints cannot be there together."""
        return contradictory(self.conditions)

    def sign_of(self, size: Reference) -> int:
        """Return how often a size stands in it, with its sign."""
        return sum(item.sign_of(size) for item in self.items)

    @property
    def left(self) -> Iterator[_Item]:
        """Yield what is left of its items without the eliminated sizes."""
        for item in self.items:
            rest = item.without(self.gone)
            if rest is not None:
                yield rest

    @property
    def sizes(self) -> Iterator[Reference]:
        """Yield the sizes that stand in it."""
        for item in self.items:
            if item.size is not None:
                yield item.size
            yield from item.walls or ()


def inequalities(joint: Joint) -> Iterator[Inequality]:
    """Yield what a joint on lengths asks, one inequality at a time."""

    def item(sign: int, size: Reference, **more: object) -> _Item:
        return _Item(size.role, sign, size, **more)  # type: ignore[arg-type]

    given, limits = joint.arguments, joint.limits
    if joint.rings:
        core, *between, last = joint.rings
        items = [item(1, core.outside)] if core.outside is not None else []
        for ring in between:
            if ring.bore is not None and ring.outside is not None:
                walls = (ring.outside, ring.bore)
                items.append(_Item(ring.role, 1, None, walls=walls, there=ring_there(ring)))
        if last.bore is not None:
            items.append(item(-1, last.bore))
            if last.slot is not None:
                closing = (last.bore, last.slot, last.outside)
                items.append(_Item(last.slot.role, 1, None, closing))
        yield Inequality((joint,), tuple(items), -limits.get("reserve", 0.0))
        return
    if joint.spans:
        flip = -1 if "most" in limits else 1
        items = [item(flip * s.sign, s.length, there=s.when) for s in joint.spans]
        constant = limits["most"] if "most" in limits else -limits.get("least", 0.0)
        yield Inequality((joint,), tuple(items), constant)
        return
    if "whole" in given:
        pair = (item(1, given["whole"]), item(-1, given["part"]))
        yield Inequality((joint,), pair, -limits.get("least", 0.0))
        return
    if "bore" not in given:
        return
    bore, spigot = given["bore"], given["spigot"]
    yield Inequality((joint,), (item(1, bore), item(-1, spigot)), -limits["least"])
    if "most" in limits:
        yield Inequality((joint,), (item(-1, bore), item(1, spigot)), limits["most"])
    elif "slot" in given:
        closing = (bore, given["slot"], given.get("outside"))
        shut = _Item(given["slot"].role, 1, None, closing)
        constant = -limits.get("reserve", 0.0)
        yield Inequality((joint,), (item(-1, bore), item(1, spigot), shut), constant)


def _open(columns: Columns, size: Reference) -> Bools:
    """Return which options have a feature of which nobody knows a size."""
    found = np.zeros(len(columns.options), dtype=bool)
    for n, option in enumerate(columns.options):
        feature = option.features.get(size.feature or "")
        if feature is None or feature.presence is not Presence.PRESENT:
            continue
        dimension = feature.lengths.get(size.name)
        found[n] = dimension is None or not dimension.known
    return found


def _best(item: _Item, columns: Mapping[str, Columns]) -> Floats:
    """Return the most that an item adds for each option of its role [mm]."""
    of = columns[item.role]
    if item.closing is not None:
        bore, slot, outside = item.closing
        wide = Limits(*of.limits(slot, optional=True))
        if bore.role != item.role or (outside is not None and outside.role != item.role):
            most = np.maximum(wide.hi, 0.0) / 2
        else:
            lo, hi = of.limits(bore, optional=False)
            around = None if outside is None else Limits(*of.open_limits(outside))
            most = closes(Limits(hi, lo), wide, around).hi
        return np.clip(most, 0.0, UNBOUNDED_MM)
    if item.walls is not None:
        outside, bore = item.walls
        outer = Limits(*of.open_limits(outside))
        inner = Limits(*of.limits(bore, optional=False))
        return np.clip(growth(inner, outer).hi, 0.0, UNBOUNDED_MM)
    assert item.size is not None
    if item.loose:
        _, most = of.open_limits(item.size)
        return np.clip(most, 0.0, UNBOUNDED_MM)
    lo, hi = of.limits(item.size, optional=False)
    best = hi if item.sign > 0 else -lo
    best = best * abs(item.sign)
    there = of.presence(item.size.feature)
    best = np.where(there == Presence.ABSENT, 0.0, best)
    return np.clip(
        np.where(there == Presence.UNKNOWN, np.maximum(best, 0.0), best),
        -UNBOUNDED_MM,
        UNBOUNDED_MM,
    )


class Unknowns:
    """Conditions that unknown figures put on the parts around them.

    Parameters
    ----------
    joints : sequence of Joint
        The joints that are asked.
    columns : mapping of str to Columns
        The options of each role.
    tables : sequence of JointTable
        What joints say one by one: a condition that only such combinations break as break one
        of these is left out.
    """

    def __init__(
        self,
        joints: Sequence[Joint],
        columns: Mapping[str, Columns],
        tables: Sequence[JointTable] = (),
    ) -> None:
        self.columns = columns
        self._tables = tables
        self.joints = [j for j in joints if set(j.roles) <= set(columns)]
        self._open: dict[Reference, Bools] = {}
        self._best: dict[_Item, Floats] = {}

    def open(self, size: Reference) -> Bools:
        """Return which options of a size's role leave it unknown."""
        if size not in self._open:
            self._open[size] = _open(self.columns[size.role], size)
        return self._open[size]

    def best(self, item: _Item) -> Floats:
        """Return :func:`_best`, worked out once."""
        if item not in self._best:
            self._best[item] = _best(item, self.columns)
        return self._best[item]

    def conditions(self) -> list[SumCondition]:
        """Return every condition on lengths that some combination breaks."""
        basic = [i for joint in self.joints if not joint.rings for i in inequalities(joint)]
        by_size: dict[Reference, list[Inequality]] = {}
        for one in basic:
            for size in one.sizes:
                by_size.setdefault(size, []).append(one)
        unknown = [s for s in by_size if s.feature is not None and self.open(s).any()]
        found: dict[str, SumCondition] = {}
        front, seen = basic, set()
        for _ in range(_DEPTH):
            derived: list[Inequality] = []
            for one in front:
                standing = set(one.sizes).difference(one.gone)
                for size in unknown:
                    if size not in standing:
                        continue
                    for joined in self._without(one, size, by_size[size]):
                        if (key := _identity(joined)) not in seen:
                            seen.add(key)
                            derived.append(joined)
            for joined in derived:
                own = self._of_roles(joined)
                if self._may_fail(joined, own) and self._binds(joined, own):
                    condition = self._condition(joined, own)
                    found.setdefault(condition.name, condition)
            # What does not fail by itself may fail once a further unknown size is gone.
            front = [d for d in derived if any(s in unknown and s not in d.gone for s in d.sizes)]
        return list(found.values())

    def _without(
        self, one: Inequality, size: Reference, others: Sequence[Inequality]
    ) -> Iterator[Inequality]:
        """Yield the inequalities that one leaves when an unknown size is eliminated."""
        if not one.sign_of(size):  # it stands in it both ways, and cancels
            yield replace(one, gone=(*one.gone, size))
            return
        for other in others:
            joined = _eliminated(one, other, size)
            if joined is not None:
                yield joined

    def _may_fail(self, inequality: Inequality, own: Mapping[str, Floats]) -> bool:
        """Return whether some options break an inequality."""
        total = inequality.constant + sum(float(b.min(initial=np.inf)) for b in own.values())
        for item in inequality.left:
            if item.there:
                total += min(float(self.best(item).min(initial=0.0)), 0.0)
        return total < -EPSILON_MM

    def _binds(self, inequality: Inequality, own: Mapping[str, Floats]) -> bool:
        """Return whether a combination breaks an inequality that breaks no joint of two roles.

        The least sum by bucket elimination over what the inequality lets in; where that would
        be too wide, it is taken to bind.
        """
        lowest = [
            min(float(self.best(item).min(initial=0.0)), 0.0)
            for item in inequality.left
            if item.there
        ]
        open_to = {r: np.flatnonzero(np.isfinite(best)) for r, best in own.items()}
        near = [t for t in self._tables if set(t.roles) <= set(own)]
        kinds: dict[str, Ints] = {}
        factors: list[Factor] = []
        for role, at in open_to.items():
            at = at[np.argsort(own[role][at], kind="stable")]  # of like options the least stands
            columns = [t.class_of[t.roles.index(role)][at] for t in near if role in t.roles]
            if columns:
                at = at[distinct_rows(np.column_stack(columns))[0]]
            kinds[role] = at if columns else at[:1]
            least_of = own[role][kinds[role]]
            factors.append(Factor((role,), (np.arange(len(least_of)),), least_of))
        factors += [f for table in near if (f := _ruled_out(table, kinds)) is not None]
        sizes = {r: len(of) for r, of in kinds.items()}
        if not all(sizes.values()):
            return False
        try:
            total, _ = least_sum(factors, sizes, _CELLS)
        except TooManyCellsError:
            return True
        return bool(total + inequality.constant + sum(lowest) < -EPSILON_MM)

    def _of_roles(self, inequality: Inequality) -> dict[str, Floats]:
        """Return what each role's options add, plus infinity where they leave nothing open."""
        found: dict[str, Floats] = {}

        def add(role: str, values: Floats) -> None:
            found[role] = found[role] + values if role in found else values

        for item in inequality.left:
            if not item.there:
                add(item.role, self.best(item))
        for size in inequality.gone:
            add(size.role, np.where(self.open(size), 0.0, np.inf))
        for condition in inequality.conditions:
            held = self.columns[condition.role].holds(condition)
            add(condition.role, np.where(held == Presence.PRESENT, 0.0, np.inf))
        return found

    def _condition(self, inequality: Inequality, own: Mapping[str, Floats]) -> SumCondition:
        """Return an inequality as a condition on sums, which binds what is possible only."""
        terms: list[Term] = []
        for role, best in own.items():
            values, class_of = np.unique(best, return_inverse=True)
            terms.append(_possible((role,), (class_of.reshape(-1),), values))
        terms += [self._conditional(item) for item in inequality.left if item.there]
        if inequality.constant:
            first = terms[0]
            terms[0] = _possible(first.roles, first.class_of, first.best + inequality.constant)
        joint = shared_joint(inequality.joints, inequality.gone)
        signs = "".join("+" if i.sign > 0 else "-" for i in inequality.left if i.size)
        return SumCondition(joint, f"{joint.name} {signs}", tuple(terms))

    def _conditional(self, item: _Item) -> Term:
        best = self.best(item)
        roles = list(dict.fromkeys([item.role, *(c.role for c in item.there)]))
        held = [np.full(len(self.columns[r].options), 2.0) for r in roles]
        for condition in item.there:
            at = roles.index(condition.role)
            held[at] = np.minimum(held[at], self.columns[condition.role].holds(condition))
        rows = np.column_stack([np.where(held[0] > 0, best, 0.0), held[0]]) + 0.0
        distinct, class_of = np.unique(rows, axis=0, return_inverse=True)
        values, there, classes = distinct[:, 0], distinct[:, 1], [class_of.reshape(-1)]
        for also in held[1:]:
            kinds, of = np.unique(also, return_inverse=True)
            classes.append(of.reshape(-1))
            there = np.minimum(there[..., None], kinds)
            values = values[..., None]
        values = np.broadcast_to(values, there.shape)
        kind = np.where(there == 1, np.maximum(values, 0.0), np.where(there == 0, 0.0, values))
        return _possible(tuple(roles), tuple(classes), kind)

    def tables(self) -> list[JointTable]:
        """Return what unknown words and unseen features rule out, two joints at a time."""
        return [*self._words(), *self._unseen()]

    def _words(self) -> Iterator[JointTable]:
        uses: dict[Reference, list[tuple[Joint, Reference]]] = {}
        for joint in self.joints:
            names = RULES[joint.rule].words
            if len(names) != 2:
                continue
            one, other = (joint.arguments[n] for n in names)
            uses.setdefault(one, []).append((joint, other))
            uses.setdefault(other, []).append((joint, one))
        for word, of_word in uses.items():
            own = self.columns[word.role]
            unknown = own.words(word) == UNKNOWN_WORD
            if word.feature is not None:
                unknown = unknown & (own.presence(word.feature) == Presence.PRESENT)
            if not unknown.any():
                continue
            for (first, one), (second, other) in itertools.combinations(of_word, 2):
                if one != other and one.role != word.role and other.role != word.role:
                    table = self._two_words(word, unknown, (first, one), (second, other))
                    if table is not None:
                        yield table

    def _two_words(
        self,
        word: Reference,
        unknown: Bools,
        first: tuple[Joint, Reference],
        second: tuple[Joint, Reference],
    ) -> JointTable | None:
        joints = (first[0], second[0])
        asked = tuple(dict.fromkeys(itertools.chain.from_iterable(map(conditions_of, joints))))
        if Inequality(joints, (), 0.0).contradictory:
            return None
        roles = tuple(
            dict.fromkeys([word.role, first[1].role, second[1].role, *(c.role for c in asked)])
        )
        classes, rows = [], []
        for role in roles:
            of = self.columns[role]
            held = np.ones(len(of.options), dtype=bool)
            for condition in asked:
                if condition.role == role:
                    held &= of.holds(condition) == Presence.PRESENT
            if role == word.role:
                held &= unknown
            told = [held.astype(float)]
            told += [of.words(r) for _, r in (first, second) if r.role == role]
            columns = np.column_stack(told)
            columns[~held] = -1.0
            at, class_of = distinct_rows(columns)
            classes.append(class_of)
            rows.append(columns[at])
        there = np.ones([len(r) for r in rows], dtype=bool)
        codes: list[npt.NDArray[np.float64]] = []
        for axis, of_role in enumerate(rows):
            shape = [-1 if n == axis else 1 for n in range(len(rows))]
            there = there & (of_role[:, 0] > 0).reshape(shape)
            codes += [of_role[:, c].reshape(shape) for c in range(1, of_role.shape[1])]
        if there.size > _CELLS or len(codes) != 2:
            return None
        one, other = codes
        fails = there & (one != other) & (one != UNKNOWN_WORD) & (other != UNKNOWN_WORD)
        return _table(shared_joint(joints, (word,)), roles, classes, fails)

    def _unseen(self) -> Iterator[JointTable]:
        told: dict[tuple[str, str], list[Joint]] = {}
        for joint in self.joints:
            if RULES[joint.rule].sums:
                continue
            seen = {(c.role, c.feature) for c in conditions_of(joint)}
            seen |= {(r.role, r.feature) for r in joint.arguments.values()}
            if joint.subject is not None:
                seen.add((joint.subject.role, joint.subject.feature))
            for role, feature in seen:
                if feature is not None:
                    told.setdefault((role, feature), []).append(joint)
        for (role, feature), joints in told.items():
            unseen = np.flatnonzero(self.columns[role].presence(feature) == Presence.UNKNOWN)
            if not len(unseen) or len(joints) < 2:
                continue
            there, gone = (
                {j.name: self._settled(j, role, feature, as_if, unseen) for j in joints}
                for as_if in (Presence.PRESENT, Presence.ABSENT)
            )
            count = len(self.columns[role].options)
            for one, other in itertools.combinations(joints, 2):
                found = [
                    _both(role, feature, unseen, count, there[a.name], gone[b.name])
                    for a, b in ((one, other), (other, one))
                ]
                tables = [table for table in found if table is not None]
                if tables:
                    yield _either(*tables)

    def _settled(
        self, joint: Joint, role: str, feature: str, as_if: Presence, unseen: Ints
    ) -> JointTable:
        """Return a joint as if the feature of some options were there, or were not."""
        supposed = self.columns[role].supposing(feature, as_if, unseen)
        return joint_table(joint, {**self.columns, role: supposed})


def judge_shared(joint: Joint, columns: Mapping[str, Columns]) -> Verdict:
    """Judge what joints ask of one unknown figure, for one option of each role.

    Parameters
    ----------
    joint : Joint
        From :func:`shared_joint`.
    columns : mapping of str to Columns
        One option for each role it touches.
    """
    unknowns = Unknowns(joint.shares, columns)
    for condition in unknowns.conditions():
        total = sum(float(term.best.item()) for term in condition.terms)
        if condition.joint.name == joint.name and total < -EPSILON_MM:
            return Verdict.FAILS
    tables = (t for t in unknowns.tables() if t.joint.name == joint.name)
    # A table may have classes beside those of the one option: of what somebody has looked at.
    fails = any(t.verdicts[tuple(of[0] for of in t.class_of)] == Verdict.FAILS for t in tables)
    return Verdict.FAILS if fails else Verdict.FITS


def wanted_mm(joint: Joint, size: Reference, columns: Mapping[str, Columns]) -> tuple[float, float]:
    """Return between which sizes a joint can hold, the rest at its most favourable [mm].

    Parameters
    ----------
    joint : Joint
        A joint on lengths.
    size : Reference
        One of them.
    columns : mapping of str to Columns
        One option for each role it touches.

    Returns
    -------
    tuple of float
        Least and most; infinite where it asks for neither.
    """
    least, most = -np.inf, np.inf
    unknowns = Unknowns([joint], columns)
    for one in inequalities(joint):
        sign = one.sign_of(size)
        if abs(sign) != 1:
            continue
        rest = one.constant + sum(
            float(unknowns.best(item).item()) for item in replace(one, gone=(size,)).left
        )
        if sign > 0:
            least = max(least, -rest)
        else:
            most = min(most, rest)
    return least, most


def _ruled_out(table: JointTable, kinds: Mapping[str, Ints]) -> Factor | None:
    """Return what a joint forbids among kinds, as infinity; None where it forbids nothing."""
    used = [used_classes(c[kinds[r]]) for r, c in zip(table.roles, table.class_of, strict=True)]
    fails = table.verdicts[np.ix_(*(classes for classes, _ in used))] == Verdict.FAILS
    if not fails.any():
        return None
    axes = [n for n, size in enumerate(fails.shape) if size > 1]
    return Factor(
        tuple(table.roles[n] for n in axes),
        tuple(used[n][1] for n in axes),
        np.where(fails.reshape([fails.shape[n] for n in axes]), np.inf, 0.0),
    )


def _possible(roles: tuple[str, ...], class_of: tuple[Ints, ...], best: Floats) -> Term:
    return Term(roles, class_of, np.full(best.shape, np.inf), np.asarray(best, dtype=float))


def _eliminated(one: Inequality, other: Inequality, size: Reference) -> Inequality | None:
    """Return the sum of two inequalities, each as often as it takes to be rid of a size."""
    mine, theirs = one.sign_of(size), other.sign_of(size)
    if mine * theirs >= 0 or {j.name for j in one.joints} & {j.name for j in other.joints}:
        return None
    joined = Inequality(
        (*one.joints, *other.joints),
        (*one.items * abs(theirs), *other.items * abs(mine)),
        one.constant * abs(theirs) + other.constant * abs(mine),
        (*one.gone, size),
    )
    if any(joined.sign_of(gone) for gone in one.gone):
        return None  # what is gone would come back
    return None if joined.contradictory else joined


def _identity(inequality: Inequality) -> tuple[object, ...]:
    items = tuple(
        sorted((str(i.size), i.sign, str(i.closing), str(i.walls)) for i in inequality.items)
    )
    names = tuple(sorted(j.name for j in inequality.joints))
    return (names, items, tuple(sorted(map(str, inequality.gone))))


def shared_joint(joints: Iterable[Joint], figures: Sequence[Reference]) -> Joint:
    """Return the joint that says that some joints ask too much of unknown figures."""
    of = sorted(joints, key=lambda j: j.name)
    return Joint(
        " & ".join(j.name for j in of) + " on " + ", ".join(map(str, figures)),
        " and ".join(j.title for j in of),
        SHARED,
        arguments=MappingProxyType({}),
        shares=tuple(of),
        unknown=tuple(figures),
    )


def _both(
    role: str, feature: str, unseen: Ints, count: int, there: JointTable, gone: JointTable
) -> JointTable | None:
    """Return where one joint fails if a feature is there, and another if it is not.

    Of the role the tables hold the options only that nobody has looked at, `unseen` of `count`.
    """
    if not (there.verdicts == Verdict.FAILS).any() or not (gone.verdicts == Verdict.FAILS).any():
        return None
    roles = tuple(dict.fromkeys((role, *there.roles, *gone.roles)))
    crossed = _crossed(roles, (there, gone))
    if crossed is None:
        return None
    classes, (if_there, if_gone) = crossed
    fails = if_there & if_gone
    seen = np.zeros((1, *fails.shape[1:]), dtype=bool)  # of what was looked at nothing is said
    every = np.full(count, len(fails), dtype=np.intp)
    every[unseen] = classes[0]
    joint = shared_joint((there.joint, gone.joint), (Reference(role, feature, ""),))
    return _table(joint, roles, [every, *classes[1:]], np.concatenate([fails, seen]))


def _either(table: JointTable, *others: JointTable) -> JointTable:
    """Return where any of some tables of one joint fails; the first where all are too wide."""
    for other in others:
        crossed = _crossed(table.roles, (table, other))
        if crossed is not None:
            classes, (one, two) = crossed
            table = _table(table.joint, table.roles, classes, one | two) or table
    return table


def _crossed(
    roles: tuple[str, ...], tables: Sequence[JointTable]
) -> tuple[list[Ints], list[Bools]] | None:
    """Return classes that some tables can tell apart, and where each of them fails over these.

    None where that would be too wide.
    """
    classes: list[Ints] = []
    firsts: list[Ints] = []
    for at in roles:
        columns = [t.class_of[t.roles.index(at)] for t in tables if at in t.roles]
        first, class_of = distinct_rows(np.column_stack(columns))
        firsts.append(first)
        classes.append(class_of)
    size = [len(first) for first in firsts]
    if float(np.prod([float(n) for n in size])) > _CELLS:
        return None
    fails = []
    for table in tables:
        picks = (
            of[firsts[roles.index(r)]] for r, of in zip(table.roles, table.class_of, strict=True)
        )
        part = (table.verdicts == Verdict.FAILS)[np.ix_(*picks)]
        order = sorted(range(len(table.roles)), key=lambda k: roles.index(table.roles[k]))
        shape = [n if r in table.roles else 1 for r, n in zip(roles, size, strict=True)]
        fails.append(np.broadcast_to(np.transpose(part, order).reshape(shape), size))
    return classes, fails


def _table(
    joint: Joint, roles: tuple[str, ...], classes: Sequence[Ints], fails: Bools
) -> JointTable | None:
    """Return where combinations fail as a table, over the fewest classes; None where none does."""
    if not fails.any():
        return None
    verdicts = np.where(fails, Verdict.FAILS, Verdict.FITS).astype(np.int8)
    return over_fewest(joint, roles, classes, verdicts)
