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

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.demand.distinct import dense, rank
from fitgraph.demand.menus import Listing
from fitgraph.graph.joints import distinct_rows
from fitgraph.solve.plan import Step
from fitgraph.solve.support import StepRows, Support

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
        columns = [term.column.take(row) for term in left]
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
    """What a step found: for each context and cell the least value and its row."""

    context: Ints  # of each question; stale for those that died on the way
    message: Floats
    row: Ints


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
    support = listing.support(certain=certain)
    cells = max((r.cells for r in support.rows), default=1)
    size = max(1, _CELLS // max(cells, 1))
    found = []
    for start in range(0, len(asked), size):
        piece = slice(start, start + size)
        found.append(
            _cheapest(
                listing,
                support,
                asked[piece],
                weights if isinstance(weights, tuple) else weights[piece],
                weighed if isinstance(weighed, bool) else weighed[piece],
                witness,
            )
        )
    return np.concatenate([v for v, _ in found]), np.concatenate([p for _, p in found])


def _cheapest(
    listing: Listing,
    support: Support,
    asked: Ints,
    weights: tuple[float, float] | Floats,
    weighed: bool | Bools,
    witness: bool,
) -> tuple[Floats, Ints]:
    roles, plan = listing.roles, support.plan
    kinds, kind = _weighings(weights, weighed, len(asked))
    offers = {r: _offer(listing, n, asked[:, n], kinds, kind) for n, r in enumerate(roles)}
    first, question = dense([o.alike for o in offers.values()])
    alike = {role: offer.alike[first] for role, offer in offers.items()}
    every = np.arange(len(first))
    done: list[_Done] = []
    for step, rows in zip(plan.steps, support.rows, strict=True):
        costs = _of_kinds(offers[step.variable].cost, step) if step.is_role else None
        keys = [done[c].context for c in step.children]
        if costs is not None:
            keys.append(alike[step.variable])
        lead, context = dense(keys) if keys else (every[:1], np.zeros(len(first), dtype=np.intp))
        message = np.full((len(lead), max(rows.cells, 1)), np.inf)
        row_of = np.full(message.shape, -1, dtype=np.intp)
        if rows.cells:
            terms = [
                _Term(done[c].message, done[c].context[lead], a.at) for c, a in rows.after.items()
            ]
            if costs is not None:
                terms.append(_Term(costs, alike[step.variable][lead], rows.kind.at))
            _pass(terms, rows, len(lead), message, row_of if witness else None)
        done.append(_Done(context, message, row_of))
    values, of_case = np.full(len(first), np.inf), np.full(len(first), -1, dtype=np.intp)
    for n, case in enumerate(support.cases):
        value = np.zeros(len(first))
        for root in case.roots:
            value = value + done[root].message[done[root].context, 0]
        better = value < values
        values[better], of_case[better] = value[better], n
    if not witness:
        return values[question], np.zeros((0, len(roles)), dtype=np.intp)
    places = np.full((len(first), len(roles)), -1, dtype=np.intp)
    for n, case in enumerate(support.cases):
        live = np.flatnonzero(of_case == n)
        cells = {r: np.zeros(len(live), dtype=np.intp) for r in case.roots}
        for at in reversed(case.order if len(live) else ()):
            step, rows = plan.steps[at], support.rows[at]
            row = done[at].row[done[at].context[live], cells.pop(at)]
            for child, after in rows.after.items():
                cells[child] = after.at[row]
            if step.is_role:
                chosen = offers[step.variable]
                table = _best_of_kinds(chosen, step)
                places[live, roles.index(step.variable)] = table[
                    alike[step.variable][live], rows.kind.at[row]
                ]
    own = places[question]
    for n, role in enumerate(roles):  # of menus that cost alike, each question's own option
        there = np.flatnonzero(own[:, n] >= 0)
        klass = listing.class_of[role][own[there, n]]
        own[there, n] = offers[role].best[offers[role].used[there], klass]
    return values[question], own


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


def _pass(
    terms: Sequence[_Term],
    rows: StepRows,
    count: int,
    message: Floats,
    row_of: Ints | None,
) -> None:
    """Fill in the least value of each context and cell, and where wanted its row."""
    for contexts, row in _together(terms, len(rows.cell), count):
        cell = rows.cell.take(row)
        starts = np.flatnonzero(np.diff(cell, prepend=-1))
        lengths = np.diff(starts, append=len(row))
        columns = [term.column.take(row) for term in terms]
        step = max(1, _AT_ONCE // len(row))
        for some in (contexts[n : n + step] for n in range(0, len(contexts), step)):
            value = np.zeros((len(some), len(row)))
            for term, column in zip(terms, columns, strict=True):
                value += term.table[term.which[some]].take(column, axis=1)
            least = np.minimum.reduceat(value, starts, axis=1)
            at = np.ix_(some, cell[starts])
            message[at] = least
            if row_of is None:
                continue
            # Of rows as cheap as the least the first; none where all are infinite.
            hit = value == np.repeat(least, lengths, axis=1)
            first = np.minimum.reduceat(np.where(hit, row, len(rows.cell)), starts, axis=1)
            row_of[at] = np.where(np.isfinite(least), first, -1)
