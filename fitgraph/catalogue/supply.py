"""Read what can be ordered (``supply.csv``, ``suppliers.csv``) and counts of the shelf."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from types import MappingProxyType

from fitgraph.catalogue.findings import ERROR, WARNING, CatalogueError, Finding, shorten
from fitgraph.catalogue.tables import Row, Table, read_table
from fitgraph.model import Catalogue, Offer, Supplier, Supply
from fitgraph.units import UnitError, parse_money

SUPPLY, SUPPLIERS, COUNTS = "supply.csv", "suppliers.csv", "stock_counts.csv"

#: More is a slip of the keyboard.
_MOST_MINOR, _MOST_WHOLE = 10**12, 10**6


class _Reader:
    def __init__(self, folder: Path, catalogue: Catalogue, findings: list[Finding]) -> None:
        self.folder, self.catalogue, self.findings = folder, catalogue, findings

    def note(
        self, file: str, row: Row, column: str, message: str, remedy: str, severity: str = ERROR
    ) -> None:
        self.findings.append(
            Finding(file, row.number, column, shorten(row[column]), message, remedy, severity)
        )

    def table(
        self, file: str, required: Sequence[str], optional: Sequence[str], loss: str
    ) -> Table:
        path = self.folder / file
        if path.exists():
            try:
                return read_table(path, required, optional, self.findings)
            except CatalogueError as error:
                for finding in error.findings:
                    self.findings.append(
                        Finding(
                            finding.file,
                            finding.row,
                            finding.column,
                            finding.value,
                            f"{finding.message}: {loss}",
                            finding.remedy,
                        )
                    )
        return Table(file, (), ())

    def money(self, file: str, row: Row, column: str) -> int | None:
        """Return an amount, None where the cell is blank or cannot be used."""
        if not row[column]:
            return None
        try:
            words = self.catalogue.vocabulary
            amount = parse_money(row[column], words.minor_digits, words.currency)
        except (UnitError, ArithmeticError) as error:
            self.note(file, row, column, str(error), "Write an amount like 12.50")
            return None
        if not 0 <= amount <= _MOST_MINOR:
            self.note(file, row, column, "is out of range", "Write an amount like 12.50")
            return None
        return amount

    def whole(self, file: str, row: Row, column: str, least: int) -> int | None:
        """Return a whole number, None where the cell is blank or cannot be used."""
        text = row[column]
        if not text:
            return None
        if text.isascii() and text.isdigit() and least <= int(text[:12]) <= _MOST_WHOLE:
            return int(text)
        self.note(
            file, row, column, "is no whole number that can be used", f"Write {least} or more"
        )
        return None

    def part(self, file: str, row: Row) -> str | None:
        sku = row["sku"]
        if sku in self.catalogue.parts:
            return sku
        self.note(file, row, "sku", "is no part; the row was left out", "Correct the stock number")
        return None

    def offers(self) -> tuple[Offer, ...]:
        table = self.table(
            SUPPLY,
            ("sku", "supplier", "pack_price"),
            ("pack", "lead_days", "max_packs", "note"),
            "nothing can be ordered",
        )
        found: dict[tuple[str, str, int], Offer] = {}
        for row in table.rows:
            sku = self.part(SUPPLY, row)
            price = self.money(SUPPLY, row, "pack_price")
            before = len(self.findings)
            pack = self.whole(SUPPLY, row, "pack", 1)
            lead = self.whole(SUPPLY, row, "lead_days", 0)
            most = self.whole(SUPPLY, row, "max_packs", 0)
            if len(self.findings) > before or sku is None:
                continue
            if price is None:
                if not row["pack_price"]:
                    self.note(
                        SUPPLY,
                        row,
                        "pack_price",
                        "is blank; the row was left out",
                        "Write what a pack costs",
                    )
                continue
            offer = Offer(sku, row["supplier"], pack or 1, price, lead, most)
            key = (sku, offer.supplier, offer.pack)
            if key in found:
                self.note(
                    SUPPLY,
                    row,
                    "sku",
                    "is offered twice in this pack by this supplier; the later row counts",
                    "Keep one of the rows",
                    WARNING,
                )
            found[key] = offer
        return tuple(found.values())

    def suppliers(self) -> dict[str, Supplier]:
        table = self.table(
            SUPPLIERS,
            ("supplier",),
            ("delivery", "least_order", "most_order", "note"),
            "no supplier has terms",
        )
        found: dict[str, Supplier] = {}
        for row in table.rows:
            delivery, least, most = (
                self.money(SUPPLIERS, row, column)
                for column in ("delivery", "least_order", "most_order")
            )
            if most is not None and least is not None and most < least:
                self.note(
                    SUPPLIERS,
                    row,
                    "most_order",
                    "is below the least order; it was passed over",
                    "Write the larger amount here",
                )
                most = None
            name = row["supplier"]
            if name in found:
                self.note(
                    SUPPLIERS,
                    row,
                    "supplier",
                    "stands here twice; the later row counts",
                    "Keep one of the rows",
                    WARNING,
                )
            found[name] = Supplier(name, delivery or 0, least or 0, most)
        return found

    def counts(self) -> dict[datetime.date, dict[str, int]]:
        table = self.table(
            COUNTS, ("date", "sku", "quantity"), ("note",), "the shelf was never counted"
        )
        found: dict[datetime.date, dict[str, int]] = {}
        for row in table.rows:
            sku = self.part(COUNTS, row)
            try:
                date = datetime.date.fromisoformat(row["date"])
            except ValueError:
                self.note(
                    COUNTS,
                    row,
                    "date",
                    "is no date; the row was left out",
                    "Write it like 2026-03-31",
                )
                continue
            pieces = self.whole(COUNTS, row, "quantity", 0)
            if sku is None or pieces is None:
                continue
            of_day = found.setdefault(date, {})
            of_day[sku] = of_day.get(sku, 0) + pieces
        return dict(sorted(found.items()))


def read_supply(folder: Path, catalogue: Catalogue, findings: list[Finding]) -> Supply:
    """Return what can be ordered and what was held, as far as the folder says so.

    Parameters
    ----------
    folder : Path
        May hold ``supply.csv``, ``suppliers.csv`` and ``stock_counts.csv``; each may be
        missing.
    catalogue : Catalogue
        Whose stock numbers are meant.
    findings : list of Finding
        Is added to; every other row is used.
    """
    reader = _Reader(folder, catalogue, findings)
    counts = {date: MappingProxyType(of) for date, of in reader.counts().items()}
    return Supply(reader.offers(), MappingProxyType(reader.suppliers()), MappingProxyType(counts))
