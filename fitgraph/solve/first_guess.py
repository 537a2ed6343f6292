"""A first number of builds within limits, soon enough to follow a slider.

The exact number comes after it (:func:`fitgraph.solve.limits.count_within`); both are honest
about what they are.

References
----------
.. [1] C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in
   the case of the binomial", Biometrika 26 (1934) 404-413; by ``scipy.stats.binomtest``.
"""

from __future__ import annotations

import numpy as np

from fitgraph.solve.counted import Counted, exactly
from fitgraph.solve.counting import count
from fitgraph.solve.estimate import CONFIDENCE, SEED, sample_sums
from fitgraph.solve.query import Query

#: Builds drawn, each as likely as the others.
SAMPLE = 10_000


def first_guess(query: Query) -> Counted:
    """Return how many builds keep a budget and a mass limit, from a small sample.

    Builds that are only possible are left out.

    Parameters
    ----------
    query : Query
        The question over a compiled catalogue.

    Returns
    -------
    Counted
        Exact without limits; else an estimate with its 99 % interval.
    """
    total = count(query.space.plan(certain=True), query.weights(query.mask(certain=True)))
    request = query.request
    if total == 0 or (request.budget is None and query.max_tenths is None):
        return exactly(total)
    price, tenths = sample_sums(query, SAMPLE, np.random.default_rng(SEED), certain=True)
    keeps = np.ones(SAMPLE, dtype=bool)
    if request.budget is not None:
        keeps &= price <= request.budget
    if query.max_tenths is not None:
        keeps &= tenths <= query.max_tenths
    hits = int(keeps.sum())
    from scipy.stats import binomtest  # takes a second to load

    ends = binomtest(hits, SAMPLE).proportion_ci(CONFIDENCE, method="exact")
    return Counted(
        hits * total // SAMPLE, int(ends.low * total), int(np.ceil(ends.high * total)), CONFIDENCE
    )
