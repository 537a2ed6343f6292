"""Read what can be ordered (``supply.csv``, ``suppliers.csv``) and counts of the shelf."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from fitgraph.catalogue.findings import ERROR, WARNING, CatalogueError, Notes, RowTally
from fitgraph.catalogue.loaded import COUNTS, SUPPLIERS, SUPPLY
from fitgraph.catalogue.table_reader import Row, TableRead, no_table, read_table
from fitgraph.model import Catalogue, Offer, Supplier, Supply
from fitgraph.units import UnitError, parse_count, parse_day

#: More is a slip of the keyboard.
_MOST_MINOR, _MOST_WHOLE = 10**12, 10**6


class _Reader:
    def __init__(self, folder: Path, catalogue: Catalogue, notes: Notes) -> None:
        self.folder, self.catalogue, self.notes = folder, catalogue, notes
        self.tallies: dict[str, RowTally] = {}
        self.faults = 0

    def note(
        self, file: str, row: Row, column: str, message: str, remedy: str, severity: str = ERROR
    ) -> None:
        self.faults += severity == ERROR
        code = f"supply-{column.replace('_', '-')}"
        place = file, row.number, column, row[column]
        self.notes.add(code, *place, message, remedy, severity, row["sku"])

    def table(
        self, file: str, required: Sequence[str], optional: Sequence[str], loss: str
    ) -> TableRead:
        path = self.folder / file
        if path.exists() or path.is_symlink():
            try:
                table = read_table(path, required, optional, self.notes)
            except CatalogueError as error:
                self.notes.findings.extend(
                    replace(f, message=f"{f.message}: {loss}") for f in error.findings
                )
            else:
                self.tallies[file] = table.tally
                return table
        return no_table(file)

    def money(self, file: str, row: Row, column: str) -> int | None:
        """Return an amount, None where the cell is blank or cannot be used."""
        if not row[column]:
            return None
        try:
            words = self.catalogue.vocabulary
            amount = words.read_money(row[column])
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
        try:
            value = parse_count(text, _MOST_WHOLE)
        except UnitError:
            value = least - 1
        if value >= least:
            return value
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

    def offers(self, terms: Mapping[str, Supplier]) -> tuple[Offer, ...]:
        """Return what is offered; who has no terms, where others have, is told once."""
        table = self.table(
            SUPPLY,
            ("sku", "supplier", "pack_price"),
            ("pack", "lead_days", "max_packs", "note"),
            "nothing can be ordered",
        )
        found: dict[tuple[str, str, int], Offer] = {}
        without: set[str] = set()
        for row in table.rows:
            tally = table.tally
            sku = self.part(SUPPLY, row)
            if sku is None:  # what else stands in a row of nobody's is of no use
                tally.aside.append(row.number)
                continue
            price = self.money(SUPPLY, row, "pack_price")
            before = self.faults
            pack = self.whole(SUPPLY, row, "pack", 1)
            lead = self.whole(SUPPLY, row, "lead_days", 0)
            most = self.whole(SUPPLY, row, "max_packs", 0)
            if self.faults > before or price is None:
                tally.aside.append(row.number)
            if self.faults > before:
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
            tally.loaded += 1
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
            known = not terms or offer.supplier in terms or offer.supplier in without
            if offer.supplier and not known:
                without.add(offer.supplier)
                self.note(
                    SUPPLY,
                    row,
                    "supplier",
                    f"has no row in {SUPPLIERS}: its deliveries count as free, of any worth",
                    "Correct the name, or add its terms there",
                    WARNING,
                )
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
            table.tally.loaded += 1
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
            table.tally.aside.append(row.number)
            try:
                date = parse_day(row["date"])
            except UnitError:
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
            table.tally.aside.pop()
            table.tally.loaded += 1
            of_day = found.setdefault(date, {})
            of_day[sku] = of_day.get(sku, 0) + pieces
        return dict(sorted(found.items()))


def read_supply(
    folder: Path, catalogue: Catalogue, notes: Notes
) -> tuple[Supply, dict[str, RowTally]]:
    """Return what can be ordered and what was held, and where the rows went.

    Parameters
    ----------
    folder : Path
        May hold ``supply.csv``, ``suppliers.csv`` and ``stock_counts.csv``; each may be
        missing.
    catalogue : Catalogue
        Whose stock numbers are meant.
    notes : Notes
        Is added to; every other row is used.
    """
    reader = _Reader(folder, catalogue, notes)
    counts = {date: MappingProxyType(of) for date, of in reader.counts().items()}
    suppliers = reader.suppliers()
    offers = reader.offers(suppliers)
    supply = Supply(offers, MappingProxyType(suppliers), MappingProxyType(counts))
    return supply, reader.tallies
