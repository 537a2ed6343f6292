"""Ways to build where lengths of many measured parts add up, by adding them all up.

So many that the sum is no table but a chain of running sums; sizes are drawn, exact to 0.01 mm.
"""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

import fitgraph

ROLES, PARTS = 4, 34


LONG = pytest.mark.long


@pytest.mark.parametrize(
    ("decide", "budget"),
    [
        ((), None),
        ((), 90),
        pytest.param((0,), None, marks=LONG),
        pytest.param((1, 3), None, marks=LONG),
        pytest.param((1, 3), 90, marks=LONG),
    ],
)
def test_ways_over_running_sums(
    tmp_path: Path, decide: tuple[int, ...], budget: int | None
) -> None:
    rng = random.Random(11)
    words = ['[trade]\nname = "Rods"\ncurrency = "EUR"\nminor_digits = 2\n']
    parts, figures = ["sku,role,price"], ["sku,feature,dimension,value,basis"]
    reach = price = np.zeros((1,) * ROLES, dtype=int)
    spans = []
    for n in range(ROLES):
        sign, axis = (-1) ** n, [-1 if k == n else 1 for k in range(ROLES)]
        marked = "decides = true\n" if n in decide else ""
        words.append(f'[roles.r{n}]\nfill = "always"\n{marked}[roles.r{n}.features.rod]\n')
        words.append('dimensions.d = { plausible = "5..40 mm" }\n')
        spans.append(f'{{ {"add" if sign > 0 else "take"} = "r{n}.rod.d" }}')
        sizes = [rng.randint(1000, 2500) for _ in range(PARTS)]
        costs = [rng.randint(100, 9999) for _ in range(PARTS)]
        parts += [f"P{n}-{k},r{n},{cost / 100:.2f}" for k, cost in enumerate(costs)]
        figures += [f"P{n}-{k},rod,d,{mm / 100:.2f} ±0,maker" for k, mm in enumerate(sizes)]
        reach = reach + sign * np.array(sizes).reshape(axis)
        price = price + np.array(costs).reshape(axis)
    words.append('[[joints]]\nid = "level"\nrule = "stack"\nleast = "-3 mm"\nmost = "3 mm"\n')
    words.append(f"spans = [{', '.join(spans)}]\n")
    (tmp_path / "vocabulary.toml").write_text("".join(words))
    (tmp_path / "parts.csv").write_text("\n".join(parts))
    (tmp_path / "features.csv").write_text("\n".join(figures))
    goes = abs(reach) <= 300
    if budget is not None:
        goes &= price <= budget * 100
    fills = tuple(n for n in range(ROLES) if decide and n not in decide)
    ways = int(goes.any(axis=fills).sum()) if fills else int(goes.sum())
    told = fitgraph.open(tmp_path).builds(budget=budget, limit=3, ways=3).to_dict()
    assert told["count"] == goes.sum()
    if told["cores_exact"]:
        assert told["cores"] == ways
    else:
        assert told["cores_between"][0] <= ways <= told["cores_between"][1]
    assert [round(b["price"] * 100) for b in told["builds"]] == sorted(price[goes].tolist())[:3]
    assert round(told["answers"][0]["price_from"] * 100) == price[goes].min()
    for row in told["answers"]:
        at = {n: int(row["parts"][f"r{n}"].partition("-")[2]) for n in decide or range(ROLES)}
        of = tuple(at.get(n, slice(None)) for n in range(ROLES))
        assert row["fillings"] == goes[of].sum()
        assert round(row["price_from"] * 100) == np.where(goes[of], price[of], 10**6).min()
