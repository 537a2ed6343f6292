"""Read a vocabulary file: the words of a trade."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fitgraph.catalogue.entries import FileTable, Read, given_features
from fitgraph.catalogue.findings import CatalogueError, Finding
from fitgraph.catalogue.joint_tables import read_joints
from fitgraph.catalogue.loaded import VOCABULARY
from fitgraph.catalogue.makes import read_makes
from fitgraph.catalogue.rider_tables import read_advice, read_identify
from fitgraph.catalogue.source_tables import (
    read_hold,
    read_press,
    read_silhouette,
    read_strength,
    read_weigh,
)
from fitgraph.catalogue.table_reader import read_bytes
from fitgraph.catalogue.toml_text import TomlError, read_toml
from fitgraph.catalogue.vocabulary_shape import BASES, IF_MISSING, MOST_MINUTES
from fitgraph.files import folder_name
from fitgraph.model import (
    Basis,
    DimensionKind,
    FeatureKind,
    Fill,
    Grouping,
    Kind,
    Presence,
    Reference,
    Role,
    Service,
    Vocabulary,
)
from fitgraph.plain import plain

#: No vocabulary is larger, nests deeper, or has a longer text in it.
MOST_BYTES, LONGEST_TEXT = 1 << 23, 4000

_PRESENCE = dict(
    zip(IF_MISSING, (Presence.PRESENT, Presence.ABSENT, Presence.UNKNOWN), strict=True)
)


def _long_texts(file: FileTable, where: str, value: object) -> None:
    """Find texts that no page has room for."""
    if isinstance(value, Mapping):
        for name, entry in value.items():
            _long_texts(file, f"{where}.{name}".strip("."), entry)
    elif isinstance(value, list):
        for entry in value:
            _long_texts(file, where, entry)
    elif isinstance(value, str) and len(value) > LONGEST_TEXT:
        told = f"is a text of {len(value):,} letters"
        file.fault(where, value, told, f"Write it in at most {LONGEST_TEXT:,}")


# -- roles -------------------------------------------------------------


def _dimension(name: str, entry: FileTable, kind: str) -> DimensionKind:
    blank = entry.get("plausible") in (None, "")
    plausible = None if blank else entry.figure("plausible", "20..40 mm")
    return DimensionKind(
        name,
        worded=entry.flag("worded"),
        hole=kind in ("bore", "gap", "slot"),
        plausible=None if plausible is None else (plausible.lo, plausible.hi),
        measure=entry.text("measure"),
    )


def _feature(name: str, entry: FileTable) -> FeatureKind:
    missing = entry.one_of("if_missing", _PRESENCE, "present")
    kind = entry.text("kind", "length")
    return FeatureKind(
        name,
        kind,
        _PRESENCE[missing],
        MappingProxyType(
            {n: _dimension(n, each, kind) for n, each in entry.each("dimensions", "dimension")}
        ),
        entry.text("title", name.replace("_", " ")),
        entry.text("gloss"),
    )


def _read_roles(file: FileTable) -> None:
    for name, entry in file.each("roles", "role"):
        fill = entry.one_of("fill", [f.value for f in Fill], "always")
        file.read.roles[name] = Role(
            name,
            entry.text("title", name),
            Fill(fill),
            MappingProxyType(
                {n: _feature(n, each) for n, each in entry.each("features", "feature")}
            ),
            entry.text("gloss"),
            entry.flag("by_material"),
            entry.flag("decides"),
            entry.text("plural"),
        )
    if not file.read.roles:
        file.fault("roles", "", "names no role", "Add at least one [roles.NAME]")


# -- services ----------------------------------------------------------


def _service(name: str, entry: FileTable) -> Service | None:
    role = entry.role()
    if role is None:
        return None
    price, sets = entry.amount("price"), given_features(entry.inner("sets"), role, 0.5)
    removes = tuple(map(str, entry.listed("removes", '["feature"]')))
    for feature in removes:
        if feature not in role.features:
            entry.fault("removes", feature, "is no feature of the role", "Name one")
    shifts: dict[tuple[str, str], float] = {}
    told = entry.inner("shifts")
    for path, _ in told:
        reference = entry.as_reference("shifts", f"{role.name}.{path}")
        if reference is not None and reference.feature is not None:
            shifts[reference.feature, reference.name] = told.length(path)
    when = entry.conditions()
    for condition in when:
        if condition.role != role.name:
            entry.fault("when", condition, "looks at another part", "Name its own role")
    return Service(
        name,
        entry.text("title", name),
        role.name,
        price,
        float(entry.number("minutes", MOST_MINUTES)),
        when,
        MappingProxyType(sets),
        removes,
        MappingProxyType(shifts),
        entry.length("cuts_off", "0"),
        entry.text("caution"),
        entry.text("gloss"),
    )


# -- groups ------------------------------------------------------------


def _kind(name: str, entry: FileTable) -> Kind:
    within: dict[Reference, tuple[float, float]] = {}
    windows = entry.inner("within")
    for text, _ in windows:
        reference, figure = entry.as_reference("within", text), windows.figure(text, "31..33 mm")
        if reference is not None and figure is not None and figure.known:
            within[reference] = (figure.lo, figure.hi)
    when = entry.conditions()
    if not within and not when:
        entry.fault("", "", "says nothing that tells it", "Give it within, or when")
    return Kind(name, MappingProxyType(within), when)


def _read_groups(file: FileTable) -> dict[str, Grouping]:
    return {
        name: Grouping(
            name,
            entry.text("title", name),
            tuple(_kind(each, of) for each, of in entry.each("kinds", "kind")),
        )
        for name, entry in file.each("groups", "group")
    }


# -- the whole ---------------------------------------------------------


def _half_widths(file: FileTable) -> dict[Basis, float]:
    limits = file.inner("limits", "limits")
    found = {basis: limits.length(word, "0.1 mm") for word, basis in BASES.items()}
    for word, basis in BASES.items():
        if found[basis] < 0:
            limits.fault(word, limits.get(word), "is below zero", "Write half a width")
    return found


def _vocabulary(file: FileTable) -> Vocabulary:
    read = file.read
    _long_texts(file, "", file.table)
    trade = file.inner("trade", "trade")
    name = trade.text("name")
    read.currency = str(trade.get("currency", "EUR"))
    if not re.fullmatch("[A-Z]{3}", read.currency):
        trade.fault(
            "currency",
            trade.get("currency"),
            "is no currency's code",
            "Write its three capital letters, like EUR (ISO 4217)",
        )
    read.digits = int(trade.number("minor_digits", 4, 2))
    customer = trade.text("customer", "customer")
    half_width = _half_widths(file)
    _read_roles(file)
    joints = read_joints(file)
    made = {each: _service(each, entry) for each, entry in file.each("services", "service")}
    services = {each: service for each, service in made.items() if service is not None}
    strength, weigh, hold = read_strength(file), read_weigh(file), read_hold(file)
    groups, press, silhouette = _read_groups(file), read_press(file, joints), read_silhouette(file)
    makes = read_makes(file, joints)
    identify, advice = read_identify(file, groups), read_advice(file, groups)
    cautions = file.texts("cautions")
    for table, named in (("services", services), ("make", makes)):
        for each in named.values():
            if each.caution and each.caution not in cautions:
                where = f"{table}.{each.name}.caution"
                file.fault(where, each.caution, "is no known caution", "Add it under [cautions]")
    if read.faults:
        raise CatalogueError(read.faults)
    return Vocabulary(
        trade=name,
        customer=customer,
        currency=read.currency,
        minor_digits=read.digits,
        half_width=MappingProxyType(half_width),
        roles=MappingProxyType(read.roles),
        joints=joints,
        services=MappingProxyType(services),
        strength=strength,
        weigh=weigh,
        hold=hold,
        press=press,
        cautions=MappingProxyType(cautions),
        makes=MappingProxyType(makes),
        groups=MappingProxyType(groups),
        identify=identify,
        advice=advice,
        silhouette=silhouette,
    )


def _stop(code: str, message: str, remedy: str) -> CatalogueError:
    return CatalogueError([Finding(VOCABULARY, None, "", "", message, remedy, code=code)])


def _harmless(value: Any) -> Any:
    """Return a document whose texts hold nothing that a screen would obey."""
    if isinstance(value, dict):
        return {name: _harmless(entry) for name, entry in value.items()}
    if isinstance(value, list):
        return [_harmless(entry) for entry in value]
    return plain(value, keep="\n\t\u00a0\u202f") if isinstance(value, str) else value


def read_vocabulary(path: Path) -> Vocabulary:
    """Return the vocabulary in a file.

    Raises
    ------
    CatalogueError
        With every fault found, if there is any: a vocabulary decides every
        verdict, so nothing goes on with half of one.
    """
    if not path.exists() and not path.is_symlink():
        raise _stop(
            "no-table",
            f"is not in the folder {folder_name(path.parent)!r}",
            "Copy one from a catalogue that works; docs/catalogue.md explains it",
        )
    data = read_bytes(path, path.parent)
    if len(data) > MOST_BYTES:
        raise _stop("too-large", f"has more than {MOST_BYTES:,} bytes", "Keep words in it only")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _stop("not-utf8", f"cannot be read ({error})", "Save it in UTF-8") from None
    return _read(text)


@functools.lru_cache(maxsize=4)
def _read(text: str) -> Vocabulary:
    """Return the vocabulary in a text; of one that was just read, the same."""
    try:
        document = read_toml(text)
    except TomlError as error:
        raise _stop("no-toml", f"is no valid TOML: {error}", "Mend that line") from None
    return read_document(document)


def read_document(document: Mapping[str, Any]) -> Vocabulary:
    """Return the vocabulary that a file's TOML holds.

    Raises
    ------
    CatalogueError
        With every fault found.
    """
    return _vocabulary(FileTable(Read(), "", _harmless(document), ""))
