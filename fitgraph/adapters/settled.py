"""The sizes that are drawn: standard ones where nothing is lost, else the snuggest.

A candidate that is a ring of a nest stands at its snug corner. Looser sizes of its cell meet the
same counterparts; each hundredth that they are looser is a hundredth more for the rings around
to take up. So as long as all of it is less than what the nearest nest has to spare, not one
build is lost, and a size that the workshop has a gauge for can be taken.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from fitgraph.adapters.candidates import FINER, Candidate, Counterparts, label
from fitgraph.adapters.cells import SAME_MM
from fitgraph.adapters.made import features_of, held, make_part
from fitgraph.graph.options import plain
from fitgraph.model import FreeSize, Part, Reference

#: Sizes nearest to the snug one that are looked at.
_NEAREST = 4


def settled(counterparts: Counterparts, candidate: Candidate, spare: float) -> Candidate:
    """Return a candidate with the sizes that it is drawn with.

    Parameters
    ----------
    counterparts : Counterparts
        What counts, of the candidate's make.
    candidate : Candidate
        At its snug corner; any other is returned as it is.
    spare : float
        What the nearest of the nests that it closes in has left at the worst sizes [mm].

    Returns
    -------
    Candidate
        It certainly makes every build that the other makes. Of the sizes that do, those that
        the process has gauges for go first, then the snuggest.
    """
    if not counterparts.snug:
        return candidate
    make = candidate.make
    around = _around(counterparts, candidate)
    choices: list[list[tuple[Reference, float, float, bool]]] = []
    for free in make.free:
        low, high = around[free.size]
        choices.append(_choices(make.step, free, candidate, low, high, spare))
    best: tuple[tuple[float, ...], dict[Reference, float], tuple[Reference, ...]] | None = None
    for combination in itertools.product(*choices):
        loosened = sum(loose for _, _, loose, _ in combination)
        sizes = {r: size for r, size, _, _ in combination}
        if loosened > max(spare, 0.0) + SAME_MM or not _walled(counterparts, sizes):
            continue
        standard = tuple(r for r, _, _, known in combination if known)
        finest = tuple(_decimals(size) for size in sizes.values())
        rank = (-float(len(standard)), float(max(finest)), round(loosened, 6))
        if best is None or rank < best[0]:
            best = (rank, sizes, standard)
    if best is None:
        return candidate
    _, sizes, standard = best
    sku = label(make, sizes, candidate.words)
    part = make_part(make, counterparts.catalogue.vocabulary, sku, sizes, candidate.words)
    return replace(candidate, sizes=sizes, part=part, standard=standard)


def _decimals(size: float) -> int:
    """Return how many decimals a size is written with."""
    return next((n for n in range(6) if math.isclose(round(size, n), size, abs_tol=1e-9)), 6)


def _around(
    counterparts: Counterparts, candidate: Candidate
) -> dict[Reference, tuple[float, float]]:
    """Return the nominal sizes around a candidate's at which no counterpart of it is lost."""
    make, vocabulary = candidate.make, counterparts.catalogue.vocabulary
    keep = counterparts.kept(candidate.words)
    features = features_of(make, vocabulary, candidate.sizes, candidate.words)
    own = plain(Part("?", make.role, features=features))
    found = {}
    for free in make.free:
        size = candidate.sizes[free.size]
        lower, upper = held(free, size)
        least, most = counterparts.intervals(free, keep, own, settled=True)
        met = (least <= size + lower + SAME_MM) & (most >= size + upper - SAME_MM)
        cell = candidate.cells[free.size]
        low = max((least[met] - lower).max(initial=-np.inf), cell.stretch[0])
        high = min((most[met] - upper).min(initial=np.inf), cell.stretch[1])
        found[free.size] = (low, high)
    return found


def _choices(
    step: float, free: FreeSize, candidate: Candidate, low: float, high: float, spare: float
) -> list[tuple[Reference, float, float, bool]]:
    """Return sizes that may be taken, by how much each is looser, and whether it is standard."""
    snug = candidate.sizes[free.size]
    if math.isclose(round(snug, 6), snug, abs_tol=SAME_MM / 10):
        snug = round(snug, 6)
    tightens = candidate.tightens.get(free.size, 0)
    if not tightens:
        return [(free.size, snug, 0.0, False)]
    ends = (snug, min(high, snug + spare)) if tightens < 0 else (max(low, snug - spare), snug)
    found = [(free.size, snug, 0.0, _among(snug, free.gauges))]
    gauges = [g for g in free.gauges if ends[0] - SAME_MM <= g <= ends[1] + SAME_MM]
    for size in sorted(gauges, key=lambda g: abs(g - snug))[:_NEAREST]:
        found.append((free.size, size, abs(size - snug), True))
    for unit in (step * share for share in FINER):
        rounding = math.ceil if tightens < 0 else math.floor
        nudge = -SAME_MM if tightens < 0 else SAME_MM
        size = round(rounding(snug / unit + nudge / unit) * unit, 6)
        if ends[0] - SAME_MM <= size <= ends[1] + SAME_MM:
            found.append((free.size, size, abs(size - snug), _among(size, free.gauges)))
    return found


def _among(size: float, gauges: Sequence[float]) -> bool:
    return any(math.isclose(size, g, abs_tol=1e-6) for g in gauges)


def _walled(counterparts: Counterparts, sizes: Mapping[Reference, float]) -> bool:
    """Return whether sizes leave the least wall, where it ties them."""
    make = counterparts.make
    if not counterparts.tied or make.bore is None:
        return True
    free = {f.size: f for f in make.free}
    bore, outside = sizes[make.bore], sizes[make.outside]
    wall = outside + held(free[make.outside], outside)[0] - bore - held(free[make.bore], bore)[1]
    return wall >= 2 * make.least_wall - SAME_MM
