"""Read a vocabulary file: the words of a trade."""

from __future__ import annotations

import functools
import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fitgraph.catalogue.figures import parse_figure
from fitgraph.catalogue.findings import CatalogueError, Finding, shorten
from fitgraph.catalogue.loaded import VOCABULARY
from fitgraph.catalogue.makes import read_makes
from fitgraph.catalogue.rider_tables import read_advice, read_identify
from fitgraph.catalogue.table_reader import read_bytes
from fitgraph.catalogue.toml_text import TomlError, read_toml
from fitgraph.catalogue.vocabulary_shape import (
    BASES,
    IF_MISSING,
    MOST_MINUTES,
    MOST_UNITS,
    entries_of,
    joint_shape,
)
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.rules import RULES, UNBOUNDED_MM, Rule
from fitgraph.mechanics.standards import PROPERTY_CLASSES, SCREWS
from fitgraph.model import (
    Basis,
    Condition,
    Dimension,
    DimensionKind,
    FeatureKind,
    Fill,
    Grouping,
    HoldSource,
    Joint,
    Kind,
    Outline,
    Presence,
    PressSource,
    Reference,
    Ring,
    Role,
    Service,
    Silhouette,
    Span,
    StrengthSource,
    Vocabulary,
    WeighSource,
    Word,
)
from fitgraph.plain import plain
from fitgraph.units import UnitError, parse_length, parse_money

#: No vocabulary is larger, nests deeper, or has a longer text in it.
MOST_BYTES, LONGEST_TEXT = 1 << 23, 4000

#: On how many conditions the lengths of one stack may be counted: each doubles its cases.
_MOST_ASKED = 4

#: Attributes of a part that a joint may compare as words.
ATTRIBUTES = ("maker", "material")

_PRESENCE = dict(
    zip(IF_MISSING, (Presence.PRESENT, Presence.ABSENT, Presence.UNKNOWN), strict=True)
)


def _one_sided(stack: Joint) -> Iterator[Joint]:
    """Yield a stack once for its least and once for its most."""
    if len(stack.limits) == 1:
        yield stack
        return
    for window, words in (("least", "at least"), ("most", "at most")):
        yield replace(
            stack,
            name=f"{stack.name}/{window}",
            title=f"{stack.title}, {words}",
            limits=MappingProxyType({window: stack.limits[window]}),
        )


def _told_of_lengths(stack: Joint) -> dict[tuple[str, str | None], bool]:
    """Return what is there, or not, wherever a stack is."""
    told = {(c.role, c.feature): c.wanted for c in stack.when}
    for span in stack.spans:
        if not span.optional and not span.when:
            told.setdefault((span.length.role, span.length.feature), True)
            told.setdefault((span.length.role, None), True)
    return told


def _asked_of_lengths(stack: Joint) -> tuple[Condition, ...]:
    """Return on what it hangs whether lengths that are not optional count, each as wanted."""
    told = _told_of_lengths(stack)
    asked = (c for span in stack.spans if not span.optional for c in span.when)
    return tuple(
        dict.fromkeys(c._replace(wanted=True) for c in asked if (c.role, c.feature) not in told)
    )


def _cases(stack: Joint) -> Iterator[Joint]:
    """Yield a stack once for each case of what its lengths are counted on.

    A length that is not optional and does not count adds nothing; the stack is there without it.
    """
    asked, always = _asked_of_lengths(stack), _told_of_lengths(stack)
    for wanted in itertools.product((True, False), repeat=len(asked)):
        case = tuple(c._replace(wanted=w) for c, w in zip(asked, wanted, strict=True))
        told = always | {(c.role, c.feature): c.wanted for c in case}
        if any(there and told.get((role, None)) is False for (role, _), there in told.items()):
            continue  # an empty role has no feature
        spans = tuple(
            span if span.optional else replace(span, when=())
            for span in stack.spans
            if span.optional or all(told[c.role, c.feature] is c.wanted for c in span.when)
        )
        needed = [s.length for s in spans if not s.optional]
        if spans and all(
            told.get((r.role, f)) is not False for r in needed for f in (r.feature, None)
        ):
            name = "/".join((stack.name, *([", ".join(map(str, case))] if case else [])))
            yield replace(stack, name=name, when=(*stack.when, *case), spans=spans)


def _says_already(pair: Joint, nest: Joint) -> bool:
    """Return whether, wherever a nest of two rings is, a joint asks of them at least as much."""
    core, ring = nest.rings
    given = pair.arguments
    return (
        (given["bore"], given["spigot"], given["slot"]) == (ring.bore, core.outside, ring.slot)
        and given.get("outside") == ring.outside
        and set(pair.when) <= {*nest.when, *core.when, *ring.when}
        and pair.limits.get("reserve", 0.0) >= nest.limits.get("reserve", 0.0)
        and pair.check == nest.check
        and pair.tidy <= nest.tidy
    )


def _without_doubles(joints: Sequence[Joint]) -> Iterator[Joint]:
    """Yield the joints but nests of two rings that a joint of the two says already."""
    pairs = [joint for joint in joints if "slot" in joint.arguments]
    for joint in joints:
        if len(joint.rings) != 2 or not any(_says_already(pair, joint) for pair in pairs):
            yield joint


class _Reader:
    """Collects faults while it reads, so that all are told at once."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        self.document = document
        self.faults: list[Finding] = []
        self.roles: dict[str, Role] = {}
        self.currency = "EUR"

    def fault(self, where: str, value: object, message: str, remedy: str) -> None:
        try:
            shown = str(value)
        except ValueError:  # an integer of thousands of digits
            shown = "…"
        self.faults.append(
            Finding(
                VOCABULARY, None, shorten(where), shorten(shown), message, remedy, code="vocabulary"
            )
        )

    def length(self, where: str, value: object, default: float = 0.0) -> float:
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return float(value)  # a number of TOML has one meaning
        try:
            return parse_length(str(value))
        except UnitError as error:
            self.fault(where, value, str(error), "Write a length with its unit")
            return default

    def number(self, where: str, value: object, most: int) -> float:
        """Return a plain number from 0 to `most`."""
        if isinstance(value, (int, float)) and not isinstance(value, bool) and 0 <= value <= most:
            return value
        self.fault(where, value, "is no number that can be used", f"Write a number, 0 to {most}")
        return 0

    def table(self, where: str, value: object) -> Mapping[str, Any]:
        if isinstance(value, Mapping):
            return value
        if value is not None:
            self.fault(where, value, "is no table", f"Write it as [{where}]")
        return {}

    def known_keys(self, where: str, table: Mapping[str, Any], kind: str) -> None:
        """Find entries that a kind of table does not have; see :mod:`.vocabulary_shape`."""
        self.known(where, table, entries_of(kind))

    def known(self, where: str, table: Mapping[str, Any], names: tuple[str, ...]) -> None:
        for name in table:
            if name not in names:
                self.fault(where, name, "is no known entry", f"Use one of {', '.join(names)}")

    def text(self, where: str, entry: Mapping[str, Any], name: str, default: str = "") -> str:
        """Return an entry that is text."""
        return self.as_text(f"{where}.{name}", entry.get(name, default))

    def as_text(self, where: str, value: object) -> str:
        if isinstance(value, str):
            return value
        self.fault(where, value, "is no text", "Put it in quotes")
        return ""

    def all_texts(self, where: str, value: object) -> dict[str, str]:
        """Return a table of texts."""
        return {n: self.as_text(f"{where}.{n}", v) for n, v in self.table(where, value).items()}

    def texts(self, where: str, value: object) -> None:
        """Find texts that no page has room for."""
        if isinstance(value, Mapping):
            for name, entry in value.items():
                self.texts(f"{where}.{name}".strip("."), entry)
        elif isinstance(value, list):
            for entry in value:
                self.texts(where, entry)
        elif isinstance(value, str) and len(value) > LONGEST_TEXT:
            self.fault(
                where,
                value,
                f"is a text of {len(value):,} letters",
                f"Write it in at most {LONGEST_TEXT:,}",
            )

    def flag(self, where: str, entry: Mapping[str, Any], name: str, default: bool = False) -> bool:
        """Return an entry that is true or false."""
        value = entry.get(name, default)
        if isinstance(value, bool):
            return value
        self.fault(f"{where}.{name}", value, "is neither true nor false", "Write true or false")
        return default

    # -- roles ---------------------------------------------------------

    def dimension(
        self, where: str, name: str, entry: Mapping[str, Any], kind: str
    ) -> DimensionKind:
        self.known_keys(where, entry, "dimension")
        plausible = None
        if text := entry.get("plausible"):
            try:
                figure = parse_figure(str(text), Basis.NOMINAL, 0.0)
                plausible = (figure.lo, figure.hi)
            except UnitError as error:
                self.fault(where, text, str(error), "Write it like 20..40 mm")
        return DimensionKind(
            name,
            worded=self.flag(where, entry, "worded"),
            hole=kind in ("bore", "gap", "slot"),
            plausible=plausible,
            measure=self.text(where, entry, "measure"),
        )

    def feature(self, where: str, name: str, entry: Mapping[str, Any]) -> FeatureKind:
        self.known_keys(where, entry, "feature")
        missing = str(entry.get("if_missing", "present"))
        if missing not in _PRESENCE:
            self.fault(
                f"{where}.if_missing",
                missing,
                "is not understood",
                f"Use one of {', '.join(_PRESENCE)}",
            )
        kind = self.text(where, entry, "kind", "length")
        dimensions = {
            dimension: self.dimension(
                f"{where}.dimensions.{dimension}",
                dimension,
                self.table(f"{where}.dimensions.{dimension}", spec),
                kind,
            )
            for dimension, spec in self.table(
                f"{where}.dimensions", entry.get("dimensions")
            ).items()
        }
        return FeatureKind(
            name,
            kind,
            _PRESENCE.get(missing, Presence.PRESENT),
            MappingProxyType(dimensions),
            self.text(where, entry, "title", name.replace("_", " ")),
            self.text(where, entry, "gloss"),
        )

    def read_roles(self) -> None:
        for name, raw in self.table("roles", self.document.get("roles")).items():
            where = f"roles.{name}"
            entry = self.table(where, raw)
            self.known_keys(where, entry, "role")
            fills = [f.value for f in Fill]
            fill = str(entry.get("fill", "always"))
            if fill not in fills:
                self.fault(
                    f"{where}.fill", fill, "is not understood", f"Use one of {', '.join(fills)}"
                )
                fill = "always"
            features = {
                feature: self.feature(
                    f"{where}.features.{feature}",
                    feature,
                    self.table(f"{where}.features.{feature}", spec),
                )
                for feature, spec in self.table(f"{where}.features", entry.get("features")).items()
            }
            self.roles[name] = Role(
                name,
                self.text(where, entry, "title", name),
                Fill(fill),
                MappingProxyType(features),
                self.text(where, entry, "gloss"),
                self.flag(where, entry, "by_material"),
                self.flag(where, entry, "decides"),
                self.text(where, entry, "plural"),
            )
        if not self.roles:
            self.fault("roles", "", "names no role", "Add at least one [roles.NAME]")

    # -- references ----------------------------------------------------

    def reference(self, where: str, text: object) -> Reference | None:
        pieces = str(text).split(".")
        role = self.roles.get(pieces[0])
        if role is None:
            self.fault(
                where, text, "names no known role", f"Begin with one of {', '.join(self.roles)}"
            )
            return None
        if len(pieces) == 2 and pieces[1] in ATTRIBUTES:
            return Reference(role.name, None, pieces[1])
        if len(pieces) == 3 and pieces[1] in role.features:
            kind = role.features[pieces[1]]
            if pieces[2] in kind.dimensions:
                return Reference(role.name, kind.name, pieces[2])
        self.fault(
            where,
            text,
            "names no known dimension",
            "Write role.feature.dimension as the roles above have them",
        )
        return None

    def condition(self, where: str, text: object) -> Condition | None:
        plain = str(text).strip()
        wanted = not plain.startswith("not ")
        pieces = plain.removeprefix("not ").strip().split(".")
        role = self.roles.get(pieces[0])
        if role is not None and len(pieces) == 1:
            return Condition(role.name, None, wanted)
        if role is not None and len(pieces) == 2 and pieces[1] in role.features:
            return Condition(role.name, pieces[1], wanted)
        self.fault(
            where, text, "names no known role or feature", "Write role or role.feature, or not …"
        )
        return None

    def conditions(self, where: str, value: object) -> tuple[Condition, ...]:
        listed = self.listed(where, value, '["role", "not role.feature"]')
        read = (self.condition(where, text) for text in listed)
        return tuple(c for c in read if c is not None)

    # -- joints --------------------------------------------------------

    def length_reference(self, where: str, text: object) -> Reference | None:
        """Return a reference to a length; a word is a fault."""
        reference = self.reference(where, text)
        if reference is None or not self._worded(reference):
            return reference
        self.fault(where, text, "is a word, not a length", "Name a dimension that is measured")
        return None

    def _worded(self, reference: Reference) -> bool:
        if reference.feature is None:
            return True
        kind = self.roles[reference.role].features[reference.feature]
        return kind.dimensions[reference.name].worded

    def arguments(
        self, where: str, rule: Rule, entry: Mapping[str, Any]
    ) -> Mapping[str, Reference]:
        arguments: dict[str, Reference] = {}
        for argument in rule.arguments:
            if argument not in entry:
                if argument not in rule.may_lack:
                    self.fault(where, "", f"lacks {argument!r}", f"The rule {rule.name} needs it")
                continue
            reference = self.reference(f"{where}.{argument}", entry[argument])
            if reference is None:
                continue
            worded = self._worded(reference)
            if worded != (argument in rule.words):
                self.fault(
                    f"{where}.{argument}",
                    entry[argument],
                    f"is {'a word' if worded else 'a length'}, which the rule {rule.name} "
                    "does not compare",
                    "Name another dimension or another rule",
                )
            arguments[argument] = reference
        return MappingProxyType(arguments)

    def windows(self, where: str, rule: Rule, entry: Mapping[str, Any]) -> Mapping[str, float]:
        limits: dict[str, float] = {}
        for window, default in (rule.limits or {}).items():
            if window in entry:
                limits[window] = self.length(f"{where}.{window}", entry[window])
            elif default is None:
                self.fault(where, "", f"lacks {window!r}", f"The rule {rule.name} needs it")
            elif abs(default) < UNBOUNDED_MM:
                limits[window] = default
        if limits.get("least", -math.inf) > limits.get("most", math.inf):
            self.fault(
                where, entry["least"], "is more than 'most'", "Write the smaller one as least"
            )
        return MappingProxyType(limits)

    def rings(self, where: str, value: object) -> tuple[Ring, ...]:
        rings: list[Ring] = []
        for n, raw in enumerate(self.rows(where, value), start=1):
            at = f"{where} #{n}"
            entry = self.table(at, raw)
            self.known_keys(at, entry, "ring")
            found = {
                name: self.length_reference(f"{at}.{name}", entry[name])
                for name in ("bore", "outside", "slot")
                if name in entry
            }
            bore, outside = found.get("bore"), found.get("outside")
            needed = "outside" if n == 1 else "bore"
            if needed not in entry:
                self.fault(at, "", f"lacks {needed!r}", "The core has an outside, a ring a bore")
            if n == 1 and "bore" in entry:
                self.fault(at, entry["bore"], "is the bore of the core", "Name its outside alone")
                bore = None
            if len({r.role for r in found.values() if r is not None}) > 1:
                self.fault(at, "", "is of two roles", "Name dimensions of one part")
            if bore is not None or outside is not None:
                when = self.conditions(f"{at}.when", entry.get("when"))
                rings.append(Ring(bore, outside, found.get("slot"), when))
        if len(rings) < 2:
            self.fault(where, "", "names fewer than two rings", "List them from the core outwards")
        return tuple(rings)

    def spans(self, where: str, value: object) -> tuple[Span, ...]:
        spans: list[Span] = []
        for n, raw in enumerate(self.rows(where, value), start=1):
            at = f"{where} #{n}"
            entry = self.table(at, raw)
            self.known_keys(at, entry, "span")
            signs = [name for name in ("add", "take") if name in entry]
            if len(signs) != 1:
                self.fault(at, "", "adds and takes", "Write either add or take, and a dimension")
                continue
            reference = self.length_reference(f"{at}.{signs[0]}", entry[signs[0]])
            if reference is not None:
                when = self.conditions(f"{at}.when", entry.get("when"))
                sign = 1 if signs[0] == "add" else -1
                spans.append(Span(reference, sign, self.flag(at, entry, "optional"), when))
        if not spans:
            self.fault(where, "", "names no length", "List what adds and what takes away")
        return tuple(spans)

    def listed(self, where: str, value: object, like: str) -> list[Any]:
        if isinstance(value, list):
            return value
        if value is not None:
            self.fault(where, value, "is no list", f"Write it like {like}")
        return []

    def rows(self, where: str, value: object) -> list[Any]:
        if isinstance(value, list):
            return value
        if value is not None:
            self.fault(where, value, "is no list of tables", f"Write each as [[{where}]]")
        return []

    def subject(self, where: str, entry: Mapping[str, Any]) -> Condition | None:
        subject = self.condition(f"{where}.needs", entry.get("needs", ""))
        if subject is not None and not subject.wanted:
            self.fault(
                f"{where}.needs",
                entry["needs"],
                "says not",
                "Use the other rule: present, absent",
            )
        return subject

    def joint(self, place: int, entry: Mapping[str, Any]) -> list[Joint]:
        """Return what one table of joints says: a nest is a joint for every ring that closes."""
        name = self.text(f"joints #{place}", entry, "id", f"#{place}")
        where = f"joints.{name}"
        rule = RULES.get(str(entry.get("rule")))
        if rule is None or rule.own:
            self.fault(
                f"{where}.rule",
                entry.get("rule"),
                "is no known rule",
                f"Use one of {', '.join(name for name, rule in RULES.items() if not rule.own)}",
            )
            return []
        before = len(self.faults)
        self.known(where, entry, tuple(joint_shape(rule)["properties"]))
        joint = Joint(
            name,
            self.text(where, entry, "title", name),
            rule.name,
            self.arguments(where, rule, entry),
            self.windows(where, rule, entry),
            self.conditions(f"{where}.when", entry.get("when")),
            self.subject(where, entry) if rule.on_presence else None,
            self.flag(where, entry, "tidy"),
            self.flag(where, entry, "check"),
            self.text(where, entry, "because"),
            self.rings(f"{where}.rings", entry.get("rings")) if rule.sums == "rings" else (),
            self.spans(f"{where}.spans", entry.get("spans")) if rule.sums == "spans" else (),
        )
        if rule.sums and joint.check:
            self.fault(where, name, "adds up over several parts", "Leave out check")
        if joint.spans and not joint.limits:
            self.fault(where, name, "has neither least nor most", "Write one, or both")
        if len(self.faults) == before and joint.check and len(joint.roles) != 1:
            self.fault(where, name, "checks more than one part", "Name one role in a check")
        if len(self.faults) != before:
            return []
        if joint.rings:
            return list(self.closing(joint))
        if not joint.spans:
            return [joint]
        if len(_asked_of_lengths(joint)) > _MOST_ASKED:
            self.fault(
                f"{where}.spans",
                name,
                f"counts its lengths on more than {_MOST_ASKED} conditions",
                "Write several stacks, with conditions of their own",
            )
            return []
        sided = list(_one_sided(joint))
        # One that can never be there stays as it is, so that its parts are in a joint.
        return [case for stack in sided for case in _cases(stack)] or sided

    def closing(self, nest: Joint) -> Iterator[Joint]:
        """Yield one joint for each ring of a nest, with all that it has to close on.

        Rings that are never inside it, because their conditions keep its part out, are left away.
        """
        for n, ring in enumerate(nest.rings[1:], start=1):
            inside = (r for r in nest.rings[:n] if Condition(ring.role, None, False) not in r.when)
            yield replace(
                nest,
                name=f"{nest.name}/{ring.role}",
                title=f"{nest.title}, {self.roles[ring.role].title}",
                rings=(*inside, ring),
            )

    def read_joints(self) -> tuple[Joint, ...]:
        joints: list[Joint] = []
        names: set[str] = set()
        raw = self.document.get("joints", [])
        if not isinstance(raw, list):
            self.fault("joints", raw, "is no list of tables", "Write each as [[joints]]")
            raw = []
        for place, entry in enumerate(raw, start=1):
            for joint in self.joint(place, self.table(f"joints #{place}", entry)):
                if joint.name in names:
                    self.fault("joints", joint.name, "is the id of two joints", "Rename one")
                names.add(joint.name)
                joints.append(joint)
        joints = list(_without_doubles(joints))
        used = {role for joint in joints for role in joint.roles}
        for name in self.roles:
            if name not in used and not self.faults:
                self.fault(f"roles.{name}", name, "is in no joint", "Add a joint or drop the role")
        return tuple(joints)

    def features(
        self, where: str, role: Role, table: Mapping[str, Any], half_mm: float
    ) -> dict[str, tuple[Mapping[str, Dimension], Mapping[str, Word]]]:
        """Return the lengths and words of features that a part is given.

        Parameters
        ----------
        half_mm : float
            Half the limits of a figure that comes without [mm].
        """
        found: dict[str, tuple[Mapping[str, Dimension], Mapping[str, Word]]] = {}
        for feature, values in table.items():
            kind = role.features.get(feature)
            if kind is None:
                self.fault(where, feature, "is no feature of the role", "Name one")
                continue
            lengths: dict[str, Dimension] = {}
            words: dict[str, Word] = {}
            for name, text in self.table(f"{where}.{feature}", values).items():
                spec = kind.dimensions.get(name)
                if spec is None:
                    self.fault(f"{where}.{feature}", name, "is unknown", "Name a dimension")
                elif spec.worded:
                    words[name] = Word(str(text))
                else:
                    try:
                        lengths[name] = parse_figure(str(text), Basis.MAKER, half_mm)
                    except UnitError as error:
                        self.fault(f"{where}.{feature}", text, str(error), "Mend it")
            found[feature] = (MappingProxyType(lengths), MappingProxyType(words))
        return found

    # -- services ------------------------------------------------------

    def service(self, name: str, entry: Mapping[str, Any], digits: int) -> Service | None:
        where = f"services.{name}"
        self.known_keys(where, entry, "service")
        role = self.roles.get(str(entry.get("role")))
        if role is None:
            self.fault(
                f"{where}.role", entry.get("role"), "is no known role", "Name a role from above"
            )
            return None
        try:
            price = parse_money(str(entry.get("price", "0")), digits, self.currency)
        except (UnitError, ArithmeticError) as error:
            self.fault(f"{where}.price", entry.get("price"), str(error), "Write an amount")
            price = 0
        if price < 0:
            self.fault(f"{where}.price", entry.get("price"), "is below zero", "Write an amount")
        sets = self.features(
            f"{where}.sets", role, self.table(f"{where}.sets", entry.get("sets")), 0.5
        )
        removed = self.listed(f"{where}.removes", entry.get("removes", []), '["feature"]')
        removes = tuple(str(f) for f in removed)
        for feature in removes:
            if feature not in role.features:
                self.fault(f"{where}.removes", feature, "is no feature of the role", "Name one")
        shifts: dict[tuple[str, str], float] = {}
        for path, text in self.table(f"{where}.shifts", entry.get("shifts")).items():
            reference = self.reference(f"{where}.shifts", f"{role.name}.{path}")
            if reference is not None and reference.feature is not None:
                shifts[(reference.feature, reference.name)] = self.length(
                    f"{where}.shifts.{path}", text
                )
        when = self.conditions(f"{where}.when", entry.get("when"))
        for condition in when:
            if condition.role != role.name:
                self.fault(f"{where}.when", condition, "looks at another part", "Name its own role")
        return Service(
            name,
            self.text(where, entry, "title", name),
            role.name,
            price,
            float(self.number(f"{where}.minutes", entry.get("minutes", 0), MOST_MINUTES)),
            when,
            MappingProxyType(sets),
            removes,
            MappingProxyType(shifts),
            self.length(f"{where}.cuts_off", entry.get("cuts_off", "0")),
            self.text(where, entry, "caution"),
            self.text(where, entry, "gloss"),
        )

    # -- what is worked out of figures ---------------------------------

    def references(
        self, where: str, table: Mapping[str, Any], needed: tuple[str, ...], other: tuple[str, ...]
    ) -> dict[str, Reference]:
        """Return the references of a table, with a fault for each that is missing."""
        found = {}
        for name in (*needed, *other):
            if name in table:
                reference = self.reference(f"{where}.{name}", table[name])
                if reference is not None:
                    found[name] = reference
            elif name in needed:
                self.fault(where, "", f"lacks {name!r}", "Name the dimension")
        return found

    def weigh(self) -> WeighSource | None:
        table = self.table("weigh", self.document.get("weigh"))
        if not table:
            return None
        self.known_keys("weigh", table, "weigh")
        needed = ("outside", "bore", "length")
        found = self.references("weigh", table, needed, ())
        try:
            more = parse_figure(str(table.get("more", "0..0")), Basis.NOMINAL, 0.0)
        except UnitError as error:
            self.fault("weigh.more", table.get("more"), str(error), "Write it like 300..900 mm")
            return None
        if len(found) < len(needed):
            return None
        return WeighSource(**found, more=(more.lo, more.hi))

    def hold(self) -> HoldSource | None:
        table = self.table("hold", self.document.get("hold"))
        if not table:
            return None
        needed = ("thread", "count", "height", "outside", "bore")
        other = ("slot", "slot_length")
        self.known_keys("hold", table, "hold")
        found = self.references("hold", table, needed, other)
        torques: dict[str, float] = {}
        for thread, torque in self.table("hold.torque_nm", table.get("torque_nm")).items():
            if isinstance(torque, (int, float)) and torque > 0 and thread in SCREWS:
                torques[thread] = float(torque)
            else:
                self.fault(
                    f"hold.torque_nm.{thread}",
                    torque,
                    "is no torque of a known coarse thread",
                    f"Use one of {', '.join(SCREWS)} and a number of N m",
                )
        strength = str(table.get("property_class", "8.8"))
        if strength not in PROPERTY_CLASSES:
            self.fault(
                "hold.property_class",
                strength,
                "is no ISO 898-1 property class",
                f"Use one of {', '.join(PROPERTY_CLASSES)}",
            )
        demand = table.get("demand_nm")
        if demand is not None and not (isinstance(demand, (int, float)) and demand > 0):
            self.fault("hold.demand_nm", demand, "is no moment", "Write a number of N m above 0")
            demand = None
        if any(name not in found for name in needed):
            return None
        return HoldSource(
            found["thread"],
            found["count"],
            found["height"],
            found["outside"],
            found["bore"],
            found.get("slot"),
            found.get("slot_length"),
            strength,
            MappingProxyType(torques),
            None if demand is None else float(demand),
            self.text("hold", table, "demand"),
        )

    def silhouette(self) -> Silhouette | None:
        table = self.table("silhouette", self.document.get("silhouette"))
        if not table:
            return None
        self.known_keys("silhouette", table, "silhouette")
        width, height = (
            self.number(f"silhouette.{n}", table.get(n), MOST_UNITS) for n in ("width", "height")
        )
        for name, size in (("width", width), ("height", height)):
            if not size:
                self.fault(f"silhouette.{name}", size, "leaves no room", "Write a number above 0")
        drawn = {}
        for role, entries in self.table("silhouette.roles", table.get("roles")).items():
            where = f"silhouette.roles.{role}"
            if role not in self.roles:
                known = ", ".join(self.roles)
                self.fault(where, role, "names no known role", f"Use one of {known}")
            if not isinstance(entries, list):
                self.fault(where, entries, "is no list", "Write it like [{ ring = [9, 9, 4] }]")
                continue
            found = [self.outline(where, each, width, height) for each in entries]
            drawn[role] = tuple(o for o in found if o is not None)
        return Silhouette(width, height, MappingProxyType(drawn))

    def outline(self, where: str, entry: object, width: float, height: float) -> Outline | None:
        table = self.table(where, entry)
        self.known_keys(where, table, "outline")
        kind = "ring" if "ring" in table else "line"
        values = table.get(kind)
        if not isinstance(values, list) or ("ring" in table and "line" in table):
            self.fault(where, entry, "is neither a line nor a ring", "Write line = [x, y, x, y]")
            return None
        figures = [self.number(f"{where}.{kind}", v, MOST_UNITS) for v in values]
        wide = self.number(f"{where}.wide", table.get("wide", 4), MOST_UNITS)
        ring = kind == "ring"
        if len(figures) != 3 if ring else len(figures) < 4 or len(figures) % 2:
            remedy = "Write ring = [x, y, radius]" if ring else "Write line = [x, y, x, y]"
            self.fault(f"{where}.{kind}", values, "has not so many numbers as it needs", remedy)
            return None
        radius = figures.pop() if ring else 0.0
        points = tuple(zip(figures[::2], figures[1::2], strict=True))
        if any(x > width or y > height for x, y in points):
            self.fault(f"{where}.{kind}", values, "leaves the silhouette", "Stay within its size")
            return None
        return Outline(points, wide, radius)

    def press(self, joints: Sequence[Joint]) -> tuple[PressSource, ...]:
        found = []
        joined = {j.name for j in joints if {"bore", "spigot"} <= set(j.arguments)}
        for name, entry in self.table("press", self.document.get("press")).items():
            where = f"press.{name}"
            table = self.table(where, entry)
            self.known_keys(where, table, "press")
            if name not in joined:
                remedy = f"Use one of {', '.join(sorted(joined)) or 'no joint there is'}"
                self.fault(where, name, "is no joint of a bore and a spigot", remedy)
                continue
            materials = {}
            for side in ("bored", "pressed"):
                material = MATERIALS.get(str(table.get(side, "")))
                if material is None or not material.bears_load:
                    remedy = "Name a material that bears load, such as aluminium or steel"
                    self.fault(f"{where}.{side}", table.get(side), "is no such material", remedy)
                else:
                    materials[side] = str(table[side])
            try:
                wall = parse_figure(str(table.get("bored_wall", "")), Basis.NOMINAL, 0.0)
            except UnitError as error:
                told = table.get("bored_wall")
                self.fault(f"{where}.bored_wall", told, str(error), "Write it like 2..4 mm")
                continue
            length = self.length(f"{where}.length", table.get("length", ""))
            inside = self.length(f"{where}.pressed_wall", table.get("pressed_wall", "0 mm"))
            if not wall.lo > 0 or not length > 0 or inside < 0:
                self.fault(where, "", "has a size that is none", "Write sizes above 0 mm")
            elif len(materials) == 2:
                walls = (wall.lo, wall.hi)
                hub, shaft = materials["bored"], materials["pressed"]
                found.append(PressSource(name, walls, length, hub, shaft, inside))
        return tuple(found)

    def kind(self, where: str, name: str, entry: Mapping[str, Any]) -> Kind:
        self.known_keys(where, entry, "kind")
        within: dict[Reference, tuple[float, float]] = {}
        for text, window in self.table(f"{where}.within", entry.get("within")).items():
            reference = self.reference(f"{where}.within", text)
            try:
                figure = parse_figure(str(window), Basis.NOMINAL, 0.0)
            except UnitError as error:
                self.fault(f"{where}.within", window, str(error), "Write it like 31..33 mm")
                continue
            if reference is not None and figure.known:
                within[reference] = (figure.lo, figure.hi)
        when = self.conditions(f"{where}.when", entry.get("when"))
        if not within and not when:
            self.fault(where, "", "says nothing that tells it", "Give it within, or when")
        return Kind(name, MappingProxyType(within), when)

    def read_groups(self) -> dict[str, Grouping]:
        groups = {}
        for name, value in self.table("groups", self.document.get("groups")).items():
            entry = self.table(f"groups.{name}", value)
            self.known_keys(f"groups.{name}", entry, "group")
            kinds = self.table(f"groups.{name}.kinds", entry.get("kinds"))
            groups[name] = Grouping(
                name,
                self.text(f"groups.{name}", entry, "title", name),
                tuple(
                    self.kind(
                        f"groups.{name}.kinds.{k}", k, self.table(f"groups.{name}.kinds.{k}", e)
                    )
                    for k, e in kinds.items()
                ),
            )
        return groups

    # -- the whole -----------------------------------------------------

    def read(self) -> Vocabulary:
        self.known_keys("top level", self.document, "")
        self.texts("", self.document)
        trade = self.table("trade", self.document.get("trade"))
        self.known_keys("trade", trade, "trade")
        name = self.text("trade", trade, "name")
        if not re.fullmatch("[A-Z]{3}", str(trade.get("currency", "EUR"))):
            self.fault(
                "trade.currency",
                trade.get("currency"),
                "is no currency's code",
                "Write its three capital letters, like EUR (ISO 4217)",
            )
        self.currency = str(trade.get("currency", "EUR"))
        digits = int(self.number("trade.minor_digits", trade.get("minor_digits", 2), 4))
        limits = self.table("limits", self.document.get("limits"))
        self.known_keys("limits", limits, "limits")
        half_width = {
            basis: self.length(f"limits.{word}", limits.get(word, "0.1 mm"))
            for word, basis in BASES.items()
        }
        for word, basis in BASES.items():
            if half_width[basis] < 0:
                self.fault(
                    f"limits.{word}", limits.get(word), "is below zero", "Write half a width"
                )
        self.read_roles()
        joints = self.read_joints()
        services = {}
        for name, entry in self.table("services", self.document.get("services")).items():
            service = self.service(name, self.table(f"services.{name}", entry), digits)
            if service is not None:
                services[name] = service
        strength = None
        if source := self.table("strength", self.document.get("strength")):
            self.known_keys("strength", source, "strength")
            read = {k: self.reference(f"strength.{k}", v) for k, v in source.items()}
            outside, bore = read.get("outside"), read.get("bore")
            if outside is None or bore is None:
                self.fault("strength", "", "lacks outside or bore", "Name both")
            else:
                strength = StrengthSource(outside, bore, read.get("slot"))
        weigh, hold, groups = self.weigh(), self.hold(), self.read_groups()
        press, silhouette = self.press(joints), self.silhouette()
        makes = read_makes(self, joints, digits)
        identify = read_identify(self, self.document, groups)
        advice = read_advice(self, self.document, groups)
        cautions = self.all_texts("cautions", self.document.get("cautions"))
        for table, named in (("services", services), ("make", makes)):
            for each in named.values():
                if each.caution and each.caution not in cautions:
                    self.fault(
                        f"{table}.{each.name}.caution",
                        each.caution,
                        "is no known caution",
                        "Add it under [cautions]",
                    )
        if self.faults:
            raise CatalogueError(self.faults)
        return Vocabulary(
            trade=name,
            currency=self.currency,
            minor_digits=digits,
            half_width=MappingProxyType(half_width),
            roles=MappingProxyType(self.roles),
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
            f"is not in the folder {path.parent.name!r}",
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
    return _Reader(_harmless(document)).read()
