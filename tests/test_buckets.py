"""The least sum of tables over one kind a role, held to trying every combination."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fitgraph.graph.buckets import Factor, TooManyCellsError, least_sum
from fitgraph.model import Verdict
from fitgraph.solve import TreeEngine
from fitgraph.solve.nearest import nearest
from tests.bench.catalogues import measured, scaled
from tests.shared import the_demo


def _factors(rng: np.random.Generator, sizes: dict[str, int]) -> list[Factor]:
    found = []
    for _ in range(int(rng.integers(1, 8))):
        roles = tuple(rng.permutation(list(sizes))[: rng.integers(0, 4)].tolist())
        shape = [int(rng.integers(1, 4)) for _ in roles]
        of = tuple(rng.integers(n, size=sizes[r]) for r, n in zip(roles, shape, strict=True))
        found.append(Factor(roles, of, rng.integers(6, size=shape)))
    return found


def _sum(factors: list[Factor], at: dict[str, int]) -> int:
    return sum(
        int(f.values[tuple(of[at[r]] for r, of in zip(f.roles, f.class_of, strict=True))])
        for f in factors
    )


@pytest.mark.parametrize("seed", range(60))
def test_least_sum_is_that_of_every_combination_tried(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sizes = {r: int(rng.integers(1, 6)) for r in "abcd"[: rng.integers(1, 5)]}
    factors = _factors(rng, sizes)
    least, at = least_sum(factors, sizes, 1e6)
    every = itertools.product(*(range(n) for n in sizes.values()))
    tried = [_sum(factors, dict(zip(sizes, kinds, strict=True))) for kinds in every]
    assert least == min(tried) == _sum(factors, at)


def test_a_bucket_that_would_be_too_wide_is_told() -> None:
    every = np.arange(50)
    wide = [Factor((a, b), (every, every), np.eye(50)) for a, b in ("ab", "bc", "ca")]
    with pytest.raises(TooManyCellsError):
        least_sum(wide, dict.fromkeys("abc", 50), 50.0**3 - 1)
    assert least_sum(wide, dict.fromkeys("abc", 50), 50.0**3)[0] == 0


def _clashes(engine: TreeEngine, at: dict[str, int]) -> int:
    """Return how many joints clash in a combination."""
    return sum(
        table.verdicts[tuple(c[at[r]] for r, c in zip(table.roles, table.class_of, strict=True))]
        == Verdict.FAILS
        for table in engine.space.joint_tables
    )


def test_measured_parts_have_a_near_combination_where_the_nearest_takes_too_much() -> None:
    engine = TreeEngine(measured(scaled(120)))
    space = engine.space
    lets = {r: np.ones(len(of), dtype=bool) for r, of in space.options.items()}
    bar = next(iter(engine.catalogue.of("bar"))).sku
    lets["bar"] = np.array([o.part is not None and o.part.sku == bar for o in space.options["bar"]])
    at = nearest(space, lets)
    assert at is not None
    assert all(lets[r][n] for r, n in at.items())
    assert _clashes(engine, at) <= 1


def test_local_search_comes_near_where_the_exact_answer_is_known(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    engine = the_demo().engine
    space = engine.space
    rng = np.random.default_rng(5)
    for _ in range(10):
        lets = {}
        for role, options in space.options.items():
            lets[role] = np.zeros(len(options), dtype=bool)
            lets[role][rng.integers(len(options), size=3)] = True
        exact = nearest(space, lets)
        with monkeypatch.context() as patched:
            patched.setattr("fitgraph.solve.nearest._CELLS", 0)
            near = nearest(space, lets)
        assert exact is not None and near is not None
        assert _clashes(engine, exact) <= _clashes(engine, near) <= _clashes(engine, exact) + 1
