"""Write the demo's ``supply.csv``, ``suppliers.csv`` and ``stock_counts.csv``: all of it invented.

``python -m tests.make_supply [FOLDER]`` reads the parts and the stock beside it, and the suppliers
from ``tests/demo``: the share of parts that each can send, in how many days, and its terms. A pack
costs the shop a little over half of what its parts sell for; small things come in packs, dear
ones singly. The counts go back from today's shelf: what stands there now came and went in
lots, so that the early months have parts that are gone today.
"""

from __future__ import annotations

import datetime
import random
import sys
from pathlib import Path

from tests.make_demo import BY_ROLE, FOLDER, TABLES, rows_of, write

SUPPLIERS = rows_of(TABLES / "suppliers.csv")
#: A pack holds so many, by the price of one in major units: the first limit above it counts.
PACKS = ((8, 10), (20, 5), (45, 2), (10**6, 1))
#: Parts that came later: they draw for themselves, so that all others stay as they are.
LATE = {row["sku"] for rows in BY_ROLE.values() for row in rows if row.get("late")}
DAYS = [datetime.date(2026, month, 1) for month in range(1, 12)]


def make_supply(folder: Path) -> list[tuple[str, ...]]:
    """Return the offers."""
    every = random.Random(23)
    found: list[tuple[str, ...]] = []
    for part in rows_of(folder / "parts.csv"):
        if not part["price"]:
            continue
        price = float(part["price"])
        rng = random.Random(f"23 {part['sku']}") if part["sku"] in LATE else every
        for of in SUPPLIERS:
            if rng.random() >= float(of["share"]):
                continue
            pack = next(n for limit, n in PACKS if price < limit)
            cost = price * pack * rng.uniform(0.52, 0.66)
            most = "" if rng.random() < 0.8 else str(rng.randint(1, 4))
            days = str(rng.randint(int(of["soonest"]), int(of["latest"])))
            found.append((part["sku"], of["supplier"], str(pack), f"{cost:.2f}", days, most))
    return found


def make_counts(folder: Path) -> list[tuple[str, ...]]:
    """Return what the shelf held on the first of each month."""
    every = random.Random(31)
    late = {sku: random.Random(f"31 {sku}") for sku in LATE}
    held = {row["sku"]: int(row["quantity"]) for row in rows_of(folder / "stock.csv")}
    days: list[list[tuple[str, ...]]] = []
    for date in reversed(DAYS):
        days.append([(date.isoformat(), s, str(n)) for s, n in held.items() if n])
        for sku in held:  # one month back: sold pieces stand on the shelf again, lots do not
            rng = late.get(sku, every)
            if rng.random() < 0.06:
                held[sku] += rng.randint(1, 3)
            elif held[sku] and rng.random() < 0.05:
                held[sku] = 0
    return [row for day in reversed(days) for row in day]


def build(folder: Path) -> dict[str, list[tuple[str, ...]]]:
    """Return the three tables with their headers, by file name."""
    supply = ("sku", "supplier", "pack", "pack_price", "lead_days", "max_packs")
    terms = ("supplier", "delivery", "least_order", "most_order")
    return {
        "supply.csv": [supply, *make_supply(folder)],
        "suppliers.csv": [terms, *(tuple(of[column] for column in terms) for of in SUPPLIERS)],
        "stock_counts.csv": [("date", "sku", "quantity"), *make_counts(folder)],
    }


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    write(folder, build(folder))
