"""First come, first served, against an engine that is asked anew after every rider."""

from __future__ import annotations

import dataclasses
import datetime
from pathlib import Path
from types import MappingProxyType

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from fitgraph.catalogue import load, shipped_folder
from fitgraph.demand.questions import request_of
from fitgraph.model import Catalogue
from fitgraph.solve import TreeEngine
from fitgraph.stock import coverage
from fitgraph.stock.in_turn import in_turn
from tests.shared import the_demo
from tests.strategies import Known, brute_builds, keeps_limits
from tests.test_stock_coverage import shops
from tests.turns import turns


def with_stock(catalogue: Catalogue, left: dict[str, int]) -> Catalogue:
    """Return a catalogue with other pieces on the shelf."""
    parts = {s: dataclasses.replace(p, stock=left[s]) for s, p in catalogue.parts.items()}
    by_role = {r: tuple(parts[p.sku] for p in of) for r, of in catalogue.by_role.items()}
    return dataclasses.replace(
        catalogue, parts=MappingProxyType(parts), by_role=MappingProxyType(by_role)
    )


@pytest.mark.parametrize("name", ["hoses", "bench40"])
def test_each_rider_takes_the_cheapest_that_is_left(name: str) -> None:
    catalogue = load(shipped_folder("data") / name).catalogue
    first = catalogue.enquiries
    many = [
        dataclasses.replace(e, number=f"{e.number}/{n}", weight=1.0)
        for n in range(4)
        for e in first
    ]
    found = in_turn(TreeEngine(catalogue), many)
    left = {sku: part.stock for sku, part in catalogue.parts.items()}
    went = {taken.number: taken for taken in found.builds}
    assert 0 < len(went) < len(many), "some have to go without, or nothing is shown"
    for enquiry in sorted(many, key=lambda e: e.date or datetime.date.max):
        engine = TreeEngine(with_stock(catalogue, left))
        best = engine.best(request_of(enquiry, in_stock=True), limit=1)
        assert bool(best) == (enquiry.number in went), enquiry.number
        if best:
            assert went[enquiry.number].price == best[0].price
            for sku in went[enquiry.number].parts:
                assert left[sku] > 0
                left[sku] -= 1


@st.composite
def days(draw: st.DrawFn) -> Catalogue:
    """Draw a small catalogue with none to three pieces of a part and riders on three days."""
    shop = draw(shops())
    # Few joints, so that most riders can be served if there is enough.
    few = dataclasses.replace(shop.vocabulary, joints=shop.vocabulary.joints[:2])
    shop = dataclasses.replace(shop, vocabulary=few)
    left = {sku: draw(st.integers(0, 3)) for sku in sorted(shop.parts)}
    dates = [None, datetime.date(2026, 3, 1), datetime.date(2026, 3, 2)]
    asked = tuple(
        dataclasses.replace(
            enquiry,
            number=f"{enquiry.number}/{n}",
            budget=draw(st.sampled_from([None, None, enquiry.budget])),
            max_mass_g=draw(st.sampled_from([None, None, enquiry.max_mass_g])),
            have=draw(st.sampled_from([(), enquiry.have])),
            date=draw(st.sampled_from(dates)),
            weight=draw(st.sampled_from([1.0, 2.0, 0.5])),
        )
        for n in range(2)
        for enquiry in shop.enquiries
    )
    return dataclasses.replace(with_stock(shop, left), enquiries=asked)


@settings(
    max_examples=turns(60),
    deadline=None,
    suppress_health_check=list(HealthCheck),
    derandomize=True,
    phases=[Phase.generate],
)
@given(days())
def test_who_is_served_equals_trying_every_build_of_what_is_left(shop: Catalogue) -> None:
    """Nobody goes without who could be served, and a mass limit aside all take the cheapest."""
    found = in_turn(TreeEngine(shop))
    taken = list(found.builds)
    left = {sku: part.stock for sku, part in shop.parts.items()}
    known: Known = {}
    served = 0.0
    for enquiry in sorted(shop.enquiries, key=lambda e: e.date or datetime.date.max):
        request = request_of(enquiry, in_stock=False)
        owned = frozenset(enquiry.have)
        ways = {}
        for build in brute_builds(shop, request, known=known):
            if not keeps_limits(request, build):
                continue
            parts = frozenset(o.part.sku for o in build.values() if o.part) - owned
            price = sum(o.service_price for o in build.values())
            price += sum(shop.parts[sku].price or 0 for sku in parts)
            ways[parts] = min(price, ways.get(parts, price))
        weight = enquiry.weight
        while weight > 0:
            now = {p: cost for p, cost in ways.items() if all(left[s] > 0 for s in p)}
            if not now:
                assert not taken or taken[0].number != enquiry.number
                break
            assert taken, enquiry.number
            took = taken.pop(0)
            assert took.number == enquiry.number
            assert frozenset(took.parts) in now and len(took.parts) == len(set(took.parts))
            if enquiry.max_mass_g is None:
                assert took.price == min(now.values())
            for sku in took.parts:
                left[sku] -= 1
            served += min(1.0, weight)
            weight -= 1
    assert not taken and found.served == served


def test_under_a_mass_limit_the_cheapest_goes_where_it_is_light_enough(tmp_path: Path) -> None:
    """Of three stands the lightest is the dearest; each limit leaves another."""
    (tmp_path / "vocabulary.toml").write_text(
        '[trade]\nname = "Lamps"\ncurrency = "EUR"\nminor_digits = 2\n'
        '[roles.lamp]\nfill = "always"\n[roles.lamp.features.pin]\n'
        'dimensions.d = { plausible = "1..90 mm" }\n'
        '[roles.stand]\nfill = "always"\n[roles.stand.features.hole]\nkind = "bore"\n'
        'dimensions.d = { plausible = "1..90 mm" }\n'
        '[[joints]]\nid = "in"\nrule = "clearance"\nbore = "stand.hole.d"\n'
        'spigot = "lamp.pin.d"\nleast = "0 mm"\nmost = "1 mm"\n'
    )
    (tmp_path / "parts.csv").write_text(
        "sku,role,price,mass\nL,lamp,5,100 g\n"
        "S-CHEAP,stand,10,300 g\nS-MID,stand,12,200 g\nS-LIGHT,stand,14,100 g\n"
    )
    sizes = "".join(f"S-{n},hole,d,10.5 ±0,maker\n" for n in ("CHEAP", "MID", "LIGHT"))
    (tmp_path / "features.csv").write_text(
        "sku,feature,dimension,value,basis\nL,pin,d,10 ±0,maker\n" + sizes
    )
    (tmp_path / "stock.csv").write_text("sku,quantity\nL,9\nS-CHEAP,2\nS-MID,2\nS-LIGHT,9\n")
    (tmp_path / "enquiries.csv").write_text(
        "number,have,max_mass\n"
        "light enough,,400 g\nno limit,,\ncheapest gone,,400 g\n"
        "mid too heavy,,250 g\nmid again,,300 g\n"
    )
    catalogue = load(tmp_path).catalogue
    found = in_turn(TreeEngine(catalogue))
    went = {t.number: (set(t.parts) - {"L"}, t.price) for t in found.builds}
    assert went == {
        "light enough": ({"S-CHEAP"}, 1500),
        "no limit": ({"S-CHEAP"}, 1500),
        "cheapest gone": ({"S-MID"}, 1700),
        "mid too heavy": ({"S-LIGHT"}, 1900),
        "mid again": ({"S-MID"}, 1700),
    }


def test_a_row_for_several_is_so_many_riders_and_those_without_a_date_come_last() -> None:
    shop = the_demo().shop
    first = next(
        e
        for e in shop.catalogue.enquiries
        if e.date and in_turn(shop.engine, [dataclasses.replace(e, weight=1.0)]).served
    )
    several = dataclasses.replace(first, number="several", date=None, weight=2.5)
    found = in_turn(shop.engine, [several, dataclasses.replace(first, weight=1.0)])
    assert found.asked == 3.5
    assert found.builds[0].number == first.number
    assert found.served == [0, 1, 2, 3, 3.5][len(found.builds)]


@pytest.mark.long
def test_what_is_told_of_the_demo() -> None:
    shop = the_demo().shop
    gaps = shop.gaps("family")
    turn = gaps.found.in_turn
    stock = {sku: part.stock for sku, part in shop.catalogue.parts.items()}
    for taken in turn.builds:
        for sku in taken.parts:
            stock[sku] -= 1
    assert min(stock.values()) >= 0
    # Nobody who was left could have been served from what is left now.
    assert coverage(shop.engine, stock=stock).total.share() == 0
    assert gaps.to_dict()["in_turn"] == {"served": turn.served, "share": round(turn.share, 4)}
    assert (
        f"{turn.served:g} (4%) first come, first served, as pieces run out"
        in gaps.to_text().replace("\n", " ")
    )
    assert turn.served <= gaps.found.coverage.total.total * gaps.found.coverage.total.share()
