"""Another part with the rest kept, against trying everything."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import all_options, catalogues, rows_of

import fitgraph
from fitgraph.catalogue import load, shipped_folder
from fitgraph.errors import InputError
from fitgraph.explain.exchange import Aim, Exchanged, NotOffered, exchange
from fitgraph.explain.words_rider import exchange_text
from fitgraph.graph.joints import asked
from fitgraph.model import Catalogue, Fill, Option, Verdict
from fitgraph.report.exchanges import line
from fitgraph.solve import Services, TreeEngine
from tests.shared import the_demo
from tests.turns import turns


def least_by_trying(
    catalogue: Catalogue,
    role: str,
    have: dict[str, str],
    work: str = "owned",
    on_it: bool | None = None,
) -> dict[str, tuple[int, int, int]]:
    """Return, for each part, kept parts replaced, price and changes of the least way.

    Where `on_it` is given, it says whether the part in question may be worked on.
    """
    options = all_options(catalogue)
    names = list(options)
    roles = catalogue.vocabulary.roles

    def cost(option: Option) -> tuple[int, int, int] | None:
        part, name = option.part, option.role
        kept = have.get(name)
        adapter = roles[name].fill is Fill.ADAPTER
        steps = len(option.services)
        sold = part is not None and part.price is not None and (work == "any" or not steps)
        price = option.service_price + (0 if part is None else (part.price or 0))
        if name == role:
            may = not steps or (work == "any" if on_it is None else on_it)
            told = part is not None and part.price is not None and part.sku != kept
            return (0, price, steps) if may and told else None
        if kept is not None:
            if part is not None and part.sku == kept:
                return None if steps and work == "none" else (0, option.service_price, steps)
            if part is None:
                return (0 if adapter else 1, 0, 1)
            return (1, price, 1 + steps) if sold else None
        if adapter:
            return (0, 0, 0) if part is None else (0, price, 1 + steps) if sold else None
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


def way_of(catalogue: Catalogue, have: dict[str, str], one: Exchanged) -> tuple[int, int, int]:
    """Return kept parts replaced, price and changes of a way that was found."""
    given_up = [a for a in one.along if a.instead is not None]
    roles = catalogue.vocabulary.roles
    gone = [p for p in one.left_out if roles[p.role].fill is not Fill.ADAPTER]
    changes = [
        len(a.option.services)
        + (a.option.part not in (one.part, None) and a.option.part.sku not in have.values())
        for a in one.along
    ]
    return len(given_up) + len(gone), one.total, sum(changes) + len(one.left_out)


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
            assert dict.fromkeys(found.others) == dict.fromkeys(
                p.sku for p in catalogue.of(role) if p.sku not in {*brute, have[role]}
            )
            assert set(found.others.values()) <= {
                NotOffered.SIZE,
                NotOffered.UNTOLD,
                NotOffered.UNSOLD,
            }
            few = exchange(engine, role, list(have.values()), limit=3, ends=True)
            assert [e.part.sku for e in few.parts] == [
                e.part.sku for e in found.parts if e.part.sku not in few.more
            ]
            if few.parts:
                assert min(e.total for e in few.parts) == min(e.total for e in found.parts)
            assert found.alone == sum(c[0] == 0 and c[2] == 0 for c in brute.values())
    assert seen > 5


@settings(max_examples=turns(150, 30), deadline=None)
@given(st.data())
def test_work_is_done_on_what_it_may_be_done_on(data: st.DataObject) -> None:
    catalogue = data.draw(catalogues())
    engine = TreeEngine(catalogue)
    roles = [r for r in catalogue.vocabulary.roles if catalogue.of(r)]
    assume(roles)
    role = data.draw(st.sampled_from(roles))
    have = {
        r: data.draw(st.sampled_from(catalogue.of(r))).sku
        for r in data.draw(st.lists(st.sampled_from(roles), max_size=3, unique=True))
    }
    for work in Services:
        found = exchange(engine, role, list(have.values()), limit=1000, services=work)
        brute = least_by_trying(catalogue, role, have, work.value)
        assert {e.part.sku for e in found.parts} == set(brute)
        for one in found.parts:
            assert (one.total, one.build.price) == (brute[one.part.sku][1],) * 2
            mine = [a for a in one.along if a.option.part is one.part]
            option = one.build.options[role]
            assert [a.option for a in mine] == [option] * bool(option.services)
            assert not mine or (work is Services.ANY and not one.alone)
            assert one.mass_g == option.mass_g
            assert len(set(one.lacking)) == len(one.lacking)
            assert one.in_stock is all(
                catalogue.parts[sku].stock > 0
                for sku in one.build.parts.values()
                if sku not in have.values()
            )
        worked = least_by_trying(catalogue, role, have, work.value, on_it=True)
        assert {sku for sku, why in found.others.items() if why is NotOffered.WORK} == {
            sku
            for sku in worked.keys() - brute.keys()
            if work is Services.OWNED and found.others[sku] is not NotOffered.UNSOLD
        }
        shelf = exchange(
            engine, role, list(have.values()), limit=1000, services=work, in_stock=True
        )
        assert shelf.count == shelf.today == found.today
        from_shelf = {one.part.sku: one for one in shelf.parts}
        for one in found.parts:
            held = from_shelf.get(one.part.sku)
            assert one.total_today == (None if held is None else held.total)
            if held is not None and not one.in_stock:  # of ways alike it would have been taken
                assert way_of(catalogue, have, held) > brute[one.part.sku]


def test_a_way_from_the_shelf_is_told_beside_a_cheaper_one_to_order() -> None:
    shop = the_demo().shop
    kept = ("FORK-VEN-04", "KIT-VEN-01", "CLMP-SKE-01", "BAR-MAR-05")
    every = shop.exchange("bar", *kept, limit=1000)
    shelf = {
        p["sku"]: p["total"]
        for p in shop.exchange("bar", *kept, limit=1000, in_stock=True).to_dict()["parts"]
    }
    told = {p["sku"]: p for p in every.to_dict()["parts"]}
    assert {s: p["total_today"] for s, p in told.items()} == {s: shelf.get(s) for s in told}
    dearer = [s for s, p in told.items() if p["lacking"] and p["total_today"] is not None]
    assert dearer and all(told[s]["total_today"] > told[s]["total"] for s in dearer)
    one = next(o for o in every.found.parts if o.part.sku == dearer[0])
    assert f", or today for {told[dearer[0]]['total_today']:.2f} EUR" in line(one, every.found)


def test_a_part_that_goes_after_work_alone_is_named_and_priced() -> None:
    shop = the_demo().shop
    kept = ("FORK-VEN-04", "KIT-VEN-01", "CLMP-SKE-01")
    owned = shop.exchange("bar", *kept, limit=1000)
    waiting = {s for s, why in owned.found.others.items() if why is NotOffered.WORK}
    whole = shop.exchange("bar", *kept, limit=1000, services="any")
    after = {one.part.sku: one for one in whole.found.parts if one.services}
    assert waiting and waiting <= after.keys()
    assert not waiting & {s for s, why in whole.found.others.items() if why is NotOffered.WORK}
    assert "would go after work on what is bought" in owned.to_text().replace("\n", " ")
    assert "services='any'" in owned.to_text() and "services='any'" not in whole.to_text()
    for sku in waiting:
        one = after[sku]
        (work,) = [a for a in one.along if a.option.part is one.part]
        service = shop.catalogue.vocabulary.services[work.option.services[0]]
        assert service.title in line(one, whole.found)
        assert one.total >= (one.part.price or 0) + service.price
    (row,) = [r for r in whole.to_dict()["parts"] if r["sku"] == min(waiting)]
    assert row["minutes"] == sum(
        shop.catalogue.vocabulary.services[s].minutes for a in row["along"] for s in a["services"]
    )
    (told,) = [r for r in whole.records() if r["sku"] == min(waiting)]
    assert told["minutes"] == row["minutes"] > 0  # though no part before was named
    assert [a["services"] for a in row["along"] if a["sku"] == min(waiting)] != [[]]
    assert "cannot be undone" in " ".join(whole.to_dict()["cautions"])


@pytest.mark.long
def test_differences_are_from_the_old_part_and_what_comes_along_is_priced() -> None:
    shop = the_demo().shop
    answer = shop.exchange("bar", "FORK-VEN-04", "KIT-VEN-01", "CLMP-SKE-01", "BAR-MAR-05")
    old = shop.catalogue.parts["BAR-MAR-05"]
    assert answer.found.old is old
    for one, row in zip(answer.found.parts, answer.to_dict()["parts"], strict=True):
        assert one.than is not None
        assert one.part is not old
        assert one.than.price == (one.part.price or 0) - (old.price or 0)
        assert row["total"] == pytest.approx(row["price"] + sum(a["price"] for a in row["along"]))

    def replaced(one: Exchanged) -> int:
        roles = shop.catalogue.vocabulary.roles
        gone = [p for p in one.left_out if roles[p.role].fill is not Fill.ADAPTER]
        return sum(a.instead is not None for a in one.along) + len(gone)

    totals = [(replaced(one), one.total) for one in answer.found.parts]
    assert totals == sorted(totals)
    shelf = shop.exchange("bar", "FORK-VEN-04", "CLMP-SKE-01", in_stock=True, sort="strength")
    assert shelf.found.old is None
    assert all(one.part.stock and one.in_stock for one in shelf.found.parts)
    strengths = [(replaced(one), -(one.strength_nm or 0)) for one in shelf.found.parts]
    assert strengths == sorted(strengths)


def test_wishes_leave_out_only_what_they_name() -> None:
    """Aim, budget, material and shelf, each against all that go."""
    catalogue = load(shipped_folder("data") / "bench40").catalogue
    engine = TreeEngine(catalogue)
    role = next(r for r in catalogue.vocabulary.deciding if len(catalogue.of(r)) > 3)
    have = [catalogue.of(r)[0].sku for r in catalogue.vocabulary.deciding if catalogue.of(r)]
    every = exchange(engine, role, have, limit=1000)
    assert every.count > 2 and every.old is not None
    totals = sorted(one.total for one in every.parts)
    budget = totals[len(totals) // 2]
    some = exchange(engine, role, have, budget=budget, limit=1000)
    kept = {one.part.sku for one in every.parts if one.total <= budget}
    assert {one.part.sku for one in some.parts} == kept
    for one in every.parts:
        if one.part.sku not in kept:
            assert some.others[one.part.sku] is NotOffered.BUDGET
    mass = every.old.mass_g
    assert mass is not None
    lighter = exchange(engine, role, have, aim=Aim.LIGHTER, limit=1000)
    assert lighter.sort == "mass"
    for one in every.parts:
        is_lighter = one.part.mass_g is not None and one.part.mass_g < mass
        offered = one.part.sku in {o.part.sku for o in lighter.parts}
        assert offered is is_lighter
        assert offered or lighter.others[one.part.sku] is NotOffered.AIM
    cheaper = exchange(engine, role, have, aim=Aim.CHEAPER, limit=1000)
    assert every.old.price is not None
    assert {o.part.sku for o in cheaper.parts} == {
        o.part.sku for o in every.parts if o.total < every.old.price
    }
    shelf = exchange(engine, role, have, in_stock=True, limit=1000)
    assert shelf.count == shelf.today == every.today
    for one in shelf.parts:
        assert one.in_stock and one.part.stock > 0
    for sku, why in shelf.others.items():
        assert why in {NotOffered.STOCK, every.others.get(sku)}


def test_a_role_that_is_not_there_is_told() -> None:
    with pytest.raises(InputError, match="rolle"):
        the_demo().shop.exchange("rolle", "FORK-VEN-04")


def test_what_a_part_is_lighter_than_is_asked_for_and_what_it_weighs_is_told() -> None:
    shop = the_demo().shop
    text = shop.exchange("bar", "FORK-OST-03", aim="lighter", limit=3).to_text()
    assert "Which are lighter than theirs is told once theirs is named." in text.replace("\n", " ")
    for row in shop.exchange("bar", "FORK-OST-03", aim="lighter", limit=3).records():
        assert f"{row['mass_g']:,.0f} g" in text
    named = shop.exchange("bar", "FORK-OST-03", "BAR-VEN-04", aim="lighter").to_text()
    assert "once theirs is named" not in named


def test_roles_that_are_called_by_their_plural_stay_so() -> None:
    shop = the_demo().shop
    for role, many in (("plugs", "end plugs"), ("wheels", "wheels"), ("headset", "headsets")):
        found = shop.exchange(role, "FORK-OST-03", limit=1).found
        assert f"{found.count} other {many}: " in exchange_text(found)
    # A vocabulary may say another one, and that a title is one already.
    words = replace(shop.catalogue.vocabulary.roles["bar"], title="shelf", plural="shelves")
    assert words.many == "shelves" and replace(words, plural="shelf").many == "shelf"
    assert replace(words, plural="").many == "shelfs"  # what the rule makes of it
    # Nothing sold is to be had for nothing.
    none = shop.exchange("grips", "FORK-OST-03", budget=0).found
    assert exchange_text(none).endswith("other grips none is what is wanted.")


def test_what_is_not_needed_any_more_does_not_come_along() -> None:
    shop = fitgraph.open(shipped_folder("data") / "hoses")
    found = shop.exchange("tail", "OUT-01", "BUSH-01", "TAIL-01", ends=True).found
    lines = [line(one, found) for one in found.parts]
    assert any("; without reducing bush" in told for told in lines)
    assert not any("comes along: without" in told for told in lines)
