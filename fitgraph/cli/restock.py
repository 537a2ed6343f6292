"""``fitgraph restock``: the cheapest orders for a coverage, or the most coverage for a sum."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.gaps import grid
from fitgraph.cli.options import AsJson, CatalogueFolder, read_budget
from fitgraph.cli.output import (
    ANSWER,
    NO,
    BadInputError,
    number,
    screen,
    show,
    show_json,
    styled,
)
from fitgraph.cli.reading import read, remark_findings
from fitgraph.units import major, show_money

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.model import Supply, Vocabulary
    from fitgraph.stock import Plan

_PERCENT = 100.0


def read_target(text: str | None) -> float | None:
    """Return a typed share, None where there is none.

    Raises
    ------
    BadInputError
        If it is no share.

    Examples
    --------
    >>> read_target("0.9"), read_target("85 %")
    (0.9, 0.85)
    """
    if text is None:
        return None
    plain = text.strip().replace(",", ".")
    try:
        share = float(plain.removesuffix("%")) / (_PERCENT if plain.endswith("%") else 1.0)
    except ValueError:
        share = -1.0
    if not 0 <= share <= 1:
        raise BadInputError(f"--target {text!r} is no share; write it like 0.9 or 90%")
    return share


@contextmanager
def _solver_speaks_aside() -> Iterator[None]:
    """Send what the solver's own code prints to the error stream, so that JSON stays JSON."""
    kept = os.dup(1)
    os.dup2(2, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def _plan_json(plan: Plan, vocabulary: Vocabulary, supply: Supply) -> dict[str, Any]:
    digits = vocabulary.minor_digits
    return {
        "reached": plan.reached,
        "cost": major(plan.cost, digits),
        "served": number(plan.served),
        "before": number(plan.before),
        "enquiries": number(plan.total),
        "share": number(plan.share),
        "orders": [
            {
                "supplier": supplier,
                "goods": major(sum(line.cost for line in lines), digits),
                "delivery": major(supply.terms(supplier).delivery, digits),
                "lines": [
                    {
                        "sku": line.offer.sku,
                        "packs": line.packs,
                        "pack": line.offer.pack,
                        "cost": major(line.cost, digits),
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


def _plan_lines(
    plan: Plan, vocabulary: Vocabulary, supply: Supply, target: float | None
) -> list[RenderableType]:
    def money(minor: int) -> str:
        return show_money(minor, vocabulary.currency, vocabulary.minor_digits)

    proof = "proven" if plan.proven else f"within {plan.gap:.1%} of the best there could be"
    title = (
        f"{money(plan.cost)} of orders serve {plan.served:g} of {plan.total:g} enquiries "
        f"({plan.share:.0%}), {plan.before:g} of them from stock already; {proof}."
    )
    if not plan.lines:
        title = f"Nothing to order: {plan.before:g} of {plan.total:g} enquiries are served."
    lines: list[RenderableType] = []
    if not plan.reached and target is not None:
        lines.append(styled(f"{target:.0%} is out of reach; this is the most:", "bold"))
    lines.append(styled(title, "bold"))
    for supplier, of_supplier in plan.orders.items():
        rows = [
            [
                f"  {line.offer.sku}",
                f"{line.packs} × {line.offer.pack}",
                "?" if line.offer.lead_days is None else f"{line.offer.lead_days}",
                money(line.cost),
            ]
            for line in of_supplier
        ]
        delivery = supply.terms(supplier).delivery
        if delivery:
            rows.append(["  delivery", "", "", money(delivery)])
        name = supplier or "any supplier"
        lines += ["", grid([f"  from {name}", "packs × pieces", "days", "cost"], rows)]
    return lines


def _curve_lines(curve: Sequence[Plan], vocabulary: Vocabulary) -> list[RenderableType]:
    rows = []
    for before, plan in zip([None, *curve], curve, strict=False):
        step = "" if before is None else f"{plan.served - before.served:g}"
        held = set() if before is None else {line.offer.sku for line in before.lines}
        now = {line.offer.sku for line in plan.lines}
        change = [f"+{s}" for s in sorted(now - held)] + [f"−{s}" for s in sorted(held - now)]
        rows.append(
            [
                f"  {show_money(plan.cost, vocabulary.currency, vocabulary.minor_digits)}",
                " ".join(change) or "no order",
                f"{plan.served:g}",
                f"{plan.share:.0%}",
                step,
            ]
        )
    heads = ["  spend", "orders", "served", "share", "more"]
    return [styled("What more money buys"), grid(heads, rows, left=2)]


def restock(
    catalogue: CatalogueFolder = None,
    target: Annotated[
        str | None,
        typer.Option(metavar="SHARE", help="Cheapest orders for this share, such as 0.9 or 90%."),
    ] = None,
    spend: Annotated[
        str | None, typer.Option(metavar="N", help="Most coverage for this sum, such as 500.")
    ] = None,
    within: Annotated[
        int | None,
        typer.Option(metavar="DAYS", min=0, help="Only what comes within so many days."),
    ] = None,
    steps: Annotated[
        int, typer.Option(metavar="K", min=0, max=500, help="Steps of the curve to list.")
    ] = 12,
    seconds: Annotated[
        float | None,
        typer.Option(metavar="S", min=0, help="Time for a plan; then its gap is stated."),
    ] = None,
    json: AsJson = False,
) -> None:
    """Choose what to order, with proof, and show what more money buys."""
    from fitgraph.solve import TreeEngine
    from fitgraph.stock import Restocking

    if target is not None and spend is not None:
        raise BadInputError("--target and --spend are two questions; ask one of them")
    share = read_target(target)
    loaded = read(catalogue)
    vocabulary = loaded.catalogue.vocabulary
    most = read_budget(spend, vocabulary, option="--spend")
    with _solver_speaks_aside(), screen(error=True).status("asking") as status:
        restocking = Restocking(
            TreeEngine(loaded.catalogue),
            loaded.supply,
            within_days=within,
            seconds=seconds,
            progress=lambda n, cuts: status.update(f"round {n}, {cuts} cuts"),
        )
        plan = None
        if share is not None:
            plan = restocking.target(share)
        elif most is not None:
            plan = restocking.spend(most)
        curve = restocking.curve(steps) if steps or plan is None else ()
    reached = plan is None or plan.reached
    if json:
        show_json(
            {
                "plan": None if plan is None else _plan_json(plan, vocabulary, loaded.supply),
                "reachable": number(restocking.reachable),
                "curve": [_plan_json(p, vocabulary, loaded.supply) for p in curve],
                "left_out": [{"number": x.number, "why": x.why} for x in restocking.left_out],
                "currency": vocabulary.currency,
                "findings": len(loaded.findings),
            }
        )
    else:
        remark_findings(loaded, catalogue)
        lines = [] if plan is None else _plan_lines(plan, vocabulary, loaded.supply, share)
        if curve:
            lines += [*([""] if lines else []), *_curve_lines(curve, vocabulary)]
        show(*lines)
    raise typer.Exit(ANSWER if reached else NO)
