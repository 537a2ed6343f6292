"""``fitgraph builds``, ``why`` and ``compare``: what fits, and why the rest does not."""

from __future__ import annotations

from typing import Annotated

import typer

import fitgraph
from fitgraph.cli.output import put_out
from fitgraph.cli.shared_options import (
    AimOption,
    AsCsv,
    AsJson,
    Budget,
    CatalogueFolder,
    Have,
    InStock,
    Material,
    MaxMass,
    Services,
    Sort,
    Want,
    WhichTable,
    Wish,
    WorkOn,
)

#: More builds than this are a job for the package, not for a list.
MOST_LISTED = 1000


def builds(
    owned: Annotated[
        list[str] | None, typer.Argument(metavar="[SKU]...", help="Parts you own, as with --have.")
    ] = None,
    catalogue: CatalogueFolder = None,
    have: Have = None,
    want: Want = None,
    budget: Budget = None,
    max_mass: MaxMass = None,
    material: Material = None,
    in_stock: InStock = False,
    services: Services = WorkOn.OWNED,
    sort: Annotated[Sort, typer.Option(help="What comes first.")] = Sort.PRICE,
    limit: Annotated[
        int, typer.Option(metavar="K", min=0, max=MOST_LISTED, help="How many builds to list.")
    ] = 5,
    ways: Annotated[
        int, typer.Option(metavar="K", min=0, max=MOST_LISTED, help="How many ways to list.")
    ] = 8,
    open_: Annotated[
        int | None, typer.Option("--open", metavar="N", min=1, help="List the fillings of way N.")
    ] = None,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Count the builds that fit, and list the first."""
    shop = fitgraph.open(catalogue)
    answer = shop.builds(
        [*(owned or ()), *(have or ())],
        want=want,
        budget=budget,
        max_mass_g=max_mass,
        material=material,
        in_stock=in_stock,
        services=services.value,
        sort=sort.value,
        limit=limit,
        ways=ways,
    )
    if open_ is not None:
        answer = answer.open(open_, limit=limit)
    put_out(answer, shop, json=json, csv=csv, table=table)


def exchange(
    role: Annotated[str, typer.Argument(metavar="ROLE", help="The role in question.")],
    skus: Annotated[
        list[str], typer.Argument(metavar="SKU...", help="What stays, and what is replaced.")
    ],
    catalogue: CatalogueFolder = None,
    aim: Annotated[
        AimOption, typer.Option(help="What it is to be, against the old one.")
    ] = AimOption.ANY,
    budget: Budget = None,
    material: Material = None,
    in_stock: InStock = False,
    sort: Annotated[
        Sort | None, typer.Option(help="What comes first.  [default: what goes with the aim]")
    ] = None,
    limit: Annotated[
        int, typer.Option(metavar="K", min=0, max=MOST_LISTED, help="How many to list.")
    ] = 8,
    ends: Annotated[
        bool, typer.Option("--ends", help="Keep room for the cheapest, lightest, strongest.")
    ] = False,
    services: Services = WorkOn.OWNED,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """List what could be taken for a part, with the rest kept."""
    shop = fitgraph.open(catalogue)
    answer = shop.exchange(
        role,
        *skus,
        aim=aim.value,
        budget=budget,
        material=material,
        in_stock=in_stock,
        sort=None if sort is None else sort.value,
        limit=limit,
        ends=ends,
        services=services.value,
    )
    put_out(answer, shop, json=json, csv=csv, table=table)


def why(
    skus: Annotated[
        list[str] | None, typer.Argument(metavar="SKU", help="Parts you have, one a role.")
    ] = None,
    catalogue: CatalogueFolder = None,
    budget: Budget = None,
    max_mass: MaxMass = None,
    material: Material = None,
    in_stock: InStock = False,
    prefer: Annotated[Wish, typer.Option(help="Which changes come first.")] = Wish.OWNED,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Say whether parts fit, why not, and what would help."""
    limits = (budget, max_mass, material)
    if not skus and not in_stock and all(limit is None for limit in limits):
        raise typer.BadParameter("name the parts to ask about, or a limit", param_hint="'SKU...'")
    shop = fitgraph.open(catalogue)
    answer = shop.why(
        *(skus or ()),
        budget=budget,
        max_mass_g=max_mass,
        material=material,
        in_stock=in_stock,
        prefer=prefer.value,
    )
    put_out(answer, shop, json=json, csv=csv, table=table)


def compare(
    one: Annotated[str, typer.Argument(metavar="A", help="A part, or parts joined by commas.")],
    other: Annotated[str, typer.Argument(metavar="B", help="The same to compare with.")],
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Put two parts of a role, or two builds, side by side."""
    sides = [[s.strip() for s in text.split(",") if s.strip()] for text in (one, other)]
    shop = fitgraph.open(catalogue)
    put_out(shop.compare(*sides), shop, json=json, csv=csv, table=table)
