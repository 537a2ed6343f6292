"""The explorer is driven as a person drives it; what it shows is compared with the engine."""

import asyncio
import re
from html import unescape

import pytest
from ipywidgets import HTML

from fitgraph.explain import action_text, clash_text
from fitgraph.explain.standing import standings
from fitgraph.lab import BuildExplorer, OpenCatalogue, open_catalogue
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.form import Entries, FormError, part_label, read_entries, read_part
from fitgraph.mechanics.rules import RULES
from fitgraph.model import Catalogue, Part, Verdict
from fitgraph.report.builds import count_told, counted_text
from fitgraph.solve import Request, Services
from fitgraph.solve.limits import Counted
from tests.looping import in_a_loop

FORK, BAR = "FORK-SKE-01", "BAR-OST-03"


@pytest.fixture(scope="module")
def shop():
    return open_catalogue()


@pytest.fixture
def explorer(shop):
    return BuildExplorer(shop, have=(FORK,))


@pytest.fixture(scope="module")
def shared(shop):
    """Return an explorer for tests that leave it as they found it."""
    return BuildExplorer(shop, have=(FORK,))


def words(html):
    told = re.sub(r"</?(button|strong|small)[^>]*>", "", html.value)
    return " ".join(unescape(re.sub(r"<style.*?</style>|<[^>]+>", " ", told)).split())


def texts(widget):
    """Return what each piece of text in a component says."""
    inner = [text for child in getattr(widget, "children", ()) for text in texts(child)]
    return [words(widget), *inner] if isinstance(widget, HTML) else inner


def shown_number(explorer):
    return int(re.search(r"([\d,]+) builds?\b", words(explorer.number))[1].replace(",", ""))


def test_the_number_shown_is_the_engines(shop, explorer):
    assert shown_number(explorer) == shop.engine.count(Request(have=(FORK,))).number
    explorer.pickers["fork"].field.value = ""
    assert shown_number(explorer) == shop.engine.count(Request()).number


@pytest.mark.parametrize("budget", ["", "300", "1"])
def test_the_headline_tells_the_ways_and_the_builds_behind_them(shop, explorer, budget):
    explorer.budget.value = budget
    listed = explorer.ways_panel.listed
    ways = f"{listed.cores.number:,} ways ({listed.count.number:,} builds) certain to fit"
    told = words(explorer.number)
    explorer.budget.value = ""
    assert listed.none == (budget == "1")
    assert (ways in told) == (not listed.none)
    assert told.startswith("0 builds") == listed.none


def test_picking_parts_by_number_label_or_fragment(shop, explorer):
    bar = shop.catalogue.parts["BAR-MAR-02"]
    expected = shop.engine.count(Request(have=(FORK, bar.sku))).number
    for text in (bar.sku, bar.sku.lower(), part_label(bar)):
        explorer.pickers["bar"].field.value = ""
        explorer.pickers["bar"].field.value = text
        assert explorer.request.have == (FORK, bar.sku)
        assert shown_number(explorer) == expected
    assert not explorer.pickers["bar"].clear.disabled
    explorer.pickers["bar"].clear.click()
    assert explorer.request.have == (FORK,)


def test_every_limit_reaches_the_engine(shop, explorer):
    explorer.pickers["deck"].field.value = "DECK-SKE-01"
    explorer.material.value = "steel"
    explorer.services.value = Services.ANY
    explorer.in_stock.value = True
    explorer.budget.value = "400 EUR"
    explorer.max_mass.value = "4.2 kg"
    request = Request(
        have=("DECK-SKE-01", FORK),
        budget=40000,
        max_mass_g=4200.0,
        in_stock=True,
        material="steel",
        services=Services.ANY,
    )
    assert explorer.request == request
    assert explorer.counted == shop.engine.count(request)


def test_the_builds_shown_are_the_engines_first(shop, explorer):
    for sort in ("price", "mass", "strength"):
        explorer.sort.value = sort
        best = shop.engine.best(Request(have=(FORK,)), sort=sort, limit=8)
        assert [b.parts for b in explorer.builds] == [b.parts for b in best]
        assert shop.catalogue.vocabulary.money(best[0].price) in words(explorer.table)
        assert f"{best[0].strength_nm:,.0f} N·m" in words(explorer.table)
    assert "not a certificate" in words(explorer.table)
    assert "<svg" in explorer.build_section.value


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        ("budget", "cheap", "Budget: 'cheap' is no amount of money; write it like 189.90."),
        ("budget", "-5", "Budget: write zero or more"),
        ("max_mass", "3 furlongs", "Mass limit: '3 furlongs' has the unit 'furlongs'"),
        ("max_mass", "0", "Mass limit: write more than zero"),
        (
            "max_mass",
            "3.6",
            "Mass limit: 3.6 kg? Nothing weighs 3.6 g; write '3.6 kg', or '3.6 g' if",
        ),
        ("budget", "150 USD", "Budget: '150 USD' is in USD, not in EUR; write it in EUR."),
    ],
)
def test_bad_input_is_told_in_words_at_its_field(shared, field, text, told):
    before = shared.number.value
    place = {"budget": shared.budget_field, "max_mass": shared.mass_field}[field].problem
    getattr(shared, field).value = text
    assert told in words(place) and place.layout.display is None
    assert 'role="alert"' in place.value and 'role="alert"' in shared.problems.value
    assert shared.number.value == before
    getattr(shared, field).value = ""
    assert shared.problems.value == place.value == "" and place.layout.display == "none"


def test_unknown_and_misplaced_parts_are_told_in_words_at_their_field(shared):
    picker = shared.pickers["bar"]
    picker.field.value = "BAR-XYZ-99"
    assert "bar: no part has the stock number 'BAR-XYZ-99'" in words(picker.problem)
    assert shared.pickers["fork"].problem.value == ""
    picker.field.value = "FORK-SKE-02"
    assert "(FORK-SKE-02) belongs under fork" in words(picker.problem)
    picker.field.value = "a"
    assert "Type more of it" in words(picker.problem)
    picker.field.value = ""
    assert shared.problems.value == picker.problem.value == ""


def test_a_mass_that_some_build_has_is_taken_as_typed(shop):
    lightest = shop.engine.best(Request(), sort="mass", limit=1)[0].mass_g
    entries = Entries({}, max_mass=f"{lightest:.0f}")
    assert read_entries(entries, shop.catalogue).max_mass_g == round(lightest)
    assert read_entries(Entries({}, max_mass="3.6 g"), shop.catalogue).max_mass_g == 3.6


def test_the_ways_are_those_of_the_front_door_and_open(shop):
    page = BuildExplorer(shop, have=(FORK,))
    told = shop.shop.builds(have=FORK, limit=1)
    panel = page.ways_panel
    headline = f"{told.cores:,} ways"
    assert sum(headline in text for text in texts(page)) == 1  # it is said once
    assert len(panel.ways.items) == len(told.answers)
    one = told.answers[1]
    item = panel.ways.items[1]
    assert f"any of {one.fillings.number:,} fillings" in item["note"]
    named = [sku for sku in one.parts.values() if sku and sku != FORK]
    assert named and all(sku in item["numbers"] for sku in named)
    assert all(shop.catalogue.parts[sku].name in item["label"] for sku in named)
    assert ("in stock" in item["note"]) == one.in_stock
    panel.ways.press(item["name"])
    first = told.open(2, limit=1).found.builds[0]
    assert shop.catalogue.vocabulary.money(first.price) in words(panel.fillings)
    assert panel.ways.items[1]["on"]
    panel.ways.press(item["name"])
    assert panel.fillings.value == "" and not panel.ways.items[1]["on"]


def test_what_goes_wrong_inside_is_told_in_words(shop, monkeypatch):
    explorer = BuildExplorer(shop)

    def broken(request):
        raise RuntimeError("the engine is out")

    monkeypatch.setattr(shop.engine, "count", broken)
    explorer.pickers["fork"].field.value = FORK
    assert "RuntimeError: the engine is out" in words(explorer.problems)


def test_why_shows_the_explainers_sentences_and_changes(shop, explorer):
    explorer.role.value = "bar"
    explorer.part.value = BAR
    answer = shop.explainer.why((FORK, BAR))
    assert answer.verdict is Verdict.FAILS
    for clash in answer.conflicts:
        assert " ".join(clash_text(clash, shop.catalogue).split()) in words(explorer.why_text)
    first = answer.changes[0]
    told = words(explorer.changes_text)
    for action in first.actions:
        assert action_text(action, shop.catalogue)[1:] in told
    assert shop.catalogue.vocabulary.money(first.price) in told
    assert "Caution." in told  # cutting is among the changes
    assert "<svg" in explorer.why_section.value


def test_owned_parts_that_clash_are_explained_at_once(shop, explorer):
    explorer.pickers["bar"].field.value = BAR
    explorer.services.value = Services.NONE
    assert explorer.builds == [] and shown_number(explorer) == 0
    told = words(explorer.table)
    assert "✗ does not fit" in told and f'data-sku="{FORK}"' in explorer.table.value
    first = shop.explainer.why((FORK, BAR)).changes[0]
    assert shop.catalogue.vocabulary.money(first.price) in words(explorer.table)
    explorer.services.value = Services.OWNED  # the workshop may cut a slot
    assert shown_number(explorer) > 0
    assert "cut a slot" in words(explorer.table)


def test_a_budget_that_nothing_keeps_is_named(shop, explorer):
    explorer.budget.value = "10"
    cheapest = shop.engine.best(Request(have=(FORK,)), sort="price", limit=1)[0]
    assert shop.catalogue.vocabulary.money(cheapest.price) in words(explorer.table)
    assert "over the budget" in words(explorer.table)


def test_the_list_is_searched_and_says_when_nothing_is_found(shared):
    shared.role.value = "bar"
    shared.find.value = "ost-03"
    assert [sku for _, sku in shared.part.options] == [BAR]
    shared.find.value = "no such thing"
    assert shared.part.options == ()
    assert "No part of this role" in words(shared.why_text)
    shared.find.value = ""


def test_standings_agree_with_counting_one_by_one(shop):
    """A part remains exactly when some build with it can be counted."""
    request = Request(have=(FORK,), services=Services.NONE)
    for role in ("headset", "kit", "liner"):
        for standing in standings(shop.engine, request)[role]:
            if standing.part.price is None:
                continue
            number = shop.engine.count(
                Request(have=(FORK,), want=(standing.part.sku,), services=Services.NONE)
            ).number
            assert (standing.verdict is Verdict.FITS) == (number > 0), standing.part.sku


def test_what_keeps_a_part_out_is_named(shop):
    request = Request(have=(FORK,), in_stock=True, material="titanium")
    for role, of_role in standings(shop.engine, request).items():
        for standing in of_role:
            part = standing.part
            if part.sku == FORK or part.price is None:
                continue
            assert ("not in stock" in standing.kept_out) == (part.stock <= 0)
            if part.stock > 0 and role == "bar":
                is_titanium = (part.material or "").startswith("titanium")
                assert ("is not titanium" in standing.kept_out) != is_titanium


@pytest.mark.parametrize("material", ["steel", "aluminium", "titanium"])
def test_what_is_owned_remains_exactly_if_a_build_holds_it(shop, material):
    """Owned parts are neither bought nor in stock, but they are of a material all the same."""
    role = next(r for r, of in shop.catalogue.vocabulary.roles.items() if of.by_material)
    counted = set()
    for part in shop.catalogue.of(role)[::7]:
        request = Request(have=(part.sku,), material=material, in_stock=True)
        (mine,) = (s for s in standings(shop.engine, request)[role] if s.part is part)
        number = shop.engine.count(request).number
        assert mine.remains == (number > 0), part.sku
        assert bool(mine.kept_out) != (part.material or "").startswith(material)
        counted.add(number > 0)
    assert counted == {True, False}


def test_controls_are_labelled(shared):
    controls = [p.field for p in shared.pickers.values()]
    controls += [p.clear for p in shared.pickers.values()]
    controls += [
        shared.form.more,
        shared.budget,
        shared.max_mass,
        shared.material,
        shared.services,
        shared.in_stock,
        shared.sort,
        shared.shown_build,
        shared.role,
        shared.find,
        shared.part,
    ]
    labels = [c.description for c in controls]
    assert all(labels) and len(set(labels)) == len(labels)


def test_catalogue_text_is_never_markup(shop):
    """Names, makers and glosses of a catalogue come from anywhere."""
    evil = '<img src=x onerror="alert(1)">'
    parts = {}
    for sku, part in shop.catalogue.parts.items():
        new = evil + sku
        parts[new] = Part(
            new,
            part.role,
            evil,
            evil,
            part.price,
            part.mass_g,
            part.material,
            part.stock,
            part.features,
            evil,
        )
    by_role: dict[str, tuple[Part, ...]] = {}
    for part in parts.values():
        by_role[part.role] = (*by_role.get(part.role, ()), part)
    hostile = OpenCatalogue(Catalogue(shop.catalogue.vocabulary, parts, (), evil, by_role))
    explorer = BuildExplorer(hostile, have=(evil + FORK,))
    explorer.part.value = evil + BAR
    explorer.pickers["bar"].field.value = evil
    shown = [
        explorer.number,
        explorer.table,
        explorer.build_section,
        explorer.roles_table,
        explorer.why_text,
        explorer.changes_text,
        explorer.why_section,
        explorer.problems,
    ]
    assert all(html.value for html in shown)
    for html in shown:
        assert "<img" not in html.value
    assert any("&lt;img" in html.value for html in shown)


def test_an_estimate_says_so():
    estimate = Counted(1000, 900, 1100, 0.99)
    text = counted_text(estimate)
    assert text == "about 1,000 builds (between 900 and 1,100, with 99% confidence)"
    first, then = count_told(estimate, None, Counted(40, 40, 40))
    assert first.aside == "estimated, between 900 and 1,100, with 99% confidence"
    assert first.lead + first.text == "40 ways (about 1,000 builds) certain to fit"
    assert then.text == "Counting further …"


def test_reading_a_part_is_strict_about_its_role(shop):
    assert read_part("  ", "bar", shop.catalogue) is None
    assert read_part(f" {BAR} ", "bar", shop.catalogue) == BAR
    with pytest.raises(FormError, match="belongs under fork"):
        read_part(FORK, "bar", shop.catalogue)


def test_typing_is_answered_once_and_soon():
    calls = []

    async def type_quickly():
        soon = Debounce(lambda: calls.append(asyncio.get_running_loop().time()), wait_s=0.05)
        begun = asyncio.get_running_loop().time()
        for _ in range(5):
            soon()
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.15)
        return begun

    begun = in_a_loop(type_quickly())
    assert len(calls) == 1
    assert calls[0] - begun >= 0.05


def test_in_an_event_loop_only_the_last_question_is_answered(shop):
    async def change_twice():
        explorer = BuildExplorer(shop)
        explorer.budget.value = "500"
        explorer.pickers["fork"].field.value = FORK
        await asyncio.sleep(0.2)
        explorer.budget.value = ""
        for _ in range(400):
            await asyncio.sleep(0.01)
            if explorer.request == Request(have=(FORK,)) and explorer.possible is not None:
                break
        return explorer

    explorer = in_a_loop(change_twice())
    assert explorer.counted == shop.engine.count(Request(have=(FORK,)))


def test_sections_are_drawn_of_every_rule_that_compares_a_bore_and_a_spigot():
    drawn = {name for name, rule in RULES.items() if {"bore", "spigot"} <= set(rule.lengths)}
    assert drawn == {"clearance", "closes-by-slot"}


def test_a_role_that_is_pressed_lists_its_parts_and_the_part_looked_at_is_drawn(shop, explorer):
    explorer.form.product.pressed = ["node", "clamp", 1]
    assert explorer.role.value == "clamp" and explorer.form.product.marked == ["clamp"]
    looked_at = explorer.part.value
    assert shop.catalogue.parts[looked_at].role == "clamp"
    assert looked_at in explorer.form.product.svg and FORK in explorer.form.product.svg
