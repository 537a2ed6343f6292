"""What to order, with proof, and what more money buys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from fitgraph.model import Catalogue, Supply, Vocabulary
from fitgraph.report.blocks import Block, Report, Say, Section, Tone, quiet
from fitgraph.report.hints import Hints
from fitgraph.report.standing_words import of_all
from fitgraph.report.tables import Column, Table
from fitgraph.report.tallies import NO_ENQUIRIES
from fitgraph.report.unasked import unasked_data
from fitgraph.report.values import (
    COUNT,
    DAYS,
    FINE_SHARE,
    FLAG,
    LIST,
    SHARE,
    WEIGHT,
    Unit,
    money_of,
    number,
)
from fitgraph.stock import OrderPlan
from fitgraph.stock.known_plans import changes_of, reaches, steps_of
from fitgraph.stock.plans import Plans
from fitgraph.wording import first_of, plural

#: A lead time in words.
COMES = Unit(partial(plural, one="day"), int, "d", blank="not known")

#: Parts named at once; data has all.
_NAMED = 3


def _plan(plan: OrderPlan, vocabulary: Vocabulary, supply: Supply) -> dict[str, Any]:
    amount = money_of(vocabulary).data
    return {
        "reached": plan.reached,
        "cost": amount(plan.cost),
        "served": number(plan.served),
        "before": number(plan.before),
        "enquiries": number(plan.total),
        "share": number(plan.share),
        "orders": [
            {
                "supplier": supplier,
                "goods": amount(sum(line.cost for line in lines)),
                "delivery": amount(supply.terms(supplier).delivery),
                "lines": [
                    {
                        "sku": line.offer.sku,
                        "packs": line.packs,
                        "pack": line.offer.pack,
                        "cost": amount(line.cost),
                        "lead_days": line.offer.lead_days,
                    }
                    for line in lines
                ],
            }
            for supplier, lines in plan.orders.items()
        ],
        "lead_days": plan.lead_days,
        "opens": [e.number for e in plan.opened],
        "gap": number(plan.gap),
        "proven": plan.proven,
    }


def data(found: Plans) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    vocabulary = found.catalogue.vocabulary
    return {
        "plan": None if found.plan is None else _plan(found.plan, vocabulary, found.supply),
        "reachable": number(found.reachable),
        "curve": [_plan(p, vocabulary, found.supply) for p in found.curve],
        "left_out": unasked_data(found.left_out),
        "currency": vocabulary.currency,
    }


def orders_table(plan: OrderPlan, supply: Supply, catalogue: Catalogue) -> Table:
    """Return the lines of all orders, deliveries among them."""
    money = money_of(catalogue.vocabulary)
    rows: list[tuple[Any, ...]] = []
    for supplier, lines in plan.orders.items():
        for line in lines:
            offer = line.offer
            rows.append(
                (
                    *(supplier, offer.sku, catalogue.parts[offer.sku].name, line.packs),
                    *(offer.pack, offer.pack_price, line.cost, offer.lead_days),
                )
            )
        delivery = supply.terms(supplier).delivery
        if delivery:
            rows.append((supplier, "", "delivery", None, None, None, delivery, None))
    columns = (
        *(Column("supplier"), Column("sku"), Column("name"), Column("packs", COUNT)),
        *(Column("pieces_in_pack", COUNT), Column("pack_price", money), Column("cost", money)),
        Column("lead_days", DAYS),
    )
    return Table("orders", columns, tuple(rows))


def curve_table(curve: Sequence[OrderPlan], vocabulary: Vocabulary) -> Table:
    """Return the steps of the curve: what each costs, serves, and orders otherwise."""
    money = money_of(vocabulary)
    rows = [
        (
            plan.cost,
            *changes_of(before, plan),
            plan.served,
            plan.share,
            _more(before, plan),
            plan.proven,
        )
        for before, plan in steps_of(curve)
    ]
    columns = (
        *(Column("cost", money), Column("orders", LIST), Column("drops", LIST)),
        *(Column("served", WEIGHT), Column("share", FINE_SHARE), Column("more", _MORE)),
        Column("proven", FLAG),
    )
    return Table("curve", columns, tuple(rows))


#: What a step serves more; the first has no step before it.
_MORE = replace(WEIGHT, blank="")


def _more(before: OrderPlan | None, plan: OrderPlan) -> float | None:
    return None if before is None else plan.served - before.served


def tables(found: Plans) -> tuple[Table, ...]:
    """Return the lines of the orders, deliveries among them, and the steps of the curve."""
    curve = curve_table(found.curve, found.catalogue.vocabulary)
    if found.plan is None:
        return (curve,)
    return (orders_table(found.plan, found.supply, found.catalogue), curve)


def order_blocks(plan: OrderPlan, supply: Supply, catalogue: Catalogue) -> tuple[Block, ...]:
    """Return orders by supplier, then what they cost with deliveries, and when all is there."""
    money = money_of(catalogue.vocabulary)
    pieces: list[Block] = []
    for supplier, lines in plan.orders.items():
        goods, delivery = sum(line.cost for line in lines), supply.terms(supplier).delivery
        told = f"{supplier or 'Any supplier'}: goods {money.show(goods)}"
        table = Table.of(
            "orders",
            lines,
            (Column("part"), lambda line: catalogue.called(line.offer.sku)),
            (Column("packs", COUNT), lambda line: line.packs),
            (Column("pieces", COUNT, "pieces in one"), lambda line: line.offer.pack),
            (Column("price", money, "a pack"), lambda line: line.offer.pack_price),
            (Column("cost", money), lambda line: line.cost),
            (Column("days", COMES, "comes in"), lambda line: line.offer.lead_days),
            title=told + (f", delivery {money.show(delivery)}" if delivery else ""),
            whole=True,
        )
        pieces.append(Section("", (table,)))
    if plan.lines:
        days = plan.lead_days
        when = (
            "one lead time is not known" if days is None else f"all is there in {COMES.show(days)}"
        )
        whole = Say(f"With deliveries {money.show(plan.cost)}; {when}.", deep=1)
        pieces.append(Section("", (whole,)))
    return tuple(pieces)


def opened_section(plan: OrderPlan) -> tuple[Section, ...]:
    """Return which enquiries orders serve, where there are orders."""
    numbers = Say(", ".join(e.called for e in plan.opened))
    told = Section("The enquiries that these orders serve", (numbers,), folded=True)
    return (told,) if plan.lines else ()


def proof_text(plan: OrderPlan, after: OrderPlan | None = None, *, target: bool) -> str:
    """Return whether better orders could exist.

    Parameters
    ----------
    plan : OrderPlan
        The orders.
    after : OrderPlan, optional
        The next step of the curve, where there is one: its cost proves that nothing between
        serves more.
    target : bool
        Whether a share was asked for, not a sum.
    """
    open_ = [p for p in (plan, after) if p is not None and not p.proven]
    if open_:
        return f"Not proven: within {max(p.gap for p in open_):.1%} of the best there could be."
    best = "no cheaper orders serve as many" if target else "no orders for this sum serve more"
    return f"Proven: {best} (gap 0%)."


def changed_text(before: OrderPlan | None, plan: OrderPlan, catalogue: Catalogue) -> str:
    """Return which orders a plan has and the one before has not, and which it drops, in words."""
    changes = zip(("with", "without"), changes_of(before, plan), strict=True)
    named = [f"{how} {first_of(map(catalogue.called, s), _NAMED)}" for how, s in changes if s]
    return ", ".join(named)


def next_text(plan: OrderPlan, after: OrderPlan | None, catalogue: Catalogue) -> str:
    """Return what the next unit of money buys."""
    if after is None:
        return "More money serves nobody else: what is left cannot be ordered for."
    money = catalogue.vocabulary.money
    return (
        f"The next step: {money(after.cost - plan.cost)} more ({money(after.cost)} in all) "
        f"serve {after.served - plan.served:g} more, "
        f"{changed_text(plan, after, catalogue) or 'in other packs'}."
    )


def _curve_shown(found: Plans) -> Table:
    catalogue = found.catalogue
    return Table.of(
        "curve",
        steps_of(found.curve),
        (Column("spend", money_of(catalogue.vocabulary)), lambda step: step[1].cost),
        (Column("orders"), lambda step: changed_text(step[0], step[1], catalogue) or "no order"),
        (Column("served", WEIGHT), lambda step: step[1].served),
        (Column("share", SHARE), lambda step: step[1].share),
        (Column("more", _MORE), lambda step: _more(*step)),
    )


def serves_text(plan: OrderPlan, vocabulary: Vocabulary) -> str:
    """Return what orders cost and serve, as the beginning of a sentence."""
    return f"{vocabulary.money(plan.cost)} of orders serve {of_all(plan.served, plan.total)}"


def step_text(before: OrderPlan | None, plan: OrderPlan, catalogue: Catalogue) -> str:
    """Return what a step of the curve costs and serves, and what it orders otherwise."""
    text = serves_text(plan, catalogue.vocabulary)
    if before is None:
        return text
    return f"{text}, {_more(before, plan):g} more, {changed_text(before, plan, catalogue)}"


def _served_text(plan: OrderPlan, vocabulary: Vocabulary) -> str:
    if not plan.total:
        return "there are no enquiries in this catalogue"
    if not plan.lines:
        are = "is" if plan.total == 1 else "are"
        return f"{of_all(plan.before, plan.total)} {are} served from stock"
    return f"{serves_text(plan, vocabulary)}, {plan.before:g} of them from stock already"


def plan_headline(plan: OrderPlan, vocabulary: Vocabulary, target: float | None = None) -> str:
    """Return what orders cost and serve, and whether that is the share that was asked for.

    Parameters
    ----------
    plan : OrderPlan
        The orders.
    vocabulary : Vocabulary
        Gives the currency.
    target : float, optional
        That share.
    """
    missed = target is not None and not reaches(plan, target)
    text = _served_text(plan, vocabulary)
    if not plan.lines:
        wanted = "" if target is None or missed else f" for {target:.0%}"
        text = f"Nothing to order{wanted}: {text}"
    if missed:
        text = f"{target:.0%} is out of reach with what can be ordered; this is the most: {text}"
    return f"{text}."


def report(found: Plans, hints: Hints) -> Report:
    """Return the answer for people."""
    asked = [p.total for p in (found.plan, *found.curve) if p is not None]
    if asked and not any(asked):
        return Report(NO_ENQUIRIES)
    headline, pieces = "", list[Block]()
    if (plan := found.plan) is not None:
        headline = plan_headline(plan, found.catalogue.vocabulary, found.target)
        pieces.append(quiet(proof_text(plan, target=found.target is not None)))
        pieces += order_blocks(plan, found.supply, found.catalogue)
    if found.curve:
        shown: list[Block] = [_curve_shown(found)]
        if found.curve[-1].served < found.reachable:
            text = (
                f"More money serves more, {found.reachable:g} at the most: {hints.option('steps')}"
            )
            shown.append(Say(text, Tone.QUIET, deep=1))
        pieces.append(Section("What more money buys", tuple(shown)))
    return Report(headline, tuple(pieces))
