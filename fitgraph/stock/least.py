"""The least cost of a build for thousands of questions at once, exactly.

Messages go up the junction tree as in :mod:`fitgraph.solve.best`, but each clique computes
them once for every distinct set of menus in its subtree, and only over rows that these menus
leave alive. So questions that differ in their wheels share all the work above and beside them.

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

from fitgraph.graph.joints import distinct_rows
from fitgraph.solve.tree import Clique
from fitgraph.stock.distinct import dense, rank
from fitgraph.stock.menus import Listing

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]
Words = npt.NDArray[np.uint64]
Bools = npt.NDArray[np.bool_]

#: Pairs of a question and a row that are looked at in one go.
_AT_ONCE = 1 << 24

#: Bits of a word.
_WORD = 64


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
    size = listing.tree.sizes[listing.roles[at]]
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
    return _Offer(cost[first], best, used.reshape(-1), alike[used.reshape(-1)])


def _words(alive: Bools) -> Words:
    """Return rows of truth values as bits, 64 to a word, the last word filled up with zeros."""
    count, wide = alive.shape
    packed = np.zeros((count, -(-wide // _WORD) * _WORD // 8), dtype=np.uint8)
    packed[:, : -(-wide // 8)] = np.packbits(alive, axis=1)
    return packed.view(np.uint64)


@dataclass(frozen=True, slots=True)
class _Term:
    """A cost of pairs of a context and a row: its table, and the place of each in it."""

    table: Floats
    which: Ints  # of each context
    column: Ints  # of each row


def _mask(term: _Term) -> tuple[Words, Ints]:
    """Return which rows each distinct line of a table leaves alive, and each context's line."""
    finite = np.isfinite(term.table)
    first, pattern = distinct_rows(np.packbits(finite, axis=1))
    return _words(finite[first][:, term.column]), pattern[term.which]


def _alive(
    masks: Sequence[tuple[Words, Ints]], count: int, rows: int
) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of a context and a row that every mask lets in, in order, piece by piece."""
    step = max(1, _AT_ONCE // max(rows, 1))
    for start in range(0, count, step):
        stop = min(start + step, count)
        if not masks:
            context, row = np.divmod(np.arange((stop - start) * rows), rows)
            yield context + start, row
            continue
        (packed, which), *others = masks
        words = packed.take(which[start:stop], axis=0)
        for packed, which in others:
            words &= packed.take(which[start:stop], axis=0)
        # Most bytes are empty: look at those alone that are not.
        octets = words.view(np.uint8)
        some = np.flatnonzero(octets.ravel() != 0)
        bit = np.flatnonzero(np.unpackbits(octets.ravel()[some]).view(bool))
        owner, octet = np.divmod(some, octets.shape[1])
        of = bit >> 3
        yield owner.take(of) + start, (octet << 3).take(of) + (bit & 7)


@dataclass(slots=True)
class _Done:
    """What a clique found: for each context and group the least value and its row."""

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
    doubt: float = 0.0,
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
    tree, roles = listing.tree, listing.roles
    if not len(asked):
        return np.zeros(0), np.zeros((0, len(roles)), dtype=np.intp)
    kinds, kind = _weighings(weights, weighed, len(asked))
    offers = {r: _offer(listing, n, asked[:, n], kinds, kind) for n, r in enumerate(roles)}
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
                tree.cliques,
                clique,
                own,
                offers,
                alike,
                done,
                leader,
                rows,
                doubt,
                message,
                row_of if witness else None,
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
    row_of: Ints | None,
) -> None:
    """Fill in the least value of each context and group, and where wanted its row."""
    terms = [_Term(offers[v].cost, alike[v][leader], clique.column(v)[rows]) for v in own] + [
        _Term(done[c].message, done[c].context[leader], cliques[c].group_in_parent[rows])
        for c in clique.children
    ]
    masks = [_mask(term) for term in terms]
    begins = [term.which * term.table.shape[1] for term in terms]
    group_of, groups = clique.group_of[rows], message.shape[1]
    unsure = np.where(clique.certain[rows], 0.0, doubt)
    for context, row in _alive(masks, len(leader), len(rows)):
        if not len(row):
            continue
        value = unsure.take(row)
        for term, begin in zip(terms, begins, strict=True):
            value += term.table.ravel().take(begin.take(context) + term.column.take(row))
        spot = context * groups + group_of.take(row)
        starts = np.flatnonzero(np.diff(spot, prepend=-1))
        least = np.minimum.reduceat(value, starts)
        message.ravel()[spot[starts]] = least
        if row_of is None:
            continue
        lengths = np.diff(np.append(starts, len(spot)))
        hits = np.flatnonzero(value == np.repeat(least, lengths))[::-1]
        row_of.ravel()[spot[hits]] = rows[row[hits]]
