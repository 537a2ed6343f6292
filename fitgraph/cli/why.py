"""``fitgraph why``: whether parts fit together, why not, and what would change that."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder, read_budget, read_mass
from fitgraph.cli.output import (
    ANSWER,
    NO,
    caution_lines,
    cautions_on,
    mass_change,
    number,
    show,
    show_json,
    styled,
)
from fitgraph.cli.reading import read, remark_findings
from fitgraph.model import Catalogue, Verdict
from fitgraph.units import major, show_length, show_mass, show_money

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.explain import Action, Change, Clash, Conflict, Explanation, Need
    from fitgraph.graph.hold import Hold

#: The verdict on a whole combination, as the first words of an answer.
HEADLINES = {
    Verdict.FITS: "Fits.",
    Verdict.FAILS: "Does not fit.",
    Verdict.UNKNOWN: "Cannot be told yet.",
}

#: Conflicts, changes and stock numbers listed for people; JSON has them all.
_CONFLICTS, _CHANGES, _PARTS = 3, 6, 5


class Wish(StrEnum):
    """What the person who asks would rather keep low; a price, a mass, work, new parts."""

    PRICE = "price"
    MASS = "mass"
    WORK = "work"
    OWNED = "owned"


#: How the list of changes is headed, by what comes first.
_FIRST = {
    Wish.PRICE: "cheapest first",
    Wish.MASS: "lightest first",
    Wish.WORK: "least work first",
    Wish.OWNED: "what keeps your parts first",
}


def services_of(action: Action) -> tuple[str, ...]:
    """Return the services that a step has done."""
    return action.services


def cautions_for(changes: Iterable[Change], catalogue: Catalogue) -> list[str]:
    """Return the cautions on the work that changes ask for."""
    vocabulary = catalogue.vocabulary
    return cautions_on(
        vocabulary,
        (
            vocabulary.services[s].caution
            for change in changes
            for action in change.actions
            for s in services_of(action)
        ),
    )


def _action_json(action: Action, catalogue: Catalogue) -> dict[str, Any]:
    from fitgraph.explain import action_text

    before, after = action.before.part, action.after.part
    put = after if after is not None and after != before else None
    done = services_of(action)
    part = before if put is None else put
    return {
        "do": action.kind,
        "role": action.role or None,
        "sku": None if part is None else part.sku,
        "instead_of": before.sku if put is not None and before is not None else None,
        "service": " + ".join(done) if done else None,
        "text": action_text(action, catalogue),
    }


def _joint_json(clash: Clash, catalogue: Catalogue) -> dict[str, Any]:
    from fitgraph.explain import chance_of, share_of_pairs

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


def _fix_json(change: Change, catalogue: Catalogue) -> dict[str, Any]:
    digits = catalogue.vocabulary.minor_digits
    fix = {
        "actions": [_action_json(a, catalogue) for a in change.actions],
        "price": major(change.price, digits),
        "mass_change_g": number(change.mass_change_g),
        "minutes": number(change.minutes),
        "height_change_mm": number(change.height_change_mm),
        "alternatives": change.alternatives,
    }
    if change.build_price is None:
        return fix
    return fix | {
        "build_price": major(change.build_price, digits),
        "build_mass_g": number(change.build_mass_g),
        "build": {r: o.part.sku for r, o in change.build.items() if o.part is not None},
    }


def _conflict_json(conflict: Conflict, catalogue: Catalogue) -> list[dict[str, Any]]:
    from fitgraph.explain import element_text

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


def hold_of(found: Explanation) -> Hold | None:
    """Return how hard the bolts hold; of parts that do not fit it would say nothing true."""
    return None if found.verdict is Verdict.FAILS else found.hold


def cautions_of(found: Explanation, changes: Iterable[Change], catalogue: Catalogue) -> list[str]:
    """Return the cautions that travel with an explanation that tells these changes."""
    from fitgraph.explain import strain_texts

    held = hold_of(found)
    topics = [] if held is None else ["torque", *(topic for topic, _ in strain_texts(held))]
    tightening = cautions_on(catalogue.vocabulary, topics)
    return list(dict.fromkeys([*tightening, *cautions_for(changes, catalogue)]))


def _hold_json(hold: Hold | None) -> dict[str, Any] | None:
    from fitgraph.explain import hold_text, strain_texts

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


def as_json(found: Explanation, catalogue: Catalogue) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    from fitgraph.explain import clash_text, conflict_text

    vocabulary = catalogue.vocabulary
    return {
        "verdict": found.verdict.word,
        "named": list(found.named),
        "conflicts": [
            {**_joint_json(c, catalogue), "reason": clash_text(c, catalogue)}
            for c in found.conflicts
        ],
        "minimal_conflicts": [_conflict_json(c, catalogue) for c in found.minimal_conflicts],
        "sentences": [conflict_text(c, catalogue) for c in found.minimal_conflicts],
        "complete": found.complete,
        "fixes": [_fix_json(change, catalogue) for change in found.changes],
        "needs": [{"role": n.role, "parts": list(n.parts)} for n in found.needs],
        "joints": [_joint_json(c, catalogue) for c in found.joints],
        "remarks": [
            {**_joint_json(c, catalogue), "reason": clash_text(c, catalogue)} for c in found.remarks
        ],
        "hold": _hold_json(hold_of(found)),
        "assembly_share": number(None if found.assembly is None else found.assembly.share),
        "currency": vocabulary.currency,
        "cautions": cautions_of(found, found.changes, catalogue),
    }


def reasons(clashes: Sequence[Clash], catalogue: Catalogue) -> list[RenderableType]:
    """Return the clashing joints, a paragraph each."""
    from rich.padding import Padding

    from fitgraph.explain import clash_text

    return [Padding(styled(clash_text(c, catalogue)), (0, 0, 0, 2)) for c in clashes]


def _conflicts(conflicts: Sequence[Conflict], catalogue: Catalogue) -> list[RenderableType]:
    """Return the minimal conflicts, a sentence and the joint's reason each."""
    from rich.padding import Padding

    from fitgraph.explain import clash_text, conflict_text

    pieces: list[RenderableType] = []
    told: set[str] = set()
    for conflict in conflicts[:_CONFLICTS]:
        pieces.append(Padding(styled(conflict_text(conflict, catalogue)), (0, 0, 0, 2)))
        for clash in conflict.clashes:
            text = clash_text(clash, catalogue)
            if text not in told:
                pieces.append(Padding(styled(text), (0, 0, 0, 4)))
            told.add(text)
    if (more := len(conflicts) - _CONFLICTS) > 0:
        pieces.append(Padding(styled(f"{more:,} more with --json", "dim"), (0, 0, 0, 2)))
    return pieces


def change_text(change: Change, catalogue: Catalogue, *, ways: bool) -> str:
    """Return a change as one instruction, and in how many ways it can be done."""
    from fitgraph.explain import action_text

    text = "; ".join(action_text(a, catalogue) for a in change.actions)
    if ways and change.alternatives > 1:
        text += f" (one of {change.alternatives:,} ways)"
    return text


def changes_table(
    changes: Sequence[Change], catalogue: Catalogue, *, ways: bool = True
) -> RenderableType:
    """Return changes with what they cost and weigh, a row each.

    Of a request the whole build is told; of parts, what the change adds. Workshop time and
    height are told where some change has them.
    """
    from rich.table import Table

    vocabulary = catalogue.vocabulary
    whole = any(c.build_price is not None for c in changes)
    work, height = any(c.minutes for c in changes), any(c.height_change_mm for c in changes)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("  build" if whole else "  price", justify="right", no_wrap=True)
    table.add_column("mass", justify="right", no_wrap=True)
    if work:
        table.add_column("work", justify="right", no_wrap=True)
    if height:
        table.add_column("height", justify="right", no_wrap=True)
    table.add_column("change", overflow="fold")
    for change in changes:
        cost = change.price if change.build_price is None else change.build_price
        price = show_money(cost, vocabulary.currency, vocabulary.minor_digits)
        mass = change.build_mass_g
        row = [mass_change(change.mass_change_g)]
        if whole:
            row = ["?" if mass is None else show_mass(mass)]
        if work:
            row.append(f"{change.minutes:.0f} min" if change.minutes else "")
        if height:
            row.append(_height(change.height_change_mm))
        text = change_text(change, catalogue, ways=ways)
        table.add_row(styled(f"  {price}"), *map(styled, row), styled(text))
    return table


def _height(mm: float | None) -> str:
    if mm is None:
        return "?"
    return f"{mm:+.0f} mm".replace("-", "\N{MINUS SIGN}") if mm else ""


def _joints_table(joints: Sequence[Clash]) -> RenderableType:
    from rich.table import Table

    from fitgraph.explain import share_of_pairs

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("  joint", overflow="fold")
    table.add_column("verdict")
    table.add_column("margin", justify="right", no_wrap=True)
    table.add_column("pairs that fit", justify="right", no_wrap=True)
    table.add_column("rule", overflow="fold")
    for clash in joints:
        share = share_of_pairs(clash)
        margin = number(clash.margin_mm)
        shown = "" if margin is None else show_length(margin).replace("-", "\N{MINUS SIGN}")
        table.add_row(
            styled(f"  {clash.joint.title}"),
            clash.verdict.word,
            shown,
            "" if share is None else f"{share:.0%}",
            styled(clash.joint.rule),
        )
    return table


def _needs_table(needs: Sequence[Need], catalogue: Catalogue) -> RenderableType:
    from rich.table import Table

    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column()
    table.add_column(overflow="fold")
    for need in needs:
        listed = ", ".join(need.parts[:_PARTS])
        if len(need.parts) > _PARTS:
            listed += f" and {len(need.parts) - _PARTS:,} more"
        title = catalogue.vocabulary.roles[need.role].title
        table.add_row(styled(f"  {title}"), styled(listed))
    return table


def _lines(found: Explanation, catalogue: Catalogue, wish: Wish) -> list[RenderableType]:
    from rich.padding import Padding

    from fitgraph.explain import assembly_text, hold_text, strain_texts

    pieces: list[RenderableType] = [styled(HEADLINES[found.verdict], "bold")]
    if found.minimal_conflicts:
        pieces += _conflicts(found.minimal_conflicts, catalogue)
    else:
        pieces += reasons(found.conflicts, catalogue)
    if found.joints:
        pieces += ["", styled("Joints between these parts", "dim"), _joints_table(found.joints)]
    if found.assembly is not None and 0 < found.assembly.share < 1:
        pieces.append(Padding(styled(assembly_text(found.assembly)), (0, 0, 0, 2)))
    if (hold := hold_of(found)) is not None:
        pieces += ["", styled("Grip, by comparison", "dim")]
        for text in (hold_text(hold), *(text for _, text in strain_texts(hold))):
            pieces.append(Padding(styled(text), (0, 0, 0, 2)))
    listed = found.changes[:_CHANGES]
    if found.verdict is not Verdict.FITS:
        more = len(found.changes) - len(listed)
        title = f"Smallest changes, {_FIRST[wish]}"
        title += f" ({more} more with --json)" if more else ""
        if listed:
            pieces += ["", styled(title, "dim"), changes_table(listed, catalogue)]
        else:
            pieces += ["", styled("No change within this catalogue makes it fit.", "dim")]
    if found.needs:
        pieces += ["", styled("To be complete it needs", "dim")]
        pieces += [_needs_table(found.needs, catalogue)]
    if found.remarks:
        pieces += ["", styled("Not needed", "dim"), *reasons(found.remarks, catalogue)]
    return pieces + caution_lines(cautions_of(found, listed, catalogue))


def why(
    skus: Annotated[
        list[str] | None, typer.Argument(metavar="SKU", help="Parts you have, one a role.")
    ] = None,
    catalogue: CatalogueFolder = None,
    budget: Annotated[
        str | None, typer.Option(metavar="N", help="Most to pay for the rest, such as 250.")
    ] = None,
    max_mass: Annotated[
        str | None,
        typer.Option("--max-mass-g", metavar="N", help="Most the whole may weigh, such as 4200."),
    ] = None,
    material: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="A material or a family, such as titanium."),
    ] = None,
    in_stock: Annotated[
        bool, typer.Option("--in-stock", help="Only parts in stock, beside your own.")
    ] = False,
    prefer: Annotated[Wish, typer.Option(help="Which changes come first.")] = Wish.OWNED,
    json: AsJson = False,
) -> None:
    """Say whether parts fit, why not, and what would help."""
    from fitgraph.explain import Explainer, Prefer
    from fitgraph.solve import Request
    from fitgraph.solve.request import find_part

    loaded = read(catalogue)
    known = loaded.catalogue
    request = Request(
        have=tuple(find_part(known, sku).sku for sku in skus or ()),
        budget=read_budget(budget, known.vocabulary),
        max_mass_g=read_mass(max_mass),
        in_stock=in_stock,
        material=material,
    )
    explainer, wanted = Explainer(known), Prefer(prefer.value)
    limited = request != Request(have=request.have)
    if not (limited or skus):
        raise typer.BadParameter("name the parts to ask about, or a limit", param_hint="'SKU...'")
    found = explainer.why(request.have, with_changes=not limited, prefer=wanted)
    if limited:
        told = explainer.explain(request, prefer=wanted)
        clashes = {(c.joint.name, c.parts): c for x in told.conflicts for c in x.clashes}
        found = replace(
            found,
            verdict=told.verdict,
            conflicts=tuple(clashes.values()),
            minimal_conflicts=told.conflicts,
            changes=told.changes,
            complete=told.complete,
            needs=(),
        )
    if json:
        answer = as_json(found, known)
        show_json({**answer, "findings": len(loaded.findings)})
    else:
        remark_findings(loaded, catalogue)
        show(*_lines(found, known, prefer))
    raise typer.Exit(ANSWER if found.verdict is Verdict.FITS else NO)
