"""What a shop is told whose parts were each measured."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fitgraph.adapters import scan, with_part
from fitgraph.catalogue import Loaded
from fitgraph.demand.questions import request_of
from fitgraph.shop.front import Shop
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.cores import MOST_LISTED
from tests.bench.adapters import crowd
from tests.bench.catalogues import measured, scaled


@pytest.mark.parametrize(("parts", "exact"), [(80, True), (160, False)])
def test_ways_too_many_to_be_listed_are_stood_for_by_a_few_that_are_builds(
    parts: int, exact: bool
) -> None:
    shop = Shop(Loaded(measured(scaled(parts)), ()))
    found = shop.builds().found
    assert found.cores is not None and found.cores.exact is exact
    assert found.cores.least <= found.cores.most <= found.count.number
    assert found.cores.most > MOST_LISTED
    assert 3 <= len(found.answers) <= 9
    (cheapest,) = shop.engine.best(Request(), limit=1)
    assert min(a.price_from for a in found.answers) == cheapest.price == found.builds[0].price
    for answer in found.answers:
        parts = tuple(answer.parts.values())
        assert shop.engine.count(Request(want=parts)).number >= answer.fillings.number > 0


@pytest.mark.parametrize("parts", [30, pytest.param(60, marks=pytest.mark.long)])
def test_what_to_make_is_weighed_as_the_engine_weighs_it_once_it_is_there(parts: int) -> None:
    """The part is added to the shop: how many builds have it, and whom it serves."""
    catalogue = crowd(measured(scaled(parts)), 60)
    (make,) = (m for m in catalogue.vocabulary.makes.values() if m.role == "sleeve")
    found = scan(catalogue, make)
    assert len(found.worths) > 10
    for n, worth in enumerate(found.worths[:2]):
        part = worth.candidate.part
        engine = TreeEngine(with_part(catalogue, part))
        assert engine.count(Request(want=(part.sku,))).number == worth.builds > worth.shared >= 0
        for enquiry, served in zip(catalogue.enquiries[:12], found.serves[:, n], strict=False):
            asked = replace(request_of(enquiry, in_stock=False), want=(part.sku,))
            owns = any(catalogue.parts[sku].role == "sleeve" for sku in enquiry.have)
            assert served == (not owns and bool(engine.best(asked, limit=1)))
