"""A catalogue: a vocabulary, the parts, and what riders asked for."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import field

from fitgraph.model.part import Part, split_label
from fitgraph.model.vocabulary import Vocabulary
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Enquiry:
    """What somebody asked for at the counter.

    Parameters
    ----------
    have : tuple of str
        Stock numbers of what they own.
    budget : int or None
        In minor currency units.
    max_mass_g : float or None
        Mass limit in g.
    material : str or None
        Material asked for.
    weight : float
        How many such enquiries it stands for.
    """

    number: str
    date: datetime.date | None = None
    have: tuple[str, ...] = ()
    budget: int | None = None
    max_mass_g: float | None = None
    material: str | None = None
    style: str = ""
    weight: float = 1.0
    note: str = ""

    @property
    def called(self) -> str:
        """Return what it is called: by its number, or by its day where it has none."""
        if number := self.number.strip():
            return number
        return "one without a number" + ("" if self.date is None else f" of {self.date}")


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Everything that a question is asked of."""

    vocabulary: Vocabulary
    parts: Mapping[str, Part]
    enquiries: tuple[Enquiry, ...] = ()
    name: str = ""
    by_role: Mapping[str, tuple[Part, ...]] = field(default_factory=dict)

    def of(self, role: str) -> tuple[Part, ...]:
        """Return the parts of a role, in catalogue order."""
        return self.by_role.get(role, ())

    @property
    def unfilled(self) -> tuple[str, ...]:
        """Return the roles that every build fills and that have no part."""
        roles = self.vocabulary.roles.values()
        return tuple(r.name for r in roles if not r.fill.may_be_empty and not self.of(r.name))

    def called(self, label: str) -> str:
        """Return what people call a part: its name, then its stock number.

        Parameters
        ----------
        label : str
            A stock number, with the services behind it where there are any.
        """
        sku, services = split_label(label)
        part = self.parts.get(sku)
        return label if part is None else " + ".join((part.called, *services))
