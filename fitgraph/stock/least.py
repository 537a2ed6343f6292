"""The least cost of a build for thousands of questions at once, exactly.

Messages go up the junction tree as in :mod:`fitgraph.solve.best`, but each clique computes
them once for every distinct set of menus in its subtree, and only over rows that these menus
leave alive. So questions that differ in their wheels share all the work above and beside them.

References
----------
.. [1] S. M. Aji, R. J. McEliece, "The generalized distributive law", IEEE Trans. Information
   Theory 46 (2000) 325-343 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.graph.joints import distinct_rows
from fitgraph.solve.tree import Clique
from fitgraph.stock.menus import Menus

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
Bits = npt.NDArray[np.uint8]

#: Pairs of a question and a row that are looked at in one go.
_AT_ONCE = 1 << 24


@dataclass(frozen=True, slots=True)
class _Offer:
    """One role's menus as costs of classes.

    ``used`` says for each question which of `best` is its own menu; ``alike`` which row of
    `cost`: menus of equal costs share one.
    """

    cost: Floats  # (n_alike, n_classes)
    best: Ints  # (n_used, n_classes)
    used: Ints
    alike: Ints


def _offer(
    menus: Menus, at: int, asked: Ints, weights: tuple[float, float], weighed: bool
) -> _Offer:
    numbers, used = np.unique(asked, return_inverse=True)
    size = menus.space.tree.sizes[menus.roles[at]]
    listed = [menus.menu(at, int(n)) for n in numbers]
    of = np.repeat(np.arange(len(listed)), [len(m.place) for m in listed])
    place, klass = (
        np.concatenate([getattr(m, name) for m in listed]) for name in ("place", "klass")
    )
    price, tenths = (
        np.concatenate([getattr(m, name) for m in listed]) for name in ("price", "tenths")
    )
    value = weights[0] * price + weights[1] * tenths
    if weighed:
        known = np.concatenate([m.weighed for m in listed])
        of, place, klass, value = of[known], place[known], klass[known], value[known]
    cost = np.full((len(listed), size), np.inf)
    best = np.full((len(listed), size), -1, dtype=np.intp)
    order = np.lexsort((place, value))[
        ::-1
    ]  # the last written stays: the least, the first of equals
    cost[of[order], klass[order]] = value[order]
    best[of[order], klass[order]] = place[order]
    first, alike = distinct_rows(cost)
    return _Offer(cost[first], best, used.reshape(-1), alike[used.reshape(-1)])


def dense(columns: Sequence[Ints]) -> tuple[Ints, Ints]:
    """Return the first place of every distinct combination, and the number of each one's.

    Examples
    --------
    >>> first, number = dense([np.array([3, 3, 1, 3]), np.array([0, 1, 0, 0])])
    >>> first.tolist(), number.tolist()
    ([2, 0, 1], [1, 2, 0, 1])
    """
    code = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        code = code * (int(column.max(initial=0)) + 1) + column
        code = np.unique(code, return_inverse=True)[1].reshape(-1)
    _, first, number = np.unique(code, return_index=True, return_inverse=True)
    return first, number.reshape(-1)


def _patterns(message: Floats, group_of_row: Ints) -> tuple[Bits, Ints]:
    """Return which rows each distinct message leaves alive, packed, and each message's pattern."""
    finite = np.packbits(np.isfinite(message), axis=1)
    first, pattern = distinct_rows(finite)
    alive = np.isfinite(message[first])[:, group_of_row]
    return np.packbits(alive, axis=1), pattern


def _alive(
    masks: Sequence[tuple[Bits, Ints]], count: int, rows: int
) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of a context and a row that every mask lets in, in order, piece by piece."""
    step = max(1, _AT_ONCE // max(rows, 1))
    for start in range(0, count, step):
        stop = min(start + step, count)
        bits = np.full((stop - start, (rows + 7) // 8), 255, dtype=np.uint8)
        for packed, which in masks:
            bits &= packed[which[start:stop]]
        if rows % 8:
            bits[:, -1] &= 0xFF << (8 - rows % 8) & 0xFF
        # Most bytes are empty: look at those alone that are not.
        context, byte = np.nonzero(bits)
        bit = np.flatnonzero(np.unpackbits(bits[context, byte]))
        yield context[bit >> 3] + start, (byte[bit >> 3] << 3) + (bit & 7)


@dataclass(slots=True)
class _Done:
    """What a clique found: for each context and group the least value and its row."""

    context: Ints  # of each question; stale for those that died on the way
    message: Floats
    row: Ints


def cheapest(
    menus: Menus,
    asked: Ints,
    weights: tuple[float, float],
    *,
    certain: bool,
    weighed: bool = False,
    witness: bool = False,
    doubt: float = 0.0,
) -> tuple[Floats, Ints]:
    """Return the least cost of a build for each question, limits aside.

    Parameters
    ----------
    menus : Menus
        The menus that the questions name.
    asked : ndarray of int, shape (n_questions, n_roles)
        The number of each role's menu.
    weights : tuple of float
        What a minor currency unit and a tenth of a gram count.
    certain : bool
        Whether builds that are only possible are left out.
    weighed : bool
        Whether options of unknown mass are left out.
    witness : bool
        Whether a build of that cost is wanted as well.
    doubt : float
        What a clique counts whose joints are not all certain.

    Returns
    -------
    values : ndarray of float, shape (n_questions,)
        Infinite where there is no build.
    places : ndarray of int, shape (n_questions, n_roles)
        The options of one cheapest build; -1 where there is none. Of shape
        (0, n_roles) where no witness is wanted.
    """
    tree, roles = menus.space.tree, menus.roles
    if not len(asked):
        return np.zeros(0), np.zeros((0, len(roles)), dtype=np.intp)
    offers = {r: _offer(menus, n, asked[:, n], weights, weighed) for n, r in enumerate(roles)}
    first, question = dense([o.alike for o in offers.values()])
    alike = {role: offer.alike[first] for role, offer in offers.items()}
    live = np.arange(len(first))
    done: list[_Done] = []
    for clique in tree.cliques:
        own = [v for v in clique.own if v in offers]
        rows = np.flatnonzero(clique.certain) if certain else np.arange(len(clique.rows))
        keys = [alike[v][live] for v in own] + [done[c].context[live] for c in clique.children]
        lead, number = dense(keys) if keys else (live[:1] * 0, np.zeros(len(live), dtype=np.intp))
        leader = live[lead]
        groups = len(clique.starts)
        message = np.full((len(leader), max(groups, 1)), np.inf)
        row_of = np.full(message.shape, -1, dtype=np.intp)
        if len(rows) and len(leader):
            _pass(
                tree.cliques, clique, own, offers, alike, done, leader, rows, doubt, message, row_of
            )
        context = np.zeros(len(first), dtype=np.intp)
        context[live] = number
        done.append(_Done(context, message, row_of))
        live = live[np.isfinite(message).any(axis=1)[number]]
    values = np.full(len(first), np.inf)
    values[live] = sum(done[r].message[done[r].context[live], 0] for r in tree.roots)
    if not witness:
        return values[question], np.zeros((0, len(roles)), dtype=np.intp)
    classes = np.full((len(first), len(roles)), -1, dtype=np.intp)
    group = {r: np.zeros(len(live), dtype=np.intp) for r in tree.roots}
    for at in tree.preorder:
        clique = tree.cliques[at]
        row = done[at].row[done[at].context[live], group.pop(at)]
        for variable in (v for v in clique.own if v in offers):
            classes[live, roles.index(variable)] = clique.column(variable)[row]
        for child in clique.children:
            group[child] = tree.cliques[child].group_in_parent[row]
    klass = classes[question]
    places = np.full(klass.shape, -1, dtype=np.intp)
    there = np.flatnonzero(klass[:, 0] >= 0) if len(roles) else np.zeros(0, dtype=np.intp)
    for n, role in enumerate(roles if len(there) else ()):
        places[there, n] = offers[role].best[offers[role].used[there], klass[there, n]]
    return values[question], places


def _pass(
    cliques: Sequence[Clique],
    clique: Clique,
    own: Sequence[str],
    offers: dict[str, _Offer],
    alike: dict[str, Ints],
    done: Sequence[_Done],
    leader: Ints,
    rows: Ints,
    doubt: float,
    message: Floats,
    row_of: Ints,
) -> None:
    """Fill a clique's messages: for each context and group the least value and its row."""
    masks: list[tuple[Bits, Ints]] = []
    terms: list[tuple[Floats, Ints, Ints]] = []  # table, its row per context, its column per row
    for variable in own:
        column, which = clique.column(variable)[rows], alike[variable][leader]
        cost = offers[variable].cost
        masks.append((np.packbits(np.isfinite(cost)[:, column], axis=1), which))
        terms.append((cost, which, column))
    for child in clique.children:
        below = done[child]
        column, which = cliques[child].group_in_parent[rows], below.context[leader]
        packed, pattern = _patterns(below.message, column)
        masks.append((packed, pattern[which]))
        terms.append((below.message, which, column))
    group_of, groups = clique.group_of[rows], message.shape[1]
    unsure = np.where(clique.certain[rows], 0.0, doubt)
    for context, row in _alive(masks, len(leader), len(rows)):
        if not len(row):
            continue
        value = unsure[row]
        for table, which, column in terms:
            value += table.ravel()[which[context] * table.shape[1] + column[row]]
        spot = context * groups + group_of[row]
        starts = np.flatnonzero(np.diff(spot, prepend=-1))
        least = np.minimum.reduceat(value, starts)
        message.ravel()[spot[starts]] = least
        lengths = np.diff(np.append(starts, len(spot)))
        hits = np.flatnonzero(value == np.repeat(least, lengths))[::-1]
        row_of.ravel()[spot[hits]] = rows[row[hits]]
