"""Parts, their features, and parts as the workshop may change them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from types import MappingProxyType
from typing import TypeVar

from fitgraph.model.dimension import Dimension, Word
from fitgraph.model.verdict import Presence
from fitgraph.records import dataclass

#: Letters of a name in a sentence.
_LONGEST = 120


@dataclass(frozen=True, slots=True)
class Feature:
    """Geometry that a part offers to others.

    Parameters
    ----------
    presence : Presence
        Whether the part has it at all.
    lengths : mapping of str to Dimension
        Dimensions in mm, by name.
    words : mapping of str to Word
        Values that are compared, by name.
    """

    presence: Presence = Presence.PRESENT
    lengths: Mapping[str, Dimension] = field(default_factory=dict)
    words: Mapping[str, Word] = field(default_factory=dict)

    def with_length(self, name: str, size: Dimension) -> Feature:
        """Return it with another figure for one of its dimensions."""
        lengths = MappingProxyType({**self.lengths, name: size})
        return Feature(self.presence, lengths, self.words)


ABSENT = Feature(Presence.ABSENT)


@dataclass(frozen=True, slots=True)
class Part:
    """Something with a stock number and features.

    Parameters
    ----------
    sku : str
        Stock number, unique in a catalogue.
    role : str
        Identifier of the role it takes in a build.
    price : int or None
        Price in minor currency units; None where it has none, so that it
        cannot be sold, only be owned.
    mass_g : float or None
        Mass in g; None where it is not known.
    material : str or None
        Identifier of a material in the materials table, where known.
    stock : int
        Pieces held.
    """

    sku: str
    role: str
    name: str = ""
    maker: str = ""
    price: int | None = None
    mass_g: float | None = None
    material: str | None = None
    stock: int = 0
    features: Mapping[str, Feature] = field(default_factory=dict, repr=False)
    note: str = ""

    @property
    def called(self) -> str:
        """Return what people call it: its name, and the number that tells it from its like.

        Sentences have no room for more than the beginning of a very long name.
        """
        if self.name in ("", self.sku):
            return self.sku
        name = self.name if len(self.name) <= _LONGEST else f"{self.name[: _LONGEST - 1]}…"
        return f"{name} ({self.sku})"


@dataclass(frozen=True, slots=True)
class Option:
    """One way to fill a role: nothing, a part, or a part the workshop has changed.

    Parameters
    ----------
    role : str
        The role it fills.
    part : Part or None
        None leaves the role empty.
    services : tuple of str
        Identifiers of the services done to the part.
    features : mapping of str to Feature
        The features after the services.
    service_price : int
        What the services cost, in minor currency units.
    service_mass_g : float
        What they add to the mass, in g (mostly negative).
    """

    role: str
    part: Part | None
    services: tuple[str, ...] = ()
    features: Mapping[str, Feature] = field(default_factory=dict, repr=False)
    service_price: int = 0
    service_mass_g: float = 0.0

    def __repr__(self) -> str:
        return f"<{self.role}: {self.label}>"

    @property
    def empty(self) -> bool:
        """Whether the role is left empty."""
        return self.part is None

    @property
    def mass_g(self) -> float | None:
        """Return the mass in g after the services, None where it is not known."""
        if self.part is None:
            return 0.0
        if self.part.mass_g is None:
            return None
        return self.part.mass_g + self.service_mass_g

    @property
    def label(self) -> str:
        """Return the stock number, with the services behind it."""
        if self.part is None:
            return "none"
        return " + ".join((self.part.sku, *self.services))

    @property
    def called(self) -> str:
        """Return what people call it: name and stock number, with the services behind them."""
        if self.part is None:
            return "nothing"
        return " + ".join((self.part.called, *self.services))


def split_label(label: str) -> tuple[str, list[str]]:
    """Return the stock number in an option's label, and the services behind it."""
    sku, *services = label.split(" + ")
    return sku, services


P = TypeVar("P", Part, Option)


def with_features(of: P, changed: Mapping[str, Feature]) -> P:
    """Return a part, or an option, of which some features are others."""
    return replace(of, features=MappingProxyType({**of.features, **changed}))


def with_length(of: P, feature: str, dimension: str, size: Dimension) -> P:
    """Return a part, or an option, with another figure for one of its dimensions."""
    return with_features(of, {feature: of.features[feature].with_length(dimension, size)})
