"""The least costs of many enquiries over parts that were each measured, by runs and row by row."""

from __future__ import annotations

import numpy as np
import pytest

from fitgraph.demand import least_rows
from fitgraph.demand.least import cheapest
from fitgraph.demand.menus import IN_STOCK, SOLD, Listing, Menus
from fitgraph.solve import TreeEngine
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.support import Support, support_of
from tests.bench.catalogues import measured, scaled


@pytest.fixture(scope="module")
def engine() -> TreeEngine:
    return TreeEngine(measured(scaled(70)))


def _asked(menus: Menus, rng: np.random.Generator, count: int) -> np.ndarray:
    """Return questions of which each owns a part or two, of parts that fit something."""
    space = menus.space
    rows = []
    for _ in range(count):
        row = [menus.shelf(at, SOLD if rng.random() < 0.7 else IN_STOCK) for at in range(12)]
        for at in rng.choice(12, size=rng.integers(3), replace=False).tolist():
            of = space.catalogue.of(menus.roles[at])
            skus = frozenset(p.sku for p in rng.choice(np.array(of, dtype=object), size=3))
            row[at] = menus.owned(at, skus)[0]
        rows.append(row)
    return np.array(rows)


@pytest.mark.parametrize("certain", [True, False])
def test_runs_and_rows_find_the_same_least_and_builds_that_come_to_it(
    engine: TreeEngine, certain: bool
) -> None:
    space = engine.space
    circuit = space.circuit(certain=certain)
    assert isinstance(circuit, Circuit)
    menus = Menus(space)
    asked = _asked(menus, np.random.default_rng(3), 60)
    plain = support_of(space.plan(certain=certain), space.ceiling)
    other = Listing(menus.class_of, menus._of, {certain: plain})
    expanded = Listing(menus.class_of, menus._of, {certain: circuit.expanded(space.ceiling)})
    weights = np.column_stack([np.ones(60), np.random.default_rng(4).integers(3, size=60)])
    value, places = cheapest(menus, asked, weights, certain=certain, witness=True)
    for listing in (other, expanded):
        assert isinstance(listing.runs(certain=certain), Support)
        told, _ = cheapest(listing, asked, weights, certain=certain)
        np.testing.assert_allclose(value, told)
    some = np.isfinite(value)
    assert some.sum() > 5
    assert (places[~some] == -1).all()
    for n in np.flatnonzero(some).tolist():
        spent = 0.0
        for at, role in enumerate(menus.roles):
            menu = menus.menu(at, int(asked[n, at]))
            (where,) = np.flatnonzero(menu.place == places[n, at])
            spent += weights[n] @ (menu.price[where], menu.tenths[where])
            assert space.options[role][places[n, at]].role == role
        assert spent == pytest.approx(value[n])
        lets = {
            r: np.arange(len(space.options[r])) == places[n, at] for at, r in enumerate(menus.roles)
        }
        ones = {
            r: np.bincount(space.class_of[r][m], minlength=len(circuit.whole[r])).astype(float)
            for r, m in lets.items()
        }
        assert space.counts({r: w[None] for r, w in ones.items()}, certain=certain)[0] == 1


@pytest.mark.some(2)
@pytest.mark.parametrize(("few", "light"), [(1 << 17, 1 << 14), (0, 1 << 14), (0, 8), (0, 0)])
def test_one_question_is_told_what_many_are(
    engine: TreeEngine, monkeypatch: pytest.MonkeyPatch, few: int, light: int
) -> None:
    # Looked at pair by pair, side by side, or both, and in rows that are few for few questions.
    monkeypatch.setattr(least_rows, "_FEW", few)
    monkeypatch.setattr(least_rows, "_LIGHT", light)
    menus = Menus(engine.space)
    asked = _asked(menus, np.random.default_rng(5), 40)
    plain = support_of(engine.space.plan(certain=True), engine.space.ceiling)
    other = Listing(menus.class_of, menus._of, {True: plain})
    wanted, _ = cheapest(other, asked, (1.0, 0.5), certain=True)
    found, _ = cheapest(menus, asked, (1.0, 0.5), certain=True)
    np.testing.assert_allclose(found, wanted)
    assert 3 < np.isfinite(wanted).sum() < 40
    for n in range(0, 40, 3):
        one, places = cheapest(menus, asked[n : n + 1], (1.0, 0.5), certain=True, witness=True)
        np.testing.assert_allclose(one, wanted[n : n + 1])
        assert (places >= 0).all() == np.isfinite(one[0])
