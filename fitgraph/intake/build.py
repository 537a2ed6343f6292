"""Rows of their tables as rows of a catalogue: what is understood, what is set aside and why."""

from __future__ import annotations

import contextlib
import os
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from collections.abc import Mapping as MappingLike
from dataclasses import field, replace
from itertools import islice
from pathlib import Path

from filelock import FileLock, Timeout

from fitgraph.catalogue.figures import UNKNOWN_TEXTS, parse_figure
from fitgraph.catalogue.findings import (
    ERROR,
    WARNING,
    CatalogueError,
    Finding,
    Notes,
    Tally,
    shorten,
)
from fitgraph.catalogue.load import load
from fitgraph.catalogue.loaded import VOCABULARY, Loaded
from fitgraph.catalogue.reading import LONGEST_TEXT
from fitgraph.catalogue.table_reader import TOTALS, read_table
from fitgraph.files import (
    fill_from,
    folder_whole,
    write_bytes_whole,
    write_text_whole,
    written_whole,
)
from fitgraph.intake.across import across
from fitgraph.intake.cell_texts import (
    fixed,
    like_a_day,
    said_mass,
    said_presence,
    said_price,
)
from fitgraph.intake.grid import Found
from fitgraph.intake.lost_values import FORMULA
from fitgraph.intake.mapping import (
    BY_TITLE,
    FIELDS,
    NO_PART,
    Column,
    Mapping,
    MappingError,
    written,
)
from fitgraph.intake.phrases import FILE as PHRASES
from fitgraph.intake.phrases import Phrases, Said
from fitgraph.intake.sources import Sheet, letter
from fitgraph.intake.taken import FROM_WORDS, Taken
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Basis, Vocabulary
from fitgraph.plain import CsvWriter
from fitgraph.records import dataclass
from fitgraph.units import UnitError, parse_count, parse_mass
from fitgraph.wording import plural

#: Files of the folder that is made, beside the vocabulary.
PARTS, FEATURES, STOCK, MAPPING = "parts.csv", "features.csv", "stock.csv", "mapping.toml"
ASIDE, ASIDE_BEFORE = "set-aside.csv", "set-aside-before.csv"

#: The page that an import leaves in its folder.
PAGE = "import.html"

#: A shop's parts are lighter; more is a column of grams among kilograms.
_HEAVIEST_G = 1e5

#: Titles that are shown beside a word for a kind that is not known.
_SAMPLES = 3

#: Other things that a folder may hold before a catalogue is made in it.
_OTHERS = 12

#: Seconds that an import waits for another one into the same folder.
_PATIENCE = 60

#: What a spreadsheet makes of a long number: 4.00638E+12.
_SHORTENED = re.compile(r"\d(?:[.,]\d+)?E\+\d+", re.IGNORECASE)

#: What stands in a cell that came to nothing: an error, or a formula alone.
_WITHOUT_VALUE = re.compile(
    rf"{FORMULA}.+|#(?:N/A|NAME\?|(?:REF|VALUE|DIV/0|NUM|NULL|SPILL|CALC)!)"
)

#: What people write behind a number of pieces.
_PIECES = re.compile(r"\s*(?:pcs?|pieces|st(?:k|ück)?|x)\.?$", re.IGNORECASE)

#: What says that a price is of one piece.
_EACH = (
    r"(?:(?:a|per|pro|par|por|je|le|la|/)\s*)?"
    r"(?:each|ea|one|unit|item|pc|pce|piece|st|stk|stück|stueck|pièce|pieza|unidad|unité)\.?"
)
_ONE = re.compile(rf"{_EACH}|1(?:\s?(?:{_EACH}|pcs))?")
_ONE_BEHIND = re.compile(rf"(?<=[0-9€£$])\s*{_EACH}$", re.IGNORECASE)

#: Columns that the file of rows set aside has before their own.
WHY = ("why it was set aside", "how to mend it", "from")

_HEADS = {
    PARTS: ("sku", "role", "name", "maker", "price", "mass", "material", "note"),
    FEATURES: ("sku", "feature", "dimension", "value", "basis", "note"),
    STOCK: ("sku", "quantity", "place"),
}


@dataclass(frozen=True, slots=True)
class Aside:
    """A row that could not be used.

    Parameters
    ----------
    source : str
        The table it is from.
    row : int
        Its number there.
    cells : mapping of str to str
        What stands in it, by their own columns.
    reason, remedy : str
        Why, and how to mend it.
    """

    source: str
    row: int
    cells: MappingLike[str, str]
    reason: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Intake:
    """What was understood of some tables.

    Parameters
    ----------
    parts : tuple of Taken
        Parts, in their order.
    aside : tuple of Aside
        Rows that could not be used.
    findings : tuple of Finding
        What is wrong or doubtful, with its row in their own table.
    tallies : tuple of Tally
        Of each table: read = loaded + set aside.
    mapping : Mapping
        By which it was read.
    kinds : mapping of str to int
        Words for kinds of parts that are not known, and how many rows were set aside for each.
    more : tuple of Taken
        What is told of parts that are known already, from before.
    """

    parts: tuple[Taken, ...]
    aside: tuple[Aside, ...]
    findings: tuple[Finding, ...]
    tallies: tuple[Tally, ...]
    mapping: Mapping
    kinds: MappingLike[str, int] = field(default_factory=dict)
    more: tuple[Taken, ...] = ()


@dataclass(frozen=True, slots=True)
class UnknownKind:
    """A word for a kind of part that means no role.

    Parameters
    ----------
    word : str
        As it stands in their column, or over their rows.
    rows : int
        In how many it counts and no title tells the kind.
    samples : tuple of str
        What some of them are called.
    """

    word: str
    rows: int
    samples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """What an import came to.

    Parameters
    ----------
    intake : Intake
        What was understood.
    loaded : Loaded or None
        The catalogue that came of it; None where nothing could be used.
    folder : Path
        Where it is.
    findings : tuple of Finding
        Those of the tables, and those of the catalogue made of them.
    """

    intake: Intake
    loaded: Loaded | None
    folder: Path
    findings: tuple[Finding, ...]


class _Reader:
    def __init__(
        self,
        mapping: Mapping,
        vocabulary: Vocabulary,
        phrases: Phrases,
        held: MappingLike[str, str] | None = None,
    ) -> None:
        self.mapping, self.vocabulary, self.phrases = mapping, vocabulary, phrases
        #: Parts of which rows may tell more that do not say what they are.
        self.held = {sku.casefold(): (sku, role) for sku, role in (held or {}).items()}
        self.more: dict[str, Taken] = {}
        #: In which row a list told first of a part that another one has.
        self.first: dict[tuple[str, str], int] = {}
        self.notes = Notes()
        self.parts: dict[str, Taken] = {}
        self.capitals: dict[str, str] = {}
        self.aside: list[Aside] = []
        self.tallies: list[Tally] = []
        self.titles = {}
        for name, role in vocabulary.roles.items():
            for word in (name, role.title):
                self.titles[word.casefold()] = name
        #: What was said of their words: a role, that it is no part, or that titles tell.
        self.said = {word.casefold(): role for word, role in mapping.roles.items()}
        self.unknown: Counter[str] = Counter()
        #: Rows of a kind that is not known, of which the title told it: first row, and how many.
        self.by_title: dict[tuple[str, str], list[int]] = {}

    def doubt(
        self,
        code: str,
        at: tuple[str, int | None],
        column: str,
        value: str,
        message: str,
        remedy: str,
        severity: str = ERROR,
    ) -> None:
        self.notes.add(code, at[0], at[1], column, value, message, remedy, severity)

    def table(self, table: Found) -> None:
        tally = Tally(table.source)
        self.tallies.append(tally)
        for number in table.sums:
            tally.read += 1
            tally.aside.append(number)
            self.aside.append(
                Aside(table.source, number, {}, "is a row of sums, or the header again", "Leave it")
            )
        if table.short:
            self.doubt(
                "short-header",
                (table.source, table.at),
                "",
                ", ".join(table.header)[:80],
                "has fewer names than the rows below it have cells",
                "Look whether each column means what is said here, and name the one that has none",
                WARNING,
            )
        heads = {table.at, *table.under}
        for number in sorted(heads & table.broken):
            self.doubt(
                "not-utf8",
                (table.source, number),
                "",
                ", ".join(table.header)[:80],
                "holds bytes that are no letters, in the names of its columns",
                "Look whether each column means what is said here",
                WARNING,
            )
        by_field = _by_field(table, self.mapping)
        section = ""
        self.by_title.clear()
        for number, cells in table.rows:
            tally.read += 1
            over = self.over(table, cells)
            if over is not None:
                section = over
            if over and (role := self.meant(over)):
                tally.aside.append(number)
                reason = (
                    f"is a heading: what stands below it is a {self.vocabulary.roles[role].title}"
                )
                self.aside.append(Aside(table.source, number, {}, reason, "Leave it"))
                continue
            fault = self.row(table, number, cells, by_field, section)
            if fault is None:
                tally.loaded += 1
                continue
            tally.aside.append(number)
            shown = _shown(table.header, cells)
            self.aside.append(Aside(table.source, number, shown, *fault))
            self.doubt("set-aside", (table.source, number), "", " ".join(cells)[:80], *fault)
        for (word, role), (first, *rows) in self.by_title.items():
            title = self.vocabulary.roles[role].title
            self.doubt(
                "kind-by-title",
                (table.source, first),
                next((name for name, _, _ in by_field["role"]), ""),
                word,
                f"is no known kind of part; {plural(len(rows), 'row')} of it, the first of them "
                f"here, {'was' if len(rows) == 1 else 'were'} taken for a {title} by the title",
                f"Say what it means under [roles] of {MAPPING}",
                WARNING,
            )
        tally.check()

    def outside(self, sheet: Sheet, found: Sequence[Found]) -> None:
        """Tell of the rows of a sheet that are in no table."""
        inside = {number for t in found for number in t.numbers}
        tally = Tally(sheet.title)
        self.tallies.append(tally)
        for told in sheet.remarks:
            self.doubt(
                told.code,
                (sheet.title, told.row),
                "",
                told.value,
                told.message,
                told.remedy,
                WARNING,
            )
        for number, value, fault, torn in sheet.damaged:
            tally.read += 1
            tally.aside.append(number)
            remedy = "Check its quotation marks and its length"
            above = [t.header for t in found if t.at < number][-1:]
            shown = _shown(above[0] if above else (), torn)
            self.aside.append(Aside(sheet.title, number, shown, fault, remedy))
            self.doubt("damaged", (sheet.title, number), "", value, f"{fault}; set aside", remedy)
        for number, cells in sheet.rows:
            if number not in inside:
                self.doubt(
                    "outside",
                    (sheet.title, number),
                    "",
                    " ".join(cells)[:80],
                    "stands outside of every table and was passed over",
                    "Say in the mapping which row is the header, if it belongs to one",
                    WARNING,
                )
        if not tally.read:
            self.tallies.pop()

    def over(self, table: Found, cells: Sequence[str]) -> str | None:
        """Return a heading between rows; None for a row that is none.

        A heading that names no role ends what the one before it said.
        """
        if len(table.header) < 3:
            return None
        texts = [c.strip() for c in cells if c.strip()]
        if len(texts) != 1 or any(c.isdigit() for c in texts[0]):
            return None
        return texts[0]

    def meant(self, word: str) -> str:
        """Return the role that a word of theirs names; empty where it names none."""
        if not word:
            return ""
        small = word.casefold()
        said = self.said.get(small)
        if said is not None:
            return "" if said == BY_TITLE else said
        return self.titles.get(small, "") or self.read(word, "").role

    def cell(self, cells: Sequence[str], at: list[tuple[str, int, Column]]) -> str:
        for _, place, _ in at:
            if place < len(cells) and cells[place].strip():
                return cells[place].strip()
        return ""

    def row(
        self,
        table: Found,
        number: int,
        cells: Sequence[str],
        fields: MappingLike[str, list[tuple[str, int, Column]]],
        section: str = "",
    ) -> tuple[str, str] | None:
        """Take one row under a heading; return why it cannot be used, and how to mend it."""
        at = (table.source, number)
        if number in table.broken:
            return (
                "holds bytes that are no letters of this file (\ufffd)",
                "Type them again and save the list as CSV in UTF-8",
            )
        if len(cells) > len(table.header):
            return (
                f"has {len(cells)} cells where the header has {len(table.header)}",
                "Put cells that hold a separator in quotes",
            )
        typed = self.cell(cells, fields["sku"])
        if typed.startswith("date "):
            return ("has a date for its stock number", "Write it again in a cell formatted as text")
        if _SHORTENED.fullmatch(typed):
            name = next(
                n for n, place, _ in fields["sku"] if cells[place:] and cells[place].strip()
            )
            return (
                f"has {typed} for its stock number (column {name!r}), of which a spreadsheet has "
                "cut off digits",
                "Write it again in a cell formatted as text",
            )
        if _WITHOUT_VALUE.fullmatch(typed):
            return (
                "has an error or a formula without a value for its stock number",
                "Write the number itself, or save the workbook once more in a spreadsheet",
            )
        sku = "-".join(typed.split())
        if not any(c.isalnum() for c in sku) or sku.casefold() in UNKNOWN_TEXTS | {"none"}:
            return "has no stock number", "Give it one"
        if len(sku) > 100:
            return "has a stock number of more than 100 letters", "Give it a shorter one"
        titles = [self.cell(cells, [c]) for f in ("name", "text") for c in fields[f]]
        word = self.cell(cells, fields["role"])
        mute = not (word or section or any(titles))
        before = self.capitals.get(sku.casefold())
        if before is not None:
            other = self.parts[before]
            named = self.meant(word) == other.role if not any(titles) else _same(other, titles)
            if other.source == table.source or not (mute or named):
                return (
                    f"has the stock number of row {other.row} of {other.source}",
                    "Give each part its own stock number, or drop the row",
                )
            self.tell_more(other, at, cells, fields, titles)
            return None
        if mute and sku.casefold() in self.held:
            sku, role = self.held[sku.casefold()]
            known = self.more.setdefault(sku, Taken(sku, role, number, table.source))
            self.tell_more(known, at, cells, fields, titles)
            return None
        if any(map(_summed, (typed, *titles[:1]))):
            return (
                "looks like a row of sums",
                "Leave it, or write its title otherwise if it is a part",
            )
        role, said = self.kind(word, titles, section)
        if not role and mute:
            return (
                "has a stock number that no list of parts has, and does not say what it is",
                "Import it with the list that has its title, or into the folder that has the part",
            )
        if not role:
            return self.kindless(word or section, said)
        if word and word.casefold() not in self.said and not self.meant(word):
            self.by_title.setdefault((word, role), [number]).append(number)
        part = Taken(sku, role, number, table.source)
        if sku != typed:
            self.doubt(
                "spaces",
                at,
                fields["sku"][0][0],
                typed,
                f"has spaces; it is written {sku}",
                "Use the new number",
                WARNING,
            )
        if like_a_day(typed):
            self.doubt(
                "like-a-day",
                at,
                fields["sku"][0][0],
                typed,
                "looks like a day; a spreadsheet makes such days of stock numbers like 3-5",
                "Compare it with the true number, and write that in a cell formatted as text",
                WARNING,
            )
        part.name = (titles[0] if titles else "")[:LONGEST_TEXT] or sku
        part.maker = self.cell(cells, fields["maker"])[:LONGEST_TEXT]
        part.note = self.cell(cells, fields["note"])[:LONGEST_TEXT]
        self.amounts(part, at, cells, fields)
        self.pieces(part, at, cells, fields, said)
        self.stuff(part, at, self.cell(cells, fields["material"]), said)
        self.figures(part, at, cells, fields)
        self.words(part, at, said)
        self.parts[sku] = part
        self.capitals[sku.casefold()] = sku
        return None

    def tell_more(
        self,
        part: Taken,
        at: tuple[str, int],
        cells: Sequence[str],
        fields: MappingLike[str, list[tuple[str, int, Column]]],
        titles: Sequence[str],
    ) -> None:
        """Take what a row tells of a part that another list has."""
        more = Taken(part.sku, part.role, at[1], at[0])
        said = [self.read(t, part.role) for t in titles if t]
        more.maker = self.cell(cells, fields["maker"])[:LONGEST_TEXT]
        more.note = self.cell(cells, fields["note"])[:LONGEST_TEXT]
        self.amounts(more, at, cells, fields)
        self.pieces(more, at, cells, fields, said)
        self.stuff(more, at, self.cell(cells, fields["material"]), said)
        if part.role in self.vocabulary.roles:
            self.figures(more, at, cells, fields)
            self.words(more, at, said)
        if part.name == part.sku and titles and titles[0]:
            part.name = titles[0][:LONGEST_TEXT]
        column = (fields["stock"] or fields["sku"])[0][0]
        first = self.first.get((part.sku, at[0]))
        if more.stock is None:
            pass
        elif part.stock is None:
            self.first[part.sku, at[0]] = at[1]
        elif first is not None:
            # As in a catalogue's own stock.csv: so many here, so many there.
            self.doubt(
                "another-list",
                at,
                column,
                str(more.stock),
                f"is of a part that row {first} counts as well; they are added up",
                "Drop one of the two if they are the same pieces",
                WARNING,
            )
            part.stock, more.stock = part.stock + more.stock, None
        for name in part.add(more):
            self.doubt(
                "another-list",
                at,
                "",
                part.sku,
                f"has another {name} here than in row {part.row} of {part.source}; that of there "
                "is used",
                "Look which one is right, and drop the other",
                WARNING,
            )

    def kind(self, word: str, titles: Sequence[str], section: str) -> tuple[str, list[Said]]:
        """Return the role of a part, and what its texts say.

        What a part says of itself goes before the heading that it stands under.
        """
        if self.said.get((word or section).casefold()) == NO_PART:
            return "", []
        role = self.meant(word)
        alone: list[Said] = []
        if not role:
            alone = [self.read(t, "") for t in titles if t]
            named = {said.role for said in alone if said.role}
            if (alone and alone[0].other) or (not named and any(s.other for s in alone)):
                return "", alone
            role = next(iter(named)) if len(named) == 1 else ""
            if not word and section:
                over = self.meant(section)
                if not named or over in named:
                    role = role or over
        if role and alone and all(said.role == role for said in alone):
            return role, alone
        return role, [self.read(t, role) for t in titles if t]

    def kindless(self, word: str, said: Sequence[Said]) -> tuple[str, str]:
        """Return why a row is of no kind of part, and how to mend it."""
        doubts = [d for s in said for d in s.doubts if d.startswith("names")]
        beside = f" ({doubts[0]})" if doubts else ""
        if any(s.other for s in said):
            return (
                f"is no part, by its title{beside}",
                "Leave it, or give its kind in a column if it is one",
            )
        known = self.said.get(word.casefold()) if word else None
        shown = shorten(word)
        if known == NO_PART:
            return (
                f"is of the kind {shown!r}, which is no part of ours",
                f"Change that under [roles] of {MAPPING} if it is one",
            )
        if known is None and word and not self.meant(word):
            self.unknown[word] += 1
            return (
                f"is of the kind {shown!r}, which is not known{beside}",
                f"Say what it means under [roles] of {MAPPING}, or in {PHRASES}",
            )
        return (
            f"does not say what kind of part it is{beside}",
            f"Add its word to {PHRASES} or to [roles] of {MAPPING}",
        )

    def read(self, text: str, role: str) -> Said:
        return self.phrases.read(text[:1000], role)

    def amounts(
        self,
        part: Taken,
        at: tuple[str, int],
        cells: Sequence[str],
        fields: MappingLike[str, list[tuple[str, int, Column]]],
    ) -> None:
        take = {"price": self.price, "mass": self.mass, "stock": self.stock}
        for means, taken in take.items():
            for name, place, column in fields[means]:
                text = cells[place].strip() if place < len(cells) else ""
                if text.casefold() in UNKNOWN_TEXTS:
                    continue
                try:
                    taken(part, text, column)
                except (UnitError, ArithmeticError) as error:
                    self.doubt(
                        f"no-{means}", at, name, text, f"{error}; it counts as not known", "Mend it"
                    )

    def price(self, part: Taken, text: str, column: Column) -> None:
        plain = said_price(_ONE_BEHIND.sub("", text), column.decimal, column.unit)
        price = self.vocabulary.read_money(plain)
        if not 0 < price <= 10**12:
            raise UnitError("is out of range; write what it costs")
        part.price = price

    def mass(self, part: Taken, text: str, column: Column) -> None:
        mass = parse_mass(said_mass(text, column.decimal, column.unit))
        if not 0 < mass <= _HEAVIEST_G:
            raise UnitError("is out of range (0 to 100 kg); write what it weighs, with its unit")
        part.mass_g = mass

    def stock(self, part: Taken, text: str, column: Column) -> None:
        pieces = _PIECES.sub("", fixed(text, column.decimal, column.unit))
        part.stock = parse_count(pieces, 999_999_999)

    def pieces(
        self,
        part: Taken,
        at: tuple[str, int],
        cells: Sequence[str],
        fields: MappingLike[str, list[tuple[str, int, Column]]],
        said: Sequence[Said],
    ) -> None:
        """Tell of how many pieces a price is; one that is of several says nothing of one."""
        per = self.cell(cells, fields["per"])
        if per and part.price is not None and not _ONE.fullmatch(per.casefold()):
            part.price = None
            self.doubt(
                "price-of-several",
                at,
                fields["per"][0][0],
                per,
                "is what its price is of, so the price of one is not known",
                "Write the price of one",
            )
        several = next((s.several for s in said if s.several), "")
        if several and (part.price is not None or part.mass_g is not None):
            self.doubt(
                "several-pieces",
                at,
                "",
                part.name,
                f"says {several!r}: its price and mass are taken for those of one part of a build",
                "Write what one costs and weighs, if a build takes one of them",
                WARNING,
            )

    def stuff(self, part: Taken, at: tuple[str, int], typed: str, said: Sequence[Said]) -> None:
        named = {s.material for s in said if s.material}
        if typed:
            material = typed.casefold()
            if material not in MATERIALS:
                material = self.read(typed, "").material
            if material:
                named = {material}
            else:
                self.doubt(
                    "no-material",
                    at,
                    "",
                    typed,
                    "is no known material and was passed over",
                    f"Add its word to {PHRASES}",
                    WARNING,
                )
        if len(named) == 1:
            part.material = named.pop()

    def figures(
        self,
        part: Taken,
        at: tuple[str, int],
        cells: Sequence[str],
        fields: MappingLike[str, list[tuple[str, int, Column]]],
    ) -> None:
        """Take the figures that have columns of their own."""
        role = self.vocabulary.roles[part.role]
        for means, columns in fields.items():
            if means in FIELDS:
                continue
            path = means.removeprefix(f"{part.role}.")
            feature, _, dimension = path.partition(".")
            kind = role.features.get(feature)
            spec = kind.dimensions.get(dimension) if kind is not None else None
            for name, place, column in columns:
                text = cells[place].strip() if place < len(cells) else ""
                if text.casefold() in UNKNOWN_TEXTS:
                    continue
                if not dimension:
                    self.presence(part, at, (name, text), feature)
                    continue
                if spec is None:
                    self.doubt(
                        "no-dimension",
                        at,
                        name,
                        text,
                        f"is no size of a {role.title}; left out",
                        "Leave the cell blank, or map the column otherwise",
                        WARNING,
                    )
                    continue
                try:
                    value = text if spec.worded else fixed(text, column.decimal, column.unit)
                    if not spec.worded:
                        self.sensible(value, spec.plausible)
                    basis = "maker" if spec.worded else "nominal"
                    part.figures[path] = (value, basis, f"column {name}")
                except UnitError as error:
                    self.doubt(
                        "no-figure", at, name, text, f"{error}; it counts as not known", "Mend it"
                    )

    def presence(
        self, part: Taken, at: tuple[str, int], cell: tuple[str, str], feature: str
    ) -> None:
        """Take whether a feature is there; a part of a kind that never has it lacks it anyway."""
        name, text = cell
        try:
            there = said_presence(text)
        except UnitError as error:
            told = f"{error}; it counts as not known"
            self.doubt("presence", at, name, text, told, "Write yes or no")
            return
        role = self.vocabulary.roles[part.role]
        if feature in role.features:
            part.figures[feature] = (there, "nominal", f"column {name}")
        elif there == "yes":
            self.doubt(
                "no-feature",
                at,
                name,
                text,
                f"is said of a {role.title}, which has none; left out",
                "Leave the cell blank, or map the column otherwise",
                WARNING,
            )

    def sensible(self, value: str, plausible: tuple[float, float] | None) -> None:
        figure = parse_figure(value, Basis.NOMINAL, 0.1, plausible)
        if plausible and figure.known and not plausible[0] <= figure.mid <= plausible[1]:
            raise UnitError(f"lies outside {plausible[0]:g} to {plausible[1]:g} mm")

    def words(self, part: Taken, at: tuple[str, int], said: Sequence[Said]) -> None:
        """Take the figures that words give; a column goes before a word."""
        found: dict[str, dict[str, str]] = {}
        role = self.vocabulary.roles[part.role]
        for each in said:
            for path, (value, beside) in each.figures.items():
                found.setdefault(path, {}).setdefault(value, beside)
            for doubt in each.doubts:
                self.doubt(
                    "doubtful-words",
                    at,
                    "",
                    part.name,
                    f"{doubt}; it was left out",
                    f"Add words for it to {PHRASES}, or write the size in a column",
                    WARNING,
                )
        for path, values in found.items():
            if path in part.figures:
                continue
            if len(values) > 1:
                self.doubt(
                    "two-sizes",
                    at,
                    "",
                    part.name,
                    f"gives {path} as {' and '.join(sorted(values))}; it counts as not known",
                    "Write the right one in a column",
                )
                continue
            value, beside = next(iter(values.items()))
            feature, _, dimension = path.partition(".")
            spec = role.features[feature].dimensions.get(dimension)
            try:
                if spec is not None and not spec.worded:
                    self.sensible(value, spec.plausible)
            except UnitError as error:
                self.doubt(
                    "no-figure",
                    at,
                    "",
                    beside,
                    f"{error}; it counts as not known",
                    "Write the size in a column",
                )
                continue
            part.figures[path] = (value, "nominal", f"{FROM_WORDS}{shorten(beside)}")


def _same(part: Taken, titles: Sequence[str]) -> bool:
    """Say whether a title is that of a part, or the first that it gets."""
    title = " ".join((titles[0] if titles else "").casefold().split())[:LONGEST_TEXT]
    return part.name == part.sku or title == " ".join(part.name.casefold().split())


def _summed(text: str) -> bool:
    """Say whether a title is rather that of a sum: "Total bars", "Grand total all".

    Examples
    --------
    >>> _summed("Total bars"), _summed("Bars, grand total"), _summed("Totally black bar")
    (True, True, False)
    """
    words = [w.strip(".:*=()") for w in text.casefold().split()]
    return 0 < len(words) <= 5 and bool(TOTALS & {words[0], words[-1], *words[1:2]})


def unknown_kinds(
    tables: Sequence[Found], mapping: Mapping, vocabulary: Vocabulary, phrases: Phrases
) -> list[UnknownKind]:
    """Return the words for kinds of parts that mean no role, the commonest first.

    Words are asked for that stand in a column of kinds, or as a heading over rows, where no title
    tells the kind.

    Parameters
    ----------
    tables : sequence of Found
        Of their sheets.
    mapping : Mapping
        Which column is what.
    vocabulary, phrases
        What words mean.
    """
    reader = _Reader(mapping, vocabulary, phrases)
    times: Counter[str] = Counter()
    samples: dict[str, dict[str, None]] = defaultdict(dict)
    for table in tables:
        fields = _by_field(table, mapping)
        texts = [c for f in ("name", "text") for c in fields[f]]
        section = ""
        for _, cells in table.rows:
            over = reader.over(table, cells)
            if over is not None:
                section = over
                continue
            word = reader.cell(cells, fields["role"]) or section
            if not word or word.casefold() in reader.said or reader.meant(word):
                continue
            titles = [reader.cell(cells, [c]) for c in texts]
            if not reader.kind(word, titles, "")[0]:
                times[word] += 1
                if len(samples[word]) < _SAMPLES and (title := next(filter(None, titles), "")):
                    samples[word][title] = None
    return [UnknownKind(w, n, tuple(samples[w])) for w, n in times.most_common()]


def _by_field(table: Found, mapping: Mapping) -> dict[str, list[tuple[str, int, Column]]]:
    """Return the columns of a table by what they mean: name, place, and what is said of each."""
    known = mapping.of(table.source, table.header)
    places = {name: place for place, name in enumerate(table.header)}
    found: dict[str, list[tuple[str, int, Column]]] = defaultdict(list)
    for name, column in ({} if known is None else known.columns).items():
        if name in places and column.means != "ignore":
            found[column.means].append((name, places[name], column))
    return found


def take_in(
    tables: Sequence[Found],
    mapping: Mapping,
    vocabulary: Vocabulary,
    phrases: Phrases,
    sheets: Sequence[Sheet] = (),
    held: MappingLike[str, str] | None = None,
) -> Intake:
    """Return what is understood of some tables.

    Parameters
    ----------
    tables : sequence of Found
        Of their sheets.
    mapping : Mapping
        Which column is what.
    vocabulary, phrases
        What words mean.
    sheets : sequence of Sheet
        Where the tables stand; rows that could not be read, or stand outside of every table,
        are told.
    held : mapping of str to str, optional
        Role of each part that is known already: rows that do not say what they are tell more of
        it.
    """
    reader = _Reader(mapping, vocabulary, phrases, held)
    for sheet in sheets:
        reader.outside(sheet, [t for t in tables if t.source == sheet.title])
    # What has no titles may tell of parts that another table has.
    for table in sorted(tables, key=lambda t: not _titled(t, mapping)):
        reader.table(table)
    parts = tuple(reader.parts.values())
    for finding in across(parts, vocabulary):
        at = (finding.file, finding.row, finding.column, finding.value)
        reader.notes.add(finding.code, *at, finding.message, finding.remedy, finding.severity)
    return Intake(
        parts,
        tuple(reader.aside),
        reader.notes.all(),
        tuple(reader.tallies),
        mapping,
        dict(reader.unknown.most_common()),
        tuple(reader.more.values()),
    )


def stock_numbers(table: Found, mapping: Mapping) -> set[str]:
    """Return what stands in a table's column of stock numbers."""
    return {c.strip() for n, _, _ in _by_field(table, mapping)["sku"] for c in table.column(n)}


def _titled(table: Found, mapping: Mapping) -> bool:
    return not {"name", "text", "role"}.isdisjoint(_by_field(table, mapping))


def held_parts(folder: Path) -> dict[str, str]:
    """Return the role of each part that a folder has already; empty where it cannot be read."""
    if not (folder / PARTS).exists():
        return {}
    try:
        rows = read_table(folder / PARTS, ("sku", "role"), _HEADS[PARTS][2:], Notes()).rows
        return {row["sku"]: row["role"] for row in rows}
    except CatalogueError:
        return {}


def _kept(
    folder: Path, name: str, fresh: set[str]
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return the columns of a table, and the rows that are there already and stay.

    Raises
    ------
    MappingError
        If there are rows that cannot be read: writing the table anew would lose them.
    """
    path = folder / name
    if not path.exists() and not path.is_symlink():
        return _HEADS[name], []
    notes = Notes()
    try:
        table = read_table(path, ("sku",), _HEADS[name][1:], notes)
        rows = list(table.rows)
    except CatalogueError as error:
        raise MappingError(f"{error.findings[0]} Nothing was imported.") from None
    if table.tally.aside:
        raise MappingError(
            f"{name} in {folder.name} has rows that cannot be read and would be lost, the first in "
            f"line {table.tally.aside[0]}; mend them first (fitgraph check --catalogue {folder}). "
            "Nothing was imported."
        )
    columns = (*_HEADS[name], *(c for c in table.columns if c not in _HEADS[name]))
    return columns, [tuple(row[c] for c in columns) for row in rows if row["sku"] not in fresh]


def _replaced(folder: Path, fresh: set[str]) -> list[Finding]:
    """Tell of parts that were in the folder and came anew."""
    path = folder / PARTS
    if not path.exists():
        return []
    try:
        rows = read_table(path, ("sku",), _HEADS[PARTS][1:], Notes()).rows
        again = [row["sku"] for row in rows if row["sku"] in fresh]
    except CatalogueError:
        return []
    if not again:
        return []
    return [
        Finding(
            PARTS,
            None,
            "sku",
            shorten(", ".join(again[:5])),
            f"was in the folder before: {len(again):,} parts came anew and took the place of what "
            "was there",
            "Look at them if you did not mean that",
            WARNING,
            "replaced",
        )
    ]


_Rows = dict[str, tuple[tuple[str, ...], list[tuple[str, ...]]]]


def _tell_more(intake: Intake, kept: _Rows, vocabulary: Vocabulary) -> list[Finding]:
    """Put into the rows that stay what is told of their parts; return what is told of that.

    Raises
    ------
    MappingError
        If somebody has taken such a part out of the folder meanwhile.
    """
    if not intake.more:
        return []
    fresh = _rows(intake.more, vocabulary)
    columns, parts = kept[PARTS]
    told = {row[0]: dict(zip(_HEADS[PARTS], row, strict=True)) for row in fresh[PARTS]}
    if gone := told.keys() - {row[0] for row in parts}:
        raise MappingError(
            f"{min(gone)} is no part of the folder any more; try again. Nothing was imported."
        )
    for at, row in enumerate(parts):
        new = told.get(row[0], {})
        parts[at] = tuple(
            # What a part is and is called stays.
            (name not in ("role", "name") and new.get(name)) or old
            for name, old in zip(columns, row, strict=True)
        )
    counted_anew = {row[0] for row in fresh[STOCK]}
    kept[STOCK] = (kept[STOCK][0], [r for r in kept[STOCK][1] if r[0] not in counted_anew])
    for name in (FEATURES, STOCK):
        heads, rows = kept[name]
        there = {row[:4] for row in rows}
        blank = ("",) * (len(heads) - len(_HEADS[name]))
        rows += [(*row, *blank) for row in fresh[name] if row[:4] not in there]
    some = ", ".join(part.sku for part in intake.more[:5])
    message = f"was in the folder before: more was told of {plural(len(told), 'such part')}"
    remedy = "Look at them if you did not mean that"
    return [Finding(PARTS, None, "sku", shorten(some), message, remedy, WARNING, "another-list")]


def _rows(parts: Sequence[Taken], vocabulary: Vocabulary) -> dict[str, list[tuple[str, ...]]]:
    rows: dict[str, list[tuple[str, ...]]] = {name: [] for name in _HEADS}
    for p in parts:
        price = "" if p.price is None else vocabulary.plain_money(p.price)
        mass = "" if p.mass_g is None else f"{p.mass_g:.6g} g"
        rows[PARTS].append((p.sku, p.role, p.name, p.maker, price, mass, p.material, p.note))
        for path, (value, basis, note) in p.figures.items():
            feature, _, dimension = path.partition(".")
            rows[FEATURES].append((p.sku, feature, dimension, value, basis, note))
        if p.stock is not None:
            rows[STOCK].append((p.sku, str(p.stock), ""))
    return rows


def _one_line(text: str) -> str:
    return " ".join(text.split())


def write_catalogue(
    intake: Intake,
    folder: Path,
    words: Path,
    vocabulary: Vocabulary,
    page: Callable[[Report], str],
) -> Report:
    """Write a catalogue folder of what was understood, whole or not at all, and check it.

    Parameters
    ----------
    intake : Intake
        What was understood.
    folder : Path
        Where it goes. What is there already stays, but for the parts that come anew. Who imports
        into it at the same time waits.
    words : Path
        A catalogue folder whose vocabulary and phrases are copied, where there are none yet.
    vocabulary : Vocabulary
        The one in that folder.
    page : callable
        Makes the page of a report, which is written beside the tables.

    Raises
    ------
    MappingError
        If something in the folder would be lost, if it is a folder of other things, or if somebody
        else keeps writing to it.
    OSError
        If it cannot be written.
    """
    _ours(folder)
    with _alone(folder):
        fresh = {part.sku for part in intake.parts}
        told = _replaced(folder, fresh)
        kept = {name: _kept(folder, name, fresh) for name in _HEADS}
        told += _tell_more(intake, kept, vocabulary)
        with folder_whole(folder, replace=True) as made:
            if folder.is_dir():
                fill_from(folder, made)
            for name in (VOCABULARY, PHRASES):
                if not (made / name).exists() and (words / name).exists():
                    write_bytes_whole(made / name, (words / name).read_bytes())
            for name, rows in _rows(intake.parts, vocabulary).items():
                columns, before = kept[name]
                blank = ("",) * (len(columns) - len(_HEADS[name]))
                with written_whole(made / name) as out:
                    writer = CsvWriter(out, lineterminator="\n")
                    writer.row(columns)
                    writer.rows(map(_one_line, row) for row in before)
                    writer.rows(map(_one_line, (*row, *blank)) for row in rows)
            with written_whole(made / MAPPING) as out:
                out.write(written(intake.mapping))
            if (made / ASIDE).exists():
                os.replace(made / ASIDE, made / ASIDE_BEFORE)
            if mend := [a for a in intake.aside if a.cells]:
                _write_aside(made / ASIDE, mend)
            loaded: Loaded | None
            try:
                loaded = load(made)
                loaded = replace(loaded, catalogue=replace(loaded.catalogue, name=folder.name))
                of_made = loaded.findings
            except CatalogueError as error:
                loaded, of_made = None, error.findings
            report = Report(intake, loaded, folder, (*intake.findings, *told, *of_made))
            write_text_whole(made / PAGE, page(report))
        return report


def _ours(folder: Path) -> None:
    """Refuse a folder that is full of other things, such as somebody's home.

    Raises
    ------
    MappingError
        If it is.
    """
    held = [*islice(folder.iterdir(), _OTHERS + 1)] if folder.is_dir() else []
    if len(held) > _OTHERS and not (folder / VOCABULARY).exists():
        raise MappingError(
            f"{folder} holds other things and no catalogue; name a folder of its own, like "
            f"{folder / 'my-shop'}. Nothing was imported."
        )


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Keep other imports into a folder waiting.

    Raises
    ------
    MappingError
        If somebody else keeps writing to it.
    """
    place = Path(os.path.realpath(folder))
    place.parent.mkdir(parents=True, exist_ok=True)
    lock = FileLock(place.with_name(f".{place.name[:100]}.lock"), timeout=_PATIENCE)
    try:
        lock.acquire()
    except Timeout:
        raise MappingError(
            f"{folder} is being written by something else; try again. Nothing was imported."
        ) from None
    try:
        yield
    finally:
        lock.release()


def _shown(header: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    """Return the cells of a row by the names of their columns, those beyond them by letters."""
    beyond = [f"column {letter(n)}" for n in range(len(header), len(cells))]
    names = [*header, *beyond]
    return {n: cells[p] if p < len(cells) else "" for p, n in enumerate(names)} if cells else {}


def _write_aside(path: Path, mend: Sequence[Aside]) -> None:
    """Write rows that could not be used, as they came, with the reasons before them."""
    names = list(dict.fromkeys(name for a in mend for name in a.cells))
    names = [n for n in names if n not in WHY]
    with written_whole(path) as out:
        writer = CsvWriter(out, lineterminator="\n")
        writer.row([*WHY, *names])
        writer.rows(
            [a.reason, a.remedy, f"{a.source}, row {a.row}"]
            + [_one_line(a.cells.get(n, "")) for n in names]
            for a in mend
        )
