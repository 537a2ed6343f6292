"""The least that builds through each class of a role cost, against builds that are all written out.

The catalogues have parts that were each measured, so that runs of rows share their rows.
"""

from __future__ import annotations

import numpy as np
import pytest
from bench.catalogues import measured, scaled
from test_measured_against_joins import drawn, joined, shop

from fitgraph.explain.exchange import exchange
from fitgraph.model import Verdict
from fitgraph.solve import Request, Space, TreeEngine
from fitgraph.solve.least_each import least_each
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.query import ask
from tests.turns import turns


def _costs(space: Space, lets: dict[str, np.ndarray], of: dict[str, np.ndarray]) -> dict:
    found = {}
    for role, size in space.sizes.items():
        found[role] = np.full(size, np.inf)
        at = np.flatnonzero(lets[role])
        np.minimum.at(found[role], space.class_of[role][at], of[role][at])
    return found


@pytest.mark.parametrize("certain", [True, False])
@pytest.mark.parametrize("parts", [80, pytest.param(30, marks=pytest.mark.long)])
def test_the_least_through_each_class_is_that_of_all_builds(parts: int, certain: bool) -> None:
    space = shop(parts)
    circuit = space.circuit(certain=certain)
    assert circuit is not None
    assert any(not step.pieces.alone for step in circuit.steps) == (parts == 80)  # rows are shared
    least = Verdict.FITS if certain else Verdict.UNKNOWN
    query, finite = ask(space, Request()), 0
    for seed in range(turns(6, 1)):
        rng = np.random.default_rng(seed)
        lets = drawn(space, query, rng, certain)
        cost = {r: rng.integers(0, 90, len(m)).astype(float) for r, m in lets.items()}
        builds = joined(space, lets, least)
        whole = sum(cost[r][builds[:, n]] for n, r in enumerate(space.roles))
        for n, role in enumerate(space.roles):
            found = least_each(circuit, _costs(space, lets, cost), role)[space.class_of[role]]
            for place in np.flatnonzero(lets[role]):
                rest = (whole - cost[role][builds[:, n]])[builds[:, n] == place]
                assert found[place] == rest.min(initial=np.inf)
                finite += bool(np.isfinite(found[place]))
    assert finite > 20


def test_a_question_for_whose_parts_a_plan_is_too_wide_goes_along_the_whole_plan(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of 1,000 measured parts a role, a count with a bar named was refused; the rest was not."""
    space, engine = shop(80), TreeEngine(shop(80).catalogue)
    monkeypatch.setattr("fitgraph.solve.space._FEW", 0)
    asked = Request(have=(space.catalogue.of("bar")[5].sku,))
    number = engine.count(asked).number
    refused = TooWideError(3e9, 2e9, ("bar",), ("joint",))

    def too_wide(*_: object, **__: object) -> None:
        raise refused

    other = TreeEngine(space.catalogue)
    monkeypatch.setattr(Space, "plan_within", too_wide)
    assert other.count(asked).number == number > 0


def _asked(engine: TreeEngine) -> list[str]:
    build = engine.best(Request(), limit=1)[0]
    return [p.sku for r in ("fork", "bar", "clamp") if (p := build.options[r].part)]


def test_an_exchange_of_measured_parts_goes_along_their_rows() -> None:
    """A plan that ends with the bar is far too wide there: with 200 a role it took minutes."""
    engine = TreeEngine(measured(scaled(30)))
    assert engine.space.circuit(certain=True) is not None
    found = exchange(engine, "bar", _asked(engine), limit=12)
    assert found.count > len(found.parts) == 12
    for one in found.parts:  # each is a build, with what is said to be there
        options = (*one.build.options.values(), *one.assumed.values())
        asked = Request(have=tuple(o.part.sku for o in options if o.part is not None))
        assert engine.count(asked).number > 0


@pytest.mark.long
def test_rows_and_a_plan_that_ends_with_the_role_tell_the_same_exchange(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    engine = TreeEngine(measured(scaled(30)))
    have = _asked(engine)
    found = exchange(engine, "bar", have, limit=40)
    monkeypatch.setattr(Space, "circuit", lambda self, *, certain: None)
    other = exchange(TreeEngine(engine.catalogue), "bar", have, limit=40)
    assert [(o.part.sku, o.total) for o in found.parts] == [
        (o.part.sku, o.total) for o in other.parts
    ]
    assert found.others == other.others and found.alone == other.alone
