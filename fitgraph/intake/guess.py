"""Guess what their columns are, by their names and by what stands in them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from fitgraph.catalogue.figures import UNKNOWN_TEXTS, parse_figure
from fitgraph.intake.grid import Found
from fitgraph.intake.mapping import Column, TableMap
from fitgraph.intake.phrases import Phrases
from fitgraph.intake.sources import DATE, needed
from fitgraph.intake.values import decimal_mark, fixed
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Basis, DimensionKind, Vocabulary
from fitgraph.units import UnitError, parse_count, parse_mass, parse_money

#: Names that shops give to columns, in several languages; terms of trade and commerce only.
NAMES: dict[str, tuple[str, ...]] = {
    "sku": (
        *("sku", "stock number", "item number", "item no", "part number", "part no", "article"),
        *("article number", "art nr", "artnr", "artikelnummer", "artikel nr", "item code", "code"),
        *("product code", "référence", "ref", "codice", "código", "id", "number", "bestellnummer"),
    ),
    "name": (
        *("name", "title", "product", "product name", "product title", "item", "bezeichnung"),
        *("artikelbezeichnung", "artikel", "titel", "désignation", "nom", "descrizione breve"),
        *("nombre", "nome", "naam", "benennung", "item name"),
    ),
    "text": (
        *("description", "details", "beschreibung", "specification", "specs", "descripción"),
        *("descrizione", "omschrijving", "long description", "text"),
    ),
    "role": (
        *("type", "category", "kind", "group", "product type", "kategorie", "warengruppe", "art"),
        *("catégorie", "categoría", "categoria", "role", "product group", "typ", "soort"),
    ),
    "maker": (
        *("maker", "brand", "manufacturer", "make", "hersteller", "marke", "marque", "marca"),
        *("fabricant", "produttore", "vendor", "merk"),
    ),
    "price": (
        *("price", "retail price", "rrp", "selling price", "sales price", "preis", "vk", "uvp"),
        *("vk preis", "verkaufspreis", "prix", "prezzo", "precio", "prijs", "price eur", "msrp"),
        *("unit price", "vk brutto", "price incl vat"),
    ),
    "mass": (
        *("mass", "weight", "weight g", "weight kg", "gewicht", "poids", "peso", "net weight"),
        *("gewicht g", "gewicht kg", "mass g", "wt"),
    ),
    "material": ("material", "werkstoff", "matériau", "materiale", "materiaal", "matière"),
    "stock": (
        *("stock", "quantity", "qty", "on hand", "in stock", "bestand", "lagerbestand", "menge"),
        *("quantité", "quantità", "cantidad", "pieces", "stück", "voorraad", "available"),
    ),
    "note": ("note", "notes", "remark", "remarks", "comment", "bemerkung", "notiz", "remarque"),
}
#: What a shop's list holds beside, which no catalogue needs.
OTHERS = (
    *("cost", "purchase price", "ek", "einkaufspreis", "ek preis", "tax", "vat", "mwst", "ean"),
    *("gtin", "barcode", "image", "url", "link", "colour", "color", "farbe", "supplier", "date"),
    *("updated", "created", "place", "location", "lagerplatz", "min stock", "discount", "margin"),
)

#: From which score on a guess is not asked about, and by how much it has to lead.
SURE, LEAD = 0.72, 0.1

#: The score from which on a column that is called just so need not lead.
EXACT = 0.75
_LEAST = 0.45


@dataclass(frozen=True, slots=True)
class Choice:
    """What a column is taken for.

    Parameters
    ----------
    source, column : str
        Where it stands.
    taken : Column
        The best guess.
    sure : bool
        Whether it need not be asked about.
    others : tuple of str
        What else it could be, the likeliest first.
    samples : tuple of str
        Some of its cells.
    """

    source: str
    column: str
    taken: Column
    sure: bool
    others: tuple[str, ...]
    samples: tuple[str, ...]


def _plain(name: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", name.casefold().replace("ø", " diameter ")))


class _Spellings:
    """Names for one thing; tells how much a text is like the nearest of them."""

    def __init__(self, names: Iterable[str]) -> None:
        self.plain = [p for n in dict.fromkeys(names) if (p := _plain(n))]
        self._long = [p for p in self.plain if len(p) > 3]
        self._known: dict[str, float] = {}

    def alike(self, text: str) -> float:
        """Return how much a text is like the nearest name, from 0 to 1."""
        found = self._known.get(text)
        if found is None:
            if len(self._known) > 20_000:
                self._known.clear()
            found = self._known[text] = self._alike(_plain(text))
        return found

    def _alike(self, plain: str) -> float:
        if not plain or not self.plain:
            return 0.0
        if plain in self.plain:
            return 1.0
        fuzz, process = needed("rapidfuzz.fuzz"), needed("rapidfuzz.process")
        best = process.extractOne(plain, self.plain, scorer=fuzz.ratio)[1]
        whole = (
            process.extractOne(plain, self._long, scorer=fuzz.token_set_ratio)[1]
            if self._long
            else 0.0
        )
        return float(max(best, 0.85 * whole)) / 100


@lru_cache(maxsize=1)
def _fields() -> dict[str, _Spellings]:
    return {means: _Spellings(names) for means, names in NAMES.items()}


@lru_cache(maxsize=1)
def _others() -> _Spellings:
    return _Spellings(OTHERS)


class _Words:
    """Spellings of what a vocabulary holds, made once a vocabulary."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        roles = vocabulary.roles
        self.titles = _Spellings([*(r.title for r in roles.values()), *roles])
        self.paths: list[tuple[str, DimensionKind, _Spellings]] = []
        every = [n for names in NAMES.values() for n in names] + list(OTHERS)
        for role in roles.values():
            for kind in role.features.values():
                for spec in kind.dimensions.values():
                    spelt = [
                        *(f"{kind.title} {spec.name}", f"{role.title} {kind.title} {spec.name}"),
                        *((kind.title,) if len(kind.dimensions) == 1 else ()),
                    ]
                    self.paths.append((f"{kind.name}.{spec.name}", spec, _Spellings(spelt)))
                    every.append(spelt[0])
        self.every = _Spellings(every)


_KNOWN: dict[int, tuple[Vocabulary, _Words]] = {}


def _words(vocabulary: Vocabulary) -> _Words:
    found = _KNOWN.get(id(vocabulary))
    if found is None or found[0] is not vocabulary:
        _KNOWN.clear()
        found = _KNOWN[id(vocabulary)] = (vocabulary, _Words(vocabulary))
    return found[1]


def header_words(vocabulary: Vocabulary) -> Callable[[str], float]:
    """Return how surely a text names a column, for the search for headers."""
    every = _words(vocabulary).every

    def known(text: str) -> float:
        return 1.0 if every.alike(text[:60]) > 0.86 else 0.0

    return known


def _share(values: Sequence[str], reads: Callable[[str], object]) -> float:
    """Return the share of cells that can be read."""
    good = 0
    for value in values:
        try:
            good += reads(value) is not None
        except (UnitError, ArithmeticError):
            good += 0
    return good / len(values) if values else 0.0


def _fits(values: Sequence[str], vocabulary: Vocabulary, phrases: Phrases) -> dict[str, float]:
    """Return how well cells go with each field, from 0 to 1."""
    if not values:
        return {}
    mark = decimal_mark(values)
    distinct = len({v.casefold() for v in values}) / len(values)
    numbers = sum(bool(re.fullmatch(r"[\d.,\s'€£$-]+", v)) for v in values) / len(values)
    spaces = sum(" " in v for v in values) / len(values)
    long = min(sum(map(len, values)) / len(values) / 25, 1.0)
    some = values[:40]
    roles = sum(
        _words(vocabulary).titles.alike(v[:60]) > 0.85 or bool(phrases.read(v).role) for v in some
    ) / len(some)
    money = _share(
        values,
        lambda v: parse_money(fixed(v, mark), vocabulary.minor_digits, vocabulary.currency),
    )
    cents = sum(bool(re.search(r"[.,]\d\d\b", v)) for v in values) / len(values)
    grams = _share(values, lambda v: parse_mass(fixed(v, mark)))
    units = sum(bool(re.search(r"\d\s*(?:g|kg|lb|oz)", v.casefold())) for v in values)
    return {
        "sku": distinct * (1 - spaces) * (0.6 if numbers == 1 else 1.0) * (1 - long / 2),
        "name": long * spaces * (1 - numbers) * (0.5 + distinct / 2),
        "text": long * spaces * (1 - numbers) * 0.9,
        "role": roles * (1 - long / 2) * (1 - numbers),
        "maker": (1 - distinct / 2) * (1 - numbers),
        "price": money * (0.5 + cents / 2),
        "mass": grams * (0.6 + 0.4 * min(units / len(values), 1.0)),
        "material": sum(v.casefold() in MATERIALS for v in values) / len(values)
        or sum(bool(phrases.read(v).material) for v in some) / len(some),
        "stock": _share(values, lambda v: parse_count(fixed(v, mark), 100_000)),
        "note": (1 - numbers) * 0.5,
    }


def _dimensions(name: str, values: Sequence[str], vocabulary: Vocabulary) -> dict[str, float]:
    """Return how well a column goes with each dimension of the vocabulary."""
    found: dict[str, float] = {}
    mark = decimal_mark(values)
    for path, spec, spellings in _words(vocabulary).paths:
        alike = spellings.alike(name)
        if alike < 0.7:
            continue
        plausible = spec.plausible

        def reads(text: str, plausible: tuple[float, float] | None = plausible) -> object:
            figure = parse_figure(fixed(text, mark), Basis.NOMINAL, 0.1, plausible)
            if plausible is None or not figure.known:
                return figure
            return figure if plausible[0] <= figure.mid <= plausible[1] else None

        fit = 1.0 if spec.worded else _share(values[:60], reads)
        found[path] = max(found.get(path, 0.0), 0.75 * alike + 0.25 * fit)
    return found


def guess(
    table: Found, vocabulary: Vocabulary, phrases: Phrases, known: TableMap | None = None
) -> list[Choice]:
    """Return what each column of a table is taken for.

    Parameters
    ----------
    table : Found
        A table of a sheet.
    vocabulary, phrases
        What words mean.
    known : TableMap, optional
        What was said before; its columns are sure.
    """
    scores: dict[str, dict[str, float]] = {}
    samples: dict[str, tuple[str, ...]] = {}
    for name in table.header:
        cells = [c.strip() for c in table.column(name)]
        values = [c for c in cells if c and c.casefold() not in UNKNOWN_TEXTS][:200]
        samples[name] = tuple(dict.fromkeys(values))[:3]
        fits = _fits([v for v in values if not v.startswith(DATE)], vocabulary, phrases)
        mine = {
            means: 0.62 * names.alike(name) + 0.38 * fits.get(means, 0.0)
            for means, names in _fields().items()
        }
        mine.update(_dimensions(name, values, vocabulary))
        mine["ignore"] = 0.9 * _others().alike(name) if values else 1.0
        scores[name] = mine
    taken: dict[str, Column] = dict(known.columns) if known is not None else {}
    sure = dict.fromkeys(taken, True)
    used = {column.means for column in taken.values()}
    ranked = sorted(
        ((score, name, means) for name, of in scores.items() for means, score in of.items()),
        key=lambda found: -found[0],
    )
    for score, name, means in ranked:
        if (
            name in taken
            or score < _LEAST
            or (means in used and means not in ("ignore", "note", "text"))
        ):
            continue
        rest = [
            s for m, s in scores[name].items() if m != means and (m not in used or m == "ignore")
        ]
        taken[name] = Column(means, *_marks(table, name, means))
        sure[name] = (
            means in ("ignore", "note")
            or (score >= SURE and score - max(rest, default=0.0) >= LEAD)
            or (score > EXACT and means in NAMES and _fields()[means].alike(name) > 0.95)
        )
        used.add(means)
    choices = []
    for name in table.header:
        others = sorted(scores[name], key=lambda m: -scores[name][m])
        best = taken.get(name, Column("ignore"))
        likely = tuple(m for m in others if m != best.means and scores[name][m] > 0.35)[:4]
        is_sure = sure.get(name, not likely or not samples[name])
        is_sure = is_sure and (known is not None or not table.short)
        choices.append(Choice(table.source, name, best, is_sure, likely, samples[name]))
    return choices


def _marks(table: Found, name: str, means: str) -> tuple[str, str]:
    """Return the unit that a column's name gives, and its decimal mark."""
    unit = ""
    if means == "mass":
        match = re.search(r"(?:^|[\s\[(/_])(kg|g|lbs?|oz)(?:$|[\s\])/_.])", name.casefold())
        unit = match[1] if match else ""
    elif "." in means:
        match = re.search(r"(?:^|[\s\[(/_])(mm|cm|in|inch|zoll)(?:$|[\s\])/_.])", name.casefold())
        unit = match[1] if match else ""
    numeric = means in ("price", "mass", "stock") or "." in means
    return unit, decimal_mark(table.column(name)) if numeric else ""
