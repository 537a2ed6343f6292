"""What a nest of rings under a clamp holds: every surface is reckoned, the weakest counts.

The rings lie around a core, from the innermost outwards; the last is the clamp. Each has a
surface on what it lies on: its bore. A twisting moment on one ring has to pass every surface
from there to the core, and slips at the weakest. A surface is pressed only after the rings
outside of it have closed the clearances inside of them; what closing takes is off the bolts'
pull. Friction, the bolts' nut factor and the spread of pressure are known as ranges only, so
results are a middle and the 5th to 95th percentile of seeded draws, and the bounds.

Figures compare clamps. The maker's torque and a standard's test go first.

Leaves out: bending of lugs and bolts, settling, heat, dirt, grease that creeps; the help of the
tube beyond a slot is in (see :mod:`fitgraph.mechanics.slots`), that of a step or an end face
is not; pressure that a ring without a slot passes on by being squeezed thinner.

References
----------
As :mod:`fitgraph.mechanics.clamps`. JCGM 101:2008, propagation of distributions by Monte Carlo.
ISO 4210-5:2014, clauses 4.5 and 4.6, torsional security tests of bicycles, by analogy.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from fitgraph.mechanics.clamps import FRICTION_RANGE, NUT_FACTOR_RANGE
from fitgraph.mechanics.numbers import percentile, require
from fitgraph.mechanics.published import by_name
from fitgraph.mechanics.slots import closes_by_mm, closing_force_n
from fitgraph.records import dataclass

Range = tuple[float, float]
Draws = npt.NDArray[np.float64]

#: Slip torque by friction, hoop tension and diameter: two lines of contact, even pressure.
CONTACT_RANGE: Range = (2.0, float(np.pi))

#: Draws that a result rests on, and the seed they are drawn with.
SAMPLES, SEED = 20_000, 20260101

#: Percentiles that are told.
LOW, HIGH = 5.0, 95.0


@dataclass(frozen=True, slots=True)
class SteeringTorque:
    """Torques that a bicycle's steering has to hold without moving, in N·m (ISO 4210-5)."""

    kind: str
    bar_in_stem_nm: float
    stem_on_steerer_nm: float
    source: str


STEERING_TORQUES: Mapping[str, SteeringTorque] = by_name("steering_torques", SteeringTorque)


@dataclass(frozen=True, slots=True)
class RingSection:
    """One ring of a nest.

    Parameters
    ----------
    bore_mm : float
        Diameter [mm].
    outside_mm : float or None
        Diameter [mm]; None where nobody knows: what closing this ring takes, and whether its
        slot is wide enough, is left out then.
    height_mm : float
        Length along the axis that is squeezed [mm].
    modulus_gpa : float
        Young's modulus [GPa].
    slot_mm : float
        Width of its slot or cut [mm]; 0 for a closed ring.
    slot_length_mm : float or None
        Length of a slot that ends inside a tube [mm]; None for a ring cut through.
    clearance_mm : tuple of float
        Least and most clearance on what it lies on [mm of diameter]; below zero counts as none.
    """

    bore_mm: float
    outside_mm: float | None
    height_mm: float
    modulus_gpa: float
    slot_mm: float = 0.0
    slot_length_mm: float | None = None
    clearance_mm: Range = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Bolts:
    """The bolts across a clamp's cut that press on what is judged.

    Parameters
    ----------
    count : float
        How many press (:func:`bolts_within`).
    torque_nm, diameter_mm : float
        Tightening torque [N·m] and nominal diameter [mm].
    nut_factor : tuple of float
        Least and most nut factor.
    """

    count: float
    torque_nm: float
    diameter_mm: float
    nut_factor: Range = NUT_FACTOR_RANGE


@dataclass(frozen=True, slots=True)
class NestGrip:
    """The twisting moment at which a nest of rings slips, at its weakest surface.

    Parameters
    ----------
    middle_nm, low_nm, high_nm : float
        Median, 5th and 95th percentile [N·m].
    bounds_nm : tuple of float
        With everything at its worst and at its best [N·m].
    governing : int
        The ring whose bore slips first most often, counted from the core; when some ring
        cannot close in most draws, the outermost surface that is not pressed then.
    governs : float
        In which share of the draws it does.
    surfaces_nm : tuple of float
        Median of every surface, from the core outwards [N·m].
    closes : float
        Share of the draws in which all rings close and the core is pressed.
    closing_n : float
        What closing takes off the bolts' pull, median [N].
    """

    middle_nm: float
    low_nm: float
    high_nm: float
    bounds_nm: Range
    governing: int
    governs: float
    surfaces_nm: tuple[float, ...]
    closes: float
    closing_n: float


@dataclass(frozen=True, slots=True)
class GripRatio:
    """How much more one nest holds than another, what they share being the same in both.

    Parameters
    ----------
    middle, low, high : float
        Median, 5th and 95th percentile of the ratio; infinite where the other holds nothing.
    more : float
        In which share of the draws the first holds more.
    """

    middle: float
    low: float
    high: float
    more: float


def inverse(ratio: GripRatio) -> GripRatio:
    """Return how much more the other nest holds.

    Examples
    --------
    >>> inverse(GripRatio(2.0, 1.6, 2.5, 1.0))
    GripRatio(middle=0.5, low=0.4, high=0.625, more=0.0)
    """

    def over(value: float) -> float:
        return math.inf if value == 0 else 1 / value

    return GripRatio(over(ratio.middle), over(ratio.high), over(ratio.low), 1 - ratio.more)


def bolts_within(count: int, height_mm: float, start_mm: float, end_mm: float) -> int:
    """Return how many of a clamp's bolts press between two heights.

    Parameters
    ----------
    count : int
        Bolts, spread evenly over the clamp's height.
    height_mm : float
        Height of the clamp [mm].
    start_mm, end_mm : float
        Where the gripped tube begins and ends, from the clamp's lower edge [mm].

    Returns
    -------
    int
        Bolts whose axis lies between.

    Raises
    ------
    ValueError
        If there is no bolt or the clamp has no height.

    Examples
    --------
    >>> bolts_within(4, 80.0, 40.0, 80.0), bolts_within(2, 40.0, 15.0, 40.0)
    (2, 1)
    """
    require(count >= 1, "a clamp needs at least one bolt")
    require(height_mm > 0, "a clamp's height has to be above 0 mm")
    axes = height_mm * (np.arange(count) + 0.5) / count
    return int(((axes >= start_mm) & (axes <= end_mm)).sum())


@dataclass(frozen=True, slots=True)
class _Uniform:
    """Draws from 0 to 1: of the nut factor, and of each surface's friction, contact, clearance."""

    nut: Draws
    friction: Draws
    contact: Draws
    clearance: Draws


@lru_cache(maxsize=8)
def _draw(surfaces: int, samples: int, seed: int) -> _Uniform:
    """Draw; the first surfaces get the same numbers however many follow. Kept, and read only."""
    nut = np.random.default_rng([seed, 0]).uniform(size=samples)
    each = [
        np.random.default_rng([seed, 1 + i]).uniform(size=(3, samples)) for i in range(surfaces)
    ]
    drawn = np.stack(each, axis=1)
    for array in (nut, drawn):
        array.setflags(write=False)
    friction, contact, clearance = drawn
    return _Uniform(nut, friction, contact, clearance)


def _within(span: Range, share: Draws | float) -> Draws:
    return np.asarray(span[0] + (span[1] - span[0]) * np.asarray(share))


def _slips_at(
    rings: Sequence[RingSection],
    bolts: Bolts,
    at: _Uniform,
    friction: Range,
    contact: Range,
) -> tuple[Draws, Draws]:
    """Return for each surface and draw the slip torque in N·m, and what closing takes in N."""
    nut = _within(bolts.nut_factor, at.nut)
    pull = bolts.count * bolts.torque_nm * 1e3 / (nut * bolts.diameter_mm)
    clearances = np.stack(
        [
            np.maximum(_within(ring.clearance_mm, share), 0.0)
            for ring, share in zip(rings, at.clearance, strict=True)
        ]
    )
    # A ring closes its own clearance and all inside of it.
    closure = np.cumsum(clearances, axis=0)
    left, taken = pull, np.zeros_like(pull)
    slips = np.zeros_like(closure)
    # From the clamp inwards: each ring takes its force off, or stops what is inside of it.
    for i in range(len(rings) - 1, -1, -1):
        ring = rings[i]
        if ring.outside_mm is None:
            force, can = np.zeros_like(pull), np.ones_like(pull, dtype=bool)
        elif ring.slot_mm > 0:
            force = np.asarray(
                closing_force_n(
                    np.pi * closure[i],
                    ring.outside_mm,
                    ring.bore_mm,
                    ring.height_mm,
                    ring.modulus_gpa,
                    ring.slot_length_mm,
                )
            )
            can = closure[i] <= closes_by_mm(ring.slot_mm, ring.bore_mm, ring.outside_mm)
        else:
            force, can = np.zeros_like(pull), closure[i] <= 0
        left = np.where(can, np.maximum(left - force, 0.0), 0.0)
        taken = taken + force
        mu, spread = _within(friction, at.friction[i]), _within(contact, at.contact[i])
        slips[i] = spread * mu * left * ring.bore_mm / 1e3
    return slips, taken


def _check(rings: Sequence[RingSection], bolts: Bolts, turned: int | None) -> int:
    require(len(rings) > 0, "a nest needs at least the clamp")
    require(bolts.count > 0, "a clamp needs at least one bolt")
    require(bolts.torque_nm >= 0, "a tightening torque cannot be less than 0 N·m")
    require(bolts.diameter_mm > 0, "a bolt's diameter has to be above 0 mm")
    for ring in rings:
        require(ring.bore_mm > 0, "a ring's bore has to be above 0 mm")
        require(
            ring.outside_mm is None or ring.bore_mm < ring.outside_mm,
            "a ring's outside has to exceed its bore",
        )
    last = len(rings) - 1 if turned is None else turned
    require(0 <= last < len(rings), "the ring that is turned has to be one of the nest")
    return last


def _corner(rings: Sequence[RingSection], best: bool) -> _Uniform:
    count = len(rings)
    high, low = np.ones((count, 1)), np.zeros((count, 1))
    if best:
        return _Uniform(np.zeros(1), high, high, low)
    return _Uniform(np.ones(1), low, low, high)


def nest_grip(
    rings: Sequence[RingSection],
    bolts: Bolts,
    *,
    turned: int | None = None,
    friction: Range = FRICTION_RANGE,
    contact: Range = CONTACT_RANGE,
    samples: int = SAMPLES,
    seed: int = SEED,
) -> NestGrip:
    """Return the twisting moment at which the weakest surface of a nest slips.

    Parameters
    ----------
    rings : sequence of RingSection
        From the innermost, on the core, to the clamp.
    bolts : Bolts
        What pulls the clamp together.
    turned : int, optional
        Position of the ring that the moment acts on: surfaces from there to the core count.
        The clamp where left out. A bar under a collar is the ring inside of it.
    friction, contact : tuple of float
        Ranges of friction and of the spread of pressure (2 for two lines, pi for even).
    samples, seed : int
        Draws, and the seed they are drawn with: the same seed gives the same result.

    Returns
    -------
    NestGrip
        Uniform draws over all ranges, independent but for the bolts, which are tightened
        alike.

    Raises
    ------
    ValueError
        If there is no ring or bolt, or the sizes are no rings.

    Notes
    -----
    At the surface i, of diameter d_i, with the hoop tension H_i that is left there, it slips at
    kappa mu H_i d_i, kappa from 2 to pi. H_i is the bolts' pull less what closing takes in ring
    i and all rings outside of it; each has to close by the clearances inside of it, together.
    A ring that cannot close so far, for its slot or for want of pull, leaves what is inside of
    it unpressed. The bounds take every range at its worst and at its best end, which is
    enough as the torque is monotonic in each.

    Examples
    --------
    >>> sleeve = RingSection(28.6, 31.8, 40.0, 2.8, 3.0, clearance_mm=(0.05, 0.15))
    >>> bar = RingSection(31.95, 34.9, 40.0, 205.0, 4.0, 60.0, clearance_mm=(0.1, 0.2))
    >>> collar = RingSection(34.9, 50.0, 40.0, 68.9, 4.0, clearance_mm=(0.0, 0.1))
    >>> grip = nest_grip([sleeve, bar, collar], Bolts(4, 9.0, 6.0), turned=1)
    >>> grip.low_nm < grip.middle_nm < grip.high_nm, grip.governing
    (True, 0)
    """
    last = _check(rings, bolts, turned)
    at = _draw(len(rings), samples, seed)
    slips, taken = _slips_at(rings, bolts, at, friction, contact)
    path = slips[: last + 1]
    weakest = path.min(axis=0)
    # Of surfaces that hold nothing, the outermost is the one to mend.
    first = last - np.argmin(path[::-1], axis=0)
    counts = np.bincount(first, minlength=last + 1)
    governing = int(counts.argmax())
    bounds = tuple(
        float(_slips_at(rings, bolts, _corner(rings, best), friction, contact)[0][: last + 1].min())
        for best in (False, True)
    )
    low, middle, high = (float(percentile(weakest, p)) for p in (LOW, 50.0, HIGH))
    return NestGrip(
        middle,
        low,
        high,
        (bounds[0], bounds[1]),
        governing,
        float(counts[governing] / samples),
        tuple(percentile(slips, 50.0).tolist()),
        float((slips[0] > 0).mean()),
        float(percentile(taken, 50.0)),
    )


def share_that_holds(
    rings: Sequence[RingSection],
    bolts: Bolts,
    demand_nm: float,
    *,
    turned: int | None = None,
    friction: Range = FRICTION_RANGE,
    contact: Range = CONTACT_RANGE,
    samples: int = SAMPLES,
    seed: int = SEED,
) -> float:
    """Return the share of draws in which a nest holds a twisting moment.

    Parameters
    ----------
    demand_nm : float
        The moment [N·m]: one's own figure, or a bicycle's by analogy
        (:data:`STEERING_TORQUES`).

    Returns
    -------
    float
        From 0 to 1; of the ranges that were assumed, not of nests in the world. The other
        parameters are those of :func:`nest_grip`.

    Examples
    --------
    >>> collar = RingSection(34.9, 50.0, 40.0, 68.9, 4.0)
    >>> demand = STEERING_TORQUES["mountain bicycles"].stem_on_steerer_nm
    >>> share_that_holds([collar], Bolts(2, 9.0, 6.0), demand)
    1.0
    """
    last = _check(rings, bolts, turned)
    slips, _ = _slips_at(rings, bolts, _draw(len(rings), samples, seed), friction, contact)
    return float((slips[: last + 1].min(axis=0) >= demand_nm).mean())


def grip_ratio(
    one: tuple[Sequence[RingSection], Bolts],
    other: tuple[Sequence[RingSection], Bolts],
    *,
    turned: tuple[int | None, int | None] = (None, None),
    friction: Range = FRICTION_RANGE,
    contact: Range = CONTACT_RANGE,
    samples: int = SAMPLES,
    seed: int = SEED,
) -> GripRatio:
    """Return how much more one nest holds than another, draw by draw.

    Parameters
    ----------
    one, other : tuple of (sequence of RingSection, Bolts)
        Two nests; what they share (friction, spread of pressure, the hand on the wrench) is
        drawn once for both, surface by surface from the core outwards.
    turned : tuple of (int or None)
        As in :func:`nest_grip`, for each.
    friction, contact, samples, seed
        As in :func:`nest_grip`.

    Returns
    -------
    GripRatio
        A ratio of 1 where neither holds anything.

    Raises
    ------
    ValueError
        If there is no ring or bolt, or the sizes are no rings.

    Examples
    --------
    >>> collar = RingSection(34.9, 50.0, 40.0, 68.9, 4.0)
    >>> ratio = grip_ratio(([collar], Bolts(3, 9.0, 6.0)), ([collar], Bolts(2, 9.0, 6.0)))
    >>> round(ratio.low, 6), round(ratio.high, 6), ratio.more
    (1.5, 1.5, 1.0)
    """
    weakest = []
    at = _draw(max(len(one[0]), len(other[0])), samples, seed)
    for (rings, bolts), which in zip((one, other), turned, strict=True):
        last, count = _check(rings, bolts, which), len(rings)
        mine = _Uniform(at.nut, at.friction[:count], at.contact[:count], at.clearance[:count])
        slips, _ = _slips_at(rings, bolts, mine, friction, contact)
        weakest.append(slips[: last + 1].min(axis=0))
    first, second = weakest
    ratio = np.full(samples, np.inf)
    np.divide(first, second, out=ratio, where=second > 0)
    ratio[(first <= 0) & (second <= 0)] = 1.0
    # Ranks, not interpolation, as a ratio may be infinite.
    low, middle, high = np.percentile(ratio, [LOW, 50.0, HIGH], method="nearest")
    return GripRatio(float(middle), float(low), float(high), float((first > second).mean()))
