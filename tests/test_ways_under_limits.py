"""How many ways there are where they are too many to be gone through, under a budget.

Four roles of thirty parts that all go together: 810,000 builds, counted by adding up prices.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import fitgraph

ROLES, PARTS, BUDGET = 4, 30, 30


@pytest.mark.parametrize("decide", [ROLES, ROLES - 1])
def test_there_are_no_more_ways_than_builds(tmp_path: Path, decide: int) -> None:
    words = ['[trade]\nname = "Many"\ncurrency = "EUR"\nminor_digits = 0\n']
    parts, prices = ["sku,role,price"], []
    for n in range(ROLES):
        marked = "decides = true\n" if n < decide else ""
        words.append(f'[roles.r{n}]\nfill = "always"\n{marked}[roles.r{n}.features.eye]\n')
        words.append(f'[[joints]]\nid = "j{n}"\nrule = "present"\nneeds = "r{n}.eye"\n')
        # No two parts are alike: each has its price.
        prices.append([1 + (7 * part + n) % PARTS for part in range(PARTS)])
        parts += [f"P{n}-{k},r{n},{price}" for k, price in enumerate(prices[-1])]
    (tmp_path / "vocabulary.toml").write_text("".join(words))
    (tmp_path / "parts.csv").write_text("\n".join(parts))
    totals = sum(np.ix_(*prices), np.zeros((1,) * ROLES, dtype=int))
    within = totals <= BUDGET
    ways = int((within if decide == ROLES else within.any(axis=-1)).sum())
    told = fitgraph.open(tmp_path).builds(budget=BUDGET).to_dict()
    assert told["count"] == within.sum()
    if told["cores_exact"]:
        assert told["cores"] == ways
    else:
        least, most = told["cores_between"]
        assert least <= ways <= most <= told["count"]
    if decide == ROLES:
        assert told["cores_exact"]
