"""What share of whole assemblies fits, over all the joints of a combination at once."""

from __future__ import annotations

import math
from collections.abc import Mapping

from fitgraph.graph.joints import asked, judge
from fitgraph.graph.options import length_of, presence_of
from fitgraph.mechanics.rules import RULES
from fitgraph.mechanics.stackup import AssemblyShare, Pair, share_of_assemblies
from fitgraph.model import Dimension, Option, Presence, Reference, Vocabulary

#: Assemblies drawn, and the seed they are drawn with.
SAMPLES, SEED = 100_000, 20260101


def _known(chosen: Mapping[str, Option], reference: Reference | None) -> Dimension | None:
    if reference is None:
        return None
    dimension = length_of(chosen[reference.role], reference)
    return dimension if dimension is not None and dimension.known else None


def assembly_share(
    chosen: Mapping[str, Option], vocabulary: Vocabulary, *, samples: int = SAMPLES
) -> AssemblyShare | None:
    """Return the share of assemblies of such parts in which every bore goes with its spigot.

    Parameters
    ----------
    chosen : mapping of str to Option
        An option for each role of the combination, empty ones included.
    vocabulary : Vocabulary
        Its joints with a bore and a spigot that are there make the chain.
    samples : int
        Assemblies drawn, seeded.

    Returns
    -------
    AssemblyShare or None
        None where no such joint is there, or one rests on a size that nobody
        knows. A slot counts with its least width.

    Notes
    -----
    Joints of one part share its sizes, so shares of single pairs must not be
    multiplied; see :func:`fitgraph.mechanics.stackup.share_of_assemblies`.
    """
    dimensions: dict[str, tuple[float, float]] = {}
    pairs: list[Pair] = []
    for joint in asked(vocabulary.joints, tidy=False):
        bore, spigot = joint.arguments.get("bore"), joint.arguments.get("spigot")
        if bore is None or spigot is None or not set(joint.roles) <= set(chosen):
            continue
        if judge(joint, chosen).there is not Presence.PRESENT:
            continue
        sizes = {str(r): _known(chosen, r) for r in (bore, spigot)}
        most = joint.limits.get("most", math.inf)
        if "slot" in RULES[joint.rule].optional:
            cut = joint.arguments["slot"]
            slot = _known(chosen, cut)
            absent = presence_of(chosen[cut.role], cut.feature) is Presence.ABSENT
            if slot is None and not absent:
                return None
            width = slot.lo if slot is not None else 0.0
            most = width / math.pi - joint.limits.get("reserve", 0.0)
        for name, size in sizes.items():
            if size is None:
                return None
            dimensions[name] = (size.lo, size.hi)
        pairs.append(Pair(str(bore), str(spigot), joint.limits.get("least", 0.0), most))
    if not pairs:
        return None
    return share_of_assemblies(dimensions, pairs, samples=samples, seed=SEED)
