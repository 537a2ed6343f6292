"""Groups of enquiries: by their own columns, and by what the vocabulary says of owned parts."""

from __future__ import annotations

from collections.abc import Callable

from fitgraph.graph.groupings import OTHER, kind_of
from fitgraph.graph.options import plain
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Enquiry, Grouping, Part
from fitgraph.solve import NamingError


def _owned(catalogue: Catalogue, enquiry: Enquiry) -> list[Part]:
    """Return the parts that an enquiry names, however it spells them."""
    spelt = (s if s in catalogue.parts else s.upper() for s in enquiry.have)
    return [catalogue.parts[s] for s in spelt if s in catalogue.parts]


def _style(catalogue: Catalogue, enquiry: Enquiry) -> str:
    return enquiry.style or OTHER


def _month(catalogue: Catalogue, enquiry: Enquiry) -> str:
    return enquiry.date.strftime("%Y-%m") if enquiry.date else OTHER


def _material(catalogue: Catalogue, enquiry: Enquiry) -> str:
    """Return the family asked for, or that of the owned part which is chosen by material."""
    word = enquiry.material
    if word is None:
        chosen = (
            p for p in _owned(catalogue, enquiry) if catalogue.vocabulary.roles[p.role].by_material
        )
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


def group_of(grouping: Grouping, catalogue: Catalogue, enquiry: Enquiry) -> str:
    """Return the first kind that what an enquiry owns belongs to."""
    kind = kind_of(grouping, {part.role: plain(part) for part in _owned(catalogue, enquiry)})
    return OTHER if kind is None else kind.name


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
