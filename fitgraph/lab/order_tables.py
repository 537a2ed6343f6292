"""What to order: lines by supplier, what more money buys, and whether it is proven."""

from __future__ import annotations

from html import escape

from markupsafe import Markup

from fitgraph.lab.tables import MOST_NAMES, TOLD_FIGURE, long_table, part_html
from fitgraph.model import Catalogue, Supply
from fitgraph.report.purchases import bound_text, served_text
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, money_of
from fitgraph.stock import OrderPlan
from fitgraph.stock.known_plans import changes_of
from fitgraph.wording import first_of, plural


def days_text(days: int | None) -> str:
    """Return a lead time in words.

    Examples
    --------
    >>> days_text(1), days_text(None)
    ('1 day', 'not known')
    """
    return "not known" if days is None else plural(days, "day")


def proof_text(plan: OrderPlan, after: OrderPlan | None, *, target: bool) -> str:
    """Return whether better orders could exist.

    Parameters
    ----------
    plan : OrderPlan
        The orders.
    after : OrderPlan or None
        The next step of the curve, where there is one: its cost proves that nothing between
        serves more.
    target : bool
        Whether a share was asked for, not a sum.
    """
    open_ = [p for p in (plan, after) if p is not None and not p.proven]
    if not open_:
        if target:
            return "Proven: no cheaper orders serve as many (gap 0%)."
        return "Proven: no orders for this sum serve more (gap 0%)."
    return f"Not proven: {bound_text(max(p.gap for p in open_))}."


def plan_html(
    plan: OrderPlan, proof: str, supply: Supply, catalogue: Catalogue, missed: float | None = None
) -> str:
    """Return orders by supplier, with packs, costs, lead times and what they serve.

    Parameters
    ----------
    plan : OrderPlan
        The orders.
    proof : str
        From :func:`proof_text`.
    supply : Supply
        Gives the deliveries.
    catalogue : Catalogue
        Names the parts.
    missed : float or None
        The share that was asked for and is out of reach.
    """
    told, money = "", catalogue.vocabulary.money
    if missed is not None:
        told = (
            f'<div class="fg-alert" role="status"><p>{missed:.0%} is out of reach with what can be '
            f"ordered. This is the most: {plan.share:.0%}.</p></div>"
        )
    served = (
        f"{'' if plan.lines else 'Nothing to order: '}{served_text(plan, catalogue.vocabulary)}."
    )
    text = (
        f'{told}<p role="status"><strong>{escape(served)}</strong></p>'
        f'<p class="fg-note">{escape(proof)}</p>'
    )
    amount = money_of(catalogue.vocabulary)
    for supplier, lines in plan.orders.items():
        goods, delivery = sum(line.cost for line in lines), supply.terms(supplier).delivery
        caption = f"{supplier or 'Any supplier'}: goods {money(goods)}"
        table = Table.of(
            "orders",
            lines,
            (
                Column("part", title="Part"),
                lambda line: Markup(part_html(line.offer.sku, catalogue, "<br>")),
            ),
            (Column("packs", COUNT, "Packs"), lambda line: line.packs),
            (Column("pieces", COUNT, "Pieces in one"), lambda line: line.offer.pack),
            (Column("price", amount, "A pack"), lambda line: line.offer.pack_price),
            (Column("cost", amount, "Cost"), lambda line: line.cost),
            (Column("days", TOLD_FIGURE, "Comes in"), lambda line: days_text(line.offer.lead_days)),
            title=caption + (f", delivery {money(delivery)}" if delivery else ""),
        )
        text += long_table(table, len(table.rows))
    if plan.lines:
        numbers = ", ".join(e.called for e in plan.opened)
        last = plan.lead_days
        when = (
            "one lead time is not known" if last is None else f"all is there in {days_text(last)}"
        )
        text += (
            f"<p>With deliveries {escape(money(plan.cost))}; {when}.</p>"
            f"<details><summary>The enquiries that these orders serve</summary>"
            f"<p>{escape(numbers)}</p></details>"
        )
    return text


def swap_text(before: OrderPlan, after: OrderPlan, catalogue: Catalogue) -> str:
    """Return which orders one plan has and another has not, in words; empty for none."""
    added, dropped = changes_of(before, after)
    told = [f"with {first_of(map(catalogue.called, added), MOST_NAMES)}"] if added else []
    told += [f"without {first_of(map(catalogue.called, dropped), MOST_NAMES)}"] if dropped else []
    return ", ".join(told)


def next_text(plan: OrderPlan, after: OrderPlan | None, catalogue: Catalogue) -> str:
    """Return what the next unit of money buys."""
    if after is None:
        return "More money serves nobody else: what is left cannot be ordered for."
    more = after.cost - plan.cost
    change, money = swap_text(plan, after, catalogue), catalogue.vocabulary.money
    return (
        f"The next step: {money(more)} more ({money(after.cost)} in all) "
        f"serve {after.served - plan.served:g} more, {change or 'in other packs'}."
    )
