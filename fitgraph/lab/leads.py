"""Links from one page to another that take the parts along."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from fitgraph.lab.form import part_label
from fitgraph.lab.session import page_address, to_address
from fitgraph.model import Catalogue

#: The pages that take parts: notebook, and the page's name in a session.
WHY, BUILDS, COUNTER = (
    ("03-why-not.ipynb", "why"),
    ("02-what-can-i-build.ipynb", "builds"),
    ("08-the-counter.ipynb", "counter"),
)


def _link(page: tuple[str, str], entries: dict[str, object], words: str) -> str:
    """Return a link; only where the notebook is shown as a page does an address hold entries."""
    if page_address() is None:
        return ""
    return f'<a href="{page[0]}?{to_address(page[1], entries)}">{escape(words)}</a>'


def _parts(skus: Iterable[str], catalogue: Catalogue) -> dict[str, object]:
    parts = [catalogue.parts[sku] for sku in skus]
    return {"parts": {p.role: part_label(p) for p in parts}}


def why_link(skus: Iterable[str], catalogue: Catalogue, words: str) -> str:
    """Return a link to why parts go together or do not."""
    return _link(WHY, _parts(skus, catalogue), words)


def build_link(skus: Iterable[str], catalogue: Catalogue, words: str) -> str:
    """Return a link to what can be built with parts."""
    return _link(BUILDS, _parts(skus, catalogue), words)
