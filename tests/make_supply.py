"""Write the demo's ``supply.csv``, ``suppliers.csv`` and ``stock_counts.csv``: all of it invented.

``python -m tests.make_supply [FOLDER]`` reads the parts, stock and enquiries beside it. A pack
costs the shop a little over half of what its parts sell for; small things come in packs, dear
ones singly. The counts go back from today's shelf: what stands there now came and went in
lots, so that the early months have parts that are gone today.
"""

from __future__ import annotations

import csv
import datetime
import random
import sys
from pathlib import Path

FOLDER = Path(__file__).resolve().parent.parent / "data" / "demo"

#: Supplier, share of parts that it can send, days, delivery, least and most worth of an order.
SUPPLIERS = (
    ("Dunmarrow Wholesale", 0.75, (2, 5), "9.90", "60.00", ""),
    ("Quessary Imports", 0.45, (12, 28), "24.00", "150.00", "1500.00"),
    ("Vessock & Tarrowby", 0.30, (1, 2), "14.50", "", "400.00"),
)
#: A pack holds so many, by the price of one in major units: the first limit above it counts.
PACKS = ((8, 10), (20, 5), (45, 2), (10**6, 1))
#: Parts that came later: they draw for themselves, so that all others stay as they are.
LATE = ("FORK-TAR-08", "FORK-TAR-09", "FORK-OST-08", "FORK-OST-09", "FORK-PEL-03", "FORK-VEN-08")
DAYS = [datetime.date(2026, month, 1) for month in range(1, 12)]


def rows_of(folder: Path, name: str) -> list[dict[str, str]]:
    """Return the rows of a table."""
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def make_supply(folder: Path) -> list[tuple[str, ...]]:
    """Return the offers."""
    every = random.Random(23)
    found: list[tuple[str, ...]] = []
    for part in rows_of(folder, "parts.csv"):
        if not part["price"]:
            continue
        price = float(part["price"])
        rng = random.Random(f"23 {part['sku']}") if part["sku"] in LATE else every
        for name, share, (soon, late), _, _, _ in SUPPLIERS:
            if rng.random() >= share:
                continue
            pack = next(n for limit, n in PACKS if price < limit)
            cost = price * pack * rng.uniform(0.52, 0.66)
            most = "" if rng.random() < 0.8 else str(rng.randint(1, 4))
            days = str(rng.randint(soon, late))
            found.append((part["sku"], name, str(pack), f"{cost:.2f}", days, most))
    return found


def make_counts(folder: Path) -> list[tuple[str, ...]]:
    """Return what the shelf held on the first of each month."""
    every = random.Random(31)
    late = {sku: random.Random(f"31 {sku}") for sku in LATE}
    stock = {row["sku"]: int(row["quantity"]) for row in rows_of(folder, "stock.csv")}
    held = dict(stock)
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


def write(folder: Path) -> None:
    """Write the three tables."""
    terms = [(name, cost, least, most) for name, _, _, cost, least, most in SUPPLIERS]
    tables = {
        "supply.csv": [
            ("sku", "supplier", "pack", "pack_price", "lead_days", "max_packs"),
            *make_supply(folder),
        ],
        "suppliers.csv": [("supplier", "delivery", "least_order", "most_order"), *terms],
        "stock_counts.csv": [("date", "sku", "quantity"), *make_counts(folder)],
    }
    for name, rows in tables.items():
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
