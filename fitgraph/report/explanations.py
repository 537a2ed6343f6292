"""Whether parts fit, why not, and what would change that."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from functools import partial
from typing import Any

from fitgraph.explain import (
    Action,
    Change,
    Clash,
    Conflict,
    Explanation,
    Prefer,
    action_text,
    assembly_text,
    chance_of,
    clash_text,
    conflict_text,
    element_text,
    held_texts,
    hold_text,
    pressed_text,
    share_of_pairs,
    strain_texts,
)
from fitgraph.graph.hold import Hold
from fitgraph.graph.options import skus_of
from fitgraph.graph.pressed import Pressed
from fitgraph.model import Catalogue, Verdict, split_label
from fitgraph.report.blocks import Block, Items, Picture, Report, Say, Section, Tone, say_all
from fitgraph.report.cautions_told import cautions_on, cautions_on_work
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import (
    COUNT,
    LIST,
    MARGIN,
    MASS,
    MASS_CHANGE,
    MINUTES,
    RISE,
    SHARE,
    WORD,
    money_of,
    number,
)
from fitgraph.wording import first_of

#: The verdict on a whole combination, as the first words of an answer.
HEADLINES = {
    Verdict.FITS: "Fits.",
    Verdict.FAILS: "Does not fit.",
    Verdict.UNKNOWN: "Cannot be told yet.",
}

#: Conflicts, changes and parts listed for people; data has them all.
_CONFLICTS, CHANGES, _PARTS = 3, 6, 3

#: Said where nothing helps.
NO_CHANGE = "No change within this catalogue makes it fit."

#: Said where there are more conflicts or changes than can be held.
_INCOMPLETE = (
    "Not every conflict and change is told: there are more than can be held at once. What is told "
    "is right. Ask about fewer of these parts to see the rest."
)

#: Said where nothing could be told but the verdict.
_VERDICT_ALONE = (
    "Neither what is in conflict nor what would change it is told: for that every other part "
    "counts as well, and that would need too much memory. What helps: ask without the limits, or "
    "name parts of more roles."
)

#: How the list of changes is headed, by what comes first.
_FIRST = {
    Prefer.PRICE: "cheapest first",
    Prefer.MASS: "lightest first",
    Prefer.WORK: "least work first",
    Prefer.OWNED: "what keeps your parts first",
}


def hold_of(found: Explanation) -> Hold | None:
    """Return how hard the bolts hold; of parts that do not fit it would say nothing true."""
    return None if found.verdict is Verdict.FAILS else found.hold


def holding(found: Explanation) -> tuple[tuple[str, str], ...]:
    """Return what holds the parts together: the topic of a caution, and a sentence, each."""
    return () if found.verdict is Verdict.FAILS else held_texts(found.hold, found.pressed)


def change_cautions(changes: Iterable[Change], catalogue: Catalogue) -> tuple[str, ...]:
    """Return the cautions on the work that changes ask for."""
    services = (s for c in changes for a in c.actions for s in a.services)
    return cautions_on_work(catalogue.vocabulary, services)


def cautions(
    found: Explanation, changes: Iterable[Change], catalogue: Catalogue
) -> tuple[str, ...]:
    """Return the cautions that travel with an explanation that tells these changes."""
    tightening = cautions_on(catalogue.vocabulary, (topic for topic, _ in holding(found)))
    return tuple(dict.fromkeys([*tightening, *change_cautions(changes, catalogue)]))


# -- data ----------------------------------------------------------------


def _action(action: Action, catalogue: Catalogue) -> dict[str, Any]:
    before, after = action.before.part, action.after.part
    put = after if after is not None and after != before else None
    part = before if put is None else put
    return {
        "do": action.kind,
        "role": action.role or None,
        "sku": None if part is None else part.sku,
        "instead_of": before.sku if put is not None and before is not None else None,
        "service": " + ".join(action.services) if action.services else None,
        "text": action_text(action, catalogue),
    }


def _joint(clash: Clash, catalogue: Catalogue) -> dict[str, Any]:
    chance = chance_of(clash, catalogue)
    return {
        "parts": list(clash.parts),
        "joint": clash.joint.name,
        "title": clash.joint.title,
        "rule": clash.joint.rule,
        "verdict": clash.verdict.word,
        "margin_mm": number(clash.margin_mm),
        "share": number(share_of_pairs(clash)),
        "chance": None if chance is None else number(chance.share),
    }


def _reasoned(clashes: Iterable[Clash], catalogue: Catalogue) -> list[dict[str, Any]]:
    return [{**_joint(c, catalogue), "reason": clash_text(c, catalogue)} for c in clashes]


def _fix(change: Change, catalogue: Catalogue) -> dict[str, Any]:
    amount = money_of(catalogue.vocabulary).data
    fix = {
        "actions": [_action(a, catalogue) for a in change.actions],
        "price": amount(change.price),
        "mass_change_g": number(change.mass_change_g),
        "minutes": number(change.minutes),
        "height_change_mm": number(change.height_change_mm),
        "alternatives": change.alternatives,
        "today": not change.to_order,
        "held": None if change.held is None else change.held.after.label,
        "held_price": None if change.held is None else amount(change.held.price),
        "order": list(change.to_order),
    }
    if change.build_price is None:
        return fix
    return fix | {
        "build_price": amount(change.build_price),
        "build_mass_g": number(change.build_mass_g),
        "build": skus_of(change.build),
    }


def _elements(conflict: Conflict, catalogue: Catalogue) -> list[dict[str, Any]]:
    return [
        {
            "kind": e.kind,
            "role": e.role,
            "parts": list(e.skus),
            "joint": None if e.joint is None else e.joint.name,
            "text": element_text(e, catalogue),
        }
        for e in conflict.elements
    ]


def _hold(hold: Hold | None) -> dict[str, Any] | None:
    if hold is None:
        return None
    grip = hold.grip
    return {
        "thread": hold.thread,
        "bolts": hold.bolts,
        "torque_nm": number(hold.torque_nm),
        "slips_at_nm": [number(m) for m in (grip.low_nm, grip.middle_nm, grip.high_nm)],
        "bounds_nm": [number(moment) for moment in grip.bounds_nm],
        "weakest": [hold.weakest.outer.label, hold.weakest.inner.label],
        "closes_in": number(grip.closes),
        "demand_nm": number(hold.demand_nm),
        "demand_held_in": number(hold.demand_share),
        "slot_closes": bool(hold.closes),
        "springs_back": bool(hold.elastic),
        "strains": [{"caution": topic, "text": text} for topic, text in strain_texts(hold)],
        "text": hold_text(hold),
    }


def _press(one: Pressed) -> dict[str, Any]:
    fit = one.fit
    return {
        "joint": one.joint.name,
        "parts": [one.hub.label, one.shaft.label],
        "interference_mm": [number(x) for x in fit.interference_mm],
        "force_n": [number(x) for x in fit.force_n],
        "share_of_yield": [number(x) for x in fit.share_of_yield],
        "text": pressed_text(one),
    }


def data(found: Explanation, catalogue: Catalogue) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    return {
        "verdict": found.verdict.word,
        "named": list(found.named),
        "conflicts": _reasoned(found.conflicts, catalogue),
        "minimal_conflicts": [_elements(c, catalogue) for c in found.minimal_conflicts],
        "sentences": [conflict_text(c, catalogue) for c in found.minimal_conflicts],
        "complete": found.complete,
        "fixes": [_fix(change, catalogue) for change in found.changes],
        "needs": [{"role": n.role, "parts": list(n.parts)} for n in found.needs],
        "joints": [_joint(c, catalogue) for c in found.joints],
        "remarks": _reasoned(found.remarks, catalogue),
        "hold": _hold(hold_of(found)),
        "pressed": [] if found.verdict is Verdict.FAILS else [_press(p) for p in found.pressed],
        "assembly_share": number(None if found.assembly is None else found.assembly.share),
        "currency": catalogue.vocabulary.currency,
        "cautions": list(cautions(found, found.changes, catalogue)),
    }


# -- tables --------------------------------------------------------------


def _joints_table(joints: Sequence[Clash]) -> Table:
    return Table.of(
        "joints",
        joints,
        (Column("joint"), lambda c: c.joint.title),
        (Column("verdict", WORD), lambda c: c.verdict),
        (Column("margin_mm", MARGIN, "margin"), lambda c: number(c.margin_mm)),
        (Column("share", SHARE, "pairs that fit"), share_of_pairs),
        (Column("rule"), lambda c: c.joint.rule),
    )


def change_text(change: Change, catalogue: Catalogue, *, ways: bool) -> str:
    """Return a change as one instruction, and in how many ways it can be done."""
    text = "; ".join(action_text(a, catalogue) for a in change.actions)
    if ways and change.alternatives > 1:
        text += f" (one of {change.alternatives:,} ways)"
    return text


def _change_cell(change: Change, catalogue: Catalogue, *, ways: bool) -> str:
    """Return a change as a table has it, with what the shelf has of what would be ordered."""
    text = change_text(change, catalogue, ways=ways)
    if not ways or change.held is None:
        return text
    price = money_of(catalogue.vocabulary).show(change.held.price)
    return f"{text.removesuffix(')')}; from the shelf {change.held.after.called}, {price})"


def _changes_table(changes: Sequence[Change], catalogue: Catalogue) -> Table:
    return Table.of(
        "changes",
        changes,
        (Column("price", money_of(catalogue.vocabulary)), lambda c: c.price),
        (Column("build_price", money_of(catalogue.vocabulary)), lambda c: c.build_price),
        (Column("mass_change_g", MASS_CHANGE), lambda c: c.mass_change_g),
        (Column("build_mass_g", MASS), lambda c: c.build_mass_g),
        (Column("minutes", MINUTES), lambda c: c.minutes),
        (Column("height_change_mm", RISE), lambda c: c.height_change_mm),
        (Column("alternatives", COUNT), lambda c: c.alternatives),
        (Column("order", LIST), lambda c: c.to_order),
        (Column("change"), lambda c: change_text(c, catalogue, ways=False)),
    )


def changes_shown(changes: Sequence[Change], catalogue: Catalogue, *, ways: bool = True) -> Table:
    """Return changes with what they cost and weigh, for people.

    Of a request the whole build is told; of parts, what the change adds. Workshop time and
    height are told where some change has them.
    """
    money = money_of(catalogue.vocabulary)
    whole = any(c.build_price is not None for c in changes)
    columns = [
        (
            Column("price", money, "build" if whole else "price"),
            lambda c: c.price if c.build_price is None else c.build_price,
        ),
        (Column("mass_g", MASS, "mass"), lambda c: c.build_mass_g)
        if whole
        else (Column("mass_change_g", MASS_CHANGE, "mass"), lambda c: c.mass_change_g),
    ]
    if any(c.minutes for c in changes):
        columns.append((Column("minutes", MINUTES, "work"), lambda c: c.minutes))
    if any(c.height_change_mm for c in changes):
        columns.append((Column("height_change_mm", RISE, "height"), lambda c: c.height_change_mm))
    when = Column("today", title="when")
    columns.append((when, lambda c: "to order" if c.to_order else "today"))
    columns.append((Column("change"), lambda c: _change_cell(c, catalogue, ways=ways)))
    return Table.of("changes", changes, *columns)


def _conflicts_table(found: Explanation, catalogue: Catalogue) -> Table:
    rows = [
        (
            n,
            e.kind,
            e.role,
            e.skus,
            None if e.joint is None else e.joint.name,
            element_text(e, catalogue),
        )
        for n, conflict in enumerate(found.minimal_conflicts, start=1)
        for e in conflict.elements
    ]
    columns = (
        Column("conflict", COUNT),
        Column("kind"),
        Column("role"),
        Column("parts", LIST),
        Column("joint"),
        Column("element"),
    )
    return Table("minimal_conflicts", columns, tuple(rows))


def tables(found: Explanation, catalogue: Catalogue) -> tuple[Table, ...]:
    """Return joints, minimal changes, elements of minimal conflicts, and what is needed."""
    needs = [(n.role, sku) for n in found.needs for sku in n.parts]
    return (
        _joints_table(found.joints),
        _changes_table(found.changes, catalogue),
        _conflicts_table(found, catalogue),
        Table("needs", (Column("role"), Column("sku")), tuple(needs)),
    )


# -- for people ----------------------------------------------------------


#: Parts that a verdict calls by name; of more only the roles and numbers are told.
_BY_NAME = 3

#: What leads to the reasons for a verdict.
_LEADS = {
    Verdict.FITS: "Every joint can be made, and a whole build around them is certain.",
    Verdict.UNKNOWN: "A missing or loose figure decides:",
    Verdict.FAILS: "What stands in the way:",
}


def named_text(found: Explanation, catalogue: Catalogue) -> str:
    """Return the parts that an answer is about: by name where they are few, else by role."""

    def told(label: str) -> str:
        part = catalogue.parts.get(split_label(label)[0])
        if part is None or len(found.named) <= _BY_NAME:
            return catalogue.called(label)
        return f"{catalogue.vocabulary.roles[part.role].title} {label}"

    return ", ".join(map(told, found.named))


def verdict_told(found: Explanation, catalogue: Catalogue) -> Say:
    """Return in a line whether parts go together, and which joints stand in the way."""
    where = "; ".join(dict.fromkeys(c.joint.title for c in found.conflicts))
    text = ": ".join(filter(None, (named_text(found, catalogue), where)))
    return Say(text, Tone.STATUS, verdict=found.verdict)


def reasons(clashes: Iterable[Clash], catalogue: Catalogue) -> Items:
    """Return what joints say, each with its verdict."""
    return Items(
        tuple(Say(clash_text(c, catalogue), deep=1, verdict=c.verdict) for c in clashes),
    )


def in_short(found: Explanation, catalogue: Catalogue) -> Report:
    """Return which joints keep parts apart, or that none does; not what else could be taken."""
    # What no joint of these parts is to blame for.
    whole = [conflict_text(c, catalogue) for c in found.minimal_conflicts if not c.elements]
    told: tuple[Block, ...] = (
        Say(_LEADS[found.verdict]),
        *say_all(whole),
        reasons(found.conflicts, catalogue),
        *not_needed(found, catalogue),
        *grip(found),
    )
    return Report("", told, cautions(found, (), catalogue))


def not_needed(found: Explanation, catalogue: Catalogue) -> tuple[Section, ...]:
    """Return which parts do nothing beside the others, if any."""
    told = say_all(clash_text(c, catalogue) for c in found.remarks)
    return (Section("Not needed", told),) if told else ()


def grip(found: Explanation) -> tuple[Section, ...]:
    """Return what holds the parts together, where they go together."""
    told = say_all(text for _, text in holding(found))
    return (Section("Grip, by comparison", told),) if told else ()


def needs(found: Explanation, catalogue: Catalogue) -> Block:
    """Return what a whole build still needs, a row a role."""
    if found.verdict is Verdict.FAILS:
        return Say("That is told once these parts go together.")
    if not found.needs:
        return Say("Nothing: these parts are a whole build.")
    roles = catalogue.vocabulary.roles
    return Table.of(
        "needs",
        found.needs,
        (Column("role"), lambda n: roles[n.role].title),
        (Column("parts"), lambda n: first_of(map(catalogue.called, n.parts), _PARTS)),
        headed=False,
    )


def joint_told(
    clash: Clash, catalogue: Catalogue, deep: int = 1, named: Collection[str] = ()
) -> tuple[Say, Picture]:
    """Return what a joint says of a combination: its sentence, and its drawing.

    Parameters
    ----------
    clash : Clash
        The joint with its verdict and figures.
    catalogue : Catalogue
        Whose vocabulary names the roles.
    deep : int
        How far the sentence is set in.
    named : collection of str
        Stock numbers of parts that were named just before.
    """
    # The sentence stands above the drawing in every medium, so it is not told again below.
    return Say(clash_text(clash, catalogue, named), deep=deep), Picture(partial(_drawn, clash), "")


def _drawn(clash: Clash) -> str:
    from fitgraph.report.whole_rules import drawing  # a terminal shows none

    return drawing(clash)


def _conflicts(conflicts: Sequence[Conflict], catalogue: Catalogue, hints: Hints) -> list[Block]:
    """Return the minimal conflicts, a sentence and the joints' reasons each, with drawings."""
    pieces: list[Block] = []
    told: set[str] = set()
    for conflict in conflicts[:_CONFLICTS]:
        pieces.append(Say(conflict_text(conflict, catalogue), deep=1))
        for clash in conflict.clashes:
            whole = clash_text(clash, catalogue)
            if whole not in told:
                pieces += joint_told(clash, catalogue, deep=2, named=conflict.parts)
            told.add(whole)
    if (more := len(conflicts) - _CONFLICTS) > 0:
        pieces.append(Say(f"{more:,} more with {hints.rest}", Tone.QUIET, deep=1))
    return pieces


def changes(found: Explanation, catalogue: Catalogue, prefer: Prefer, hints: Hints) -> Report:
    """Return the first changes that make it fit, for people."""
    listed = found.changes[:CHANGES]
    if not listed:
        return Report("", (Section(NO_CHANGE, ()),))
    more = len(found.changes) - len(listed)
    title = f"Smallest changes, {_FIRST[prefer]}"
    title += f" ({more} more with {hints.rest})" if more else ""
    table = changes_shown(listed, catalogue)
    return Report("", (Section(title, (table,)),), change_cautions(listed, catalogue))


def report(found: Explanation, catalogue: Catalogue, prefer: Prefer, hints: Hints) -> Report:
    """Return the answer for people."""
    pieces: list[Block] = []
    if found.minimal_conflicts:
        pieces += _conflicts(found.minimal_conflicts, catalogue, hints)
    else:
        for clash in found.conflicts:
            pieces += joint_told(clash, catalogue)
    if not found.complete:
        some = found.conflicts or found.minimal_conflicts or found.changes
        pieces.append(Say(_INCOMPLETE if some else _VERDICT_ALONE, Tone.QUIET, deep=1))
    if found.joints:
        joints: list[Block] = [_joints_table(found.joints)]
        if found.assembly is not None and 0 < found.assembly.share < 1:
            joints.append(Say(assembly_text(found.assembly), deep=1))
        pieces.append(Section("Joints between these parts", tuple(joints)))
    pieces += grip(found)
    if found.verdict is not Verdict.FITS:
        pieces += changes(found, catalogue, prefer, hints).blocks
    if found.needs:
        pieces.append(Section("To be complete it needs", (needs(found, catalogue),)))
    pieces += not_needed(found, catalogue)
    told = cautions(found, found.changes[:CHANGES], catalogue)
    return Report(HEADLINES[found.verdict], tuple(pieces), told, found.verdict)
