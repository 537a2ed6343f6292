"""Orders with proof, and what more money buys, in one answer."""

from __future__ import annotations

from fitgraph.demand.questions import LeftOut
from fitgraph.model import Catalogue, Supply
from fitgraph.records import dataclass
from fitgraph.stock.restock import OrderPlan, Restocking


@dataclass(frozen=True, slots=True)
class Plans:
    """What to order.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts and words are meant.
    supply : Supply
        Gives the suppliers' terms.
    target : float or None
        The share that was asked for.
    plan : OrderPlan or None
        The orders for it, or for a sum; None where only the curve was asked for.
    curve : tuple of OrderPlan
        What more money buys, cheapest first.
    reachable : float
        Enquiries that all parts which can be ordered would serve: an upper bound, as suppliers'
        least and most orders do not count for it.
    left_out : tuple of LeftOut
        Enquiries that could not be asked, and why.
    """

    catalogue: Catalogue
    supply: Supply
    target: float | None
    plan: OrderPlan | None
    curve: tuple[OrderPlan, ...]
    reachable: float
    left_out: tuple[LeftOut, ...]

    @property
    def reached(self) -> bool:
        """Whether the share that was asked for can be reached."""
        return self.plan is None or self.plan.reached


def plans(
    restocking: Restocking,
    catalogue: Catalogue,
    supply: Supply,
    *,
    target: float | None = None,
    spend: int | None = None,
    steps: int = 12,
) -> Plans:
    """Return the cheapest orders for a share, or the most coverage for a sum, and the curve.

    Parameters
    ----------
    restocking : Restocking
        Over the compiled catalogue.
    catalogue : Catalogue
        Whose parts and words are meant.
    supply : Supply
        Gives the suppliers' terms.
    target : float, optional
        Share of all enquiries.
    spend : int, optional
        Most to spend, in minor currency units; looked at where no share is given.
    steps : int
        Steps of the curve.
    """
    plan = None
    if target is not None:
        plan = restocking.target(target)
    elif spend is not None:
        plan = restocking.spend(spend)
    curve = restocking.curve(steps) if steps or plan is None else ()
    return Plans(
        catalogue, supply, target, plan, tuple(curve), restocking.reachable, restocking.left_out
    )
