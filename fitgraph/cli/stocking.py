"""``fitgraph gaps``, ``restock`` and ``adapters``: what is missing, to order or to make."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import fitgraph
from fitgraph.cli.output import BadInputError, put_out, remark, screen
from fitgraph.cli.shared_options import (
    AsCsv,
    AsJson,
    CatalogueFolder,
    WhichTable,
    Workers,
    either,
)

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from fitgraph.shop.front import Progress

#: More parts than this are not chosen together.
MOST_TOGETHER = 20


def _pool(workers: int) -> AbstractContextManager[Executor | None]:
    if workers == 1:
        return nullcontext()
    from concurrent.futures import ProcessPoolExecutor  # late: it takes long to import

    return ProcessPoolExecutor(workers)


@contextmanager
def _telling(text: Callable[[int, int], str]) -> Iterator[Progress]:
    """Tell on the error stream how far a question is, on a terminal only."""
    with screen(error=True).status("asking") as status:
        yield lambda done, total: status.update(text(done, total))


@contextmanager
def _bar(title: str) -> Iterator[Progress | None]:
    """Show how far a scan is, on a terminal only."""
    console = screen(error=True)
    if not console.is_terminal:
        yield None
        return
    from rich.progress import Progress as Bar

    with Bar(console=console, transient=True) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def gaps(
    groups: Annotated[
        list[str] | None,
        typer.Argument(metavar="[NAME]...", help="What to group enquiries by, as with --by."),
    ] = None,
    catalogue: CatalogueFolder = None,
    by: Annotated[
        list[str] | None,
        typer.Option(
            "--by",
            metavar="NAME",
            help="Group enquiries by style, material, month or a group of the vocabulary; "
            "two make a matrix.",
        ),
    ] = None,
    limit: Annotated[
        int, typer.Option(metavar="K", min=0, max=1000, help="How many parts to list of a sort.")
    ] = 8,
    lacks: Annotated[
        int,
        typer.Option(
            metavar="N",
            min=0,
            max=1000,
            help="Tell what the first N enquiries that stock does not serve lack.",
        ),
    ] = 0,
    workers: Workers = 1,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Show what is asked for and cannot be built, and what is held and cannot be used."""
    shop = fitgraph.open(catalogue)
    with _pool(workers) as executor, _telling("{:,} of {:,} questions".format) as progress:
        answer = shop.gaps(
            [*(groups or ()), *(by or ())] or None,
            limit=limit,
            lacks=lacks,
            executor=executor,
            progress=progress,
        )
    put_out(answer, shop, json=json, csv=csv, table=table)


def restock(
    money: Annotated[
        str | None, typer.Argument(metavar="[N]", help="What to spend, as with --spend.")
    ] = None,
    catalogue: CatalogueFolder = None,
    target: Annotated[
        str | None,
        typer.Option(metavar="SHARE", help="Cheapest orders for this share, such as 0.9 or 90%."),
    ] = None,
    spend: Annotated[
        str | None, typer.Option(metavar="N", help="Most coverage for this sum, such as 500.")
    ] = None,
    within: Annotated[
        int | None,
        typer.Option(metavar="DAYS", min=0, help="Only what comes within so many days."),
    ] = None,
    steps: Annotated[
        int, typer.Option(metavar="K", min=0, max=500, help="Steps of the curve to list.")
    ] = 12,
    seconds: Annotated[
        float | None,
        typer.Option(metavar="S", min=0, help="Time for a plan; then its gap is stated."),
    ] = None,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Choose what to order, with proof, and show what more money buys."""
    shop = fitgraph.open(catalogue)
    with _telling("round {}, {} cuts".format) as progress:
        answer = shop.restock(
            target=target,
            spend=either(money, spend, "--spend"),
            within_days=within,
            steps=steps,
            seconds=seconds,
            progress=progress,
        )
    put_out(answer, shop, json=json, csv=csv, table=table)


def _free_folder(name: str, folder: Path | None, *, new: bool) -> None:
    """Refuse a folder that cannot be written to."""
    if folder is None:
        return
    if folder.is_file():
        raise BadInputError(f"{name} {folder} is a file; name a folder")
    if new and folder.exists():
        raise BadInputError(f"{name} {folder} exists; name a new folder")


def adapters(
    only: Annotated[
        str | None, typer.Argument(metavar="[R]", help="Only parts of this role, as with --role.")
    ] = None,
    catalogue: CatalogueFolder = None,
    role: Annotated[
        str | None, typer.Option("--role", metavar="R", help="Only parts of this role.")
    ] = None,
    k: Annotated[
        int,
        typer.Option("--k", metavar="K", min=1, max=MOST_TOGETHER, help="How many may be made."),
    ] = 3,
    in_stock: Annotated[
        bool, typer.Option("--in-stock", help="Serve enquiries from stock only.")
    ] = False,
    limit: Annotated[int, typer.Option(metavar="K", min=1, max=200, help="How many to list.")] = 8,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="DIR", help="Write the sheets of the best K there."),
    ] = None,
    save: Annotated[
        Path | None,
        typer.Option(
            "--save", metavar="DIR", help="Write a copy of the catalogue that has the best K."
        ),
    ] = None,
    workers: Workers = 1,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Find the parts worth making: what they would serve, and the best few together."""
    _free_folder("--sheet", sheet, new=False)
    _free_folder("--save", save, new=True)
    shop = fitgraph.open(catalogue)
    with _pool(workers) as executor:
        answer = shop.adapters(
            either(only, role, "--role"),
            k=k,
            in_stock=in_stock,
            limit=limit,
            executor=executor,
            watched=_bar,
        )
    if sheet is not None:
        from fitgraph.draw.sheet_step import GET_STEP, can_write_step

        answer = replace(answer, files=answer.write_sheets(sheet, most=k))
        if not can_write_step():
            remark(GET_STEP)
    if save is not None:
        answer = replace(answer, saved=shop.save_with(answer, save, most=k))
    put_out(answer, shop, json=json, csv=csv, table=table)
