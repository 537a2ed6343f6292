"""How common looks are, and builds through a part, where every part is measured.

Sources outside the project: none; passes over the plan, and rows written out, are other ways.
"""

from __future__ import annotations

import numpy as np
import pytest
from bench.catalogues import measured, scaled

from fitgraph.explain import sightings
from fitgraph.explain.sightings import Looks, looks_of_builds
from fitgraph.solve import Space
from fitgraph.solve.counting import count_each
from fitgraph.solve.space import compile_space


@pytest.fixture(scope="module")
def space() -> Space:
    return compile_space(measured(scaled(40)), tidy=False)


@pytest.mark.parametrize("certain", [True, False])
def test_weights_along_the_circuit_are_those_of_passes(space: Space, certain: bool) -> None:
    lot = np.random.default_rng(3)
    weights = {r: lot.random(n) ** 4 * (lot.random(n) < 0.7) for r, n in space.sizes.items()}
    circuit = space.circuit(certain=certain)
    assert circuit is not None
    rough = circuit.rough(weights)
    for role, through in count_each(space.plan(certain=certain), weights, exact=False).items():
        assert rough[role] == pytest.approx(through, rel=1e-6, abs=1e-12 * through.max())
        assert ((rough[role] > 0) == (through > 0)).all()


def test_looks_are_the_same_however_rows_are_written_out(
    space: Space, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = np.random.default_rng(5)
    sizes = {r: len(o) for r, o in space.options.items()}
    weights = {r: lot.random(n) for r, n in sizes.items()}
    look_of = {r: lot.integers(0, 3, sizes[r]) for r in ("fork", "bar", "clamp")}

    def told() -> dict[tuple[int, ...], float]:
        found: Looks = looks_of_builds(space, weights, look_of, 0.1)
        columns = zip(*(found.of[r].tolist() for r in look_of), strict=True)
        return dict(zip(columns, found.weight.tolist(), strict=True))

    whole = told()
    assert len(whole) > 20
    monkeypatch.setattr(sightings, "_AT_ONCE", 50)
    assert told() == pytest.approx(whole)
    expanded = {c: space.circuit(certain=c).expanded(1e10) for c in (True, False)}
    monkeypatch.setattr(Space, "runs", lambda _, *, certain: expanded[certain])
    assert told() == pytest.approx(whole)
