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

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.demand.clashes import clashing
from fitgraph.demand.distinct import dense, rank
from fitgraph.demand.menus import Listing
from fitgraph.graph.joints import distinct_rows
from fitgraph.solve.arrays import spread
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.passes import Demands
from fitgraph.solve.plan import Step
from fitgraph.solve.support import CircuitStep, Support
from fitgraph.stopping import check

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Pairs of a question and a row that are looked at in one go.
_AT_ONCE = 1 << 20

#: Pairs that are not worth sorting out, and the share of rows that a line may leave if it is.
_FEW, _CLEARLY = 1 << 17, 0.7

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


@dataclass(frozen=True, slots=True)
class _Term:
    """A cost of pairs of a context and a row: its table, and the place of each in it."""

    table: Floats
    which: Ints  # of each context
    column: Ints  # of each row


def _together(terms: Sequence[_Term], rows: int, count: int) -> Iterator[tuple[Ints, Ints]]:
    """Yield contexts, and the rows to look at with each of them: all that may be alive.

    Of a context's lines the one that leaves the fewest rows alive tells which; contexts that
    have this line in common go together. Among these rows the next line tells which, as long
    as it leaves clearly fewer.
    """
    waiting = [(np.arange(count), np.arange(rows), tuple(terms))]
    finite = {id(term): np.isfinite(term.table) for term in terms}
    while waiting:
        contexts, row, left = waiting.pop()
        if not left or float(len(row)) * len(contexts) <= _FEW:
            yield contexts, row
            continue
        columns = [term.column.take(row).astype(np.intp, copy=False) for term in left]
        alive = np.array(
            [
                (finite[id(t)] @ np.bincount(c, minlength=t.table.shape[1]))[t.which[contexts]]
                for t, c in zip(left, columns, strict=True)
            ]
        )
        fewest = np.argmin(alive, axis=0)
        whole = alive.min(axis=0) > _CLEARLY * len(row)
        if whole.any():
            yield contexts[whole], row
        for n, (term, column) in enumerate(zip(left, columns, strict=True)):
            mine = contexts[(fewest == n) & ~whole]
            order = mine[np.argsort(term.which[mine], kind="stable")]
            starts = np.flatnonzero(np.diff(term.which[order], prepend=-1))
            for some in np.split(order, starts[1:]):
                if len(some):
                    inner = row[finite[id(term)][term.which[some[0]]].take(column)]
                    if len(inner):
                        waiting.append((some, inner, (*left[:n], *left[n + 1 :])))


@dataclass(slots=True)
class _Done:
    """What a step found: for each context and node the least value, and what it is made of."""

    context: Ints  # of each question; stale for those that died on the way
    message: Floats
    terms: Sequence[_Term]


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
    roles, plan, steps = listing.roles, runs.plan, runs.steps
    kinds, kind = _weighings(weights, weighed, len(asked))
    offers = {r: _offer(listing, n, asked[:, n], kinds, kind) for n, r in enumerate(roles)}
    first, question = dense([o.alike for o in offers.values()])
    alike = {role: offer.alike[first] for role, offer in offers.items()}
    lets = {role: np.isfinite(offer.cost) for role, offer in offers.items()}
    left = np.flatnonzero(~clashing(listing.pairs(certain=certain), lets, alike))
    alike = {role: rows[left] for role, rows in alike.items()}
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
            step, lines = plan.steps[at], steps[at]
            row = _least_row(done[at].terms, lines, done[at].context[live], cells.pop(at))
            for child, after in lines.opens.items():
                cells[child] = after[row]
            if step.is_role:
                chosen = offers[step.variable]
                table = _best_of_kinds(chosen, step)
                places[left[live], roles.index(step.variable)] = table[
                    alike[step.variable][live], lines.kind[row]
                ]
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
    size = max(1, _CELLS // max((s.nodes for s in runs.steps), default=1))
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
        # No sorted tuples stand above a role that goes first: every node has rows of its own.
        node = np.repeat(np.arange(lines.nodes), lines.end - lines.begin)
        terms = [_Term(around, np.arange(count), node)]
        target, size = lines.kind, step.kinds
        if step.variable != role:
            for child, at in lines.opens.items():
                if role in plan.steps[child].below:
                    target, size, below = at, runs.steps[child].nodes, child
                else:
                    terms.append(_Term(done[child].message, done[child].context, at))
            if step.is_role:
                own = _of_kinds(cost[step.variable], step)
                terms.append(_Term(own, alike[step.variable], lines.kind))
        found = _least_of(terms, target, size, count)
        if step.variable != role:
            reach(below, found)
            continue
        domain = step.domain
        into[:, domain] = np.minimum(into[:, domain], found[:, step.kind_of[domain]])


def _least_of(terms: Sequence[_Term], target: Ints, size: int, count: int) -> Floats:
    """Return the least of all rows that lead to each place, for each question."""
    found = np.full((count, size), np.inf)
    for contexts, row in _together(terms, len(target), count):
        if not len(row):
            continue
        row = row[np.argsort(target[row], kind="stable")]
        starts = np.flatnonzero(np.diff(target[row], prepend=-1))
        columns = [term.column.take(row).astype(np.intp, copy=False) for term in terms]
        step = max(1, _AT_ONCE // len(row))
        for some in (contexts[n : n + step] for n in range(0, len(contexts), step)):
            value = _values(terms, some, columns, len(row))
            found[np.ix_(some, target[row[starts]])] = np.minimum.reduceat(value, starts, axis=1)
    return found


def _upward(
    runs: Support | Circuit, cost: Mapping[str, Floats], alike: Mapping[str, Ints], count: int
) -> list[_Done]:
    """Return what every step found, for costs of base classes and the row of each question."""
    done: list[_Done] = []
    for step, lines in zip(runs.plan.steps, runs.steps, strict=True):
        costs = _of_kinds(cost[step.variable], step) if step.is_role else None
        keys = [done[c].context for c in step.children]
        if costs is not None:
            keys.append(alike[step.variable])
        every = np.arange(count)
        lead, context = dense(keys) if keys else (every[:1], np.zeros(count, dtype=np.intp))
        message = np.full((len(lead), max(lines.nodes, 1)), np.inf)
        terms: list[_Term] = []
        if lines.nodes:
            terms += [
                _Term(done[c].message, done[c].context[lead], at) for c, at in lines.opens.items()
            ]
            if costs is not None:
                terms.append(_Term(costs, alike[step.variable][lead], lines.kind))
            _pass(terms, lines, message)
        done.append(_Done(context, message, terms))
    return done


def _of_kinds(cost: Floats, step: Step) -> Floats:
    """Return costs of base classes as least costs of a step's kinds."""
    found = np.full((len(cost), step.kinds), np.inf)
    order = step.domain[np.argsort(step.kind_of[step.domain], kind="stable")]
    starts = np.searchsorted(step.kind_of[order], np.arange(step.kinds))
    found[:] = np.minimum.reduceat(cost[:, order], starts, axis=1)
    return found


def _best_of_kinds(offer: _Offer, step: Step) -> Ints:
    """Return an option of the least cost of each kind, for each distinct row of costs."""
    found = np.full((len(offer.cost), step.kinds), -1, dtype=np.intp)
    kind = step.kind_of[step.domain]
    for n, cost in enumerate(offer.cost):
        order = np.lexsort((step.domain, cost[step.domain]))[::-1]
        found[n, kind[order]] = offer.best[offer.example[n], step.domain[order]]
    return found


def _values(terms: Sequence[_Term], contexts: Ints, columns: Sequence[Ints], rows: int) -> Floats:
    """Return what rows come to, (contexts, rows)."""
    value = np.zeros((len(contexts), rows))
    for term, column in zip(terms, columns, strict=True):
        value += term.table[term.which[contexts]].take(column, axis=1)
    return value


def _pass(terms: Sequence[_Term], lines: CircuitStep, message: Floats) -> None:
    """Fill in the least value of each context and node."""
    for contexts, row in _together(terms, len(lines.kind), len(message)):
        columns = [term.column.take(row).astype(np.intp, copy=False) for term in terms]
        runs = _Runs(lines, row)
        if not len(runs.nodes):
            continue
        step = max(1, _AT_ONCE // max(len(row), len(runs.owner)))
        for some in (contexts[n : n + step] for n in range(0, len(contexts), step)):
            value = _values(terms, some, columns, len(row))
            message[np.ix_(some, runs.nodes)] = runs.least(value)


class _Runs:
    """The runs of a step over some of its rows, for the least of each node.

    The list of rows is cut where a run begins or ends. What a run comes to is the least of some
    pieces in a row: of two blocks of 2**k pieces that cover it [1]_.

    Parameters
    ----------
    lines : CircuitStep
        The step.
    row : ndarray of int
        The rows that count, ascending.

    Attributes
    ----------
    nodes : ndarray of int
        The nodes that have any of these rows.
    owner : ndarray of int
        The place in `nodes` of each run that has.

    References
    ----------
    .. [1] M. A. Bender, M. Farach-Colton, "The LCA problem revisited", LATIN 2000, LNCS 1776,
       88-94 (reference checked).
    """

    def __init__(self, lines: CircuitStep, row: Ints) -> None:
        begin, end = lines.begin, lines.end
        if len(row) < len(lines.kind):
            begin, end = np.searchsorted(row, begin), np.searchsorted(row, end)
        some = np.flatnonzero(begin < end)
        begin, end = begin[some], end[some]
        node = some
        if lines.first is not None:
            node = np.searchsorted(lines.first, some, side="right") - 1
        self.starts = np.flatnonzero(np.diff(node, prepend=-1))
        self.nodes, self.owner = node[self.starts], node
        self._of_level: list[tuple[Ints, Ints, Ints]] = []
        self._cuts = begin
        if lines.first is None:  # they follow one another: each is a piece
            return
        cuts = np.unique(np.concatenate([begin, end]))
        self._cuts = cuts[cuts < len(row)]
        low, high = np.searchsorted(cuts, begin), np.searchsorted(cuts, end)
        level = np.log2(np.maximum(high - low, 1)).astype(np.intp)
        for k in range(int(level.max(initial=-1)) + 1):
            run = np.flatnonzero(level == k)
            self._of_level.append((run, low[run], high[run] - (1 << k)))

    def least(self, value: Floats) -> Floats:
        """Return the least of each node's rows, (contexts, nodes)."""
        pieces = np.minimum.reduceat(value, self._cuts, axis=1)
        if not self._of_level:
            return pieces
        found = np.empty((len(value), len(self.owner)))
        for k, (run, low, high) in enumerate(self._of_level):
            if k:
                half = 1 << (k - 1)
                pieces = np.minimum(pieces[:, :-half], pieces[:, half:])
            if len(run):
                found[:, run] = np.minimum(pieces.take(low, axis=1), pieces.take(high, axis=1))
        return np.minimum.reduceat(found, self.starts, axis=1)


def _least_row(terms: Sequence[_Term], lines: CircuitStep, contexts: Ints, nodes: Ints) -> Ints:
    """Return for pairs of a context and a node the first row that comes to the least."""
    first = np.arange(lines.nodes) if lines.first is None else lines.first
    last = np.append(first[1:], len(lines.begin)).astype(np.intp)
    pair, of_pair = dense([contexts, nodes])
    contexts, nodes = contexts[pair], nodes[pair]
    found = np.empty(len(pair), dtype=np.intp)
    sizes = np.add.reduceat(lines.end - lines.begin, first)[nodes]
    for begin, end in _cuts(sizes, _AT_ONCE):
        owner, number = spread(last[nodes[begin:end]] - first[nodes[begin:end]])
        run = first[nodes[begin:end]][owner] + number
        of_run, number = spread(lines.end[run] - lines.begin[run])
        row, owner = lines.begin[run][of_run] + number, owner[of_run]
        value = np.zeros(len(row))
        for term in terms:
            value += term.table[term.which[contexts[begin:end]][owner], term.column[row]]
        order = np.lexsort((row, value, owner))
        starts = np.flatnonzero(np.diff(owner[order], prepend=-1))
        found[begin:end] = row[order[starts]]
    return found[of_pair]


def _cuts(sizes: Ints, most: int) -> Iterator[tuple[int, int]]:
    """Yield pieces of a sequence whose sizes add up to no more than some, or that are one."""
    ends = np.cumsum(sizes)
    begin = 0
    while begin < len(sizes):
        before = ends[begin - 1] if begin else 0
        end = max(begin + 1, int(np.searchsorted(ends, before + most, side="right")))
        yield begin, end
        begin = end
