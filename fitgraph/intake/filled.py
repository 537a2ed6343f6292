"""What the cells and the titles of a row tell of its part: price, mass, stock, sizes, material."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from decimal import ROUND_HALF_UP, Decimal

from fitgraph.catalogue.figures import parse_figure
from fitgraph.catalogue.findings import WARNING, shorten
from fitgraph.catalogue.reading import LONGEST_TEXT
from fitgraph.intake.cell_texts import fixed, said_mass, said_presence, said_price
from fitgraph.intake.list_rows import ListRow
from fitgraph.intake.list_words import any_of, words_for
from fitgraph.intake.mapping import ENDS, FIELDS, Meant
from fitgraph.intake.phrases import FILE as PHRASES
from fitgraph.intake.phrases import Phrases, TitleWords
from fitgraph.intake.taken import FROM_WORDS, Taken
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Basis, Vocabulary
from fitgraph.units import UnitError, parse_count, parse_mass
from fitgraph.wording import an

#: A shop's parts are lighter; more is a column of grams among kilograms.
_HEAVIEST_G = 1e5

#: What people write behind a number of pieces.
_COUNTS = words_for("counts")
_FEW = (_COUNTS["pieces"], _COUNTS["short"])
_PIECES = re.compile(rf"\s*{any_of(*_FEW, _COUNTS['behind'])}\.?$", re.IGNORECASE)

#: A number with decimals that no price has and no thousands: what a spreadsheet worked out.
_WORKED_OUT = re.compile(r"(?<![\d.,])\d{1,12}[.,](?=\d{4})\d\d\d*[1-9]\d*(?![\d.,])")

#: What says that a price is of one piece.
_EACH = rf"(?:(?:{any_of(_COUNTS['per'], _COUNTS['each'])}|/)\s*)?{any_of(_COUNTS['one'])}\.?"
_ONE = re.compile(rf"{_EACH}|1(?:\s?(?:{_EACH}|{any_of(*_FEW)}))?")
_ONE_BEHIND = re.compile(rf"(?<=[0-9€£$])\s*{_EACH}$", re.IGNORECASE)


class Filling:
    """Fills in parts from their rows.

    Parameters
    ----------
    vocabulary, phrases
        What words mean.
    """

    def __init__(self, vocabulary: Vocabulary, phrases: Phrases) -> None:
        self._vocabulary, self._phrases = vocabulary, phrases

    def fill(self, part: Taken, row: ListRow, said: Sequence[TitleWords]) -> None:
        """Fill in what a row and the words of its titles tell of a part."""
        part.maker = row.text("maker")[:LONGEST_TEXT]
        part.note = row.text("note")[:LONGEST_TEXT]
        self._amounts(part, row)
        _pieces(part, row, said)
        self._stuff(part, row, said)
        if part.role in self._vocabulary.roles:
            self._figures(part, row)
            self._words(part, row, said)

    def _amounts(self, part: Taken, row: ListRow) -> None:
        take = {"price": self._price, "mass": _mass, "stock": _stock}
        for means, taken in take.items():
            for name, text, column in row.known(means):
                try:
                    taken(part, text, column)
                except (UnitError, ArithmeticError) as error:
                    row.doubt(
                        f"no-{means}", name, text, f"{error}; it counts as not known", "Mend it"
                    )
                else:
                    if means == "price" and part.price is not None and _WORKED_OUT.search(text):
                        told = f"was worked out; {self._vocabulary.money(part.price)} is taken"
                        remedy = "Write the price that is asked for, if it is another"
                        row.doubt("price-rounded", name, text, told, remedy, WARNING)

    def _price(self, part: Taken, text: str, column: Meant) -> None:
        plain = said_price(_ONE_BEHIND.sub("", text), column.decimal, column.unit)
        price = self._vocabulary.read_money(_WORKED_OUT.sub(self._rounded, plain))
        if not 0 < price <= 10**12:
            raise UnitError("is out of range; write what it costs")
        part.price = price

    def _rounded(self, number: re.Match[str]) -> str:
        """Return a price with the decimals that its currency has."""
        least = Decimal(1).scaleb(-self._vocabulary.minor_digits)
        return str(Decimal(number[0].replace(",", ".")).quantize(least, ROUND_HALF_UP))

    def _stuff(self, part: Taken, row: ListRow, said: Sequence[TitleWords]) -> None:
        typed = row.text("material")
        named = {s.material for s in said if s.material}
        if typed:
            material = typed.casefold()
            if material not in MATERIALS:
                material = self._phrases.read(typed).material
            if material:
                named = {material}
            else:
                row.doubt(
                    "no-material",
                    "",
                    typed,
                    "is no known material and was passed over",
                    f"Add its word to {PHRASES}",
                    WARNING,
                )
        if len(named) == 1:
            part.material = named.pop()

    def _figures(self, part: Taken, row: ListRow) -> None:
        """Take the figures that have columns of their own."""
        role = self._vocabulary.roles[part.role]
        for means in row.columns:
            if means in FIELDS:
                continue
            path = means.removeprefix(f"{part.role}.")
            feature, _, dimension = path.partition(".")
            kind = role.features.get(feature)
            spec = kind.dimensions.get(dimension) if kind is not None else None
            for cells in _sized(row.known(means)):
                name = " and ".join(name for name, _, _ in cells)
                text = " and ".join(text for _, text, _ in cells)
                if not dimension:
                    self._presence(part, row, (name, text), feature)
                    continue
                if spec is None:
                    row.doubt(
                        "no-dimension",
                        name,
                        text,
                        f"is no size of {an(role.title)}; left out",
                        "Leave the cell blank, or map the column otherwise",
                        WARNING,
                    )
                    continue
                try:
                    value = text if spec.worded else _figure(cells)
                    if not spec.worded:
                        _sensible(value, spec.plausible)
                    basis = "maker" if spec.worded else "nominal"
                    part.figures[path] = (value, basis, f"column {name}")
                except UnitError as error:
                    row.doubt(
                        "no-figure", name, text, f"{error}; it counts as not known", "Mend it"
                    )

    def _presence(self, part: Taken, row: ListRow, cell: tuple[str, str], feature: str) -> None:
        """Take whether a feature is there; a part of a kind that never has it lacks it anyway."""
        name, text = cell
        try:
            there = said_presence(text)
        except UnitError as error:
            told = f"{error}; it counts as not known"
            row.doubt("presence", name, text, told, "Write yes or no")
            return
        role = self._vocabulary.roles[part.role]
        if feature in role.features:
            part.figures[feature] = (there, "nominal", f"column {name}")
        elif there == "yes":
            row.doubt(
                "no-feature",
                name,
                text,
                f"is said of {an(role.title)}, which has none; left out",
                "Leave the cell blank, or map the column otherwise",
                WARNING,
            )

    def _words(self, part: Taken, row: ListRow, said: Sequence[TitleWords]) -> None:
        """Take the figures that words give; a column goes before a word."""
        found: dict[str, dict[str, str]] = {}
        role = self._vocabulary.roles[part.role]
        for each in said:
            for path, (value, beside) in each.figures.items():
                found.setdefault(path, {}).setdefault(value, beside)
            for doubt in each.doubts:
                row.doubt(
                    "doubtful-words",
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
                row.doubt(
                    "two-sizes",
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
                    _sensible(value, spec.plausible)
            except UnitError as error:
                row.doubt(
                    "no-figure",
                    "",
                    beside,
                    f"{error}; it counts as not known",
                    "Write the size in a column",
                )
                continue
            part.figures[path] = (value, "nominal", f"{FROM_WORDS}{shorten(beside)}")


_Cell = tuple[str, str, Meant]


def _sized(cells: Iterable[_Cell]) -> Iterator[tuple[_Cell, ...]]:
    """Give the cells that tell of one size: each alone, its least and its most together."""
    ends: dict[str, _Cell] = {}
    for cell in cells:
        if cell[2].end:
            ends[cell[2].end] = cell
        else:
            yield (cell,)
    if ends:
        yield tuple(ends[end] for end in ENDS if end in ends)


def _figure(cells: tuple[_Cell, ...]) -> str:
    """Return a size as the catalogue has it; from its least to its most where two cells tell it.

    Raises
    ------
    UnitError
        If a cell cannot be read, or one of the two ends is missing.
    """
    told = [fixed(text, column.decimal, column.unit) for _, text, column in cells]
    if len(cells) == 1 and (end := cells[0][2].end):
        raise UnitError(f"is only the {end} of this size")
    return "..".join(told)


def _mass(part: Taken, text: str, column: Meant) -> None:
    mass = parse_mass(said_mass(text, column.decimal, column.unit))
    if not 0 < mass <= _HEAVIEST_G:
        raise UnitError("is out of range (0 to 100 kg); write what it weighs, with its unit")
    part.mass_g = mass


def _stock(part: Taken, text: str, column: Meant) -> None:
    pieces = _PIECES.sub("", fixed(text, column.decimal, column.unit))
    part.stock = parse_count(pieces, 999_999_999)


def _pieces(part: Taken, row: ListRow, said: Sequence[TitleWords]) -> None:
    """Tell of how many pieces a price is; one that is of several says nothing of one."""
    per = row.text("per")
    if per and part.price is not None and not _ONE.fullmatch(per.casefold()):
        part.price = None
        row.doubt(
            "price-of-several",
            row.column("per"),
            per,
            "is what its price is of, so the price of one is not known",
            "Write the price of one",
        )
    several = next((s.several for s in said if s.several), "")
    if several and (part.price is not None or part.mass_g is not None):
        row.doubt(
            "several-pieces",
            "",
            part.name,
            f"says {several!r}: its price and mass are taken for those of one part of a build",
            "Write what one costs and weighs, if a build takes one of them",
            WARNING,
        )


def _sensible(value: str, plausible: tuple[float, float] | None) -> None:
    """Make sure that a length is one the feature can have.

    Raises
    ------
    UnitError
        If it is not.
    """
    figure = parse_figure(value, Basis.NOMINAL, 0.1, plausible)
    if plausible and figure.known and not plausible[0] <= figure.mid <= plausible[1]:
        raise UnitError(f"lies outside {plausible[0]:g} to {plausible[1]:g} mm")
