"""What can be ordered, from whom, and what was held when."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import field

from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Offer:
    """A part as a supplier sells it.

    Parameters
    ----------
    pack : int
        Pieces in a pack; only whole packs are sold.
    pack_price : int
        Of one pack, in minor currency units.
    lead_days : int or None
        Days until it comes; None where nobody knows.
    max_packs : int or None
        Most packs in an order; None where there is no limit.
    """

    sku: str
    supplier: str
    pack: int
    pack_price: int
    lead_days: int | None = None
    max_packs: int | None = None


@dataclass(frozen=True, slots=True)
class Supplier:
    """A supplier's terms for one order.

    Parameters
    ----------
    delivery : int
        What a delivery costs, in minor currency units, whatever is in it.
    least_order : int
        Least worth of goods in an order, in minor currency units.
    most_order : int or None
        Most worth of goods in an order; None where there is no limit.
    """

    name: str
    delivery: int = 0
    least_order: int = 0
    most_order: int | None = None


@dataclass(frozen=True, slots=True)
class Supply:
    """Offers, suppliers' terms, and counts of the shelf.

    Parameters
    ----------
    suppliers : mapping of str to Supplier
        Terms by supplier; one that is not named has none.
    counts : mapping of date to (mapping of str to int)
        Pieces held by stock number, for each day on which the shelf was counted.
    """

    offers: tuple[Offer, ...] = ()
    suppliers: Mapping[str, Supplier] = field(default_factory=dict)
    counts: Mapping[datetime.date, Mapping[str, int]] = field(default_factory=dict)

    def terms(self, supplier: str) -> Supplier:
        """Return a supplier's terms."""
        return self.suppliers.get(supplier, Supplier(supplier))
