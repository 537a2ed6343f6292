"""What share of whole assemblies fits, over all the joints of a combination at once."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.graph.drawn import holds_at, measures_of, surely
from fitgraph.graph.joints import asked, conditions_of
from fitgraph.mechanics.rules import RULES
from fitgraph.mechanics.stackup import AssemblyShare, draw
from fitgraph.model import Option, Reference, Vocabulary

#: Assemblies drawn, and the seed they are drawn with.
SAMPLES, SEED = 100_000, 20260101


def assembly_share(
    chosen: Mapping[str, Option], vocabulary: Vocabulary, *, samples: int = SAMPLES
) -> AssemblyShare | None:
    """Return the share of assemblies of such parts in which every length comes out right.

    Parameters
    ----------
    chosen : mapping of str to Option
        An option for each role of the combination, empty ones included.
    vocabulary : Vocabulary
        Its joints on bores and spigots, its nests and its stacks make the chain.
    samples : int
        Assemblies drawn, seeded.

    Returns
    -------
    AssemblyShare or None
        None where no such joint is there, or one rests on a size that nobody knows.

    Notes
    -----
    Joints of one part share its sizes, so shares of single pairs must not be multiplied: every
    dimension is drawn once, uniform within its limits, and every joint is judged at the sizes
    drawn. A wall that nobody knows counts as the worst.
    """
    there = [
        joint
        for joint in asked(vocabulary.joints, tidy=False)
        if (RULES[joint.rule].sums or "bore" in joint.arguments)
        and set(joint.roles) <= set(chosen)
        and surely(chosen, conditions_of(joint))
    ]
    limits: dict[Reference, tuple[float, float]] = {}
    try:
        for joint in there:
            limits |= measures_of(joint, chosen)
    except LookupError:
        return None
    if not there:
        return None
    random = np.random.default_rng(SEED)
    sizes = {reference: draw(ends, samples, random) for reference, ends in limits.items()}
    fits = np.ones((len(there), samples), dtype=bool)
    for row, joint in enumerate(there):
        fits[row] = holds_at(joint, chosen, sizes)
    return AssemblyShare.of(fits)
