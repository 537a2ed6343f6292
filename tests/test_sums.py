"""Sums along nests and stacks over many options, against one combination at a time and by hand.

Small vocabularies by lot, with figures that nobody knows, features that may be there or not,
conditions and lengths that may be missing. By hand means: every way in which what is unknown to
be there could be, and interval arithmetic on what is left (Moore, Kearfott, Cloud, "Introduction
to Interval Analysis", SIAM 2009, chapter 2: the book checked, the chapter from memory). What
a slot closes is taken from :mod:`fitgraph.mechanics.slots`, which has tests of its own.
"""

from __future__ import annotations

import itertools
import math
import random
from collections import Counter
from collections.abc import Iterator, Mapping
from types import MappingProxyType

import numpy as np
import pytest

from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.options import empty
from fitgraph.graph.said import judge
from fitgraph.graph.sums import SumCondition, sum_condition
from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.mechanics.slots import closes_by_mm
from fitgraph.model import (
    ABSENT,
    Condition,
    Dimension,
    Feature,
    Joint,
    Option,
    Part,
    Presence,
    Reference,
    Ring,
    Span,
    Verdict,
)

ROLES = ("core", "one", "two", "three", "by")
FEATURES = ("out", "in", "cut", "mark")
Chosen = Mapping[str, Option]

# ---------------------------------------------------------------- made by lot


def size(role: str, feature: str) -> Reference:
    return Reference(role, feature, "d")


def a_feature(rng: random.Random, at: float, unknown: float, unseen: float) -> Feature:
    if rng.random() < 0.1:
        return ABSENT
    there = Presence.UNKNOWN if rng.random() < unseen else Presence.PRESENT
    if rng.random() < unknown:
        within = (max(at - 1.0, 0.0), at + 1.0) if rng.random() < 0.7 else None
        return Feature(there, {"d": Dimension.unknown(within=within)})
    half = rng.choice((0.0, 0.0, 0.05, 0.3))
    middle = max(at + rng.choice((-0.3, -0.1, 0.0, 0.0, 0.2)), half)
    return Feature(there, {"d": Dimension(middle - half, middle + half)})


def some_options(rng: random.Random, unknown: float, unseen: float) -> dict[str, list[Option]]:
    options = {}
    for place, role in enumerate(ROLES):
        inner = 20.0 + 4.0 * place
        at = {"in": inner, "out": inner + 3.8, "cut": 1.5 + place, "mark": 5.0}
        options[role] = [empty(role)] if rng.random() < 0.5 else []
        for n in range(3):
            features = {f: a_feature(rng, at[f], unknown, unseen) for f in FEATURES}
            part = Part(f"{role}-{n}", role, features=MappingProxyType(features))
            options[role].append(Option(role, part, (), part.features))
    return options


def conditions(rng: random.Random, share: float) -> tuple[Condition, ...]:
    if rng.random() > share:
        return ()
    return (Condition(rng.choice(ROLES), rng.choice((None, *FEATURES)), rng.random() < 0.6),)


def a_nest(rng: random.Random) -> Joint:
    around = sorted(rng.sample(range(1, 4), rng.randint(1, 3)))
    rings = [Ring(None, size("core", "out"), when=conditions(rng, 0.15))]
    for place in around:
        role = ROLES[place]
        slot = size(role, "cut") if rng.random() < 0.9 else None
        rings.append(Ring(size(role, "in"), size(role, "out"), slot, conditions(rng, 0.25)))
    reserve = rng.choice((0.0, 0.05))
    return Joint(
        "nest",
        "nest",
        "nest",
        limits={"reserve": reserve},
        when=conditions(rng, 0.3),
        rings=tuple(rings),
    )


def a_stack(rng: random.Random) -> Joint:
    spans = []
    level = 0.0
    for place in rng.sample(range(5), rng.randint(2, 4)):
        feature = rng.choice(FEATURES[:2])
        # Up and down in turn, so that a sum is near its end.
        sign = 1 if level <= 0 else -1
        level += sign * (20.0 + 4.0 * place)
        optional = rng.random() < 0.35
        when = conditions(rng, 0.25)
        spans.append(Span(size(ROLES[place], feature), sign, optional, when))
    end = rng.choice(("least", "most"))
    limits = {end: round(level) + rng.choice((-4.0, -1.0, -0.5, 0.0, 0.5, 1.0, 4.0))}
    return Joint(
        "stack", "stack", "stack", limits=limits, when=conditions(rng, 0.3), spans=tuple(spans)
    )


# ---------------------------------------------------------------- by hand


def worlds(chosen: Chosen, joint: Joint) -> Iterator[dict[tuple[str, str | None], bool]]:
    """Yield every way in which the features that a joint asks about could be there or not."""
    asked = {(r.role, r.feature) for r in joint.measures}
    asked |= {(c.role, c.feature) for c in joint.conditions}
    ways = []
    for role, feature in asked:
        option = chosen[role]
        if option.part is None:
            ways.append([False])
        elif feature is None:
            ways.append([True])
        else:
            presence = option.features[feature].presence
            ways.append(
                [True, False] if presence is Presence.UNKNOWN else [presence is Presence.PRESENT]
            )
    for found in itertools.product(*ways):
        yield dict(zip(asked, found, strict=True))


def sum_in(
    joint: Joint, chosen: Chosen, world: Mapping[tuple[str, str | None], bool]
) -> tuple[float, float] | None:
    """Return the least and most of a joint's sum [mm]; None where the joint is not there."""

    def holds(asked: tuple[Condition, ...]) -> bool:
        return all(world[c.role, c.feature] is c.wanted for c in asked)

    def between(r: Reference) -> tuple[float, float]:
        if not world[r.role, r.feature]:
            return -math.inf, math.inf
        return chosen[r.role].features[r.feature or ""].lengths["d"].bounds

    if not holds(joint.when):
        return None
    lo = hi = 0.0
    if joint.spans:
        for span in joint.spans:
            counts = holds(span.when) and world[span.length.role, span.length.feature]
            if not counts and span.optional:
                continue
            if not counts:
                return None
            a, b = between(span.length)
            lo, hi = (lo + a, hi + b) if span.sign > 0 else (lo - b, hi - a)
        if "most" in joint.limits:
            return joint.limits["most"] - hi, joint.limits["most"] - lo
        return lo - joint.limits["least"], hi - joint.limits["least"]
    core, *inside, last = joint.rings
    for ring in (core, last):
        told = ring.bore or ring.outside
        if not (holds(ring.when) and world[told.role, told.feature]):
            return None
    lo, hi = between(core.outside)
    for ring in inside:
        if holds(ring.when) and world[ring.bore.role, ring.bore.feature]:
            (d_lo, d_hi), (o_lo, o_hi) = between(ring.bore), between(ring.outside)
            lo, hi = lo + max(o_lo - d_hi, 0.0), hi + max(o_hi - d_lo, 0.0)
    bore, outside = between(last.bore), between(last.outside)
    cut = last.slot is not None and world[last.slot.role, last.slot.feature]
    slot = between(last.slot) if cut else (0.0, 0.0)
    worst = bore[1] - closed_at(max(slot[0], 0.0), bore[1], max(outside[1], bore[1]))
    widest = min(slot[1], outside[1])  # no slot is wider than its ring
    best = bore[0] - closed_at(widest, bore[0], max(outside[0], bore[0], widest))
    return lo - worst - joint.limits["reserve"], hi - best - joint.limits["reserve"]


def closed_at(width: float, bore: float, outside: float) -> float:
    """Return what a slot closes [mm]; endless sizes by their limits."""
    if width == 0.0:
        return 0.0
    if math.isinf(outside):
        return width / (2 * math.pi)
    return float(closes_by_mm(min(width, outside), min(max(bore, 0.0), outside), outside))


def verdict_of(worst: float, best: float) -> Verdict:
    if worst >= -EPSILON_MM:
        return Verdict.FITS
    return Verdict.FAILS if best < -EPSILON_MM else Verdict.UNKNOWN


def over_options(condition: SumCondition, place: Mapping[str, int]) -> tuple[float, float]:
    """Return the least and the most of a condition's sum for one option of each role."""
    ends = []
    for end in ("worst", "best"):
        total = 0.0
        for term in condition.terms:
            at = tuple(int(of[place[r]]) for r, of in zip(term.roles, term.class_of, strict=True))
            total += float(getattr(term, end)[at])
        ends.append(total)
    return ends[0], ends[1]


def cases(
    seeds: range, *, unknown: float, unseen: float, nest: bool
) -> Iterator[tuple[Joint, SumCondition, dict[str, int], Chosen]]:
    for seed in seeds:
        rng = random.Random(seed)
        joint = a_nest(rng) if nest else a_stack(rng)
        options = some_options(rng, unknown, unseen)
        condition = sum_condition(joint, columns_of(options, WordCodes()))
        places = list(itertools.product(*(range(len(options[r])) for r in ROLES)))
        for at in rng.sample(places, min(len(places), 12)):
            place = dict(zip(ROLES, at, strict=True))
            yield joint, condition, place, {r: options[r][n] for r, n in place.items()}


# ---------------------------------------------------------------- what must hold


@pytest.mark.some(2)
@pytest.mark.parametrize("nest", [True, False], ids=["nest", "stack"])
@pytest.mark.parametrize("unseen", [0.0, 0.15])
def test_a_sum_over_options_is_what_is_said_of_each_combination(nest: bool, unseen: float) -> None:
    seen: Counter[Verdict] = Counter()
    for joint, condition, place, chosen in cases(range(60), unknown=0.15, unseen=unseen, nest=nest):
        assert set(condition.roles) <= set(joint.roles)
        worst, best = over_options(condition, place)
        said = judge(joint, chosen)
        assert verdict_of(worst, best) == said.verdict
        if said.margin is not None:
            expected = worst if said.verdict == Verdict.FITS else best
            assert said.margin == pytest.approx(expected)
        if said.there is Presence.ABSENT:
            assert worst == math.inf
        seen[said.verdict] += 1
    assert min(seen[v] for v in Verdict) > 40


@pytest.mark.some(1)
@pytest.mark.parametrize("nest", [True, False], ids=["nest", "stack"])
def test_a_sum_is_interval_arithmetic_where_what_is_there_is_known(nest: bool) -> None:
    looked: Counter[bool] = Counter()
    for joint, condition, place, chosen in cases(
        range(1000, 1400), unknown=0.15, unseen=0.0, nest=nest
    ):
        worst, best = over_options(condition, place)
        (world,) = worlds(chosen, joint)
        by_hand = sum_in(joint, chosen, world)
        looked[by_hand is None] += 1
        if by_hand is None:
            assert worst == best == math.inf
            continue
        for told, expected in zip((worst, best), by_hand, strict=True):
            if math.isfinite(expected):
                assert told == pytest.approx(expected, abs=1e-9)
            else:  # cut off far beyond any length
                assert abs(told) > 1e5 and (told > 0) == (expected > 0)
    assert min(looked.values()) > 700


@pytest.mark.some(1)
@pytest.mark.parametrize("nest", [True, False], ids=["nest", "stack"])
def test_a_sum_is_certain_only_where_it_is_in_every_way_things_could_be(nest: bool) -> None:
    """Presence that nobody knows: never surer than all ways together, and mostly as sure."""
    same = looked = 0
    for joint, condition, place, chosen in cases(
        range(2000, 2400), unknown=0.1, unseen=0.2, nest=nest
    ):
        ways = [sum_in(joint, chosen, world) for world in worlds(chosen, joint)]
        if len(ways) == 1:
            continue
        ends = [(math.inf, math.inf) if way is None else way for way in ways]
        exact = verdict_of(min(lo for lo, _ in ends), max(hi for _, hi in ends))
        told = verdict_of(*over_options(condition, place))
        assert told in (exact, Verdict.UNKNOWN)
        looked += 1
        same += told == exact
    assert looked > 1500
    assert same > 0.97 * looked


def test_options_that_a_sum_cannot_tell_apart_share_a_class() -> None:
    """Twenty parts with three sizes between them, of one role: three classes."""
    parts = [
        Part(f"p{n}", "two", features={"in": Feature(lengths={"d": Dimension(d, d)})})
        for n, d in enumerate((20.0, 20.5, 21.0, 20.5) * 5)
    ]
    options = {
        "core": [
            Option("core", None),
            Option("core", parts[0], (), {"out": Feature(lengths={"d": Dimension(19.0, 19.5)})}),
        ],
        "two": [Option("two", p, (), p.features) for p in parts],
    }
    spans = (Span(size("two", "in"), 1), Span(size("core", "out"), -1))
    joint = Joint("stack", "stack", "stack", limits={"least": 1.0}, spans=spans)
    condition = sum_condition(joint, columns_of(options, WordCodes()))
    term = next(t for t in condition.terms if t.roles == ("two",))
    assert len(term.worst) == 3 and len(set(term.class_of[0][:3])) == 3
    np.testing.assert_array_equal(term.class_of[0][:4], term.class_of[0][4:8])
    # 20.5 less 19 to 19.5, less the 1 that is asked for; and nothing at all without a core.
    assert over_options(condition, {"core": 1, "two": 1}) == pytest.approx((0.0, 0.5))
    assert over_options(condition, {"core": 0, "two": 1}) == (math.inf, math.inf)
