"""What takes long stops where it is told to, and what it left half done spoils no answer."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from fitgraph.adapters.trials import ChangedMake
from fitgraph.explain.requested import list_builds
from fitgraph.explain.ways import ways
from fitgraph.lab import OpenCatalogue, open_catalogue
from fitgraph.shop.weighed import weighed
from fitgraph.solve import Request
from fitgraph.solve.histogram import histogram
from fitgraph.solve.query import ask
from fitgraph.stock import Restocking, reliance
from fitgraph.stock.in_turn import in_turn
from fitgraph.stopping import Stop, StoppedError, check, stopped_by
from tests.made_catalogues import thinned

#: Parts of each role that are left of the demo's.
PARTS = 8

DEMO = open_catalogue(demo=True)
_LEFT = thinned(DEMO.catalogue, PARTS)
SMALL = replace(
    _LEFT,
    enquiries=tuple(e for e in DEMO.catalogue.enquiries if {*e.have} <= {*_LEFT.parts}),
)
FORK, BAR = _LEFT.of("fork")[0].sku, _LEFT.of("bar")[-1].sku

ASKED = Request(have=(FORK,), budget=450_00, max_mass_g=5200.0)


def fresh() -> OpenCatalogue:
    """Return the catalogue as nobody has asked it anything."""
    offers = tuple(o for o in DEMO.supply.offers if o.sku in SMALL.parts)
    return OpenCatalogue(SMALL, supply=replace(DEMO.supply, offers=offers))


class Patient(Stop):
    """Stops at the check of a number, the first being 0; never without one."""

    __slots__ = ("_last", "checks")

    def __init__(self, last: int | None = None) -> None:
        self._last, self.checks = last, itertools.count()

    @property
    def is_set(self) -> bool:  # type: ignore[override]
        return next(self.checks) == self._last


def _orders(shop: OpenCatalogue) -> object:
    plan = Restocking(shop.engine, shop.supply).spend(200_00)
    return plan.cost, plan.served, plan.bound


def _scan(shop: OpenCatalogue) -> object:
    make = next(iter(shop.catalogue.vocabulary.makes.values()))
    found = weighed(shop.shop).scan(ChangedMake.of(make))
    return [(w.candidate.part.sku, w.builds, w.gained) for w in found.worths]


#: What pages ask beside their fields.
LONG: dict[str, Callable[[OpenCatalogue], Any]] = {
    "count": lambda shop: shop.engine.count(ASKED),
    "possible": lambda shop: shop.engine.count_possible(Request()),
    "best": lambda shop: [b.parts for b in shop.engine.best(ASKED, sort="mass", limit=8)],
    "listed": lambda shop: list_builds(shop.engine, ASKED, sort="price", limit=1, rows=8),
    "front": lambda shop: [b.parts for b in shop.engine.front(ASKED)],
    "spread": lambda shop: histogram(ask(shop.engine.space, ASKED)).builds.tolist(),
    "why": lambda shop: shop.explainer.why((FORK, BAR)),
    "measure": lambda shop: shop.measurer.rank(ASKED),
    "way": lambda shop: ways(shop.explainer, FORK, BAR),
    "coverage": lambda shop: shop.coverage().total,
    "stranded": lambda shop: shop.stranded,
    "in turn": lambda shop: in_turn(shop.engine).served,
    "reliance": lambda shop: reliance(shop.engine),
    "restock": _orders,
    "scan": _scan,
    "exchange": lambda shop: shop.shop.exchange("bar", FORK, limit=6, ends=True).found,
}


@pytest.mark.some(8)
@pytest.mark.parametrize("name", LONG)
def test_what_was_stopped_halfway_answers_as_if_it_had_not_been(name: str) -> None:
    ask_it = LONG[name]
    never = Patient()
    with stopped_by(never):
        whole = ask_it(fresh())
    checks = next(never.checks)
    assert checks > 0
    shop = fresh()
    with pytest.raises(StoppedError), stopped_by(Patient(checks // 2)):
        ask_it(shop)
    assert repr(ask_it(shop)) == repr(whole)


def test_nothing_is_stopped_outside_of_what_runs_with_a_stop() -> None:
    stop = Stop()
    with stopped_by(stop):
        stop.set()
    check()
    with stopped_by(Stop()), pytest.raises(StoppedError):
        with stopped_by(stop):
            check()
        raise AssertionError("it went on")
    check()
