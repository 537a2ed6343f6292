"""What share of whole assemblies with a made part goes together: diameters, nests and stacks.

Builds with the part are drawn at random, each as likely as any other, and of each build
assemblies at sizes that are drawn within their limits. So every joint is judged in every
assembly at the same sizes, and a ring has to close on all that is inside it.
"""

from __future__ import annotations

import numpy as np

from fitgraph.adapters.what_if import only_parts
from fitgraph.graph.assembly import Assemblies
from fitgraph.model import Catalogue, Part
from fitgraph.records import dataclass
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.sample import Lottery
from fitgraph.solve.space import Space, compile_space
from fitgraph.stopping import check

#: Builds that are drawn, assemblies of each, and the seed.
BUILDS, ASSEMBLIES, SEED = 200, 500, 20260101

#: Builds from which a share is worth telling.
ENOUGH = 20


@dataclass(frozen=True, slots=True)
class WholeYield:
    """What share of whole assemblies with a part goes together.

    Parameters
    ----------
    certain : float
        Mean share over drawn builds that certainly fit.
    certain_builds : int
        How many of them were drawn; zero where there is none.
    possible : float
        Mean share over drawn builds of which some assemblies may fit.
    possible_builds : int
        How many of them were drawn and rest on no size that nobody knows.
    """

    certain: float
    certain_builds: int
    possible: float
    possible_builds: int

    @property
    def telling(self) -> bool:
        """Whether enough of the builds that may fit rest on known sizes to tell their share."""
        return self.possible_builds >= ENOUGH


def whole_yield(catalogue: Catalogue, part: Part) -> WholeYield:
    """Return what share of whole assemblies with a part goes together.

    Parameters
    ----------
    catalogue : Catalogue
        The other parts.
    part : Part
        The made part.
    """
    return wholes_in(compile_space(only_parts(catalogue, part.role, [part])), part)


def wholes_in(space: Space, part: Part) -> WholeYield:
    """Return the same of a catalogue as compiled in which the part is its role's only one."""
    sure, maybe = (_shares(space, part, certain=certain) for certain in (True, False))
    return WholeYield(_mean(sure), len(sure), _mean(maybe), len(maybe))


def _mean(shares: list[float]) -> float:
    return float(np.mean(shares)) if shares else 0.0


def _shares(space: Space, part: Part, *, certain: bool) -> list[float]:
    """Return the share of assemblies that go together in builds drawn with a part.

    None where builds are too wide to be drawn: no answer beside it has to wait for that.
    """
    weight = {}
    for role, options in space.options.items():
        mine = [o.part is not None and o.part.sku == part.sku for o in options]
        weight[role] = np.array(mine if role == part.role else np.ones(len(options)), dtype=float)
    if any(not w.sum() for w in weight.values()):
        return []
    try:
        plan = space.plan(certain=certain)
    except TooWideError:
        return []
    drawing = Lottery(plan, space.class_of, weight)
    if not drawing.total:
        return []
    drawn = drawing.draw(BUILDS, np.random.default_rng(SEED))
    assemblies, found = Assemblies(space.catalogue.vocabulary, ASSEMBLIES), []
    for n in range(BUILDS):
        check()
        share = assemblies.share({r: space.options[r][int(at[n])] for r, at in drawn.items()})
        if share is not None:
            found.append(share.share)
    return found
