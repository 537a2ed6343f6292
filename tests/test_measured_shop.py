"""What a shop is told whose parts were each measured."""

from __future__ import annotations

import pytest

from fitgraph.catalogue import Loaded
from fitgraph.shop.front import Shop
from fitgraph.solve import Request
from tests.bench.catalogues import measured, scaled


@pytest.fixture(scope="module")
def shop() -> Shop:
    return Shop(Loaded(measured(scaled(80)), ()))


def test_ways_too_many_to_be_listed_are_stood_for_by_a_few_that_are_builds(shop: Shop) -> None:
    found = shop.builds().found
    assert found.cores is not None and not found.cores.exact
    assert found.cores.least <= found.cores.most == found.count.number
    assert 3 <= len(found.answers) <= 9
    (cheapest,) = shop.engine.best(Request(), limit=1)
    assert min(a.price_from for a in found.answers) == cheapest.price == found.builds[0].price
    for answer in found.answers:
        parts = tuple(answer.parts.values())
        assert shop.engine.count(Request(want=parts)).number >= answer.fillings.number > 0
