"""``fitgraph measure``, ``identify`` and ``advise``: what is not known yet, and what to take."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

import fitgraph
from fitgraph.cli.output import BadInputError, complain, put_out
from fitgraph.cli.shared_options import AsCsv, AsJson, CatalogueFolder, WhichTable, either
from fitgraph.errors import InputError
from fitgraph.plain import plain

if TYPE_CHECKING:
    from fitgraph.shop import IdentifyAnswer


def measure(
    skus: Annotated[
        list[str] | None,
        typer.Argument(metavar="[SKU]...", help="Parts that the builds have.  [default: all]"),
    ] = None,
    limit: Annotated[
        int, typer.Option("--limit", metavar="K", min=1, help="How many to list.")
    ] = 10,
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """List what to measure next, and how many builds that settles."""
    shop = fitgraph.open(catalogue)
    put_out(shop.measure(*(skus or ()), limit=limit), shop, json=json, csv=csv, table=table)


def _asked(answer: IdentifyAnswer) -> IdentifyAnswer:
    """Return the answer after asking on the terminal, until it is sure or nothing is left."""
    while (question := answer.question) is not None:
        common = ", ".join(answer.common)
        sys.stdout.write(plain(answer.ask) + plain(f"\n  ({common}; ? to pass) ", keep="\n"))
        sys.stdout.flush()
        typed = sys.stdin.readline()
        if not typed:
            break
        try:
            answer = answer.answer(question, typed.strip())
        except InputError as error:
            complain(str(error))
    return answer


def identify(
    seen: Annotated[
        list[str] | None,
        typer.Argument(metavar="[QUESTION=ANSWER]...", help="What was seen, as with --saw."),
    ] = None,
    saw: Annotated[
        list[str] | None,
        typer.Option("--saw", metavar="QUESTION=ANSWER", help="What was seen; ? if it cannot be."),
    ] = None,
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Find out what a rider has, by the most telling questions."""
    shop = fitgraph.open(catalogue)
    answer = shop.identify()
    told = [*(seen or ()), *(saw or ())]
    given: dict[str, str] = {}
    for text in told:
        question, equals, value = text.partition("=")
        if not equals:
            raise BadInputError(f"--saw {text!r} has no =; write it like --saw QUESTION=ANSWER")
        name, value = question.strip(), value.strip()
        if given.setdefault(name, value) != value:
            raise BadInputError(f"{name} is answered by {given[name]!r} and by {value!r}; keep one")
        answer = answer.answer(name, value)
    if not (json or csv or table or told) and sys.stdin.isatty():
        answer = _asked(answer)
    put_out(answer, shop, json=json, csv=csv, table=table)


def advise(
    riding: Annotated[
        str | None, typer.Argument(metavar="[STYLE]", help="How somebody rides, as with --style.")
    ] = None,
    style: Annotated[
        str | None,
        typer.Option("--style", metavar="STYLE", help="How somebody rides.  [default: any way]"),
    ] = None,
    broken: Annotated[
        bool, typer.Option("--broken", help="Such parts have broken before.")
    ] = False,
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
    csv: AsCsv = False,
    table: WhichTable = None,
) -> None:
    """Say which material suits a way of riding, and why."""
    shop = fitgraph.open(catalogue)
    put_out(
        shop.advise(either(riding, style, "--style"), broken=broken),
        shop,
        json=json,
        csv=csv,
        table=table,
    )
