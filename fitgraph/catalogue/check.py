"""Figures of one part that cannot be true together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

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


def _contradicting(joint: Joint, parts: Sequence[Part]) -> Iterator[Part]:
    """Yield the parts on which a joint of a part with itself fails, judged all at once."""
    rule = RULES[joint.rule]
    found = []
    for part in parts:
        sizes = [_limits(part, joint.arguments[name]) for name in rule.lengths]
        known = [size for size in sizes if size is not None and size.known]
        if len(known) == len(sizes):
            found.append((part, known))
    if not found:
        return
    arguments = {
        name: Limits(
            np.array([sizes[n].lo for _, sizes in found]),
            np.array([sizes[n].hi for _, sizes in found]),
        )
        for n, name in enumerate(rule.lengths)
    }
    judged = rule.judge(**arguments, **joint.limits)
    for at in np.flatnonzero(judged.verdict == Verdict.FAILS):
        yield found[at][0]


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
        for part in _contradicting(joint, catalogue.of(joint.roles[0])):
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
                "contradictions",
                part.sku,
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
    found = []
    for part in catalogue.of(source.outside.role):
        material = MATERIALS.get(part.material or "")
        sizes = [_limits(part, r) for r in (source.outside, source.bore, source.length)]
        known = [s for s in sizes if s is not None and s.known]
        if part.mass_g is None or material is None or len(known) < len(sizes):
            continue
        outside, bore, length = ((max(s.lo, 0.0), s.hi) for s in known)
        if bore[1] < outside[0]:
            found.append((part, material, outside, bore, length))
    if not found:
        return
    outsides, bores, lengths = (np.array([row[n] for row in found]).T for n in (2, 3, 4))
    tubes = (lengths[0] + source.more[0], lengths[1] + source.more[1])
    density = np.array([material.density_kg_m3 for _, material, *_ in found])
    least, _ = bar_mass_band_g(outsides[0], bores[1], tubes, density)
    _, most = bar_mass_band_g(outsides[1], bores[0], tubes, density)
    for (part, material, *_), low, high in zip(found, np.ravel(least), np.ravel(most), strict=True):
        if part.mass_g is None or low <= part.mass_g <= high:
            continue
        yield Finding(
            file,
            row_of.get(part.sku),
            "mass",
            f"{part.mass_g:g} g",
            f"cannot be: {part.sku} as {material.title} with these sizes weighs "
            f"{low:,.0f} to {high:,.0f} g",
            "Weigh it, or check its material and sizes",
            WARNING,
            "weights",
            part.sku,
        )
