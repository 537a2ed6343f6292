"""What people type into a form, read as a request; whatever cannot be read is told in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeVar

from fitgraph.errors import InputError
from fitgraph.model import Catalogue, Part
from fitgraph.records import dataclass
from fitgraph.shop.edge import doubt_of_mass
from fitgraph.solve import NamingError, Request, Services
from fitgraph.solve.request import check_material, find_part
from fitgraph.units import UnitError, parse_mass

T = TypeVar("T")

#: Between a name and a stock number in a list to choose from.
SEPARATOR = " · "

#: Said where an entry cannot be read; what is wrong stands at its field.
STILL_BEFORE = "An entry cannot be read. The answers are still those to the entries before."

#: More matches than this are not listed in a message.
_MOST_MATCHES = 4


class FormError(InputError):
    """An entry that cannot be read; the message says which, and how to mend it.

    Parameters
    ----------
    message : str
        A line for each entry.
    at : mapping of str to str, optional
        Which of its lines stand beside a field, by the field: a role, ``budget``, ``max_mass``.
    """

    def __init__(self, message: str, at: Mapping[str, str] | None = None) -> None:
        super().__init__(message)
        self.at: Mapping[str, str] = {} if at is None else at


def part_label(part: Part) -> str:
    """Return a part as a list shows it: name, then stock number."""
    return f"{part.name}{SEPARATOR}{part.sku}" if part.name else part.sku


def number_in(text: str, catalogue: Catalogue) -> str:
    """Return the stock number in a line of a list, or the text itself where it holds none."""
    pieces = [piece.strip() for piece in text.split(SEPARATOR)]
    return next((p for p in reversed(pieces) if p in catalogue.parts), text.strip())


def read_part(text: str, role: str, catalogue: Catalogue) -> str | None:
    """Return the stock number meant by an entry, None for an empty one.

    Parameters
    ----------
    text : str
        A line of the list, a stock number, or enough of a name that only one
        part has it.
    role : str
        The role it has to fill.
    catalogue : Catalogue
        Where it is looked for.

    Raises
    ------
    FormError
        If no part, several, or a part of another role is meant.
    """
    wanted = text.strip()
    if not wanted:
        return None
    title = catalogue.vocabulary.roles[role].title
    folded = wanted.casefold()
    of_role = catalogue.of(role)
    for part in of_role:
        if folded == part.sku.casefold() or part.sku == number_in(wanted, catalogue):
            return part.sku
    matches = [p.sku for p in of_role if folded in part_label(p).casefold()]
    if len(matches) == 1:
        return matches[0]
    if matches:
        shown = ", ".join(matches[:_MOST_MATCHES]) + (", …" if len(matches) > _MOST_MATCHES else "")
        raise FormError(
            f"{title}: {wanted!r} could be {len(matches)} parts ({shown}). "
            "Type more of it, or choose from the list."
        )
    try:
        other = find_part(catalogue, number_in(wanted, catalogue))
    except NamingError as error:
        raise FormError(f"{title}: {error}.") from None
    theirs = catalogue.vocabulary.roles[other.role].title
    raise FormError(f"{title}: {other.called} belongs under {theirs}.")


def read_parts(entries: Mapping[str, str], catalogue: Catalogue) -> dict[str, str]:
    """Return the stock number that is meant by the entry for each role that has one.

    Raises
    ------
    FormError
        With one line for every entry that cannot be read.
    """
    found: dict[str, str] = {}
    wrong: dict[str, str] = {}
    for role, text in entries.items():
        try:
            sku = read_part(text, role, catalogue)
        except FormError as error:
            wrong[role] = str(error)
            continue
        if sku is not None:
            found[role] = sku
    if wrong:
        raise FormError("\n".join(wrong.values()), wrong)
    return found


@dataclass(frozen=True, slots=True)
class Entries:
    """A form as it was filled in.

    Parameters
    ----------
    parts : mapping of str to str
        What was typed for each role.
    budget, max_mass : str
        As typed, with or without a unit; empty for no limit.
    material : str
        Family of materials; empty for any.
    """

    parts: Mapping[str, str]
    budget: str = ""
    max_mass: str = ""
    material: str = ""
    in_stock: bool = False
    services: Services = Services.OWNED


def _limit(
    at: str, title: str, text: str, read: Callable[[str], T], wrong: Callable[[T], str | None]
) -> T | None:
    """Return a typed limit; None without one, FormError where it is none or cannot be meant."""
    if not text.strip():
        return None
    try:
        value = read(text)
        told = wrong(value)
    except UnitError as error:
        told = f"{text.strip()!r} {error}"
    if told:
        message = f"{title}: {told}."
        raise FormError(message, {at: message})
    return value


def read_budget(text: str, catalogue: Catalogue) -> int | None:
    """Return a typed budget in minor units; None without one.

    Raises
    ------
    FormError
        If it is no amount of money.
    """

    def wrong(budget: int) -> str:
        return "" if budget >= 0 else "write zero or more, or leave it empty for no limit"

    return _limit("budget", "Budget", text, catalogue.vocabulary.read_money, wrong)


def _read_mass(text: str, catalogue: Catalogue) -> float | None:
    """Return a typed mass limit in g; FormError where it is none, or most likely not in g."""

    def wrong(mass: float) -> str | None:
        if mass <= 0:
            return "write more than zero, or leave it empty for no limit"
        return doubt_of_mass(text, mass, catalogue)

    return _limit("max_mass", "Mass limit", text, parse_mass, wrong)


def read_entries(entries: Entries, catalogue: Catalogue) -> Request:
    """Return the request that a form asks.

    Raises
    ------
    FormError
        With one line for every entry that cannot be read.
    """
    wrong: list[str] = []
    at: dict[str, str] = {}

    def read(ask: Callable[[], T]) -> T | None:
        try:
            return ask()
        except FormError as error:
            at.update(error.at)
            wrong.append(str(error))
        except NamingError as error:
            wrong.append(f"Material: {error}.")
        return None

    have = read(lambda: read_parts(entries.parts, catalogue)) or {}
    budget = read(lambda: read_budget(entries.budget, catalogue))
    max_mass = read(lambda: _read_mass(entries.max_mass, catalogue))
    family = entries.material
    material = read(lambda: check_material(family)) if family else None
    if wrong:
        raise FormError("\n".join(wrong), at)
    return Request(
        have=tuple(have.values()),
        budget=budget,
        max_mass_g=max_mass,
        in_stock=entries.in_stock,
        material=material,
        services=entries.services,
    )
