"""Figures of one part that cannot be true together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from fitgraph.catalogue.findings import WARNING, Finding
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.rules import RULES, Limits
from fitgraph.mechanics.tubes import bar_mass_band_g
from fitgraph.model import Catalogue, Dimension, Joint, Part, Presence, Reference, Verdict


def _limits(part: Part, reference: Reference) -> Dimension | None:
    feature = part.features.get(reference.feature or "")
    if feature is None or feature.presence is Presence.ABSENT:
        return None
    return feature.lengths.get(reference.name)


def _contradicts(joint: Joint, part: Part) -> bool:
    rule = RULES[joint.rule]
    arguments = {}
    for name in rule.lengths:
        dimension = _limits(part, joint.arguments[name])
        if dimension is None:
            return False
        arguments[name] = Limits(np.array(dimension.lo), np.array(dimension.hi))
    judged = rule.function(**arguments, **joint.limits)
    return bool(judged.verdict == Verdict.FAILS)


def contradictions(catalogue: Catalogue, row_of: Mapping[str, int], file: str) -> Iterator[Finding]:
    """Yield a finding for every part whose own figures clash.

    Parameters
    ----------
    catalogue : Catalogue
        Its vocabulary's joints marked ``check`` are tried on each part.
    row_of : mapping of str to int
        The line each part stands in.
    file : str
        The file those lines are in.
    """
    for joint in catalogue.vocabulary.joints:
        if not joint.check or not RULES[joint.rule].lengths:
            continue
        for part in catalogue.of(joint.roles[0]):
            if _contradicts(joint, part):
                figures = " and ".join(
                    f"{reference.feature} {dimension.text}"
                    for reference in joint.arguments.values()
                    if (dimension := _limits(part, reference)) is not None
                )
                yield Finding(
                    file,
                    row_of.get(part.sku),
                    "sku",
                    part.sku,
                    f"has figures that contradict each other ({joint.title}: {figures})",
                    " ".join(filter(None, (joint.because, "Measure the part again"))),
                    WARNING,
                )


def weights(catalogue: Catalogue, row_of: Mapping[str, int], file: str) -> Iterator[Finding]:
    """Yield a finding for every part whose mass its own geometry rules out.

    Parameters
    ----------
    catalogue : Catalogue
        Its vocabulary says which tube gives the mass.
    row_of : mapping of str to int
        The line each part stands in.
    file : str
        The file those lines are in.
    """
    source = catalogue.vocabulary.weigh
    if source is None:
        return
    for part in catalogue.of(source.outside.role):
        sizes = [_limits(part, r) for r in (source.outside, source.bore, source.length)]
        material = MATERIALS.get(part.material or "")
        if part.mass_g is None or material is None:
            continue
        outside, bore, length = sizes
        if outside is None or bore is None or length is None:
            continue
        if not (outside.known and bore.known and length.known) or outside.lo <= bore.hi:
            continue
        tube = (length.lo + source.more[0], length.hi + source.more[1])
        density = material.density_kg_m3
        least = float(bar_mass_band_g(outside.lo, bore.hi, tube, density)[0])
        most = float(bar_mass_band_g(outside.hi, bore.lo, tube, density)[1])
        if not least <= part.mass_g <= most:
            yield Finding(
                file,
                row_of.get(part.sku),
                "mass",
                f"{part.mass_g:g} g",
                f"cannot be: {part.sku} as {material.title} with these sizes weighs "
                f"{least:,.0f} to {most:,.0f} g",
                "Weigh it, or check its material and sizes",
                WARNING,
            )
