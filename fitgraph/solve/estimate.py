"""How many builds keep the limits, estimated from a random sample.

Where limits are tight, hardly any build of a uniform sample keeps them. So
builds are drawn with a tilt: each as likely as exp(-t c) says, where c is
what it spends of the limits and t the tilt at which a draw spends them just
about. A build that keeps the limits counts with the inverse of its chance.
Without a tilt every build is as likely as any.

References
----------
.. [1] C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial
   limits illustrated in the case of the binomial", Biometrika 26 (1934)
   404-413; computed by ``scipy.stats.binomtest``. For samples without tilt.
.. [2] A. Maurer, M. Pontil, "Empirical Bernstein bounds and sample variance
   penalization", COLT 2009, theorem 4 (from memory). For tilted samples: it
   holds for any sample of independent values between 0 and 1.
.. [3] H. Chernoff, "A measure of asymptotic efficiency for tests of a
   hypothesis based on the sum of observations", Annals of Mathematical
   Statistics 23 (1952) 493-507 (from memory). The tilt minimises his bound.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.solve.algebra import COUNT
from fitgraph.solve.counted import Counted
from fitgraph.solve.passes import Demands, Passes
from fitgraph.solve.query import Query
from fitgraph.solve.sample import Drawing, of_classes

Floats = npt.NDArray[np.float64]

#: Size, seed and confidence of the sample behind an estimate.
SAMPLE, SEED, CONFIDENCE = 50_000, 20260101, 0.99

#: Looks at the bound that the search for a tilt may take; near the best is good enough.
_LOOKS = 40


@dataclass(frozen=True, slots=True)
class _Tilted:
    """Each option's weight under a tilt, and what weights were scaled by.

    The logarithm of what all builds' weights were multiplied by to keep them near one.
    """

    weight: dict[str, Floats]
    log_scale: float


def _tilted(query: Query, lets: Mapping[str, npt.NDArray[np.bool_]], tilt: Floats) -> _Tilted:
    """Return weights exp(-tilt . (price, tenths)), so that a role's largest is one."""
    weight, log_scale = {}, 0.0
    for role, mask in lets.items():
        spent = tilt[0] * query.price[role] + tilt[1] * query.tenths[role]
        least = float(spent[mask].min())
        log_scale += least
        weight[role] = np.where(mask, np.exp(np.minimum(least - spent, 0.0)), 0.0)
    return _Tilted(weight, log_scale)


def _sums(
    query: Query, tilted: _Tilted, size: int, rng: np.random.Generator, *, certain: bool
) -> tuple[Floats, Floats]:
    """Return price and mass in tenths of a gram of builds drawn by weight."""
    space = query.space
    drawing = Drawing(space.plan(certain=certain), space.class_of, tilted.weight)
    price, tenths = np.zeros(size), np.zeros(size)
    for role, option in drawing.draw(size, rng).items():
        price += query.price[role][option]
        tenths += query.tenths[role][option]
    return price, tenths


def sample_sums(
    query: Query, size: int, rng: np.random.Generator, *, certain: bool
) -> tuple[Floats, Floats]:
    """Return price and mass in tenths of a gram of random builds, each as likely as any.

    Parameters
    ----------
    query : Query
        The question; it must have a build. Its limits are not applied.
    size : int
        How many to draw, with repetition.
    rng : numpy.random.Generator
        Where chance comes from.
    certain : bool
        Whether builds that are only possible are left out.
    """
    tilted = _tilted(query, query.mask(certain=certain), np.zeros(2))
    return _sums(query, tilted, size, rng, certain=certain)


def _log_bounds(
    query: Query,
    lets: Mapping[str, npt.NDArray[np.bool_]],
    tilts: Sequence[Floats],
    limits: Floats,
    *,
    certain: bool,
) -> list[float]:
    """Return the logarithm of Chernoff's bound on the builds within the limits, by tilt."""
    space = query.space
    plan = space.plan(certain=certain)
    every = [_tilted(query, lets, tilt) for tilt in tilts]
    values = {
        r: np.array([of_classes(t.weight[r], space.class_of[r], plan.sizes[r]) for t in every])
        for r in lets
    }
    at = np.arange(len(every), dtype=np.intp)
    totals = Passes(plan, Demands(values, dict.fromkeys(values, at)), COUNT).totals()
    return [
        math.log(total)
        - tilted.log_scale
        + sum(float(t * x) for t, x in zip(tilt, limits, strict=True) if t)
        for total, tilted, tilt in zip(totals, every, tilts, strict=True)
    ]


def _tilt(
    query: Query,
    lets: Mapping[str, npt.NDArray[np.bool_]],
    limits: Floats,
    *,
    certain: bool,
) -> Floats:
    """Return the tilt of the least bound; zero for limits that hardly bind."""
    finite = np.isfinite(limits)
    least = [
        sum(float(c[r][m].min()) for r, m in lets.items()) for c in (query.price, query.tenths)
    ]
    room = np.maximum(limits - least, 1.0)[finite]

    def bound(scaled: Floats) -> float:
        tilt = np.zeros(2)
        tilt[finite] = scaled / room
        return _log_bounds(query, lets, [tilt], limits, certain=certain)[0]

    from scipy.optimize import minimize  # takes a second to load

    found = minimize(
        bound,
        np.full(len(room), 5.0),
        method="Nelder-Mead",
        bounds=[(0.0, 500.0)] * len(room),
        options={"maxfev": _LOOKS, "xatol": 0.1, "fatol": 0.02},
    )
    tilt = np.zeros(2)
    tilt[finite] = found.x / room
    return tilt


def estimate(query: Query, total: int, *, certain: bool) -> Counted:
    """Return an estimate of how many of a query's builds keep its limits.

    Parameters
    ----------
    query : Query
        The question, with a limit; it must have a build.
    total : int
        Its builds, limits aside.
    certain : bool
        Whether builds that are only possible are left out.

    Returns
    -------
    Counted
        With an interval of confidence :data:`CONFIDENCE`.
    """
    lets = query.mask(certain=certain)
    request = query.request
    limits = np.array(
        [np.inf if x is None else float(x) for x in (request.budget, query.max_tenths)]
    )
    rng = np.random.default_rng(SEED)
    tilt = _tilt(query, lets, limits, certain=certain)
    sums = np.array(_sums(query, _tilted(query, lets, tilt), SAMPLE, rng, certain=certain))
    inside = (sums <= limits[:, None]).all(axis=0)
    if not tilt.any():
        hits = int(inside.sum())
        from scipy.stats import binomtest  # takes a second to load

        interval = binomtest(hits, SAMPLE).proportion_ci(CONFIDENCE, "exact")
        return Counted(
            total * hits // SAMPLE,
            int(total * interval.low),
            min(total, int(total * interval.high) + 1),
            CONFIDENCE,
        )
    finite = np.isfinite(limits)
    slack = tilt[finite] @ (limits[finite, None] - sums[finite])
    values = np.where(inside, np.exp(-np.maximum(slack, 0.0)), 0.0)
    most = math.exp(_log_bounds(query, lets, [tilt], limits, certain=certain)[0])
    mean = float(values.mean())
    doubt = math.log(4.0 / (1.0 - CONFIDENCE))
    error = math.sqrt(2.0 * float(values.var(ddof=1)) * doubt / SAMPLE) + 7.0 * doubt / (
        3.0 * (SAMPLE - 1)
    )
    return Counted(
        min(total, round(most * mean)),
        max(0, math.floor(most * (mean - error))),
        min(total, math.ceil(most * (mean + error))),
        CONFIDENCE,
    )
