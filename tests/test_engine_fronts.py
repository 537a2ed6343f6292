"""Fronts of price, mass and strength: what they are made of, and whole ones, against other judges.

The judges are the comparison of each with each, and a walk that carries partial builds.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from bench.catalogues import measured, scaled
from walked_front import pareto_front

from fitgraph.model import Catalogue
from fitgraph.solve import Request, Services, TreeEngine
from fitgraph.solve.dominance import Known, least_of_three, least_of_two
from fitgraph.solve.engine import Build
from fitgraph.solve.query import TENTHS, ask
from tests.shared import the_demo

SEEDS = [*range(6), *(pytest.param(n, marks=pytest.mark.long) for n in range(6, 40))]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("scale", [1.0, 2.0**40], ids=["packed", "columns"])
def test_what_is_least_in_a_group_is_what_no_other_of_it_betters(seed: int, scale: float) -> None:
    rng = np.random.default_rng(seed)
    points = rng.integers(0, 9, (80, 3)).astype(float) * [scale, 1.0, 1.0]
    group = rng.integers(0, 4, 80)
    for width, found in (
        (2, least_of_two(group, points[:, 0], points[:, 1])),
        (3, least_of_three(points, group)),
    ):
        told = [(int(group[n]), *points[n, :width].tolist()) for n in found]
        wanted = set()
        for mine in range(4):
            every = np.unique(points[group == mine, :width], axis=0)
            wanted |= {
                (mine, *p.tolist())
                for p in every
                if not ((every <= p).all(axis=1) & (every < p).any(axis=1)).any()
            }
        assert len(told) == len(wanted) and set(told) == wanted


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_said_to_be_beaten_can_hold_nothing_that_is_not(seed: int) -> None:
    """On a grid, with what every build comes to at the least in three criteria and two mixtures."""
    rng = np.random.default_rng(seed)
    steps = np.array([10.0, 3.0])
    weightings = np.array([[1.0, 4.0], [2.0, 1.0]])
    points = np.column_stack([rng.integers(3, 15, (12, 2)) * steps, rng.integers(0, 5, 12)])
    known = Known(points, steps, weightings)
    grid = np.array(list(itertools.product(*(np.arange(80) * s for s in steps))))
    beaten = 0
    for _ in range(300):
        least = np.append(rng.integers(0, 19, 2) * steps, rng.integers(0, 6))
        mixed = weightings @ (least[:2] + rng.integers(0, 4, 2) * steps)
        inside = (grid >= least[:2]).all(axis=1)
        as_good = points[points[:, 2] <= least[2], None, :2]
        open_ = inside & ~(as_good <= grid).all(axis=2).any(axis=0)
        alone = known.beat(least[:, None], np.zeros((0, 1)))
        assert alone[0] == (not open_.any())
        by_weighting = [
            (open_ & (grid @ w >= m)).any() for w, m in zip(weightings, mixed, strict=True)
        ]
        assert known.beat(least[:, None], mixed[:, None])[0] == (not all(by_weighting))
        beaten += not all(by_weighting)
    assert beaten > 30


def test_nothing_is_beaten_where_nothing_is_known() -> None:
    known = Known(np.zeros((0, 3)), np.ones(2), np.ones((1, 2)))
    assert not known.beat(np.zeros((3, 2)), np.zeros((1, 2))).any()


def points_of(builds: list[Build]) -> list[tuple[float, float]]:
    return [(b.price, round((b.mass_g or 0.0) * TENTHS)) for b in builds]


def walked(engine: TreeEngine, request: Request, *, certain: bool) -> np.ndarray:
    query = ask(engine.space, request)
    plan = engine.space.plan(certain=certain)
    question = engine._three(query, certain=certain)
    return pareto_front(plan, engine.space.class_of, *question)[1]


def shop(name: str) -> Catalogue:
    if name == "demo":
        return the_demo().catalogue
    kind, parts, roles = name.split()
    made = scaled(int(parts), int(roles), seed=int(parts))
    return measured(made) if kind == "measured" else made


REQUESTS = (
    Request(),
    Request(services=Services.ANY, in_stock=True),
    Request(budget=300_00, max_mass_g=4500.0),
)


@pytest.mark.parametrize(
    ("name", "sure"),
    [
        ("shared 12 12", (True, False)),
        ("measured 7 12", (True, False)),
        ("measured 12 8", (True, False)),
        pytest.param("demo", (True, False), marks=pytest.mark.long),
    ],
)
def test_fronts_of_whole_catalogues_equal_those_by_walking(
    name: str, sure: tuple[bool, ...]
) -> None:
    engine = TreeEngine(shop(name))
    for request in REQUESTS:
        for certain in sure:
            wanted = walked(engine, request, certain=certain)
            builds = engine.front(request, certain=certain)
            assert points_of(builds) == [(p, m) for p, m, _ in wanted.tolist()]
            strengths = [-wanted[n, 2] / 1000 for n in range(len(wanted))]
            for build, strength in zip(builds, strengths, strict=True):
                if build.strength_nm is not None:
                    assert build.strength_nm == pytest.approx(strength, abs=6e-4)
            first = engine.first_front(request, certain=certain)
            assert bool(first) == bool(builds)
            for price, mass in points_of(first):
                assert any(p <= price and m <= mass for p, m, _ in wanted.tolist())
