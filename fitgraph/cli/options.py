"""Options that several commands share, and typed limits as numbers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitgraph.cli.output import BadInputError
from fitgraph.units import UnitError, parse_mass, parse_money

if TYPE_CHECKING:
    from fitgraph.model import Vocabulary

CatalogueFolder = Annotated[
    Path | None,
    typer.Option(
        "--catalogue",
        metavar="DIR",
        help="Folder with the catalogue.  [default: the demo]",
        show_default=False,
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]

#: Larger sums and masses are slips of the keyboard.
_MOST_MINOR = 10**15
_MOST_MASS_G = 1e9


def read_budget(
    text: str | None, vocabulary: Vocabulary, *, option: str = "--budget"
) -> int | None:
    """Return a typed budget in minor currency units, None where there is none.

    Raises
    ------
    BadInputError
        If it is no amount of money.
    """
    if text is None:
        return None
    try:
        amount = parse_money(text, vocabulary.minor_digits, vocabulary.currency)
    except UnitError as error:
        raise BadInputError(f"{option} {text!r} {error}") from None
    if not 0 <= amount <= _MOST_MINOR:
        raise BadInputError(f"{option} {text!r} is out of range; write an amount like 250")
    return amount


def read_mass(text: str | None) -> float | None:
    """Return a typed mass limit in g, None where there is none.

    Raises
    ------
    BadInputError
        If it is no mass.
    """
    if text is None:
        return None
    try:
        mass = parse_mass(text)
    except UnitError as error:
        raise BadInputError(f"--max-mass-g {text!r} {error}") from None
    if not 0 <= mass <= _MOST_MASS_G:
        raise BadInputError(f"--max-mass-g {text!r} is out of range; write a mass like 4200")
    return mass
