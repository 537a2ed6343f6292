"""Read a catalogue folder."""

from __future__ import annotations

import datetime
import math
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType

from fitgraph.catalogue.check import contradictions, weights
from fitgraph.catalogue.figures import UNKNOWN_TEXTS, parse_figure
from fitgraph.catalogue.findings import WARNING, CatalogueError, Finding, shorten
from fitgraph.catalogue.supply import read_supply
from fitgraph.catalogue.tables import Row, Table, read_table
from fitgraph.catalogue.vocabulary_file import FILE, read_vocabulary
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import (
    ABSENT,
    Basis,
    Catalogue,
    Dimension,
    Enquiry,
    Feature,
    FeatureKind,
    Option,
    Part,
    Presence,
    Role,
    Supply,
    Vocabulary,
    Word,
)
from fitgraph.units import UnitError, parse_mass, parse_money

PARTS, FEATURES, STOCK, ENQUIRIES = "parts.csv", "features.csv", "stock.csv", "enquiries.csv"

_BASIS = {
    "": Basis.NOMINAL,
    "nominal": Basis.NOMINAL,
    "maker": Basis.MAKER,
    "measured": Basis.MEASURED,
    "unknown": Basis.UNKNOWN,
}
_PRESENCE_TEXTS = {
    "yes": Presence.PRESENT,
    "no": Presence.ABSENT,
    "none": Presence.ABSENT,
    "?": Presence.UNKNOWN,
    "": Presence.UNKNOWN,
    "unknown": Presence.UNKNOWN,
}


@dataclass(frozen=True, slots=True)
class Loaded:
    """A catalogue, what was found wrong in its folder, and what can be ordered."""

    catalogue: Catalogue
    findings: tuple[Finding, ...]
    supply: Supply = field(default_factory=Supply)


#: More than this is a slip of the keyboard; sums of such figures would round as well.
_MOST_MINOR, _MOST_GRAMS = 10**12, 1e9

#: Faults of one kind in one column are told this often; then they are only counted.
_MOST_ALIKE = 100

#: What a build calls a role that is left empty; no part may be called so.
_RESERVED = Option("", None).label


class _Reader:
    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.findings: list[Finding] = []
        self.vocabulary: Vocabulary = read_vocabulary(folder / FILE)
        self.parts: dict[str, Part] = {}
        self.row_of: dict[str, int] = {}
        self.left_out: set[str] = set()
        self.alike: Counter[tuple[str, str, str, str]] = Counter()

    def note(
        self,
        table: str,
        row: Row,
        column: str,
        message: str,
        remedy: str,
        severity: str = "error",
    ) -> None:
        kind = (table, column, remedy, severity)
        self.alike[kind] += 1
        if self.alike[kind] > _MOST_ALIKE:
            return
        value = row[column] if column else ""
        self.findings.append(
            Finding(table, row.number, column, shorten(value), message, remedy, severity)
        )

    def note_the_rest(self) -> None:
        """Say how many faults were counted without being told."""
        for (table, column, remedy, severity), times in self.alike.items():
            if times > _MOST_ALIKE:
                more = f"has {times - _MOST_ALIKE:,} more faults of this kind"
                self.findings.append(Finding(table, None, column, "", more, remedy, severity))

    def optional_table(
        self, file: str, required: tuple[str, ...], optional: tuple[str, ...], loss: str
    ) -> Table:
        """Return a table without which the rest can still be used."""
        path = self.folder / file
        if not path.exists():
            self.findings.append(
                Finding(file, None, "", "", f"is not there: {loss}", "Add the file", WARNING)
            )
            return Table(file, (), ())
        try:
            return read_table(path, required, optional, self.findings)
        except CatalogueError as error:
            self.findings.extend(replace(f, message=f"{f.message}: {loss}") for f in error.findings)
            return Table(file, (), ())

    # -- cells ---------------------------------------------------------

    def money(self, file: str, row: Row, column: str) -> int | None:
        if not row[column]:
            return None
        try:
            amount = parse_money(
                row[column], self.vocabulary.minor_digits, self.vocabulary.currency
            )
        except (UnitError, ArithmeticError) as error:
            self.note(file, row, column, str(error), "Write an amount, or leave it blank")
            return None
        if amount < 0:
            self.note(file, row, column, "is below zero", "Write what it costs, or leave it blank")
            return None
        if amount > _MOST_MINOR:
            self.note(
                file, row, column, "is beyond any price", "Write what it costs, or leave it blank"
            )
            return None
        return amount

    def mass(self, file: str, row: Row, column: str) -> float | None:
        if row[column].lower() in UNKNOWN_TEXTS:
            return None
        try:
            mass = parse_mass(row[column])
        except UnitError as error:
            self.note(file, row, column, str(error), "Write a mass, or leave it blank")
            return None
        if not 0 < mass <= _MOST_GRAMS:
            wrong = "is not above zero" if mass <= 0 else "is beyond any mass"
            self.note(file, row, column, wrong, "Write a mass, or leave it blank")
            return None
        return mass

    # -- tables --------------------------------------------------------

    def read_parts(self) -> None:
        path = self.folder / PARTS
        if not path.exists():
            raise CatalogueError(
                [Finding(PARTS, None, "", "", "is not in the folder", "Add the table of parts")]
            )
        try:
            table = read_table(
                path,
                ("sku", "role"),
                ("name", "maker", "price", "mass", "material", "note"),
                self.findings,
            )
        except CatalogueError as error:
            raise CatalogueError([*self.findings, *error.findings]) from None
        if "price" not in table.columns:
            self.findings.append(
                Finding(
                    PARTS,
                    None,
                    "price",
                    "",
                    "is not there: every part can be owned but none sold",
                    "Add the column",
                    WARNING,
                )
            )
        for row in table.rows:
            sku = row["sku"]
            spaced = any(c.isspace() for c in sku)
            if not sku or spaced or not sku.isprintable() or sku.casefold() == _RESERVED:
                self.note(
                    PARTS,
                    row,
                    "sku",
                    "is no stock number, so the row was left out",
                    "Give the part a stock number without spaces",
                )
                continue
            if sku in self.parts:
                self.note(
                    PARTS,
                    row,
                    "sku",
                    f"is in row {self.row_of[sku]} already, so this row was left out",
                    "Give each part its own stock number",
                )
                continue
            if row["role"] not in self.vocabulary.roles:
                self.left_out.add(sku)
                self.note(
                    PARTS,
                    row,
                    "role",
                    "is no role of the vocabulary, so the row was left out",
                    f"Use one of {', '.join(self.vocabulary.roles)}",
                )
                continue
            price = self.money(PARTS, row, "price")
            if price is None and not row["price"] and "price" in table.columns:
                self.note(
                    PARTS,
                    row,
                    "price",
                    "is blank: the part can be owned but not sold",
                    "Write its price",
                    WARNING,
                )
            material = row["material"].lower() or None
            if material is not None and material not in MATERIALS:
                self.note(
                    PARTS,
                    row,
                    "material",
                    "is no known material and was passed over",
                    f"Use one of {', '.join(MATERIALS)}",
                    WARNING,
                )
                material = None
            self.row_of[sku] = row.number
            self.parts[sku] = Part(
                sku,
                row["role"],
                row["name"] or sku,
                row["maker"],
                price,
                self.mass(PARTS, row, "mass"),
                material,
                note=row["note"],
            )
        if not self.parts:
            raise CatalogueError(
                [
                    *self.findings,
                    Finding(PARTS, None, "", "", "has no usable row", "Add parts to it"),
                ]
            )

    def owner(self, file: str, row: Row) -> Part | None:
        part = self.parts.get(row["sku"])
        if part is None and row["sku"] not in self.left_out:
            self.note(
                file,
                row,
                "sku",
                "is no part of parts.csv, so the row was left out",
                "Add the part or correct the stock number",
            )
        return part

    def read_features(self) -> None:
        table = self.optional_table(
            FEATURES,
            ("sku", "feature", "dimension", "value"),
            ("basis", "note"),
            "every dimension is unknown",
        )
        presence: dict[tuple[str, str], tuple[Presence, Row]] = {}
        lengths: dict[tuple[str, str, str], list[tuple[Dimension, Row]]] = defaultdict(list)
        words: dict[tuple[str, str, str], list[tuple[Word, Row]]] = defaultdict(list)
        for row in table.rows:
            part = self.owner(FEATURES, row)
            if part is None:
                continue
            role = self.vocabulary.roles[part.role]
            kind = role.features.get(row["feature"])
            if kind is None:
                self.note(
                    FEATURES,
                    row,
                    "feature",
                    f"is no feature of a {role.title}; left out",
                    f"Use one of {', '.join(role.features)}",
                )
                continue
            if not row["dimension"]:
                state = _PRESENCE_TEXTS.get(row["value"].lower())
                if state is None:
                    self.note(
                        FEATURES,
                        row,
                        "value",
                        "does not say whether the feature is there",
                        "Write yes, no or ?; or name a dimension",
                    )
                    continue
                before = presence.get((part.sku, kind.name))
                if before is not None and before[0] != state:
                    self.note(
                        FEATURES,
                        row,
                        "value",
                        "contradicts an earlier row; taken as unknown",
                        "Look at the part",
                        WARNING,
                    )
                    state = Presence.UNKNOWN
                presence[(part.sku, kind.name)] = (state, row)
                continue
            spec = kind.dimensions.get(row["dimension"])
            if spec is None:
                self.note(
                    FEATURES,
                    row,
                    "dimension",
                    f"is no dimension of {kind.name}; left out",
                    f"Use one of {', '.join(kind.dimensions)}",
                )
                continue
            basis = _BASIS.get(row["basis"].lower())
            if basis is None and row["basis"].isdigit() and row["value"].isdigit():
                self.note(
                    FEATURES,
                    row,
                    "basis",
                    f"looks like the decimals of {shorten(row['value'])}, so the row was left out",
                    "Put a figure with a decimal comma in quotes, or write it with a point",
                )
                continue
            if basis is None:
                self.note(
                    FEATURES,
                    row,
                    "basis",
                    "is not understood; taken as nominal",
                    "Use measured, maker or nominal",
                    WARNING,
                )
                basis = Basis.NOMINAL
            spot = (part.sku, kind.name, spec.name)
            if spec.worded:
                unknown = row["value"].lower() in UNKNOWN_TEXTS
                words[spot].append((Word(None if unknown else row["value"], basis), row))
                continue
            half_width = self.vocabulary.half_width
            half = half_width.get(basis, half_width[Basis.NOMINAL])
            try:
                figure = parse_figure(row["value"], basis, half, spec.plausible)
            except UnitError as error:
                self.note(FEATURES, row, "value", f"{error}, so it counts as unknown", "Mend it")
                continue
            if figure.known and spec.plausible is not None:
                lo, hi = spec.plausible
                if figure.hi < lo or figure.lo > hi:
                    self.note(
                        FEATURES,
                        row,
                        "value",
                        f"lies outside {lo:g} to {hi:g} mm, so it counts as unknown",
                        "Check the figure and its unit",
                    )
                    continue
            if not figure.known:
                figure = Dimension.unknown(figure.text, spec.plausible)
            lengths[spot].append((figure, row))
        self.assemble(presence, lengths, words)

    def assemble(
        self,
        presence: dict[tuple[str, str], tuple[Presence, Row]],
        lengths: dict[tuple[str, str, str], list[tuple[Dimension, Row]]],
        words: dict[tuple[str, str, str], list[tuple[Word, Row]]],
    ) -> None:
        settled = {spot: self.settle(spot, found) for spot, found in lengths.items()}
        said = {spot: self.settle_word(spot, found) for spot, found in words.items()}
        figures: dict[tuple[str, str], dict[str, Dimension]] = defaultdict(dict)
        texts: dict[tuple[str, str], dict[str, Word]] = defaultdict(dict)
        for (sku, feature, name), dimension in settled.items():
            figures[(sku, feature)][name] = dimension
        for (sku, feature, name), word in said.items():
            texts[(sku, feature)][name] = word
        for sku, part in self.parts.items():
            role = self.vocabulary.roles[part.role]
            features = {
                kind.name: self.feature(
                    role,
                    kind,
                    sku,
                    presence.get((sku, kind.name)),
                    figures.get((sku, kind.name), {}),
                    texts.get((sku, kind.name), {}),
                )
                for kind in role.features.values()
            }
            self.parts[sku] = replace(part, features=MappingProxyType(features))

    def feature(
        self,
        role: Role,
        kind: FeatureKind,
        sku: str,
        stated: tuple[Presence, Row] | None,
        figures: dict[str, Dimension],
        texts: dict[str, Word],
    ) -> Feature:
        has_rows = bool(figures or texts)
        usual = Presence.PRESENT if has_rows else kind.if_missing
        state = usual if stated is None else stated[0]
        if state is Presence.ABSENT:
            if has_rows and stated is not None:
                self.note(
                    FEATURES,
                    stated[1],
                    "value",
                    f"says that {sku} has no {kind.name}, for which other rows give dimensions; "
                    "taken as unknown",
                    "Look at the part and drop one of them",
                    WARNING,
                )
                state = Presence.UNKNOWN
            else:
                return ABSENT
        return Feature(
            state,
            MappingProxyType(
                {
                    spec.name: figures.get(spec.name, Dimension.unknown(within=spec.plausible))
                    for spec in kind.dimensions.values()
                    if not spec.worded
                }
            ),
            MappingProxyType(
                {
                    spec.name: texts.get(spec.name, Word(None, Basis.UNKNOWN))
                    for spec in kind.dimensions.values()
                    if spec.worded
                }
            ),
        )

    def settle(self, spot: tuple[str, str, str], found: list[tuple[Dimension, Row]]) -> Dimension:
        """Return the figure that counts: the highest basis, or the hull of equals."""
        known = [(d, r) for d, r in found if d.known]
        if not known:
            return found[0][0]
        top = max(d.basis for d, _ in known)
        best = [d for d, _ in known if d.basis == top]
        hull = replace(best[0], lo=min(d.lo for d in best), hi=max(d.hi for d in best))
        for dimension, row in known:
            if (
                dimension.hi < hull.lo
                or dimension.lo > hull.hi
                or (
                    dimension.basis == top
                    and any(dimension.hi < d.lo or dimension.lo > d.hi for d in best)
                )
            ):
                used = " to ".join(sorted({d.text for d in best}))
                self.note(
                    FEATURES,
                    row,
                    "value",
                    f"({dimension.basis.word}) contradicts {used} ({hull.basis.word}) for "
                    f"{'.'.join(spot[1:])} of {spot[0]}; {used} is used",
                    "Measure it again and drop the wrong row",
                    WARNING,
                )
        return hull

    def settle_word(self, spot: tuple[str, str, str], found: list[tuple[Word, Row]]) -> Word:
        known = [(w, r) for w, r in found if w.value is not None]
        if not known:
            return found[0][0]
        top = max(w.basis for w, _ in known)
        values = {w.value for w, _ in known if w.basis == top}
        result = next(w for w, _ in known if w.basis == top)
        if len(values) > 1:
            result = Word(None, top)
        for word, row in known:
            if word.value != result.value:
                used = (
                    "it is taken as unknown"
                    if result.value is None
                    else f"{shorten(result.value)} is used"
                )
                self.note(
                    FEATURES,
                    row,
                    "value",
                    f"contradicts another row for {'.'.join(spot[1:])} of {spot[0]}; {used}",
                    "Look at the part and drop the wrong row",
                    WARNING,
                )
        return result

    def read_stock(self) -> None:
        table = self.optional_table(
            STOCK, ("sku", "quantity"), ("place",), "nothing counts as in stock"
        )
        for row in table.rows:
            part = self.owner(STOCK, row)
            if part is None:
                continue
            text = row["quantity"]
            if not text.isascii() or not text.isdigit() or len(text) > 9:
                self.note(
                    STOCK,
                    row,
                    "quantity",
                    "is no number of pieces, so the row was left out",
                    "Write a whole number, 0 or more",
                )
                continue
            self.parts[part.sku] = replace(
                self.parts[part.sku], stock=self.parts[part.sku].stock + int(text)
            )

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
        for row in table.rows:
            have = tuple(row["have"].split())
            strangers = [sku for sku in have if sku not in self.parts]
            if strangers:
                self.note(
                    ENQUIRIES,
                    row,
                    "have",
                    f"names {shorten(strangers[0])}, which is no part; the enquiry was left out",
                    "Correct the stock number",
                )
                continue
            date = None
            if row["date"]:
                try:
                    date = datetime.date.fromisoformat(row["date"])
                except ValueError:
                    self.note(
                        ENQUIRIES,
                        row,
                        "date",
                        "is no date and was passed over",
                        "Write it like 2026-03-31",
                        WARNING,
                    )
            weight = 1.0
            if row["count"]:
                try:
                    weight = float(row["count"].replace(",", "."))
                except ValueError:
                    weight = math.nan
                if not (math.isfinite(weight) and weight > 0):
                    self.note(
                        ENQUIRIES,
                        row,
                        "count",
                        "is no number above zero; taken as 1",
                        "Write how many such enquiries there were",
                        WARNING,
                    )
                    weight = 1.0
            enquiries.append(
                Enquiry(
                    row["number"],
                    date,
                    have,
                    self.money(ENQUIRIES, row, "budget"),
                    self.mass(ENQUIRIES, row, "max_mass"),
                    row["material"].lower() or None,
                    row["style"],
                    weight,
                    row["note"],
                )
            )
        return tuple(enquiries)

    def read(self) -> Loaded:
        self.read_parts()
        self.read_features()
        self.read_stock()
        enquiries = self.read_enquiries()
        by_role: dict[str, list[Part]] = {name: [] for name in self.vocabulary.roles}
        for part in self.parts.values():
            by_role[part.role].append(part)
        catalogue = Catalogue(
            self.vocabulary,
            MappingProxyType(self.parts),
            enquiries,
            self.folder.name,
            MappingProxyType({role: tuple(parts) for role, parts in by_role.items()}),
        )
        self.note_the_rest()
        for role in self.vocabulary.roles.values():
            if not by_role[role.name] and not role.fill.may_be_empty:
                self.findings.append(
                    Finding(
                        PARTS,
                        None,
                        "role",
                        role.name,
                        "has no part, so no build can be complete",
                        "Add one",
                        WARNING,
                    )
                )
        self.findings.extend(contradictions(catalogue, self.row_of, PARTS))
        self.findings.extend(weights(catalogue, self.row_of, PARTS))
        supply = read_supply(self.folder, catalogue, self.findings)
        return Loaded(catalogue, tuple(self.findings), supply)


def load(folder: str | Path) -> Loaded:
    """Read a catalogue folder.

    Parameters
    ----------
    folder : str or Path
        Holds ``vocabulary.toml``, ``parts.csv`` and, as far as they are
        there, ``features.csv``, ``stock.csv`` and ``enquiries.csv``.

    Returns
    -------
    Loaded
        The catalogue made of every usable row, and a finding for every
        other.

    Raises
    ------
    CatalogueError
        If nothing can go on: no folder, no vocabulary, no usable part.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise CatalogueError(
            [Finding(str(folder), None, "", "", "is no folder", "Name a catalogue folder")]
        )
    return _Reader(folder).read()
