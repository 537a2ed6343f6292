"""Builds found by search: options as bits, joints and sums that narrow what is left of each role.

A question about a few parts is asked many times over, each time with other elements dropped. A
pass along the whole plan answers it for everything at once; to know whether anything is
left, it is quicker to look for one build. Every joint keeps its roles consistent with one another
(generalised arc consistency), every sum with what the others can still add to it, and what a
joint makes of given domains is remembered. Roles are decided one after the other: first the one
with few classes left over whose joints and sums the search failed often [3]_.

References
----------
.. [1] A. K. Mackworth, "Consistency in networks of relations", Artificial Intelligence 8 (1977)
   99-118 (reference checked).
.. [2] C. Lecoutre, F. Hemery, "A study of residual supports in arc consistency", IJCAI 2007,
   125-130, for remembering what supports a value (reference checked).
.. [3] F. Boussemart, F. Hemery, C. Lecoutre, L. Sais, "Boosting systematic search by weighting
   constraints", ECAI 2004, 146-150 (reference checked).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping, Sequence
from operator import itemgetter
from typing import Any, TypeVar

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.graph.classes import distinct_rows, used_classes
from fitgraph.graph.sums import SumCondition
from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.solve.carried_sums import STEPS, in_steps
from fitgraph.solve.relations import Relation, merged
from fitgraph.solve.space import Space
from fitgraph.stopping import check

_Array = TypeVar("_Array", Bools, Floats)

#: What is left of each role: a bit for each class.
Domains = list[int]

#: Decisions after which a search is given up.
PATIENCE = 4_000

#: Answers that one joint remembers.
_REMEMBERED = 50_000

_EDGE = -EPSILON_MM * STEPS


class TooLongError(RuntimeError):
    """A search would take too many decisions."""


def as_bits(mask: Bools) -> int:
    """Return the places of a mask as bits."""
    return int.from_bytes(np.packbits(mask, bitorder="little").tobytes(), "little")


def as_mask(bits: int, size: int) -> Bools:
    """Return bits as a mask of so many places."""
    raw = np.frombuffer(bits.to_bytes((size + 7) // 8, "little"), dtype=np.uint8)
    return np.unpackbits(raw, count=size, bitorder="little").astype(bool)


def least_of_classes(space: Space, role: str, mask: Bools, cost: Floats) -> Floats:
    """Return the least cost among some options of a role, for each class; infinite for none."""
    least = np.full(space.sizes[role], np.inf)
    at = np.flatnonzero(mask)
    np.minimum.at(least, space.class_of[role][at], cost[at])
    return least


class _Seen(dict[int, int]):
    """What joints and sums see of the classes left of one role: the places of all, side by side.

    A joint that only asks whether a part is there sees two places, however many classes are
    left; so what it makes of them is remembered under few keys.
    """

    def __init__(self, size: int) -> None:
        super().__init__()
        self.of_class = [0] * size
        self._width = 0

    def add(self, of_base: Ints) -> tuple[int, int]:
        """Add an axis; return where its places begin, and how many there are."""
        start, size = self._width, int(of_base.max(initial=-1)) + 1
        self.of_class = [
            seen | 1 << (start + at)
            for seen, at in zip(self.of_class, of_base.tolist(), strict=True)
        ]
        self._width += size
        return start, size

    def __missing__(self, left: int) -> int:
        if len(self) > _REMEMBERED:
            self.clear()
        of_class, seen, rest = self.of_class, 0, left
        while rest:
            lowest = rest & -rest
            seen |= of_class[lowest.bit_length() - 1]
            rest ^= lowest
        self[left] = seen
        return seen


#: An axis: the role, what is seen of it, where the places begin, a mask of them, their number.
_Axis = tuple[int, _Seen, int, int, int]


def _axes(roles: Sequence[int], maps: Sequence[Ints], seen: Sequence[_Seen]) -> list[_Axis]:
    found = []
    for role, of_base in zip(roles, maps, strict=True):
        start, size = seen[role].add(of_base)
        found.append((role, seen[role], start, (1 << size) - 1, size))
    return found


def _others(axes: Sequence[_Axis]) -> list[list[_Axis]]:
    return [[other for other in axes if other is not axis] for axis in axes]


def _key(axes: Sequence[_Axis], left: Domains) -> int:
    """Return what is left of some axes as one number."""
    key = 0
    for role, seen, start, mask, size in axes:
        key = key << size | seen[left[role]] >> start & mask
    return key


def _places(axes: Sequence[_Axis], key: int) -> list[Bools]:
    """Return the places that a number stands for, a mask an axis."""
    found = []
    for _, _, _, mask, size in reversed(axes):
        found.append(as_mask(key & mask, size))
        key >>= size
    return found[::-1]


def _last(values: _Array, axis: int) -> _Array:
    """Return a view with one axis last."""
    others = [n for n in range(values.ndim) if n != axis]
    return values.transpose(*others, axis)


class _Narrowing(ABC):
    """What narrows the options that are left of some roles."""

    def __init__(self, roles: tuple[int, ...]) -> None:
        self.roles = roles
        #: Returns what is left of its roles.
        self.of_roles = itemgetter(*roles)
        #: What was left of its roles when it narrowed nothing.
        self.quiet: set[Any] = set()

    @abstractmethod
    def narrow(self, left: Domains) -> list[int] | None:
        """Narrow what is left; return the roles concerned, None where nothing is left."""

    def keep_quiet(self, before: Any) -> None:
        """Remember that it narrows nothing where so much of its roles is left."""
        if len(self.quiet) > _REMEMBERED:
            self.quiet.clear()
        self.quiet.add(before)


class _Joint(_Narrowing):
    """A relation between classes of some roles."""

    def __init__(self, relation: Relation, place: Mapping[str, int], seen: Sequence[_Seen]) -> None:
        super().__init__(tuple(place[r] for r in relation.scope))
        self._maps = relation.maps
        #: For each axis, the table with that axis last.
        self._allowed = [_last(relation.allowed, n) for n in range(len(self.roles))]
        self._rest = _others(_axes(self.roles, relation.maps, seen))
        self._memo: list[dict[int, int]] = [{} for _ in self.roles]
        #: For each axis of a pair, the classes that go with each place of the other, as bits.
        self._beside: list[list[int] | None] = [None for _ in self.roles]

    def narrow(self, left: Domains) -> list[int] | None:
        changed = []
        for axis, role in enumerate(self.roles):
            key = 0
            for other, seen, start, mask, size in self._rest[axis]:
                key = key << size | seen[left[other]] >> start & mask
            memo = self._memo[axis]
            fine = memo.get(key)
            if fine is None:
                if len(memo) > _REMEMBERED:
                    memo.clear()
                fine = memo[key] = self._supported(axis, key)
            now = left[role] & fine
            if now != left[role]:
                if not now:
                    return None
                left[role] = now
                changed.append(role)
        return changed

    def _supported(self, axis: int, key: int) -> int:
        allowed = self._allowed[axis]
        if len(self.roles) == 2:
            beside = self._beside[axis]
            if beside is None:
                beside = [as_bits(row) for row in allowed[:, self._maps[axis]]]
                self._beside[axis] = beside
            fine = 0
            while key:
                lowest = key & -key
                fine |= beside[lowest.bit_length() - 1]
                key ^= lowest
            return fine
        for places in _places(self._rest[axis], key):
            allowed = np.logical_or.reduce(allowed[places], axis=0)
        return as_bits(allowed[self._maps[axis]])


class _Addend:
    """What some roles add to a sum: one axis a role, over the classes that it tells apart."""

    def __init__(
        self,
        roles: tuple[int, ...],
        maps: tuple[Ints, ...],
        values: Floats,
        seen: Sequence[_Seen],
    ) -> None:
        self.roles, self._maps, self._values = roles, maps, values
        #: For each axis, the values with that axis last.
        self._last = [_last(values, n) for n in range(len(roles))]
        self._axes = _axes(roles, maps, seen)
        self._rest = _others(self._axes)
        self.of_roles = itemgetter(*roles)
        #: Its ends by what is left of its roles, and by what it sees of that.
        self.known_ends: dict[Any, tuple[float, float]] = {}
        self._ends: dict[int, tuple[float, float]] = {}
        #: Of a single axis, its places from the least value up, each as a bit.
        self._rising: list[tuple[int, float]] = []
        if len(roles) == 1:
            order = np.argsort(values, kind="stable").tolist()
            self._rising = [(1 << at, float(values[at])) for at in order]
        self._levels: list[dict[int, tuple[list[float], list[int]]]] = [{} for _ in roles]

    def ends(self, left: Domains) -> tuple[float, float]:
        """Return the least and the most that is left of it."""
        mine = self.of_roles(left)
        found = self.known_ends.get(mine)
        if found is None:
            key = _key(self._axes, left)
            found = self._ends.get(key)
            if len(self.known_ends) > _REMEMBERED:
                self.known_ends.clear()
                self._ends.clear()
            if found is None:
                found = self._ends[key] = self._ends_of(key)
            self.known_ends[mine] = found
        return found

    def _ends_of(self, key: int) -> tuple[float, float]:
        if self._rising:
            least = next(value for place, value in self._rising if key & place)
            return least, next(value for place, value in reversed(self._rising) if key & place)
        values = self._values
        for axis, places in enumerate(_places(self._axes, key)):
            values = values.compress(places, axis)
        return float(values.min()), float(values.max())

    def at_least(self, axis: int, left: Domains, need: float) -> int:
        """Return the classes of a role with which it can come to at least so much."""
        key = _key(self._rest[axis], left)
        memo = self._levels[axis]
        found = memo.get(key)
        if found is None:
            if len(memo) > _REMEMBERED:
                memo.clear()
            found = memo[key] = self._levels_of(axis, key)
        levels, classes = found
        at = bisect_left(levels, need)
        return classes[at] if at < len(classes) else 0

    def _levels_of(self, axis: int, key: int) -> tuple[list[float], list[int]]:
        values = self._last[axis]
        for places in _places(self._rest[axis], key):
            values = np.maximum.reduce(values[places], axis=0)
        of_class = values[self._maps[axis]]
        levels = sorted(set(of_class.tolist()))
        return levels, [as_bits(of_class >= level) for level in levels]


class _Sum(_Narrowing):
    """A sum that must not be negative."""

    def __init__(self, name: str, addends: Sequence[_Addend]) -> None:
        super().__init__(tuple(r for a in addends for r in a.roles))
        self.name, self.addends = name, addends

    def narrow(self, left: Domains) -> list[int] | None:
        ends = [a.known_ends.get(a.of_roles(left)) or a.ends(left) for a in self.addends]
        least_of_all = spare = -_EDGE
        for least, most in ends:
            spare += most
            least_of_all += least
        if spare < 0:
            return None
        changed: list[int] = []
        if least_of_all >= 0:
            return changed
        for addend, (least, most) in zip(self.addends, ends, strict=True):
            if most - least <= spare:
                continue
            for axis, role in enumerate(addend.roles):
                now = left[role] & addend.at_least(axis, left, most - spare)
                if now != left[role]:
                    if not now:
                        return None
                    left[role] = now
                    changed.append(role)
        return changed

    def breakable(self, left: Domains) -> bool:
        """Return whether something that is left breaks it."""
        return sum(a.ends(left)[0] for a in self.addends) < _EDGE

    def holds(self, found: Domains) -> bool:
        """Return whether one class of each role keeps it."""
        return sum(a.ends(found)[1] for a in self.addends) >= _EDGE


def _addends(
    condition: SumCondition,
    place: Mapping[str, int],
    first: Mapping[str, Ints],
    seen: Sequence[_Seen],
    *,
    certain: bool,
) -> list[_Addend]:
    """Return what a sum adds up, terms that share a role made one."""
    groups: list[tuple[set[str], list[int]]] = []
    for n, term in enumerate(condition.terms):
        roles, members = set(term.roles), [n]
        for group in [g for g in groups if g[0] & roles]:
            roles |= group[0]
            members = [*group[1], *members]
            groups.remove(group)
        groups.append((roles, members))
    found = []
    for among, members in groups:
        terms = [condition.terms[n] for n in members]
        roles_ = [r for r in condition.roles if r in among]
        if len(terms) == len(roles_) == 1:
            of_class, same = used_classes(terms[0].class_of[0][first[roles_[0]]])
            values = in_steps(terms[0].worst if certain else terms[0].best)[of_class]
            found.append(_Addend((place[roles_[0]],), (same,), values, seen))
            continue
        kinds = {}
        for role in roles_:
            columns = [
                t.class_of[t.roles.index(role)][first[role]] for t in terms if role in t.roles
            ]
            at, same = distinct_rows(np.column_stack(columns))
            kinds[role] = first[role][at], same
        total = np.zeros([len(kinds[r][0]) for r in roles_])
        for term in terms:
            values = in_steps(term.worst if certain else term.best)
            order = sorted(range(len(term.roles)), key=lambda n: roles_.index(term.roles[n]))
            at_ = np.ix_(*(term.class_of[n][kinds[term.roles[n]][0]] for n in order))
            spread = [len(kinds[r][0]) if r in term.roles else 1 for r in roles_]
            total += np.transpose(values, order)[at_].reshape(spread)
        maps = tuple(kinds[r][1] for r in roles_)
        found.append(_Addend(tuple(place[r] for r in roles_), maps, total, seen))
    return found


class Network:
    """The joints and sums of a compiled catalogue, for finding builds.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    certain : bool
        Whether a build has to be certain, not only possible.
    apart : bool
        Whether joints stand each by itself, so that where names of sums that count are asked for,
        those of joints are as well.
    """

    def __init__(self, space: Space, *, certain: bool, apart: bool = False) -> None:
        self.space, self.certain = space, certain
        self.roles = space.roles
        self.sizes = [space.sizes[r] for r in self.roles]
        self._place = place = {r: n for n, r in enumerate(self.roles)}
        made = space.ingredients(certain=certain)
        every = {r: np.arange(n, dtype=np.intp) for r, n in space.sizes.items()}
        relations = made.relations if apart else merged(made.relations, every)
        self.never = any(not r.scope and not r.allowed.all() for r in relations)
        seen = [_Seen(n) for n in self.sizes]
        joints = [_Joint(r, place, seen) for r in relations if r.scope]
        self.sums = [
            _Sum(c.name, _addends(c, place, made.first, seen, certain=certain)) for c in space.sums
        ]
        self._narrowing: list[_Joint | _Sum] = [*joints, *self.sums]
        #: Names without which something does not count, with its place.
        self._named = [(s.name, n) for n, s in enumerate(self.sums, start=len(joints))]
        if apart:
            of_joints = (r.names[0] for r in relations if r.scope)
            self._named += [(name, n) for n, name in enumerate(of_joints)]
        self._touching = [
            sum(1 << n for n, c in enumerate(self._narrowing) if role in c.roles)
            for role in range(len(self.roles))
        ]
        self._near: dict[frozenset[str] | None, list[int]] = {None: self._touching}
        self._hint: Domains = [0] * len(self.roles)
        self._begin()

    def _begin(self) -> None:
        """Forget what made the last search hard, so that an answer does not depend on it."""
        self._decisions = 0
        self._failed = [1] * len(self.roles)

    def _next(self, left: Domains, among: Iterable[int]) -> int | None:
        """Return the role to decide next, None where all are: few classes, many failures."""
        failed, found, least = self._failed, None, np.inf
        for role in among:
            bits = left[role]
            if bits & (bits - 1):
                value = bits.bit_count() / failed[role]
                if value < least:
                    found, least = role, value
        if found is not None:
            self._decisions += 1
            if self._decisions > PATIENCE:
                raise TooLongError
        return found

    def domains(self, lets: Mapping[str, Bools]) -> Domains:
        """Return options that may be used as what is left of each role."""
        return [self.classes(role, lets[role]) for role in self.roles]

    def classes(self, role: str, mask: Bools) -> int:
        """Return the classes of some options of a role."""
        of_class = np.zeros(self.sizes[self._place[role]], dtype=bool)
        of_class[self.space.class_of[role][mask]] = True
        return as_bits(of_class)

    def roles_of_sums(self, sums: frozenset[str] | None = None) -> frozenset[int]:
        """Return the places of the roles that some sums are over; all sums by default."""
        return frozenset(r for s in self.sums if sums is None or s.name in sums for r in s.roles)

    def _touched(self, sums: frozenset[str] | None) -> list[int]:
        """Return for each role what narrows it, as bits: the joints, and the sums that count."""
        if sums not in self._near:
            off = sum(1 << n for name, n in self._named if name not in (sums or ()))
            self._near[sums] = [of & ~off for of in self._touching]
        return self._near[sums]

    def _narrow(self, left: Domains, near: list[int], roles: Iterable[int]) -> bool:
        """Narrow what is left from some roles on; return whether anything is.

        What waits is a set of bits, the lowest first: joints, which are quick, before sums.
        """
        narrowing = self._narrowing
        waiting = 0
        for role in roles:
            waiting |= near[role]
        while waiting:
            lowest = waiting & -waiting
            waiting ^= lowest
            one = narrowing[lowest.bit_length() - 1]
            before = one.of_roles(left)
            if before in one.quiet:
                continue
            changed = one.narrow(left)
            if changed:
                again = 0
                for role in changed:
                    again |= near[role]
                waiting |= again & ~lowest
            elif changed is None:
                for role in one.roles:
                    self._failed[role] += 1
                return False
            else:
                one.keep_quiet(before)
        return True

    def narrowed(self, left: Domains, sums: frozenset[str] | None = None) -> Domains | None:
        """Return what is left after joints and sums have narrowed it, None where nothing is."""
        if self.never or not all(left):
            return None
        left = list(left)
        return left if self._narrow(left, self._touched(sums), range(len(left))) else None

    def tightened(
        self,
        root: Domains,
        left: Domains,
        sums: frozenset[str] | None = None,
        also: Collection[int] = (),
    ) -> Domains | None:
        """Return what is left of what :meth:`narrowed` left, and of other domains.

        Parameters
        ----------
        root : list of int
            Narrowed before; only what differs from it has to be looked at again.
        left : list of int
            The classes that may be used.
        sums
            As in :meth:`build`.
        also : collection of int
            Places of roles to look at all the same, because more sums count than before.
        """
        both = [a & b for a, b in zip(root, left, strict=True)]
        if not all(both):
            return None
        changed = [n for n, bits in enumerate(both) if bits != root[n] or n in also]
        return both if self._narrow(both, self._touched(sums), changed) else None

    def within(
        self, left: Domains, role: str, classes: int, sums: frozenset[str] | None = None
    ) -> Domains | None:
        """Return what is left of what :meth:`narrowed` leaves with fewer classes of one role."""
        at = self.roles.index(role)
        left = list(left)
        left[at] &= classes
        return left if left[at] and self._narrow(left, self._touched(sums), (at,)) else None

    def build(
        self, left: Domains, sums: frozenset[str] | None = None, *, ready: bool = False
    ) -> Domains | None:
        """Return a build: one class of each role, as bits.

        Parameters
        ----------
        left : list of int
            The classes that may be used.
        sums : frozenset of str, optional
            Names of the sums that count; all by default.
        ready : bool
            Whether `left` comes from :meth:`narrowed`.

        Returns
        -------
        list of int or None
            None where there is none.

        Raises
        ------
        TooLongError
            If it takes too many decisions.
        """
        start = left if ready else self.narrowed(left, sums)
        if start is None:
            return None
        self._begin()
        near = self._touched(sums)
        # Most of an earlier build often does again.
        like = [bits & hint or bits for bits, hint in zip(start, self._hint, strict=True)]
        changed = [n for n, bits in enumerate(like) if bits != start[n]]
        found = self._decided(like, near) if self._narrow(like, near, changed) else None
        if found is None:
            found = self._decided(list(start), near, self._hint)
        if found is not None:
            self._hint = found
        return found

    def _decided(
        self, left: Domains, near: list[int], hint: Domains | None = None
    ) -> Domains | None:
        """Return a build within what narrowing left; where it can, like an earlier one."""
        while True:
            role = self._next(left, range(len(left)))
            if role is None:
                return left
            one = left[role] & -left[role]
            if hint is not None and left[role] & hint[role]:
                one = hint[role]
            child = list(left)
            child[role] = one
            if self._narrow(child, near, (role,)):
                found = self._decided(child, near, hint)
                if found is not None:
                    return found
            left[role] &= ~one
            if not self._narrow(left, near, (role,)):
                return None

    def cheapest(
        self,
        left: Domains,
        cost: Mapping[str, Sequence[float]],
        sums: frozenset[str] | None = None,
        *,
        ready: bool = False,
    ) -> Domains | None:
        """Return a build of least cost.

        Parameters
        ----------
        left, sums, ready
            As in :meth:`build`.
        cost : mapping of str to sequence of float
            What each class of some roles costs.

        Returns
        -------
        list of int or None
            None where there is no build.

        Raises
        ------
        TooLongError
            If it takes too many decisions.
        """
        start = left if ready else self.narrowed(left, sums)
        if start is None:
            return None
        self._begin()
        search = _Cheapest(self, self._touched(sums), cost)
        search.look(list(start))
        return search.best

    def through(
        self,
        left: Domains,
        role: str,
        sums: frozenset[str] | None = None,
        *,
        ready: bool = False,
    ) -> int:
        """Return the classes of a role, as bits, that are in some build.

        Parameters
        ----------
        left, sums, ready
            As in :meth:`build`.
        role : str
            The role.

        Raises
        ------
        TooLongError
            If it takes too many decisions.
        """
        start = left if ready else self.narrowed(left, sums)
        if start is None:
            return 0
        at, near = self.roles.index(role), self._touched(sums)
        found, asked = 0, start[at]
        self._begin()
        while asked:
            check()
            some = list(start)
            some[at] = asked
            if not self._narrow(some, near, (at,)):
                break
            build = self._decided(some, near)
            if build is None:
                break
            # Whatever goes with the rest of this build is known as well.
            build[at] = start[at]
            self._narrow(build, near, [r for r in range(len(build)) if r != at])
            found |= build[at]
            asked &= ~found
        return found


class _Cheapest:
    """Branch and bound: roles that cost something are decided first, the cheapest class first."""

    def __init__(
        self, network: Network, near: list[int], cost: Mapping[str, Sequence[float]]
    ) -> None:
        self.network, self.near = network, near
        self.cost = {network.roles.index(r): c for r, c in cost.items()}
        self.least = np.inf
        self.best: Domains | None = None
        self._memo: dict[tuple[int, int], tuple[float, int]] = {}

    def _cheap(self, role: int, bits: int) -> tuple[float, int]:
        """Return the least cost among some classes, and the class."""
        key = role, bits
        if key not in self._memo:
            of_class = self.cost[role]
            members = [n for n in range(bits.bit_length()) if bits >> n & 1]
            best = min(members, key=lambda n: of_class[n])
            self._memo[key] = of_class[best], 1 << best
        return self._memo[key]

    def look(self, left: Domains) -> None:
        """Look for cheaper builds among what is left."""
        network = self.network
        while True:
            cheap = {role: self._cheap(role, left[role]) for role in self.cost}
            total = sum(c for c, _ in cheap.values())
            if not total < self.least:
                return
            role = network._next(left, self.cost)
            if role is None:
                found = network._decided(list(left), self.near)
                if found is not None:
                    self.least, self.best = total, found
                return
            one = cheap[role][1]
            child = list(left)
            child[role] = one
            if network._narrow(child, self.near, (role,)):
                self.look(child)
            left[role] &= ~one
            if not network._narrow(left, self.near, (role,)):
                return
