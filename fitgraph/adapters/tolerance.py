"""What a coarser or a finer tolerance does to the yield of one part."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitgraph.adapters.candidates import Candidate
from fitgraph.adapters.made import cost_of, make_part, shape_of
from fitgraph.adapters.mates import mates, sides_of
from fitgraph.adapters.variants import held_to
from fitgraph.graph.options import plain
from fitgraph.model import Catalogue, Part
from fitgraph.records import dataclass
from fitgraph.stopping import check


@dataclass(frozen=True, slots=True)
class GradeYield:
    """A part held to one grade, against the counterparts it was designed for.

    Parameters
    ----------
    grade : int
        Standard tolerance grade of ISO 286-1.
    part : Part
        The part at that grade, its nominal sizes unchanged.
    counterparts : int
        How many pairings are looked at: those with at least some fitting pairs as designed.
    pairs : float
        Mean share of pairs that assemble over all of them.
    worst : float
        The least share of any that certainly fits as designed.
    wall : float
        Wall in mm at the worst sizes.
    cost : int
        Estimated cost in minor currency units. The model prices no tolerance, so that it
        changes with the blank only.
    """

    grade: int
    part: Part
    counterparts: int
    pairs: float
    worst: float
    wall: float
    cost: int


def yields_by_grade(
    catalogue: Catalogue, candidate: Candidate, grades: Sequence[int]
) -> tuple[GradeYield, ...]:
    """Return what share of pairs assembles, for each grade the part could be held to.

    Parameters
    ----------
    catalogue : Catalogue
        The counterparts.
    candidate : Candidate
        The part, as designed.
    grades : sequence of int
        Standard tolerance grades.

    Notes
    -----
    The counterparts are the same for all grades: those of which some pairs fit as designed. At
    the part's own grade the share is that of :func:`fitgraph.adapters.yield_of`. Sizes are
    taken as uniform within their limits.

    A coarser grade never helps a counterpart that certainly fits, so that `worst` only falls.
    `pairs` may rise: a part at its snug corner stands close to its counterparts, and a wider
    bore lets in more of those whose own limits are wide.
    """
    make, part = candidate.make, candidate.part
    met = [m for m in mates(catalogue, part) if "spigot" in m.joint.arguments and m.share]
    found = []
    for grade in grades:
        held = held_to(make, grade)
        again = make_part(held, catalogue.vocabulary, part.sku, candidate.sizes, candidate.words)
        made = plain(again)
        shares = []
        for mate in met:
            check()
            sides = sides_of(mate.joint, {part.role: made, mate.option.role: mate.option})
            shares.append(mate.share if sides is None else sides.share())
        sure = [s for s, m in zip(shares, met, strict=True) if m.share == 1.0]
        shape = shape_of(held, again.features)
        found.append(
            GradeYield(
                grade,
                again,
                len(met),
                float(np.mean(shares)) if shares else 0.0,
                min(sure, default=0.0),
                shape.least_wall,
                cost_of(held, shape).total,
            )
        )
    return tuple(found)
