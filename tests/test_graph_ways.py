"""Ways from one part to another, against brute force over all chains and all builds.

The brute force knows joints one combination at a time (:func:`fitgraph.graph.said.judge`) and
nothing of interfaces, classes or trees.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitgraph.catalogue import demo_folder, load
from fitgraph.explain import Explainer
from fitgraph.explain.ways import First, Way, every_way, ways
from fitgraph.graph.joints import asked
from fitgraph.graph.options import empty, variants
from fitgraph.graph.said import judge
from fitgraph.model import Catalogue, Condition, Fill, Joint, Option, Presence, Verdict
from fitgraph.solve import NamingError
from tests.strategies import all_options, catalogues


def between(joint: Joint) -> frozenset[str]:
    """Return the two roles whose features a joint brings together; nothing if not two."""
    roles = frozenset(r.role for r in joint.arguments.values())
    return roles if len(roles) == 2 else frozenset()


def holds(chosen: dict[str, Option], condition: Condition) -> bool:
    option = chosen[condition.role]
    there = option.part is not None
    if condition.feature is not None and there:
        feature = option.features.get(condition.feature)
        presence = Presence.ABSENT if feature is None else feature.presence
        if presence is Presence.UNKNOWN:
            return False
        there = presence is Presence.PRESENT
    return there is condition.wanted


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


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_ways_are_those_of_brute_force(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues(most_parts=3))
    skus = sorted(catalogue.parts)
    if len({p.role for p in catalogue.parts.values()}) < 2:
        return
    one = data.draw(st.sampled_from(skus))
    other = data.draw(
        st.sampled_from([s for s in skus if catalogue.parts[s].role != catalogue.parts[one].role])
    )
    adapters = [r.name for r in catalogue.vocabulary.roles.values() if r.fill is Fill.ADAPTER]
    through = data.draw(st.sampled_from([adapters, list(catalogue.vocabulary.roles)]))
    explainer = Explainer(catalogue)
    found: set[tuple[str, ...]] = set()
    for way in every_way(explainer, one, other, through=through, most_between=2):
        assert not found & rows(way)
        found |= rows(way)
    wanted = {labels(row) for row in brute_chains(catalogue, one, other, through, 2)}
    assert found == wanted


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_why_accepts_every_way_and_its_figures_are_those_of_its_parts(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues(most_parts=4))
    skus = sorted(catalogue.parts)
    if len(skus) < 2:
        return
    one, other = data.draw(st.lists(st.sampled_from(skus), min_size=2, max_size=2, unique=True))
    explainer = Explainer(catalogue)
    found = ways(explainer, one, other, through=catalogue.vocabulary.roles)
    for way in found[:5]:
        answer = explainer.why(way.skus, done=way.services, with_changes=False)
        assert answer.verdict is Verdict.FITS
        between_ends = way.options[1:-1]
        prices = [o.part.price for o in between_ends if o.part is not None]
        work = sum(o.service_price for o in way.options)
        assert way.price == (None if None in prices else sum(p or 0 for p in prices) + work)
        chosen = {r: empty(r) for r in catalogue.vocabulary.roles}
        chosen |= {o.role: o for o in way.options}
        for (a, b), hold in zip(itertools.pairwise(way.options), way.holds, strict=True):
            bare = [c for c in hold.joint.when if c.role in (a.role, b.role)]
            assert all(holds(chosen, c) for c in bare)
            assert {a.role, b.role} == between(hold.joint)
    prices = [w.price for w in ways(explainer, one, other, first=First.CHEAPEST)]
    known = [p for p in prices if p is not None]
    assert known == sorted(known) and prices[: len(known)] == known


@pytest.fixture(scope="module")
def demo() -> Explainer:
    return Explainer(load(demo_folder()).catalogue)


def test_an_oversized_bar_gets_onto_a_fork_through_its_makers_sleeve(demo: Explainer) -> None:
    """Common practice, no source: a maker's thicker sleeve takes a larger bore."""
    found = ways(demo, "FORK-VEN-04", "BAR-CUL-05")
    assert found
    for way in found:
        roles = [demo.catalogue.vocabulary.roles[o.role].fill for o in way.options]
        assert roles[0] is roles[-1] is Fill.ALWAYS and set(roles[1:-1]) == {Fill.ADAPTER}
        assert way.margin_mm is not None and way.margin_mm >= 0
        assert demo.why(way.skus, done=way.services).verdict is Verdict.FITS


def test_a_liner_or_another_cut_leads_from_a_bar_to_a_clamp(demo: Explainer) -> None:
    found = ways(demo, "BAR-MAR-05", "CLMP-SKE-02", first=First.CHEAPEST)
    assert [len(w.options) for w in found] == [3] * len(found) and len(found) >= 2
    assert [w.price for w in found] == sorted(w.price or 0 for w in found)
    by_margin = ways(demo, "BAR-MAR-05", "CLMP-SKE-02", first=First.MARGIN)
    margins = [w.margin_mm or 0.0 for w in by_margin]
    assert margins == sorted(margins, reverse=True)
    assert {w.skus for w in by_margin} == {w.skus for w in found}
    cut = ways(demo, "BAR-CUL-05", "CLMP-OST-06")
    assert any(w.services for w in cut)


def test_no_way_leads_between_two_of_a_role_and_unknown_numbers_are_told(demo: Explainer) -> None:
    assert ways(demo, "FORK-VEN-04", "FORK-VEN-01") == ()
    with pytest.raises(NamingError, match="FORK-VEN-04"):
        ways(demo, "FORK-VEN-4", "BAR-CUL-05")
