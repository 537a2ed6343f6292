"""A catalogue compiled for questions: options, their classes, plans and rows."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import field
from types import MappingProxyType
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.graph.classes import distinct_rows
from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.joints import JointTable, asked, joint_table
from fitgraph.graph.options import options_for, strengths_nm
from fitgraph.graph.sums import SumCondition, sum_condition
from fitgraph.graph.unknowns import Unknowns
from fitgraph.mechanics.rules import RULES
from fitgraph.model import Catalogue, Option, Verdict
from fitgraph.records import dataclass
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.circuit_home import CircuitHome
from fitgraph.solve.circuit_rows import circuit_of
from fitgraph.solve.counting import Home, count, count_each, rows_counts, rows_each
from fitgraph.solve.plan import CEILING, Plan, TooWideError
from fitgraph.solve.planning import Ingredients
from fitgraph.solve.relations import Relation, relation_of
from fitgraph.solve.request import Facts
from fitgraph.solve.substitutes import substitutes
from fitgraph.solve.support import Support, support_of

#: Masses are added as whole tenths of a gram, so that sums are exact.
TENTHS = 10

#: Bytes up to which the rows of a plan are few, and the share of the ceiling that rows as runs
#: may take: what works them out, and what looks along them, needs room beside them.
_FEW, _CIRCUIT = 1.6e8, 0.7

#: Plans over the classes that a question lets in that are kept, and the share of a role's classes
#: up to which it is worth making one.
_KEPT, _PART = 8, 0.5


Answer = TypeVar("Answer")


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
    joint_tables : tuple of JointTable
        What each joint says, over its own classes.
    sums : tuple of SumCondition
        Conditions on sums along a nest or a stack.
    facts : mapping of str to Facts
        What requests look at in each role's options.
    mass_g : mapping of str to ndarray of float
        The mass of each option in g; nan where it is not known.
    strength_nm : mapping of str to ndarray of float
        The bending moment borne again and again in N m; nan where none is compared or known.
    ceiling : float
        Bytes that an answer may need.
    """

    catalogue: Catalogue
    tidy: bool
    options: Mapping[str, tuple[Option, ...]]
    class_of: Mapping[str, Ints]
    joint_tables: tuple[JointTable, ...]
    sums: tuple[SumCondition, ...]
    facts: Mapping[str, Facts]
    mass_g: Mapping[str, Floats]
    strength_nm: Mapping[str, Floats]
    ceiling: float = CEILING
    _held: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)

    def plan(
        self,
        *,
        certain: bool,
        sums: frozenset[str] | None = None,
        last: str | None = None,
        late: frozenset[str] = frozenset(),
    ) -> Plan:
        """Return how builds are summed up, worked out at the first call.

        Parameters
        ----------
        certain : bool
            Whether builds that are only possible are left out.
        sums : frozenset of str, optional
            Names of the conditions on sums that count; all by default.
        last : str, optional
            A role that goes last.
        late : frozenset of str
            Roles that go after all others.

        Raises
        ------
        TooWideError
            If a pass would need more memory than the ceiling.
        """
        key = (certain, sums, last, late)
        if key not in self._held:
            try:
                made = self.ingredients(certain=certain)
                self._held[key] = made.plan({}, sums=sums, last=last, late=late)
            except TooWideError as refused:  # to find that out took long as well
                self._held[key] = refused.again()
        return _plan_or_raise(self._held[key])

    def weights(self, lets: Mapping[str, Bools]) -> dict[str, Floats]:
        """Return how many options of each class are let in.

        Parameters
        ----------
        lets : mapping of str to ndarray of bool
            Which options of each role are.
        """
        sizes = self.sizes
        return {
            role: np.bincount(self.class_of[role][some], minlength=sizes[role]).astype(float)
            for role, some in lets.items()
        }

    def plan_within(
        self,
        weights: Mapping[str, Floats],
        *,
        certain: bool,
        late: frozenset[str] = frozenset(),
    ) -> Plan:
        """Return the plan over the classes that some weights let in; the last few are kept.

        Parameters
        ----------
        weights : mapping of str to ndarray of float
            Not zero for each class of each role that may be used.
        certain, late
            As in :meth:`plan`.

        Raises
        ------
        TooWideError
            If a pass would need more memory than the ceiling.
        """
        domains = {r: np.flatnonzero(w) for r, w in weights.items()}
        made: dict[Hashable, Plan | TooWideError] = self.kept(("plans within",), dict)
        key = (certain, late, tuple((r, d.tobytes()) for r, d in domains.items()))
        found = made.get(key)
        if found is None:
            try:
                found = self.ingredients(certain=certain).plan(domains, late=late)
            except TooWideError as refused:
                found = refused.again()
            made[key] = found
            for oldest in list(made)[:-_KEPT]:
                made.pop(oldest, None)
        return _plan_or_raise(found)

    def plan_for(self, weights: Mapping[str, Floats], *, certain: bool) -> Plan:
        """Return the plan that is quickest for one question with some weights.

        Parameters
        ----------
        weights, certain
            As in :meth:`plan_within`.

        Returns
        -------
        Plan
            The whole, unless that is large and the weights leave little of a role.
        """
        plan = self.plan(certain=certain)
        if plan.bytes > _FEW and any(
            np.count_nonzero(w) <= _PART * len(w) for w in weights.values()
        ):
            # What is left of a role may suit another order of steps, which is wider elsewhere.
            with contextlib.suppress(TooWideError):
                return self.plan_within(weights, certain=certain)
        return plan

    def ingredients(self, *, certain: bool) -> Ingredients:
        """Return what plans are made from."""
        key = ("ingredients", certain)
        if key not in self._held:
            self._held[key] = Ingredients(
                self.roles,
                self.sizes,
                self._first,
                self.relations(certain=certain),
                self.sums,
                certain,
                self.ceiling,
            )
        found: Ingredients = self._held[key]
        return found

    def support(self, *, certain: bool) -> Support:
        """Return the rows of a plan, worked out at the first call.

        Parameters
        ----------
        certain
            As in :meth:`plan`.

        Raises
        ------
        TooWideError
            If they, or the plan, would need more memory than the ceiling.
        """
        circuit = self.circuit(certain=certain)
        few = self.few_rows(certain=certain) if circuit is None else None
        if few is not None:
            return few
        key = ("support", certain)
        if key not in self._held:
            self._held[key] = (
                support_of(self.plan(certain=certain), self.ceiling)
                if circuit is None
                else circuit.expanded(self.ceiling)
            )
        support: Support = self._held[key]
        return support

    def runs(self, *, certain: bool) -> Support | Circuit:
        """Return the rows of a plan as runs: those of :meth:`circuit`, or of :meth:`support`.

        What is only possible is told without :meth:`left_out`.

        Raises
        ------
        TooWideError
            If they, or the plan, would need more memory than the ceiling.
        """
        if not certain and self.left_out(certain=False):
            key = ("runs without sums",)
            if key not in self._held:
                plan = self.plan(certain=False, sums=frozenset())
                self._held[key] = support_of(plan, self.ceiling)
            found: Support = self._held[key]
            return found
        circuit = self.circuit(certain=certain)
        return self.support(certain=certain) if circuit is None else circuit

    def few_rows(self, *, certain: bool) -> Support | None:
        """Return the rows of a plan where they are few, worked out at the first call.

        Parameters
        ----------
        certain
            As in :meth:`plan`.

        Returns
        -------
        Support or None
            None where there are so many that passes over the plan are quicker.

        Raises
        ------
        TooWideError
            If the plan would need more memory than the ceiling.
        """
        key = ("few rows", certain)
        if key not in self._held:
            plan, room = self.plan(certain=certain), min(self.ceiling, _FEW)
            made = None
            with contextlib.suppress(TooWideError):
                if not plan.adds:
                    made = support_of(plan, room)
                elif plan.bytes <= _FEW:  # else its rows are many, and take long to be told
                    circuit = self.circuit(certain=certain)
                    made = None if circuit is None else circuit.expanded(room)
            self._held[key] = made
        found: Support | None = self._held[key]
        return found

    def circuit(self, *, certain: bool) -> Circuit | None:
        """Return the rows of a plan of sums over measured parts, worked out at the first call.

        Parameters
        ----------
        certain
            As in :meth:`plan`.

        Returns
        -------
        Circuit or None
            None where no sum makes the plan wide, and where the rows are too many to be held.

        Raises
        ------
        TooWideError
            If the plan would need more memory than the ceiling.
        """
        key = ("circuit", certain)
        if key not in self._held:
            plan, made = self.plan(certain=certain), None
            if plan.adds:
                other, room = self._held.get(("circuit", not certain)), self._room
                # What is possible has no fewer rows than what is certain.
                if certain or other is None or other.bytes <= room:
                    with contextlib.suppress(TooWideError):
                        made = circuit_of(plan, self._whole, room)
            self._held[key] = made
        found: Circuit | None = self._held[key]
        return found

    def around(self, role: str, *, certain: bool) -> Circuit:
        """Return the rows of a plan in which a role goes first.

        A node of its steps is all that ask the same of the role: rests of a build that the same
        of its classes complete.

        Parameters
        ----------
        role : str
            The role.
        certain : bool
            As in :meth:`plan`.

        Raises
        ------
        TooWideError
            If they, or the plan, would need more memory than the ceiling.
        """
        ingredients = self.ingredients(certain=certain)
        try:
            plan = ingredients.plan({}, leading=role)
        except TooWideError:
            possible = self.possible(self._whole, certain=certain)
            domains = {r: np.flatnonzero(some) for r, some in possible.items()}
            plan = ingredients.plan(domains, leading=role)
        return circuit_of(plan, self._whole, self._room)

    @property
    def _room(self) -> float:
        """Return how many bytes rows as runs may take beside those that are held."""
        held = (self._held.get(("circuit", certain)) for certain in (True, False))
        return _CIRCUIT * self.ceiling - sum(c.bytes for c in held if c is not None)

    @property
    def _whole(self) -> dict[str, Floats]:
        """Return how many options each class of each role has."""
        return {r: np.bincount(of_role).astype(float) for r, of_role in self.class_of.items()}

    def without_sums(self, *, certain: bool) -> Space | None:
        """Return the space without its conditions on sums, where these make its plan wide.

        Every build of this space is one of that; few that are only of that one stand between,
        as a rule. It is worked out at the first call.

        Parameters
        ----------
        certain : bool
            As in :meth:`plan`.

        Returns
        -------
        Space or None
            None where the plan with all conditions is narrow, or the one without is not.
        """
        key = ("without sums", certain)
        if key not in self._held:
            made = None
            if self.sums and self.plan(certain=certain).reads:
                plain = compile_tables(
                    self.catalogue,
                    self.options,
                    self.joint_tables,
                    tidy=self.tidy,
                    ceiling=self.ceiling,
                )
                with contextlib.suppress(TooWideError):
                    if plain.few_rows(certain=certain) is not None:
                        made = plain
            self._held[key] = made
        found: Space | None = self._held[key]
        return found

    def through(
        self,
        weights: Mapping[str, Floats],
        home: Home | CircuitHome | None = None,
        *,
        certain: bool,
        exact: bool = True,
    ) -> dict[str, npt.NDArray[Any]]:
        """Return, for every class of every role, the builds through one of its options.

        Parameters
        ----------
        weights : mapping of str to ndarray of float
            How many options each class of each role stands for.
        home : Home or CircuitHome, optional
            As in :func:`fitgraph.solve.counting.count_each`.
        certain : bool
            As in :meth:`plan`.
        exact : bool
            Whether large numbers must be exact; if not, weights may be any, and float64 is enough.
        """
        if exact:
            circuit = self._circuit_or_home(home, certain=certain)
            if circuit is not None:
                return circuit.count_each(weights)
        elif (whole := self.circuit(certain=certain)) is not None:
            return whole.rough(weights)
        rows = self.few_rows(certain=certain)
        if rows is not None:
            return rows_each(rows, weights, exact=exact)
        known = None if isinstance(home, CircuitHome) else home
        return count_each(self.plan(certain=certain), weights, known, exact=exact)

    def left_out(self, *, certain: bool) -> tuple[SumCondition, ...]:
        """Return the sums that would make a plan need more than the ceiling: all, or none.

        Parameters
        ----------
        certain : bool
            As in :meth:`plan`.
        """
        try:
            self.plan(certain=certain)
        except TooWideError:
            return self.sums
        return ()

    def perhaps(self, weights: Mapping[str, Floats]) -> dict[str, Bools]:
        """Return what :meth:`possible` does of builds that may hold, without :meth:`left_out`.

        Parameters
        ----------
        weights : mapping of str to ndarray of float
            As in :meth:`through`.

        Returns
        -------
        dict of str to ndarray of bool
            No class is missing that a build may have; some are there that none can.

        Raises
        ------
        TooWideError
            If this would need more memory than the ceiling, too.
        """
        return {r: v > 0 for r, v in self.rough_perhaps(weights).items()}

    def rough_perhaps(self, weights: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the weight of builds that may hold through each class, without :meth:`left_out`.

        Parameters
        ----------
        weights : mapping of str to ndarray of float
            As in :meth:`through`; any numbers.

        Raises
        ------
        TooWideError
            If this would need more memory than the ceiling, too.
        """
        if not self.left_out(certain=False):
            return self.through(weights, certain=False, exact=False)
        return count_each(self.plan(certain=False, sums=frozenset()), weights, exact=False)

    def possible(
        self,
        weights: Mapping[str, Floats],
        home: Home | CircuitHome | None = None,
        *,
        certain: bool,
    ) -> dict[str, Bools]:
        """Return, for every class of every role, whether a build has one of its options.

        Parameters
        ----------
        weights, home, certain
            As in :meth:`through`.
        """
        circuit = self._circuit_or_home(home, certain=certain)
        if circuit is not None:
            return circuit.possible(weights)
        through = self.through(weights, home, certain=certain, exact=False)
        return {r: v > 0 for r, v in through.items()}

    def _circuit_or_home(
        self, home: Home | CircuitHome | None, *, certain: bool
    ) -> Circuit | CircuitHome | None:
        """Return what is quickest of the rows, where there are rows of sums at all."""
        known = self._held.get(("home", certain)) if home is None else home
        return known if isinstance(known, CircuitHome) else self.circuit(certain=certain)

    def counts(self, weights: Mapping[str, Floats], *, certain: bool) -> list[int]:
        """Return the exact numbers of builds of some requests.

        Parameters
        ----------
        weights : mapping of str to ndarray of float, shape (n_requests, n_classes)
            How many options each class of each role stands for, request by request.
        certain : bool
            As in :meth:`plan`.
        """
        many = len(next(iter(weights.values()), ()))
        circuit = self.circuit(certain=certain)
        if circuit is not None:
            if many > 1:
                circuit = circuit.within(
                    {r: np.logical_or.reduce(w > 0) for r, w in weights.items()}
                )
            return [circuit.count({r: w[n] for r, w in weights.items()}) for n in range(many)]
        rows = self.few_rows(certain=certain)
        if rows is not None:
            return rows_counts(rows, weights)
        plan = self.plan(certain=certain)
        return [count(plan, {r: w[n] for r, w in weights.items()}) for n in range(many)]

    def kept(self, key: tuple[Hashable, ...], made: Callable[[], Answer]) -> Answer:
        """Return something that hangs on the catalogue alone, made at the first call.

        Parameters
        ----------
        key : tuple
            Its name, which nothing else of a space has.
        made : callable
            Makes it.
        """
        if key not in self._held:
            self._held[key] = made()
        found: Answer = self._held[key]
        return found

    @property
    def masses(self) -> tuple[Mapping[str, Floats], Mapping[str, Bools]]:
        """Return each option's mass in whole tenths of a gram, zero where unknown; and if known."""
        if "masses" not in self._held:
            tenths = {r: np.rint(np.nan_to_num(m) * TENTHS) for r, m in self.mass_g.items()}
            weighed = {r: ~np.isnan(m) for r, m in self.mass_g.items()}
            for column in (*tenths.values(), *weighed.values()):
                column.flags.writeable = False  # every query looks at them
            self._held["masses"] = tenths, weighed
        found: tuple[Mapping[str, Floats], Mapping[str, Bools]] = self._held["masses"]
        return found

    @property
    def _first(self) -> dict[str, Ints]:
        """Return one option of each class of each role."""
        if "first" not in self._held:
            self._held["first"] = {r: _firsts(of_role) for r, of_role in self.class_of.items()}
        found: dict[str, Ints] = self._held["first"]
        return found

    def relations(self, *, certain: bool) -> list[Relation]:
        """Return the joints as relations over the base classes.

        Parameters
        ----------
        certain : bool
            As in :meth:`plan`.
        """
        key = ("relations", certain)
        if key not in self._held:
            self._held[key] = [
                relation_of(table, self._first, certain=certain) for table in self.joint_tables
            ]
        found: list[Relation] = self._held[key]
        return found

    def substitutes(self, *, certain: bool) -> Mapping[str, Bools]:
        """Return which class of each role can stand in for which, worked out at the first call."""
        key = ("substitutes", certain)
        if key not in self._held:
            self._held[key] = substitutes(
                self.relations(certain=certain), self.sums, self._first, certain=certain
            )
        found: Mapping[str, Bools] = self._held[key]
        return found

    def home(
        self, weights: Callable[[], Mapping[str, Floats]], *, certain: bool, now: bool
    ) -> Home | CircuitHome | None:
        """Return messages of a request that most others share a part of.

        Parameters
        ----------
        weights : callable
            What the request lets in.
        certain : bool
            As in :meth:`plan`.
        now : bool
            Whether they are worked out at once; if not, at the second call.
        """
        key = ("home", certain)
        if key not in self._held:
            # Of very many parts that are all measured it takes minutes: who asks of few of them
            # does not wait for that.
            soon = now or ("circuit", certain) in self._held
            if not soon and self.plan(certain=certain).bytes > _FEW:
                return None
            if not now and ("asked", certain) not in self._held:
                self._held["asked", certain] = True
                return None
            circuit = self.circuit(certain=certain)
            self._held[key] = (
                Home(self.plan(certain=certain), weights())
                if circuit is None
                else CircuitHome(circuit, weights())
            )
        home: Home | CircuitHome = self._held[key]
        return home

    @property
    def sizes(self) -> dict[str, int]:
        """Return the number of interface classes of each role."""
        return {role: int(c.max(initial=-1)) + 1 for role, c in self.class_of.items()}

    @property
    def roles(self) -> tuple[str, ...]:
        """Return the roles, in the order of the vocabulary."""
        return tuple(self.options)


def _plan_or_raise(found: Plan | TooWideError) -> Plan:
    if isinstance(found, TooWideError):
        raise found.again()
    return found


def _firsts(class_of: Ints) -> Ints:
    """Return one option of each class."""
    first = np.zeros(int(class_of.max(initial=-1)) + 1, dtype=np.intp)
    first[class_of[::-1]] = np.arange(len(class_of) - 1, -1, -1)
    return first


def _interface(
    role: str, count: int, tables: Sequence[JointTable], sums: Sequence[SumCondition]
) -> Ints:
    """Return the classes of a role's options that no joint and no sum can tell apart."""
    columns = [
        t.class_of[t.roles.index(role)]
        for t in tables
        if role in _scope(t) and not (t.verdicts == Verdict.FITS).all()
    ]
    columns += [
        term.class_of[axis]
        for condition in sums
        for term in condition.terms
        for axis, other in enumerate(term.roles)
        if other == role
    ]
    if not columns:
        return np.zeros(count, dtype=np.intp)
    return distinct_rows(np.column_stack(columns))[1]


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _scope(table: JointTable) -> tuple[str, ...]:
    """Return the roles whose options a joint can tell apart."""
    return tuple(r for r, n in zip(table.roles, table.verdicts.shape, strict=True) if n > 1)


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
    return compile_options(catalogue, options_of(catalogue), tidy=tidy)


def compile_options(
    catalogue: Catalogue, options: Mapping[str, tuple[Option, ...]], *, tidy: bool = True
) -> Space:
    """Compile options of every role.

    Parameters
    ----------
    catalogue : Catalogue
        Where they come from.
    options : mapping of str to tuple of Option
        The options of each role; some may be only supposed, and left out by every request.
    tidy : bool
        As in :func:`compile_space`.
    """
    tables, sums = said_of(catalogue, options, tidy=tidy)
    return compile_tables(catalogue, options, tables, tidy=tidy, sums=sums)


def options_of(catalogue: Catalogue) -> dict[str, tuple[Option, ...]]:
    """Return the options of every role."""
    vocabulary = catalogue.vocabulary
    return {role: options_for(catalogue.of(role), role, vocabulary) for role in vocabulary.roles}


def said_of(
    catalogue: Catalogue, options: Mapping[str, tuple[Option, ...]], *, tidy: bool
) -> tuple[list[JointTable], list[SumCondition]]:
    """Return what joints, nests and stacks say of options.

    Parameters
    ----------
    catalogue, options, tidy
        As in :func:`compile_options`.
    """
    # Of a role that no part can fill there is nothing to judge: no build is complete.
    every = asked(catalogue.vocabulary.joints, tidy=tidy)
    joints = [j for j in every if all(options[r] for r in j.roles)]
    columns = columns_of(options, WordCodes())
    tables = [joint_table(joint, columns) for joint in joints if not RULES[joint.rule].sums]
    unknowns = Unknowns(joints, columns, tables)
    sums = [sum_condition(joint, columns) for joint in joints if RULES[joint.rule].sums]
    return [*tables, *unknowns.tables()], [*sums, *unknowns.conditions()]


def compile_tables(
    catalogue: Catalogue,
    options: Mapping[str, tuple[Option, ...]],
    tables: Sequence[JointTable],
    *,
    tidy: bool = True,
    sums: Sequence[SumCondition] = (),
    ceiling: float = CEILING,
) -> Space:
    """Compile options of some roles and what joints say of them.

    Parameters
    ----------
    catalogue : Catalogue
        Where the options come from.
    options : mapping of str to tuple of Option
        The options of each role that is asked about; all roles for whole builds.
    tables : sequence of JointTable
        Over these roles only, each with a joint name of its own.
    tidy : bool
        Whether the tables hold the joints that only keep needless parts out.
    sums : sequence of SumCondition
        Over these roles only, each with a name of its own.
    ceiling : float
        Bytes that an answer may need.
    """
    vocabulary = catalogue.vocabulary
    return Space(
        catalogue,
        tidy,
        MappingProxyType(dict(options)),
        MappingProxyType({r: _interface(r, len(os), tables, sums) for r, os in options.items()}),
        tuple(tables),
        tuple(sums),
        MappingProxyType({role: Facts.of(os) for role, os in options.items()}),
        MappingProxyType(
            {r: np.array([_number(o.mass_g) for o in os]) for r, os in options.items()}
        ),
        MappingProxyType({r: strengths_nm(os, vocabulary) for r, os in options.items()}),
        ceiling,
    )
