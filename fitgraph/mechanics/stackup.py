"""How tolerances add up, and what share of pairs and of whole assemblies fit.

Dimensions are independent of each other. Within its limits a dimension is uniform (nothing is
known but the limits) or normal around their middle, cut off at the limits, with the limits
`sigmas` standard deviations away from the middle. Lengths are in mm.

References
----------
Shigley's Mechanical Engineering Design, 10th ed., section 1-14 (worst case and root sum of
squares); the trapezoidal distribution of the difference of two uniform dimensions as in
JCGM 101:2008, clause 6.4.4.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt

from fitgraph.mechanics.numbers import Floats, plain, require
from fitgraph.records import dataclass

Limits = tuple[float, float]
Shape = Literal["uniform", "normal"]

#: Widths below this are taken for a single size, in mm.
_POINT_MM = 1e-9


@dataclass(frozen=True, slots=True)
class ChainDimension:
    """One dimension of a chain.

    Parameters
    ----------
    name : str
        For readers.
    lo, hi : float
        Limits of size in mm.
    sign : int
        +1 where it adds to the result (a bore), -1 where it takes from it (a spigot).
    """

    name: str
    lo: float
    hi: float
    sign: int = 1

    def __post_init__(self) -> None:
        if self.lo > self.hi:
            raise ValueError(f"{self.name}: the limits {self.lo:g} to {self.hi:g} are reversed")
        if self.sign not in (-1, 1):
            raise ValueError(f"{self.name}: the sign has to be +1 or -1, not {self.sign}")


@dataclass(frozen=True, slots=True)
class Pair:
    """A bore on a spigot, by the names of their dimensions, and the clearance that fits in mm."""

    bore: str
    spigot: str
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class AssemblyShare:
    """What share of assemblies fits.

    Parameters
    ----------
    share : float
        Share in which every pair fits.
    standard_error : float
        Standard error of that share, from the number of samples.
    by_pair : tuple of float
        Share in which each pair fits on its own.
    """

    share: float
    standard_error: float
    by_pair: tuple[float, ...]

    @classmethod
    def of(cls, fits: npt.NDArray[np.bool_]) -> AssemblyShare:
        """Return the share of samples in which every pair fits; a row a pair, a column a sample."""
        share = float(fits.all(axis=0).mean())
        error = float(np.sqrt(share * (1 - share) / fits.shape[1]))
        return cls(share, error, tuple(float(x) for x in fits.mean(axis=1)))


def worst_case_mm(chain: Sequence[ChainDimension]) -> Limits:
    """Return the limits of a chain's result when every link is at its worst."""
    lo = sum(link.lo if link.sign > 0 else -link.hi for link in chain)
    hi = sum(link.hi if link.sign > 0 else -link.lo for link in chain)
    return float(lo), float(hi)


def rss_mm(chain: Sequence[ChainDimension]) -> Limits:
    """Return the limits of a chain's result by the root sum of squares of the half widths."""
    middle = sum(link.sign * (link.lo + link.hi) / 2 for link in chain)
    half = float(np.sqrt(sum(((link.hi - link.lo) / 2) ** 2 for link in chain)))
    return float(middle) - half, float(middle) + half


def is_point(limits: Limits) -> bool:
    """Return whether limits in mm leave a size no room."""
    return limits[1] - limits[0] < _POINT_MM


def draw(
    limits: Limits,
    samples: int,
    random: np.random.Generator,
    shape: Shape = "uniform",
    sigmas: float = 3.0,
) -> npt.NDArray[np.float64]:
    """Return random sizes within limits, in mm.

    Parameters
    ----------
    limits : tuple of float
        In mm.
    samples : int
        How many.
    random : numpy.random.Generator
        Where chance comes from; seed it to repeat a result.
    shape : {"uniform", "normal"}
        How sizes spread within the limits.
    sigmas : float
        Standard deviations from the middle to the limits, for "normal".

    Raises
    ------
    ValueError
        If the limits are reversed or `sigmas` is not above zero.
    """
    lo, hi = limits
    require(lo <= hi, "the limits are reversed")
    require(sigmas > 0, "the limits have to be some standard deviations away")
    if is_point(limits):
        return np.full(samples, (lo + hi) / 2)
    if shape == "uniform":
        return random.uniform(lo, hi, samples)
    scale = (hi - lo) / 2 / sigmas
    from scipy import stats  # takes a second to load, and most questions do without

    spread = stats.truncnorm(-sigmas, sigmas, loc=(lo + hi) / 2, scale=scale)
    return np.asarray(spread.rvs(samples, random_state=random), dtype=float)


def simulate_mm(
    chain: Sequence[ChainDimension],
    samples: int = 20_000,
    seed: int = 0,
    shape: Shape = "uniform",
    sigmas: float = 3.0,
) -> npt.NDArray[np.float64]:
    """Return random results of a chain in mm; the same seed gives the same results."""
    random = np.random.default_rng(seed)
    total = np.zeros(samples)
    for link in chain:
        total += link.sign * draw((link.lo, link.hi), samples, random, shape, sigmas)
    return total


def share_within(values: npt.NDArray[np.float64], least: float, most: float) -> float:
    """Return the share of values from `least` to `most`, both included."""
    return float(np.mean((values >= least) & (values <= most)))


def share_of_assemblies(
    dimensions: Mapping[str, Limits],
    pairs: Sequence[Pair],
    samples: int = 20_000,
    seed: int = 0,
    shape: Shape = "uniform",
    sigmas: float = 3.0,
) -> AssemblyShare:
    """Return the share of assemblies in which every pair fits.

    Parameters
    ----------
    dimensions : mapping of str to tuple of float
        Limits in mm, by name; drawn once per assembly, so that pairs may share one.
    pairs : sequence of Pair
        What has to fit.
    samples : int
        Assemblies drawn.
    seed : int
        Seed of the random numbers.
    shape : {"uniform", "normal"}
        How sizes spread within the limits.
    sigmas : float
        Standard deviations from the middle to the limits, for "normal".

    Raises
    ------
    KeyError
        If a pair names a dimension that is not there.
    """
    random = np.random.default_rng(seed)
    sizes = {name: draw(x, samples, random, shape, sigmas) for name, x in dimensions.items()}
    fits = np.ones((len(pairs), samples), dtype=bool)
    for row, pair in enumerate(pairs):
        clearance = sizes[pair.bore] - sizes[pair.spigot]
        fits[row] = (clearance >= pair.least) & (clearance <= pair.most)
    return AssemblyShare.of(fits)


def share_that_fit(
    bore_lo: Floats,
    bore_hi: Floats,
    spigot_lo: Floats,
    spigot_hi: Floats,
    least: Floats,
    most: Floats,
) -> Floats:
    """Return the share of random pairs whose clearance lies between `least` and `most`.

    Parameters
    ----------
    bore_lo, bore_hi, spigot_lo, spigot_hi : float or array
        Limits in mm, sizes uniform and independent within them; equal for an exact size.
    least, most : float or array
        Clearance that fits, in mm.

    Returns
    -------
    float or array
        Share from 0 to 1.

    Notes
    -----
    Closed form: the difference of two uniform dimensions has a trapezoidal distribution. For
    two exact sizes the share is 0 or 1, the ends of the window included.

    Raises
    ------
    ValueError
        If limits are reversed.

    Examples
    --------
    >>> round(share_that_fit(10.0, 10.2, 9.9, 10.0, 0.0, 0.15), 6)
    0.5
    """
    a, b, c, d, low, high = np.broadcast_arrays(
        *(np.asarray(x, dtype=float) for x in (bore_lo, bore_hi, spigot_lo, spigot_hi, least, most))
    )
    require((a <= b) & (c <= d), "the limits are reversed")
    wide, narrow = np.maximum(b - a, d - c), np.minimum(b - a, d - c)
    span = wide + narrow
    exact = span < _POINT_MM
    safe = np.where(exact, 1.0, span)
    ramp = np.where(exact, 0.0, narrow / safe)
    below = [_trapezoid((end - (a - d)) / safe, ramp) for end in (low, high)]
    share = np.clip(below[1] - below[0], 0.0, 1.0)
    middle = (a + b - c - d) / 2
    single = (middle >= low - _POINT_MM) & (middle <= high + _POINT_MM)
    return plain(np.where(exact, single, np.where(high >= low, share, 0.0)))


def _trapezoid(z: Floats, ramp: Floats) -> Floats:
    """Return the cumulative distribution of a symmetric trapezoid over 0 to 1.

    Its density climbs over `ramp`, at most a half, stays, and falls over as much. As
    ``scipy.stats.trapezoid``, which takes longer to load than a question to answer.
    """
    z = np.clip(z, 0.0, 1.0)
    slope = np.where(ramp > 0, 2 * ramp * (1 - ramp), 1.0)
    level = (2 * z - ramp) / (2 * (1 - ramp))
    rising = np.where(z < ramp, z**2 / slope, level)
    return np.asarray(np.where(z > 1 - ramp, 1 - (1 - z) ** 2 / slope, rising))


def share_that_fit_normal(
    bore: Limits, spigot: Limits, least: float, most: float, sigmas: float = 3.0
) -> float:
    """Return the share of pairs that fit when both sizes are normal, in closed form.

    Parameters
    ----------
    bore, spigot : tuple of float
        Limits in mm, `sigmas` standard deviations away from the middle.
    least, most : float
        Clearance that fits, in mm.
    sigmas : float
        Standard deviations from the middle to the limits.

    Notes
    -----
    Sizes beyond the limits, which :func:`draw` cuts off, are counted here: with 3 standard
    deviations 0.27 % of each dimension.

    Raises
    ------
    ValueError
        If limits are reversed or of no width, or `sigmas` is not above zero.
    """
    require(bore[0] <= bore[1] and spigot[0] <= spigot[1], "the limits are reversed")
    require(sigmas > 0, "the limits have to be some standard deviations away")
    widths = (bore[1] - bore[0], spigot[1] - spigot[0])
    scale = float(np.hypot(*widths)) / 2 / sigmas
    require(scale > 0, "two exact sizes have no spread; compare them directly")
    middle = (sum(bore) - sum(spigot)) / 2
    from scipy import stats

    law = stats.norm(loc=middle, scale=scale)
    return float(law.cdf(most) - law.cdf(least)) if most >= least else 0.0
