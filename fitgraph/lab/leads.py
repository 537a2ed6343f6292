"""Links from one page to another, some of which take parts along."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from markupsafe import Markup

from fitgraph.lab.form import part_label
from fitgraph.lab.session import page_address, to_address
from fitgraph.model import Catalogue
from fitgraph.report.tables import Column, Table

#: The notebook of each page, by the page's name in a session.
PAGES = {
    "start": "00-start.ipynb",
    "lesson": "01-how-fitment-works.ipynb",
    "builds": "02-what-can-i-build.ipynb",
    "why": "03-why-not.ipynb",
    "gaps": "04-gaps-in-stock.ipynb",
    "adapters": "05-next-adapter.ipynb",
    "practice": "06-staff-practice.ipynb",
    "map": "07-the-map-of-fits.ipynb",
    "counter": "08-the-counter.ipynb",
    "own": "09-your-data.ipynb",
}


def page_link(page: str, words: str, query: str = "") -> Markup:
    """Return a link to a page."""
    return Markup('<a href="{}{}">{}</a>').format(PAGES[page], query, words)


def one_line(*links: Markup) -> Markup:
    """Return links beside one another, as far as they lead somewhere."""
    return Markup("<p>{}</p>").format(Markup(" · ").join(filter(None, links)))


def parts_link(page: str, skus: Iterable[str], catalogue: Catalogue, words: str) -> Markup:
    """Return a link to a page that takes parts, as far as an address can hold them.

    It can where the notebook is shown as a page.
    """
    if page_address() is None:
        return page_link(page, words)
    parts = [catalogue.parts[sku] for sku in skus]
    entries = {"parts": {p.role: part_label(p) for p in parts}}
    return page_link(page, words, f"?{to_address(page, entries)}")


def why_link(skus: Iterable[str], catalogue: Catalogue, words: str) -> Markup:
    """Return a link to why parts go together or do not; nothing where it could not take them."""
    return Markup("") if page_address() is None else parts_link("why", skus, catalogue, words)


def with_whys(table: Table, skus: Sequence[Iterable[str]], catalogue: Catalogue) -> Table:
    """Return a table with a link to why the parts of each row go together or do not.

    Parameters
    ----------
    table : Table
        What a page shows; as it is where no link could take parts.
    skus : sequence of (iterable of str)
        Stock numbers for each row.
    catalogue : Catalogue
        Whose parts they are.
    """
    if page_address() is None:
        return table
    links = [why_link(parts, catalogue, "Why?") for parts in skus]
    return table.beside(Column("why", title="more"), links)


def build_link(skus: Iterable[str], catalogue: Catalogue, words: str) -> Markup:
    """Return a link to what can be built with parts; nothing where it could not take them."""
    return Markup("") if page_address() is None else parts_link("builds", skus, catalogue, words)
