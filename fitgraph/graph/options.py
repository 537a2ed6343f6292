"""The ways to fill a role: nothing, a part, or a part that the workshop has changed."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.notches import moment_with_slot_end_nm, slot_end_factor
from fitgraph.mechanics.tubes import tube_mass_g
from fitgraph.model import (
    ABSENT,
    Condition,
    Dimension,
    Feature,
    Option,
    Part,
    Presence,
    Reference,
    Service,
    Vocabulary,
)


def empty(role: str) -> Option:
    """Return the option that leaves a role empty."""
    return Option(role, None)


def plain(part: Part) -> Option:
    """Return a part as it is."""
    return Option(part.role, part, (), part.features)


def skus_of(options: Mapping[str, Option]) -> dict[str, str]:
    """Return the stock number for each role that is filled."""
    return {role: o.part.sku for role, o in options.items() if o.part is not None}


def work_on(options: Mapping[str, Option]) -> tuple[tuple[str, str], ...]:
    """Return the services that are done, as pairs of stock number and service."""
    return tuple(
        (o.part.sku, service)
        for o in options.values()
        if o.part is not None
        for service in o.services
    )


def presence_of(option: Option, feature: str | None) -> Presence:
    """Return whether an option has a feature, or is there at all for None."""
    if option.part is None:
        return Presence.ABSENT
    if feature is None:
        return Presence.PRESENT
    return option.features.get(feature, ABSENT).presence


def holds_for_certain(option: Option, condition: Condition) -> bool:
    """Return whether a condition on the option's own role holds for certain."""
    wanted = Presence.PRESENT if condition.wanted else Presence.ABSENT
    return presence_of(option, condition.feature) is wanted


def length_of(option: Option, reference: Reference | None) -> Dimension | None:
    """Return the dimension a reference names, None where the option has no such feature."""
    if reference is None or reference.feature is None or reference.role != option.role:
        return None
    feature = option.features.get(reference.feature)
    if feature is None or feature.presence is not Presence.PRESENT:
        return None
    return feature.lengths.get(reference.name)


def _cut_mass_g(option: Option, service: Service, vocabulary: Vocabulary) -> float:
    """Return the mass in g of the tube that a service cuts off."""
    source = vocabulary.strength
    if not service.cuts_off or source is None or option.part is None:
        return 0.0
    outside, bore = length_of(option, source.outside), length_of(option, source.bore)
    material = MATERIALS.get(option.part.material or "")
    if outside is None or bore is None or material is None:
        return 0.0
    if not (outside.known and bore.known) or outside.mid <= bore.mid:
        return 0.0
    return float(tube_mass_g(outside.mid, bore.mid, service.cuts_off, material.density_kg_m3))


def _known_of(feature: Feature | None) -> object:
    """Return what is known of a feature, wherever it is known from."""
    if feature is None or feature.presence is Presence.ABSENT:
        return Presence.ABSENT
    lengths = {name: size.bounds for name, size in feature.lengths.items()}
    return feature.presence, lengths, {name: word.value for name, word in feature.words.items()}


def serviced(option: Option, service: Service, vocabulary: Vocabulary) -> Option | None:
    """Return a part after a service, or None if it cannot be done, or would change no figure.

    Parameters
    ----------
    option : Option
        The part as it is.
    service : Service
        What the workshop does; its conditions have to hold for certain,
        because nobody cuts on a guess.
    vocabulary : Vocabulary
        Gives the tube whose mass a cut takes off.
    """
    if option.part is None or option.role != service.role or service.name in option.services:
        return None
    if not all(holds_for_certain(option, condition) for condition in service.when):
        return None
    role = vocabulary.roles[option.role]
    features = dict(option.features)
    for (feature, name), by in service.shifts.items():
        before = features.get(feature)
        if before is not None and name in before.lengths:
            moved = {**before.lengths, name: before.lengths[name].shifted(by)}
            features[feature] = replace(before, lengths=MappingProxyType(moved))
    for feature in service.removes:
        features[feature] = ABSENT
    for feature, (lengths, words) in service.sets.items():
        kind = role.features[feature]
        unknown = {
            d.name: Dimension.unknown(within=d.plausible)
            for d in kind.dimensions.values()
            if not d.worded
        }
        features[feature] = Feature(
            Presence.PRESENT, MappingProxyType({**unknown, **lengths}), MappingProxyType({**words})
        )
    cut = _cut_mass_g(option, service, vocabulary)
    # Work that changes no figure would stand beside the part as a second way to have it.
    changed = {f for f in features if _known_of(features[f]) != _known_of(option.features.get(f))}
    if not changed and (service.shifts or not cut):
        return None
    return replace(
        option,
        services=(*option.services, service.name),
        features=MappingProxyType(features),
        service_price=option.service_price + service.price,
        service_mass_g=option.service_mass_g - cut,
    )


def variants(part: Part, vocabulary: Vocabulary) -> Iterator[Option]:
    """Yield a part as it is, then after each single service that can be done to it."""
    whole = plain(part)
    yield whole
    for service in vocabulary.services.values():
        if service.role != part.role:
            continue
        changed = serviced(whole, service, vocabulary)
        if changed is not None:
            yield changed


def options_for(parts: Iterable[Part], role: str, vocabulary: Vocabulary) -> tuple[Option, ...]:
    """Return every option for a role: empty where it may be, each part, each service."""
    options = [empty(role)] if vocabulary.roles[role].fill.may_be_empty else []
    for part in parts:
        options.extend(variants(part, vocabulary))
    return tuple(options)


@functools.lru_cache(4096)
def _slot_end(width: float, roots: tuple[float, float]) -> float:
    """Return the factor of a slot's end, the middle of its range by ratio."""
    return math.sqrt(math.prod(slot_end_factor(width, roots)))


def _section(option: Option, vocabulary: Vocabulary) -> tuple[float, float, float, float, float]:
    """Return outside, bore and slot in mm, endurance in MPa and the factor of the slot's end.

    The lower end of every figure's limits counts; nan where not known. The factor is the middle
    of its range by ratio, 1 without a slot.
    """
    unknown = (math.nan,) * 5
    source = vocabulary.strength
    if source is None or option.part is None or source.outside.role != option.role:
        return unknown
    outside, bore = length_of(option, source.outside), length_of(option, source.bore)
    material = MATERIALS.get(option.part.material or "")
    if outside is None or bore is None or material is None or material.endurance_mpa is None:
        return unknown
    if not (outside.known and bore.known) or outside.lo <= bore.hi:
        return unknown
    width = 0.0
    if source.slot is not None and source.slot.feature is not None:
        if presence_of(option, source.slot.feature) is Presence.UNKNOWN:
            return unknown
        slot = length_of(option, source.slot)
        if slot is not None:
            width = slot.hi
    if not width < bore.hi:
        return unknown
    factor = 1.0
    if width > 0:
        # A metal whose notch sensitivity is not known counts as fully sensitive.
        roots = (0.0, 0.0) if material.neuber_root is None else material.neuber_root
        factor = _slot_end(width, roots)
    return (outside.lo, bore.hi, width, material.endurance_mpa, factor)


def strengths_nm(
    options: Sequence[Option], vocabulary: Vocabulary, *, slot_end: bool = True
) -> npt.NDArray[np.float64]:
    """Return the bending moment in N m that each option's tube bears again and again.

    The stress is the material's endurance, for what breaks a tube is mostly
    many hard loads, not one. The end of a slot counts as a notch, at the
    middle of its range (:mod:`fitgraph.mechanics.notches`).

    Parameters
    ----------
    options : sequence of Option
        Options of one role.
    vocabulary : Vocabulary
        Names the tube that is compared.
    slot_end : bool
        Whether a slot's end counts; not where materials are compared, for it
        is the cut's doing.

    Returns
    -------
    ndarray of float
        nan where the role is not the one compared, or a figure is not known.
        A comparison of tubes, not a certificate.
    """
    strengths = np.full(len(options), math.nan)
    source = vocabulary.strength
    if source is None or not options or options[0].role != source.outside.role:
        return strengths
    sections = np.array([_section(o, vocabulary) for o in options]).reshape(-1, 5)
    known = ~np.isnan(sections).any(axis=1)
    if known.any():
        outside, bore, slot, stress_mpa, factor = sections[known].T
        factor = factor if slot_end else np.ones_like(factor)
        strengths[known] = moment_with_slot_end_nm(outside, bore, stress_mpa, slot, factor)
    return strengths


def strength_nm(option: Option, vocabulary: Vocabulary) -> float | None:
    """Return :func:`strengths_nm` of one option; None where it is not known."""
    strength = float(strengths_nm([option], vocabulary)[0])
    return None if math.isnan(strength) else strength
