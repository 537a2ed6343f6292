"""Another part with the rest kept, against trying everything."""

from __future__ import annotations

import itertools

import pytest
from strategies import all_options, rows_of

import fitgraph
from fitgraph.catalogue import load, shipped_folder
from fitgraph.errors import InputError
from fitgraph.explain.exchange import exchange
from fitgraph.graph.joints import asked
from fitgraph.model import Catalogue, Fill, Option, Verdict
from fitgraph.solve import TreeEngine


def least_by_trying(
    catalogue: Catalogue, role: str, have: dict[str, str]
) -> dict[str, tuple[int, int, int]]:
    """Return, for each part, kept parts replaced, price and changes of the least way."""
    options = all_options(catalogue)
    names = list(options)
    roles = catalogue.vocabulary.roles

    def cost(option: Option) -> tuple[int, int, int] | None:
        part, name = option.part, option.role
        kept = have.get(name)
        adapter = roles[name].fill is Fill.ADAPTER
        sold = part is not None and part.price is not None and not option.services
        price = 0 if part is None else (part.price or 0)
        if name == role:
            return (0, price, 0) if sold and part is not None and part.sku != kept else None
        if kept is not None:
            if part is not None and part.sku == kept:
                return (0, option.service_price, len(option.services))
            if part is None:
                return (0 if adapter else 1, 0, 1)
            return (1, price, 1) if sold else None
        if adapter:
            return (0, 0, 0) if part is None else (0, price, 1) if sold else None
        if roles[name].fill.free:
            return None if option.services else (0, 0, 0)
        return (0, 0, 0) if part is None else None

    told = {n: [(o, c) for o in of if (c := cost(o)) is not None] for n, of in options.items()}
    left = {n: [o for o, _ in of] for n, of in told.items()}
    found: dict[str, tuple[int, int, int]] = {}
    for row in rows_of(left, asked(catalogue.vocabulary.joints, tidy=True), Verdict.FITS):
        costs = [told[n][i][1] for n, i in zip(names, row, strict=True)]
        total = tuple(map(sum, zip(*costs, strict=True)))
        part = left[role][row[names.index(role)]].part
        assert part is not None
        whole = (total[0], total[1], total[2])
        found[part.sku] = min(found.get(part.sku, whole), whole)
    return found


@pytest.mark.parametrize(
    ("name", "most"), [("hoses", 40), pytest.param("bench40", 1, marks=pytest.mark.long)]
)
def test_every_exchange_against_trying_everything(name: str, most: int) -> None:
    catalogue = load(shipped_folder("data") / name).catalogue
    engine = TreeEngine(catalogue)
    deciding = [r for r in catalogue.vocabulary.deciding if catalogue.of(r)]
    asked_of = [
        {r: catalogue.of(r)[(n + k) % len(catalogue.of(r))].sku for k, r in enumerate(roles)}
        for n, roles in enumerate(itertools.combinations(deciding, 3))
    ]
    seen = 0
    for have in asked_of[:most]:
        for role in have:
            found = exchange(engine, role, list(have.values()), limit=1000)
            brute = least_by_trying(catalogue, role, have)
            assert {e.part.sku for e in found.parts} == set(brute)
            assert found.count == len(brute)
            for one in found.parts:
                replaced, price, changes = brute[one.part.sku]
                assert one.total == price
                given_up = [a for a in one.along if a.instead is not None]
                gone = [
                    p
                    for p in one.left_out
                    if catalogue.vocabulary.roles[p.role].fill is not Fill.ADAPTER
                ]
                assert len(given_up) + len(gone) == replaced
                counted = sum(
                    max(len(a.option.services), 1 if a.option.part.sku not in have.values() else 0)
                    for a in one.along
                    if a.option.part is not None
                )
                assert counted + len(one.left_out) == changes
                seen += 1
            assert found.alone == sum(c[0] == 0 and c[2] == 0 for c in brute.values())
    assert seen > 5


@pytest.mark.long
def test_differences_are_from_the_old_part_and_what_comes_along_is_priced() -> None:
    shop = fitgraph.open()
    answer = shop.exchange("bar", "FORK-VEN-04", "KIT-VEN-01", "CLMP-SKE-01", "BAR-MAR-05")
    old = shop.catalogue.parts["BAR-MAR-05"]
    assert answer.found.old is old
    for one, row in zip(answer.found.parts, answer.to_dict()["parts"], strict=True):
        assert one.than is not None
        assert one.part is not old
        assert one.than.price == (one.part.price or 0) - (old.price or 0)
        assert row["total"] == pytest.approx(row["price"] + sum(a["price"] for a in row["along"]))
    totals = [one.total for one in answer.found.parts]
    assert totals == sorted(totals)
    shelf = shop.exchange("bar", "FORK-VEN-04", "CLMP-SKE-01", in_stock=True, sort="strength")
    assert shelf.found.old is None
    assert all(one.part.stock and one.in_stock for one in shelf.found.parts)
    strengths = [one.strength_nm for one in shelf.found.parts]
    assert strengths == sorted(strengths, key=lambda s: -(s or 0))


def test_a_role_that_is_not_there_is_told() -> None:
    with pytest.raises(InputError, match="rolle"):
        fitgraph.open().exchange("rolle", "FORK-VEN-04")
