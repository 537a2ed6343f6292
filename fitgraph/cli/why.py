"""``fitgraph why``: whether parts fit together, why not, and what would change that."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder
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
from fitgraph.units import major, show_length, show_money

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.explain import Action, Change, Clash, Explanation, Need
    from fitgraph.graph.hold import Hold

#: The verdict on a whole combination, as the first words of an answer.
HEADLINES = {
    Verdict.FITS: "Fits.",
    Verdict.FAILS: "Does not fit.",
    Verdict.UNKNOWN: "Cannot be told yet.",
}

#: Changes and stock numbers listed for people; JSON has them all.
_CHANGES, _PARTS = 6, 5


def services_of(action: Action) -> tuple[str, ...]:
    """Return the services that a step has done."""
    return tuple(s for s in action.after.services if s not in action.before.services)


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
        "role": action.role,
        "sku": None if part is None else part.sku,
        "instead_of": before.sku if put is not None and before is not None else None,
        "service": " + ".join(done) if done else None,
        "text": action_text(action, catalogue),
    }


def _joint_json(clash: Clash) -> dict[str, Any]:
    return {
        "parts": list(clash.parts),
        "joint": clash.joint.name,
        "title": clash.joint.title,
        "rule": clash.joint.rule,
        "verdict": clash.verdict.word,
        "margin_mm": number(clash.margin_mm),
    }


def hold_of(found: Explanation) -> Hold | None:
    """Return how hard the bolts hold; of parts that do not fit it would say nothing true."""
    return None if found.verdict is Verdict.FAILS else found.hold


def cautions_of(found: Explanation, changes: Iterable[Change], catalogue: Catalogue) -> list[str]:
    """Return the cautions that travel with an explanation that tells these changes."""
    tightening = cautions_on(catalogue.vocabulary, ["torque"] if hold_of(found) else [])
    return list(dict.fromkeys([*tightening, *cautions_for(changes, catalogue)]))


def _hold_json(hold: Hold | None) -> dict[str, Any] | None:
    from fitgraph.explain import hold_text

    if hold is None:
        return None
    return {
        "thread": hold.thread,
        "bolts": hold.bolts,
        "torque_nm": number(hold.torque_nm),
        "slips_at_nm": [number(moment) for moment in hold.grip.torque_nm],
        "slot_closes": bool(hold.closes),
        "springs_back": bool(hold.elastic),
        "text": hold_text(hold),
    }


def as_json(found: Explanation, catalogue: Catalogue) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    from fitgraph.explain import clash_text

    vocabulary = catalogue.vocabulary
    return {
        "verdict": found.verdict.word,
        "named": list(found.named),
        "conflicts": [
            {**_joint_json(c), "reason": clash_text(c, catalogue)} for c in found.conflicts
        ],
        "fixes": [
            {
                "actions": [_action_json(a, catalogue) for a in change.actions],
                "price": major(change.price, vocabulary.minor_digits),
                "mass_change_g": number(change.mass_change_g),
                "alternatives": change.alternatives,
            }
            for change in found.changes
        ],
        "needs": [{"role": n.role, "parts": list(n.parts)} for n in found.needs],
        "joints": [_joint_json(c) for c in found.joints],
        "remarks": [{**_joint_json(c), "reason": clash_text(c, catalogue)} for c in found.remarks],
        "hold": _hold_json(hold_of(found)),
        "currency": vocabulary.currency,
        "cautions": cautions_of(found, found.changes, catalogue),
    }


def reasons(clashes: Sequence[Clash], catalogue: Catalogue) -> list[RenderableType]:
    """Return the clashing joints, a paragraph each."""
    from rich.padding import Padding

    from fitgraph.explain import clash_text

    return [Padding(styled(clash_text(c, catalogue)), (0, 0, 0, 2)) for c in clashes]


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
    """Return changes with what they cost and weigh, a row each."""
    from rich.table import Table

    vocabulary = catalogue.vocabulary
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("  price", justify="right", no_wrap=True)
    table.add_column("mass", justify="right", no_wrap=True)
    table.add_column("change", overflow="fold")
    for change in changes:
        price = show_money(change.price, vocabulary.currency, vocabulary.minor_digits)
        text = change_text(change, catalogue, ways=ways)
        table.add_row(styled(f"  {price}"), mass_change(change.mass_change_g), styled(text))
    return table


def _joints_table(joints: Sequence[Clash]) -> RenderableType:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("  joint", overflow="fold")
    table.add_column("verdict")
    table.add_column("margin", justify="right", no_wrap=True)
    table.add_column("rule", overflow="fold")
    for clash in joints:
        margin = number(clash.margin_mm)
        shown = "" if margin is None else show_length(margin).replace("-", "\N{MINUS SIGN}")
        table.add_row(
            styled(f"  {clash.joint.title}"), clash.verdict.word, shown, styled(clash.joint.rule)
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


def _lines(found: Explanation, catalogue: Catalogue) -> list[RenderableType]:
    from rich.padding import Padding

    from fitgraph.explain import hold_text

    pieces: list[RenderableType] = [styled(HEADLINES[found.verdict], "bold")]
    pieces += reasons(found.conflicts, catalogue)
    if found.joints:
        pieces += ["", styled("Joints between these parts", "dim"), _joints_table(found.joints)]
    if (hold := hold_of(found)) is not None:
        pieces += ["", styled("Grip, by comparison", "dim")]
        pieces.append(Padding(styled(hold_text(hold)), (0, 0, 0, 2)))
    listed = found.changes[:_CHANGES]
    if found.verdict is not Verdict.FITS:
        more = len(found.changes) - len(listed)
        title = "Smallest changes, cheapest first" + (f" ({more} more with --json)" if more else "")
        if listed:
            pieces += ["", styled(title, "dim"), changes_table(listed, catalogue)]
        else:
            pieces += ["", styled("No small change in this catalogue makes it fit.", "dim")]
    if found.needs:
        pieces += ["", styled("To be complete it needs", "dim")]
        pieces += [_needs_table(found.needs, catalogue)]
    if found.remarks:
        pieces += ["", styled("Not needed", "dim"), *reasons(found.remarks, catalogue)]
    return pieces + caution_lines(cautions_of(found, listed, catalogue))


def why(
    skus: Annotated[list[str], typer.Argument(metavar="SKU", help="Parts, one a role.")],
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
) -> None:
    """Say whether parts fit, why not, and what would help."""
    from fitgraph.explain import Explainer

    loaded = read(catalogue)
    found = Explainer(loaded.catalogue).why(skus)
    if json:
        answer = as_json(found, loaded.catalogue)
        show_json({**answer, "findings": len(loaded.findings)})
    else:
        remark_findings(loaded, catalogue)
        show(*_lines(found, loaded.catalogue))
    raise typer.Exit(ANSWER if found.verdict is Verdict.FITS else NO)
