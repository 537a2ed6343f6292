"""Best orders of small programs against every number of packs, tried one by one."""

from __future__ import annotations

import itertools
import math
import random

import pytest

from fitgraph.model import Offer, Supplier, Supply
from fitgraph.stock.orders import Ask, OrderLine, Program, cost_of
from fitgraph.stock.topped_up import solve, topped_up
from tests.turns import turns


def _program(lot: random.Random) -> Program:
    """Draw offers of six parts by two suppliers with least and most orders, and what is needed."""
    parts = [f"P{n}" for n in range(6)]
    offers = [
        Offer(sku, who, 1, lot.choice([0, 30, 40, 70, 110]), 1, lot.choice([None, None, 1, 2]))
        for sku in parts
        for who in lot.choice([("near",), ("far",), ("near", "far")])
    ][:7]
    least = lot.choice([0, 90, 100, 130])
    terms = {
        "near": Supplier("near", lot.choice([0, 15]), least),
        "far": Supplier("far", 10, lot.choice([0, 60]), lot.choice([None, 120, 200])),
    }
    program = Program(
        offers, Supply(tuple(offers), terms), [lot.choice([1.0, 2.0]) for _ in "abcd"]
    )
    sold = program.parts
    program.add(
        [
            (question, frozenset(lot.sample(sold, lot.randint(0 if lot.random() < 0.1 else 1, 3))))
            for question in range(4)
            for _ in range(lot.randint(1, 3))
        ]
    )
    return program


def _every(program: Program) -> list[tuple[int, float]]:
    """Return cost and gain of all orders that the suppliers take."""
    found = []
    for packs in itertools.product(*(range(program.most_packs(o) + 1) for o in program.offers)):
        lines = [OrderLine(o, n) for o, n in zip(program.offers, packs, strict=True) if n]
        if _taken(program, lines):
            found.append((cost_of(lines, program.supply), _gain(program, lines)))
    return found


def _taken(program: Program, lines: list[OrderLine]) -> bool:
    for name in {line.offer.supplier for line in lines}:
        terms = program.supply.terms(name)
        goods = sum(line.cost for line in lines if line.offer.supplier == name)
        if goods < terms.least_order or goods > (terms.most_order or math.inf):
            return False
    return True


def _gain(program: Program, lines: list[OrderLine]) -> float:
    there = {line.offer.sku for line in lines}
    return sum(
        float(w)
        for q, w in enumerate(program.weights)
        if all(cut & there for cut in program.cuts.get(q, ()))
    )


def test_the_best_orders_equal_all_numbers_of_packs_tried() -> None:
    whole = filled = 0
    for seed in range(turns(150)):
        program = _program(random.Random(seed))
        every = _every(program)
        for wanted in (1, 3, 5):
            best = min((cost for cost, gain in every if gain >= wanted), default=None)
            for cost in (math.inf, 150, 250):
                found = solve(program, Ask(cost, wanted - 0.25))
                if best is None or best > cost:
                    assert found is None, (seed, wanted, cost)
                    continue
                assert found is not None and found.exact, (seed, wanted, cost)
                lines = list(found.lines)
                assert cost_of(lines, program.supply) == best, (seed, wanted, cost)
                assert _taken(program, lines) and _gain(program, lines) >= wanted
                assert found.bound == pytest.approx(best, abs=1e-3)
                filled += any(line.packs > 1 for line in lines)
        for cost in (0, 60, 150, 300):
            most = max(gain for spent, gain in every if spent <= cost)
            found = solve(program, Ask(cost))
            assert found is not None and -found.bound == pytest.approx(most), (seed, cost)
            lines = list(found.lines)
            assert cost_of(lines, program.supply) <= cost and _taken(program, lines)
            assert _gain(program, lines) == pytest.approx(most)
            whole += 1
    assert whole and filled


def test_least_orders_are_reached_with_the_least_sum_of_whole_packs() -> None:
    offers = [
        Offer(s, "near", 1, price, 1, None) for s, price in zip("abc", (70, 40, 30), strict=True)
    ]
    terms = {"near": Supplier("near", 15, 135)}
    program = Program(offers, Supply(tuple(offers), terms), [1.0])
    # 70 is ordered; of 30 and 40 the least sum of 65 or more is 70, in one pack each.
    found = topped_up(program, [OrderLine(offers[0], 1)])
    assert found is not None
    assert sum(line.cost for line in found) == 140
    # One more of the same part, of which the supplier takes no more than the least order.
    dear = {"near": Supplier("near", 15, 135, 136)}
    assert topped_up(Program(offers, Supply(tuple(offers), dear), [1.0]), found[:1]) is None
