"""The page of gaps in stock, driven without a browser: what it shows is what the API answers.

References
----------
.. [1] RFC 4180, "Common Format and MIME Type for Comma-Separated Values (CSV) Files".
.. [2] W3C, "Web Content Accessibility Guidelines 2.2", criterion 1.4.1: colour is not the only
   means.
"""

import asyncio
import base64
import csv
import dataclasses
import io
import itertools
import random
import re
from html import unescape
from pathlib import Path
from types import SimpleNamespace

import ipywidgets
import pytest

from fitgraph.demand.questions import request_of
from fitgraph.explain import action_text, conflict_text
from fitgraph.explain.glosses import glosses
from fitgraph.lab import OpenCatalogue, StockGaps, open_catalogue
from fitgraph.lab.coverage_panel import cells
from fitgraph.lab.gap_charts import FILLINGS, STANDING_FILLINGS, TrendChart
from fitgraph.lab.session import SessionError, from_address, read_text, to_address
from fitgraph.lab.slider import Slider
from fitgraph.model import Catalogue
from fitgraph.report import as_text
from fitgraph.report.blocks import Report
from fitgraph.report.months import unmet_by_month
from fitgraph.report.purchases import opened_section, proof_text
from fitgraph.report.shelf import stranded_text
from fitgraph.report.standing_words import ORDER, SIGNS, WORDS
from fitgraph.stock import (
    Coverage,
    Restocking,
    Standing,
    StandingTally,
    coverage,
    coverage_then,
    grouping_names,
    reliance,
    stranded,
    trend,
)
from fitgraph.stock.groups import grouper
from fitgraph.stock.in_turn import in_turn
from fitgraph.stock.known_plans import KnownPlans, changes_of, reaches
from tests.looping import in_a_loop

ALL = ["", ""]


@pytest.fixture(scope="module")
def shop():
    """Return the demo with a fifth of its enquiries, each of which has to be weighed often."""
    demo = open_catalogue()
    few = dataclasses.replace(demo.catalogue, enquiries=demo.catalogue.enquiries[::5])
    return OpenCatalogue(few, demo.findings, demo.supply)


@pytest.fixture(scope="module")
def served(shop):
    return coverage(shop.engine)


@pytest.fixture(scope="module")
def restocking(shop):
    return Restocking(shop.engine, shop.supply)


@pytest.fixture(scope="module")
def page(shop):
    """Return one page for all tests that leave it as they found it, or reset what they use."""
    return StockGaps(shop)


def words(html):
    told = re.sub(r"</?(button|a|small)\b[^>]*>", "", html.value)  # numbers lead to cards
    return " ".join(unescape(re.sub(r"<style.*?</style>|<[^>]+>", " ", told)).split())


def saved(html, name):
    """Return the rows of a file that a link hands over, as RFC 4180 [1]_ reads them."""
    found = re.search(rf'download="{name}" href="data:text/csv;base64,([^"]+)"', html.value)
    return list(csv.reader(io.StringIO(base64.b64decode(found[1]).decode(), newline="")))


def every(widget):
    """Return a widget and all in it."""
    yield widget
    for child in getattr(widget, "children", ()):
        yield from every(child)


# ---------------------------------------------------------------- coverage


def test_the_table_under_the_first_line_is_the_coverage_and_does_not_say_it_again(page, served):
    told, total = words(page.covered.standings), served.total
    headline = f"{total.of(Standing.STOCK):g} of {total.total:g} enquiries"
    texts = [words(place) for place in every(page) if isinstance(place, ipywidgets.HTML)]
    assert sum(headline in text for text in texts) == 1
    for standing in Standing:
        assert f"{WORDS[standing]} {total.of(standing):g} {total.share(standing):.0%}" in told


def test_the_page_says_without_what_it_was_told_what_is_only_possible(page, served):
    panel = page.covered
    assert "without what lengths add up to" not in words(panel.standings)
    panel.show(dataclasses.replace(served, told_without=("closing <on> everything",)))
    assert "without what lengths add up to (closing <on> everything)" in words(panel.standings)
    panel.show(served)


def test_the_first_line_tells_alone_and_in_turn(page, served, shop):
    total, turn = served.total, in_turn(shop.engine)
    assert (
        f"{total.of(Standing.STOCK):g} of {total.total:g} enquiries ({total.share():.0%}) can be "
        "built from stock, each taken alone, so that one piece may serve many; "
        f"{turn.served:g} ({turn.share:.0%}) first come, first served, as pieces run out"
    ) in words(page.verdict)


@pytest.mark.some(3)
@pytest.mark.parametrize("figure", [*(s.word for s in Standing), "unmet"])
def test_every_cell_is_the_matrix(page, served, figure):
    panel = page.covered
    panel.figure.value = figure
    for by in itertools.permutations(grouping_names(served.catalogue), 2):
        panel.rows.value, panel.columns.value = by
        matrix = served.matrix(*by)
        rows = [r["key"] for r in panel.cells.rows]
        columns = [c["key"] for c in panel.cells.columns]
        assert (rows, columns) == ([*matrix.rows, ""], [*matrix.columns, ""])
        margins = {"row": served.by(by[0]), "column": served.by(by[1])}
        for (r, row), (c, column) in itertools.product(enumerate(rows), enumerate(columns)):
            tally = matrix.cell(row, column)
            if not column:
                tally = margins["row"][row] if row else served.total
            elif not row:
                tally = margins["column"][column]
            shown = panel.cells.cells[r][c]
            assert (shown is None) == (not tally.total)
            if shown is not None:
                number = tally.unmet if figure == "unmet" else tally.of(_standing(figure))
                assert shown["text"] == f"{number:g} of {tally.total:g}"
                assert shown["parts"] == [tally.of(s) for s in ORDER]
                for s in Standing:  # the label says all four in words, never colour alone [2]_
                    assert (f"{tally.of(s):g} {WORDS[s]}" in shown["label"]) == bool(tally.of(s))
    panel.figure.value = Standing.STOCK.word


def _standing(word):
    return next(s for s in Standing if s.word == word)


def test_signs_words_and_fillings_tell_standings_apart():
    assert len(set(WORDS.values())) == len(set(SIGNS.values())) == len(Standing)
    fillings = [*STANDING_FILLINGS.values(), *FILLINGS]
    assert len(set(fillings)) == len(fillings) > len(Standing)
    # A pattern means one thing on the page: those of standings are of no group.
    assert not {shape for shape, _ in FILLINGS} & {s for s, _ in STANDING_FILLINGS.values()}


@pytest.mark.long
def test_a_chosen_cell_lists_its_unserved_and_what_each_lacks(shop, page, served, monkeypatch):
    panel = page.covered
    panel.rows.value, panel.columns.value = "system", "style"
    one, other = (grouper(shop.catalogue, n) for n in ("system", "style"))
    matrix = served.matrix("system", "style")
    with monkeypatch.context() as patch:
        patch.setattr(panel, "explain", lambda: None)  # that takes a moment for each enquiry
        for row, column in matrix.cells:
            panel.cells.chosen = [row, column]
            expected = {
                e.number
                for e, s in zip(served.enquiries, served.standings, strict=True)
                if s is not Standing.STOCK and (one(e), other(e)) == (row, column)
            }
            assert {e.number for e, _ in panel.listed} == expected
            assert sum(e.weight for e, _ in panel.listed) == matrix.cell(row, column).unmet
    unserved = {spot: tally.unmet for spot, tally in matrix.cells.items() if tally.unmet}
    row, column = min(unserved, key=lambda spot: (unserved[spot], spot))
    panel.cells.chosen = [row, column]
    assert f"system {row}, style {column}" in words(panel.list)
    for enquiry, standing in panel.listed[:3]:
        why = shop.explainer.explain(request_of(enquiry, in_stock=True))
        told = words(panel.list)
        assert enquiry.number in told and WORDS[standing] in told
        for action in why.changes[0].actions[:3]:
            assert " ".join(action_text(action, shop.catalogue)[1:].split()) in told
        for conflict in why.conflicts:
            assert " ".join(conflict_text(conflict, shop.catalogue).split()) in told
    heads, *rows = saved(panel.list_links, "unserved.csv")
    assert [r[0] for r in rows] == [e.number for e, _ in panel.listed]
    assert rows[0][heads.index("change")] and rows[0][heads.index("reasons")]
    panel.cells.chosen = ALL


def test_a_cell_where_all_are_served_says_so(page, served):
    panel = page.covered
    panel.rows.value, panel.columns.value = "system", "material"
    full = [k for k, t in served.matrix("system", "material").cells.items() if not t.unmet]
    panel.cells.chosen = list(full[0])
    assert "every enquiry is served from stock" in words(panel.list)
    assert panel.more.disabled and panel.list_links.value == ""
    panel.cells.chosen = ALL


@pytest.mark.long
def test_more_of_a_long_list_is_shown_on_demand(page):
    panel = page.covered
    panel.cells.chosen = ALL
    before = panel.list.value.count("<tr>")
    panel.more.click()
    assert panel.list.value.count("<tr>") > before
    assert "not worked out yet" not in words(panel.list)


def test_files_hold_every_row(page, served):
    panel = page.covered
    panel.rows.value, panel.columns.value = "system", "material"
    heads, *rows = saved(panel.matrix_links, "coverage.csv")
    assert heads[:3] == ["system", "material", "enquiries"]
    assert sum(float(r[2]) for r in rows) == served.total.total
    heads, *rows = saved(panel.matrix_links, "enquiries.csv")
    assert len(rows) == len(served.enquiries)
    weights = {s.word: 0.0 for s in Standing}
    for row in rows:
        weights[row[heads.index("standing")]] += float(row[heads.index("count")])
    assert StandingTally(tuple(weights[s.word] for s in Standing)) == served.total


def test_names_of_groups_are_explained_where_they_stand(shop, page):
    panel = page.covered
    panel.rows.value, panel.columns.value = "system", "family"
    means = shop.catalogue.vocabulary.identify.means
    notes = {r["key"]: r["note"] for r in panel.cells.rows}
    assert set(notes) & set(means) and all(notes[k] == means[k] for k in notes if k in means)
    told = words(panel.glosses)
    for group, (low, high) in {"standard": ("31", "32.5"), "oversized": ("34", "36")}.items():
        assert re.search(rf"{group}: outside of the bar {low} to {high} mm", told)
    assert glosses(shop.catalogue, "month") and not glosses(shop.catalogue, "nothing of it")


# ---------------------------------------------------------------- stranded, weak, trend


def test_stranded_parts_are_those_of_the_api(shop, page):
    panel, found = page.stranded, stranded(shop.engine)
    told = words(panel.table)
    assert shop.catalogue.vocabulary.money(sum(s.value or 0 for s in found)) in told
    assert f"{len(found)} parts, {sum(s.pieces for s in found)} pieces" in told
    assert [r[0] for r in saved(panel.links, "stranded.csv")[1:]] == [s.sku for s in found]
    for standing in (Standing.CATALOGUE, Standing.POSSIBLY, Standing.NEITHER):
        panel.lacks.value = standing.word
        rows = saved(panel.links, "stranded.csv")[1:]
        assert [r[0] for r in rows] == [s.sku for s in found if s.standing is standing]
    panel.lacks.value = "all"
    role = shop.catalogue.parts[found[0].sku].role
    panel.role.value = role
    assert {shop.catalogue.parts[r[0]].role for r in saved(panel.links, "stranded.csv")[1:]} == {
        role
    }
    panel.role.value = "all"


def test_long_lists_of_joints_are_cut_short(shop):
    many = max(stranded(shop.engine), key=lambda s: len(s.joints))
    text = stranded_text(many, shop.catalogue, 3)
    assert text.startswith(f"{len(many.joints)} joints to be measured: ")
    assert f"and {len(many.joints) - 3} more" in text
    titles = [shop.catalogue.vocabulary.joint(j).title for j in many.joints]
    assert all(t in text for t in titles[:3]) and titles[3] not in text


def test_weak_points_are_those_of_the_api(shop, page):
    found = reliance(shop.engine)
    for files, weak in (("parts", found.parts), ("pairs", found.pairs)):
        rows = saved(page.weak.links, f"weak-{files}.csv")[1:]
        assert [tuple(r[0].split()) for r in rows] == [w.skus for w in weak]
        assert [float(r[2]) for r in rows] == [w.together for w in weak]
    first = found.parts[0]
    assert re.search(rf"{first.skus[0]}\) .*? {first.enquiries:g} ", words(page.weak.parts))


@pytest.mark.some(5)
@pytest.mark.parametrize("by", ["standing", "system", "style", "material", "family"])
@pytest.mark.parametrize("shelf", ["today", "then"])
def test_the_trend_is_that_of_the_api(shop, page, served, by, shelf):
    panel = page.trend
    panel.by.value, panel.shelf.value = by, shelf
    at = served if shelf == "today" else coverage_then(shop.engine, shop.supply.counts)
    months = trend(at)
    figure = panel.chart.figure
    shown = [t for t in figure.data if t.type == "bar" and t.visible]
    assert list(figure.data[-1].x) == list(months)
    assert list(figure.data[-1].y) == [t.total for t in months.values()]
    stacked = [sum(values) for values in zip(*(t.y for t in shown), strict=True)]
    assert stacked == [t.unmet for t in months.values()]
    _, *rows = saved(panel.table, "months.csv")
    assert [r[0] for r in rows] == list(months)
    assert [sum(map(float, r[1:-1])) for r in rows] == stacked
    assert f"{sum(stacked):g} of {sum(t.total for t in months.values()):g}" in words(panel.status)
    assert figure.layout.xaxis.title.text and figure.layout.yaxis.title.text
    panel.by.value, panel.shelf.value = "standing", "today"


def test_groups_beyond_the_fillings_are_put_together():
    chart = TrendChart()
    series = {f"group {n}": [float(n), 1.0] for n in range(12)}
    chart.show(["2026-01", "2026-02"], series, [100.0, 20.0])
    shown = [t for t in chart.figure.data if t.type == "bar" and t.visible]
    assert len(shown) == len(FILLINGS) and shown[-1].name == "all others"
    assert [sum(v) for v in zip(*(t.y for t in shown), strict=True)] == [66.0, 12.0]


def test_enquiries_without_a_date_are_in_no_month(shop, served):
    bare = tuple(dataclasses.replace(e, date=None) for e in served.enquiries)
    undated = dataclasses.replace(served, enquiries=bare)
    found = unmet_by_month(undated, "system")
    assert (found.months, found.series, found.asked) == ((), {}, ())
    assert isinstance(undated, Coverage)


# ---------------------------------------------------------------- orders


@pytest.mark.some(4)
@pytest.mark.parametrize("budget", ["0", "39.78", "39.79", "100", "190.99", "250 EUR", "1000", ""])
def test_orders_within_a_budget_are_the_best(shop, page, restocking, budget):
    panel = page.restock
    panel.mode.value = "spend"
    panel.budget.text.value = budget
    minor = round(float(budget.removesuffix(" EUR")) * 100) if budget else 10**9
    best = restocking.spend(minor)
    assert (panel.plan.cost, panel.plan.served) == (best.cost, best.served)
    told = words(panel.orders)
    assert "Proven" in told and "gap 0%" in told
    assert f"{best.served:g} of {best.total:g}" in told
    if best.lines:
        assert shop.catalogue.vocabulary.money(best.cost) in told
    for line in panel.plan.lines:
        assert line.offer.sku in told and line.offer.supplier in told
    rows = saved(panel.links, "orders.csv")
    total = sum(round(float(r[6]) * 100) for r in rows[1:])
    assert total == best.cost  # deliveries are lines as well
    assert list(panel.chart.figure.data[1].y) == [best.served]


@pytest.mark.some(4)
@pytest.mark.parametrize("percent", [0, 40, 46, 52, 54, 56, 100])
def test_orders_for_a_coverage_are_the_cheapest(shop, page, restocking, percent):
    panel = page.restock
    panel.mode.value = "target"
    panel.share.value = float(percent)
    best = restocking.target(percent / 100)
    assert (panel.plan.cost, panel.plan.served) == (best.cost, best.served)
    assert ("out of reach" in words(panel.orders)) == (not best.reached)
    panel.mode.value = "spend"


def test_a_curve_that_was_asked_ahead_is_said_to_be_complete():
    opened = open_catalogue(Path(__file__).parents[1] / "data" / "hoses")
    steps = len(opened.curve.plans) - 1
    page = StockGaps(opened)
    assert f"The curve is complete: {steps} steps of orders." in page.restock.meter.status.value


def test_the_curve_is_that_of_the_api_and_its_steps_can_be_taken(shop, page, restocking):
    panel = page.restock
    panel.mode.value, panel.budget.text.value = "target", ""
    curve = restocking.curve()
    drawn = panel.chart.figure.data[0]
    assert list(drawn.x) == [p.cost / 100 for p in curve]
    assert list(drawn.y) == [p.served for p in curve]
    assert "EUR" in panel.chart.figure.layout.xaxis.title.text
    for n in (3, len(curve) - 1, 1):
        drawn_click(panel, n)
        assert panel.mode.value == "spend"
        assert panel.plan.cost == curve[n].cost
        assert panel.steps.value == n
        assert shop.catalogue.vocabulary.money(curve[n].cost) in panel.budget.text.value
        panel.steps.value = n - 1  # the list takes a step as well
        assert panel.plan.cost == curve[n - 1].cost
        more = shop.catalogue.vocabulary.money(curve[n].cost - curve[n - 1].cost)
        assert f"The next step: {more} more" in words(panel.next)
    heads, *rows = saved(panel.links, "curve.csv")
    assert [round(float(r[0]) * 100) for r in rows] == [p.cost for p in curve]
    assert {r[-1] for r in rows} == {"yes"} and heads[-1] == "proven"
    panel.budget.text.value = ""


def drawn_click(panel, at):
    """Click a dot, as a page does."""
    panel.chart.widget.press(0, at)


def test_the_slider_moves_the_budget_and_reaches_the_whole_curve(page, restocking):
    panel = page.restock
    slider = panel.budget.slider
    last = restocking.curve()[-1]
    assert slider.max >= last.cost / 100 and slider.value == slider.max
    slider.value = 120.0
    best = restocking.spend(120_00)
    assert (panel.plan.cost, panel.plan.served) == (best.cost, best.served)
    assert panel.budget.text.value == "120 EUR"
    panel.budget.text.value = ""


def test_a_lead_time_keeps_late_offers_out(shop, page):
    panel = page.restock
    days = [value for _, value in panel.within.options if value >= 0]
    assert days == sorted({o.lead_days for o in shop.supply.offers if o.lead_days is not None})
    panel.within.value = days[0]
    best = Restocking(shop.engine, shop.supply, within_days=days[0]).target(1.0)
    assert (panel.plan.cost, panel.plan.served) == (best.cost, best.served)
    assert all(line.offer.lead_days <= days[0] for line in panel.plan.lines)
    panel.within.value = -1


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("cheap", "Budget: 'cheap' is no amount of money"),
        ("-5", "Budget: write zero or more"),
        ("150 USD", "Budget: '150 USD' is in USD, not in EUR"),
    ],
)
def test_bad_input_is_told_in_words_and_changes_nothing(page, text, told):
    panel = page.restock
    before = panel.orders.value
    panel.budget.text.value = text
    # At its field, and that the answers are still those to the entry before.
    assert told in words(panel.budget.problem) and panel.budget.problem.layout.display is None
    assert 'role="alert"' in panel.problems.value and panel.orders.value == before
    panel.budget.text.value = ""
    assert panel.problems.value == panel.budget.problem.value == ""


def _plan(cost, served_, gap=0.0):
    return SimpleNamespace(
        cost=cost, served=served_, share=served_ / 100, gap=gap, proven=gap == 0.0, lines=()
    )


def test_known_plans_answer_as_trying_all_would():
    random_ = random.Random(4)
    for _ in range(200):
        costs = sorted(random_.sample(range(1, 1000), random_.randint(1, 8)))
        gains = sorted(random_.sample(range(10, 90), len(costs)))
        plans = [_plan(0, 5), *(_plan(c, g) for c, g in zip(costs, gains, strict=True))]
        shown = random_.randint(1, len(plans))
        known = KnownPlans(plans[:shown], complete=shown == len(plans))
        budget, share = random_.randint(0, 1100), random_.random()
        best = max((p for p in plans if p.cost <= budget), key=lambda p: p.served)
        found = known.within(budget)
        assert found is (best if known.complete or budget < plans[shown - 1].cost else None)
        reach = [p for p in plans if p.share >= share]
        place = known.place_reaching(share)
        if reach and (known.complete or reach[0] in plans[:shown]):
            assert plans[place] is reach[0] and reaches(plans[place], share)
        elif known.complete:
            assert plans[place] is plans[-1]
        else:
            assert place is None
    assert KnownPlans().within(None) is None


def test_of_two_known_plans_of_one_cost_the_one_that_serves_more_is_taken():
    known = KnownPlans([_plan(0, 5), _plan(0, 9), _plan(70, 20)], complete=True)
    assert known.place_reaching(0.0) == known.place_reaching(0.07) == 1
    assert known.place_reaching(0.1) == 2


def test_an_open_gap_is_stated_and_never_called_proven():
    text = proof_text(_plan(100, 10, gap=0.125), None, target=False)
    assert "Not proven" in text and "12.5%" in text
    assert "Proven" in proof_text(_plan(100, 10), _plan(200, 12), target=False)
    assert "Not proven" in proof_text(_plan(100, 10), _plan(200, 12, gap=0.5), target=False)
    assert changes_of(None, _plan(1, 1)) == ((), ())


# ---------------------------------------------------------------- entries


def test_entries_travel_in_a_file_and_in_an_address(page):
    page.session.afresh.click()
    first = page.state()
    page.covered.rows.value, page.covered.columns.value = "style", "month"
    page.covered.cells.chosen = ["park", ""]
    page.trend.by.value, page.trend.shelf.value = "family", "then"
    page.stranded.lacks.value = Standing.POSSIBLY.word
    page.restock.mode.value, page.restock.share.value = "target", 52.0
    page.restock.budget.text.value = "123.45"
    state = page.state()
    link = re.search(r'base64,([^"]+)"', page.session.save.value)[1]
    assert read_text(base64.b64decode(link).decode(), "gaps") == state
    assert from_address(to_address("gaps", state), "gaps") == state
    shown = (page.covered.list.value, page.restock.orders.value)
    page.session.afresh.click()
    assert page.state() == first and page.restock.orders.value != shown[1]
    page.restore(state)
    assert page.state() == state
    assert (page.covered.list.value, page.restock.orders.value) == shown
    page.restore(first)


@pytest.mark.parametrize(
    "strange",
    [{"rows": "colour"}, {"within": 3333}, {"share": "half"}, {"cell": ["IHC"]}, {"bars": 7}],
)
def test_a_session_that_does_not_fit_changes_nothing(page, strange):
    before = page.state()
    with pytest.raises(SessionError, match="does not fit here"):
        page.restore({**before, **strange})
    assert page.state() == before


def test_controls_are_labelled_and_buttons_say_what_they_do(page):
    kinds = (
        ipywidgets.Text,
        ipywidgets.Dropdown,
        ipywidgets.Select,
        ipywidgets.RadioButtons,
        ipywidgets.Button,
        Slider,
    )
    labels = [w.description for w in every(page) if isinstance(w, kinds)]
    assert len(labels) > 15 and all(labels)
    assert len(set(labels)) == len(labels)


# ---------------------------------------------------------------- empty, broken, hostile


def test_a_catalogue_without_enquiries_says_so(shop):
    page = StockGaps(OpenCatalogue(dataclasses.replace(shop.catalogue, enquiries=())))
    assert "no enquiries" in words(page.covered.standings)
    assert "no enquiries" in words(page.verdict)
    assert page.covered.cells.rows == [] and page.covered.more.disabled
    assert "No enquiry has a date" in words(page.trend.status)
    page.trend.shelf.value = "then"
    assert "stock_counts.csv" in words(page.trend.status)
    assert "Nothing to order" in words(page.restock.orders)
    assert page.problems.value == page.restock.problems.value == ""


def test_enquiries_without_a_number_are_called_by_their_day(restocking):
    plan = next(p for p in restocking.curve() if p.opened)
    blank = [dataclasses.replace(e, number=" ") for e in plan.opened]
    told = as_text.text(Report("", opened_section(dataclasses.replace(plan, opened=tuple(blank)))))
    for enquiry in blank:
        assert f"one without a number of {enquiry.date}" in told


def test_what_goes_wrong_inside_is_told_in_words(shop, monkeypatch):
    def broken(*_args, **_more):
        raise RuntimeError("the shelf fell down")

    monkeypatch.setattr("fitgraph.lab.opened.OpenCatalogue.coverage", broken)
    page = StockGaps(shop)
    assert "RuntimeError: the shelf fell down" in words(page.problems)
    assert 'role="alert"' in page.problems.value


@pytest.mark.long
def test_catalogue_text_is_never_markup(shop):
    """Names, notes and numbers of a catalogue come from anywhere."""
    evil = '<img src=x onerror="alert(1)">'
    catalogue = shop.catalogue
    parts = {
        s: dataclasses.replace(p, name=evil, maker=evil, note=evil)
        for s, p in catalogue.parts.items()
    }
    by_role = {r: tuple(parts[p.sku] for p in of) for r, of in catalogue.by_role.items()}
    few = catalogue.enquiries[:12]
    enquiries = tuple(
        dataclasses.replace(e, number=f"{evil}{n}", style=evil, note=evil)
        for n, e in enumerate(few)
    )
    hostile = Catalogue(catalogue.vocabulary, parts, enquiries, evil, by_role)
    offers = tuple(dataclasses.replace(o, supplier=evil) for o in shop.supply.offers)
    supply = dataclasses.replace(shop.supply, offers=offers, suppliers={})
    page = StockGaps(OpenCatalogue(hostile, (), supply))
    page.covered.rows.value, page.trend.by.value = "style", "style"
    shown = [w for w in every(page) if isinstance(w, ipywidgets.HTML) and w.value]
    assert not [w.value[:80] for w in shown if "<img" in w.value]
    assert any("&lt;img" in w.value for w in shown)
    assert "<" not in "".join(t.name or "" for t in page.trend.chart.figure.data)
    marked = cells(page.covered.coverage.matrix("style", "month"), "unmet")
    assert evil in marked[0]  # plain text, which the page sets as text


# ---------------------------------------------------------------- in an event loop


async def _until(true, seconds=120.0):
    for _ in range(int(seconds * 100)):
        await asyncio.sleep(0.01)
        if true():
            return
    raise AssertionError("it never came")


@pytest.mark.long
def test_a_budget_typed_before_the_curve_is_there_is_answered_first(shop, restocking):
    async def impatient():
        page = StockGaps(shop)
        panel = page.restock
        await _until(lambda: len(panel.curve.known.plans) > 0 or panel.meter.running)
        panel.budget.text.value = "200"
        await _until(lambda: panel.plan is not None and panel.plan.cost <= 200_00)
        plan, complete = panel.plan, panel.curve.known.complete
        await _until(lambda: panel.curve.known.complete and panel.meter.button.disabled)
        after = panel.plan
        page.stop()
        for part in (panel, page.covered):
            part.stop()
        return plan, complete, after

    plan, complete, after = in_a_loop(impatient())
    best = restocking.spend(200_00)
    assert not complete  # it did not wait for the curve
    for found in (plan, after):
        assert (found.cost, found.served) == (best.cost, best.served)


def test_work_can_be_stopped_and_says_what_is_left(shop):
    async def stopping():
        page = StockGaps(shop)
        await _until(lambda: page.meter.running)
        page.meter.button.click()
        await _until(lambda: page.meter.button.disabled)
        await asyncio.sleep(0.1)
        told = words(page.meter.status), page.meter.ask.layout.display, words(page.weak.pairs)
        page.meter.ask.click()
        await _until(lambda: page.meter.running)
        hidden = page.meter.ask.layout.display
        page.meter.button.click()
        await _until(lambda: page.meter.button.disabled)
        await asyncio.sleep(0.1)
        return page, told, hidden

    page, told, hidden = in_a_loop(stopping())
    assert "Stopped" in told[0] and "cell" not in told[0]
    assert told[1] is None and hidden == "none"
    assert "Not worked out yet" in told[2]
    assert page.problems.value == ""
