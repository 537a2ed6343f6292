"""Of which kind parts are. The windows are those of data/demo (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from fitgraph.explain.glosses import glosses
from fitgraph.graph.groupings import OTHER, kind_of, roles_of, suits
from fitgraph.graph.options import plain
from fitgraph.model import (
    Basis,
    Catalogue,
    Condition,
    Dimension,
    Feature,
    Grouping,
    Kind,
    Option,
    Presence,
    Reference,
)
from fitgraph.solve import TreeEngine
from fitgraph.stock import coverage
from tests.shared import the_demo

SIZE = Reference("rod", "end", "diameter")


def rod(lo: float, hi: float, presence: Presence = Presence.PRESENT) -> Option:
    """Return a rod whose end has such a diameter."""
    return replace(
        plain(next(iter(demo().parts.values()))),
        role="rod",
        features={"end": Feature(presence, {"diameter": Dimension(lo, hi, Basis.MAKER)}, {})},
    )


@lru_cache(maxsize=1)
def demo() -> Catalogue:
    return the_demo().catalogue


@pytest.mark.parametrize(
    ("lo", "hi", "inside"),
    [
        (25.0, 26.0, True),  # the middle, 25.5, is inside
        (25.0, 25.0, True),  # so are the window's ends
        (26.0, 26.0, True),
        (24.0, 25.9, False),  # 24.95 is not, though most of it is
        (24.0, 30.0, False),  # nor is 27
        (float("-inf"), float("inf"), False),  # nor what nobody knows
    ],
)
def test_a_window_holds_the_middle(lo: float, hi: float, inside: bool) -> None:
    kind = Kind("thin", {SIZE: (25.0, 26.0)})
    assert suits(kind, rod(lo, hi)) is inside
    assert not suits(kind, rod(lo, hi, Presence.UNKNOWN))


def test_a_kind_wants_all_that_it_names() -> None:
    with_clamp = Kind("clamped", {SIZE: (25.0, 26.0)}, (Condition("clamp", None),))
    bare = Kind("bare", {}, (Condition("rod", "end", False),))
    grouping = Grouping("ends", "ends", (with_clamp, bare))
    assert roles_of(with_clamp) == {"rod", "clamp"} and roles_of(bare) == {"rod"}
    clamp = replace(rod(1, 1), role="clamp")
    thin, none = rod(25, 26), rod(25, 26, Presence.ABSENT)
    assert kind_of(grouping, {"rod": thin}) is None  # no clamp to look at
    assert kind_of(grouping, {"rod": thin, "clamp": clamp}) is with_clamp
    assert kind_of(grouping, {"rod": none, "clamp": clamp}) is bare
    assert kind_of(grouping, {"rod": Option("rod", None), "clamp": clamp}) is bare
    assert kind_of(grouping, {}) is None


def test_every_group_that_can_come_up_has_its_meaning() -> None:
    catalogue = demo()
    answer = coverage(TreeEngine(catalogue))
    for name in catalogue.vocabulary.groups:
        told = glosses(catalogue, name)
        assert set(answer.by(name)) <= set(told)
        assert all(told.values())
    assert "steerer" in glosses(catalogue, "system")["28.6, open"]
    assert "34 to 36 mm" in glosses(catalogue, "family")["oversized"]
    assert OTHER in glosses(catalogue, "material") and glosses(catalogue, "colour") == {}


def test_an_enquiry_is_grouped_however_its_parts_are_spelt() -> None:
    catalogue = demo()
    engine = TreeEngine(catalogue)
    asked = [replace(e, have=tuple(s.lower() for s in e.have)) for e in catalogue.enquiries]
    small, usual = coverage(engine, asked), coverage(engine)
    assert small.standings == usual.standings
    for name in ("system", "family", "material"):
        assert small.by(name) == usual.by(name)
