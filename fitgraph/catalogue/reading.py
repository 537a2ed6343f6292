"""Read every table of a catalogue folder, keep each row that can be used, and report the rest."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from fitgraph.catalogue.check import contradictions, weights
from fitgraph.catalogue.features import COLUMNS as FEATURE_COLUMNS
from fitgraph.catalogue.features import FeatureReader
from fitgraph.catalogue.figures import UNKNOWN_TEXTS
from fitgraph.catalogue.findings import ERROR, WARNING, CatalogueError, Finding, Notes, RowTally
from fitgraph.catalogue.loaded import ENQUIRIES, FEATURES, PARTS, STOCK, VOCABULARY, Loaded
from fitgraph.catalogue.supply_tables import read_supply
from fitgraph.catalogue.table_reader import Row, TableRead, is_total, no_table, picking, read_table
from fitgraph.catalogue.vocabulary_file import read_vocabulary
from fitgraph.files import folder_name
from fitgraph.mechanics.materials import FAMILIES, MATERIALS
from fitgraph.model import Catalogue, Enquiry, Feature, Option, Part, Vocabulary, from_columns
from fitgraph.units import (
    UnitError,
    parse_count,
    parse_day,
    parse_mass,
    parse_number,
    usual_mass,
    usual_money,
)
from fitgraph.wording import capital

#: More than this is a slip of the keyboard; sums of such figures would round as well.
_MOST_MINOR, _MOST_GRAMS, _MOST_ENQUIRIES = 10**12, 1e9, 1e6

#: Longer names and notes are damage; no page and no sheet has room for them.
LONGEST_TEXT = 500

#: What a build calls a role that is left empty; no part may be called so.
_RESERVED = Option("", None).label

#: The columns of parts; the first two have to be there.
_PARTS = ("sku", "role", "name", "maker", "price", "mass", "material", "note")

#: A stock number in which nothing can be wrong but that it is there already, or says none.
_USUAL_NUMBER = re.compile(r"[A-Za-z0-9][!-~]{0,99}")
_NO_NUMBERS = UNKNOWN_TEXTS | {_RESERVED}


class FolderReader:
    """Reads a folder, table by table."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.notes = Notes()
        self.vocabulary: Vocabulary = read_vocabulary(folder / VOCABULARY)
        self.rows: dict[str, Row] = {}
        self.read: dict[str, tuple[str, str, str, int | None, float | None, str | None, str]] = {}
        self.row_of: dict[str, int] = {}
        self.capitals: dict[str, str] = {}
        self.left_out: set[str] = set()
        self.stock: dict[str, int] = {}
        #: What was read of the same text before, without anything to tell.
        self.amounts: dict[str, int] = {}
        self.masses: dict[str, float] = {}
        self.tallies: dict[str, RowTally] = {}

    def note(
        self,
        code: str,
        table: str,
        row: Row,
        column: str,
        message: str,
        remedy: str,
        severity: str = ERROR,
    ) -> None:
        value = row[column] if column else ""
        place = table, row.number, column, value
        self.notes.add(code, *place, message, remedy, severity, row["sku"])

    def optional_table(
        self, file: str, required: tuple[str, ...], optional: tuple[str, ...], loss: str
    ) -> TableRead:
        """Return a table without which the rest can still be used."""
        path = self.folder / file
        if not path.exists() and not path.is_symlink():
            self.notes.add(
                "no-table", file, None, "", "", f"is not there: {loss}", "Add the file", WARNING
            )
            return no_table(file)
        try:
            table = read_table(path, required, optional, self.notes)
        except CatalogueError as error:
            self.notes.findings.extend(
                replace(f, message=f"{f.message}: {loss}") for f in error.findings
            )
            return no_table(file)
        self.tallies[file] = table.tally
        return table

    def counted(self, table: TableRead) -> Iterator[tuple[Row, RowTally]]:
        """Walk the rows of a table; whoever walks says of each where it went."""
        for row in table.rows:
            yield row, table.tally

    # -- cells ---------------------------------------------------------

    def money(self, file: str, row: Row, column: str, text: str, told: str = "") -> int | None:
        """Return an amount, None where there is none; `told` says what comes of one not read."""
        if text in self.amounts:
            return self.amounts[text]
        usual = usual_money(text, self.vocabulary.minor_digits)
        if usual is not None and usual <= _MOST_MINOR:
            return usual
        if not text or text.lower() in UNKNOWN_TEXTS:
            return None
        remedy = "Write an amount, or leave it blank"
        try:
            amount = self.vocabulary.read_money(text)
        except (UnitError, ArithmeticError) as error:
            self.note("no-money", file, row, column, f"{error}{told}", remedy)
            return None
        if not 0 <= amount <= _MOST_MINOR:
            wrong = "is below zero" if amount < 0 else "is beyond any price"
            remedy = "Write what it costs, or leave it blank"
            self.note("money-range", file, row, column, f"{wrong}{told}", remedy)
            return None
        self.amounts[text] = amount
        return amount

    def mass(self, file: str, row: Row, column: str, text: str, told: str = "") -> float | None:
        """Return a mass, None where there is none; `told` says what comes of one not read."""
        if text in self.masses:
            return self.masses[text]
        usual = usual_mass(text)
        if usual is not None and 0 < usual <= _MOST_GRAMS:
            return usual
        if text.lower() in UNKNOWN_TEXTS:
            return None
        remedy = "Write a mass, or leave it blank"
        try:
            mass = parse_mass(text)
        except UnitError as error:
            self.note("no-mass", file, row, column, f"{error}{told}", remedy)
            return None
        if not 0 < mass <= _MOST_GRAMS:
            wrong = "is not above zero" if mass <= 0 else "is beyond any mass"
            self.note("mass-range", file, row, column, f"{wrong}{told}", remedy)
            return None
        self.masses[text] = mass
        return mass

    def text(self, file: str, row: Row, column: str, text: str) -> str:
        """Return a name or a note; what no page has room for is cut."""
        if len(text) <= LONGEST_TEXT:
            return text
        self.note(
            "text-too-long",
            file,
            row,
            column,
            f"has {len(text):,} letters; the first {LONGEST_TEXT} are used",
            "Write it shorter",
            WARNING,
        )
        return text[:LONGEST_TEXT] + "…"

    # -- tables --------------------------------------------------------

    def read_parts(self) -> None:
        path = self.folder / PARTS
        if not path.exists() and not path.is_symlink():
            missing = Finding(
                PARTS,
                None,
                "",
                "",
                f"is not in the folder {folder_name(self.folder)!r}",
                "Add the table of parts",
                code="no-table",
            )
            raise CatalogueError([missing])
        try:
            table = read_table(path, _PARTS[:2], _PARTS[2:], self.notes)
        except CatalogueError as error:
            raise CatalogueError([*self.notes.all(), *error.findings]) from None
        self.tallies[PARTS] = table.tally
        self.priced = "price" in table.columns
        if not self.priced:
            self.notes.add(
                "no-column",
                PARTS,
                None,
                "price",
                "",
                "is not there: every part can be owned but none sold",
                "Add the column",
                WARNING,
            )
        pick = picking(table.columns, _PARTS)
        for row, tally in self.counted(table):
            if self.part(row, *pick(row)):
                tally.loaded += 1
            else:
                tally.aside.append(row.number)
        self.capitals.clear()
        if not self.read:
            empty = Finding(
                PARTS, None, "", "", "has no usable row", "Add parts to it", code="no-parts"
            )
            raise CatalogueError([*self.notes.all(), empty])

    def number_fault(self, sku: str) -> tuple[str, str, str] | None:
        """Return the code, message and remedy for what is no usable stock number."""
        small = sku.casefold()
        if _USUAL_NUMBER.fullmatch(sku) and small not in _NO_NUMBERS and small not in self.capitals:
            return None
        if len(sku.split()) != 1 or not sku.isprintable() or sku.casefold() == _RESERVED:
            return (
                "no-sku",
                "is no stock number, so the row was left out",
                "Give the part a stock number without spaces",
            )
        if (
            not (sku[0].isalnum() or any(c.isalnum() for c in sku))
            or sku.casefold() in UNKNOWN_TEXTS
        ):
            return (
                "no-sku",
                "is no stock number, since it says that there is none; the row was left out",
                "Give the part a stock number with a letter or a digit in it",
            )
        if len(sku) > 100:
            return (
                "no-sku",
                "is no stock number, since it is longer than 100 letters; the row was left out",
                "Give the part a shorter stock number",
            )
        if sku in self.row_of:
            return (
                "sku-twice",
                f"is in row {self.row_of[sku]} already, so this row was left out",
                "Give each part its own stock number",
            )
        alike = self.capitals.get(small)
        if alike is not None:
            return (
                "sku-alike",
                f"differs from {alike} in row {self.row_of[alike]} in capitals only, so this row "
                "was left out",
                "Give each part its own stock number, or drop the row if it is the same part",
            )
        return None

    def part(
        self,
        row: Row,
        sku: str,
        role: str,
        name: str,
        maker: str,
        price: str,
        mass: str,
        material: str,
        note: str,
    ) -> bool:
        """Take one row of parts; say whether it could be used."""
        if not role and is_total(sku):
            self.note(
                "totals-row",
                PARTS,
                row,
                "sku",
                "looks like a row of sums and was left out",
                "Keep sums out of the table",
                WARNING,
            )
            return False
        fault = self.number_fault(sku)
        if fault is not None:
            self.note(fault[0], PARTS, row, "sku", *fault[1:])
            return False
        if role not in self.vocabulary.roles:
            self.left_out.add(sku)
            self.note(
                "no-role",
                PARTS,
                row,
                "role",
                "is no role of the vocabulary, so the row was left out",
                f"Use one of {', '.join(self.vocabulary.roles)}",
            )
            return False
        material = material.lower()
        known = not material or material in MATERIALS
        # 6,50 without quotes is a price of 6 and a mass of 50.
        decimals = len(mass) == 2 and mass.isdigit() and price.isdigit()
        if decimals and (not known or not row.whole):
            self.left_out.add(sku)
            self.note(
                "cut-at-comma",
                PARTS,
                row,
                "mass",
                f"looks like the decimals of the price {price}, so the row was left out",
                "Put a price with a decimal comma in quotes, or write it with a point",
            )
            return False
        if not price and self.priced:
            self.note(
                "no-price",
                PARTS,
                row,
                "price",
                "is blank: the part can be owned but not sold",
                "Write its price",
                WARNING,
            )
        if not known:
            self.note(
                "no-material",
                PARTS,
                row,
                "material",
                "is no known material and was passed over",
                f"Use one of {', '.join(MATERIALS)}",
                WARNING,
            )
            material = ""
        self.row_of[sku] = row.number
        self.capitals[sku.casefold()] = sku
        self.read[sku] = (
            role,
            self.text(PARTS, row, "name", name) or sku,
            self.text(PARTS, row, "maker", maker),
            self.money(PARTS, row, "price", price),
            self.mass(PARTS, row, "mass", mass),
            material or None,
            self.text(PARTS, row, "note", note),
        )
        return True

    def owner(self, file: str, row: Row) -> str | None:
        sku = row["sku"]
        if sku in self.read:
            return sku
        if sku in self.left_out:
            self.note(
                "part-left-out",
                file,
                row,
                "sku",
                "is a part whose own row was left out, so this row was left out too",
                "Mend its row of parts.csv",
                WARNING,
            )
            return None
        self.note(
            "no-part",
            file,
            row,
            "sku",
            "is no part of parts.csv, so the row was left out",
            "Add the part or correct the stock number",
        )
        return None

    def read_features(self) -> Mapping[str, Mapping[str, Feature]]:
        table = self.optional_table(FEATURES, *FEATURE_COLUMNS, "every dimension is unknown")
        reader = FeatureReader(self.vocabulary, FEATURES)
        roles = {sku: of[0] for sku, of in self.read.items()}
        return reader.read(table, roles, self.left_out, self.notes)

    def read_stock(self) -> None:
        table = self.optional_table(
            STOCK, ("sku", "quantity"), ("place",), "nothing counts as in stock"
        )
        for row, tally in self.counted(table):
            sku = self.owner(STOCK, row)
            pieces = None
            if sku is not None:
                try:
                    pieces = parse_count(row["quantity"], 999_999_999)
                except UnitError as error:
                    wrong, _, remedy = str(error).partition("; ")
                    self.note(
                        "no-count",
                        STOCK,
                        row,
                        "quantity",
                        f"{wrong}, so the row was left out",
                        capital(remedy),
                    )
            if sku is None or pieces is None:
                tally.aside.append(row.number)
                continue
            tally.loaded += 1
            self.stock[sku] = self.stock.get(sku, 0) + pieces

    def read_enquiries(self) -> tuple[Enquiry, ...]:
        if not (self.folder / ENQUIRIES).exists():
            return ()
        table = self.optional_table(
            ENQUIRIES,
            ("number", "have"),
            ("date", "budget", "max_mass", "material", "style", "count", "note"),
            "no enquiry is counted",
        )
        enquiries: list[Enquiry] = []
        for row, tally in self.counted(table):
            enquiry = self.enquiry(row, sum(e.weight for e in enquiries[-2000:]))
            if enquiry is None:
                tally.aside.append(row.number)
            else:
                tally.loaded += 1
                enquiries.append(enquiry)
        return tuple(enquiries)

    def owned(self, text: str) -> Iterator[str]:
        """Yield stock numbers, one after another or with commas or semicolons between."""
        for word in text.split():
            if word in self.read:
                yield word
                continue
            several = [name for name in re.split("[,;]", word) if name]
            yield from several if all(name in self.read for name in several) else [word]

    def enquiry(self, row: Row, so_far: float) -> Enquiry | None:
        have = tuple(self.owned(row["have"]))
        weight = 1.0
        if row["count"]:
            try:
                weight = parse_number(row["count"])
                wrong = "is no number above zero; taken as 1"
            except UnitError as error:
                weight, wrong = -1.0, f"{error}; taken as 1"
            if not 0 < weight <= _MOST_ENQUIRIES:
                self.note(
                    "no-count",
                    ENQUIRIES,
                    row,
                    "count",
                    wrong,
                    "Write how many such enquiries there were",
                    WARNING,
                )
                weight = 1.0
        sums = is_total(row["number"]) or is_total(row["have"])
        # Somebody who owns nothing asks for something: sums do not.
        says = ("number", "have", "date", "budget", "max_mass", "material", "style", "note")
        if sums or (so_far > 1 and weight == so_far and not any(row[name] for name in says)):
            self.note(
                "totals-row",
                ENQUIRIES,
                row,
                "number",
                "looks like a row of sums and was left out",
                "Keep sums out of the table",
                WARNING,
            )
            return None
        strangers = [sku for sku in have if sku not in self.read]
        if strangers:
            self.note(
                "no-part",
                ENQUIRIES,
                row,
                "have",
                f"names {strangers[0][:60]}, which is no part; the enquiry was left out",
                "Correct the stock number",
            )
            return None
        if row["budget"].isdigit() and len(row["max_mass"]) == 2 and row["max_mass"].isdigit():
            self.note(
                "cut-at-comma",
                ENQUIRIES,
                row,
                "max_mass",
                f"looks like the decimals of the budget {row['budget']}; the enquiry was left out",
                "Put an amount with a decimal comma in quotes, or write it with a point",
            )
            return None
        date = None
        if row["date"]:
            try:
                date = parse_day(row["date"])
            except UnitError:
                self.note(
                    "no-date",
                    ENQUIRIES,
                    row,
                    "date",
                    "is no date and was passed over",
                    "Write it like 2026-03-31",
                    WARNING,
                )
        material = row["material"].lower()
        if material and material not in MATERIALS and material not in FAMILIES:
            self.note(
                "no-material",
                ENQUIRIES,
                row,
                "material",
                "is no known material; the enquiry is kept, and left out of what is served",
                f"Use one of {', '.join(FAMILIES)}, or the name of a material",
                WARNING,
            )
        # Without its limit an enquiry would count as served by what it cannot pay or bear.
        out = "; the enquiry was left out"
        budget = self.money(ENQUIRIES, row, "budget", row["budget"], out)
        most = self.mass(ENQUIRIES, row, "max_mass", row["max_mass"], out)
        if any(
            limit is None and row[column].lower() not in {"", *UNKNOWN_TEXTS}
            for limit, column in ((budget, "budget"), (most, "max_mass"))
        ):
            return None
        return Enquiry(
            row["number"],
            date,
            have,
            budget,
            most,
            material or None,
            self.text(ENQUIRIES, row, "style", row["style"]),
            weight,
            self.text(ENQUIRIES, row, "note", row["note"]),
        )

    def all(self) -> Loaded:
        """Return what all tables hold."""
        self.read_parts()
        features = self.read_features()
        self.read_stock()
        enquiries = self.read_enquiries()
        numbers = list(self.read)
        roles, names, makers, prices, masses, materials, notes = zip(
            *self.read.values(), strict=True
        )
        held = [self.stock.get(sku, 0) for sku in numbers]
        shapes = [features[sku] for sku in numbers]
        columns = (numbers, roles, names, makers, prices, masses, materials, held, shapes, notes)
        parts = dict(zip(numbers, from_columns(Part, columns), strict=True))
        by_role: dict[str, list[Part]] = {name: [] for name in self.vocabulary.roles}
        for part in parts.values():
            by_role[part.role].append(part)
        catalogue = Catalogue(
            self.vocabulary,
            MappingProxyType(parts),
            enquiries,
            folder_name(self.folder),
            MappingProxyType({role: tuple(of) for role, of in by_role.items()}),
        )
        for name in catalogue.unfilled:
            self.notes.add(
                "empty-role",
                PARTS,
                None,
                "role",
                name,
                "has no part, so no build can be complete",
                "Add one",
                WARNING,
            )
        for found in (contradictions, weights):
            for f in found(catalogue, self.row_of, PARTS):
                self.notes.take(f)
        supply, tallies = read_supply(self.folder, catalogue, self.notes)
        self.tallies.update(tallies)
        for tally in self.tallies.values():
            tally.check()
        return Loaded(catalogue, self.notes.all(), supply, MappingProxyType(self.tallies))
