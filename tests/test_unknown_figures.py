"""What is possible, against every value that the unknown figures could have.

Small made catalogues whose sizes and windows are multiples of half a millimetre, so that a grid
of a quarter holds a point of every cell in which no joint tells sizes apart. The brute force
below knows nothing of the package but its data: it judges each joint by its inequalities.
"""

from __future__ import annotations

import itertools
import math
import random
from types import MappingProxyType
from typing import Any

import pytest

from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.options import options_for
from fitgraph.graph.said import judge
from fitgraph.graph.unknowns import Unknowns
from fitgraph.model import (
    ABSENT,
    Basis,
    Catalogue,
    Condition,
    Dimension,
    DimensionKind,
    Feature,
    FeatureKind,
    Fill,
    Joint,
    Option,
    Part,
    Presence,
    Reference,
    Role,
    Span,
    Verdict,
    Vocabulary,
    Word,
)

ROLES = ("one", "two", "three")
RANGE = (8.0, 12.0)
GRID = [RANGE[0] + 0.25 * n for n in range(int((RANGE[1] - RANGE[0]) / 0.25) + 1)]
THREADS = ("M6", "M8")
FEATURES = ("post", "hole")


def size(feature: str, role: str) -> Reference:
    return Reference(role, feature, "d")


def a_joint(rng: random.Random, n: int) -> Joint:
    first, second = rng.sample(ROLES, 2)
    when = []
    if rng.random() < 0.35:
        third = rng.choice(ROLES)
        when.append(Condition(third, rng.choice(FEATURES), rng.random() < 0.6))
    rule = rng.choice(
        ("clearance", "clearance", "clearance", "at-least", "equal", "stack", "present")
    )
    name, common = f"j{n}", {"when": tuple(when)}
    if rule == "clearance":
        least = rng.choice((-0.5, 0.0, 0.0))
        limits = {"least": least, "most": least + rng.choice((0.5, 1.0))}
        given = {"bore": size("hole", first), "spigot": size(rng.choice(FEATURES), second)}
    elif rule == "at-least":
        limits = {"least": rng.choice((0.0, 0.5, 1.0))}
        given = {
            "whole": size(rng.choice(FEATURES), first),
            "part": size(rng.choice(FEATURES), second),
        }
    elif rule == "equal":
        limits = {}
        given = {
            "one": Reference(first, "post", "thread"),
            "other": Reference(second, "post", "thread"),
        }
    elif rule == "stack":
        spans = (
            Span(size(rng.choice(FEATURES), first), 1),
            Span(size(rng.choice(FEATURES), second), -1),
        )
        limits = {rng.choice(("least", "most")): rng.choice((-1.0, -0.5, 0.0, 0.5))}
        return Joint(name, name, rule, limits=MappingProxyType(limits), spans=spans, **common)
    else:
        subject = Condition(second, rng.choice(FEATURES))
        return Joint(name, name, rule, subject=subject, **common)
    return Joint(name, name, rule, MappingProxyType(given), MappingProxyType(limits), **common)


def a_feature(rng: random.Random, unseen: float) -> Feature:
    if rng.random() < 0.1:
        return ABSENT
    state = Presence.UNKNOWN if rng.random() < unseen else Presence.PRESENT
    if rng.random() < 0.45:
        length = Dimension.unknown(within=RANGE)
    else:
        at = rng.choice((9.0, 9.5, 10.0, 10.5, 11.0))
        length = Dimension(at, at)
    thread = Word(None, Basis.UNKNOWN) if rng.random() < 0.4 else Word(rng.choice(THREADS))
    return Feature(state, MappingProxyType({"d": length}), MappingProxyType({"thread": thread}))


def a_catalogue(seed: int, *, unseen: float = 0.12) -> Catalogue:
    rng = random.Random(seed)
    kinds = {
        f: FeatureKind(
            f,
            "bore" if f == "hole" else "spigot",
            Presence.ABSENT,
            MappingProxyType(
                {
                    "d": DimensionKind("d", plausible=RANGE),
                    "thread": DimensionKind("thread", worded=True),
                }
            ),
        )
        for f in FEATURES
    }
    roles = {r: Role(r, r, Fill.ALWAYS, MappingProxyType(kinds)) for r in ROLES}
    parts = {}
    for role in ROLES:
        for n in range(3):
            features = {f: a_feature(rng, unseen) for f in FEATURES}
            sku = f"{role}-{n}"
            parts[sku] = Part(sku, role, price=100, features=MappingProxyType(features))
    joints = tuple(a_joint(rng, n) for n in range(rng.randint(3, 6)))
    vocabulary = Vocabulary("made", "EUR", 2, {}, MappingProxyType(roles), joints)
    by_role = {r: tuple(p for p in parts.values() if p.role == r) for r in ROLES}
    return Catalogue(vocabulary, MappingProxyType(parts), (), "made", MappingProxyType(by_role))


# ---------------------------------------------------------------- brute force

#: (role, feature, "d", "thread" or "") to a value; a feature to whether it is there.
World = dict[tuple[str, str, str], object]


def figures(part: Part) -> list[tuple[tuple[str, str, str], list[object]]]:
    """Return every figure of a part with the values that it may have."""
    found: list[tuple[tuple[str, str, str], list[object]]] = []
    for name, feature in part.features.items():
        there = {
            Presence.PRESENT: [True],
            Presence.ABSENT: [False],
            Presence.UNKNOWN: [True, False],
        }[feature.presence]
        found.append(((part.role, name, ""), list(there)))
        if feature.presence is Presence.ABSENT:
            continue
        length = feature.lengths["d"]
        found.append(((part.role, name, "d"), [length.lo] if length.known else GRID))
        word = feature.words["thread"].value
        found.append(((part.role, name, "thread"), [*THREADS, "other"] if word is None else [word]))
    return found


def holds(joint: Joint, world: World) -> bool:
    def there(role: str, feature: str | None) -> bool:
        return bool(world[role, feature or "", ""])

    for condition in joint.when:
        if there(condition.role, condition.feature) is not condition.wanted:
            return True
    if joint.rule == "present":
        assert joint.subject is not None
        return there(joint.subject.role, joint.subject.feature)
    used = [*joint.arguments.values(), *(s.length for s in joint.spans)]
    if not all(there(r.role, r.feature) for r in used):
        return True
    values = {n: world[r.role, r.feature or "", r.name] for n, r in joint.arguments.items()}
    if joint.rule == "equal":
        return values["one"] == values["other"]
    if joint.rule == "clearance":
        gap = values["bore"] - values["spigot"]
        return joint.limits["least"] <= gap <= joint.limits["most"]
    if joint.rule == "at-least":
        return values["whole"] - values["part"] >= joint.limits["least"]
    total = sum(s.sign * world[s.length.role, s.length.feature, s.length.name] for s in joint.spans)
    return joint.limits.get("least", -math.inf) <= total <= joint.limits.get("most", math.inf)


def possible(joints: tuple[Joint, ...], chosen: tuple[Part, ...]) -> bool:
    """Return whether some values of all that is unknown keep every joint, by trying all."""
    every = [f for part in chosen for f in figures(part)]
    asked = {(r.role, r.feature, r.name) for j in joints for r in j.measures}
    every = [(k, v if k in asked or k[2] == "" else v[:1]) for k, v in every]
    fixed = {k: v[0] for k, v in every if len(v) == 1}
    open_ = [(k, v) for k, v in every if len(v) > 1]
    for values in itertools.product(*(v for _, v in open_)):
        world: World = fixed | {k: x for (k, _), x in zip(open_, values, strict=True)}
        if all(holds(joint, world) for joint in joints):
            return True
    return False


class Told:
    """What the package finds possible: joint by joint, and what unknown figures add."""

    def __init__(self, catalogue: Catalogue) -> None:
        self.joints = catalogue.vocabulary.joints
        self.options = {
            r: options_for(catalogue.of(r), r, catalogue.vocabulary) for r in catalogue.by_role
        }
        unknowns = Unknowns(self.joints, columns_of(self.options, WordCodes()))
        self.conditions, self.tables = unknowns.conditions(), unknowns.tables()

    def alone(self, chosen: tuple[Part, ...]) -> bool:
        """Return whether each joint by itself is possible."""
        options = {p.role: Option(p.role, p, (), p.features) for p in chosen}
        return all(judge(j, options).verdict >= Verdict.UNKNOWN for j in self.joints)

    def together(self, chosen: tuple[Part, ...]) -> bool:
        """Return whether the unknown figures serve all joints at once."""
        place = {p.role: [o.part for o in self.options[p.role]].index(p) for p in chosen}

        def at(roles: tuple[str, ...], class_of: tuple[Any, ...]) -> tuple[int, ...]:
            return tuple(int(c[place[r]]) for r, c in zip(roles, class_of, strict=True))

        for condition in self.conditions:
            if sum(float(t.best[at(t.roles, t.class_of)]) for t in condition.terms) < -1e-9:
                return False
        return all(t.verdicts[at(t.roles, t.class_of)] != Verdict.FAILS for t in self.tables)


def choices(catalogue: Catalogue) -> list[tuple[Part, ...]]:
    return list(itertools.product(*(catalogue.of(r) for r in ROLES)))


def few_enough(chosen: tuple[Part, ...]) -> bool:
    return math.prod(len(v) for p in chosen for _, v in figures(p)) < 200_000


def count(seeds: range, unseen: float) -> tuple[int, int, int]:
    """Return combinations looked at, those possible, and those where one joint alone is not."""
    looked = truly = alone = 0
    for seed in seeds:
        catalogue = a_catalogue(seed, unseen=unseen)
        joints = catalogue.vocabulary.joints
        told = Told(catalogue)
        for chosen in choices(catalogue):
            if not few_enough(chosen):
                continue
            exact = possible(joints, chosen)
            by_joint = told.alone(chosen)
            found = by_joint and told.together(chosen)
            assert found == exact, (seed, [p.sku for p in chosen], exact)
            looked, truly, alone = looked + 1, truly + exact, alone + by_joint
    return looked, truly, alone


@pytest.mark.some(1)
@pytest.mark.parametrize("part", range(4))
def test_possible_is_what_some_value_of_the_unknown_figures_allows(part: int) -> None:
    looked, truly, alone = count(range(40 * part, 40 * (part + 1)), unseen=0.0)
    assert looked > 700
    assert truly < alone  # joint by joint, more looks possible than is


def test_one_build_is_judged_as_the_tables_of_shared_figures_say() -> None:
    asked = failing = 0
    for seed in range(150):
        catalogue = a_catalogue(seed, unseen=0.4)
        words = catalogue.vocabulary
        options = {r: options_for(catalogue.of(r), r, words) for r in words.roles}
        unknowns = Unknowns(list(words.joints), columns_of(options, WordCodes()))
        lengths = {c.joint.name for c in unknowns.conditions()}
        told = [t for t in unknowns.tables() if t.joint.name not in lengths]
        for name in {t.joint.name for t in told}:
            alike = [t for t in told if t.joint.name == name]
            roles = sorted({r for t in alike for r in t.roles})
            for places in itertools.product(*(range(len(options[r])) for r in roles)):
                at = dict(zip(roles, places, strict=True))
                fails = any(
                    t.verdicts[tuple(of[at[r]] for r, of in zip(t.roles, t.class_of, strict=True))]
                    == Verdict.FAILS
                    for t in alike
                )
                said = judge(alike[0].joint, {r: options[r][n] for r, n in at.items()})
                assert said is not None
                assert (said.verdict is Verdict.FAILS) == fails
                asked, failing = asked + 1, failing + fails
    assert asked > 300 and failing > 20
