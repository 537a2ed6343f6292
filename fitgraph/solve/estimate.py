"""How many builds keep the limits, estimated from a random sample.

Where limits are tight, hardly any build of a uniform sample keeps them. So
builds are drawn with a tilt: each as likely as exp(-t c) says, where c is
what it spends of the limits and t the tilt at which a draw spends them just
about. A build that keeps the limits counts with the inverse of its chance.
Without a tilt every build is as likely as any. Along the rows of a plan the
halves of draws are put together anew (:mod:`fitgraph.solve.paired`); where
that says too little, or rows are too many, each draw counts alone.

References
----------
.. [1] C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial
   limits illustrated in the case of the binomial", Biometrika 26 (1934)
   404-413; computed by ``scipy.stats.binomtest``. For samples without tilt.
.. [2] A. Maurer, M. Pontil, "Empirical Bernstein bounds and sample variance
   penalization", COLT 2009, theorem 4 (reference checked). For tilted
   samples: it holds for any sample of independent values between 0 and 1.
.. [3] H. Chernoff, "A measure of asymptotic efficiency for tests of a
   hypothesis based on the sum of observations", Annals of Mathematical
   Statistics 23 (1952) 493-507 (reference checked). The tilt minimises his bound.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve.counted import Counted
from fitgraph.solve.kept import keeps_sums
from fitgraph.solve.paired import PILOT, Draws, mean_worth
from fitgraph.solve.query import Query
from fitgraph.solve.rows import Members
from fitgraph.solve.sample import Lottery
from fitgraph.solve.space import Space
from fitgraph.solve.support import Support

#: Size, seed and confidence of the sample behind an estimate.
SAMPLE, SEED, CONFIDENCE = 50_000, 20260101, 0.99

#: Steps that the search for a tilt may take, and how near it has to come, in standard deviations
#: of what a draw spends; near the best is good enough.
_STEPS, _NEAR = 10, 0.25

#: The steepest tilt, in what spending the limits from the least on costs a build's chance.
_STEEPEST = 500.0


@dataclass(frozen=True, slots=True)
class _Tilted:
    """Each option's weight under a tilt, and what weights were scaled by.

    The logarithm of what all builds' weights were multiplied by to keep them near one.
    """

    weight: dict[str, Floats]
    log_scale: float


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
    space = query.space
    weight = {r: m.astype(float) for r, m in query.mask(certain=certain).items()}
    drawing = Lottery(space.plan(certain=certain), space.class_of, weight)
    price, tenths = np.zeros(size), np.zeros(size)
    for role, option in drawing.draw(size, rng).items():
        price += query.price[role][option]
        tenths += query.tenths[role][option]
    return price, tenths


@dataclass(frozen=True, slots=True)
class _Limited:
    """The limits of a query, and what spends of them.

    Parameters
    ----------
    query : Query
        The question.
    lets : mapping of str to ndarray of bool
        Which options it lets in.
    certain : bool
        Whether builds that are only possible are left out.
    space : Space
        What is drawn from: the query's, or that without its conditions on sums.
    support : Support or None
        The rows of its plan, where they are few.
    members : Members
        The options of each kind.
    costs : tuple of mapping of str to ndarray of float
        What each option spends of each limit that there is.
    limits : ndarray of float, shape (n_limits,)
        The limits that there are.
    """

    query: Query
    lets: Mapping[str, npt.NDArray[np.bool_]]
    certain: bool
    space: Space
    support: Support | None
    members: Members
    costs: tuple[Mapping[str, Floats], ...]
    limits: Floats

    @staticmethod
    def of(query: Query, *, certain: bool) -> _Limited:
        """Return the limits of a query."""
        lets = query.mask(certain=certain)
        both = (query.request.budget, query.price), (query.max_tenths, query.tenths)
        given = [(float(limit), cost) for limit, cost in both if limit is not None]
        space = query.space.without_sums(certain=certain) or query.space
        return _Limited(
            query,
            lets,
            certain,
            space,
            space.few_rows(certain=certain),
            Members(space.class_of, lets),
            tuple(cost for _, cost in given),
            np.array([limit for limit, _ in given]),
        )

    @property
    def least(self) -> tuple[dict[str, float], ...]:
        """Return the least that an option of each role spends of each limit."""
        return tuple({r: float(c[r][m].min()) for r, m in self.lets.items()} for c in self.costs)

    def tilted(self, tilt: Floats) -> _Tilted:
        """Return weights exp(-tilt . what is spent), so that a role's largest is one."""
        weight, log_scale = {}, 0.0
        for role, mask in self.lets.items():
            spent = sum(t * c[role] for t, c in zip(tilt, self.costs, strict=True))
            least = float(spent[mask].min())
            log_scale += least
            weight[role] = np.where(mask, np.exp(np.minimum(least - spent, 0.0)), 0.0)
        return _Tilted(weight, log_scale)

    def draws(self, tilted: _Tilted) -> Draws | Lottery:
        """Return what draws builds by weight."""
        if self.support is not None:
            return Draws(self.support, self.members, tilted.weight)
        plan = self.space.plan(certain=self.certain)
        return Lottery(plan, self.space.class_of, tilted.weight)

    def drawn(
        self, draws: Draws | Lottery, size: int, rng: np.random.Generator
    ) -> tuple[dict[str, Ints], Floats]:
        """Return the options of drawn builds, and what they spend of each limit."""
        if isinstance(draws, Draws):
            options = {r: np.zeros(size, dtype=np.intp) for r in self.lets}
            for some in draws.draw(size, rng):
                for role, option in some.options.items():
                    options[role][some.at] = option
        else:
            options = draws.draw(size, rng)
        return options, np.array([sum(c[r][o] for r, o in options.items()) for c in self.costs])

    def start(self, rng: np.random.Generator) -> tuple[Floats, _Tilted, Draws | Lottery]:
        """Return the tilt of about the least bound, zero where limits hardly bind, and its draws.

        The bound's gradient is the room that draws leave on average, its curvature their
        covariance: both from a few draws, they are good enough for Newton's steps.
        """
        most = _STEEPEST / np.maximum(self.limits - [sum(m.values()) for m in self.least], 1.0)
        tilt = np.zeros(len(self.limits))
        best: tuple[float, Floats, _Tilted, Draws | Lottery] | None = None
        for _ in range(_STEPS):
            tilted = self.tilted(tilt)
            draws = self.draws(tilted)
            bound = math.log(draws.total) - tilted.log_scale + float(tilt @ self.limits)
            if best is not None and bound > best[0]:  # a step too far: the bound is convex
                tilt = (tilt + best[1]) / 2
                continue
            best = bound, tilt, tilted, draws
            _, sums = self.drawn(draws, PILOT, rng)
            scatter = np.atleast_2d(np.cov(sums))
            scale = np.sqrt(np.maximum(np.diag(scatter), 1.0))
            scatter = scatter + np.diag(1e-3 * scale * scale)
            more = _step(tilt, sums.mean(axis=1) - self.limits, scatter)
            moved = np.minimum(tilt + more, most) - tilt
            if (np.abs(moved) * scale <= _NEAR).all():
                break
            tilt = tilt + moved
        assert best is not None
        return best[1:]


def _step(tilt: Floats, excess: Floats, scatter: Floats) -> Floats:
    """Return Newton's step for a tilt that may not become negative.

    Parameters
    ----------
    tilt, excess : ndarray of float, shape (n_limits,)
        The tilt, and by how much draws exceed the limits on average.
    scatter : ndarray of float, shape (n_limits, n_limits)
        Their covariance.
    """
    free = np.ones(len(tilt), dtype=bool)
    while True:
        step = -tilt.copy()
        if free.any():
            rest = excess[free] - scatter[np.ix_(free, ~free)] @ step[~free]
            step[free] = np.linalg.solve(scatter[np.ix_(free, free)], rest)
        below = free & (tilt + step < 0)
        if not below.any():
            return step
        free &= ~below


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
    rng = np.random.default_rng(SEED)
    limited = _Limited.of(query, certain=certain)
    tilt, tilted, draws = limited.start(rng)
    # What a build that spends the limits to the last stands for.
    most = math.exp(math.log(draws.total) - tilted.log_scale + float(tilt @ limited.limits))
    whole = limited.space is query.space
    if whole and isinstance(draws, Draws) and limited.support is not None:
        found = mean_worth(
            limited.support,
            limited.members,
            draws,
            tilted.weight,
            limited.costs,
            limited.least,
            limited.limits,
            tilt,
            rng,
        )
        if found is not None:
            from scipy.special import stdtrit  # takes a while to load

            wide = float(stdtrit(found.freedom, 0.5 + CONFIDENCE / 2)) * found.error
            return _counted(total, most, found.value, wide)
    options, sums = limited.drawn(draws, SAMPLE, rng)
    inside = (sums <= limited.limits[:, None]).all(axis=0)
    if not whole:
        inside &= keeps_sums(query.space, options, certain=certain)
    if not tilt.any():
        every = total if whole else round(draws.total)
        hits = int(inside.sum())
        from scipy.stats import binomtest  # takes a second to load

        interval = binomtest(hits, SAMPLE).proportion_ci(CONFIDENCE, "exact")
        return Counted(
            min(total, every * hits // SAMPLE),
            int(every * interval.low),
            min(total, int(every * interval.high) + 1),
            CONFIDENCE,
        )
    slack = tilt @ (limited.limits[:, None] - sums)
    values = np.where(inside, np.exp(-np.maximum(slack, 0.0)), 0.0)
    doubt = math.log(4.0 / (1.0 - CONFIDENCE))
    error = math.sqrt(2.0 * float(values.var(ddof=1)) * doubt / SAMPLE) + 7.0 * doubt / (
        3.0 * (SAMPLE - 1)
    )
    return _counted(total, most, float(values.mean()), error)


def _counted(total: int, most: float, mean: float, error: float) -> Counted:
    return Counted(
        max(0, min(total, round(most * mean))),
        max(0, math.floor(most * (mean - error))),
        max(0, min(total, math.ceil(most * (mean + error)))),
        CONFIDENCE,
    )
