"""How likely a joint holds that cannot be told, by what such figures are in the catalogue."""

from __future__ import annotations

from fitgraph.explain.outcomes import sizes_seen
from fitgraph.explain.reasons import Clash, Figure
from fitgraph.graph.options import empty
from fitgraph.graph.said import judge
from fitgraph.model import Basis, Catalogue, Dimension, Presence, Verdict, with_length
from fitgraph.records import dataclass

#: Fewer known figures than this say nothing.
_LEAST = 5


@dataclass(frozen=True, slots=True)
class Chance:
    """How often a joint would hold if an unknown figure were like the others.

    Parameters
    ----------
    figure : Figure
        The figure that nobody knows.
    seen : int
        Parts of the role whose figure is known.
    fit : int
        With how many of their figures the joint would hold for certain.
    """

    figure: Figure
    seen: int
    fit: int

    @property
    def share(self) -> float:
        """Return the share that fits, from 0 to 1."""
        return self.fit / self.seen


def chance_of(clash: Clash, catalogue: Catalogue) -> Chance | None:
    """Return how likely an undecided joint holds, None where nothing says so.

    Parameters
    ----------
    clash : Clash
        A joint of which nobody can tell.
    catalogue : Catalogue
        Each other part of the role whose figure is known counts once.

    Returns
    -------
    Chance or None
        None where not exactly one length is unknown, or fewer than five are known elsewhere.
    """
    if clash.verdict is not Verdict.UNKNOWN or clash.joint.shares:
        return None
    unknown = [f for f in clash.figures if f.dimension is not None and not f.dimension.known]
    if len(unknown) != 1 or unknown[0].presence is not Presence.PRESENT:
        return None
    (figure,) = unknown
    role, feature, name = figure.reference.role, figure.reference.feature, figure.reference.name
    seen = sizes_seen(catalogue, role, feature or "", name)
    if len(seen) < _LEAST:
        return None
    chosen = {r: clash.options.get(r, empty(r)) for r in clash.joint.roles}
    option = chosen[role]
    told: dict[float, bool] = {}
    for size in seen:
        if size not in told:
            exact = Dimension(size, size, Basis.MEASURED)
            trial = {**chosen, role: with_length(option, feature or "", name, exact)}
            told[size] = judge(clash.joint, trial).verdict is Verdict.FITS
    return Chance(figure, len(seen), sum(told[size] for size in seen))
