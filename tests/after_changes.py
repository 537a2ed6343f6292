"""A question after a change that an answer proposed, to be asked again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fitgraph.explain.changes import (
    LOOSEN_MASS,
    ORDER,
    OTHER_MATERIAL,
    RAISE_BUDGET,
    Change,
)
from fitgraph.model import Catalogue
from fitgraph.solve.request import Request, Services, find_part


def applied(
    change: Change, skus: Sequence[str], done: Mapping[str, Sequence[str]] | None = None
) -> tuple[tuple[str, ...], dict[str, tuple[str, ...]]]:
    """Return the stock numbers, and the work done to them, after a change.

    Parameters
    ----------
    change : Change
        From :class:`fitgraph.explain.Explainer` for the same question.
    skus : sequence of str
        The stock numbers that were asked about.
    done : mapping of str to sequence of str, optional
        The work that had been done.
    """
    after = {sku: tuple((done or {}).get(sku, ())) for sku in skus}
    for step in change.actions:
        if step.before.part is not None and step.before.part != step.after.part:
            after.pop(step.before.part.sku, None)
        if step.after.part is not None:
            after[step.after.part.sku] = step.after.services
    return tuple(after), {sku: work for sku, work in after.items() if work}


def apply_to_request(change: Change, request: Request, catalogue: Catalogue) -> Request:
    """Return a request after a change; the change's build is one of its builds.

    Parameters
    ----------
    change : Change
        From :func:`explain_request` for the same request.
    request : Request
        What was asked.
    catalogue : Catalogue
        Where its stock numbers come from.
    """

    def role_of(sku: str) -> str:
        return find_part(catalogue, sku).role

    have, want = list(request.have), list(request.want)
    for step in change.actions:
        if step.kind in (RAISE_BUDGET, LOOSEN_MASS, OTHER_MATERIAL, ORDER):
            continue
        if step.before.part != step.after.part:
            have = [s for s in have if role_of(s) != step.role]
            want = [s for s in want if role_of(s) != step.role]
            if step.after.part is not None:
                want.append(step.after.part.sku)
        if step.services and not (
            step.after.part is not None
            and step.after.part.sku in have
            and request.services is Services.OWNED
        ):
            request = replace(request, services=Services.ANY)
    for step in change.actions:
        if step.kind == RAISE_BUDGET and request.budget is not None:
            request = replace(request, budget=request.budget + int(step.amount or 0))
        elif step.kind == LOOSEN_MASS and request.max_mass_g is not None:
            loose = None if step.amount is None else request.max_mass_g + step.amount
            request = replace(request, max_mass_g=loose)
        elif step.kind == OTHER_MATERIAL:
            request = replace(request, material=None)
        elif step.kind == ORDER:
            request = replace(request, in_stock=False)
    return replace(request, have=tuple(have), want=tuple(want))
