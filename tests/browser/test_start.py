"""The start page: where the address alone leads, and which catalogue the pages are about."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fitgraph.lab.start import DOORS

from .harness import PAGES, Notebook, notebook_names

START, WHY = "00-start.ipynb", "03-why-not.ipynb"


def test_the_address_alone_leads_to_the_doors_and_a_door_leads_on(
    servers: Any, context: Any, shop: Any
) -> None:
    server = servers[PAGES]
    page = context.new_page()
    page.set_default_timeout(120_000)
    page.goto(f"{server.root}/?token={server.token}")
    page.wait_for_url(f"**/{START}*")
    page.wait_for_selector(".fg-form .fg-doors")
    assert page.locator(".fg-door strong").all_inner_texts() == [d.title for d in DOORS]
    headline = shop.shop.check().report().headline
    page.wait_for_selector(f".fg-form [role=status]:has-text('{headline}')")
    # From every page there is a way to every other.
    assert page.locator("p:has(> strong:text-is('Start')) a").count() == len(notebook_names()) - 1
    context.watch.closing.append(page)
    page.get_by_role("link", name="why it does not fit").click()
    page.wait_for_url(f"**/{WHY}")
    page.wait_for_selector("a:text-is('Start')")
    page.close()


@pytest.mark.long
def test_another_folder_is_opened_for_all_pages(
    opened: Any, servers: Any, context: Any, few: Path
) -> None:
    book = opened(PAGES, START)
    folder = book.labelled("Folder")
    folder.fill("no/such/folder")
    book.button("Open it").click()
    book.page.wait_for_selector(".fg-form [role=alert]:has-text('no/such/folder')")
    try:
        folder.fill(str(Path(__file__).parents[2] / "data" / "hoses"))
        book.button("Open it").click()
        book.page.wait_for_selector("[role=status]:has-text('hoses')")
        other = Notebook(servers[PAGES], context, WHY)
        other.page.wait_for_selector(".fg-form p:has-text('Name two parts or more.')")
        assert other.page.get_by_label("Hose clip", exact=True).count() == 1
        other.close()
    finally:
        folder.fill(str(few))
        book.button("Open it").click()
        book.page.wait_for_selector("[role=status]:has-text('demo')")
