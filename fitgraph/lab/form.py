"""What people type into a form, read as a request; whatever cannot be read is told in words."""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.errors import InputError
from fitgraph.model import Catalogue, Part
from fitgraph.records import dataclass
from fitgraph.shop.edge import doubt_of_mass
from fitgraph.solve import NamingError, Request, Services
from fitgraph.solve.request import check_material, find_part
from fitgraph.units import UnitError, parse_mass

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
        What is said beside each field: a role, ``budget`` or ``max_mass``.
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


def read_budget(text: str, catalogue: Catalogue) -> int:
    """Return a typed budget in minor units; UnitError where it is none."""
    words = catalogue.vocabulary
    try:
        budget = words.read_money(text)
    except UnitError as error:
        raise UnitError(f"{text.strip()!r} {error}.") from None
    if budget < 0:
        raise UnitError("write zero or more, or leave it empty for no limit.")
    return budget


def _mass(text: str, catalogue: Catalogue) -> float:
    """Return a typed mass limit in g; UnitError where it is none, or most likely not in g."""
    try:
        mass = parse_mass(text)
    except UnitError as error:
        raise UnitError(f"{text.strip()!r} {error}.") from None
    if mass <= 0:
        raise UnitError("write more than zero, or leave it empty for no limit.")
    if doubt := doubt_of_mass(text, mass, catalogue):
        raise UnitError(f"{doubt}.")
    return mass


def read_entries(entries: Entries, catalogue: Catalogue) -> Request:
    """Return the request that a form asks.

    Raises
    ------
    FormError
        With one line for every entry that cannot be read.
    """
    at: dict[str, str] = {}
    have: dict[str, str] = {}
    try:
        have = read_parts(entries.parts, catalogue)
    except FormError as error:
        at |= error.at
    budget: int | None = None
    max_mass: float | None = None
    if entries.budget.strip():
        try:
            budget = read_budget(entries.budget, catalogue)
        except UnitError as error:
            at["budget"] = f"Budget: {error}"
    if entries.max_mass.strip():
        try:
            max_mass = _mass(entries.max_mass, catalogue)
        except UnitError as error:
            at["max_mass"] = f"Mass limit: {error}"
    wrong = [*at.values()]
    material = entries.material or None
    try:
        material = check_material(material) if material else None
    except NamingError as error:
        wrong.append(f"Material: {error}.")
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
