"""How a catalogue's builds are summed up: which variable goes when, and over what.

Variables are eliminated one by one. Each step sums a variable out of the relations that hold it
and leaves a message over those that it shared them with (bucket elimination [1]). A step looks
at no more classes than its own relations tell apart.

Where a relation ties many roles of which most only have to be there or not, the plan first
splits into cases by what is there (conditioning, as in AND/OR search [2]); within a case little
of such a relation is left (context-specific independence [3]). Steps that cases have in common
stand once.

References
----------
.. [1] R. Dechter, "Bucket elimination: a unifying framework for reasoning", Artificial
   Intelligence 113 (1999) 41-85 (reference checked).
.. [2] R. Dechter, R. Mateescu, "AND/OR search spaces for graphical models", Artificial
   Intelligence 171 (2007) 73-106 (reference checked).
.. [3] C. Boutilier, N. Friedman, M. Goldszmidt, D. Koller, "Context-specific independence in
   Bayesian networks", UAI 1996, 115-123 (reference checked).
"""

from __future__ import annotations

import functools
import itertools
import math
import operator
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Ints
from fitgraph.errors import InputError
from fitgraph.graph.sums import SumCondition
from fitgraph.records import dataclass
from fitgraph.solve import bundles
from fitgraph.solve.arrays import distinct
from fitgraph.solve.bundles import Bundle, Runs, bundle_of
from fitgraph.solve.order import TRIES, Extra, NoOrderError, Order, Tangle, best_order
from fitgraph.solve.relations import Relation, combined, merged, reduced, supported
from fitgraph.solve.shared_sums import shared
from fitgraph.solve.sums import (
    Chain,
    Running,
    Terms,
    TooWideSumError,
    chain_of_terms,
    presence_axes,
    relation_of_sum,
    terms_of,
)
from fitgraph.stopping import check

#: Bytes that answers may need, unless another ceiling is given.
CEILING = 2 * 10**9

#: Work (classes times cells) up to which cases are not looked for.
_CHEAP = 2e6

#: Classes up to which an axis counts as one that asks for presence, and most cases.
_NARROW, _MOST_CASES = 4, 256

#: Cells up to which a sum over roles becomes one table; beyond, it is taken term by term.
_AS_TABLE = 1 << 20

#: Roles up to which a sum that a leading role adds to may be one table.
_LED = 3

#: Pairs of a cell and a kind from which a plan with a leading role is tried otherwise as well.
_LOOKED = 2e7

#: Cells from which a running sum's message is read through what decides it, and not held.
READ = 1 << 16

#: Cells of a relation from which its narrow axes are worth cases.
_WIDE = 256

#: Classes up to which what a relation sees of a role may be a variable of its own, and how many
#: kinds that has at most.
_SEEN, _MOST_SEEN = 8, 16

#: The same of tuples, of which only what asks whether something is there is worth it.
_PRESENCE = 2


#: Joints that a refusal names.
_NAMED = 8

#: What plans of the same catalogue have in common: sums as tables, by name and by the classes that
#: may be used, and what maps of classes tell apart together.
Memo = dict[tuple[Any, ...], Any]


class TooWideError(InputError):
    """Answers would need more memory than the ceiling; says what is to blame and what is left.

    Parameters
    ----------
    needed, ceiling : float
        In bytes.
    roles, joints : tuple of str
        Roles that have to be looked at together, and the joints that tie them.
    """

    def __init__(
        self, needed: float, ceiling: float, roles: Sequence[str], joints: Sequence[str]
    ) -> None:
        self.needed, self.ceiling = needed, ceiling
        self.roles, self.joints = tuple(roles), tuple(joints)
        super().__init__(
            f"this would need {_bytes(needed)} of memory, and the ceiling is {_bytes(ceiling)}: "
            f"{', '.join(self.roles)} have to be looked at together, because of "
            f"{_first_of(self.joints) or 'the joints between them'}. What helps: leave one of "
            "these joints out, or name parts of some of these roles"
        )


def _first_of(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")


def _bytes(number: float) -> str:
    for unit, size in (("TB", 1e12), ("GB", 1e9), ("MB", 1e6)):
        if number >= size:
            return f"{number / size:,.3g} {unit}" if number < 1e15 else "more than 1,000 TB"
    return f"{number / 1e3:,.3g} kB"


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One relation, or the message of an earlier step, as a step sees it.

    Parameters
    ----------
    child : int
        Place of the step whose message it is; -1 for a relation.
    table : ndarray of bool or None
        The relation, the step's variable first.
    at : int
        Where the step's variable stands among the axes of the message.
    kind : ndarray of int or None
        For each kind of the variable, its place along the axis; None where they are the same.
    axes : tuple of int
        For each other axis, which of the step's separator it is.
    cells : tuple of (ndarray of int or None)
        For each other axis, the place of each of the separator's cells.
    """

    child: int
    table: Bools | None
    at: int
    kind: Ints | None
    axes: tuple[int, ...]
    cells: tuple[Ints | None, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Parts that are multiplied out before two groups meet.

    Parameters
    ----------
    parts : tuple of int
        Which.
    axes : tuple of int
        What they are over, of the separator.
    few : tuple of ndarray or None
        One of each of the kinds that they can tell apart, and which of them each kind is; None
        where that makes them hardly fewer.
    """

    parts: tuple[int, ...]
    axes: tuple[int, ...]
    few: tuple[Ints, Ints] | None


@dataclass(frozen=True, slots=True, eq=False)
class Summed:
    """How a step's variable, sorted tuples, decides a sum with another variable.

    Parameters
    ----------
    outer, sum : int
        The axes of the separator that stand for the other variable and for the sum.
    runs : Runs
        The values of the sum along the tuples.
    place : ndarray of int
        The place of each of the outer variable's cells among the runs.
    cell : ndarray of int
        The cell of each value of the sum.
    kinds : ndarray of int
        The tuple of each of the step's kinds; ascending.
    """

    outer: int
    sum: int
    runs: Runs
    place: Ints
    cell: Ints
    kinds: Ints

    def along(self, cell: int, tuples: Ints) -> tuple[Ints, Ints]:
        """Return where runs of the sum begin for a cell of the outer variable, and their cells.

        Parameters
        ----------
        cell : int
            Of the outer variable.
        tuples : ndarray of int
            The tuples that are left, ascending: those of `kinds` that count.
        """
        place = self.place[cell]
        at = slice(self.runs.starts[place], self.runs.starts[place + 1])
        begin: Ints = self.runs.begin[at]
        value = self.runs.value[at]
        begin = np.searchsorted(tuples, begin)
        there = np.diff(begin, append=len(tuples)) > 0
        return begin[there], self.cell[value[there]]


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """The elimination of one variable.

    Parameters
    ----------
    variable : str
        A role, what some relations see of a role, or a running sum.
    is_role : bool
        Whether its kinds are options; other variables cost nothing and are worth one.
    domain : ndarray of int
        Its base classes that may be used.
    kind_of : ndarray of int
        The kind of each base class; -1 outside the domain.
    kinds : int
        How many kinds there are: what the step's parts tell apart.
    separator : tuple of str
        The variables that the message is over.
    cell_of : tuple of ndarray of int
        For each, the cell of each of its base classes.
    shape : tuple of int
        How many cells each has.
    parts : tuple of Part
        What is multiplied.
    groups : tuple of Group
        The parts in one or two groups that are multiplied out before they meet.
    bridges : tuple of int
        Parts in neither group.
    bridged : mapping of int to ndarray of int
        For each axis of the separator that a bridge is over, the block of each cell.
    decided : tuple or None
        Of a running sum, the places in the separator of the two variables that decide it, and
        its kind for each pair of their cells, in as few bytes as will do.
    summed : Summed or None
        Of tuples, the sum that they decide with another variable; it is an axis of the separator.
    below : frozenset of str
        The roles whose weights the message holds.
    work : float
        Kinds times cells.
    names : tuple of str
        Joints that tie the variable and the separator.
    """

    variable: str
    is_role: bool
    domain: Ints
    kind_of: Ints
    kinds: int
    separator: tuple[str, ...]
    cell_of: tuple[Ints, ...]
    shape: tuple[int, ...]
    parts: tuple[Part, ...]
    groups: tuple[Group, ...]
    bridges: tuple[int, ...]
    bridged: Mapping[int, Ints]
    decided: tuple[int, int, npt.NDArray[Any]] | None
    summed: Summed | None
    below: frozenset[str]
    work: float
    names: tuple[str, ...]

    @property
    def read(self) -> bool:
        """Whether its message is too wide to be held where it can be read: a running sum's."""
        return self.decided is not None and math.prod(self.shape) > READ

    @property
    def children(self) -> tuple[int, ...]:
        """Return the places of the steps whose messages it takes."""
        return tuple(p.child for p in self.parts if p.child >= 0)


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One case: its steps in the order of elimination, and those that end in a number."""

    order: tuple[int, ...]
    roots: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Every case, and the steps they share; a step stands after those it needs.

    Parameters
    ----------
    roles : tuple of str
        In the vocabulary's order.
    sizes : mapping of str to int
        Base classes of each role.
    steps : tuple of Step
        A forest that cases share branches of.
    cases : tuple of Case
        A build is in exactly one.
    last : str or None
        The role that goes last in every case, if one was asked for.
    ceiling : float
        Bytes that a pass may need.
    leading : str or None
        The role that goes first in every case, if one was asked for.
    """

    roles: tuple[str, ...]
    sizes: Mapping[str, int]
    steps: tuple[Step, ...]
    cases: tuple[Case, ...]
    last: str | None = None
    ceiling: float = CEILING
    leading: str | None = None

    @property
    def reads(self) -> bool:
        """Return whether it has messages that are too wide to be held."""
        return any(step.read for step in self.steps)

    @property
    def adds(self) -> bool:
        """Return whether sums over measured parts make it wide: its rows are told as runs."""
        return self.reads or any(step.summed is not None for step in self.steps)

    @property
    def bytes(self) -> float:
        """Return the memory that one pass with the messages that are held takes at most."""
        tables = sum(float(s.decided[2].nbytes) for s in self.steps if s.decided is not None)
        return tables + self._bytes([s for s in self.steps if not s.read])

    @property
    def bytes_whole(self) -> float:
        """Return the memory that one pass with all messages takes at most."""
        return self._bytes(self.steps)

    @property
    def looked(self) -> float:
        """Return how many pairs of a cell and a kind are looked at one by one."""
        return sum(
            s.work
            for s in self.steps
            if s.decided is None and s.summed is None and s.variable != self.leading
        )

    def _bytes(self, held: Sequence[Step]) -> float:
        messages = sum(8.0 * math.prod(s.shape) for s in held)
        return 2 * messages + max((8.0 * _held_at_once(s) for s in self.steps), default=0.0)

    def refuse(self, needed: float) -> None:
        """Say what is to blame if so many bytes are too many.

        Raises
        ------
        TooWideError
            If they are more than the ceiling.
        """
        if needed > self.ceiling:
            widest = max(self.steps, key=lambda s: math.prod(s.shape))
            raise TooWideError(
                needed,
                self.ceiling,
                [v for v in (widest.variable, *widest.separator) if v in self.sizes],
                widest.names,
            )


#: Cells that a step works on at once where it can be done in slices.
SLICE = 1 << 17


def _held_at_once(step: Step) -> float:
    widest = max(
        (step.kinds * math.prod(step.shape[a] for a in group.axes) for group in step.groups),
        default=0,
    )
    return min(float(widest), SLICE) * 3


# ---------------------------------------------------------------- working it out


class _Live:
    """A relation or message that is still to be multiplied."""

    __slots__ = ("child", "key", "names", "scope", "table")

    def __init__(
        self,
        key: int,
        scope: dict[str, int],
        table: Bools | None,
        child: int,
        names: tuple[str, ...],
    ) -> None:
        self.key, self.scope, self.table, self.child = key, scope, table, child
        self.names = names


class _Maps:
    """Maps from base classes to few, each with a number, and what some of them tell apart."""

    def __init__(self) -> None:
        self.of: list[Ints] = []
        self._ids: dict[bytes, int] = {}
        self._combined: dict[tuple[int, tuple[int, ...]], tuple[int, Ints]] = {}
        self._places: dict[tuple[int, int, int], Ints | None] = {}

    def number(self, of_base: Ints) -> int:
        key = of_base.tobytes()
        found = self._ids.get(key)
        if found is None:
            found = self._ids[key] = len(self.of)
            self.of.append(of_base)
        return found

    def combine(self, domain_id: int, domain: Ints, ids: tuple[int, ...]) -> tuple[int, Ints]:
        """Return the number of a common refinement, and one base class of each of its cells."""
        key = (domain_id, ids)
        found = self._combined.get(key)
        if found is None:
            of_base, first = combined([self.of[n] for n in ids], domain)
            found = self._combined[key] = (self.number(of_base), first)
        return found

    def places(self, one: int, domain_id: int, refined: int, first: Ints) -> Ints | None:
        """Return the place along one map of each cell of a refinement; None for the same."""
        key = (one, domain_id, refined)
        if key not in self._places:
            found = self.of[one][first]
            same = len(found) == int(self.of[one].max(initial=-1)) + 1 and bool(
                (found == np.arange(len(found))).all()
            )
            self._places[key] = None if same else found
        return self._places[key]


@dataclass
class _Draft:
    """What a plan is made from."""

    roles: tuple[str, ...]
    sizes: dict[str, int]
    first: Mapping[str, Ints]
    relations: list[Relation]
    sums: Sequence[SumCondition]
    domains: dict[str, Ints]
    certain: bool
    ceiling: float
    last: str | None
    late: frozenset[str]
    leading: str | None
    memo: Memo
    share: bool
    kept: bool
    cases: Sequence[Mapping[str, Ints]] = ()
    bundle: Bundle | None = None


class _Planner:
    """Works out steps, once for all cases."""

    def __init__(self, draft: _Draft) -> None:
        self.draft = draft
        # What maps together tell apart hangs on nothing but themselves.
        self.maps: _Maps = draft.memo.setdefault(("maps",), _Maps())
        self.domain_ids: dict[bytes, int] = draft.memo.setdefault(("domains",), {})
        self.steps: list[Step] = []
        self.by_key: dict[tuple[Any, ...], int] = {}
        self.relation_keys: dict[tuple[Any, ...], int] = {}
        self.live: dict[tuple[int, tuple[int, ...]], Relation] = {}
        self.chains: dict[tuple[Any, ...], Sequence[Chain]] = {}
        self.rank = {v: n for n, v in enumerate(draft.roles)}
        self.bundle = draft.bundle
        self.firsts: dict[tuple[Any, ...], tuple[str, ...]] = {}
        self._seen: dict[tuple[Any, ...], tuple[Relation, Relation]] = {}

    def domain_id(self, domain: Ints) -> int:
        return self.domain_ids.setdefault(domain.tobytes(), len(self.domain_ids))

    def one_kind(self, variable: str, domain: Ints) -> int:
        """Return the number of the map that tells nothing apart."""
        size = self.draft.sizes.get(variable, len(domain))
        return self.maps.number(np.zeros(size, dtype=np.intp))

    # -- one case ------------------------------------------------------

    def within(self, domains: Mapping[str, Ints]) -> tuple[list[Relation], list[Running]] | None:
        """Return what is left of relations and sums in some domains; None where nothing can be."""
        ids = {v: self.domain_id(d) for v, d in domains.items()}
        found: list[Relation] = []
        running: list[Running] = []
        for n, relation in enumerate(self.draft.relations):
            key = (n, tuple(ids[v] for v in relation.scope))
            if key not in self.live:
                full = all(len(domains[v]) == len(self.draft.domains[v]) for v in relation.scope)
                self.live[key] = relation if full else reduced(relation, domains)
            left = self.live[key]
            if left.scope:
                found.append(left)
            elif not left.allowed:
                return None
        wide: list[int] = []
        for n in range(len(self.draft.sums)):
            one = self._as_relation(n, domains)
            if one is not None and one.scope:
                one = self._bundled(one)
            if one is None:
                wide.append(n)
            elif one.scope:
                found.append(one)
            elif not one.allowed:
                return None
        chains = self._chains(wide, domains, ids, found)
        for chain in chains:
            running.extend(chain.running)
            if chain.last is not None:
                if not chain.last.scope:
                    return None
                found.append(chain.last)
        return found, running

    def _bundled(self, relation: Relation) -> Relation:
        """Return a relation over the tuples of the bundle, if there is one."""
        if self.bundle is None or not any(v in self.bundle.at for v in relation.scope):
            return relation
        key = (id(relation),)
        if key not in self._seen:
            self._seen[key] = self.bundle.seen(relation), relation
        return self._seen[key][0]

    def _chains(
        self,
        wide: Sequence[int],
        domains: Mapping[str, Ints],
        ids: Mapping[str, int],
        beside: Sequence[Relation],
    ) -> Sequence[Chain]:
        """Return sums that are too large for tables as running sums, shared ones first."""
        sums, bundle = [self.draft.sums[n] for n in wide], self.bundle
        roles = dict.fromkeys(r for s in sums for t in s.terms for r in t.roles)
        key = (*wide, *(ids[r] for r in roles))
        if not wide or key in self.chains:
            return self.chains.get(key, ())
        most, tag = self.draft.ceiling / 64, f"/{len(self.chains)}"
        ties = Counter(v for r in beside for v in r.scope)
        every = [frozenset(s.roles) for s in self.draft.sums]
        within = domains
        if bundle is not None:
            group = (*bundle.roles, bundle.outer)
            within = {**domains, **{r: self.draft.domains[r] for r in group}}
        terms = [
            terms_of(
                s,
                self.draft.first,
                domains if bundle is None or s.name not in bundle.values else within,
                certain=self.draft.certain,
            )
            for s in sums
        ]
        terms = [t for t in terms if not t.holds]
        try:
            decided: list[Running] = []
            of_bundle: list[Terms] = []
            if bundle is not None:
                of_bundle = [bundle.summed(t) for t in terms if t.condition.name in bundle.values]
                terms = [t for t in terms if t.condition.name not in bundle.values]
            if self.draft.share:
                terms, decided = shared(terms, domains, ties, every, tag=tag, most_cells=most)
            terms = [*of_bundle, *(self._led(t, beside) for t in terms)]
            found = [Chain(tuple(decided), None)]
            found += [
                chain_of_terms(t, tag=f"{tag}.{n}", most_cells=most) for n, t in enumerate(terms)
            ]
        except TooWideSumError as error:
            (name,) = {s.joint.name for s in sums if s.name == str(error)}
            tied = next(s.roles for s in sums if s.name == str(error))
            raise TooWideError(math.inf, self.draft.ceiling, tied, (name,)) from error
        used = {v for c in found[1:] for r in c.running for v in r.of}
        used |= {v for c in found if c.last is not None for v in c.last.scope}
        kept: list[Running] = []
        for sum_ in reversed(decided):  # one that no condition asks for any more is left out
            if sum_.name in used:
                kept.append(sum_)
                used.update(sum_.of)
        found[0] = Chain(tuple(reversed(kept)), None)
        if bundle is not None:
            found = [
                Chain(
                    tuple(bundle.decided(r) for r in chain.running),
                    None if chain.last is None else bundle.seen(chain.last),
                )
                for chain in found
            ]
        self.chains[key] = found
        return found

    def _led(self, terms: Terms, beside: Sequence[Relation]) -> Terms:
        """Return a sum with what the leading role adds last, where that leaves it fewer cells.

        What roles come to that it does not meet otherwise is then one axis of its step, with a
        cell for each value that it may add; elsewhere each of them is an axis.
        """
        role = self.draft.leading
        met = {v for r in beside if role in r.scope for v in r.scope}
        own = [v for v in terms.values if v[0] == (role,)]
        rest = [v for v in terms.values if v[0] != (role,)]
        strange = math.prod(
            size
            for roles, _, values in rest
            for v, size in zip(roles, values.shape, strict=True)
            if v not in met
        )
        if math.prod(len(distinct(values)) for *_, values in own) > strange:
            return terms
        return replace(terms, values=(*rest, *own))

    def _as_relation(self, n: int, domains: Mapping[str, Ints]) -> Relation | None:
        """Return a sum as one relation, None where it has too many cells."""
        condition = self.draft.sums[n]
        certain = self.draft.certain
        if self.draft.leading in condition.roles and len(condition.roles) > _LED:
            return None  # what the others come to is one axis beside the role, not one of each
        key = (condition.name, certain, *(domains[r].tobytes() for r in condition.roles))
        if key not in self.draft.memo:
            self.draft.memo[key] = relation_of_sum(
                condition,
                self.draft.first,
                domains,
                certain=certain,
                most_cells=_AS_TABLE,
            )
        found: Relation | None = self.draft.memo[key]
        return found

    def case(self, domains: Mapping[str, Ints]) -> _CasePlan | None:
        """Return the order of elimination of a case, with its work."""
        check()
        domains = dict(domains)
        if self.bundle is not None:
            domains[self.bundle.name] = self.bundle.domain(domains)
            domains[self.bundle.sum] = np.arange(self.bundle.size, dtype=np.intp)
        left = self.within(domains)
        if left is None:
            return None
        relations, running = left
        for sum_ in running:
            domains[sum_.name] = np.arange(sum_.size, dtype=np.intp)
        if self.bundle is None:
            plain = _CasePlan(self, domains, relations, running)
            if plain.work <= _CHEAP:
                return plain
        through = self._through_kinds(relations, domains)
        if self.bundle is None and through is None:
            return plain
        kinds = _CasePlan(self, *(through or (domains, relations)), running)
        return kinds if self.bundle is not None else min(plain, kinds, key=lambda c: c.work)

    def _through_kinds(
        self, relations: Sequence[Relation], domains: Mapping[str, Ints]
    ) -> tuple[dict[str, Ints], list[Relation]] | None:
        """Return relations with what some of them see of a role as a variable of its own.

        A clamp is tied to a bar by one of five kinds, to a stack by its exact height; so the
        bar waits for the kind, not for the clamp.
        """
        seen: dict[str, list[Ints]] = {}
        wide: set[str] = set()
        for relation in relations:
            for role, of_base, size in zip(
                relation.scope, relation.maps, relation.allowed.shape, strict=True
            ):
                tuples = self.bundle is not None and role == self.bundle.name
                if size > (_PRESENCE if tuples else _SEEN):
                    wide.add(role)
                elif tuples or role in self.draft.sizes:
                    seen.setdefault(role, []).append(of_base)
        kinds = {}
        for role, columns in seen.items():
            # The outer role of tuples is an axis of their message as it is.
            if role == self.draft.leading or (self.bundle and role == self.bundle.outer):
                continue
            if role in wide:
                of_base, first = combined(columns, domains[role])
                if 1 < len(first) <= _MOST_SEEN:
                    kinds[role] = of_base, first
        if not kinds:
            return None
        found = []
        for relation in relations:
            scope, maps = list(relation.scope), list(relation.maps)
            for axis, role in enumerate(relation.scope):
                tuples = self.bundle is not None and role == self.bundle.name
                narrow = _PRESENCE if tuples else _SEEN
                if role in kinds and relation.allowed.shape[axis] <= narrow:
                    scope[axis] = f"kind of {role}"
                    maps[axis] = maps[axis][kinds[role][1]]
            if tuple(scope) == relation.scope:
                found.append(relation)
                continue
            key = (id(relation), *(m.tobytes() for m in maps))
            if key not in self._seen:
                made = replace(relation, scope=tuple(scope), maps=tuple(maps))
                self._seen[key] = made, relation
            found.append(self._seen[key][0])
        domains = dict(domains)
        for role, (of_base, first) in kinds.items():
            every = np.arange(len(first), dtype=np.intp)
            domains[f"kind of {role}"] = every
            key = (role, of_base.tobytes())
            if key not in self._seen:
                eye = np.eye(len(first), dtype=bool)
                made = Relation((role, f"kind of {role}"), (of_base, every), eye, ())
                self._seen[key] = made, made
            found.append(self._seen[key][0])
        return domains, found

    # -- steps ---------------------------------------------------------

    def also(self, variable: str, running: Running | None, bundle: Bundle | None) -> dict[str, int]:
        """Return what a step is over beside its parts, each as the number of a map."""
        number = self.maps.number
        if running is not None:
            return {v: number(m) for v, m in zip(running.of, running.maps, strict=True)}
        if bundle is not None:
            return {
                bundle.name: number(np.arange(bundle.tuples, dtype=np.intp)),
                bundle.outer: number(bundle.place),
                bundle.sum: number(np.arange(bundle.size, dtype=np.intp)),
            }
        return {}

    def step(
        self,
        variable: str,
        mine: Sequence[_Live],
        domains: Mapping[str, Ints],
        running: Running | None,
        bundle: Bundle | None,
    ) -> tuple[int, dict[str, int]]:
        """Return the place of a step, and its message's scope as numbers of maps."""
        maps = self.maps
        domain = domains[variable]
        domain_id = self.domain_id(domain)
        also = self.also(variable, running, bundle)
        key = (
            variable,
            domain_id,
            tuple(sorted(f.key for f in mine)),
            tuple(sorted({(v, self.domain_id(domains[v])) for f in mine for v in f.scope})),
            tuple((v, number, self.domain_id(domains[v])) for v, number in also.items()),
        )
        if key in self.by_key:
            place = self.by_key[key]
            step = self.steps[place]
            return place, {
                v: maps.number(c) for v, c in zip(step.separator, step.cell_of, strict=True)
            }
        own = {f.scope[variable] for f in mine}
        if variable in also:  # every tuple is a kind, in the order in which they are sorted
            own = {also[variable]}
        kind_id, kind_first = maps.combine(
            domain_id, domain, tuple(sorted(own)) or (self.one_kind(variable, domain),)
        )
        kinds = len(kind_first)
        ids: dict[str, set[int]] = {}
        for f in mine:
            for v, m in f.scope.items():
                if v != variable:
                    ids.setdefault(v, set()).add(m)
        for v, number in also.items():
            if v != variable:
                ids.setdefault(v, set()).add(number)
        cells: dict[str, tuple[int, Ints]] = {}
        for v in sorted(ids, key=lambda v: (self.rank.get(v, len(self.rank)), v)):
            cells[v] = maps.combine(self.domain_id(domains[v]), domains[v], tuple(sorted(ids[v])))
        separator = tuple(cells)
        where = {v: n for n, v in enumerate(separator)}
        parts = []
        for f in mine:
            at = list(f.scope).index(variable)
            others = [v for v in f.scope if v != variable]
            table = f.table
            if table is not None:
                table = np.moveaxis(table, at, 0)
            parts.append(
                Part(
                    f.child,
                    table,
                    at,
                    maps.places(f.scope[variable], domain_id, kind_id, kind_first),
                    tuple(where[v] for v in others),
                    tuple(
                        maps.places(f.scope[v], self.domain_id(domains[v]), *cells[v])
                        for v in others
                    ),
                )
            )
        decided = None
        if running is not None:
            a, b = running.of
            pair = math.prod(len(cells[v][1]) for v in running.of)
            if 16.0 * pair > self.draft.ceiling:
                tied = (self.draft.roles, tuple(n for f in mine for n in f.names))
                raise TooWideError(16.0 * pair, self.draft.ceiling, *tied)
            places = [
                of_base[cells[v][1]] for v, of_base in zip(running.of, running.maps, strict=True)
            ]
            kind_map = maps.of[kind_id].astype(np.min_scalar_type(max(kinds - 1, 0)))
            kind_at = running.table
            for axis, place_of in enumerate(places):
                whole = np.arange(kind_at.shape[axis])
                if not np.array_equal(place_of, whole):
                    kind_at = kind_at.take(place_of, axis=axis)
            decided = (where[a], where[b], kind_map[kind_at])
        summed = None
        if bundle is not None:
            summed = Summed(
                where[bundle.outer],
                where[bundle.sum],
                bundle.runs,
                bundle.place[cells[bundle.outer][1]],
                maps.of[cells[bundle.sum][0]],
                domain,
            )
        kind_of = np.full(len(maps.of[kind_id]), -1, dtype=np.intp)
        kind_of[domain] = maps.of[kind_id][domain]
        shape = tuple(len(cells[v][1]) for v in separator)
        below = frozenset({variable} & self.draft.sizes.keys()).union(
            *(self.steps[f.child].below for f in mine if f.child >= 0)
        )
        names = tuple(dict.fromkeys(n for f in mine for n in f.names))
        step = Step(
            variable,
            variable in self.draft.sizes,
            domain,
            kind_of,
            kinds,
            separator,
            tuple(maps.of[cells[v][0]] for v in separator),
            shape,
            tuple(parts),
            *_grouped(parts, kinds, shape, whole=running is not None or bundle is not None),
            decided,
            summed,
            below,
            kinds * math.prod(shape) / (1 if bundle is None else shape[where[bundle.sum]]),
            names,
        )
        place = len(self.steps)
        self.steps.append(step)
        self.by_key[key] = place
        return place, {v: cells[v][0] for v in separator}


def _group(parts: Sequence[Part], numbers: Sequence[int], kinds: int) -> Group:
    axes = tuple(sorted({a for n in numbers for a in parts[n].axes}))
    maps = [parts[n].kind for n in numbers]
    few = None
    if maps and all(m is not None for m in maps):
        place, first = combined([m for m in maps if m is not None], np.arange(kinds))
        if _FEW * len(first) <= kinds:
            few = (first, place)
    return Group(tuple(numbers), axes, few)


#: Work below which a step is done as it comes, and what starting a block costs.
_SMALL, _BLOCK = 20_000, 50_000

#: How many times fewer kinds a group has to tell apart to be put over them first.
_FEW = 3


_Grouped = tuple[tuple[Group, ...], tuple[int, ...], dict[int, Ints]]


def _grouped(parts: Sequence[Part], kinds: int, shape: Sequence[int], *, whole: bool) -> _Grouped:
    """Return how to multiply parts out: two groups that meet, and bridges between them.

    A bridge is over axes of both groups, but tells few of their cells apart; the groups meet
    block by block of cells that are alike to it.
    """
    if not parts:
        return (), (), {}
    everything: _Grouped = ((_group(parts, range(len(parts)), kinds),), (), {})
    scopes = sorted({p.axes for p in parts if p.axes}, key=lambda s: (len(s), s))

    @functools.cache
    def cells(axes: int) -> float:
        """Return how many cells some axes have, a bit an axis."""
        return float(math.prod(n for a, n in enumerate(shape) if axes >> a & 1))

    bits = [sum(1 << a for a in s) for s in scopes]
    every = functools.reduce(operator.or_, bits, 0)
    if whole or every.bit_count() < 2 or kinds * cells(every) < _SMALL or len(scopes) > 6:
        return everything
    coarse = {  # how many blocks a scope as bridge makes of each of its axes
        s: {
            a: max(
                shape[a] if c is None else int(c.max(initial=0)) + 1
                for p in parts
                if p.axes == s
                for b, c in zip(p.axes, p.cells, strict=True)
                if b == a
            )
            for a in s
        }
        for s in scopes
    }
    told = {  # how many kinds a scope tells apart at the most
        s: min(
            math.prod(
                kinds if p.kind is None else int(p.kind.max(initial=0)) + 1
                for p in parts
                if p.axes == s
            ),
            kinds,
        )
        for s in scopes
    }
    size = {s: sum(p.axes == s for p in parts) for s in scopes}
    best: tuple[float, tuple[int, ...] | None] = (kinds * cells(every) * len(parts), None)
    for roles in itertools.product((0, 1, 2), repeat=len(scopes)):
        sides = [0, 0]
        for mine, r in zip(bits, roles, strict=True):
            if r < 2:
                sides[r] |= mine
        if not sides[0] or not sides[1] or sides[0] | sides[1] != every:
            continue
        apart, many = [1, 1], [0, 0]
        blocks: dict[int, int] = {}
        for s, r in zip(scopes, roles, strict=True):
            if r == 2:
                for a, n in coarse[s].items():
                    blocks[a] = min(blocks.get(a, 1) * n, shape[a])
            else:
                apart[r] = min(apart[r] * told[s], kinds)
                many[r] += size[s]
        few = 0 if apart[0] <= apart[1] else 1
        fewest = apart[few] if _FEW * apart[few] <= kinds else kinds
        cost = (
            fewest * cells(sides[few]) * many[few]
            + kinds * cells(sides[1 - few]) * (many[1 - few] + 1)
            + fewest * cells(every) / 16
            + math.prod(blocks.values()) * (_BLOCK if blocks else 0)
        )
        if cost < best[0]:
            best = (cost, roles)
    if best[1] is None:
        return everything
    role_of = dict(zip(scopes, best[1], strict=True))
    of_side: list[list[int]] = [[], [], []]
    for n, part in enumerate(parts):
        if part.axes:
            of_side[role_of[part.axes]].append(n)
    groups = [_group(parts, side, kinds) for side in of_side[:2]]

    def distinct(group: Group) -> int:
        return kinds if group.few is None else len(group.few[0])

    groups.sort(key=distinct)  # the first is put over the kinds that it tells apart
    bridged: dict[int, Ints] = {}
    for n in of_side[2]:
        for axis, cells_of in zip(parts[n].axes, parts[n].cells, strict=True):
            places = np.arange(shape[axis]) if cells_of is None else cells_of
            if axis in bridged:
                places = combined([bridged[axis], places], np.arange(shape[axis]))[0]
            bridged[axis] = places
    unary = [n for n, part in enumerate(parts) if not part.axes]
    if unary:
        groups[1] = _group(parts, [*groups[1].parts, *unary], kinds)
    return tuple(groups), tuple(of_side[2]), bridged


class _CasePlan:
    """One case while it is worked out."""

    def __init__(
        self,
        planner: _Planner,
        domains: Mapping[str, Ints],
        relations: Sequence[Relation],
        running: Sequence[Running],
    ) -> None:
        self.planner, self.domains = planner, domains
        self.running = {r.name: r for r in running}
        bundle = planner.bundle
        #: The tuples decide their sum only where something asks for it.
        self.bundle = bundle
        if bundle is not None and not any(bundle.sum in r.scope for r in relations):
            self.bundle = None
        roles = planner.draft.roles
        known = {*roles, *self.running}
        others = dict.fromkeys(v for r in relations for v in r.scope if v not in known)
        if self.bundle is not None:
            others[self.bundle.name] = None
        self.variables = [*roles, *others, *self.running]
        maps = planner.maps
        self.live = [
            _Live(
                planner.relation_keys.setdefault((id(r),), len(planner.relation_keys)),
                {v: maps.number(m) for v, m in zip(r.scope, r.maps, strict=True)},
                r.allowed,
                -1,
                r.names,
            )
            for r in relations
        ]
        self.kept = relations
        self.found = self._order()

    @property
    def work(self) -> float:
        """Return the work of all steps."""
        return self.found.work

    def _extra(self, variable: str) -> tuple[Running | None, Bundle | None]:
        bundle = self.bundle
        mine = bundle if bundle is not None and bundle.name == variable else None
        return self.running.get(variable), mine

    def _order(self) -> Order:
        """Return the order of elimination."""
        planner = self.planner
        extras: dict[str, Extra] = {}
        apart = frozenset[str]()
        waits: dict[str, set[str]] = {}
        for r in self.running.values():  # what decides a running sum goes after it
            extras[r.name] = Extra(planner.also(r.name, r, None), frozenset(), True)
            for v in r.of:
                waits.setdefault(v, set()).add(r.name)
        if self.bundle is not None:  # and what tuples decide, after the tuples
            name, outer, sum_ = self.bundle.name, self.bundle.outer, self.bundle.sum
            also = planner.also(name, None, self.bundle)
            extras[name] = Extra(also, frozenset({sum_}), False)
            for v in (outer, sum_):
                waits.setdefault(v, set()).add(name)
            apart = frozenset({name, sum_})
        last = planner.draft.last
        if last is not None:
            waits[last] = {v for v in self.variables if v != last}
        late = planner.draft.late
        for role in late:
            waits[role] = waits.get(role, set()) | {v for v in self.variables if v not in late}
        leading = planner.draft.leading
        if leading is not None:
            before, waiting = {leading}, [*waits.get(leading, ())]
            while waiting:  # the running sums that it decides, and those that these decide
                v = waiting.pop()
                if v not in before:
                    before.add(v)
                    waiting += waits.get(v, ())
            for v in self.variables:
                if v not in before:
                    waits.setdefault(v, set()).add(leading)

        domain_ids = {v: planner.domain_id(self.domains[v]) for v in self.variables}
        sizes: dict[tuple[str, frozenset[int]], tuple[int, int]] = {}

        def size(variable: str, ids: frozenset[int]) -> tuple[int, int]:
            found = sizes.get((variable, ids))
            if found is None:
                number, first = planner.maps.combine(
                    domain_ids[variable], self.domains[variable], tuple(sorted(ids))
                )
                found = sizes[variable, ids] = len(first), number
            return found

        tangle = Tangle(self.variables, [f.scope for f in self.live], extras, waits, apart, size)
        if self.bundle is not None:
            self._tuples_first(tangle, waits)
        return best_order(tangle, _CHEAP, TRIES if planner.draft.kept and self.bundle else 0)

    def _tuples_first(self, tangle: Tangle, waits: dict[str, set[str]]) -> None:
        """Let all that only tuples and the outer role are tied to go first, as in every case.

        So that the step of the tuples, which is the widest, stands once for all cases.
        """
        assert self.bundle is not None
        planner, name = self.planner, self.bundle.name
        ends = {name, f"kind of {name}", self.bundle.outer, self.bundle.sum}
        tied: dict[str, set[str]] = {v: set() for v in self.variables}
        for scope in (*tangle.scopes, *(r.of for r in self.running.values())):
            for v in scope:
                tied[v].update(scope)
        for r in self.running.values():
            for v in r.of:
                tied[v].add(r.name)
                tied[r.name].add(v)
        reached, waiting = set(ends), [*tied[self.bundle.sum] - ends]
        while waiting:
            v = waiting.pop()
            if v not in reached:
                reached.add(v)
                waiting += tied[v] - reached
        below = [v for v in self.variables if v not in reached]
        scopes = [f for f in self.live if any(v in f.scope for v in below)]
        key = (
            *below,
            *(f.key for f in scopes),
            *(planner.domain_id(self.domains[v]) for f in scopes for v in f.scope),
        )
        if key not in planner.firsts:
            only = replace(tangle, variables=below, scopes=[f.scope for f in scopes], waits={})
            planner.firsts[key] = best_order(only).variables
        order = [*planner.firsts[key], name]
        for before, v in itertools.pairwise(order):
            waits.setdefault(v, set()).add(before)
        for v in self.variables:
            if v not in order:
                waits.setdefault(v, set()).add(name)

    def finish(self) -> Case:
        """Make the steps."""
        planner = self.planner
        live = list(self.live)
        places: list[int] = []
        roots: list[int] = []
        for variable in self.found.variables:
            mine = [f for f in live if variable in f.scope]
            live = [f for f in live if variable not in f.scope]
            place, scope = planner.step(variable, mine, self.domains, *self._extra(variable))
            places.append(place)
            if scope:
                names = planner.steps[place].names
                live.append(_Live(-1 - place, scope, None, place, names))
            else:
                roots.append(place)
        return Case(tuple(places), tuple(roots))


def _conditions(draft: _Draft) -> dict[str, list[Ints]]:
    """Return what roles are split by: what wide relations and sums ask of presence."""
    found: dict[str, dict[bytes, Ints]] = {}

    def add(role: str, of_base: Ints) -> None:
        if draft.late and role not in draft.late:
            return  # a choice of the late roles has to be in one case only
        if role == draft.leading:
            return  # and all that go with the same rest together
        domain = draft.domains[role]
        if 1 < len(distinct(of_base[domain])) <= _NARROW:
            place = np.unique(of_base, return_inverse=True)[1].astype(np.intp)
            found.setdefault(role, {})[place.tobytes()] = place

    for relation in draft.relations:
        if len(relation.scope) > 2 and relation.allowed.size > _WIDE:
            for role, of_base, size in zip(
                relation.scope, relation.maps, relation.allowed.shape, strict=True
            ):
                if size <= _NARROW:
                    add(role, of_base)
    for condition in draft.sums:
        for role, class_of in presence_axes(condition):
            add(role, class_of[draft.first[role]])
    return {role: list(maps.values()) for role, maps in found.items()}


def _cases(draft: _Draft, splits: Mapping[str, Sequence[Ints]]) -> Iterator[dict[str, Ints]]:
    """Yield the domains of every case."""
    choices = []
    for role, maps in splits.items():
        domain = draft.domains[role]
        of_base, first = combined(maps, domain)
        choices.append([(role, domain[of_base[domain] == n]) for n in range(len(first))])
    for chosen in itertools.product(*choices):
        yield {**draft.domains, **dict(chosen)}


def make_plan(
    roles: Sequence[str],
    sizes: Mapping[str, int],
    first: Mapping[str, Ints],
    relations: Sequence[Relation],
    sums: Sequence[SumCondition] = (),
    *,
    certain: bool,
    ceiling: float = CEILING,
    domains: Mapping[str, Ints] = MappingProxyType({}),
    last: str | None = None,
    late: frozenset[str] = frozenset(),
    leading: str | None = None,
    memo: Memo | None = None,
) -> Plan:
    """Return a plan.

    Parameters
    ----------
    roles : sequence of str
        All variables.
    sizes : mapping of str to int
        The number of base classes of each.
    first : mapping of str to ndarray of int
        One option of each base class, as sum conditions look options up.
    relations : sequence of Relation
        The joints.
    sums : sequence of SumCondition
        Conditions on sums.
    certain : bool
        Whether sums count at their worst.
    ceiling : float
        Bytes that a pass may need.
    domains : mapping of str to ndarray of int
        The base classes that may be used, of roles of which not all may.
    last : str, optional
        A role that goes last.
    late : frozenset of str
        Roles that go after all others.
    leading : str, optional
        A role that goes before all others, so that each cell of its step stands for what the
        rest of a build asks of it.
    memo : dict, optional
        Carries what plans have in common from one to the next.

    Raises
    ------
    TooWideError
        If a pass would need more.
    """
    # A plan for one question is not worth a long search for the best order.
    kept = last is None and not domains
    domains = {r: domains.get(r, np.arange(sizes[r], dtype=np.intp)) for r in roles}
    nothing = Plan(tuple(roles), dict(sizes), (), (), last, ceiling, leading)
    if not all(len(domains[r]) for r in roles):
        return nothing
    tidy = [reduced(r, domains) for r in relations]
    if any(not r.scope and not r.allowed for r in tidy):
        return nothing
    tidy = merged((r for r in tidy if r.scope), domains)
    domains = supported(tidy, domains)
    if not all(len(d) for d in domains.values()):
        return nothing
    tidy = [reduced(r, domains) for r in tidy]
    if any(not r.scope and not r.allowed for r in tidy):
        return nothing
    draft = _Draft(
        tuple(roles),
        dict(sizes),
        first,
        [r for r in tidy if r.scope],
        sums,
        domains,
        certain,
        ceiling,
        last,
        late,
        leading,
        {} if memo is None else memo,
        share=True,
        kept=kept,
    )
    # A shared sum ties its conditions together; where a role has to go last, or that is too
    # much, each stands alone.
    share = last is None and leading is None
    tuples = share and not late and leading is None
    first_draft = _with_bundle(draft) if tuples else replace(draft, share=share)
    try:
        plan = _finished(first_draft)
    except NoOrderError:  # no order keeps the tuples apart from what they decide
        return _without_bundle(draft)
    if plan.bytes > ceiling and first_draft.bundle is None:
        plan = min(plan, _finished(replace(draft, share=not share)), key=lambda p: p.bytes)
    elif leading is not None and plan.looked > _LOOKED:
        plan = min(plan, _finished(replace(draft, share=not share)), key=lambda p: p.looked)
    plan.refuse(plan.bytes)
    return plan


def _with_bundle(draft: _Draft) -> _Draft:
    """Return a draft with roles that large sums share as sorted tuples, where that is worth it."""
    planner = _Planner(draft)
    wide = [s for n, s in enumerate(draft.sums) if planner._as_relation(n, draft.domains) is None]
    if not wide:
        return draft
    cases = list(_cases(draft, _splits(draft)))
    bundle = bundle_of(
        wide,
        draft.sums,
        draft.relations,
        draft.first,
        draft.domains,
        cases,
        certain=draft.certain,
        worth=bundles.WORTH,
        most_cells=draft.ceiling / 64,
    )
    if bundle is None:
        return draft
    relations = [bundle.seen(r) for r in draft.relations if not bundle.keeps(r)]
    domains = {
        bundle.name: np.arange(bundle.tuples, dtype=np.intp),
        bundle.sum: np.arange(bundle.size, dtype=np.intp),
    }
    return replace(
        draft,
        relations=[*relations, *bundle.parts()],
        domains={**draft.domains, **domains},
        cases=cases,
        bundle=bundle,
    )


def _without_bundle(draft: _Draft) -> Plan:
    """Return the smaller of the plans in which sums are shared, and in which they stand alone."""
    found: list[Plan] = []
    refused: TooWideError | None = None
    for share in (True, False):
        try:
            found.append(_finished(replace(draft, share=share)))
        except TooWideError as error:
            refused = error
    if refused is not None and not found:
        raise refused
    plan = min(found, key=lambda p: p.bytes)
    plan.refuse(plan.bytes)
    return plan


def _finished(draft: _Draft) -> Plan:
    planner = _Planner(draft)
    steps_of = [case.finish() for case in _chosen(planner)]
    return Plan(
        draft.roles,
        draft.sizes,
        tuple(planner.steps),
        tuple(steps_of),
        draft.last,
        draft.ceiling,
        draft.leading,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Ingredients:
    """What plans of one catalogue are made from, without the catalogue.

    Parameters
    ----------
    roles, sizes, first, relations, sums, certain, ceiling
        As in :func:`make_plan`.
    """

    roles: tuple[str, ...]
    sizes: Mapping[str, int]
    first: Mapping[str, Ints]
    relations: Sequence[Relation]
    sums: Sequence[SumCondition]
    certain: bool
    ceiling: float

    def plan(
        self,
        domains: Mapping[str, Ints],
        *,
        sums: frozenset[str] | None = None,
        last: str | None = None,
        late: frozenset[str] = frozenset(),
        leading: str | None = None,
        memo: Memo | None = None,
    ) -> Plan:
        """Return a plan over some classes.

        Parameters
        ----------
        domains, last, late, leading, memo
            As in :func:`make_plan`.
        sums : frozenset of str, optional
            Names of the conditions on sums that count; all by default.

        Raises
        ------
        TooWideError
            If a pass would need more memory than the ceiling.
        """
        return make_plan(
            self.roles,
            self.sizes,
            self.first,
            self.relations,
            [s for s in self.sums if sums is None or s.name in sums],
            certain=self.certain,
            ceiling=self.ceiling,
            domains=domains,
            last=last,
            late=late,
            leading=leading,
            memo=memo,
        )


def _chosen(planner: _Planner) -> list[_CasePlan]:
    """Return the cases to work out: one, or several where that is less work."""
    draft = planner.draft
    if draft.bundle is not None:
        of_cases = [planner.case(domains) for domains in draft.cases]
        return [case for case in of_cases if case is not None]
    whole = planner.case(draft.domains)
    if whole is None:
        return []
    if whole.work <= _CHEAP:
        return [whole]
    splits = _splits(draft)
    if not splits:
        return [whole]
    several = [planner.case(domains) for domains in _cases(draft, splits)]
    kept = [case for case in several if case is not None]
    return kept if sum(case.work for case in kept) < whole.work else [whole]


def _splits(draft: _Draft) -> dict[str, list[Ints]]:
    """Return what roles are split by, for no more cases than are looked at."""
    splits = _conditions(draft)
    sizes = {role: len(combined(maps, draft.domains[role])[1]) for role, maps in splits.items()}
    while math.prod(sizes.values()) > _MOST_CASES:
        worst = max(sizes, key=sizes.__getitem__)
        del sizes[worst], splits[worst]
    return splits
