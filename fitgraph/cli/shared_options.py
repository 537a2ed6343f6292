"""Options that several commands share."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from fitgraph.cli.output import BadInputError

Given = TypeVar("Given")


class Sort(StrEnum):
    """What builds are sorted by."""

    PRICE = "price"
    MASS = "mass"
    STRENGTH = "strength"


class AimOption(StrEnum):
    """What another part is to be, against the one that is replaced."""

    ANY = "any"
    LIGHTER = "lighter"
    STRONGER = "stronger"
    CHEAPER = "cheaper"


class WorkOn(StrEnum):
    """To which parts the workshop may do work."""

    NONE = "none"
    OWNED = "owned"
    ANY = "any"


class Wish(StrEnum):
    """What the person who asks would rather keep low; a price, a mass, work, new parts."""

    PRICE = "price"
    MASS = "mass"
    WORK = "work"
    OWNED = "owned"


def either(argument: Given | None, option: Given | None, name: str) -> Given | None:
    """Return what was given with an option, or without one where a person would leave it out.

    Raises
    ------
    BadInputError
        If it was given in both ways.
    """
    if argument is not None and option is not None:
        raise BadInputError(
            f"{argument!s} and {name} {option!s} cannot both be meant; leave one out"
        )
    return option if argument is None else argument


CatalogueFolder = Annotated[
    Path | None,
    typer.Option(
        "--catalogue",
        metavar="DIR",
        help="Folder with the catalogue.  [default: the demo]",
        show_default=False,
    ),
]
Services = Annotated[
    WorkOn, typer.Option("--services", help="To which parts the workshop may do work.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
AsCsv = Annotated[bool, typer.Option("--csv", help="Print a table as CSV and nothing else.")]
WhichTable = Annotated[
    str | None,
    typer.Option(
        "--table", metavar="NAME", help="Which table to print as CSV.  [default: the main one]"
    ),
]
Have = Annotated[
    list[str] | None,
    typer.Option("--have", metavar="SKU", help="A part you own; it costs nothing. Repeatable."),
]
Want = Annotated[
    list[str] | None,
    typer.Option("--want", metavar="SKU", help="A part it must have and you pay. Repeatable."),
]
Budget = Annotated[
    str | None, typer.Option(metavar="N", help="Most to pay, such as 250 or 250,50.")
]
MaxMass = Annotated[
    str | None,
    typer.Option("--max-mass-g", metavar="N", help="Most it may weigh, such as 4200 or '4.2 kg'."),
]
Material = Annotated[
    str | None, typer.Option(metavar="NAME", help="A material or a family, such as titanium.")
]
InStock = Annotated[bool, typer.Option("--in-stock", help="Only parts in stock, beside your own.")]
Workers = Annotated[
    int, typer.Option(metavar="N", min=1, max=64, help="Processes to share the work.")
]
