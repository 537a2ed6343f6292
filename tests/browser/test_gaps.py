"""The page of gaps in stock in a real browser, as a page and in JupyterLab."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest

from fitgraph.demand.questions import request_of
from fitgraph.explain import action_text
from fitgraph.lab import OpenCatalogue
from fitgraph.stock import OrderPlan, Restocking, Standing, coverage
from fitgraph.stock.groups import grouper

from .harness import LAB, PAGES, Notebook, click_dot

GAPS = "04-gaps-in-stock.ipynb"

#: The text of the orders: the last status that tells what they serve.
_TOLD = (
    "[...document.querySelectorAll('.fg-form [role=status]')].map(e => e.innerText)"
    ".filter(t => t.includes('from stock') && (t.includes('of orders') || t.includes('Nothing')))"
    ".at(-1)"
)

#: The file of the orders.
_LINK = (
    "[...document.querySelectorAll('.fg-form a')]"
    ".find(e => e.innerText === 'Save the orders as CSV')?.href"
)


@pytest.fixture(scope="module")
def restocking(shop: OpenCatalogue) -> Restocking:
    return Restocking(shop.engine, shop.supply)


def _says(book: Notebook, plan: OrderPlan, shop: OpenCatalogue) -> None:
    """Wait until the orders shown are a plan."""
    sum_ = (
        f"{shop.catalogue.vocabulary.money(plan.cost)} of orders"
        if plan.lines
        else "Nothing to order"
    )
    served = f"{plan.served:g} of {plan.total:g}"
    book.until(
        f"([sum, served]) => {{ const told = {_TOLD};"
        " return told?.includes(sum) && told.includes(served); }",
        [sum_, served],
    )


def _ready(book: Notebook) -> None:
    book.until("() => document.body.innerText.includes('The curve is complete')")


@pytest.mark.long
@pytest.mark.parametrize("kind", [LAB, PAGES])
def test_orders_follow_the_slider_and_the_curve(
    opened: Any, shop: OpenCatalogue, restocking: Restocking, kind: str, tmp_path: Path
) -> None:
    book = opened(kind, GAPS)
    page = book.page
    _ready(book)
    slider = page.get_by_label("Budget slider")
    slider.focus()
    slider.press("Home")
    _says(book, restocking.spend(0), shop)
    for _ in range(12):
        slider.press("ArrowRight")
    moved = round(float(slider.input_value()))
    assert moved > 0
    best = restocking.spend(moved * 100)
    assert best.served > best.before
    _says(book, best, shop)
    # A step of the curve, clicked.
    step = restocking.curve()[2]
    chart = page.locator(".fg-form .fg-chart").first
    chart.scroll_into_view_if_needed()
    before = page.evaluate(_LINK)
    click_dot(book, chart.locator(".scatterlayer .trace").first.locator(".point").nth(2))
    _says(book, step, shop)
    assert book.labelled("Budget").input_value() == shop.catalogue.vocabulary.money(step.cost)
    # The link comes in a message after the orders.
    book.until(f"(before) => {{ const now = {_LINK}; return now && now !== before; }}", before)
    with page.expect_download() as saving:
        page.get_by_role("link", name="Save the orders as CSV").click()
    saving.value.save_as(tmp_path / "orders.csv")
    with (tmp_path / "orders.csv").open(newline="") as file:
        rows = list(csv.reader(file))
    assert {row[1] for row in rows[1:] if row[1]} == {line.offer.sku for line in step.lines}
    assert sum(round(float(row[6]) * 100) for row in rows[1:]) == step.cost
    # The same from the list of steps, by keyboard.
    book.labelled("Steps").focus()
    book.labelled("Steps").press("End")
    _says(book, restocking.curve()[-1], shop)
    # Nonsense is told in words, and the orders stay.
    book.labelled("Budget").fill("cheap")
    page.wait_for_selector(".fg-form [role=alert]:has-text('is no amount of money')")
    book.labelled("Budget").fill("")
    page.wait_for_selector(".fg-form [role=alert]", state="detached")
    # A coverage instead of a sum.
    page.get_by_role("radio", name="reach a coverage").check()
    share = page.get_by_label("Coverage", exact=True)
    share.wait_for(state="visible")  # keys for what is hidden go elsewhere
    share.focus()
    share.press("Home")
    for _ in range(52):
        share.press("ArrowRight")
    assert share.input_value() == "52"
    _says(book, restocking.target(0.52), shop)
    page.get_by_role("radio", name="spend at most a budget").check()


@pytest.mark.parametrize("kind", [pytest.param(LAB, marks=pytest.mark.long), PAGES])
def test_a_cell_lists_who_is_not_served_and_what_each_lacks(
    opened: Any, shop: OpenCatalogue, kind: str, tmp_path: Path
) -> None:
    book = opened(kind, GAPS)
    page = book.page
    served = coverage(shop.engine)
    book.until("() => document.querySelectorAll('.fg-cells button').length > 4")
    book.labelled("Columns").select_option(label="style")
    matrix = served.matrix("system", "style")
    unserved = {spot: t.unmet for spot, t in matrix.cells.items() if t.unmet}
    row, column = min(unserved, key=lambda spot: (unserved[spot], spot))
    tally = matrix.cell(row, column)
    cell = page.locator(f".fg-cells button[aria-label^='{row}, {column}:']")
    cell.wait_for()
    assert f"{tally.of(Standing.STOCK):g} of {tally.total:g}" in cell.inner_text()
    # To the cell by arrow keys from another of its row, chosen with Enter.
    page.locator(f".fg-cells button[aria-label^='{row}, all:']").click()
    for _ in range(len(matrix.columns)):
        if cell.evaluate("e => e === document.activeElement"):
            break
        page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    page.wait_for_selector(
        f"caption:has-text('system {row}, style {column}: {tally.unmet:g} not served from stock')"
    )
    book.until("(cell) => cell.ariaPressed === 'true'", cell.element_handle())
    one, other = (grouper(shop.catalogue, name) for name in ("system", "style"))
    found = [e for e, _ in served.unserved if (one(e), other(e)) == (row, column)]
    change = shop.explainer.explain(request_of(found[0], in_stock=True)).changes[0]
    lacks = action_text(change.actions[0], shop.catalogue)[1:]
    page.wait_for_selector(f"tr:has-text('{found[0].number}'):has-text(\"{lacks}\")")
    with page.expect_download() as saving:
        page.get_by_role("link", name="Save the matrix as CSV").click()
    saving.value.save_as(tmp_path / "coverage.csv")
    with (tmp_path / "coverage.csv").open(newline="") as file:
        rows = list(csv.reader(file))
    assert {(r[0], r[1]): float(r[2]) for r in rows[1:]} == {
        spot: t.total for spot, t in matrix.cells.items()
    }


@pytest.mark.long
def test_a_session_travels_in_an_address(
    opened: Any, servers: Any, context: Any, shop: OpenCatalogue, restocking: Restocking
) -> None:
    book = opened(PAGES, GAPS)
    _ready(book)
    book.labelled("Budget").fill("75")
    best = restocking.spend(75_00)
    _says(book, best, shop)
    link = book.page.get_by_role("link", name="Address of this session").get_attribute("href")
    again = Notebook(servers[PAGES], context, GAPS, query=link.removeprefix("?"))
    assert again.labelled("Budget").input_value() == "75"
    _says(again, best, shop)
    again.close()
