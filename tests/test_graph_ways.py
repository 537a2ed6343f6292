"""Ways from one part to another, against brute force over all chains and all builds.

The brute force knows joints one combination at a time (:func:`fitgraph.graph.said.judge`) and
nothing of interfaces, classes or trees.
"""

from __future__ import annotations

import itertools
import random
from collections import Counter
from collections.abc import Iterator, Sequence

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitgraph.errors import InputError
from fitgraph.explain import Explainer
from fitgraph.explain.ways import First, Way, every_way, ways
from fitgraph.graph.joints import asked
from fitgraph.graph.options import variants
from fitgraph.graph.said import judge
from fitgraph.model import (
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
    Service,
    Verdict,
    Vocabulary,
)
from fitgraph.solve import NamingError
from tests.shared import the_demo
from tests.strategies import all_options, catalogues
from tests.turns import turns


def between(joint: Joint) -> frozenset[str]:
    """Return the two roles whose features a joint brings together; nothing if not two."""
    roles = frozenset(r.role for r in joint.arguments.values())
    return roles if len(roles) == 2 else frozenset()


def held(joint: Joint, build: dict[str, Option]) -> bool:
    """Return whether a joint is there for certain in a build, and fits."""
    said = judge(joint, build)
    return said.there is Presence.PRESENT and said.verdict is Verdict.FITS


def brute_chains(
    catalogue: Catalogue, one: str, other: str, through: Sequence[str], most: int
) -> Iterator[tuple[Option, ...]]:
    """Yield every row of options that some certain build holds, neighbours held by joints."""
    vocabulary = catalogue.vocabulary
    options = all_options(catalogue)
    joints = asked(vocabulary.joints, tidy=False)
    ends = [list(variants(catalogue.parts[s], vocabulary)) for s in (one, other)]
    roles = [catalogue.parts[s].role for s in (one, other)]
    inner = [r for r in through if r not in roles]
    if roles[0] == roles[1]:
        return
    for number in range(most + 1):
        for middle in itertools.permutations(inner, number):
            lists = [
                ends[0],
                *([o for o in options[r] if not o.empty] for r in middle),
                ends[1],
            ]
            for row in itertools.product(*lists):
                if _some_build(row, options, joints, catalogue):
                    yield row


def _some_build(
    row: Sequence[Option],
    options: dict[str, tuple[Option, ...]],
    joints: Sequence[Joint],
    catalogue: Catalogue,
) -> bool:
    named = {o.role: o for o in row}
    rest = {}
    for role, of_role in options.items():
        if role not in named:
            free = catalogue.vocabulary.roles[role].fill.free
            rest[role] = (
                [o for o in of_role if not o.services] if free else [o for o in of_role if o.empty]
            )
    near = [j for j in joints if set(j.roles) <= named.keys()]
    if any(judge(j, named).verdict is not Verdict.FITS for j in near):
        return False
    for filling in itertools.product(*rest.values()):
        build = {**named, **dict(zip(rest, filling, strict=True))}
        if any(judge(j, build).verdict is not Verdict.FITS for j in joints if j not in near):
            continue
        if all(
            any(held(j, build) for j in joints if between(j) == {a.role, b.role})
            for a, b in itertools.pairwise(row)
        ):
            return True
    return False


def rows(way: Way) -> set[tuple[str, ...]]:
    """Return every row of labels that a way stands for."""
    return set(itertools.product(*way.alike))


def labels(row: Sequence[Option]) -> tuple[str, ...]:
    return tuple(o.label for o in row)


#: Sizes of the made-up trade of rings: what has one size goes into the bore of the next.
STEPS = (10.0, 12.0, 14.0)


def rings(seed: int) -> Catalogue:
    """Return a random catalogue of rods, tubes and rings between them.

    Rods go into tubes straight, or with one or two rings between; a lid decides whether some
    of these joints are there at all. Rods can be turned down, rings bored out.
    """
    rng = random.Random(seed)

    def size(mm: float) -> Dimension:
        low = mm + rng.choice([0.0] * 8 + [0.02, 0.02, -0.4])
        if rng.random() < 0.03:
            return Dimension.unknown()
        return Dimension(low, low + rng.choice([0.0, 0.02, 0.05, 0.05, 0.3]))

    def part(role: str, n: int, **of: float) -> Part:
        features = {f: Feature(lengths={"d": size(mm)}) for f, mm in of.items()}
        if role == "lid" and rng.random() < 0.5:
            features["lip"] = Feature()
        return Part(
            f"{role}-{n}",
            role,
            price=rng.choice([None, 100, 250, 400]),
            stock=rng.randrange(2),
            features=features,
        )

    parts = [part("rod", n, post=rng.choice((10.0, 10.0, 12.0))) for n in range(2)]
    parts += [part("tube", n, hole=rng.choice((10.0, 12.0, 14.0, 14.0)) + 0.1) for n in range(2)]
    parts += [part("lid", n) for n in range(rng.randint(1, 2))]
    for role in ("ring", "bush"):
        for n in range(rng.randint(1, 3)):
            at = rng.randrange(2)
            parts.append(part(role, n, hole=STEPS[at] + 0.1, post=STEPS[at + 1]))
    pairs = [
        ("tube", "rod"), ("tube", "ring"), ("tube", "bush"), ("ring", "rod"), ("bush", "rod"),
        ("bush", "ring"),
    ]  # fmt: skip
    open_when = [(), (Condition("lid", "lip"),), (Condition("lid", "lip", False),)]
    joints = []
    for outer, inner in pairs:
        when: tuple[Condition, ...] = rng.choice([(), (), (), *open_when])
        # A ring takes the place of what it goes between, as it is in most trades.
        for ring, pairs_of in {
            "ring": [("tube", "rod"), ("bush", "rod")],
            "bush": [("tube", "rod"), ("tube", "ring")],
        }.items():
            if (outer, inner) in pairs_of and rng.random() < 0.9:
                when += (Condition(ring, None, False),)
        joints.append(
            Joint(
                f"{inner}-in-{outer}",
                f"{inner} in the {outer}",
                "clearance",
                {"bore": Reference(outer, "hole", "d"), "spigot": Reference(inner, "post", "d")},
                {"least": 0.0, "most": 0.3},
                when,
            )
        )
    services = {
        "turn": Service("turn", "turn", "rod", 50, 5.0, shifts={("post", "d"): -2.0}),
        "bore": Service("bore", "bore", "ring", 70, 9.0, shifts={("hole", "d"): 2.0}),
    }
    length = {"d": DimensionKind("d")}
    kinds = {f: FeatureKind(f, "bore", Presence.ABSENT, length) for f in ("post", "hole", "lip")}
    fills = {"rod": Fill.ALWAYS, "tube": Fill.ALWAYS, "lid": Fill.ALWAYS}
    fills["lid"] = rng.choice([Fill.ALWAYS, Fill.WHEN_NEEDED])
    roles = {
        r: Role(r, r, fills.get(r, Fill.ADAPTER), kinds)
        for r in ("rod", "tube", "lid", "ring", "bush")
    }
    words = Vocabulary("rings", "EUR", 2, {}, roles, tuple(joints), services)
    of_role = {r: tuple(p for p in parts if p.role == r) for r in roles}
    return Catalogue(words, {p.sku: p for p in parts}, by_role=of_role)


def ways_and_brute_force(
    catalogue: Catalogue, one: str, other: str, through: Sequence[str]
) -> tuple[set[tuple[str, ...]], set[tuple[str, ...]]]:
    """Return all rows of labels, as ways tell them and as brute force finds them."""
    found: set[tuple[str, ...]] = set()
    for way in every_way(Explainer(catalogue), one, other, through=through, most_between=2):
        assert not found & rows(way)
        found |= rows(way)
    return found, {labels(row) for row in brute_chains(catalogue, one, other, through, 2)}


@pytest.mark.long
def test_ways_through_rings_are_those_of_brute_force() -> None:
    lengths: Counter[int] = Counter()
    serviced = 0
    for seed in range(250):
        catalogue = rings(seed)
        found, wanted = ways_and_brute_force(catalogue, "rod-0", "tube-0", ["ring", "bush"])
        assert found == wanted, seed
        lengths.update(len(row) for row in found)
        serviced += any("+" in label for row in found for label in row)
    # Straight, through one ring and through two, and with work: all of them were met.
    assert lengths[2] > 20 and lengths[3] > 20 and lengths[4] > 2 and serviced > 2


@settings(max_examples=turns(60), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_ways_are_those_of_brute_force_in_any_vocabulary(data: st.DataObject) -> None:
    """Joints of every rule between any roles; few of these catalogues have a way at all."""
    catalogue = data.draw(catalogues(most_parts=3))
    skus = sorted(catalogue.parts)
    one, other = data.draw(st.sampled_from([(a, b) for a in skus for b in skus] or [("", "")]))
    if one == other:
        return
    roles = list(catalogue.vocabulary.roles)
    found, wanted = ways_and_brute_force(catalogue, one, other, roles)
    assert found == wanted


def test_why_accepts_every_way_and_its_figures_are_those_of_its_parts() -> None:
    told = 0
    for seed in range(40):
        catalogue = rings(seed)
        explainer = Explainer(catalogue)
        for way in ways(explainer, "rod-1", "tube-1"):
            told += 1
            answer = explainer.why(way.skus, done=way.services, with_changes=False)
            assert answer.verdict is Verdict.FITS
            prices = [o.part.price for o in way.options[1:-1] if o.part is not None]
            work = sum(o.service_price for o in way.options)
            assert way.price == (None if None in prices else sum(p or 0 for p in prices) + work)
            margins = []
            for (a, b), hold in zip(itertools.pairwise(way.options), way.holds, strict=True):
                assert {a.role, b.role} == between(hold.joint)
                bore = {o.role: o for o in (a, b)}[hold.joint.arguments["bore"].role]
                post = a if bore is b else b
                hole, spigot = (
                    bore.features["hole"].lengths["d"],
                    post.features["post"].lengths["d"],
                )
                margins.append(min(hole.lo - spigot.hi, 0.3 - (hole.hi - spigot.lo)))
                assert hold.margin_mm == pytest.approx(margins[-1])
            if not any(h.given for h in way.holds):
                assert way.margin_mm == pytest.approx(min(margins))
    assert told > 10


def test_the_order_is_what_was_asked_for_and_no_service_is_needless() -> None:
    for seed in range(40):
        explainer = Explainer(rings(seed))
        found = {f: ways(explainer, "rod-0", "tube-0", first=f) for f in First}
        assert len({len(w) for w in found.values()}) == 1
        steps = [w.steps for w in found[First.SHORTEST]]
        assert steps == sorted(steps)
        prices = [w.price for w in found[First.CHEAPEST] if w.price is not None]
        assert prices == sorted(prices)
        margins = [w.margin_mm for w in found[First.MARGIN] if w.margin_mm is not None]
        assert margins == sorted(margins, reverse=True)
        for way in found[First.SHORTEST]:
            for fewer in found[First.SHORTEST]:
                if fewer.skus == way.skus and fewer is not way:
                    assert not set(fewer.services.items()) <= set(way.services.items())


@pytest.fixture(scope="module")
def demo() -> Explainer:
    return the_demo().explainer


def test_an_oversized_bar_gets_onto_a_fork_through_its_makers_sleeve(demo: Explainer) -> None:
    """Common practice, no source: a maker's thicker sleeve takes a larger bore."""
    found = ways(demo, "FORK-VEN-04", "BAR-CUL-05")
    assert found
    for way in found:
        roles = [demo.catalogue.vocabulary.roles[o.role].fill for o in way.options]
        assert roles[0] is roles[-1] is Fill.ALWAYS and set(roles[1:-1]) == {Fill.ADAPTER}
        assert way.margin_mm is not None and way.margin_mm >= 0
        assert demo.why(way.skus, done=way.services).verdict is Verdict.FITS


def test_a_liner_leads_from_a_bar_to_a_clamp(demo: Explainer) -> None:
    found = ways(demo, "BAR-MAR-05", "CLMP-SKE-02", first=First.CHEAPEST)
    assert [len(w.options) for w in found] == [3] * len(found) and len(found) >= 2
    assert [w.price for w in found] == sorted(w.price or 0 for w in found)
    by_margin = ways(demo, "BAR-MAR-05", "CLMP-SKE-02", first=First.MARGIN)
    margins = [w.margin_mm or 0.0 for w in by_margin]
    assert margins == sorted(margins, reverse=True)
    assert {w.skus for w in by_margin} == {w.skus for w in found}


def test_no_way_leads_between_two_of_a_role_and_unknown_numbers_are_told(demo: Explainer) -> None:
    assert ways(demo, "FORK-VEN-04", "FORK-VEN-01") == ()
    with pytest.raises(NamingError, match="FORK-VEN-04"):
        ways(demo, "FORK-VEN-4", "BAR-CUL-05")


def test_too_many_rows_of_parts_are_refused_before_they_are_judged(demo: Explainer) -> None:
    deck, grips = (demo.catalogue.of(role)[0].sku for role in ("deck", "grips"))
    with pytest.raises(InputError, match="more than 3,000 rows of parts") as refused:
        ways(demo, deck, grips, through=demo.catalogue.vocabulary.roles, most_between=3)
    assert "let in fewer parts between" in str(refused.value)
