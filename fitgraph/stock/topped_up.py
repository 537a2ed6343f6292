"""Orders where what a least order lacks can be bought to the cent: a bound, and mostly the answer.

A supplier's least order makes the program of :mod:`fitgraph.stock.orders` slow, as it is filled
with whole packs of anything. Here the rest is bought to the cent. Then one pack of a part is
enough, and of two parts of a supplier the cheaper one serves, where it is in all cuts that the
other is in. No orders in whole packs do better; where whole packs come to the same sum, these
are the orders. Otherwise the program is solved, for no more than they cost.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from functools import reduce
from math import gcd, inf

import numpy as np

from fitgraph.model import Offer
from fitgraph.stock.orders import (
    Ask,
    OrderLine,
    Program,
    Row,
    Solved,
    cost_of,
    least_sum,
)

#: Sums of packs that are gone through at most when a least order is filled.
_SUMS = 1 << 20


def solve(program: Program, ask: Ask, *, seconds: float | None = None) -> Solved | None:
    """Return the best orders of a program; None where there are none.

    Parameters
    ----------
    program : Program
        Offers, terms and cuts.
    ask : Ask
        What is wanted.
    seconds : float, optional
        Time limit.

    Raises
    ------
    OutOfTimeError
        If nothing was found in that time.
    """
    found = _loosely(program, ask, seconds)
    if found is None:
        return None
    lines = topped_up(program, found.lines)
    if lines is None:
        return program.solve(ask, seconds=seconds)
    cost = cost_of(lines, program.supply)
    enough = ask.cost if ask.served is None else found.bound + 0.5
    if cost <= enough or (not found.exact and cost <= ask.cost):
        return replace(found, lines=lines)
    if ask.served is not None:
        ask = replace(ask, cost=min(ask.cost, float(cost)))
    return program.solve(ask, seconds=seconds)


def _enough(program: Program, cuts: Sequence[frozenset[str]], ask: Ask) -> list[Offer]:
    """Return the offers that the best orders can do with, where the rest is bought to the cent."""
    within: defaultdict[str, set[int]] = defaultdict(set)
    for n, cut in enumerate(cuts):
        for sku in cut:
            within[sku].add(n)
    offers: list[Offer] = []
    for supplier in program.suppliers:
        own = [
            o
            for o in program.offers
            if o.supplier == supplier and o.sku in within and program.least_cost(o) <= ask.cost
        ]
        own.sort(key=lambda o: (o.pack_price, -len(within[o.sku]), o.sku))
        kept: list[Offer] = []
        for offer in own:
            if not any(within[offer.sku] <= within[k.sku] for k in kept):
                kept.append(offer)
        offers += kept
    return offers


def _loosely(program: Program, ask: Ask, seconds: float | None) -> Solved | None:
    """Return the best orders where least orders are filled to the cent, without what fills them."""
    groups: defaultdict[frozenset[frozenset[str]], float] = defaultdict(float)
    for question, weight in enumerate(program.weights.tolist()):
        if program.least_for(question) <= ask.cost:
            groups[frozenset(program.cuts.get(question, ()))] += weight
    cuts = list(dict.fromkeys(c for group in groups for c in group))
    offers = _enough(program, cuts, ask)
    suppliers = list(dict.fromkeys(o.supplier for o in offers))
    # Variables: offers, suppliers used, goods of each supplier, groups of questions served.
    used = {s: len(offers) + n for n, s in enumerate(suppliers)}
    goods = {s: len(offers) + len(suppliers) + n for n, s in enumerate(suppliers)}
    first = len(offers) + 2 * len(suppliers)
    size = first + len(groups)
    if not size:  # nothing can be served for so little
        return Solved((), 0.0, True) if ask.served is None or ask.served <= 0 else None
    costs, gains, upper, whole = np.zeros(size), np.zeros(size), np.ones(size), np.ones(size)
    rows: list[Row] = []
    of_sku: defaultdict[str, list[int]] = defaultdict(list)
    for n, offer in enumerate(offers):
        of_sku[offer.sku].append(n)
        rows.append(({n: 1.0, used[offer.supplier]: -1.0}, -inf, 0.0))
    for supplier in suppliers:
        terms, at = program.supply.terms(supplier), goods[supplier]
        costs[used[supplier]], costs[at], whole[at] = terms.delivery, 1.0, 0.0
        upper[at] = inf if terms.most_order is None else terms.most_order
        own = {n: -float(o.pack_price) for n, o in enumerate(offers) if o.supplier == supplier}
        rows.append(({at: 1.0, **own}, 0.0, inf))
        rows.append(({at: 1.0, used[supplier]: -float(terms.least_order)}, 0.0, inf))
    for n, (group, weight) in enumerate(groups.items(), first):
        gains[n] = weight
        for cut in group:
            one_of = {k: -1.0 for sku in cut for k in of_sku[sku]}
            rows.append(({n: 1.0, **one_of}, -inf, 0.0))
    objective, limits = ask.of(costs, gains)
    least = least_sum(objective, [*rows, *limits], upper, whole, seconds)
    if least is None:
        return None
    x, bound, exact = least
    chosen = tuple(
        OrderLine(o, 1) for o, taken in zip(offers, x[: len(offers)], strict=True) if taken > 0.5
    )
    return Solved(chosen, bound, exact)


def topped_up(program: Program, lines: Sequence[OrderLine]) -> tuple[OrderLine, ...] | None:
    """Return orders with as little as reaches each supplier's least order, in whole packs.

    Parameters
    ----------
    program : Program
        Gives offers and terms.
    lines : sequence of OrderLine
        What is ordered anyway.

    Returns
    -------
    tuple of OrderLine or None
        None where no packs come to a sum that the supplier takes, or where there are too many
        sums to go through.
    """
    packs = {line.offer: line.packs for line in lines}
    for supplier in {line.offer.supplier for line in lines}:
        terms = program.supply.terms(supplier)
        ordered = sum(line.cost for line in lines if line.offer.supplier == supplier)
        more = _fill(program, packs, supplier, terms.least_order - ordered)
        if more is None:
            return None
        ordered += sum(offer.pack_price * n for offer, n in more.items())
        if terms.most_order is not None and ordered > terms.most_order:
            return None
        for offer, n in more.items():
            packs[offer] = packs.get(offer, 0) + n
    return tuple(OrderLine(o, packs[o]) for o in program.offers if packs.get(o))


def _fill(
    program: Program, packs: dict[Offer, int], supplier: str, lacking: int
) -> dict[Offer, int] | None:
    """Return the packs that come to the least sum which is not less than what is lacking."""
    if lacking <= 0:
        return {}
    spare = {
        o: program.most_packs(o) - packs.get(o, 0)
        for o in program.offers
        if o.supplier == supplier and o.pack_price
    }
    # What is ordered anyway goes first: more of it is told in the same line.
    offers = sorted((o for o in spare if spare[o] > 0), key=lambda o: o not in packs)
    if not offers:
        return None
    unit = reduce(gcd, (o.pack_price for o in offers))
    least = -(-lacking // unit)
    top = least + max(o.pack_price for o in offers) // unit
    if top > _SUMS:
        return None
    every = (1 << (top + 1)) - 1
    reached = [1]  # after each offer, the sums that can be made, a bit for each
    for offer in offers:
        sums = step = reached[-1]
        for _ in range(spare[offer]):
            step = step << (offer.pack_price // unit) & every
            if step | sums == sums:
                break
            sums |= step
        reached.append(sums)
    over = reached[-1] >> least
    if not over:
        return None
    total = least + (over & -over).bit_length() - 1
    more = {}
    for offer, before in zip(reversed(offers), reversed(reached[:-1]), strict=True):
        n = 0
        while not before >> total & 1:
            total, n = total - offer.pack_price // unit, n + 1
        if n:
            more[offer] = n
    return more
