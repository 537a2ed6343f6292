"""The steps of a restock curve as far as they are worked out, and what they answer at once."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from fitgraph.records import dataclass
from fitgraph.stock.restock import OrderPlan

#: A share of enquiries that differs by less than this is the same.
_EPSILON = 1e-9


@dataclass(frozen=True, slots=True)
class KnownPlans:
    """Neighbouring steps of a curve from no order up: between two, no orders serve more.

    Parameters
    ----------
    plans : sequence of OrderPlan
        From :meth:`fitgraph.stock.Restocking.steps`, cheapest first.
    complete : bool
        Whether the last of them serves all that orders can serve.
    """

    plans: Sequence[OrderPlan] = ()
    complete: bool = False

    def within(self, budget: int | None) -> OrderPlan | None:
        """Return the plan that serves most for a sum; None while that is not known.

        Parameters
        ----------
        budget : int or None
            In minor currency units; None for as much as it takes.
        """
        place = self.place_within(budget)
        return None if place is None else self.plans[place]

    def place_within(self, budget: int | None) -> int | None:
        """Return the place of that plan."""
        if budget is None:
            return len(self.plans) - 1 if self.complete else None
        place = bisect_right([p.cost for p in self.plans], budget) - 1
        return place if place >= 0 and (self.complete or place + 1 < len(self.plans)) else None

    def place_reaching(self, share: float) -> int | None:
        """Return the place of the cheapest plan that reaches a share of all enquiries.

        Of two that cost the same (no order, and goods for nothing) the one that serves more.
        Where none does and all are known, that of the plan that serves most.
        """
        found = (p.cost for p in self.plans if reaches(p, share))
        cost = next(found, None)
        if cost is None:
            return len(self.plans) - 1 if self.complete else None
        return bisect_right([p.cost for p in self.plans], cost) - 1


def reaches(plan: OrderPlan, share: float) -> bool:
    """Return whether a plan serves a share of all enquiries."""
    return plan.share >= share - _EPSILON


def steps_of(plans: Sequence[OrderPlan]) -> list[tuple[OrderPlan | None, OrderPlan]]:
    """Return the plans of a curve, each with the one before it; the first has none."""
    return list(zip([None, *plans], plans, strict=False))


def changes_of(
    before: OrderPlan | None, plan: OrderPlan
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the stock numbers that a plan orders and the one before does not, and those it drops.

    Parameters
    ----------
    before : OrderPlan or None
        The step before; None where there is none.
    plan : OrderPlan
        The step.
    """
    held = set() if before is None else {line.offer.sku for line in before.lines}
    now = {line.offer.sku for line in plan.lines}
    return tuple(sorted(now - held)), tuple(sorted(held - now))
