"""What people type into a form, read as a request; whatever cannot be read is told in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fitgraph.model import Catalogue, Part
from fitgraph.solve import NamingError, Request, Services
from fitgraph.solve.request import check_material, find_part
from fitgraph.units import UnitError, parse_mass, parse_money

#: Between a stock number and a name in a list to choose from.
SEPARATOR = " · "

#: More matches than this are not listed in a message.
_MOST_MATCHES = 4


class FormError(ValueError):
    """An entry that cannot be read; the message says which, and how to mend it."""


def part_label(part: Part) -> str:
    """Return a part as a list shows it: stock number, then name."""
    return f"{part.sku}{SEPARATOR}{part.name}" if part.name else part.sku


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
        if folded in (part.sku.casefold(), part_label(part).casefold()):
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
        other = find_part(catalogue, wanted.split(SEPARATOR)[0])
    except NamingError as error:
        raise FormError(f"{title}: {error}.") from None
    theirs = catalogue.vocabulary.roles[other.role].title
    raise FormError(f"{title}: {other.sku} belongs under {theirs}.")


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


def read_entries(entries: Entries, catalogue: Catalogue) -> Request:
    """Return the request that a form asks.

    Raises
    ------
    FormError
        With one line for every entry that cannot be read.
    """
    wrong: list[str] = []
    have: list[str] = []
    for role, text in entries.parts.items():
        try:
            sku = read_part(text, role, catalogue)
        except FormError as error:
            wrong.append(str(error))
            continue
        if sku is not None:
            have.append(sku)
    budget: int | None = None
    max_mass: float | None = None
    if entries.budget.strip():
        try:
            words = catalogue.vocabulary
            budget = parse_money(entries.budget, words.minor_digits, words.currency)
        except UnitError as error:
            wrong.append(f"Budget: {entries.budget.strip()!r} {error}.")
    if entries.max_mass.strip():
        try:
            max_mass = parse_mass(entries.max_mass)
        except UnitError as error:
            wrong.append(f"Mass limit: {entries.max_mass.strip()!r} {error}.")
    if budget is not None and budget < 0:
        wrong.append("Budget: write zero or more, or leave it empty for no limit.")
    if max_mass is not None and max_mass <= 0:
        wrong.append("Mass limit: write more than zero, or leave it empty for no limit.")
    material = entries.material or None
    try:
        material = check_material(material) if material else None
    except NamingError as error:
        wrong.append(f"Material: {error}.")
    if wrong:
        raise FormError("\n".join(wrong))
    return Request(
        have=tuple(have),
        budget=budget,
        max_mass_g=max_mass,
        in_stock=entries.in_stock,
        material=material,
        services=entries.services,
    )
