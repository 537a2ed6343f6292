"""What a shop is told whose parts were each measured."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from fitgraph.adapters import scan, with_part
from fitgraph.catalogue import Loaded
from fitgraph.demand.questions import request_of
from fitgraph.shop.front import Shop
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.cores import MOST_LISTED
from fitgraph.solve.plan import Plan, TooWideError
from fitgraph.solve.planning import Ingredients
from fitgraph.stock import Standing
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


def test_what_is_only_possible_is_told_without_sums_that_are_too_wide(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What fits is the same; what cannot be told is no less, and the answer says so."""
    catalogue = crowd(measured(scaled(25)), 80)
    told = Shop(Loaded(catalogue, ())).gaps()
    assert told.found.coverage.told_without == () and told.to_dict()["told_without"] == []
    chances = Shop(Loaded(catalogue, ())).identify().found.part_chances()
    refuse = Ingredients.plan

    def narrow(self: Ingredients, *args: Any, **kwargs: Any) -> Plan:
        if not self.certain and kwargs.get("sums") is None:
            raise TooWideError(1e12, self.ceiling, self.roles, ())
        return refuse(self, *args, **kwargs)

    monkeypatch.setattr(Ingredients, "plan", narrow)
    without = Shop(Loaded(catalogue, ())).gaps()
    pairs = list(zip(told.found.coverage.standings, without.found.coverage.standings, strict=True))
    for true, told_of in pairs:
        assert told_of == true or (true, told_of) == (Standing.NEITHER, Standing.POSSIBLY)
    assert len({true for true, _ in pairs}) > 1
    assert without.to_dict()["told_without"]
    assert "without what lengths add up to" in " ".join(without.to_text().split())
    asked = Shop(Loaded(catalogue, ())).identify()
    for role, without_sums in asked.found.part_chances().items():
        assert without_sums.sum() == pytest.approx(1.0)
        assert without_sums[chances[role] > 0].all()
    assert asked.question is not None
