"""Which kinds of options stand in for others: equal to a comparison of all pairs, in little memory.

Sources outside the project: a comparison of sets by Python's own ``<=``.
"""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from bench.catalogues import measured, scaled

from fitgraph.catalogue import Loaded
from fitgraph.explain.kinds import Kinds, at_least_as_good
from fitgraph.model import Verdict
from fitgraph.shop.front import Shop


@pytest.mark.parametrize("seed", range(40))
def test_at_least_as_good_is_inclusion_of_sets(seed: int) -> None:
    lot = np.random.default_rng(seed)
    rows, columns = int(lot.integers(0, 9)), int(lot.integers(0, 200))
    fails = lot.random((rows, columns)) < lot.choice([0.02, 0.3, 0.97])
    sets = [set(np.flatnonzero(row)) for row in fails]
    told = [[one <= other for other in sets] for one in sets]
    assert at_least_as_good(fails).tolist() == told


def test_wide_tables_are_compared_in_little_memory() -> None:
    # All pairs at once would be 2,000 x 2,000 x 500 bytes.
    fails = np.random.default_rng(0).random((2_000, 4_000)) < 0.5
    tracemalloc.start()
    better = at_least_as_good(fails)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert better.sum() == len(fails)
    assert peak < 300e6


def test_kinds_are_compared_joint_by_joint() -> None:
    space = Shop(Loaded(measured(scaled(40)), ())).explainer.space
    kinds = Kinds(space, Verdict.FITS)
    for role, better in kinds.better.items():
        wide = [np.zeros((len(better), 1), dtype=bool)]
        for name, _, along in kinds.beside[role]:
            wide.append(along.reshape(len(along), -1)[kinds.classes[role][name]])
        fails = np.hstack(wide)
        alone = ~(fails[:, None] & ~fails[None, :]).any(axis=2)
        assert (better == alone).all()
