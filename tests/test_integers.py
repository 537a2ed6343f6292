"""Integer programs: the least of all assignments, nothing printed, no answer that breaks one."""

from __future__ import annotations

import itertools
import os

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint

from fitgraph.solve import integers
from fitgraph.solve.integers import FAILED, least_whole


@pytest.mark.parametrize("seed", range(20))
def test_the_least_is_that_of_all_assignments(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows, cost = rng.integers(-3, 6, (3, 4)).astype(float), rng.integers(1, 9, 4).astype(float)
    least = rng.integers(0, 9, 3).astype(float)
    every = np.array(list(itertools.product(range(4), repeat=4)), dtype=float)
    good = every[(every @ rows.T >= least).all(axis=1)]
    found = least_whole(cost, [LinearConstraint(rows, least, np.inf)], np.ones(4), Bounds(0, 3), {})
    if not len(good):
        assert found.x is None
        return
    assert cost @ found.x == (good @ cost).min()
    assert (found.x == np.rint(found.x)).all() and (rows @ found.x >= least).all()


def test_an_answer_that_breaks_a_constraint_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Worked example of github.com/scipy/scipy/issues/24141 (read 2026-11-29)."""
    rows = np.array(
        [
            [0, 1, 1, 0, 1, 0, 0, 0],
            [0, 0, 1, 1, 1, 0, 1, 1],
            [1, 1, 1, 1, 1, 1, 0, 1],
            [0, 1, 0, 1, 1, 1, 0, 0],
            [0, 1, 0, 0, 1, 1, 0, 1],
            [0, 1, 1, 1, 0, 1, 1, 0],
        ],
        dtype=float,
    )
    wanted = np.array([42, 252, 277, 41, 222, 48], dtype=float)
    told = [LinearConstraint(rows, wanted, wanted)]
    found = least_whole(np.ones(8), told, np.ones(8), Bounds(0, np.inf), {})
    assert found.x is None or (rows @ found.x == wanted).all()

    solver = integers.milp

    def off_by_one(*args, **kwargs):
        result = solver(*args, **kwargs)
        result.x = result.x + 1.0
        return result

    monkeypatch.setattr(integers, "milp", off_by_one)
    one = LinearConstraint(np.ones((1, 2)), 1, 1)
    found = least_whole(np.ones(2), [one], np.ones(2), Bounds(0, 1), {})
    assert found.x is None and found.status == FAILED


def test_what_the_solver_prints_is_not_seen(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    solver = integers.milp

    def talking(*args, **kwargs):
        os.write(1, b"a line that was left in")
        return solver(*args, **kwargs)

    monkeypatch.setattr(integers, "milp", talking)
    print("before")
    one = LinearConstraint(np.ones((1, 2)), 1, 1)
    assert least_whole(np.ones(2), [one], np.ones(2), Bounds(0, 1), {}).x is not None
    print("after")
    assert capfd.readouterr().out == "before\nafter\n"
