"""Sixteen parts named at once: what is told is right, least, and all of it.

The judges are independent of how the answers are found. A pass along the engine's plan says
whether a build is left when elements go; bucket elimination over the options of a conflict's
joints says whether these can hold. Completeness follows from duality (M. L. Fredman, L.
Khachiyan, "On the complexity of dualization of monotone disjunctive normal forms", J. Algorithms
21 (1996) 618-628, reference checked): where every set to drop and every conflict is right, and each
list holds all smallest transversals of the other, none is missing in either.
"""

from __future__ import annotations

import csv
import functools
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import pytest

from fitgraph.catalogue import demo_folder, load
from fitgraph.explain import Explainer, clashing, network
from fitgraph.explain.conflicts import Conflict, minimal_conflicts, minimal_drops
from fitgraph.explain.elements import JOINT, AskedElements, of_parts
from fitgraph.explain.kinds import Kinds
from fitgraph.explain.least_cost import Least
from fitgraph.explain.transversals import bits, minimal, minimal_transversals
from fitgraph.model import Verdict
from fitgraph.report import as_text
from fitgraph.report.explanations import data, report
from fitgraph.report.hints import Hints
from fitgraph.solve.algebra import COUNT
from fitgraph.solve.messages import Demands
from fitgraph.solve.passes import Passes
from tests.after_changes import applied
from tests.shared import the_demo

SEEDS = (1, pytest.param(0, marks=pytest.mark.long))


@functools.cache
def explainer() -> Explainer:
    return the_demo().explainer


def named(seed: int, parts: int = 16) -> list[str]:
    """Return one part of each of so many roles."""
    catalogue = explainer().catalogue
    rng = np.random.default_rng([19, seed])
    roles = [r for r in catalogue.vocabulary.roles if catalogue.of(r)]
    chosen = [catalogue.of(roles[n]) for n in rng.permutation(len(roles))[:parts]]
    return [of[int(rng.integers(len(of)))].sku for of in chosen]


def asked(seed: int, parts: int = 16) -> AskedElements:
    return of_parts(explainer().space, explainer()._named(named(seed, parts), {}))


def left(question: AskedElements, dropped: Sequence[int], *, certain: bool) -> list[bool]:
    """Say by one pass over all builds whether any is left when each of some sets goes."""
    space = question.space
    plan = space.plan(certain=certain)
    values = {r: np.zeros((len(dropped), plan.sizes[r])) for r in plan.roles}
    for n, some in enumerate(dropped):
        for role, of_class in values.items():
            of_class[n, space.class_of[role][question.lets(role, some)]] = 1.0
    every = np.arange(len(dropped), dtype=np.intp)
    passes = Passes(plan, Demands(values, dict.fromkeys(values, every)), COUNT)
    return [bool(total > 0) for total in passes.totals()]


def members(question: AskedElements, conflicts: Iterable[Conflict]) -> list[int]:
    """Return the elements of conflicts as bits, without joints."""
    place = {(e.kind, e.role): 1 << n for n, e in enumerate(question.elements)}
    return [sum(place[e.kind, e.role] for e in c.elements if e.kind != JOINT) for c in conflicts]


def holds(kinds: Kinds, question: AskedElements, member: int, joints: Iterable[str]) -> bool:
    """Say by bucket elimination whether some elements and joints can hold together."""
    wanted = set(joints)
    every = (1 << len(question.elements)) - 1
    at = {}
    for role, kind in kinds.kind_of.items():
        at[role] = np.unique(kind[question.lets(role, every & ~member)])
        if not len(at[role]):
            return False
    tables = [t for t in kinds.over(at) if t.joint.name in wanted]
    if not tables:
        return True
    roles = {r for t in tables for r in t.roles}
    factors = [(t.roles, np.where(t.fails, np.inf, 0.0)) for t in tables]
    return bool(np.isfinite(Least({r: len(at[r]) for r in roles}, factors).least))


@pytest.mark.parametrize("seed", SEEDS)
def test_no_conflict_and_no_change_of_sixteen_parts_is_missing(seed: int) -> None:
    question, kinds = asked(seed), explainer().kinds(Verdict.FITS)
    drops = minimal_drops(kinds, question)
    conflicts = minimal(members(question, minimal_conflicts(kinds, question, Verdict.UNKNOWN)))
    assert drops and conflicts
    assert sorted(conflicts) == sorted(minimal_transversals(drops))
    assert sorted(drops) == sorted(minimal_transversals(conflicts))
    every = (1 << len(question.elements)) - 1
    assert all(left(question, drops, certain=True))
    assert not any(left(question, [every & ~m for m in conflicts], certain=True))


@pytest.mark.parametrize("seed", SEEDS)
def test_every_conflict_of_sixteen_parts_is_one_and_the_least(seed: int) -> None:
    question, kinds = asked(seed), explainer().kinds(Verdict.UNKNOWN)
    told = minimal_conflicts(kinds, question, Verdict.FAILS)
    assert told
    sums = {s.name for s in question.space.sums} | {s.joint.name for s in question.space.sums}
    every = (1 << len(question.elements)) - 1
    for conflict, member in zip(told, members(question, told), strict=True):
        joints = [j.name for j in conflict.joints]
        if set(joints) & sums:  # every joint counts; no element can be left out
            fewer = [every & ~(member & ~one) for one in bits(member)]
            assert left(question, [every & ~member, *fewer], certain=False) == [
                False,
                *[True] * len(fewer),
            ]
            continue
        assert not holds(kinds, question, member, joints)
        for one in bits(member):
            assert holds(kinds, question, member & ~one, joints)
        for joint in joints:
            assert holds(kinds, question, member, [j for j in joints if j != joint])


@pytest.mark.parametrize("seed", SEEDS)
def test_every_change_of_sixteen_parts_works_and_none_is_too_much(seed: int) -> None:
    skus, question = named(seed), asked(seed)
    told = explainer().why(skus)
    assert told.complete and told.changes
    fewer = {c.dropped & ~one for c in told.changes for one in bits(c.dropped)}
    assert not any(left(question, sorted(fewer), certain=True))
    for change in told.changes:
        parts, done = applied(change, skus)
        after = of_parts(explainer().space, explainer()._named(parts, done))
        assert left(after, [0], certain=True) == [True]


@pytest.mark.parametrize("parts", [3, 6])
def test_a_search_that_is_given_up_leaves_the_answer_as_it_is(
    parts: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Passes over all builds take over, and find the same."""
    skus = named(1, parts)
    quick = explainer().why(skus)
    monkeypatch.setattr(network, "PATIENCE", 0)
    slow = explainer().why(skus)

    def told(conflicts: Iterable[Conflict]) -> list[list[tuple[str, str]]]:
        return [[(e.kind, e.name or e.role or "") for e in c.elements] for c in conflicts]

    assert slow.verdict is quick.verdict
    assert told(slow.minimal_conflicts) == told(quick.minimal_conflicts)
    # Of equally good parts one or another is told.
    assert sorted((c.dropped, c.price, c.minutes, c.alternatives) for c in slow.changes) == sorted(
        (c.dropped, c.price, c.minutes, c.alternatives) for c in quick.changes
    )
    assert slow.needs == quick.needs


@pytest.mark.long
def test_an_answer_does_not_depend_on_what_was_asked_before() -> None:
    catalogue = explainer().catalogue
    fresh = Explainer(catalogue)
    for seed in (2, 1, 0):
        assert data(fresh.why(named(seed)), catalogue) == data(
            explainer().why(named(seed)), catalogue
        )


def test_what_is_left_out_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    from fitgraph.explain import why
    from fitgraph.explain.transversals import TooManySetsError

    def many(*_: object) -> list[Conflict]:
        raise TooManySetsError("too many")

    monkeypatch.setattr(why, "minimal_conflicts", many)
    told = explainer().why(named(0))
    assert told.verdict is Verdict.FAILS and not told.complete and told.changes
    catalogue = explainer().catalogue
    assert data(told, catalogue)["complete"] is False
    text = as_text.text(report(told, catalogue, why.Prefer.OWNED, Hints()))
    assert "Not every conflict and change is told" in " ".join(text.split())


def test_a_catalogue_with_a_third_of_its_figures_blank_is_answered_with_what_comes_nearest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All that is blank clashes with all that is asked, in millions of ways."""
    folder = tmp_path / "blank"
    shutil.copytree(demo_folder(), folder)
    with (folder / "features.csv").open(encoding="utf-8-sig", newline="") as file:
        head, *rows = csv.reader(file)
    rng = np.random.default_rng(1)
    for row in rows:
        if rng.random() < 0.3:
            row[head.index("value")] = "?"
    with (folder / "features.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([head, *rows])
    looked_at = []

    def counted(*families: clashing.Family, **more: int) -> tuple[clashing.Family, int]:
        found, unions = both_ways(*families, **more)
        looked_at.append(unions)
        return found, unions

    both_ways = clashing.both_ways
    monkeypatch.setattr(clashing, "both_ways", counted)
    catalogue = load(folder).catalogue
    told = Explainer(catalogue).why(["GRIP-SKE-04", "INS-OST-01"])
    # What is certain and what is possible are two questions.
    assert 1_000 < sum(looked_at) <= 2 * clashing.MOST_UNIONS
    assert told.verdict is Verdict.UNKNOWN and not told.complete
    assert told.conflicts and all(c.verdict is Verdict.UNKNOWN for c in told.conflicts)
