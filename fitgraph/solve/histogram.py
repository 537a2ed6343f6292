"""How builds spread over price and mass."""

from __future__ import annotations

import numpy as np

from fitgraph.array_types import Floats
from fitgraph.records import dataclass
from fitgraph.solve.counting import count
from fitgraph.solve.estimate import SEED, sample_sums
from fitgraph.solve.query import TENTHS, Query
from fitgraph.solve.stream import Stream

#: Up to so many builds every one is counted.
COUNTED_UP_TO = 5_000_000

#: Builds drawn where there are more.
DRAWN = 50_000


@dataclass(frozen=True, slots=True)
class Histogram:
    """Numbers of builds by price and mass.

    Parameters
    ----------
    price_edges : ndarray, shape (n_price + 1,)
        In minor currency units.
    mass_edges : ndarray, shape (n_mass + 1,)
        In g.
    builds : ndarray of float, shape (n_price, n_mass)
        Builds in each cell.
    standard_error : ndarray of float, shape (n_price, n_mass)
        Of each number; zero where every build was counted.
    exact : bool
        Whether every build was counted.
    """

    price_edges: Floats
    mass_edges: Floats
    builds: Floats
    standard_error: Floats
    exact: bool


def histogram(query: Query, *, bins: int = 40) -> Histogram:
    """Return how the builds of a query that are certain spread over price and mass.

    Parameters
    ----------
    query : Query
        The question; its limits are not applied, so that a chart can show
        what lies beyond them.
    bins : int
        Cells in each direction.
    """
    lets = query.mask(certain=True)
    total = count(query.space.plan(certain=True), query.weights(lets))
    if total == 0:
        empty = np.zeros((bins, bins))
        edges = np.linspace(0.0, 1.0, bins + 1)
        return Histogram(edges, edges, empty, empty, True)
    exact = total <= COUNTED_UP_TO
    if exact:
        batches = list(Stream(query, certain=True, limited=False).batches())
        price = np.concatenate([b.price for b in batches]).astype(float)
        tenths = np.concatenate([b.tenths for b in batches]).astype(float)
    else:
        rng = np.random.default_rng(SEED)
        price, tenths = sample_sums(query, DRAWN, rng, certain=True)
    found, price_edges, mass_edges = np.histogram2d(price, tenths / TENTHS, bins=bins)
    if exact:
        return Histogram(price_edges, mass_edges, found, np.zeros_like(found), True)
    share = found / DRAWN
    error = np.sqrt(share * (1 - share) / DRAWN)
    return Histogram(price_edges, mass_edges, share * total, error * total, False)
