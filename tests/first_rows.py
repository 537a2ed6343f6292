"""How good the first rows of an answer are for whoever weighs price, mass and strength by himself.

Weights are drawn evenly over all that add up to one; price, mass and strength each count from
their best to their worst on the exact Pareto front of the enquiry. The best build of such a
weighing lies on that front. A weighing is hit if a way among the first rows has a build as good;
the regret is what the best of the first rows is worse by, as a share of that scale.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.explain.representatives import representatives
from fitgraph.model import Enquiry
from fitgraph.solve import NamingError, Request, TreeEngine
from fitgraph.solve.cores import list_cores
from fitgraph.solve.query import ask

#: Rows that count as the first.
FIRST = 5


@dataclass(frozen=True)
class Measured:
    """What was measured.

    Parameters
    ----------
    enquiries : int
        With a build and a front.
    hits : float
        Share of all weighings for which a best way is among the first rows.
    regret : float
        Mean of what the best of the first rows is worse by.
    worst : float
        The largest mean regret of one enquiry.
    """

    enquiries: int
    hits: float
    regret: float
    worst: float


def request_of(enquiry: Enquiry) -> Request:
    """Return what an enquiry asks for."""
    return Request(
        have=enquiry.have,
        budget=enquiry.budget,
        max_mass_g=enquiry.max_mass_g,
        material=enquiry.material,
    )


def _one(
    engine: TreeEngine, request: Request, weights: npt.NDArray[np.float64]
) -> tuple[float, float] | None:
    """Return the share of hits and the mean regret of one request."""
    front = engine.front(request)
    if not front or any(b.strength_nm is None or b.mass_g is None for b in front):
        return None
    points = np.array([(b.price, b.mass_g or 0.0, -(b.strength_nm or 0.0)) for b in front])
    low = points.min(axis=0)
    spans = np.maximum(points.max(axis=0) - low, 1e-9)
    best = (weights @ ((points - low) / spans).T).min(axis=1)
    cores = list_cores(ask(engine.space, request))
    assert cores is not None
    rows = representatives(cores, sort="price", most=FIRST)
    found = np.full(len(weights), np.inf)
    for row in rows:
        same = np.ones(len(cores), dtype=bool)
        for role, place in row.places.items():
            same &= cores.options[role] == place
        (n,) = np.flatnonzero(same)
        mine = [
            (cores.with_price[n, k], cores.with_tenths[n, k] / 10)
            for k, kind in enumerate(cores.kinds)
            if kind != "price" and np.isfinite(cores.with_price[n, k])
        ]
        mine = [
            (p, m)
            for p, m in mine
            if p <= (request.budget or np.inf) and m <= (request.max_mass_g or np.inf) + 1e-9
        ]
        for build in front:
            if all(build.options.get(r) is row.options.get(r) for r in cores.options):
                mine.append((build.price, build.mass_g or 0.0))
        if mine and row.strength_nm is not None:
            own = np.array([(p, m, -row.strength_nm) for p, m in mine])
            found = np.minimum(found, (weights @ ((own - low) / spans).T).min(axis=1))
    regret = np.maximum(found - best, 0.0)
    return float((regret <= 1e-9).mean()), float(regret.mean())


def measure(
    engine: TreeEngine, enquiries: Iterable[Enquiry], *, draws: int = 500, seed: int = 20260301
) -> Measured:
    """Return how good the first rows are, over some enquiries."""
    weights = np.random.default_rng(seed).dirichlet(np.ones(3), draws)
    found = []
    for enquiry in enquiries:
        try:
            one = _one(engine, request_of(enquiry), weights)
        except NamingError:
            continue
        if one is not None:
            found.append(one)
    hits, regret = np.array(found).T
    return Measured(len(found), float(hits.mean()), float(regret.mean()), float(regret.max()))
