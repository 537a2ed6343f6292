"""Figures of one part that cannot be true together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from fitgraph.catalogue.findings import WARNING, Finding
from fitgraph.mechanics.rules import RULES, Limits
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
                    joint.because.rstrip(".") or "Measure the part again",
                    WARNING,
                )
