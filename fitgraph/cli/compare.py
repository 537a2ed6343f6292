"""``fitgraph compare``: two parts or two builds side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder
from fitgraph.cli.output import (
    ANSWER,
    BadInputError,
    caution_lines,
    cautions_on,
    number,
    show,
    show_json,
    styled,
)
from fitgraph.cli.reading import read, remark_findings
from fitgraph.model import Catalogue
from fitgraph.units import major, show_mass, show_money

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

    from fitgraph.explain.compare import ComparedBuilds, ComparedParts, Mates, Side, Totals


def _totals_json(totals: Totals, catalogue: Catalogue) -> dict[str, Any]:
    digits = catalogue.vocabulary.minor_digits
    return {
        "price": None if totals.price is None else major(totals.price, digits),
        "mass_g": number(totals.mass_g),
        "strength_nm": number(totals.strength_nm),
        "builds": totals.builds,
        "possible": totals.possible,
    }


def _side_json(side: Side) -> dict[str, Any]:
    from fitgraph.explain.words_rider import side_text

    return {
        "there": ("no", "unknown", "yes")[int(side.presence)],
        "lo_mm": number(side.size.lo) if side.size is not None else None,
        "hi_mm": number(side.size.hi) if side.size is not None else None,
        "basis": side.size.basis.word if side.size is not None else None,
        "word": side.word.value if side.word is not None else None,
        "text": side_text(side),
    }


def _mates_json(mates: Mates) -> dict[str, Any]:
    return {"fits": list(mates.fits), "unknown": list(mates.unknown), "fails": list(mates.fails)}


def parts_json(found: ComparedParts, catalogue: Catalogue) -> dict[str, Any]:
    """Return two parts in the shape that docs/commands.md describes."""
    from fitgraph.explain.words_rider import opened_text

    names = found.parts[0].sku, found.parts[1].sku
    return {
        "compared": "parts",
        "role": found.parts[0].role,
        "sides": [
            {"sku": p.sku, "name": p.name, "material": p.material, "stock": p.stock}
            | _totals_json(t, catalogue)
            for p, t in zip(found.parts, found.totals, strict=True)
        ],
        "figures": [
            {
                "feature": d.feature,
                "dimension": d.dimension,
                "same": d.same,
                "sides": [_side_json(s) for s in d.sides],
            }
            for d in found.differences
        ],
        "joints": [
            {
                "joint": o.joint.name,
                "title": o.joint.title,
                "role": o.role,
                "sides": [_mates_json(m) for m in o.mates],
                "only": [list(o.opens(0)), list(o.opens(1))],
                "text": opened_text(catalogue, o, names),
            }
            for o in found.joints
        ],
    }


def builds_json(found: ComparedBuilds, catalogue: Catalogue) -> dict[str, Any]:
    """Return two builds in the shape that docs/commands.md describes."""
    from fitgraph.explain import clash_text

    return {
        "compared": "builds",
        "sides": [
            {
                "named": list(named),
                "verdict": answer.verdict.word,
                "conflicts": [clash_text(c, catalogue) for c in answer.conflicts],
            }
            | _totals_json(totals, catalogue)
            for named, answer, totals in zip(found.named, found.answers, found.totals, strict=True)
        ],
        "roles": {role: list(pair) for role, pair in found.roles.items()},
        "joints": [
            {
                "joint": j.joint.name,
                "title": j.joint.title,
                "same": j.same,
                "sides": [
                    None
                    if c is None
                    else {"verdict": c.verdict.word, "margin_mm": number(c.margin_mm)}
                    for c in j.sides
                ],
            }
            for j in found.joints
        ],
    }


def _table(*heads: str) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for head in heads:
        table.add_column(head, overflow="fold")
    return table


def _totals_rows(table: Table, totals: tuple[Totals, Totals], catalogue: Catalogue) -> None:
    vocabulary = catalogue.vocabulary

    def row(title: str, *values: str) -> None:
        table.add_row(styled(f"  {title}"), *(styled(v) for v in values))

    row(
        "price",
        *(
            "none"
            if t.price is None
            else show_money(t.price, vocabulary.currency, vocabulary.minor_digits)
            for t in totals
        ),
    )
    row("mass", *("unknown" if t.mass_g is None else show_mass(t.mass_g) for t in totals))
    if any(t.strength_nm is not None for t in totals):
        row(
            "strength",
            *("unknown" if t.strength_nm is None else f"{t.strength_nm:.0f} N·m" for t in totals),
        )
    row("leads to, certain", *(f"{t.builds:,} builds" for t in totals))
    row("leads to, possible", *(f"{t.possible:,} builds" for t in totals))


def _caution(totals: tuple[Totals, Totals], catalogue: Catalogue) -> list[str]:
    compared = any(t.strength_nm is not None for t in totals)
    return cautions_on(catalogue.vocabulary, ["strength"] if compared else [])


def _part_lines(found: ComparedParts, catalogue: Catalogue) -> list[RenderableType]:
    from rich.padding import Padding

    from fitgraph.explain.words_rider import difference_title, opened_text, side_text

    names = found.parts[0].sku, found.parts[1].sku
    table = _table("", *names)
    table.add_row(styled("  name"), *(styled(p.name) for p in found.parts))
    if any(p.material for p in found.parts):
        table.add_row(styled("  material"), *(styled(p.material or "unknown") for p in found.parts))
    table.add_row(styled("  in stock"), *(styled(str(p.stock)) for p in found.parts))
    _totals_rows(table, found.totals, catalogue)
    same = 0
    for difference in found.differences:
        if difference.same:
            same += 1
            continue
        table.add_row(
            styled(f"  {difference_title(difference)}"),
            *(styled(side_text(s)) for s in difference.sides),
        )
    pieces: list[RenderableType] = [table]
    if same:
        pieces.append(styled(f"  {same} more figures are the same.", "dim"))
    telling = [o for o in found.joints if o.opens(0) or o.opens(1)]
    if telling:
        pieces += ["", styled("Joints that one opens and the other does not", "dim")]
        pieces += [Padding(styled(opened_text(catalogue, o, names)), (0, 0, 0, 2)) for o in telling]
    else:
        pieces += ["", styled("Both fit the same counterparts.", "dim")]
    return pieces + caution_lines(_caution(found.totals, catalogue))


def _build_lines(found: ComparedBuilds, catalogue: Catalogue) -> list[RenderableType]:
    from rich.padding import Padding

    from fitgraph.cli.why import HEADLINES
    from fitgraph.explain import clash_text

    table = _table("", "first", "second")
    table.add_row(styled("  verdict"), *(styled(HEADLINES[a.verdict]) for a in found.answers))
    _totals_rows(table, found.totals, catalogue)
    for role, pair in found.roles.items():
        title = catalogue.vocabulary.roles[role].title
        table.add_row(styled(f"  {title}"), *(styled(sku or "any") for sku in pair))
    pieces: list[RenderableType] = [table]
    joints = _table("  joint", "first", "second")
    differing = [j for j in found.joints if not j.same]
    for j in differing:
        joints.add_row(
            styled(f"  {j.joint.title}"),
            *("not there" if c is None else c.verdict.word for c in j.sides),
        )
    if differing:
        pieces += ["", styled("Joints in which they differ", "dim"), joints]
    else:
        pieces += ["", styled("Every joint between the named parts stands alike in both.", "dim")]
    for word, answer in zip(("first", "second"), found.answers, strict=True):
        if answer.conflicts:
            pieces += ["", styled(f"Why the {word} does not hold", "dim")]
            pieces += [
                Padding(styled(clash_text(c, catalogue)), (0, 0, 0, 2)) for c in answer.conflicts
            ]
    return pieces + caution_lines(_caution(found.totals, catalogue))


def compare(
    one: Annotated[str, typer.Argument(metavar="A", help="A part, or parts joined by commas.")],
    other: Annotated[str, typer.Argument(metavar="B", help="The same to compare with.")],
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
) -> None:
    """Put two parts of a role, or two builds, side by side."""
    from fitgraph.explain.compare import Comparer

    loaded = read(catalogue)
    sides = [[s.strip() for s in text.split(",") if s.strip()] for text in (one, other)]
    if not all(sides):
        raise BadInputError("there is nothing to compare; name a part, or parts joined by commas")
    comparer = Comparer(loaded.catalogue)
    parts: ComparedParts | None = None
    builds: ComparedBuilds | None = None
    if all(len(side) == 1 for side in sides):
        parts = comparer.parts(sides[0][0], sides[1][0])
    else:
        builds = comparer.builds(*sides)
    totals = parts.totals if parts is not None else builds.totals if builds is not None else None
    if json:
        answer = (
            parts_json(parts, loaded.catalogue)
            if parts is not None
            else builds_json(builds, loaded.catalogue)
            if builds is not None
            else {}
        )
        show_json(
            {
                **answer,
                "currency": loaded.catalogue.vocabulary.currency,
                "cautions": _caution(totals, loaded.catalogue) if totals is not None else [],
                "findings": len(loaded.findings),
            }
        )
    else:
        remark_findings(loaded, catalogue)
        if parts is not None:
            show(*_part_lines(parts, loaded.catalogue))
        elif builds is not None:
            show(*_build_lines(builds, loaded.catalogue))
    raise typer.Exit(ANSWER)
