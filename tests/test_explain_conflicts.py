"""Conflicts and changes against brute force over subsets, and against CPMpy's general tools."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

import pytest
from bench.explain_peer import PeerModel, allowed
from cpmpy.tools.explain import marco, mus
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import (
    all_options,
    brute_builds,
    catalogues,
    keeps_limits,
    mass_of,
    price_of,
    requests,
    together_of,
    verdict_of,
)

from fitgraph.explain import Explainer
from fitgraph.explain.changes import Change, Prefer
from fitgraph.explain.conflicts import Conflict
from fitgraph.explain.standing import nearest_combination
from fitgraph.explain.transversals import minimal, minimal_transversals
from fitgraph.graph.joints import asked
from fitgraph.graph.said import judge
from fitgraph.model import Catalogue, Fill, Option, Verdict
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.request import Services
from tests.after_changes import applied, apply_to_request
from tests.shared import the_demo
from tests.turns import turns

Key = tuple[str, str]
Chosen = dict[str, Option]
Set = frozenset[Key]

SLOW = settings(deadline=None, max_examples=turns(60), suppress_health_check=[HealthCheck.too_slow])

# ---------------------------------------------------------------- brute force


def smallest(sets: Iterable[Set]) -> set[Set]:
    every = set(sets)
    return {s for s in every if not any(other < s for other in every)}


def subsets_in_conflict(broken: Sequence[Set], keys: Iterable[Key]) -> set[Set]:
    """Return the smallest subsets of some keys that meet every broken set, by trying all."""
    found: set[Set] = set()
    listed = sorted(keys)
    for size in range(len(listed) + 1):
        for some in itertools.combinations(listed, size):
            here = frozenset(some)
            if any(less <= here for less in found):
                continue
            if all(here & b for b in broken):
                found.add(here)
    return found


class Brute:
    """Every assignment of a question, with what it breaks."""

    def __init__(
        self,
        catalogue: Catalogue,
        options: Mapping[str, Sequence[Option]],
        facts: Mapping[Key, Callable[[Chosen], bool]],
        *,
        tidy: bool,
    ) -> None:
        self.facts = facts
        self.joints = asked(catalogue.vocabulary.joints, tidy=tidy)
        roles = list(options)
        together = together_of(options, self.joints)
        self.all: list[tuple[Chosen, Set, dict[str, Verdict]]] = []
        memo: dict[tuple[str, tuple[int, ...]], Verdict] = {}
        for row in itertools.product(*(range(len(options[r])) for r in roles)):
            at = dict(zip(roles, row, strict=True))
            chosen = {r: options[r][n] for r, n in at.items()}
            said = {}
            for joint in self.joints:
                key = (joint.name, tuple(at[r] for r in joint.roles))
                if key not in memo:
                    memo[key] = judge(joint, chosen).verdict
                said[joint.name] = memo[key]
            for name, holds in together.items():  # of figures that nobody knows: never certain
                said[name] = Verdict.FITS if holds(row) else Verdict.FAILS
            facts_broken = frozenset(k for k, holds in facts.items() if not holds(chosen))
            self.all.append((chosen, facts_broken, said))

    def broken(self, least: Verdict) -> list[Set]:
        """Return what each assignment breaks, joints among it."""
        return list(
            {
                facts | {("joint", name) for name, v in said.items() if v < least}
                for _, facts, said in self.all
            }
        )

    def builds(self, least: Verdict) -> list[tuple[Chosen, Set]]:
        """Return the assignments in which every joint holds, and what else they break."""
        return [(c, f) for c, f, said in self.all if all(v >= least for v in said.values())]


def keys_of(conflict: Conflict) -> Set:
    return frozenset((e.kind, e.name or e.role or "") for e in conflict.elements)


def apart(conflicts: Iterable[Set]) -> set[Set]:
    """Return the smallest conflicts, with what joints ask together told as these joints.

    Where one of them rules something out alone, what they ask together may leave it to that one
    or say it again: the same conflict in two ways.
    """
    taken = set()
    for conflict in conflicts:
        keys: set[Key] = set()
        for kind, name in conflict:
            joints = name.partition(" on ")[0].split(" & ") if kind == "joint" else [name]
            keys |= {(kind, joint) for joint in joints}
        taken.add(frozenset(keys))
    return smallest(taken)


def about_parts(catalogue: Catalogue, skus: Sequence[str]) -> Brute:
    roles = catalogue.vocabulary.roles
    named = {catalogue.parts[s].role: s for s in skus}
    options = {
        r: [o for o in os if allowed(o, named.get(r), free=roles[r].fill.free)]
        for r, os in all_options(catalogue).items()
    }
    facts: dict[Key, Callable[[Chosen], bool]] = {}
    for role in roles:
        if role in named:
            facts["part", role] = lambda c, r=role: (
                c[r].part is not None and c[r].part.sku == named[r]
            )
        elif not roles[role].fill.free:
            facts["nothing added", role] = lambda c, r=role: c[r].part is None
        facts["no work", role] = lambda c, r=role: not c[r].services
    return Brute(catalogue, options, facts, tidy=False)


def about_request(catalogue: Catalogue, request: Request, *, certain: bool) -> Brute:
    roles = catalogue.vocabulary.roles
    named: dict[str, set[str]] = defaultdict(set)
    for sku in (*request.have, *request.want):
        named[catalogue.parts[sku].role].add(sku)

    def owned(o: Option) -> bool:
        return o.part is not None and o.part.sku in request.have

    options = {
        r: [o for o in os if o.part is None or o.part.price is not None or owned(o)]
        for r, os in all_options(catalogue).items()
    }
    facts: dict[Key, Callable[[Chosen], bool]] = {}
    for role in roles:
        if role in named:
            facts["part", role] = lambda c, r=role: (
                c[r].part is not None and c[r].part.sku in named[r]
            )
        elif roles[role].fill is Fill.EXTRA:
            facts["nothing added", role] = lambda c, r=role: c[r].part is None
        if request.services is Services.NONE:
            facts["no work", role] = lambda c, r=role: not c[r].services
        elif request.services is Services.OWNED:
            facts["no work", role] = lambda c, r=role: not c[r].services or owned(c[r])
    if request.in_stock:
        facts["in stock", ""] = lambda c: all(
            o.part is None or owned(o) or o.part.stock > 0 for o in c.values()
        )
    if request.material is not None:
        facts["material", ""] = lambda c: all(
            o.part is None or not roles[r].by_material or o.part.material == request.material
            for r, o in c.items()
        )
    if request.budget is not None:
        facts["budget", ""] = lambda c: price_of(request, c) <= request.budget
    if request.max_mass_g is not None:
        mass_only = Request(max_mass_g=request.max_mass_g)
        facts["mass", ""] = lambda c: keeps_limits(mass_only, c, certain=certain)
    return Brute(catalogue, options, facts, tidy=True)


# ---------------------------------------------------------------- transversals


@given(st.lists(st.integers(0, 255), max_size=8))
def test_transversals_equal_trying_every_set(family: list[int]) -> None:
    meeting = [s for s in range(256) if all(s & member for member in family)]
    assert sorted(minimal_transversals(family)) == sorted(minimal(meeting))


@given(st.lists(st.integers(1, 1023), min_size=1, max_size=8))
def test_the_transversals_of_the_transversals_are_the_family(family: list[int]) -> None:
    """Duality: Berge 1989, chapter 2, for families in which no set contains another."""
    smallest_sets = minimal(family)
    assert sorted(minimal_transversals(minimal_transversals(family))) == sorted(smallest_sets)


# ---------------------------------------------------------------- parts


@st.composite
def questions(draw: st.DrawFn) -> tuple[Catalogue, list[str]]:
    catalogue = draw(catalogues())
    skus = []
    for role in catalogue.vocabulary.roles:
        parts = [p.sku for p in catalogue.of(role)]
        if parts and draw(st.sampled_from([True, True, False])):
            skus.append(draw(st.sampled_from(parts)))
    return catalogue, skus


def cost_of_ways(
    catalogue: Catalogue, skus: Sequence[str], brute: Brute
) -> dict[tuple[Set, frozenset[str]], tuple[int, int]]:
    """Return the least price, and the parts for the last step, of every smallest change."""
    builds = brute.builds(Verdict.FITS)
    drops = smallest(f for _, f in builds)
    named = {catalogue.parts[s].role: s for s in skus}
    ways: dict[tuple[Set, frozenset[str]], list[Chosen]] = defaultdict(list)
    for chosen, broken in builds:
        if broken in drops and broken:
            roles = {r for _, r in broken}
            left_out = frozenset(r for r in roles if chosen[r].part is None)
            ways[broken, left_out].append(chosen)

    def price(chosen: Chosen, broken: Set) -> int:
        total = 0
        for role in {r for _, r in broken}:
            option = chosen[role]
            if option.part is not None:
                bought = option.part.sku != named.get(role)
                total += option.service_price + ((option.part.price or 0) if bought else 0)
        return total

    order = list(catalogue.vocabulary.roles)
    found = {}
    for (broken, left_out), of_way in ways.items():
        last = max((r for _, r in broken), key=order.index)
        found[broken, left_out] = (
            min(price(c, broken) for c in of_way),
            len({c[last].label for c in of_way}),
        )
    return found


@SLOW
@given(questions())
def test_conflicts_and_changes_of_parts_equal_brute_force(
    question: tuple[Catalogue, list[str]],
) -> None:
    catalogue, skus = question
    explainer = Explainer(catalogue)
    told = explainer.why(skus, prefer=Prefer.PRICE)
    brute = about_parts(catalogue, skus)
    assert told.complete
    if told.verdict is Verdict.FITS:
        assert frozenset() in brute.broken(Verdict.FITS)
        assert not told.minimal_conflicts
        return
    least = Verdict(told.verdict + 1)
    broken = brute.broken(least)
    assert frozenset() not in broken
    keys = frozenset().union(*broken)
    found = [keys_of(c) for c in told.minimal_conflicts]
    assert len(found) == len(set(found))
    wanted_conflicts = subsets_in_conflict(broken, keys)
    assert apart(found) == apart(wanted_conflicts)
    # The changes: every smallest set of facts, the least price of each way, its alternatives.
    wanted = cost_of_ways(catalogue, skus, brute)
    got = {}
    for change in told.changes:
        dropped = frozenset(
            (e.kind, e.role or "") for e in dropped_elements(explainer, skus, change)
        )
        left_out = frozenset(a.role for a in change.actions if a.after.part is None)
        got[dropped, left_out] = (change.price, change.alternatives)
    assert got == wanted
    assert len(got) == len(told.changes)


def dropped_elements(explainer: Explainer, skus: Sequence[str], change: Change):
    from fitgraph.explain.elements import of_parts

    chosen = explainer._named(skus, {})
    elements = of_parts(explainer.space, chosen).elements
    return [e for n, e in enumerate(elements) if change.dropped >> n & 1]


@SLOW
@given(questions())
def test_applied_changes_fit(question: tuple[Catalogue, list[str]]) -> None:
    catalogue, skus = question
    explainer = Explainer(catalogue)
    counted = asked(catalogue.vocabulary.joints, tidy=False)
    for prefer in (Prefer.OWNED, Prefer.WORK):
        for change in explainer.why(skus, prefer=prefer).changes:
            parts, done = applied(change, skus)
            assert explainer.why(parts, done=done, with_changes=False).verdict is Verdict.FITS
            if change.held is not None:
                assert change.to_order and change.held.after.part.stock
                assert change.held.price >= change.price or prefer is not Prefer.OWNED
                parts, done = applied(replace(change, actions=(change.held,)), skus)
                assert explainer.why(parts, done=done, with_changes=False).verdict is Verdict.FITS
            assert verdict_of(change.build, counted) is Verdict.FITS
            for sku in parts:  # the build has what the change names, and the work done to it
                option = change.build[catalogue.parts[sku].role]
                assert option.label == " + ".join((sku, *done.get(sku, ())))


@SLOW
@given(questions(), st.sampled_from(list(Prefer)))
def test_changes_come_in_the_order_of_the_preference(
    question: tuple[Catalogue, list[str]], prefer: Prefer
) -> None:
    catalogue, skus = question
    explainer = Explainer(catalogue)
    told = explainer.why(skus, prefer=prefer).changes
    by_price = explainer.why(skus, prefer=Prefer.PRICE).changes
    key = {
        Prefer.OWNED: lambda c: (-c.parts_kept, c.price),
        Prefer.PRICE: lambda c: c.price,
        Prefer.MASS: lambda c: float("inf") if c.mass_change_g is None else c.mass_change_g,
        Prefer.WORK: lambda c: c.minutes,
    }[prefer]
    assert [key(c) for c in told] == sorted(key(c) for c in told)
    # Whatever is preferred, the sets to drop are the same.
    assert {c.dropped for c in told} == {c.dropped for c in by_price}


# ---------------------------------------------------------------- requests


@SLOW
@given(st.data())
def test_conflicts_and_changes_of_requests_equal_brute_force(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    request = data.draw(requests(catalogue))
    explainer = Explainer(catalogue)
    told = explainer.explain(request, prefer=Prefer.PRICE)
    sure = about_request(catalogue, request, certain=True)
    maybe = about_request(catalogue, request, certain=False)
    assert (told.verdict is Verdict.FITS) == (frozenset() in sure.broken(Verdict.FITS))
    if told.verdict is Verdict.FITS:
        assert TreeEngine(catalogue).count(request).number > 0
        return
    possible = frozenset() in maybe.broken(Verdict.UNKNOWN)
    assert (told.verdict is Verdict.UNKNOWN) == possible
    brute, least = (sure, Verdict.FITS) if possible else (maybe, Verdict.UNKNOWN)
    limits = {("budget", ""), ("mass", "")}
    broken = brute.broken(least)
    found = {keys_of(c) for c in told.conflicts}
    without = {f for f in found if not f & limits}
    keys = frozenset().union(*broken) - limits
    wanted = subsets_in_conflict([b - limits for b in broken], keys)
    assert without == wanted
    facts_only = [f for _, f in brute.builds(least)]
    keys = frozenset().union(*facts_only, limits & set(brute.facts))
    with_limits = {c for c in subsets_in_conflict(facts_only, keys) if c & limits}
    assert {f for f in found if f & limits} == with_limits
    # Changes.
    builds = sure.builds(Verdict.FITS)
    drops = smallest(f for _, f in builds)

    def left_out(chosen: Mapping[str, Option], dropped: Set) -> Set:
        return frozenset(
            role for kind, role in dropped if kind == "part" and chosen[role].part is None
        )

    ways = {(f, left_out(c, f)) for c, f in builds if f in drops}
    assert len(told.changes) == len(ways)
    for change in told.changes:
        dropped = dropped_by(sure, change)
        way = (dropped, left_out(change.build, dropped))
        ways.remove(way)
        here = [c for c, f in builds if (f, left_out(c, f)) == way]
        if ("budget", "") in dropped or not dropped & {
            ("mass", ""),
            ("in stock", ""),
            ("material", ""),
        }:
            assert change.build_price == min(price_of(request, c) for c in here)
        elif ("mass", "") in dropped:
            masses = [mass_of(c) for c in here]
            if None not in masses:
                assert change.build_mass_g == pytest.approx(min(masses))
        after = apply_to_request(change, request, catalogue)
        assert TreeEngine(catalogue).count(after).number > 0
        assert any(
            {r: o.label for r, o in b.items()} == {r: o.label for r, o in change.build.items()}
            and keeps_limits(after, b)
            for b in brute_builds(catalogue, after)
        )


def dropped_by(brute: Brute, change: Change) -> Set:
    chosen = dict(change.build)
    return frozenset(k for k, holds in brute.facts.items() if not holds(chosen))


def test_nothing_is_asked_of_a_catalogue_without_parts() -> None:
    demo = the_demo().catalogue
    bare = Catalogue(demo.vocabulary, {}, by_role={})
    told = Explainer(bare).why([])
    assert told.verdict is Verdict.FAILS
    assert [c.elements for c in told.minimal_conflicts] == [()]
    assert told.changes == ()


# ---------------------------------------------------------------- a second judge


@settings(deadline=None, max_examples=turns(25), suppress_health_check=[HealthCheck.too_slow])
@given(questions())
def test_conflicts_equal_those_of_cpmpy(question: tuple[Catalogue, list[str]]) -> None:
    """CPMpy's marco finds all minimal unsatisfiable sets, mus one of them."""
    catalogue, skus = question
    if not all(all_options(catalogue).values()):
        return
    told = Explainer(catalogue).why(skus, with_changes=False)
    if told.verdict is not Verdict.FAILS:
        return
    named = {catalogue.parts[s].role: s for s in skus}
    model = PeerModel(catalogue, named, Verdict.UNKNOWN)
    wanted = {keys_of(c) for c in told.minimal_conflicts}
    found = {model.elements(some) for kind, some in marco(model.soft, model.hard) if kind == "MUS"}
    assert found == wanted
    assert model.elements(mus(model.soft, model.hard)) in wanted


def test_a_real_clash_has_the_conflicts_that_cpmpy_finds() -> None:
    catalogue = the_demo().catalogue
    skus = ["FORK-VEN-04", "BAR-MAR-05", "CLMP-SKE-02"]
    told = Explainer(catalogue).why(skus, with_changes=False)
    named = {catalogue.parts[s].role: s for s in skus}
    model = PeerModel(catalogue, named, Verdict.UNKNOWN, sums=False)
    wanted = {keys_of(c) for c in told.minimal_conflicts}
    assert wanted == {
        frozenset(
            {
                ("part", "bar"),
                ("part", "clamp"),
                ("nothing added", "liner"),
                ("joint", "clamp-on-bar"),
            }
        )
    }
    assert model.elements(mus(model.soft, model.hard)) in wanted


@pytest.mark.parametrize(
    "skus",
    [
        ("FORK-SKE-01", "BAR-OST-03"),  # with a kit one joint fails, without one two do
        ("WHL-QUA-10",),  # a fork that nobody measured may take them, no other does
    ],
)
def test_what_is_told_of_parts_is_what_is_drawn_of_them(skus: tuple[str, ...]) -> None:
    explainer = Explainer(the_demo().catalogue)
    said, near = explainer.why(skus), nearest_combination(explainer, skus)
    assert said.conflicts
    for clash in said.conflicts:
        assert clash.verdict is said.verdict
        assert all(near[role] == option for role, option in clash.options.items())


def test_what_is_on_the_shelf_is_told_beside_a_cheaper_part_to_order() -> None:
    shop = the_demo().shop
    seen = 0
    for clamp in ("CLMP-SKE-02", "CLMP-OST-02", "CLMP-TAR-02"):
        named = ("FORK-VEN-04", "BAR-MAR-05", clamp)
        for fix in shop.why(*named).to_dict()["fixes"]:
            (step, *more) = fix["actions"]
            if more or fix["today"] or step["do"] not in ("add", "swap"):
                assert fix["held"] is None
                continue
            rest = [sku for sku in named if sku != step["instead_of"]]
            held = {
                p.sku: p.price
                for p in shop.catalogue.of(step["role"])
                if p.stock and p.price is not None and shop.why(*rest, p.sku).verdict == "fits"
            }
            if held:
                least = min(held.values())
                assert held[fix["held"]] == least == round(fix["held_price"] * 100)
                seen += 1
            else:
                assert fix["held"] is None
    assert seen > 1
