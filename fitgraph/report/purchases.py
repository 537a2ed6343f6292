"""What to order, with proof, and what more money buys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from fitgraph.model import Catalogue, Supply, Vocabulary
from fitgraph.report.blocks import Block, Report, Say, Section, Tone
from fitgraph.report.hints import Hints
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
    TEXT,
    WEIGHT,
    Unit,
    money_of,
    number,
)
from fitgraph.stock import OrderPlan
from fitgraph.stock.known_plans import changes_of
from fitgraph.stock.plans import Plans
from fitgraph.wording import plural

#: Told as "3 × 10", to the right like a figure.
_PACKS = Unit(str, str)


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
    rows = []
    for before, plan in zip([None, *curve], curve, strict=False):
        added, dropped = changes_of(before, plan)
        step = None if before is None else plan.served - before.served
        rows.append((plan.cost, added, dropped, plan.served, plan.share, step, plan.proven))
    columns = (
        *(Column("cost", money), Column("orders", LIST), Column("drops", LIST)),
        *(Column("served", WEIGHT), Column("share", FINE_SHARE), Column("more", _MORE)),
        Column("proven", FLAG),
    )
    return Table("curve", columns, tuple(rows))


#: What a step serves more; the first has no step before it.
_MORE = replace(WEIGHT, blank="")


def tables(found: Plans) -> tuple[Table, ...]:
    """Return the lines of the orders, deliveries among them, and the steps of the curve."""
    curve = curve_table(found.curve, found.catalogue.vocabulary)
    if found.plan is None:
        return (curve,)
    return (orders_table(found.plan, found.supply, found.catalogue), curve)


def _plan_blocks(found: Plans, plan: OrderPlan) -> list[Block]:
    money = money_of(found.catalogue.vocabulary)
    pieces: list[Block] = []
    for supplier, lines in plan.orders.items():
        rows: list[tuple[Any, ...]] = [
            (
                found.catalogue.called(line.offer.sku),
                f"{line.packs} × {line.offer.pack}",
                "?" if line.offer.lead_days is None else line.offer.lead_days,
                line.cost,
            )
            for line in lines
        ]
        delivery = found.supply.terms(supplier).delivery
        if delivery:
            rows.append(("delivery", "", "", delivery))
        columns = (
            Column("sku", TEXT, f"from {supplier or 'any supplier'}"),
            Column("packs", _PACKS, "packs × pieces"),
            Column("lead_days", _PACKS, "days"),
            Column("cost", money),
        )
        pieces.append(Section("", (Table("orders", columns, tuple(rows)),)))
    return pieces


def _curve_shown(found: Plans) -> Table:
    rows, called = [], found.catalogue.called
    for row in curve_table(found.curve, found.catalogue.vocabulary).rows:
        cost, added, dropped, served, share, step, _ = row
        change = [f"+{called(s)}" for s in added] + [f"−{called(s)}" for s in dropped]
        rows.append((cost, ", ".join(change) or "no order", served, share, step))
    columns = (
        *(Column("spend", money_of(found.catalogue.vocabulary)), Column("orders")),
        *(Column("served", WEIGHT), Column("share", SHARE), Column("more", _MORE)),
    )
    return Table("curve", columns, tuple(rows))


def served_text(plan: OrderPlan, vocabulary: Vocabulary) -> str:
    """Return what orders cost and serve, as the beginning of a sentence."""
    if not plan.total:
        return "there are no enquiries in this catalogue"
    asked = plural(plan.total, "enquiry", "enquiries")
    if not plan.lines:
        return (
            f"{plan.before:g} of {asked} ({plan.share:.0%}) "
            f"{'is' if plan.total == 1 else 'are'} served from stock"
        )
    return (
        f"{vocabulary.money(plan.cost)} of orders serve {plan.served:g} of {asked} "
        f"({plan.share:.0%}), {plan.before:g} of them from stock already"
    )


def bound_text(gap: float) -> str:
    """Return how far orders may be from the best, where they are not proven to be it."""
    return f"within {gap:.1%} of the best there could be"


def _plan_headline(found: Plans, plan: OrderPlan) -> str:
    text = served_text(plan, found.catalogue.vocabulary)
    if not plan.lines:
        wanted = "" if found.target is None or not plan.reached else f" for {found.target:.0%}"
        text = f"Nothing to order{wanted}: {text}."
    else:
        text = f"{text}; {'proven' if plan.proven else bound_text(plan.gap)}."
    if not plan.reached and found.target is not None:
        text = f"{found.target:.0%} is out of reach; this is the most: {text}"
    return text


def report(found: Plans, hints: Hints) -> Report:
    """Return the answer for people."""
    asked = [p.total for p in (found.plan, *found.curve) if p is not None]
    if asked and not any(asked):
        return Report(NO_ENQUIRIES)
    headline, pieces = "", list[Block]()
    if found.plan is not None:
        headline = _plan_headline(found, found.plan)
        pieces += _plan_blocks(found, found.plan)
    if found.curve:
        shown: list[Block] = [_curve_shown(found)]
        if found.curve[-1].served < found.reachable:
            text = (
                f"More money serves more, {found.reachable:g} at the most: {hints.option('steps')}"
            )
            shown.append(Say(text, Tone.QUIET, deep=1))
        pieces.append(Section("What more money buys", tuple(shown)))
    return Report(headline, tuple(pieces))
