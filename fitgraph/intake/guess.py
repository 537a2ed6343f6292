"""Guess what their columns are, by their names and by what stands in them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache

from fitgraph.catalogue.figures import UNKNOWN_TEXTS, parse_figure
from fitgraph.intake.cell_texts import (
    UNSAID,
    decimal_mark,
    doubtful_masses,
    doubtful_prices,
    fixed,
    yes_or_no,
)
from fitgraph.intake.grid import Found
from fitgraph.intake.list_words import any_of, words_for
from fitgraph.intake.mapping import ENDS, Meant, TableMap
from fitgraph.intake.phrases import Phrases
from fitgraph.intake.sources import DATE, needed
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Basis, DimensionKind, Vocabulary
from fitgraph.records import dataclass
from fitgraph.units import (
    LENGTH_WORDS,
    MASS_WORDS,
    MONEY_WORDS,
    UnitError,
    folded,
    hundredth,
    parse_count,
    parse_mass,
)

_FIELDS, _COLUMNS, _COUNTS = (words_for(about) for about in ("fields", "columns", "counts"))

#: What says that a price is of more than one piece.
_PER = re.compile(
    rf"(?:\b{any_of(_COUNTS['per'])}|/)\s*(?!{any_of(_COUNTS['one'])}\b)"
    rf"(?:\d+\s*{any_of(_COUNTS['pieces'])}?|{any_of(_COUNTS['several'])}|m(?:etre|eter)?)\b"
)

#: What prices are of.
_OF = re.compile(
    rf"(?:{any_of(_COUNTS['per'], _COUNTS['each'])}\s)?"
    rf"{any_of(*(_COUNTS[w] for w in ('one', 'pieces', 'several')))}\b.{{0,12}}"
    rf"|[1-9][0-9]{{0,2}}(?:\s?{any_of(_COUNTS['pieces'])})?"
)

#: What a number is of, which values alone do not tell.
_AMOUNTS = ("price", "mass", "stock")

#: How alike a name of an amount has to be to a known one, with the same first letter, to be a
#: way to write it; and to need no question.
_SPELT, _SLIP = 0.8, 0.9

#: How alike a column's name has to be to a field's before its values can make it that.
_NAMED = 0.6
#: The same for a dimension's name.
_NEAR = 0.7
#: The same, before it is asked which of two columns is meant.
_RIVAL = 0.84

#: More of a column's cells than this have to be amounts before it is asked whether they are prices.
_FULL = 0.9

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
    taken : Meant
        The best guess.
    sure : bool
        Whether it need not be asked about.
    others : tuple of Meant
        What else it could be, the likeliest first.
    samples : tuple of str
        Some of its cells.
    """

    source: str
    column: str
    taken: Meant
    sure: bool
    others: tuple[Meant, ...]
    samples: tuple[str, ...]

    @property
    def options(self) -> tuple[Meant, ...]:
        """Return what can be chosen: the guess, what else it could be, and nothing."""
        return tuple(dict.fromkeys((self.taken, *self.others, Meant("ignore"))))


#: Sizes in German, which are no mass although ß is folded to ss.
_SIZES = re.compile(r"\bma(?:ß|ẞ)(en?)?\b", re.IGNORECASE)


def _plain(name: str) -> str:
    told = _SIZES.sub("abmessungen", name).casefold().replace("ø", " diameter ")
    return " ".join(re.findall(r"[^\W_]+", told))


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


def _called(name: str, amount: _Spellings) -> float:
    """Return how a column's name tells of an amount: 1 just so, 0.5 among other words, 0 not.

    "Height" is as like "weight" as a slip of the keyboard is, and "max weight" is what it bears.

    Examples
    --------
    >>> mass = _Spellings(words_for("fields")["mass"])
    >>> [_called(n, mass) for n in ("Weight (g)", "Wieght", "Versandgewicht", "Height")]
    [1.0, 0.5, 0.5, 0.0]
    """
    fuzz = needed("rapidfuzz.fuzz")
    names = amount.plain
    found = 0.0
    for plain in dict.fromkeys((_plain(name), _plain(_unadorned(name)))):
        if plain in names:
            return 1.0
        words = plain.split()
        ends = tuple(_told("no_amount_ends").plain)
        if any(w in _told("no_amount").plain or w.endswith(ends) for w in words):
            continue
        units = {*_told("beside").plain, *LENGTH_WORDS, *MASS_WORDS, *MONEY_WORDS}
        bare = " ".join(w for w in words if w not in units)
        if bare in names:
            return 1.0
        begins = [n for n in names if n[:1] == bare[:1]]
        like = max((fuzz.ratio(bare, n) / 100 for n in begins), default=0.0)
        if like >= _SLIP:
            found = 1.0
        elif like >= _SPELT or any(
            set(n.split()) <= set(words) or any(w.endswith(n) for w in words)
            for n in names
            if len(n) > 3
        ):
            found = max(found, 0.5)
    return found


@cache
def _told(what: str) -> _Spellings:
    """Return words in names of columns, as they are compared."""
    return _Spellings(_COLUMNS[what])


class _Words:
    """Spellings of what a vocabulary and its phrases hold, made once for both."""

    def __init__(self, vocabulary: Vocabulary, phrases: Phrases) -> None:
        roles = vocabulary.roles
        self.titles = _Spellings([*(r.title for r in roles.values()), *roles])
        fields = {m: [*names, *phrases.columns.get(m, ())] for m, names in _FIELDS.items()}
        #: What columns are called that become fields of a part.
        self.fields = {means: _Spellings(names) for means, names in fields.items()}
        self.paths: list[tuple[str, DimensionKind, _Spellings]] = []
        every = [n for names in fields.values() for n in names] + _COLUMNS["others"]
        for role in roles.values():
            for kind in role.features.values():
                for spec in kind.dimensions.values():
                    spelt = [
                        *(f"{kind.title} {spec.name}", f"{role.title} {kind.title} {spec.name}"),
                        *((kind.title,) if len(kind.dimensions) == 1 else ()),
                    ]
                    path = f"{kind.name}.{spec.name}"
                    said = phrases.columns.get(path, ())
                    self.paths.append((path, spec, _Spellings([*spelt, *said])))
                    every += [spelt[0], *said]
        #: What columns are called that say whether a feature is there.
        self.features: dict[str, _Spellings] = {}
        for name in {n: None for role in roles.values() for n in role.features if n not in _FIELDS}:
            titles = [
                title
                for role in roles.values()
                if (own := role.features.get(name)) is not None
                for title in (own.title, f"{role.title} {own.title}", f"has {own.title}")
            ]
            said = (*phrases.present.get(name, ()), *phrases.columns.get(name, ()))
            self.features[name] = _Spellings([name, *titles, *said])
        self.every = _Spellings(every)
        self._near: dict[str, list[tuple[str, DimensionKind, float]]] = {}

    def measured(self, name: str) -> list[str]:
        """Return the dimensions that are called by a word of a column's name, like "diameter"."""
        words = set(_plain(name).split())
        return list(dict.fromkeys(path for path, spec, _ in self.paths if spec.name in words))

    def near(self, name: str) -> list[tuple[str, DimensionKind, float]]:
        """Return the dimensions that a column's name is like, and how much."""
        found = self._near.get(name)
        if found is None:
            if len(self._near) > 5_000:
                self._near.clear()
            unit, bare = named_unit(name, "a.size"), _unadorned(name)
            if unit:
                bare = re.sub(
                    rf"[\s,_]+(?:in\s+)?{re.escape(unit)}$", "", bare, flags=re.IGNORECASE
                )
            likes = [(p, s, max(n.alike(name), n.alike(bare))) for p, s, n in self.paths]
            found = self._near[name] = [like for like in likes if like[2] >= _NEAR]
        return found


_KNOWN: dict[int, tuple[Phrases, _Words]] = {}


def _words(vocabulary: Vocabulary, phrases: Phrases) -> _Words:
    found = _KNOWN.get(id(phrases))
    if found is None or found[0] is not phrases:
        _KNOWN.clear()
        found = _KNOWN[id(phrases)] = (phrases, _Words(vocabulary, phrases))
    return found[1]


def _unadorned(name: str) -> str:
    """Return a column's name without what stands in brackets behind it."""
    return re.sub(r"\s*[(\[][^)\]]*[)\]]", "", name).strip() or name


def header_words(vocabulary: Vocabulary, phrases: Phrases) -> Callable[[str], float]:
    """Return how surely a text names a column, for the search for headers."""
    every = _words(vocabulary, phrases).every

    def known(text: str) -> float:
        return 1.0 if every.alike(_unadorned(text[:60])) > 0.86 else 0.0

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
    digits = sum(any(map(str.isdigit, v)) for v in values) / len(values)
    long = min(sum(map(len, values)) / len(values) / 25, 1.0)
    some = values[:40]
    roles = sum(
        _words(vocabulary, phrases).titles.alike(v[:60]) > 0.85 or bool(phrases.read(v).role)
        for v in some
    ) / len(some)
    money = _share(
        values,
        lambda v: vocabulary.read_money(fixed(v, mark)),
    )
    cents = sum(bool(re.search(r"[.,]\d\d\b", v)) for v in values) / len(values)
    grams = _share(values, lambda v: parse_mass(fixed(v, mark)))
    units = sum(bool(re.search(r"\d\s*(?:g|kg|lb|oz)", v.casefold())) for v in values)
    return {
        "sku": distinct
        * (1 - spaces)
        * (0.6 if numbers == 1 else 0.5 + digits / 2)
        * (1 - long / 2),
        "name": long * spaces * (1 - numbers) * (0.5 + distinct / 2),
        "text": long * spaces * (1 - numbers) * 0.9,
        "role": roles * (1 - long / 2) * (1 - numbers),
        "maker": (1 - distinct / 2) * (1 - numbers),
        "price": money * (0.5 + cents / 2),
        "mass": grams * (0.6 + 0.4 * min(units / len(values), 1.0)),
        "material": sum(v.casefold() in MATERIALS for v in values) / len(values)
        or sum(bool(phrases.read(v).material) for v in some) / len(some),
        "stock": _share(values, lambda v: parse_count(fixed(v, mark), 100_000)),
        "per": sum(bool(_OF.fullmatch(v.casefold())) for v in values) / len(values),
        "note": (1 - numbers) * 0.5,
    }


def _without_end(name: str) -> tuple[str, str]:
    """Return a column's name without the word that makes it an end of a size, and which end.

    Examples
    --------
    >>> _without_end("Bore min (mm)"), _without_end("Bore (mm)")
    (('Bore (mm)', 'least'), ('Bore (mm)', ''))
    """
    words = name.split()
    for end in ENDS:
        told = _told(end).plain
        rest = [w for w in words if _plain(w) not in told]
        if rest and len(rest) == len(words) - 1:
            return " ".join(rest), end
    return name, ""


def _end(name: str, header: Sequence[str]) -> str:
    """Return which end of a size a column holds, where another one holds the other end."""
    size, end = _without_end(name)
    if not end:
        return ""
    others = (_without_end(other) for other in header if other != name)
    return end if any(o and o != end and _plain(s) == _plain(size) for s, o in others) else ""


def _dimensions(
    name: str, values: Sequence[str], vocabulary: Vocabulary, phrases: Phrases, end: str
) -> dict[str, float]:
    """Return how well a column goes with each dimension of the vocabulary."""
    found: dict[str, float] = {}
    if yes_or_no(values):
        for feature, names in _words(vocabulary, phrases).features.items():
            alike = max(names.alike(name), names.alike(_unadorned(name)))
            if alike >= _NEAR:
                found[feature] = 0.75 * alike + 0.25
        return found
    mark, unit = decimal_mark(values), named_unit(name, "a.size")
    sized = _sized(values, phrases)
    if end:
        name, _ = _without_end(name)
    limit = not end and any(w in _told(e).plain for w in _plain(name).split() for e in ENDS)
    for path, spec, alike in _words(vocabulary, phrases).near(name):
        if limit and alike < 1.0:
            continue  # the least or most of a size is not the size
        plausible = spec.plausible

        def reads(text: str, plausible: tuple[float, float] | None = plausible) -> object:
            figure = parse_figure(fixed(text, mark, unit), Basis.NOMINAL, 0.1, plausible)
            if plausible is None or not figure.known:
                return figure
            return figure if plausible[0] <= figure.mid <= plausible[1] else None

        fit = (1.0 - sized) if spec.worded else _share(values[:60], reads)
        score = 0.75 * alike + 0.25 * fit
        if fit < 0.5 and (spec.worded or (not fit and alike < 1.0)):
            score *= 0.6  # what stands there is no such size
        found[path] = max(found.get(path, 0.0), score)
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
    fields = _words(vocabulary, phrases).fields
    scores: dict[str, dict[str, float]] = {}
    samples: dict[str, tuple[str, ...]] = {}
    for name in table.header:
        cells = [c.strip() for c in table.column(name)]
        values = [c for c in cells if c and c.casefold() not in UNKNOWN_TEXTS][:200]
        samples[name] = tuple(dict.fromkeys(values))[:3]
        end = _end(name, table.header)
        scores[name] = _scores(name, values, vocabulary, phrases, end)
    taken: dict[str, Meant] = dict(known.columns) if known is not None else {}
    sure = dict.fromkeys(taken, True)
    used = {_held(column) for column in taken.values()}
    ranked = sorted(
        ((score, name, means) for name, of in scores.items() for means, score in of.items()),
        key=lambda found: -found[0],
    )
    for score, name, means in ranked:
        column = column_as(table, name, means)
        if (
            name in taken
            or score < _LEAST
            or (_held(column) in used and means not in ("ignore", "note", "text"))
            or _two_sizes(means, scores[name])
        ):
            continue
        rest = [
            s for m, s in scores[name].items() if m != means and (m not in used or m == "ignore")
        ]
        taken[name] = column
        sure[name] = (
            means in ("ignore", "note")
            or (score >= SURE and score - max(rest, default=0.0) >= LEAD)
            or (score > EXACT and means in fields and fields[means].alike(name) > 0.95)
            or [m for m, names in fields.items() if names.alike(name) == 1.0] == [means]
        )
        if (
            means == "price"
            and not taken[name].unit
            and vocabulary.minor_digits == 2
            and hundredth(vocabulary.currency)
            and doubtful_prices(table.column(name))
        ):
            taken[name] = replace(taken[name], unit=UNSAID)
        if taken[name].unit == UNSAID or (means in _AMOUNTS and _called(name, fields[means]) < 1.0):
            sure[name] = False
        used.add(_held(column))
    numbered = next((n for n in samples if samples[n] and _plain(n) in _COLUMNS["numbers"]), "")
    if known is None and numbered and "sku" not in used:
        taken[numbered], sure[numbered] = column_as(table, numbered, "sku"), False
    for name, column in taken.items():
        rivals = [
            n
            for n in scores
            if n != name
            and column.means in _AMOUNTS
            and scores[n][column.means] > SURE
            and scores[n]["ignore"] < 1.0  # "price net" is known to be another
            and fields[column.means].alike(n) > _RIVAL
        ]
        if rivals and known is None:
            sure.update(dict.fromkeys([name, *rivals], False))
    choices = []
    for name in table.header:
        others = sorted(scores[name], key=lambda m: -scores[name][m])
        best = taken.get(name, Meant("ignore"))
        likely = [column_as(table, name, m) for m in others[:6] if scores[name][m] > 0.35]
        if best.unit == UNSAID:
            units = (
                ("g", "kg")
                if best.means == "mass"
                else (vocabulary.currency, hundredth(vocabulary.currency))
            )
            likely[:0] = [replace(best, unit=unit) for unit in units]
        if best.means == "ignore" and samples[name]:
            # A size of which the name does not say where it is measured.
            paths = _words(vocabulary, phrases).measured(name)
            likely += [column_as(table, name, p) for p in paths if p not in scores[name]]
            if paths and known is None:
                sure[name] = False
            if known is None and "price" not in used and _may_be_price(table, name, vocabulary):
                likely.insert(0, column_as(table, name, "price"))
                sure[name] = False
        likely = [c for c in dict.fromkeys(likely) if c != best][:5]
        is_sure = sure.get(name, not likely or not samples[name])
        is_sure = is_sure and (known is not None or not table.short)
        choices.append(Choice(table.source, name, best, is_sure, tuple(likely), samples[name]))
    return choices


def _scores(
    name: str, values: Sequence[str], vocabulary: Vocabulary, phrases: Phrases, end: str
) -> dict[str, float]:
    """Return how well a column goes with whatever it could be, by its name and its cells."""
    fits = _fits([v for v in values if not v.startswith(DATE)], vocabulary, phrases)
    fields = _words(vocabulary, phrases).fields
    bare = {*LENGTH_WORDS, *MASS_WORDS, *MONEY_WORDS}
    without_unit = " ".join(w for w in _plain(name).split() if w not in bare)
    alike = {
        means: max(
            names.alike(name),
            names.alike(_unadorned(name)),
            names.alike(without_unit) if means in _AMOUNTS else 0.0,
        )
        for means, names in fields.items()
    }
    # A column that is called just so is that, whatever stands in it.
    mine = {
        means: 0.62 * near + 0.38 * fits.get(means, 0.0) + (0.12 if near == 1.0 else 0.0)
        for means, near in alike.items()
    }
    if alike["per"] < 0.9 or fits.get("per", 0.0) < 0.8:
        mine["per"] = 0.0
    named = not re.fullmatch(r"column [A-Z]{1,3}", name)
    for means in _AMOUNTS:
        # Numbers under a strange name may be anything; a size is no price.
        strange = named and not _called(name, fields[means])
        if strange or (named_unit(name, "a.size") not in ("", "in") and alike[means] < 1.0):
            mine[means] = min(mine[means], _LEAST - 0.01)
    mine.update(_dimensions(name, values, vocabulary, phrases, end))
    if alike["name"] == 1.0 > alike["role"]:
        mine["role"] = min(mine["role"], mine["name"] - LEAD)  # titles name kinds as well
    if named_unit(name, "a.size"):
        mine["sku"] = min(mine["sku"], _LEAST - 0.01)  # "ID (mm)" is an inside diameter
    if named and alike["maker"] < _NAMED:
        mine["maker"] = min(mine["maker"], _LEAST - 0.01)
    if max(alike["name"], alike["text"]) < _NAMED and (sized := _sized(values, phrases)) >= 0.5:
        mine["text"] = max(mine["text"], 0.7 + 0.1 * sized)
    other = _told("others").alike(name)
    if not values:
        mine["ignore"] = 1.0
    elif other == 1.0 and max(alike.values()) < 1.0:
        mine["ignore"] = 1.2  # "Price net" is that, however well its numbers would do for prices
    elif max(alike.values()) == 1.0 and other < 1.0:
        mine["ignore"] = 0.3 * other
    else:
        mine["ignore"] = 0.9 * other
    return mine


def _sized(values: Sequence[str], phrases: Phrases) -> float:
    """Return the share of cells that tell sizes in words, like "OD 34.9"."""
    some = values[:40]
    return sum(map(phrases.sized, some)) / len(some) if some else 0.0


def _may_be_price(table: Found, name: str, vocabulary: Vocabulary) -> bool:
    """Say whether a column whose name tells nothing is full of what could be prices."""
    words = _plain(name).split()
    told = any(w in _told("no_amount").plain for w in words) or named_unit(name, "a.size")
    if told or named_unit(name, "mass") or _told("others").alike(name) == 1.0:
        return False
    values = [v for v in map(str.strip, table.column(name)) if v.casefold() not in UNKNOWN_TEXTS]
    mark = decimal_mark(values)
    return _share(values[:200], lambda v: vocabulary.read_money(fixed(v, mark))) > _FULL


def _two_sizes(means: str, of: Mapping[str, float]) -> bool:
    """Say whether a column goes as well with another dimension."""
    return "." in means and any(
        "." in other and other != means and abs(score - of[means]) < 0.03
        for other, score in of.items()
    )


def named_unit(name: str, means: str) -> str:
    """Return the unit that a column's name gives; of a price, its currency.

    Examples
    --------
    >>> named_unit("Durchmesser in mm", "bore.diameter"), named_unit("Weight (lbs)", "mass")
    ('mm', 'lbs')
    >>> named_unit("Price (GBP)", "price"), named_unit("Price per pair", "price")
    ('gbp', 'per pair')
    """
    if means == "price":
        known = MONEY_WORDS.difference(_COLUMNS["no_money"])
    elif means == "mass":
        known = MASS_WORDS - {"pound", "pounds"}
    elif "." in means:
        known = LENGTH_WORDS
    else:
        return ""
    small = folded(name).casefold()
    if means == "price" and (match := _PER.search(small)):
        return match[0].strip()
    words = re.findall(r"[^\W\d_]+|[^\w\s()\[\]/.,:;-]+", small)
    return next((w for w in reversed(words) if w in known), "")


def units_of(means: str) -> frozenset[str] | None:
    """Return the units that a column of this meaning can have; None where any text may stand."""
    if means == "mass":
        return MASS_WORDS | {UNSAID}
    return LENGTH_WORDS if "." in means else None


def column_as(table: Found, name: str, means: str) -> Meant:
    """Return a column taken for something, with the unit and the decimal mark that it shows."""
    mark = table.mark(name) if means in _AMOUNTS or "." in means else ""
    unit = named_unit(name, means)
    if means == "mass" and not unit and doubtful_masses(table.column(name), mark):
        unit = UNSAID
    end = _end(name, table.header) if "." in means else ""
    return Meant(means, unit, mark, end)


def _held(column: Meant) -> str:
    """Return what a column holds, which no two columns of a table may be taken for."""
    return f"{column.means} {column.end}".strip()
