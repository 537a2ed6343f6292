"""``fitgraph measure``: what the stock room should measure next, and what that settles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder
from fitgraph.cli.output import ANSWER, NO, number, show, show_json, styled
from fitgraph.cli.reading import read, remark_findings
from fitgraph.model import Catalogue

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.explain.measure import Measurement

#: Outcomes listed for people; JSON has them all.
_OUTCOMES = 3


def as_json(found: Measurement, catalogue: Catalogue) -> dict[str, Any]:
    """Return a measurement in the shape that docs/commands.md describes."""
    from fitgraph.explain.words_rider import how_text, measurement_text

    return {
        "sku": found.sku,
        "role": found.role,
        "feature": found.feature,
        "dimension": found.dimension,
        "known": found.known,
        "how": how_text(catalogue, found),
        "open_builds": found.open_builds,
        "expected": number(float(found.expected)),
        "with_rest": number(float(found.with_rest)),
        "rest": [{"feature": f, "dimension": d} for f, d in found.rest],
        "outcomes": [
            {
                "share": number(float(o.share)),
                "values": list(o.values),
                "certain": o.certain,
                "impossible": o.impossible,
            }
            for o in found.outcomes
        ],
        "text": measurement_text(catalogue, found),
    }


def _lines(
    found: list[Measurement], left: int, catalogue: Catalogue, names: list[str]
) -> list[RenderableType]:
    from rich.padding import Padding

    from fitgraph.explain.words_rider import figure_text, how_text, measurement_text, outcome_text

    about = f" about {', '.join(names)}" if names else ""
    if not found:
        return [styled(f"No measurement settles anything{about}.", "bold")]
    pieces: list[RenderableType] = [
        styled(f"To measure{about}, what settles most builds first", "bold")
    ]
    for n, m in enumerate(found, start=1):
        title = figure_text(catalogue, m.role, m.feature, m.dimension)
        again = " (again, closer)" if m.known else ""
        part = catalogue.parts[m.sku]
        pieces += ["", styled(f"{n:>3}  {m.sku}  {title}{again}", "bold")]
        held = f", {part.stock} in stock" if part.stock else ", none in stock"
        lines = [f"{part.name}{held}", how_text(catalogue, m), measurement_text(catalogue, m)]
        lines += [outcome_text(o) for o in m.outcomes[:_OUTCOMES]]
        pieces += [Padding(styled(line), (0, 0, 0, 5)) for line in lines]
    if left:
        pieces += ["", styled(f"{left:,} more: --limit, or --json", "dim")]
    return pieces


def measure(
    skus: Annotated[
        list[str] | None,
        typer.Argument(metavar="[SKU]...", help="Parts that the builds have.  [default: all]"),
    ] = None,
    limit: Annotated[int, typer.Option("--limit", min=1, help="How many to list.")] = 10,
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
) -> None:
    """List what to measure next, and how many builds that settles."""
    from fitgraph.explain.measure import Measurer
    from fitgraph.solve import Request

    loaded = read(catalogue)
    names = list(dict.fromkeys(skus or []))
    ranked = Measurer(loaded.catalogue).rank(Request(have=tuple(names)))
    found = ranked[:limit]
    if json:
        show_json(
            {
                "named": names,
                "measurements": [as_json(m, loaded.catalogue) for m in found],
                "more": len(ranked) - len(found),
                "findings": len(loaded.findings),
            }
        )
    else:
        remark_findings(loaded, catalogue)
        show(*_lines(found, len(ranked) - len(found), loaded.catalogue, names))
    raise typer.Exit(ANSWER if found else NO)
