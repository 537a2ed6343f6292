"""One part changed and the rest kept, a search by any words, and the counter without a browser.

Every offered part is asked again with :meth:`fitgraph.shop.front.Shop.why`, which knows nothing of
how it was found; prices and masses are added up here from the catalogue's rows.
"""

from __future__ import annotations

import re
from html import unescape
from xml.etree import ElementTree

import pytest

import fitgraph
from fitgraph.catalogue import demo_folder
from fitgraph.draw.looks import look_svg
from fitgraph.explain.exchange import Aim, Exchange, NotOffered, exchange
from fitgraph.explain.part_search import search_parts
from fitgraph.lab import Counter, OpenCatalogue, open_catalogue
from fitgraph.lab.session import SessionError
from fitgraph.shop.front import Shop

HAVE = ("FORK-OST-03", "CLMP-SKE-02", "BAR-VEN-04")
KEPT, BEFORE, ROLE = HAVE[:2], HAVE[2], "bar"


@pytest.fixture(scope="module")
def opened() -> OpenCatalogue:
    return open_catalogue()


@pytest.fixture(scope="module")
def shop(opened: OpenCatalogue) -> Shop:
    return opened.shop


@pytest.fixture(scope="module")
def lighter(shop: Shop) -> Exchange:
    return exchange(shop.engine, ROLE, HAVE, aim=Aim.LIGHTER, budget=150_00, limit=1000)


def test_every_offered_part_fits_is_lighter_and_within_the_budget(
    shop: Shop, lighter: Exchange
) -> None:
    parts, vocabulary = shop.catalogue.parts, shop.catalogue.vocabulary
    before = parts[BEFORE].mass_g
    assert len(lighter.parts) >= 5 and before is not None
    seen = set()
    for one in lighter.parts:
        names = list(one.build.parts.values())
        work = one.build.services
        told = (bool(work), tuple(sorted(set(names) - {one.part.sku})))
        if not work and told not in seen:  # what is done to a part, why does not know
            assert shop.why(*names).verdict == "fits"
        seen.add(told)
        paid = sum(parts[sku].price or 0 for sku in names if sku not in KEPT)
        paid += sum(vocabulary.services[s].price for _, s in work)
        assert one.total == one.build.price == paid <= 150_00
        assert one.part.mass_g is not None and one.part.mass_g < before
        assert one.than is not None and one.than.mass_g == one.part.mass_g - before
        assert one.than.price == (parts[one.part.sku].price or 0) - (parts[BEFORE].price or 0)
        short = [s for s in names if s not in KEPT and parts[s].stock <= 0]
        assert sorted(one.lacking) == sorted(short)
    keeping = [one for one in lighter.parts if set(KEPT) <= set(one.build.parts.values())]
    assert keeping == list(lighter.parts[: len(keeping)]) and len(keeping) > 3
    masses = [one.part.mass_g for one in keeping]
    assert masses == sorted(masses, key=lambda mass: mass or 0)


def test_every_other_part_has_its_reason(shop: Shop, lighter: Exchange) -> None:
    parts = shop.catalogue.parts
    role = {p.sku for p in shop.catalogue.of(ROLE)}
    offered = {one.part.sku for one in lighter.parts}
    assert offered | set(lighter.others) == role - {BEFORE} and not offered & set(lighter.others)
    before = parts[BEFORE].mass_g
    assert before is not None
    seen = set()
    for sku, why in lighter.others.items():
        mass = parts[sku].mass_g
        if why is NotOffered.AIM:
            assert mass is None or mass >= before
        elif why is NotOffered.UNTOLD and why not in seen:
            assert shop.why(*KEPT, sku).verdict != "fits"
        elif why is NotOffered.UNSOLD:
            assert parts[sku].price is None
        seen.add(why)
    assert {NotOffered.BUDGET, NotOffered.UNTOLD, NotOffered.AIM} <= seen


def test_the_few_that_are_shown_hold_the_ends(shop: Shop, lighter: Exchange) -> None:
    few = shop.exchange(ROLE, *HAVE, aim="lighter", budget=150, limit=6, ends=True).found
    shown = few.parts
    assert len(shown) == 6 and shown[0].part is lighter.parts[0].part
    assert min(r.total for r in shown) == min(r.total for r in lighter.parts)
    masses = [r.part.mass_g or 0 for r in lighter.parts]
    assert min(masses) in [r.part.mass_g for r in shown]
    strengths = [r.strength_nm for r in lighter.parts if r.strength_nm is not None]
    assert max(strengths) in [r.strength_nm for r in shown]
    assert any(r.in_stock for r in shown) and any(r.alone for r in shown)
    listed = [*(r.part.sku for r in shown), *few.more]
    assert sorted(listed) == sorted(r.part.sku for r in lighter.parts)
    assert set(few.open_roles).isdisjoint({"fork", "clamp", "bar"}) and few.open_roles


def test_what_is_offered_from_the_shelf_is_there(shop: Shop, lighter: Exchange) -> None:
    held = exchange(
        shop.engine, ROLE, HAVE, aim=Aim.LIGHTER, budget=150_00, in_stock=True, limit=1000
    )
    assert held.count == len(held.parts) > 0
    assert all(r.in_stock and r.part.stock > 0 for r in held.parts)
    assert {r.part.sku for r in lighter.parts if r.in_stock} <= {r.part.sku for r in held.parts}
    least = min(r.total for r in lighter.parts)
    none = exchange(shop.engine, ROLE, HAVE, aim=Aim.LIGHTER, budget=least - 1)
    assert none.parts == () and NotOffered.BUDGET in none.others.values()


@pytest.mark.parametrize(
    ("text", "sku"),
    [
        ("bar-mar-05", "BAR-MAR-05"),
        ("mar bar 05", "BAR-MAR-05"),
        ("28.7 fork-ost", "FORK-OST-03"),
    ],
)
def test_a_part_is_found_by_any_words(shop: Shop, text: str, sku: str) -> None:
    found = [p.sku for p in search_parts(shop.catalogue, text, 50)]
    assert sku in found or text.startswith("28.7")
    for part in search_parts(shop.catalogue, text, 50):
        told = f"{part.sku} {part.name} {part.maker} {part.role}".casefold()
        for word in text.split():
            sizes = [d for f in part.features.values() for d in f.lengths.values()]
            number = word.replace(".", "").isdigit()
            assert word in told or (
                number and any(d.lo - 0.05 <= float(word) <= d.hi + 0.05 for d in sizes)
            )


@pytest.mark.parametrize("text", ["34.9 mm clamp", "34,9 clamp", "clamp 34.9mm", "3.49 cm clamp"])
def test_a_size_is_found_however_it_is_written(shop: Shop, text: str) -> None:
    found = {p.sku for p in search_parts(shop.catalogue, text, 500)}
    assert {p.sku for p in shop.catalogue.of("clamp") if "34.9" in p.name} <= found
    assert not any("31.8, " in shop.catalogue.parts[sku].name for sku in found)


@pytest.mark.parametrize(
    ("typed", "like"),
    [
        ("marowick bar", "marrowick bar"),
        ("titanim bar", "titanium bar"),
        ("Skerowby klamp", "skerrowby clamp"),
        ("wheels, 110", "wheels 110"),
        ("bar, 31,8 mm; Marrowick", "marrowick bar 31.8"),
        ("fork 1 1/8 in", "fork 28.575"),
        ('fork 1 1/8"', "fork 28.575"),
        ("fork 1 1/8", "fork 28.575"),
    ],
)
def test_slips_and_commas_and_fractions_find_what_is_meant(
    shop: fitgraph.Shop, typed: str, like: str
) -> None:
    found = search_parts(shop.catalogue, typed, 500)
    assert {p.sku for p in found} == {p.sku for p in search_parts(shop.catalogue, like, 500)}
    assert found


@pytest.mark.parametrize(
    "typed",
    [
        *(
            "bar-mar-5",
            "barmar05",
            "BARMAR05",
            "BAR–MAR–05",
            "BAR_MAR_05",
            "bar-mar-O5",
            "ＢＡＲ-MAR-05",
        ),
        *(
            "BAR\N{NON-BREAKING HYPHEN}MAR\N{NON-BREAKING HYPHEN}05",
            "bar-mar-05\u200b",
            "bar.mar.5",
        ),
    ],
)
def test_a_stock_number_is_found_however_it_is_typed(shop: fitgraph.Shop, typed: str) -> None:
    assert [p.sku for p in search_parts(shop.catalogue, typed, 9)] == ["BAR-MAR-05"]


def test_two_sizes_may_be_written_as_one_word(shop: fitgraph.Shop) -> None:
    found = {p.sku for p in search_parts(shop.catalogue, "540x560 bar", 500)}
    assert found == {p.sku for p in search_parts(shop.catalogue, "540 x 560 bar", 500)} != set()


def test_a_word_like_none_of_the_catalogue_finds_nothing(shop: fitgraph.Shop) -> None:
    assert search_parts(shop.catalogue, "bar zzyzx") == ()


def test_nothing_is_found_for_nothing(shop: Shop) -> None:
    assert search_parts(shop.catalogue, "  ") == ()
    assert search_parts(shop.catalogue, "<script>") == ()


@pytest.mark.parametrize("value", [True, False, 28.6, "3", "none", None])
@pytest.mark.parametrize("kind", ["bore", "spigot", "slot", "thread"])
def test_answers_have_pictures(kind: str, value: object) -> None:
    drawn = ElementTree.fromstring(look_svg(kind, value, 34.9))
    assert len(drawn) >= 1 and drawn.get("aria-hidden") == "true"
    if isinstance(value, bool):
        assert look_svg(kind, True) != look_svg(kind, False)


@pytest.mark.long
def test_from_nothing_to_an_answer_in_twelve_presses(opened: OpenCatalogue) -> None:
    page = Counter(opened)
    actions = 0

    def press(choices: object, name: str) -> None:
        nonlocal actions
        assert name in [item["name"] for item in choices.items]
        choices.pressed = [name, choices.pressed[1] + 1]
        actions += 1

    for sku in HAVE:
        page.search.value = sku.casefold()
        actions += 1
        press(page.hits, sku)
    press(page.roles, ROLE)
    press(page.aims, "lighter")
    page.budget.value = "150"
    actions += 1
    assert actions <= 12
    expected = opened.shop.exchange(
        ROLE, *HAVE, aim="lighter", budget=150, limit=6, ends=True
    ).found
    shown = [item["name"] for item in page.offers.items]
    assert shown == [r.part.sku for r in expected.parts]
    assert f"{expected.count} lighter bars" in unescape(page.verdict.value)
    press(page.offers, shown[1])
    assert (
        shown[1] in unescape(page.tell.value)
        and page.sheet.made("Sheet to hand over (PDF)").name == "sheet.pdf"
    )
    assert page.problems.value == ""
    # Nobody named what stands between bar and steerer, so how hard it holds is not told.
    assert "Name the compression kit" in page.tell.value and "N·m hold" not in page.tell.value
    fitting = expected.parts[0].assumed["kit"].part
    assert fitting is not None
    # What is handed over is drawn as the page draws it, and does not say that it does not fit.
    sheet = unescape(page.sheet.made("as a page").content.decode())
    assert "✓ fits" in sheet and "does not fit" not in sheet
    plain = re.sub(r"<[^>]+>", "", sheet)
    assert f"Drawn with {fitting.name} ({fitting.sku}), which nobody named." in plain
    page.take(fitting.sku)
    assert "Name the compression kit" not in page.tell.value and "N·m" in page.tell.value
    page._drop(fitting.sku)
    # Kept, and entered again.
    again = Counter(opened)
    again.restore(page.state())
    assert again.state() == page.state()
    assert [item["name"] for item in again.offers.items] == shown
    with pytest.raises(SessionError, match="does not fit here"):
        again.restore({"have": ["NO-SUCH-1"]})


def test_answers_to_questions_narrow_what_it_may_be(opened: OpenCatalogue) -> None:
    page = Counter(opened)
    for answer in ("no", "yes"):
        page.answers.pressed = [answer, page.answers.pressed[1] + 1]
    assert page.seen is not None
    asked = opened.shop.identify()
    for question, _ in page.seen.given:
        value = dict(page.seen.given)[question]
        asked = asked.answer(question, "yes" if value else "no")
    assert [k.name for k in page.seen.kinds] == [k["kind"] or "" for k in asked.records("kinds")]
    first = page.likely.items[0]["name"]
    page.likely.pressed = [first, 1]
    assert first in page.have.values()
    page.budget.value = "cheap"
    assert "is no amount of money" in unescape(page.budget_problem.value)
    assert page.answers.items == [] or all(
        {"name", "label", "picture"} <= set(item) for item in page.answers.items
    )


def test_another_trade_has_a_counter_without_questions() -> None:
    page = Counter(open_catalogue("data/hoses"))
    assert page.question not in page.children and page.answers.items == []
    assert "Say what they have" in page.verdict.value


def test_nothing_is_answered_before_something_is_asked(opened: OpenCatalogue) -> None:
    page = Counter(opened)
    assert page.answer.layout.display == "none" and "What they want:" in page.guide.value
    page.take("FORK-OST-03")
    named = opened.catalogue.parts["FORK-OST-03"].name
    assert page.answer.layout.display == "none" and named in unescape(page.guide.value)
    page.roles.press(ROLE)
    assert page.answer.layout.display is None and page.guide.value == ""
    assert page.offers.items
    page.roles.press(ROLE)
    assert page.answer.layout.display == "none" and page.guide.value and not page.offers.items


def test_the_workshop_may_work_on_new_parts_where_somebody_says_so(opened: OpenCatalogue) -> None:
    counter = Counter(opened)
    counter.enter(have=["FORK-VEN-04"], wanted="bar")
    shop = opened.shop
    counts = {}
    for work in ("owned", "none", "any"):
        counter.enter(work=work)
        assert counter.state()["have"] == ["FORK-VEN-04"]
        found = shop.exchange("bar", "FORK-VEN-04", services=work, ends=True).found
        assert [one.part.sku for one in counter.whole.parts[:3]] == [
            one.part.sku for one in found.parts[:3]
        ]
        counts[work] = counter.whole.count
    assert counts["none"] <= counts["owned"] < counts["any"]
    counter.close()


def test_nobody_else_can_be_pressed(opened: OpenCatalogue) -> None:
    """What a page sends is taken only if it is among what was shown."""
    page = Counter(opened)
    page.hits.pressed = ["no such part", 1]
    assert page.have == {} and fitgraph.__name__


def test_a_role_that_is_pointed_at_shows_its_parts(shop) -> None:
    page = Counter(shop)
    page.product.pressed = ["node", "fork", 1]
    forks = shop.catalogue.of("fork")
    assert {shop.catalogue.parts[item["name"]].role for item in page.hits.items} == {"fork"}
    assert f"of {len(forks)} parts" in page.found.value
    assert page.product.marked == ["fork"]
    word = "OST"
    page.search.value = word
    page._find()
    assert all(word in item["name"] for item in page.hits.items)
    taken = page.hits.items[0]["name"]
    page.hits.pressed = [taken, 1]
    assert page.have == {"fork": taken} and taken in page.product.svg
    assert page.pointed == "" and page.hits.items == [] and page.found.value == ""
    page.product.pressed = ["node", "bar", 2]
    page.product.pressed = ["node", "bar", 3]
    assert page.hits.items == [] and page.product.marked == []


@pytest.mark.parametrize(
    ("typed", "role"), [("handlebar", "bar"), ("handlebars", "bar"), ("decks", "deck")]
)
def test_other_names_of_a_role_and_its_plural_are_understood(shop, typed: str, role: str) -> None:
    found = search_parts(shop.catalogue, typed, 500)
    assert {p.sku for p in found} == {p.sku for p in shop.catalogue.of(role)}


def tells(place) -> str:
    """Return the words of a place of a page."""
    return " ".join(unescape(re.sub(r"<[^>]+>", "", place.value)).split())


@pytest.fixture
def desk() -> OpenCatalogue:
    return open_catalogue()


def test_words_that_no_part_has_together_lead_to_those_with_most(desk) -> None:
    page = Counter(desk)
    page.search.value = "ostrathby grommeth clamp"
    page._find()
    shown = [desk.catalogue.parts[item["name"]] for item in page.hits.items]
    assert shown and all(p.role == "clamp" for p in shown)
    assert all("Ostrathby" in p.name or "Grommeth" in p.name for p in shown)
    assert "No part has all of these words" in page.found.value
    assert page.problems.value == ""
    page.search.value = "zzyzx qqq"
    page._find()
    assert page.hits.items == [] and "any of these words" in page.found.value


def test_what_is_seen_and_not_yet_named_is_said_not_to_count(desk) -> None:
    page = Counter(desk)
    page._want("bar")
    assert "not counted in" not in page.verdict.value
    question = page._start().next_question()
    page._answer("no")
    assert question is not None and "not counted in yet" in page.verdict.value
    page.take(page.likely.items[0]["name"])
    assert "not counted in" not in page.verdict.value


def test_the_verdict_names_the_whole_price_and_not_what_comes_along(desk) -> None:
    page = Counter(desk)
    page.take("CLMP-WYN-01")
    page._want("bar")
    page._aim("lighter")
    first = page.whole.parts[0]
    assert first.along
    assert f"{desk.catalogue.vocabulary.money(first.total)} with what comes along" in tells(
        page.verdict
    )
    assert all(a.option.part.sku not in page.verdict.value for a in first.along)
    assert first.along[0].option.part.sku in page.offers.items[0]["note"]


def test_a_figure_that_the_check_doubts_is_told_where_the_part_is_offered(desk) -> None:
    page = Counter(desk)
    page._want("bar")
    page._aim("lighter")
    assert page.chosen == "BAR-CUL-15"  # 82 g, of which a digit is missing
    assert "a figure of it is doubted" in page.offers.items[0]["note"]
    assert "doubted" in tells(page.verdict)
    assert "Look first. mass '82 g' cannot be" in tells(page.tell)
    page._look_at(page.offers.items[1]["name"])
    assert "Look first" not in tells(page.tell)


def test_a_doubt_is_of_its_own_part_however_alike_the_numbers_are(tmp_path) -> None:
    for table in demo_folder().iterdir():
        text = table.read_text("utf-8")
        if table.name == "parts.csv":
            text += "BAR-CUL-15.B,bar,,,1,2 kg,ti-6al-4v,\n"
        if table.name == "features.csv":
            text += "BAR-CUL-15.B,outside,diameter,900,maker,like BAR-CUL-04\n"
            text += "BAR-CUL-04,outside,diameter,BAR-CUL-15.B,maker,\n"
        (tmp_path / table.name).write_text(text, "utf-8")
    own = open_catalogue(tmp_path)
    assert [f.column for f in own.doubts("BAR-CUL-15")] == ["mass"]
    assert [f.value for f in own.doubts("BAR-CUL-15.B")] == ["900"]
    assert [f.value for f in own.doubts("BAR-CUL-04")] == ["BAR-CUL-15.B"]
    assert own.doubts("BAR-CUL-04")[0].message.endswith("so outside.diameter counts as unknown")
    assert own.doubts("BAR-CUL-16") == ()


def test_what_is_wrong_with_words_of_a_part_doubts_no_figure(tmp_path) -> None:
    for table in demo_folder().iterdir():
        text = table.read_text("utf-8")
        if table.name == "parts.csv":
            text += "BAR-NEW-01,bar,,,1,2 kg,cheese,\n"
        (tmp_path / table.name).write_text(text, "utf-8")
    own = open_catalogue(tmp_path)
    assert [f.column for f in own.findings if f.sku == "BAR-NEW-01"] == ["material"]
    assert own.doubts("BAR-NEW-01") == ()
