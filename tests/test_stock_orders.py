"""Orders against brute force over every set of packs, and against OR-Tools' CP-SAT.

What an enquiry can be built of comes from trying every combination of parts; neither judge
uses the engine or the cuts.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from fitgraph.catalogue import demo_folder, load
from fitgraph.lab import OpenCatalogue
from fitgraph.model import Catalogue, Enquiry, Offer, Supplier, Supply
from fitgraph.solve import TreeEngine
from fitgraph.stock import OrderLine, OrderPlan, Restocking, Standing, coverage
from fitgraph.stock.orders import cost_of
from tests.shared import the_demo
from tests.strategies import Known, catalogues
from tests.test_stock_coverage import baskets, enquiries, on_shelf
from tests.turns import turns

SMALL = settings(
    max_examples=turns(50),
    deadline=None,
    suppress_health_check=list(HealthCheck),
    derandomize=True,
    phases=[Phase.generate],
)


@st.composite
def shops(draw: st.DrawFn) -> tuple[Catalogue, Supply]:
    """Draw a catalogue with little in stock, enquiries, offers and suppliers' terms."""
    catalogue = draw(catalogues())
    # Few joints, so that most enquiries can be built if enough is ordered.
    vocabulary = replace(catalogue.vocabulary, joints=catalogue.vocabulary.joints[:2])
    catalogue = replace(catalogue, vocabulary=vocabulary)
    parts = {
        s: replace(p, stock=0) if draw(st.integers(0, 3)) else p for s, p in catalogue.parts.items()
    }
    by_role = {r: tuple(parts[p.sku] for p in ps) for r, ps in catalogue.by_role.items()}
    catalogue = replace(catalogue, parts=parts, by_role=by_role)
    offers = []
    for sku in sorted(parts):
        for supplier in draw(st.sampled_from([("near",), ("far",), ("near", "far"), ("near",)])):
            offers.append(
                Offer(
                    sku,
                    supplier,
                    draw(st.sampled_from([1, 5])),
                    draw(st.sampled_from([40, 70, 110])),
                    draw(st.sampled_from([2, 9, None])),
                    draw(st.sampled_from([None, None, None, 1, 0])),
                )
            )
    terms = draw(
        st.sampled_from(
            [
                {},
                {"near": Supplier("near", 15, 100)},
                {"near": Supplier("near", 15, 100), "far": Supplier("far", 0, 0, 200)},
            ]
        )
    )
    found = replace(catalogue, enquiries=draw(enquiries(catalogue, most=5)))
    return found, Supply(tuple(offers), terms)


class Judge:
    """The same question as sets: which baskets serve an enquiry, and what packs cost."""

    def __init__(self, shop: Catalogue, supply: Supply, within_days: int | None = None) -> None:
        self.supply = supply
        shelf, known = on_shelf(shop), Known()
        self.weights = [e.weight for e in shop.enquiries]
        self.needs = [
            sorted({b - shelf for b in baskets(shop, e, known)}, key=lambda n: (len(n), sorted(n)))
            for e in shop.enquiries
        ]
        self.offers = [
            o
            for o in supply.offers
            if o.sku not in shelf
            and shop.parts[o.sku].price is not None
            and o.max_packs != 0
            and (within_days is None or (o.lead_days is not None and o.lead_days <= within_days))
        ]

    def served(self, ordered: frozenset[str]) -> float:
        return sum(
            w
            for w, needs in zip(self.weights, self.needs, strict=True)
            if any(n <= ordered for n in needs)
        )

    def most_packs(self, offer: Offer) -> int:
        least = self.supply.terms(offer.supplier).least_order
        enough = max(1, -(-least // offer.pack_price)) if offer.pack_price else 1
        return enough if offer.max_packs is None else min(enough, offer.max_packs)

    def allowed(self, lines: Sequence[OrderLine]) -> bool:
        """Return whether every supplier takes its order."""
        for supplier in {line.offer.supplier for line in lines}:
            goods = sum(line.cost for line in lines if line.offer.supplier == supplier)
            terms = self.supply.terms(supplier)
            if goods < terms.least_order or (
                terms.most_order is not None and goods > terms.most_order
            ):
                return False
        return True

    def useful(self) -> list[Offer]:
        """Return the offers of parts that some enquiry could use, and all with a least order."""
        wanted = frozenset().union(*(n for needs in self.needs for n in needs))
        return [
            o for o in self.offers if o.sku in wanted or self.supply.terms(o.supplier).least_order
        ]

    def plans(self) -> Iterator[tuple[int, float]]:
        """Yield cost and enquiries served of every set of orders."""
        offers = self.useful()
        serves: dict[frozenset[str], float] = {}
        for packs in itertools.product(*(range(self.most_packs(o) + 1) for o in offers)):
            lines = [OrderLine(o, n) for o, n in zip(offers, packs, strict=True) if n]
            if self.allowed(lines):
                ordered = frozenset(line.offer.sku for line in lines)
                if ordered not in serves:
                    serves[ordered] = self.served(ordered)
                yield cost_of(lines, self.supply), serves[ordered]

    def size(self) -> int:
        size = 1
        for offer in self.useful():
            size *= self.most_packs(offer) + 1
        return size


def check(plan: OrderPlan, judge: Judge) -> None:
    """Check that a plan is what it says."""
    assert judge.allowed(plan.lines)
    assert all(line.packs >= 1 for line in plan.lines)
    assert all(
        line.offer.max_packs is None or line.packs <= line.offer.max_packs for line in plan.lines
    )
    assert plan.cost == cost_of(plan.lines, judge.supply)
    assert plan.served == judge.served(frozenset(line.offer.sku for line in plan.lines))
    assert plan.before == judge.served(frozenset())
    assert sum(e.weight for e in plan.opened) == plan.served - plan.before
    assert plan.proven and plan.gap == 0.0


@SMALL
@given(shops(), st.sampled_from([0.3, 0.6, 1.0]), st.sampled_from([0, 60, 130, 260]))
def test_orders_equal_brute_force(
    drawn: tuple[Catalogue, Supply], share: float, budget: int
) -> None:
    shop, supply = drawn
    judge = Judge(shop, supply)
    assume(judge.size() <= 20_000)
    plans = list(judge.plans())
    restocking = Restocking(TreeEngine(shop), supply)
    target = restocking.target(share)
    check(target, judge)
    need = share * sum(judge.weights)
    costs = [cost for cost, gain in plans if gain >= need - 1e-9]
    assert target.reached == bool(costs)
    if costs:
        assert target.cost == target.bound == min(costs)
        assert target.served == max(g for c, g in plans if c == min(costs))
    else:
        most = max(gain for _, gain in plans)
        assert (target.served, target.cost) == (most, min(c for c, g in plans if g == most))
    spend = restocking.spend(budget)
    check(spend, judge)
    most = max(gain for cost, gain in plans if cost <= budget)
    assert spend.served == spend.bound == most
    assert spend.cost == min(c for c, g in plans if c <= budget and g == most)
    curve = restocking.curve()
    best: list[tuple[int, float]] = []
    for cost, gain in sorted(plans, key=lambda p: (p[0], -p[1])):
        if not best or gain > best[-1][1]:
            best.append((cost, gain))
    if best[0][0] == 0:  # parts that cost nothing are no part of this supply
        assert [(p.cost, p.served) for p in curve] == best


@SMALL
@given(shops(), st.sampled_from([0.0, 0.3, 0.6]))
def test_goods_for_nothing_are_ordered_where_they_serve_more(
    drawn: tuple[Catalogue, Supply], share: float
) -> None:
    """Of all orders of least cost those that serve most, also where that cost is nothing."""
    shop, supply = drawn
    gifts = [replace(o, pack_price=0) if n % 2 else o for n, o in enumerate(supply.offers)]
    supply = Supply(tuple(gifts))
    judge = Judge(shop, supply)
    assume(judge.size() <= 20_000)
    plans = list(judge.plans())
    restocking = Restocking(TreeEngine(shop), supply)
    plan = restocking.target(share)
    check(plan, judge)
    costs = [c for c, gain in plans if gain >= share * sum(judge.weights) - 1e-9]
    assume(costs)
    assert plan.cost == min(costs)
    assert plan.served == max(g for c, g in plans if c == plan.cost)
    assert plan.served <= restocking.reachable


def cp_sat(judge: Judge, need: float) -> int | None:
    """Return the least cost that serves so many, by CP-SAT over the sets that serve each."""
    model = cp_model.CpModel()
    packs = [model.new_int_var(0, judge.most_packs(o), f"n{k}") for k, o in enumerate(judge.offers)]
    there = {sku: model.new_bool_var(sku) for sku in {o.sku for o in judge.offers}}
    for sku, var in there.items():
        mine = [n for n, o in zip(packs, judge.offers, strict=True) if o.sku == sku]
        model.add(var <= sum(mine))
    used = {}
    for supplier in {o.supplier for o in judge.offers}:
        terms = judge.supply.terms(supplier)
        used[supplier] = model.new_bool_var(supplier)
        mine = [(n, o) for n, o in zip(packs, judge.offers, strict=True) if o.supplier == supplier]
        for n, o in mine:
            model.add(n <= judge.most_packs(o) * used[supplier])
        goods = sum(n * o.pack_price for n, o in mine)
        model.add(goods >= terms.least_order * used[supplier])
        if terms.most_order is not None:
            model.add(goods <= terms.most_order)
    served = []
    for k, needs in enumerate(judge.needs):
        ways = []
        for j, need_of in enumerate(needs):
            if need_of <= there.keys():
                way = model.new_bool_var(f"w{k}-{j}")
                for sku in need_of:
                    model.add_implication(way, there[sku])
                ways.append(way)
        yes = model.new_bool_var(f"s{k}")
        model.add(yes <= sum(ways))
        served.append(yes)
    tenths = [round(10 * w) for w in judge.weights]
    model.add(sum(w * s for w, s in zip(tenths, served, strict=True)) >= -int(-10 * need // 1))
    model.minimize(
        sum(n * o.pack_price for n, o in zip(packs, judge.offers, strict=True))
        + sum(judge.supply.terms(s).delivery * v for s, v in used.items())
    )
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    return round(solver.objective_value) if status == cp_model.OPTIMAL else None


@SMALL
@given(shops(), st.sampled_from([0.4, 0.8]))
def test_orders_equal_those_of_another_solver(
    drawn: tuple[Catalogue, Supply], share: float
) -> None:
    shop, supply = drawn
    judge = Judge(shop, supply)
    plan = Restocking(TreeEngine(shop), supply).target(share)
    check(plan, judge)
    least = cp_sat(judge, share * sum(judge.weights))
    assert plan.reached == (least is not None)
    if least is not None:
        assert plan.cost == least


@pytest.mark.long
def test_forty_parts_equal_another_solver_at_every_step() -> None:
    """data/bench40 with a bare shelf: each step of the curve, and a crown short of it."""
    shop = load(demo_folder().parent / "bench40").catalogue
    skus = list(shop.parts)
    held = set(skus[::7])
    parts = {s: replace(p, stock=int(s in held)) for s, p in shop.parts.items()}
    by_role = {r: tuple(parts[p.sku] for p in ps) for r, ps in shop.by_role.items()}
    asked = tuple(
        Enquiry(f"E{n}", have=(sku,), budget=(None, 25_000)[n % 2], weight=1.0 + n % 3)
        for n, sku in enumerate(skus[1::7])
    )
    shop = replace(shop, parts=parts, by_role=by_role, enquiries=asked)
    offers = tuple(
        Offer(s, ("near", "far")[n % 2], 1, 500 + 37 * n, n % 9) for n, s in enumerate(skus)
    )
    supply = Supply(offers, {"near": Supplier("near", 400, 1_500), "far": Supplier("far", 900)})
    judge = Judge(shop, supply)
    curve = Restocking(TreeEngine(shop), supply).curve()
    assert len(curve) >= 4
    for before, after in itertools.pairwise(curve):
        check(after, judge)
        assert cp_sat(judge, after.served) == after.cost
        assert cp_sat(judge, before.served + 0.5) == after.cost


# ---------------------------------------------------------------- the demo


@lru_cache(maxsize=1)
def demo() -> tuple[OpenCatalogue, TreeEngine]:
    return the_demo(), the_demo().engine


@lru_cache(maxsize=1)
def restocking_of_the_demo() -> Restocking:
    loaded, engine = demo()
    return Restocking(engine, loaded.supply)


def test_the_demo_s_plan_is_served_by_what_it_orders() -> None:
    """With the ordered pieces on the shelf, coverage is what the plan promised."""
    loaded, engine = demo()
    plan = restocking_of_the_demo().target(0.5)
    assert plan.reached and plan.proven and plan.share >= 0.5
    stock = {s: p.stock for s, p in loaded.catalogue.parts.items()}
    for line in plan.lines:
        stock[line.offer.sku] += line.packs * line.offer.pack
    assert coverage(engine, stock=stock).total.of(Standing.STOCK) == plan.served
    assert sum(len(lines) for lines in plan.orders.values()) == len(plan.lines)


def test_the_curve_only_rises_and_ends_at_the_most() -> None:
    restocking = restocking_of_the_demo()
    curve = restocking.curve()
    assert curve[0].cost == 0 and curve[0].served == restocking.before
    assert all(a.cost < b.cost and a.served < b.served for a, b in itertools.pairwise(curve))
    assert curve[-1].served == restocking.reachable
    short = restocking.curve(2)
    assert short == tuple(
        replace(p, rounds=q.rounds, cuts=q.cuts) for p, q in zip(curve[:3], short, strict=True)
    )
    over = restocking.target(0.99)
    assert not over.reached
    assert (over.served, over.cost) == (curve[-1].served, curve[-1].cost)


@pytest.mark.long
def test_shorter_lead_times_never_serve_more() -> None:
    loaded, engine = demo()
    soon = Restocking(engine, loaded.supply, within_days=5)
    late = Restocking(engine, loaded.supply)
    assert soon.reachable <= late.reachable
    for line in soon.spend(40_000).lines:
        assert line.offer.lead_days is not None and line.offer.lead_days <= 5
    assert soon.spend(40_000).lead_days is not None


def test_without_a_price_list_parts_are_sold_singly_at_their_own_price() -> None:
    loaded, engine = demo()
    plan = Restocking(engine).target(0.5)
    for line in plan.lines:
        assert line.cost == line.packs * (loaded.catalogue.parts[line.offer.sku].price or 0)
    assert plan.reached and plan.orders.keys() == {""}


def test_a_stop_in_time_states_its_gap() -> None:
    loaded, engine = demo()
    hurried = Restocking(engine, loaded.supply, seconds=0.0)
    plan = hurried.spend(30_000)
    assert plan.rounds == 0 and not plan.proven
    assert plan.gap > 0 and plan.bound == hurried.reachable and plan.lines == ()


def test_nothing_asked_is_nothing_to_order() -> None:
    _, engine = demo()
    plan = Restocking(engine, enquiries=[]).target(1.0)
    assert (plan.lines, plan.cost, plan.share, plan.proven) == ((), 0, 0.0, True)
    assert len(Restocking(engine, enquiries=[Enquiry("A")]).curve()) == 1


@pytest.mark.parametrize("share", [-0.1, 1.1])
def test_a_target_is_a_share(share: float) -> None:
    _, engine = demo()
    with pytest.raises(ValueError, match="share"):
        Restocking(engine, enquiries=[]).target(share)


def test_a_budget_is_not_below_zero() -> None:
    _, engine = demo()
    with pytest.raises(ValueError, match="nothing"):
        Restocking(engine, enquiries=[]).spend(-1)
