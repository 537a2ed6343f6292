"""Groups of enquiries: by their own columns, and by what the vocabulary says of owned parts."""

from __future__ import annotations

from collections.abc import Callable

from fitgraph.graph.options import length_of, plain, presence_of
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Enquiry, Grouping, Kind, Part, Presence
from fitgraph.solve import NamingError

#: The group of an enquiry that belongs to none.
OTHER = "other"


def _style(catalogue: Catalogue, enquiry: Enquiry) -> str:
    return enquiry.style or OTHER


def _month(catalogue: Catalogue, enquiry: Enquiry) -> str:
    return enquiry.date.strftime("%Y-%m") if enquiry.date else OTHER


def _material(catalogue: Catalogue, enquiry: Enquiry) -> str:
    """Return the family asked for, or that of the owned part which is chosen by material."""
    word = enquiry.material
    if word is None:
        owned = (catalogue.parts[s] for s in enquiry.have if s in catalogue.parts)
        chosen = (p for p in owned if catalogue.vocabulary.roles[p.role].by_material)
        word = next((p.material for p in chosen if p.material), None)
    if word is None:
        return OTHER
    return MATERIALS[word].family if word in MATERIALS else word


#: Groupings by an enquiry's own columns.
_COLUMNS: dict[str, Callable[[Catalogue, Enquiry], str]] = {
    "style": _style,
    "material": _material,
    "month": _month,
}


def is_of_kind(kind: Kind, parts: dict[str, Part]) -> bool:
    """Return whether parts, by role, are of a kind for certain.

    A window wants the middle of the figure's limits inside it; a condition wants the part to
    be there, and to have or to lack the feature for certain.
    """
    for condition in kind.when:
        part = parts.get(condition.role)
        if part is None:
            return False
        wanted = Presence.PRESENT if condition.wanted else Presence.ABSENT
        if presence_of(plain(part), condition.feature) is not wanted:
            return False
    for reference, (least, most) in kind.within.items():
        part = parts.get(reference.role)
        figure = None if part is None else length_of(plain(part), reference)
        if figure is None or not figure.known or not least <= figure.mid <= most:
            return False
    return True


def group_of(grouping: Grouping, catalogue: Catalogue, enquiry: Enquiry) -> str:
    """Return the first kind that what an enquiry owns belongs to."""
    parts = {catalogue.parts[s].role: catalogue.parts[s] for s in enquiry.have}
    found = (kind.name for kind in grouping.kinds if is_of_kind(kind, parts))
    return next(found, OTHER)


def grouping_names(catalogue: Catalogue) -> tuple[str, ...]:
    """Return the names of all groupings of a catalogue's enquiries."""
    return (*_COLUMNS, *(n for n in catalogue.vocabulary.groups if n not in _COLUMNS))


def grouper(catalogue: Catalogue, name: str) -> Callable[[Enquiry], str]:
    """Return the function that says to which group an enquiry belongs.

    Raises
    ------
    NamingError
        If there is no such grouping.
    """
    grouping = catalogue.vocabulary.groups.get(name)
    if grouping is not None:
        return lambda enquiry: group_of(grouping, catalogue, enquiry)
    column = _COLUMNS.get(name)
    if column is None:
        names = ", ".join(grouping_names(catalogue))
        raise NamingError(f"enquiries are not grouped by {name!r}; use one of {names}")
    return lambda enquiry: column(catalogue, enquiry)
