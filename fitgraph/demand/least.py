"""The least cost of a build for thousands of questions at once, exactly.

Messages go up the plan as in :mod:`fitgraph.solve.passes`, but over the rows themselves
(:mod:`fitgraph.solve.support`): each step computes them once for every distinct set of menus
below it, and only over rows that these menus leave alive. So questions that differ in their
wheels share all the work above and beside them.

References
----------
.. [1] S. M. Aji, R. J. McEliece, "The generalized distributive law", IEEE Trans. Information
   Theory 46 (2000) 325-343 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.demand.clashes import clashing
from fitgraph.demand.in_reach import in_reach
from fitgraph.demand.least_rows import Lookup, least_of, least_of_nodes, least_row, runs_of
from fitgraph.demand.menus import Listing
from fitgraph.graph.classes import distinct_rows
from fitgraph.records import dataclass
from fitgraph.solve.arrays import dense, rank, spread
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.messages import Demands
from fitgraph.solve.plan import Step
from fitgraph.solve.support import Support
from fitgraph.stopping import check

#: Questions that are not worth a look at all pairs of roles beforehand.
_SINGLY = 16

#: Pairs of a question and a cell that a message may have.
_CELLS = 1 << 24


@dataclass(frozen=True, slots=True)
class _Offer:
    """One role's menus as costs of classes.

    ``used`` says for each question which of `best` is its own menu; ``alike`` which row of
    `cost`: menus of equal costs share one, and ``example`` is the place of one of them.
    """

    cost: Floats  # (n_alike, n_classes)
    best: Ints  # (n_used, n_classes)
    used: Ints
    alike: Ints
    example: Ints


@dataclass(frozen=True, slots=True)
class _Weighings:
    """What price and mass count, for each distinct way to weigh them."""

    price: Floats
    tenths: Floats
    weighed: Bools


def _weighings(
    weights: tuple[float, float] | Floats, weighed: bool | Bools, count: int
) -> tuple[_Weighings, Ints]:
    """Return the distinct weighings, and which of them each question has."""
    told = np.zeros((count, 3))
    told[:, :2], told[:, 2] = weights, weighed
    first, kind = dense([rank(column) for column in told.T])
    price, tenths, known = told[first].T
    return _Weighings(price, tenths, known > 0), kind


def _offer(listing: Listing, at: int, asked: Ints, kinds: _Weighings, kind: Ints) -> _Offer:
    many = len(kinds.price)
    numbers, used = np.unique(asked * many + kind, return_inverse=True)
    size = listing.sizes[listing.roles[at]]
    listed, chosen = [], []
    for number, k in zip((numbers // many).tolist(), (numbers % many).tolist(), strict=True):
        menu, weighed = listing.menu(at, number), bool(kinds.weighed[k])
        listed.append(menu)
        chosen.append(
            np.flatnonzero(menu.weighed | (not weighed))
            if many == 1
            else listing.useful(at, number, weighed=weighed)
        )
    of = np.repeat(np.arange(len(listed)), [len(c) for c in chosen])
    place, klass, price, tenths = (
        np.concatenate([getattr(m, name)[c] for m, c in zip(listed, chosen, strict=True)])
        for name in ("place", "klass", "price", "tenths")
    )
    by = (numbers % many)[of]
    value = kinds.price[by] * price + kinds.tenths[by] * tenths
    cost = np.full((len(listed), size), np.inf)
    best = np.full((len(listed), size), -1, dtype=np.intp)
    # The last written stays: the least, and the first of equals.
    order = np.lexsort((place, value))[::-1]
    cost[of[order], klass[order]] = value[order]
    best[of[order], klass[order]] = place[order]
    first, alike = distinct_rows(cost)
    return _Offer(cost[first], best, used.reshape(-1), alike[used.reshape(-1)], first)


@dataclass(slots=True)
class _Done:
    """What a step found: for each context and node the least value, and what it is made of."""

    context: Ints  # of each question; stale for those that died on the way
    message: Floats
    terms: Sequence[Lookup]


def cheapest(
    listing: Listing,
    asked: Ints,
    weights: tuple[float, float] | Floats,
    *,
    certain: bool,
    weighed: bool | Bools = False,
    witness: bool = False,
) -> tuple[Floats, Ints]:
    """Return the least cost of a build for each question, limits aside.

    Parameters
    ----------
    listing : Listing
        The menus that the questions name.
    asked : ndarray of int, shape (n_questions, n_roles)
        The number of each role's menu.
    weights : tuple of float, or ndarray of float, shape (n_questions, 2)
        What a minor currency unit and a tenth of a gram count: to all questions, or to each.
    certain : bool
        Whether builds that are only possible are left out.
    weighed : bool, or ndarray of bool, shape (n_questions,)
        Whether options of unknown mass are left out.
    witness : bool
        Whether a build of that cost is wanted as well.

    Returns
    -------
    values : ndarray of float, shape (n_questions,)
        Infinite where there is no build.
    places : ndarray of int, shape (n_questions, n_roles)
        The options of one cheapest build; -1 where there is none. Of shape
        (0, n_roles) where no witness is wanted.
    """
    roles = listing.roles
    if not len(asked):
        return np.zeros(0), np.zeros((0, len(roles)), dtype=np.intp)
    runs = listing.runs(certain=certain)
    nodes = max((s.nodes for s in runs.steps), default=1)
    size = max(1, _CELLS // max(nodes, 1))
    found = []
    for start in range(0, len(asked), size):
        check()
        piece = slice(start, start + size)
        found.append(
            _cheapest(
                listing,
                runs,
                asked[piece],
                weights if isinstance(weights, tuple) else weights[piece],
                weighed if isinstance(weighed, bool) else weighed[piece],
                certain,
                witness,
            )
        )
    return np.concatenate([v for v, _ in found]), np.concatenate([p for _, p in found])


def _cheapest(
    listing: Listing,
    runs: Support | Circuit,
    asked: Ints,
    weights: tuple[float, float] | Floats,
    weighed: bool | Bools,
    certain: bool,
    witness: bool,
) -> tuple[Floats, Ints]:
    roles = listing.roles
    kinds, kind = _weighings(weights, weighed, len(asked))
    offers = {r: _offer(listing, n, asked[:, n], kinds, kind) for n, r in enumerate(roles)}
    first, question = dense([o.alike for o in offers.values()])
    alike = {role: offer.alike[first] for role, offer in offers.items()}
    lets = {role: np.isfinite(offer.cost) for role, offer in offers.items()}
    left = np.arange(len(first))
    if len(first) > _SINGLY:
        left = np.flatnonzero(~clashing(listing.pairs(certain=certain), lets, alike))
    alike = {role: rows[left] for role, rows in alike.items()}
    some = {role: np.unique(rows) for role, rows in alike.items()}
    runs = in_reach(runs, {r: np.logical_or.reduce(lets[r][some[r]]) for r in roles}, len(left))
    done = _upward(runs, {r: o.cost for r, o in offers.items()}, alike, len(left))
    least, of_case = np.full(len(left), np.inf), np.full(len(left), -1, dtype=np.intp)
    for n, case in enumerate(runs.cases):
        value = np.zeros(len(left))
        for root in case.roots:
            value = value + done[root].message[done[root].context, 0]
        better = value < least
        least[better], of_case[better] = value[better], n
    values = np.full(len(first), np.inf)
    values[left] = least
    if not witness:
        return values[question], np.zeros((0, len(roles)), dtype=np.intp)
    places = np.full((len(first), len(roles)), -1, dtype=np.intp)
    for n, case in enumerate(runs.cases):
        live = np.flatnonzero(of_case == n)
        cells = {r: np.zeros(len(live), dtype=np.intp) for r in case.roots}
        for at in reversed(case.order if len(live) else ()):
            step, lines = runs.plan.steps[at], runs.steps[at]
            row = least_row(done[at].terms, lines, done[at].context[live], cells.pop(at))
            for child, after in lines.opened.items():
                cells[child] = after[row]
            if step.is_role:
                places[left[live], roles.index(step.variable)] = _best_of_kinds(
                    offers[step.variable], step, alike[step.variable][live], lines.kind[row]
                )
    own = places[question]
    for n, role in enumerate(roles):  # of menus that cost alike, each question's own option
        there = np.flatnonzero(own[:, n] >= 0)
        klass = listing.class_of[role][own[there, n]]
        own[there, n] = offers[role].best[offers[role].used[there], klass]
    return values[question], own


def least_through(runs: Circuit, demands: Demands, role: str) -> Floats:
    """Return the least that all others cost in a build with each class of one role.

    Parameters
    ----------
    runs : Circuit
        Its plan lets the role go first.
    demands : Demands
        What each class of each role costs, infinite where it is not let in; what they say of
        the role itself does not count.
    role : str
        The role.

    Returns
    -------
    ndarray of float, shape (n_questions, n_classes)
        Infinite where there is no build.
    """
    sizes = runs.plan.sizes
    if not demands.count:
        return np.zeros((0, sizes[role]))
    cost, alike = {role: np.zeros((1, sizes[role]))}, {}
    for other, values in demands.values.items():
        if other != role:
            first, same = distinct_rows(values)
            cost[other], alike[other] = values[first], same[demands.of[other]]
    first, question = dense(list(alike.values()) or [np.zeros(demands.count, dtype=np.intp)])
    alike = {other: rows[first] for other, rows in alike.items()}
    alike[role] = np.zeros(len(first), dtype=np.intp)
    whole = np.full((len(first), sizes[role]), np.inf)
    size = max(1, _CELLS // max([1, *(max(s.nodes, len(s.begin)) for s in runs.steps)]))
    for start in range(0, len(first), size):
        piece = slice(start, start + size)
        some = {other: rows[piece] for other, rows in alike.items()}
        _downward(runs, cost, some, role, whole[piece])
    return whole[question]


def _downward(
    runs: Circuit, cost: Mapping[str, Floats], alike: Mapping[str, Ints], role: str, into: Floats
) -> None:
    """Fill in the least cost through each class of a role, from the roots down to its steps."""
    plan, count = runs.plan, len(into)
    done = _upward(runs, cost, alike, count)
    outside: dict[int, Floats] = {}

    def reach(place: int, values: Floats) -> None:
        outside[place] = np.minimum(outside[place], values) if place in outside else values

    for case in runs.cases:
        values = {r: done[r].message[done[r].context, :1] for r in case.roots}
        for root in case.roots:
            if role in plan.steps[root].below:
                rest = np.zeros((count, 1))
                reach(root, sum((v for r, v in values.items() if r != root), start=rest))
    for place in range(len(plan.steps) - 1, -1, -1):
        around = outside.pop(place, None)
        if around is None:
            continue
        step, lines = plan.steps[place], runs.steps[place]
        runs_at = runs_of(lines)
        terms = [Lookup(runs_at.around(around), np.arange(count), runs_at.piece)]
        target, size = lines.kind, step.kinds
        if step.variable != role:
            for child, at in lines.opened.items():
                if role in plan.steps[child].below:
                    target, size, below = at, runs.steps[child].nodes, child
                else:
                    terms.append(Lookup(done[child].message, done[child].context, at))
            if step.is_role:
                own = _of_kinds(cost[step.variable], step)
                terms.append(Lookup(own, alike[step.variable], lines.kind))
        found = least_of(terms, target, size, count)
        if step.variable != role:
            reach(below, found)
            continue
        domain = step.domain
        into[:, domain] = np.minimum(into[:, domain], found[:, step.kind_of[domain]])


def _upward(
    runs: Support | Circuit, cost: Mapping[str, Floats], alike: Mapping[str, Ints], count: int
) -> list[_Done]:
    """Return what every step found, for costs of base classes and the row of each question."""
    done: list[_Done] = []
    for step, lines in zip(runs.plan.steps, runs.steps, strict=True):
        check()
        if not lines.nodes:  # nothing opens it
            done.append(_Done(np.zeros(count, dtype=np.intp), np.full((1, 1), np.inf), ()))
            continue
        costs = _of_kinds(cost[step.variable], step) if step.is_role else None
        keys = [done[c].context for c in step.children]
        if costs is not None:
            keys.append(alike[step.variable])
        every = np.arange(count)
        lead, context = dense(keys) if keys else (every[:1], np.zeros(count, dtype=np.intp))
        terms = [
            Lookup(done[c].message, done[c].context[lead], at, kind)
            for opens, kind in ((lines.opens, None), (lines.of_kind, lines.kind))
            for c, at in opens.items()
        ]
        if costs is not None:
            every_kind = np.arange(step.kinds)
            terms.append(Lookup(costs, alike[step.variable][lead], every_kind, lines.kind))
        message = least_of_nodes(terms, lines, len(lead))
        done.append(_Done(context, message, terms))
    return done


def _of_kinds(cost: Floats, step: Step) -> Floats:
    """Return costs of base classes as least costs of a step's kinds."""
    found = np.full((len(cost), step.kinds), np.inf)
    order = step.domain[np.argsort(step.kind_of[step.domain], kind="stable")]
    starts = np.searchsorted(step.kind_of[order], np.arange(step.kinds))
    found[:] = np.minimum.reduceat(cost[:, order], starts, axis=1)
    return found


def _best_of_kinds(offer: _Offer, step: Step, alike: Ints, kinds: Ints) -> Ints:
    """Return an option of the least cost of some kinds, each for one of the distinct costs."""
    kind_of = step.kind_of[step.domain]
    order = np.lexsort((step.domain, kind_of))
    starts = np.searchsorted(kind_of[order], np.arange(step.kinds + 1))
    owner, number = spread(np.diff(starts)[kinds])
    klass = step.domain[order[starts[kinds[owner]] + number]]
    first = np.lexsort((klass, offer.cost[alike[owner], klass], owner))
    best = klass[first[np.flatnonzero(np.diff(owner, prepend=-1))]]
    return offer.best[offer.example[alike], best]
