"""Read what joins what: the ``[[joints]]`` tables of a vocabulary file."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from fitgraph.catalogue.entries import FileTable
from fitgraph.catalogue.vocabulary_shape import joint_shape
from fitgraph.mechanics.rules import RULES, UNBOUNDED_MM, Rule
from fitgraph.model import Condition, Joint, Reference, Ring, Span

#: On how many conditions the lengths of one stack may be counted: each doubles its cases.
_MOST_ASKED = 4


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


def _arguments(joint: FileTable, rule: Rule) -> Mapping[str, Reference]:
    found: dict[str, Reference] = {}
    for argument in rule.arguments:
        if argument not in joint:
            if argument not in rule.may_lack:
                joint.lacks(argument, f"The rule {rule.name} needs it")
            continue
        reference = joint.reference(argument)
        if reference is None:
            continue
        worded = joint.read.worded(reference)
        if worded != (argument in rule.words):
            joint.fault(
                argument,
                joint.get(argument),
                f"is {'a word' if worded else 'a length'}, which the rule {rule.name} "
                "does not compare",
                "Name another dimension or another rule",
            )
        found[argument] = reference
    return MappingProxyType(found)


def _windows(joint: FileTable, rule: Rule) -> Mapping[str, float]:
    limits: dict[str, float] = {}
    for window, default in (rule.limits or {}).items():
        if window in joint:
            limits[window] = joint.length(window)
        elif default is None:
            joint.lacks(window, f"The rule {rule.name} needs it")
        elif abs(default) < UNBOUNDED_MM:
            limits[window] = default
    if limits.get("least", -math.inf) > limits.get("most", math.inf):
        remedy = "Write the smaller one as least"
        joint.fault("", joint.get("least"), "is more than 'most'", remedy)
    return MappingProxyType(limits)


def _rings(joint: FileTable) -> tuple[Ring, ...]:
    rings: list[Ring] = []
    for n, ring in enumerate(joint.rows("rings", "ring")):
        found = {
            name: ring.length_reference(name)
            for name in ("bore", "outside", "slot")
            if name in ring
        }
        bore, outside = found.get("bore"), found.get("outside")
        needed = "bore" if n else "outside"
        if needed not in ring:
            ring.lacks(needed, "The core has an outside, a ring a bore")
        if not n and "bore" in ring:
            ring.fault("", ring.get("bore"), "is the bore of the core", "Name its outside alone")
            bore = None
        if len({r.role for r in found.values() if r is not None}) > 1:
            ring.fault("", "", "is of two roles", "Name dimensions of one part")
        if bore is not None or outside is not None:
            rings.append(Ring(bore, outside, found.get("slot"), ring.conditions()))
    if len(rings) < 2:
        remedy = "List them from the core outwards"
        joint.fault("rings", "", "names fewer than two rings", remedy)
    return tuple(rings)


def _spans(joint: FileTable) -> tuple[Span, ...]:
    spans: list[Span] = []
    for span in joint.rows("spans", "span"):
        signs = [name for name in ("add", "take") if name in span]
        if len(signs) != 1:
            span.fault("", "", "adds and takes", "Write either add or take, and a dimension")
            continue
        reference = span.length_reference(signs[0])
        if reference is not None:
            sign = 1 if signs[0] == "add" else -1
            spans.append(Span(reference, sign, span.flag("optional"), span.conditions()))
    if not spans:
        joint.fault("spans", "", "names no length", "List what adds and what takes away")
    return tuple(spans)


def _subject(joint: FileTable) -> Condition | None:
    subject = joint.condition("needs", joint.get("needs", ""))
    if subject is not None and not subject.wanted:
        joint.fault("needs", joint.get("needs"), "says not", "Use the other rule: present, absent")
    return subject


def _joint(name: str, joint: FileTable) -> list[Joint]:
    """Return what one table of joints says: a nest is a joint for every ring that closes."""
    rule = RULES.get(str(joint.get("rule")))
    if rule is None or rule.own:
        names = ", ".join(name for name, rule in RULES.items() if not rule.own)
        joint.fault("rule", joint.get("rule"), "is no known rule", f"Use one of {names}")
        return []
    faults = joint.read.faults
    before = len(faults)
    joint.known(joint_shape(rule)["properties"])
    made = Joint(
        name,
        joint.text("title", name),
        rule.name,
        _arguments(joint, rule),
        _windows(joint, rule),
        joint.conditions(),
        _subject(joint) if rule.on_presence else None,
        joint.flag("tidy"),
        joint.flag("check"),
        joint.text("because"),
        _rings(joint) if rule.sums == "rings" else (),
        _spans(joint) if rule.sums == "spans" else (),
    )
    if rule.sums and made.check:
        joint.fault("", name, "adds up over several parts", "Leave out check")
    if made.spans and not made.limits:
        joint.fault("", name, "has neither least nor most", "Write one, or both")
    if len(faults) == before and made.check and len(made.roles) != 1:
        joint.fault("", name, "checks more than one part", "Name one role in a check")
    if len(faults) != before:
        return []
    if made.rings:
        return list(_closing(made, joint))
    if not made.spans:
        return [made]
    if len(_asked_of_lengths(made)) > _MOST_ASKED:
        joint.fault(
            "spans",
            name,
            f"counts its lengths on more than {_MOST_ASKED} conditions",
            "Write several stacks, with conditions of their own",
        )
        return []
    sided = list(_one_sided(made))
    # One that can never be there stays as it is, so that its parts are in a joint.
    return [case for stack in sided for case in _cases(stack)] or sided


def _closing(nest: Joint, joint: FileTable) -> Iterator[Joint]:
    """Yield one joint for each ring of a nest, with all that it has to close on.

    Rings that are never inside it, because their conditions keep its part out, are left away.
    """
    for n, ring in enumerate(nest.rings[1:], start=1):
        inside = (r for r in nest.rings[:n] if Condition(ring.role, None, False) not in r.when)
        yield replace(
            nest,
            name=f"{nest.name}/{ring.role}",
            title=f"{nest.title}, {joint.read.roles[ring.role].title}",
            rings=(*inside, ring),
        )


def read_joints(file: FileTable) -> tuple[Joint, ...]:
    """Return the joints of a vocabulary file, whose roles have been read."""
    joints: list[Joint] = []
    names: set[str] = set()
    for place, row in enumerate(file.rows("joints"), start=1):
        name = row.text("id", f"#{place}")
        for joint in _joint(name, FileTable(file.read, f"joints.{name}", row.table)):
            if joint.name in names:
                file.fault("joints", joint.name, "is the id of two joints", "Rename one")
            names.add(joint.name)
            joints.append(joint)
    joints = list(_without_doubles(joints))
    used = {role for joint in joints for role in joint.roles}
    for name in file.read.roles:
        if name not in used and not file.read.faults:
            remedy = "Add a joint or drop the role"
            file.fault(f"roles.{name}", name, "is in no joint", remedy)
    return tuple(joints)
