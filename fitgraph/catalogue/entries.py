"""Entries of a vocabulary file: each read as what it has to be, or told with how to mend it.

A table knows where it stands, so that whoever reads it names an entry and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from fitgraph.catalogue.figures import parse_figure
from fitgraph.catalogue.findings import Finding, shorten
from fitgraph.catalogue.loaded import VOCABULARY
from fitgraph.catalogue.vocabulary_shape import entries_of
from fitgraph.model import Basis, Condition, Dimension, Reference, Role, Word
from fitgraph.units import UnitError, parse_length, parse_money

#: Attributes of a part that a joint may compare as words.
ATTRIBUTES = ("maker", "material")


class Read:
    """What all tables of a file share: the faults found so far, the roles and the currency."""

    def __init__(self) -> None:
        self.faults: list[Finding] = []
        self.roles: dict[str, Role] = {}
        self.currency, self.digits = "EUR", 2

    def fault(self, where: str, value: object, message: str, remedy: str) -> None:
        """Note what is wrong, so that all of it is told at once."""
        try:
            shown = str(value)
        except ValueError:  # an integer of thousands of digits
            shown = "…"
        self.faults.append(
            Finding(
                VOCABULARY, None, shorten(where), shorten(shown), message, remedy, code="vocabulary"
            )
        )

    def worded(self, reference: Reference) -> bool:
        """Return whether a reference names a word, not a length."""
        if reference.feature is None:
            return True
        kind = self.roles[reference.role].features[reference.feature]
        return kind.dimensions[reference.name].worded


class FileTable:
    """A table of the file.

    Parameters
    ----------
    read : Read
        What all tables share.
    where : str
        Where it stands: ``roles.bar.features.slot``; empty for the file itself.
    table : object
        What stands there; None where nothing does.
    kind : str, optional
        Its kind in :mod:`.vocabulary_shape`, which says what entries it may have; any if None.
    """

    def __init__(self, read: Read, where: str, table: object, kind: str | None = None) -> None:
        self.read, self.where = read, where
        self.table: Mapping[str, Any] = {}
        if isinstance(table, Mapping):
            self.table = table
        elif table is not None:
            self.fault("", table, "is no table", f"Write it as [{where}]")
        if kind is not None:
            self.known(entries_of(kind))

    def __bool__(self) -> bool:
        return bool(self.table)

    def __contains__(self, name: str) -> bool:
        return name in self.table

    def __iter__(self) -> Iterator[tuple[str, Any]]:
        return iter(self.table.items())

    def get(self, name: str, default: object = None) -> Any:
        """Return an entry as it stands."""
        return self.table.get(name, default)

    def at(self, name: str) -> str:
        """Return where an entry stands; the table itself where none is named."""
        return ".".join(piece for piece in (self.where, name) if piece)

    def fault(self, name: str, value: object, message: str, remedy: str) -> None:
        """Note what is wrong with an entry, or with the table where none is named."""
        self.read.fault(self.at(name), value, message, remedy)

    def lacks(self, name: str, remedy: str) -> None:
        """Note that an entry is missing."""
        self.fault("", "", f"lacks {name!r}", remedy)

    def known(self, names: Iterable[str]) -> None:
        """Find entries of other names than these."""
        known = tuple(names)
        for name in self.table:
            if name not in known:
                remedy = f"Use one of {', '.join(known)}"
                self.read.fault(self.where or "top level", name, "is no known entry", remedy)

    # -- what stands in it ---------------------------------------------

    def inner(self, name: str, kind: str | None = None) -> FileTable:
        """Return a table in it; an empty one where there is none."""
        table = self.get(name)
        return FileTable(self.read, self.at(name), table, None if table is None else kind)

    def each(self, name: str, kind: str | None = None) -> Iterator[tuple[str, FileTable]]:
        """Yield the tables of a table in it, by name."""
        inner = self.inner(name)
        for each, table in inner:
            yield each, FileTable(self.read, inner.at(each), table, kind)

    def rows(self, name: str, kind: str | None = None) -> list[FileTable]:
        """Return the tables of a list in it."""
        rows, where = self.get(name), self.at(name)
        if rows is not None and not isinstance(rows, list):
            self.fault(name, rows, "is no list of tables", f"Write each as [[{where}]]")
            rows = None
        return [
            FileTable(self.read, f"{where} #{n}", row, kind) for n, row in enumerate(rows or (), 1)
        ]

    def listed(self, name: str, like: str) -> list[Any]:
        """Return a list; an empty one where there is none."""
        value = self.get(name)
        if isinstance(value, list):
            return value
        if value is not None:
            self.fault(name, value, "is no list", f"Write it like {like}")
        return []

    def text(self, name: str, default: str = "") -> str:
        """Return a text."""
        value = self.get(name, default)
        if isinstance(value, str):
            return value
        self.fault(name, value, "is no text", "Put it in quotes")
        return ""

    def texts(self, name: str) -> dict[str, str]:
        """Return a table of texts."""
        inner = self.inner(name)
        return {each: inner.text(each) for each, _ in inner}

    def flag(self, name: str, default: bool = False) -> bool:
        """Return what is true or false."""
        value = self.get(name, default)
        if isinstance(value, bool):
            return value
        self.fault(name, value, "is neither true nor false", "Write true or false")
        return default

    def one_of(
        self, name: str, known: Iterable[str], default: str, message: str = "is not understood"
    ) -> str:
        """Return one of some words."""
        value, words = str(self.get(name, default)), tuple(known)
        if value in words:
            return value
        self.fault(name, value, message, f"Use one of {', '.join(words)}")
        return default

    def number(self, name: str, most: float, default: object = 0) -> float:
        """Return a plain number from 0 to `most`."""
        return self.as_number(name, self.get(name, default), most)

    def as_number(self, name: str, value: object, most: float) -> float:
        """Return what stands in an entry as a plain number from 0 to `most`."""
        if isinstance(value, (int, float)) and not isinstance(value, bool) and 0 <= value <= most:
            return value
        self.fault(name, value, "is no number that can be used", f"Write a number, 0 to {most}")
        return 0

    def length(self, name: str, default: object = "", fallback: float = 0.0) -> float:
        """Return a length in mm; `fallback` of what is none."""
        return self.as_length(name, self.get(name, default), fallback)

    def as_length(self, name: str, value: object, fallback: float = 0.0) -> float:
        """Return what stands in an entry as a length in mm."""
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return float(value)  # a number of TOML has one meaning
        try:
            return parse_length(str(value))
        except UnitError as error:
            self.fault(name, value, str(error), "Write a length with its unit")
            return fallback

    def figure(self, name: str, like: str, default: str = "") -> Dimension | None:
        """Return a figure with its limits, written like another one."""
        value = self.get(name, default)
        try:
            return parse_figure(str(value), Basis.NOMINAL, 0.0)
        except UnitError as error:
            self.fault(name, value, str(error), f"Write it like {like}")
            return None

    def amount(self, name: str) -> int:
        """Return an amount in minor currency units; nothing by default."""
        value = self.get(name, "0")
        try:
            amount = parse_money(str(value), self.read.digits, self.read.currency)
        except (UnitError, ArithmeticError) as error:
            self.fault(name, value, str(error), "Write an amount")
            return 0
        if amount < 0:
            self.fault(name, value, "is below zero", "Write an amount")
        return amount

    # -- what it refers to ---------------------------------------------

    def role(self, default: str | None = None) -> Role | None:
        """Return the role that it is about."""
        name = self.get("role", default)
        role = self.read.roles.get(str(name))
        if role is None:
            self.fault("role", name, "is no known role", "Name a role from above")
        return role

    def reference(self, name: str) -> Reference | None:
        """Return the dimension that an entry names."""
        return self.as_reference(name, self.get(name))

    def as_reference(self, name: str, text: object) -> Reference | None:
        """Return the dimension that a text in an entry names."""
        pieces = str(text).split(".")
        role = self.read.roles.get(pieces[0])
        if role is None:
            remedy = f"Begin with one of {', '.join(self.read.roles)}"
            self.fault(name, text, "names no known role", remedy)
            return None
        if len(pieces) == 2 and pieces[1] in ATTRIBUTES:
            return Reference(role.name, None, pieces[1])
        if len(pieces) == 3 and pieces[1] in role.features:
            kind = role.features[pieces[1]]
            if pieces[2] in kind.dimensions:
                return Reference(role.name, kind.name, pieces[2])
        remedy = "Write role.feature.dimension as the roles above have them"
        self.fault(name, text, "names no known dimension", remedy)
        return None

    def references(self, needed: Iterable[str], other: Iterable[str] = ()) -> dict[str, Reference]:
        """Return the dimensions that entries name, with a fault for each needed one missing."""
        found = {}
        for name in needed:
            if name not in self:
                self.lacks(name, "Name the dimension")
        for name in (*needed, *other):
            if name in self and (reference := self.reference(name)) is not None:
                found[name] = reference
        return found

    def length_reference(self, name: str) -> Reference | None:
        """Return the length that an entry names; a word is a fault."""
        reference = self.reference(name)
        if reference is None or not self.read.worded(reference):
            return reference
        remedy = "Name a dimension that is measured"
        self.fault(name, self.get(name), "is a word, not a length", remedy)
        return None

    def condition(self, name: str, text: object) -> Condition | None:
        """Return what a text in an entry asks of a part."""
        plain = str(text).strip()
        wanted = not plain.startswith("not ")
        pieces = plain.removeprefix("not ").strip().split(".")
        role = self.read.roles.get(pieces[0])
        if role is not None and len(pieces) == 1:
            return Condition(role.name, None, wanted)
        if role is not None and len(pieces) == 2 and pieces[1] in role.features:
            return Condition(role.name, pieces[1], wanted)
        remedy = "Write role or role.feature, or not …"
        self.fault(name, text, "names no known role or feature", remedy)
        return None

    def conditions(self) -> tuple[Condition, ...]:
        """Return when it counts."""
        listed = self.listed("when", '["role", "not role.feature"]')
        read = (self.condition("when", text) for text in listed)
        return tuple(c for c in read if c is not None)


def given_features(
    given: FileTable, role: Role, half_mm: float
) -> dict[str, tuple[Mapping[str, Dimension], Mapping[str, Word]]]:
    """Return the lengths and words of features that a part is given.

    Parameters
    ----------
    given : FileTable
        A table for each feature.
    role : Role
        Whose features they are.
    half_mm : float
        Half the limits of a figure that comes without [mm].
    """
    found: dict[str, tuple[Mapping[str, Dimension], Mapping[str, Word]]] = {}
    for feature, values in given:
        kind = role.features.get(feature)
        if kind is None:
            given.fault("", feature, "is no feature of the role", "Name one")
            continue
        lengths: dict[str, Dimension] = {}
        words: dict[str, Word] = {}
        table = FileTable(given.read, given.at(feature), values)
        for name, text in table:
            spec = kind.dimensions.get(name)
            if spec is None:
                table.fault("", name, "is unknown", "Name a dimension")
            elif spec.worded:
                words[name] = Word(str(text))
            else:
                try:
                    lengths[name] = parse_figure(str(text), Basis.MAKER, half_mm)
                except UnitError as error:
                    table.fault("", text, str(error), "Mend it")
        found[feature] = (MappingProxyType(lengths), MappingProxyType(words))
    return found
