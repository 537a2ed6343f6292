"""A part that could be made, as a part of the catalogue: figures, mass and estimated cost."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from fitgraph.mechanics.limits_and_fits import deviations_mm, size_steps_mm
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import (
    ABSENT,
    Basis,
    Dimension,
    Feature,
    FreeSize,
    Make,
    Part,
    Presence,
    Reference,
    Vocabulary,
    Word,
)
from fitgraph.records import dataclass

#: Deviations of figures are kept to a millionth of a millimetre.
_DECIMALS = 6

Sizes = Mapping[Reference, float]
Words = Mapping[Reference, str | None]


def words_text(words: Words) -> str:
    """Return the words of a part for people; a dash where it has none."""
    return ", ".join(word or "none" for word in words.values()) or "–"


def held(free: FreeSize, nominal: float) -> tuple[float, float]:
    """Return the deviations in mm that the process holds at a nominal size in mm."""
    if free.klass:
        return deviations_mm(nominal, free.klass)
    return free.lower, free.upper


def stretches(free: FreeSize, domain: tuple[float, float]) -> list[tuple[float, float]]:
    """Return the parts of a domain of nominal sizes in mm over which the deviations stay equal."""
    low, high = domain
    if not free.klass:
        return [domain]
    inner = [s for s in size_steps_mm() if low < s < high]
    # A row of the table holds up to its size included, so the next begins just above it.
    begins = [low, *(round(s + 10**-_DECIMALS, _DECIMALS) for s in inner)]
    return list(zip(begins, [*inner, high], strict=True))


def limits_of(free: FreeSize, nominal: float) -> Dimension:
    """Return a free dimension as it would be made."""
    lower, upper = held(free, nominal)
    text = f"{nominal:g} {free.klass}" if free.klass else _plus_minus(nominal, lower, upper)
    return Dimension(
        round(nominal + lower, _DECIMALS), round(nominal + upper, _DECIMALS), Basis.MAKER, text
    )


def _plus_minus(nominal: float, lower: float, upper: float) -> str:
    if math.isclose(-lower, upper):
        return f"{nominal:g} ±{upper:g}"
    return f"{nominal:g} {upper:+g}/{lower:+g}"


def features_of(
    make: Make, vocabulary: Vocabulary, sizes: Sizes, words: Words
) -> dict[str, Feature]:
    """Return the features of a made part.

    Parameters
    ----------
    make : Make
        What is made.
    vocabulary : Vocabulary
        Says what each feature has.
    sizes : mapping of Reference to float
        Nominal size in mm of each free dimension.
    words : mapping of Reference to str or None
        The words chosen; None leaves the feature out.
    """
    lengths: dict[str, dict[str, Dimension]] = {}
    marks: dict[str, dict[str, Word]] = {}
    for feature, (fixed, fixed_words) in make.fixed.items():
        lengths.setdefault(feature, {}).update(fixed)
        marks.setdefault(feature, {}).update(fixed_words)
    for free in make.free:
        at = lengths.setdefault(free.size.feature or "", {})
        at[free.size.name] = limits_of(free, sizes[free.size])
    left_out = set()
    for reference in make.words:
        word = words.get(reference)
        if word is None:
            left_out.add(reference.feature)
        else:
            marks.setdefault(reference.feature or "", {})[reference.name] = Word(word)
    features = {}
    for name in vocabulary.roles[make.role].features:
        if name in left_out or (name not in lengths and name not in marks):
            features[name] = ABSENT
        else:
            features[name] = Feature(
                Presence.PRESENT,
                MappingProxyType(lengths.get(name, {})),
                MappingProxyType(marks.get(name, {})),
            )
    return features


@dataclass(frozen=True, slots=True)
class MadeShape:
    """A made part as a plain or slotted tube, at the middle of its limits, in mm.

    ``bore`` and ``slot`` are zero where there is none.
    """

    outside: Dimension
    bore: Dimension | None
    slot: Dimension | None
    length: float

    @property
    def volume_mm3(self) -> float:
        """Return its volume in mm3."""
        bore = self.bore.mid if self.bore is not None else 0.0
        area = math.pi / 4 * (self.outside.mid**2 - bore**2)
        if self.slot is not None:
            area -= self.slot.mid * (self.outside.mid - bore) / 2
        return max(area, 0.0) * self.length

    @property
    def least_wall(self) -> float:
        """Return the wall in mm at the worst sizes; half the outside where it is solid."""
        bore = self.bore.hi if self.bore is not None else 0.0
        return (self.outside.lo - bore) / 2


def _figure(features: Mapping[str, Feature], reference: Reference | None) -> Dimension | None:
    feature = features.get(reference.feature or "") if reference is not None else None
    if feature is None or reference is None or feature.presence is not Presence.PRESENT:
        return None
    found = feature.lengths.get(reference.name)
    return found if found is not None and found.known else None


def shape_of(make: Make, features: Mapping[str, Feature]) -> MadeShape:
    """Return the shape of a made part.

    Raises
    ------
    ValueError
        If the vocabulary gives it no outside or no length.
    """
    outside = _figure(features, make.outside)
    if isinstance(make.length, Reference):
        along = _figure(features, make.length)
        length = along.mid if along is not None else 0.0
    else:
        length = make.length
    if outside is None or length <= 0:
        raise ValueError(f"{make.name}: its outside or its length is neither free nor fixed")
    return MadeShape(outside, _figure(features, make.bore), _figure(features, make.slot), length)


@dataclass(frozen=True, slots=True)
class Cost:
    """What a piece is estimated to cost, in minor currency units; an estimate, no quotation.

    Parameters
    ----------
    material, machining, setup : float
        Blank, machine time of a piece, and its share of setting up the lot.
    blank_g : float
        Mass of the blank in g.
    minutes : float
        Machine time of a piece.
    """

    material: float
    machining: float
    setup: float
    blank_g: float
    minutes: float

    @property
    def total(self) -> int:
        """Return the estimated cost of a piece, rounded up."""
        return math.ceil(round(self.material + self.machining + self.setup, 6))


def cost_of(make: Make, shape: MadeShape) -> Cost:
    """Return the estimated cost of a piece.

    Notes
    -----
    The blank is a round bar, wider and longer than the part by the allowance. Machine time is
    a fixed time and what is removed over the rate of removal; setting up is spread over a lot.
    """
    model = make.cost
    density = MATERIALS[make.material].density_kg_m3 * 1e-6  # g/mm3
    wide, long = shape.outside.hi + model.allowance, shape.length + model.allowance
    blank = math.pi / 4 * wide**2 * long
    minutes = model.minutes + max(blank - shape.volume_mm3, 0.0) / model.removal
    return Cost(
        blank * density / 1e3 * model.material_per_kg,
        minutes / 60 * model.hour,
        model.setup_minutes / model.lot / 60 * model.hour,
        blank * density,
        minutes,
    )


def make_part(make: Make, vocabulary: Vocabulary, sku: str, sizes: Sizes, words: Words) -> Part:
    """Return a part that could be made, as if one were on the shelf.

    Parameters
    ----------
    make : Make
        What is made.
    vocabulary : Vocabulary
        Says what each feature has.
    sku : str
        Its stock number.
    sizes, words : mapping
        As in :func:`features_of`.
    """
    features = features_of(make, vocabulary, sizes, words)
    shape = shape_of(make, features)
    density = MATERIALS[make.material].density_kg_m3 * 1e-6
    return Part(
        sku=sku,
        role=make.role,
        name=make.title,
        price=make.price,
        mass_g=round(shape.volume_mm3 * density, 1),
        material=make.material,
        stock=1,
        features=MappingProxyType(features),
        note="made up",
    )
