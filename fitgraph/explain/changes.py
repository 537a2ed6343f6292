"""All minimal changes that make an impossible combination possible, the best first."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field, replace
from enum import Enum

import numpy as np

from fitgraph.array_types import Bools, Floats
from fitgraph.explain.elements import AskedElements
from fitgraph.explain.kinds import Kinds, Reduced, reduce
from fitgraph.explain.least_cost import Factor, Least
from fitgraph.explain.narrowed import within
from fitgraph.explain.network import Domains, Network, TooLongError, as_mask, least_of_classes
from fitgraph.graph.options import length_of
from fitgraph.model import Option, Vocabulary
from fitgraph.records import dataclass
from fitgraph.solve.algebra import COUNT
from fitgraph.solve.best import Criteria, k_best
from fitgraph.solve.draft import Memo
from fitgraph.solve.messages import Demands
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Plan
from fitgraph.solve.query import TENTHS
from fitgraph.solve.space import Space
from fitgraph.solve.support import support_of
from fitgraph.stopping import check

#: The kinds of change, in the order in which equal ones are told: what the
#: workshop can do to the part comes before another part.
ADD, SERVICE, LEAVE_OUT, SWAP = "add", "service", "leave out", "swap"

#: Changes of what is asked for rather than of a part.
RAISE_BUDGET, LOOSEN_MASS = "raise the budget", "loosen the mass limit"
OTHER_MATERIAL, ORDER = "take another material", "order"


class Prefer(Enum):
    """What the person who asks would rather keep low."""

    OWNED = "owned"
    PRICE = "price"
    MASS = "mass"
    WORK = "work"


@dataclass(frozen=True, slots=True)
class Action:
    """One step of a change.

    Parameters
    ----------
    kind : str
        What is done, one of the kinds above.
    role : str
        To which role; empty for a limit.
    before, after : Option
        What fills it.
    amount : float or None
        For a limit: by how much it moves, in minor currency units or g.
    """

    kind: str
    role: str
    before: Option
    after: Option
    amount: float | None = None

    @property
    def services(self) -> tuple[str, ...]:
        """Return the services that the step has done."""
        kept = self.before.services if self.before.part == self.after.part else ()
        return tuple(s for s in self.after.services if s not in kept)

    @property
    def price(self) -> int:
        """Return what the step costs, in minor currency units; a limit costs nothing."""
        if self.kind not in (ADD, SERVICE, LEAVE_OUT, SWAP):
            return 0
        part = self.after.part
        same = part is None or part == self.before.part
        own = 0 if same or part is None else (part.price or 0)
        return own + self.after.service_price - (self.before.service_price if same else 0)

    @property
    def mass_change_g(self) -> float | None:
        """Return what the step adds to the mass, in g; None where that is not known."""
        if self.kind not in (ADD, SERVICE, LEAVE_OUT, SWAP):
            return 0.0
        before, after = self.before.mass_g, self.after.mass_g
        if self.before.part is not None and self.before.part == self.after.part:
            return self.after.service_mass_g - self.before.service_mass_g
        return None if before is None or after is None else after - before

    def minutes(self, vocabulary: Vocabulary) -> float:
        """Return the workshop time of the step, in minutes."""
        return sum(vocabulary.services[s].minutes for s in self.services)

    def height_change_mm(self, vocabulary: Vocabulary) -> float | None:
        """Return what the step adds to the length that the trade weighs by, in mm.

        None where it is not known; zero where the step leaves it alone.
        """
        source = vocabulary.weigh
        if source is None or source.length.role != self.role or self.before.empty:
            return 0.0
        before, after = (length_of(o, source.length) for o in (self.before, self.after))
        if before is None or after is None:
            return None
        if not (before.known and after.known):
            # Of one part the figure may be unknown and still the shift is not.
            if self.before.part != self.after.part or source.length.feature is None:
                return None
            key = (source.length.feature, source.length.name)
            return sum(vocabulary.services[s].shifts.get(key, 0.0) for s in self.services)
        return round(after.mid - before.mid, 6)


@dataclass(frozen=True, slots=True)
class Change:
    """A smallest set of steps after which everything fits.

    Parameters
    ----------
    actions : tuple of Action
        The steps, none of which can be dropped.
    alternatives : int
        How many parts could take the last step's place; 1 where only this one.
    minutes : float
        Workshop time, in minutes.
    height_change_mm : float or None
        What it adds to the length that the trade weighs by (a bar's height);
        None where it is not known.
    parts_kept : int
        How many of the named parts stay.
    build : mapping of str to Option
        A whole build that it leads to.
    dropped : int
        The elements of the question that go, as bits.
    build_price : int or None
        For a request: what the whole build costs, in minor currency units.
    build_mass_g : float or None
        For a request: what it weighs; None where a mass is not known.
    held : Action or None
        Where the only step puts in a part that has to be ordered: the cheapest step instead whose
        part is on the shelf.
    """

    actions: tuple[Action, ...]
    alternatives: int = 1
    minutes: float = 0.0
    height_change_mm: float | None = 0.0
    parts_kept: int = 0
    build: Mapping[str, Option] = field(default_factory=dict, compare=False)
    dropped: int = field(default=0, compare=False)
    build_price: int | None = None
    build_mass_g: float | None = None
    held: Action | None = None

    @property
    def price(self) -> int:
        """Return what the change costs, in minor currency units."""
        return sum(a.price for a in self.actions)

    @property
    def mass_change_g(self) -> float | None:
        """Return what the change adds to the mass, in g; None where that is not known."""
        each = [a.mass_change_g for a in self.actions]
        return None if None in each else sum(m for m in each if m is not None)

    @property
    def to_order(self) -> tuple[str, ...]:
        """Return which parts it puts in that no piece is held of; none: it can be done today."""
        put = [a.after.part for a in self.actions if a.kind in (ADD, SWAP, OTHER_MATERIAL, ORDER)]
        return tuple(p.sku for p in put if p is not None and p.stock < 1)


def height_change(actions: Sequence[Action], vocabulary: Vocabulary) -> float | None:
    """Return what steps add to the length that the trade weighs by; None where not known."""
    each = [a.height_change_mm(vocabulary) for a in actions]
    return None if None in each else sum(h for h in each if h is not None)


def rank(change: Change, prefer: Prefer) -> tuple[object, ...]:
    """Return the key by which changes are sorted: the best is least."""
    return sort_key(change, prefer, change.price, change.mass_change_g)


def sort_key(
    change: Change, prefer: Prefer, price: int, mass_g: float | None
) -> tuple[object, ...]:
    """Return the key by which changes are sorted that come to a price and a mass."""
    heavy = np.inf if mass_g is None else mass_g
    steps = [a.kind for a in change.actions]
    rest = (price, len(steps), steps, [a.after.label for a in change.actions])
    return {
        Prefer.OWNED: (-change.parts_kept, *rest),
        Prefer.PRICE: rest,
        Prefer.MASS: (heavy, *rest),
        Prefer.WORK: (change.minutes, -change.parts_kept, *rest),
    }[prefer]


def combined(first: Mapping[str, Floats], second: Mapping[str, Floats]) -> dict[str, Floats]:
    """Return costs of which the second only decides between equals of the first.

    Whole numbers stay exact: where the sum would leave float64's, the first
    counts alone.
    """
    low = {r: s - s.min(initial=0.0) for r, s in second.items()}
    step = 1.0 + sum(float(s.max(initial=0.0)) for s in low.values())
    most = sum(float(np.abs(f).max(initial=0.0)) for f in first.values())
    if step * (1.0 + most) >= 2.0**53:
        return dict(first)
    return {r: f * step + low[r] for r, f in first.items()}


#: Stands for a mass that nobody knows, in tenths of a gram: behind all known ones.
_HEAVY = 1e8


def costs(question: AskedElements, prefer: Prefer) -> dict[str, Floats]:
    """Return what each option costs in the eyes of the person who asks."""
    vocabulary = question.space.catalogue.vocabulary
    price = dict(question.price)
    if prefer is Prefer.MASS:
        mass = {
            r: np.where(np.isnan(m), _HEAVY, np.rint(np.nan_to_num(m) * TENTHS))
            for r, m in question.space.mass_g.items()
        }
        return combined(mass, price)
    minutes = {
        r: np.array([sum(vocabulary.services[s].minutes for s in o.services) for o in options])
        for r, options in question.space.options.items()
    }
    # Tenths of a minute, so that sums are exact.
    tenths = {r: np.rint(m * TENTHS) for r, m in minutes.items()}
    return combined(tenths, price) if prefer is Prefer.WORK else combined(price, tenths)


#: Marks of options in place of a named part: nothing, or another part. Neither stands in for
#: the other, because "leave it out" and "take another" are different advice.
_NOTHING, _ANOTHER = np.uint8(64), np.uint8(128)


def _marked(question: AskedElements, chosen: Mapping[str, int]) -> AskedElements:
    broken = dict(question.broken)
    for role in chosen:
        void = question.space.facts[role].void
        other = broken[role] & 1 > 0  # the first bit: not the named part
        broken[role] = broken[role] | np.where(void, _NOTHING, _ANOTHER) * other
    return replace(question, broken=broken)


def _codes(question: AskedElements, dropped: int) -> dict[str, list[int]]:
    """Return, of each role that some elements concern, the codes that break just these.

    A part that goes is either left out or swapped for another.
    """
    shares: dict[str, list[int]] = {}
    for role, codes in question.broken.items():
        here = [
            (code, question.broken_by(role, code))
            for code in sorted(set(codes[question.allowed[role]].tolist()))
        ]
        mine = dropped & sum(1 << n for n in _places(question, role))
        if mine:
            shares[role] = [code for code, broken in here if broken == mine]
    return shares


def _ways(question: AskedElements, dropped: int) -> Iterator[dict[str, int]]:
    """Yield, for each way to drop some elements, the code of the roles concerned."""
    shares = _codes(question, dropped)
    for choice in itertools.product(*shares.values()):
        yield dict(zip(shares, choice, strict=True))


def _places(question: AskedElements, role: str) -> set[int]:
    return {place for place in question.meaning[role] if place is not None}


def changes(
    kinds: Kinds,
    question: AskedElements,
    drops: Sequence[int],
    chosen: Mapping[str, int],
    prefer: Prefer = Prefer.OWNED,
) -> list[Change]:
    """Return the smallest changes that make a combination fit for certain.

    Parameters
    ----------
    kinds : Kinds
        Compiled for what is certain.
    question : AskedElements
        Whether parts fit together.
    drops : sequence of int
        Every smallest set of elements to drop, from
        :func:`fitgraph.explain.conflicts.minimal_drops`.
    chosen : mapping of str to int
        The option that fills each named role now.
    prefer : Prefer
        By what the parts of each change are chosen and the changes sorted.

    Returns
    -------
    list of Change
        For every set, and every way to leave out or swap, the best there is.
    """
    question = _marked(question, chosen)
    wished = costs(question, prefer)
    # What stays as it is costs nothing, so that only the steps are compared.
    cost = {r: np.where(question.broken[r] == 0, 0.0, c) for r, c in wished.items()}
    if kinds.space.sums:
        searched = _Searched(kinds.network, question, chosen, cost)
        return sorted(searched.changes(drops), key=lambda c: rank(c, prefer))
    ways = [(dropped, way) for dropped in drops for way in _ways(question, dropped) if way]
    reduced = reduce(kinds, question, cost=cost, whole={list(way)[-1] for _, way in ways})
    found = [
        change
        for dropped, way in ways
        if (change := _best(kinds, reduced, way, chosen, cost, dropped)) is not None
    ]
    return sorted(found, key=lambda c: rank(c, prefer))


def _best(
    kinds: Kinds,
    reduced: Reduced,
    way: Mapping[str, int],
    chosen: Mapping[str, int],
    cost: Mapping[str, Floats],
    dropped: int,
) -> Change | None:
    """Return the best change of one way, None where no build is left."""
    question = reduced.question
    last = list(way)[-1]
    at = {r: np.flatnonzero(codes == way.get(r, 0)) for r, codes in reduced.codes.items()}
    if not all(len(places) for places in at.values()):
        return None
    options = {r: reduced.options[r][places] for r, places in at.items()}
    tables = kinds.over({r: kinds.kind_of[r][of] for r, of in options.items()})
    factors: list[Factor] = [(t.roles, np.where(t.fails, np.inf, 0.0)) for t in tables]
    factors += [((r,), cost[r][options[r]]) for r in way]
    near = {r for roles, _ in factors for r in roles}
    solved = Least({r: len(of) for r, of in options.items() if r in near}, factors, last)
    if not np.isfinite(solved.least):
        return None
    places = {r: int(of[0]) for r, of in options.items()}
    places |= {r: int(options[r][n]) for r, n in solved.options().items()}
    open_kinds = kinds.kind_of[last][options[last]][np.isfinite(solved.values)]
    mask = question.allowed[last] & (question.broken[last] == way[last])
    open_ = mask & np.isin(kinds.kind_of[last], open_kinds)
    return _change(question, way, chosen, places, open_, dropped)


class _Searched:
    """Finds the best change of each way by a search for a build, which takes sums as well.

    Parameters
    ----------
    network : Network
        For what is certain.
    question : AskedElements
        With its options marked.
    chosen : mapping of str to int
        The option that fills each named role now.
    cost : mapping of str to ndarray of float
        What each option costs.
    """

    def __init__(
        self,
        network: Network,
        question: AskedElements,
        chosen: Mapping[str, int],
        cost: Mapping[str, Floats],
    ) -> None:
        self.network, self.question, self.chosen, self.cost = network, question, chosen, cost
        self._lets: dict[tuple[str, int], tuple[Bools, int]] = {}
        self._least: dict[tuple[str, int], list[float]] = {}

    def changes(self, drops: Sequence[int]) -> Iterator[Change]:
        """Yield the best change of each way to drop each of some sets of elements."""
        long: list[tuple[int, Mapping[str, int]]] = []
        root = self.network.narrowed(self.network.domains(self.question.allowed))
        if root is None:
            return
        for dropped in drops:
            codes = _codes(self.question, dropped)
            check()
            if not codes:
                continue
            left = []
            for role in self.network.roles:
                classes = 0
                for code in codes.get(role, [0]):
                    classes |= self._of(role, code)[1]
                left.append(classes)
            for way, narrow in self._open(self.network.tightened(root, left), codes, {}):
                try:
                    change = self._best(dropped, way, narrow)
                except TooLongError:
                    long.append((dropped, way))
                else:
                    if change is not None:
                        yield change
        yield from _passed(self.question, long, self.chosen, self.cost)

    def _of(self, role: str, code: int) -> tuple[Bools, int]:
        """Return the options of a role with a code, and their classes."""
        if (role, code) not in self._lets:
            mask = self.question.allowed[role] & (self.question.broken[role] == code)
            self._lets[role, code] = mask, self.network.classes(role, mask)
        return self._lets[role, code]

    def _open(
        self, left: Domains | None, codes: Mapping[str, Sequence[int]], way: dict[str, int]
    ) -> Iterator[tuple[dict[str, int], Domains]]:
        """Yield the ways that joints and sums leave open, with what is left of each role."""
        if left is None:
            return
        role = next((r for r in codes if r not in way), None)
        if role is None:
            yield way, left
            return
        for code in codes[role]:
            narrow = self.network.within(left, role, self._of(role, code)[1])
            yield from self._open(narrow, codes, {**way, role: code})

    def _best(self, dropped: int, way: Mapping[str, int], left: Domains) -> Change | None:
        """Return the best change of one way, None where no build is left."""
        network, space = self.network, self.question.space
        for role, code in way.items():
            if (role, code) not in self._least:
                mask = self._of(role, code)[0]
                least_here = least_of_classes(space, role, mask, self.cost[role])
                self._least[role, code] = least_here.tolist()
        least = {role: self._least[role, code] for role, code in way.items()}
        found = network.cheapest(left, least, ready=True)
        if found is None:
            return None
        last = list(way)[-1]
        open_ = as_mask(network.through(left, last, ready=True), space.sizes[last])
        places = {}
        for role, one in zip(network.roles, found, strict=True):
            mask = self._of(role, way.get(role, 0))[0]
            mask = mask & (space.class_of[role] == one.bit_length() - 1)
            places[role] = int(np.argmin(np.where(mask, self.cost[role], np.inf)))
        mask = self._of(last, way[last])[0]
        mask = mask & open_[space.class_of[last]]
        return _change(self.question, way, self.chosen, places, mask, dropped)


def _passed(
    question: AskedElements,
    ways: Sequence[tuple[int, Mapping[str, int]]],
    chosen: Mapping[str, int],
    cost: Mapping[str, Floats],
) -> Iterator[Change]:
    """Yield the best change of each way by passes over all builds, for long searches."""
    space = question.space
    alike: dict[frozenset[str], list[tuple[int, Mapping[str, int]]]] = {}
    for dropped, way in ways:
        alike.setdefault(frozenset(way), []).append((dropped, way))
    memo = Memo()
    for roles, mine in alike.items():
        lets = [
            {r: question.allowed[r] & (c == way.get(r, 0)) for r, c in question.broken.items()}
            for _, way in mine
        ]
        every = {r: np.logical_or.reduce([of[r] for of in lets]) for r in question.broken}
        plan = within(space, every, roles, memo)
        through = _through(space, plan, lets)
        rows = support_of(plan, np.inf)
        criteria = Criteria({r: np.array([cost[r]]) for r in cost}, np.zeros(0))
        for n, (dropped, way) in enumerate(mine):
            options, found = k_best(plan, space.class_of, lets[n], criteria, 1, rows)
            if not len(found):
                continue
            last = list(way)[-1]
            open_ = through[last][n][space.class_of[last]] > 0
            places = {r: int(at[0]) for r, at in options.items()}
            yield _change(question, way, chosen, places, lets[n][last] & open_, dropped)


def _through(space: Space, plan: Plan, lets: Sequence[Mapping[str, Bools]]) -> dict[str, Floats]:
    """Return, for each request and each class of each role, how many builds there are with it."""
    if not lets:
        return {}
    values = {}
    for role in plan.roles:
        values[role] = np.zeros((len(lets), plan.sizes[role]))
        for n, mask in enumerate(lets):
            values[role][n, space.class_of[role][mask[role]]] = 1.0
    every = np.arange(len(lets), dtype=np.intp)
    return Passes(plan, Demands(values, dict.fromkeys(values, every)), COUNT).each()


def _change(
    question: AskedElements,
    way: Mapping[str, int],
    chosen: Mapping[str, int],
    places: Mapping[str, int],
    alike: Bools,
    dropped: int,
) -> Change:
    """Return a change that leads to a build; `alike` could take the last step's place."""
    space = question.space
    build = {r: space.options[r][n] for r, n in places.items()}
    before = {r: space.options[r][chosen[r]] if r in chosen else Option(r, None) for r in way}
    actions = tuple(action(r, before[r], build[r]) for r in way)
    vocabulary = space.catalogue.vocabulary
    (*_, last) = way
    held = None
    at_hand = np.flatnonzero(alike & space.facts[last].stocked)
    put = build[last].part
    if len(way) == 1 and len(at_hand) and put is not None and put.stock < 1:
        cheapest = int(at_hand[np.argmin(question.price[last][at_hand])])
        held = action(last, before[last], space.options[last][cheapest])
    return Change(
        actions,
        int(alike.sum()),
        sum(a.minutes(vocabulary) for a in actions),
        height_change(actions, vocabulary),
        sum(build[r].part == space.options[r][n].part for r, n in chosen.items()),
        build,
        dropped,
        held=held if actions[0].kind in (ADD, SWAP) else None,
    )


def action(role: str, before: Option, after: Option) -> Action:
    """Return the step from one option of a role to another."""
    if after.part is None:
        return Action(LEAVE_OUT, role, before, after)
    if before.part == after.part:
        return Action(SERVICE, role, before, after)
    return Action(ADD if before.part is None else SWAP, role, before, after)
