"""What a made part meets: joint by joint, each counterpart with its clearance and its share."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fitgraph.graph.joints import asked, judge_pairs
from fitgraph.graph.options import length_of, options_for, plain
from fitgraph.mechanics.limits_and_fits import FitKind, fit_kind
from fitgraph.mechanics.nests import closes
from fitgraph.mechanics.rules import RULES, Limits
from fitgraph.mechanics.stackup import share_that_fit
from fitgraph.model import (
    Catalogue,
    Dimension,
    Joint,
    Option,
    Part,
    Presence,
    Reference,
    Verdict,
    with_length,
)
from fitgraph.records import dataclass

#: Stands in for a window that is open upwards, in mm.
_OPEN_MM = 1e6


@dataclass(frozen=True, slots=True)
class Mate:
    """A counterpart in one joint.

    Parameters
    ----------
    joint : Joint
        Which joint.
    option : Option
        The counterpart, perhaps after workshop work.
    verdict : Verdict
        Whether it certainly fits, or only some pairs do.
    clearance : tuple of float
        Least and most difference of the two sizes in mm.
    window : tuple of float
        Least and most difference that fits, in mm.
    fit : str
        Kind of fit after ISO 286-1; empty where no diameters mate.
    share : float
        Share of pairs that fit; zero where it depends on a slot that there may be.
    """

    joint: Joint
    option: Option
    verdict: Verdict
    clearance: tuple[float, float]
    window: tuple[float, float]
    fit: FitKind | str
    share: float


@dataclass(frozen=True, slots=True)
class Sides:
    """The two sizes that a joint compares and the window for their difference, in mm."""

    outer: Dimension
    inner: Dimension
    least: float
    most: float

    @property
    def clearance(self) -> tuple[float, float]:
        """Return the least and the most difference."""
        return self.outer.over(self.inner)

    def share(self) -> float:
        """Return the share of pairs that fit."""
        return float(
            share_that_fit(
                self.outer.lo, self.outer.hi, self.inner.lo, self.inner.hi, self.least, self.most
            )
        )


def sides_of(joint: Joint, chosen: Mapping[str, Option]) -> Sides | None:
    """Return what a joint compares; None where a size is not known."""
    rule = RULES[joint.rule]
    sizes: dict[str, Dimension] = {}
    for name in rule.lengths:
        if name in rule.may_lack:
            continue
        reference = joint.arguments[name]
        found = length_of(chosen[reference.role], reference)
        if found is None and name in rule.optional:
            found = Dimension(0.0, 0.0)
        if found is None or not found.known:
            return None
        sizes[name] = found
    if len(sizes) < 2:
        return None
    outer, inner, *rest = sizes.values()
    most = joint.limits.get("most", _OPEN_MM)
    if rest:  # what the slot certainly closes
        bore, slot = (Limits(np.array(d.lo), np.array(d.hi)) for d in (outer, rest[0]))
        at, outside = joint.arguments.get("outside"), None
        if at is not None:
            ring = length_of(chosen[at.role], at)
            ends = (-math.inf, math.inf) if ring is None else (ring.lo, ring.hi)
            outside = Limits(np.array(ends[0]), np.array(ends[1]))
        most = float(closes(bore, slot, outside).lo) - joint.limits.get("reserve", 0.0)
    return Sides(outer, inner, joint.limits.get("least", 0.0), most)


def _judged(
    catalogue: Catalogue, joint: Joint, made: Option, other: str
) -> Iterator[tuple[Option, Verdict, Presence]]:
    """Yield every option of another role with what a joint between it and a part says."""
    every = options_for(catalogue.of(other), other, catalogue.vocabulary)
    options = [o for o in every if not o.empty]
    if not options:
        return
    sides = ([made], options) if joint.roles[0] == made.role else (options, [made])
    verdicts, _, there = judge_pairs(joint, *sides)
    for option, verdict, is_there in zip(options, verdicts.flat, there.flat, strict=True):
        yield option, Verdict(int(verdict)), Presence(int(is_there))


def mates(catalogue: Catalogue, part: Part) -> Iterator[Mate]:
    """Yield every counterpart that fits a part, for certain or in some pairs.

    Parameters
    ----------
    catalogue : Catalogue
        The counterparts.
    part : Part
        The made part.
    """
    vocabulary = catalogue.vocabulary
    made = plain(part)
    barred: dict[str, set[str]] = {}
    for joint in asked(vocabulary.joints, tidy=True):
        if len(joint.roles) == 2 and part.role in joint.roles:
            other = next(r for r in joint.roles if r != part.role)
            for option, verdict, _ in _judged(catalogue, joint, made, other):
                if verdict == Verdict.FAILS:
                    barred.setdefault(other, set()).add(option.label)
    for joint in asked(vocabulary.joints, tidy=True):
        if part.role not in joint.roles or not RULES[joint.rule].lengths:
            continue
        compared = dict.fromkeys(a.role for a in joint.arguments.values())
        others = [r for r in compared if r != part.role]
        if len(others) != 1 or part.role not in compared:
            continue
        # Conditions on further roles are taken to hold: the two would mate.
        here = replace(joint, when=tuple(c for c in joint.when if c.role in (part.role, others[0])))
        for option, verdict, there in _judged(catalogue, here, made, others[0]):
            if there == Presence.ABSENT or option.label in barred.get(others[0], ()):
                continue
            if verdict == Verdict.FAILS:
                continue
            sides = sides_of(here, {part.role: made, others[0]: option})
            if sides is None:
                continue
            diameters = "spigot" in RULES[joint.rule].lengths
            yield Mate(
                joint,
                option,
                verdict,
                sides.clearance,
                (sides.least, sides.most),
                fit_kind((sides.outer.lo, sides.outer.hi), (sides.inner.lo, sides.inner.hi))
                if diameters
                else "",
                1.0 if verdict == Verdict.FITS else sides.share(),
            )


def widened(part: Part, sizes: Sequence[Reference], factor: float) -> Part:
    """Return a part whose chosen dimensions are held only so much worse.

    Parameters
    ----------
    part : Part
        As designed.
    sizes : sequence of Reference
        The dimensions.
    factor : float
        How many times as wide their limits are, about the same middle.
    """
    for reference in sizes:
        feature = reference.feature or ""
        was = part.features[feature].lengths[reference.name]
        half = (was.hi - was.lo) / 2 * factor
        wide = replace(was, lo=was.mid - half, hi=was.mid + half)
        part = with_length(part, feature, reference.name, wide)
    return part


@dataclass(frozen=True, slots=True)
class Yield:
    """What share of pairs fits; of whole assemblies see :mod:`fitgraph.adapters.assemblies`.

    Parameters
    ----------
    certain, possible : int
        Counterparts that certainly fit in every joint with the part that they have, and
        those of which some pairs fit.
    pairs : float
        Mean share of fitting pairs over all of them.
    twice : float
        Share of the pairs with certain counterparts that still fit if the process holds the
        sizes only half as well: robustness to tolerance.
    """

    certain: int
    possible: int
    pairs: float
    twice: float


def yield_of(catalogue: Catalogue, part: Part, free: Sequence[Reference]) -> Yield:
    """Return what share of pairs with a part fits.

    Parameters
    ----------
    catalogue : Catalogue
        The counterparts.
    part : Part
        The made part.
    free : sequence of Reference
        Its dimensions that the process holds.
    """
    # A counterpart whose slot nobody has looked for says nothing of the process.
    found = [m for m in mates(catalogue, part) if "spigot" in m.joint.arguments and m.share]
    if not found:
        return Yield(0, 0, 0.0, 0.0)
    certain = [m for m in found if m.verdict is Verdict.FITS]
    loose = plain(widened(part, free, 2.0))
    shares = [
        sides.share()
        for m in certain
        if (sides := sides_of(m.joint, {part.role: loose, m.option.role: m.option})) is not None
    ]
    return Yield(
        len({m.option.label for m in certain}),
        len({m.option.label for m in found} - {m.option.label for m in certain}),
        float(np.mean([m.share for m in found])),
        float(np.mean(shares)) if shares else 0.0,
    )
