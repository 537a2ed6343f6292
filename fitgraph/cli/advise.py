"""``fitgraph advise``: which material for whom, with the trade's rule of thumb."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder
from fitgraph.cli.output import (
    ANSWER,
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

    from fitgraph.explain.advice import FamilyAdvice, RiderAdvice


def _family_json(found: FamilyAdvice, catalogue: Catalogue) -> dict[str, Any]:
    from fitgraph.explain.words_rider import family_text

    digits = catalogue.vocabulary.minor_digits
    corner = found.corner
    return {
        "family": found.family,
        "worth": number(found.worth),
        "reaches": list(corner.reaches),
        "parts": corner.parts,
        "median": {
            "mass_g": number(corner.mass_g),
            "strength_nm": number(corner.strength_nm),
            "price": major(round(corner.price), digits),
        },
        "tubes": [
            {
                "kind": t.kind or None,
                "parts": t.parts,
                "sizes_mm": {w: [number(lo), number(hi)] for w, (lo, hi) in t.sizes.items()},
                "wall_mm": number(t.wall_mm),
            }
            for t in found.tubes
        ],
        "best": [
            {
                "sku": f.sku,
                "mass_g": number(f.mass_g),
                "strength_nm": number(f.strength_nm),
                "price": major(f.price, digits),
                "stock": catalogue.parts[f.sku].stock,
            }
            for f in found.best
        ],
        "text": family_text(catalogue, found),
    }


def as_json(found: RiderAdvice, catalogue: Catalogue) -> dict[str, Any]:
    """Return the advice in the shape that docs/commands.md describes."""
    from fitgraph.explain.words_rider import advice_text

    return {
        "style": found.style.name or None,
        "broken": found.broken,
        "weights": {
            "light": number(found.style.light),
            "strong": number(found.style.strong),
            "affordable": number(found.style.affordable),
        },
        "families": [_family_json(f, catalogue) for f in found.families],
        "rule": found.rule,
        "text": advice_text(catalogue, found),
        "currency": catalogue.vocabulary.currency,
        "cautions": cautions_on(catalogue.vocabulary, ["strength"]),
    }


def _lines(found: RiderAdvice, catalogue: Catalogue) -> list[RenderableType]:
    from rich.padding import Padding
    from rich.table import Table

    from fitgraph.explain.words_rider import advice_text, family_text

    vocabulary = catalogue.vocabulary
    pieces: list[RenderableType] = [styled(advice_text(catalogue, found), "bold")]
    for family in found.families:
        pieces += ["", Padding(styled(family_text(catalogue, family)), (0, 0, 0, 2))]
        table = Table.grid(padding=(0, 2, 0, 0))
        for _ in range(6):
            table.add_column(no_wrap=True)
        for figures in family.best:
            part = catalogue.parts[figures.sku]
            price = show_money(figures.price, vocabulary.currency, vocabulary.minor_digits)
            held = f"{part.stock} in stock" if part.stock else "sold out"
            strength = f"{figures.strength_nm:.0f} N·m"
            cells = [f"    {figures.sku}", part.name, show_mass(figures.mass_g), strength]
            table.add_row(*(styled(c) for c in [*cells, price, held]))
        pieces.append(table)
    return pieces + caution_lines(cautions_on(vocabulary, ["strength"]))


def advise(
    style: Annotated[
        str | None,
        typer.Option("--style", metavar="STYLE", help="How somebody rides.  [default: any way]"),
    ] = None,
    broken: Annotated[
        bool, typer.Option("--broken", help="The rider has broken such parts before.")
    ] = False,
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
) -> None:
    """Say which material suits a way of riding, and why."""
    from fitgraph.explain.advice import advise as advised

    loaded = read(catalogue)
    found = advised(loaded.catalogue, style, broken=broken)
    if json:
        show_json({**as_json(found, loaded.catalogue), "findings": len(loaded.findings)})
    else:
        remark_findings(loaded, catalogue)
        show(*_lines(found, loaded.catalogue))
    raise typer.Exit(ANSWER)
