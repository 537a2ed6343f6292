"""``fitgraph graph``: the graph of fits, what it can be asked, and files of it."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import fitgraph
from fitgraph.cli.output import BadInputError, put_out, remark
from fitgraph.cli.shared_options import AsCsv, AsJson, CatalogueFolder, WhichTable, either

if TYPE_CHECKING:
    from fitgraph.shop import Answer


class WaysFirst(StrEnum):
    """Which paths come first."""

    SHORTEST = "shortest"
    CHEAPEST = "cheapest"
    MARGIN = "margin"


def graph(
    parts: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[SKU [SKU]]", help="A part as with --around, or two as with --path."
        ),
    ] = None,
    catalogue: CatalogueFolder = None,
    path: Annotated[
        tuple[str, str] | None,
        typer.Option("--path", metavar="A B", help="All paths from one part to another."),
    ] = None,
    around: Annotated[
        str | None, typer.Option("--around", metavar="SKU", help="What is around a part.")
    ] = None,
    bridges: Annotated[
        bool, typer.Option("--bridges", help="What splits the trade if it goes.")
    ] = False,
    hubs: Annotated[
        bool, typer.Option("--hubs", help="What most paths between owned parts lead through.")
    ] = False,
    families: Annotated[
        bool, typer.Option("--families", help="Parts that mate among themselves.")
    ] = False,
    islands: Annotated[bool, typer.Option("--islands", help="What mates with nothing.")] = False,
    near_misses: Annotated[
        str | None,
        typer.Option("--near-misses", metavar="MM", help="Pairs that fail by no more than this."),
    ] = None,
    diff: Annotated[
        str | None,
        typer.Option(
            "--diff", metavar="OTHER", help="What changed since a day, or against another folder."
        ),
    ] = None,
    export: Annotated[
        Path | None,
        typer.Option(
            "--export", metavar="FILE", help="Write it: .graphml, .json, .jsonld or .svg."
        ),
    ] = None,
    steps: Annotated[
        int, typer.Option(metavar="N", min=1, max=20, help="With --around: how far to go.")
    ] = 1,
    between: Annotated[
        int, typer.Option(metavar="N", min=0, max=4, help="With --path: most parts between.")
    ] = 2,
    any_part: Annotated[
        bool, typer.Option("--any-part", help="With --path: not only adapters between.")
    ] = False,
    first: Annotated[
        WaysFirst, typer.Option(help="With --path: which paths come first.")
    ] = WaysFirst.SHORTEST,
    in_stock: Annotated[bool, typer.Option("--in-stock", help="Only the parts in stock.")] = False,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Ask the graph of parts and interfaces, or write it to a file."""
    match parts or []:
        case []:
            pass
        case [sku]:
            around = either(sku, around, "--around")
        case [sku, other]:
            path = either((sku, other), path, "--path")
        case named:
            raise BadInputError(f"{', '.join(named)}: name one part to look around, or two")
    shop = fitgraph.open(catalogue)
    asked: dict[str, Callable[[], Answer]] = {}
    if path is not None:
        asked["--path"] = lambda: shop.paths(
            *path, between=between, any_part=any_part, first=first.value
        )
    if around is not None:
        asked["--around"] = lambda: shop.around(around, steps, in_stock=in_stock)
    if bridges:
        asked["--bridges"] = lambda: shop.bridges(in_stock=in_stock)
    if hubs:
        asked["--hubs"] = lambda: shop.hubs(in_stock=in_stock)
    if families:
        asked["--families"] = lambda: shop.families(in_stock=in_stock)
    if islands:
        asked["--islands"] = lambda: shop.islands(in_stock=in_stock)
    if near_misses is not None:
        asked["--near-misses"] = lambda: shop.near_misses(near_misses)
    if diff is not None:
        asked["--diff"] = lambda: shop.diff(diff)
    if len(asked) > 1:
        raise BadInputError(f"ask one question at a time: {' or '.join(asked)}")
    if asked and export is not None:
        raise BadInputError(f"--export writes the whole graph; leave {next(iter(asked))} out")
    whole = shop.map(in_stock=in_stock) if not asked else None
    if whole is not None and export is not None:
        remark(f"written: {whole.save(export).name}")
    answer = next(iter(asked.values()))() if whole is None else whole
    put_out(answer, shop, json=json, csv=csv, table=table)
