"""The card of a part tells what the catalogue tells of it, and nothing is rendered as markup."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import pytest

from fitgraph.explain.standing import standings
from fitgraph.explain.words import size_text
from fitgraph.lab import OpenCatalogue, WhyExplorer, open_catalogue
from fitgraph.lab.card import Card, card_html
from fitgraph.model import Catalogue, Verdict
from fitgraph.solve import Request


@pytest.fixture(scope="module")
def opened() -> OpenCatalogue:
    return open_catalogue(demo=True)


def words(text: str) -> str:
    return " ".join(unescape(re.sub("<[^>]+>", " ", text)).split())


@pytest.mark.parametrize("sku", ["BAR-MAR-02", "FORK-SKE-01"])
def test_a_card_tells_sizes_joints_stock_and_section(opened: OpenCatalogue, sku: str) -> None:
    part = opened.catalogue.parts[sku]
    text = card_html(part, opened)
    told = words(text)
    assert part.name in told and opened.catalogue.vocabulary.money(part.price or 0) in told
    assert f"In stock {part.stock} piece" in told
    gloss = opened.catalogue.vocabulary.roles[part.role].gloss  # for people who are new
    assert gloss and f"{part.sku}: {gloss}" in told
    for feature in part.features.values():
        for size in feature.lengths.values():
            assert not size.known or f"{size_text(size)} ({size.basis.word})" in told
    found = standings(opened.engine, Request(have=(sku,)))
    roles = opened.catalogue.vocabulary.roles
    joined = {
        r for j in opened.catalogue.vocabulary.joints if part.role in j.roles for r in j.roles
    }
    for role in joined - {part.role}:
        fits = [s for s in found[role] if s.verdict is Verdict.FITS]
        held = sum(s.part.stock > 0 for s in fits)
        row = next(r for r in text.split("<tr>") if f">{roles[role].title}</th>" in r)
        assert words(row.split("</tr>")[0]).endswith(f"{len(fits)} of {len(found[role])} {held}")
    assert "<svg" in text


def test_a_card_opens_for_a_stock_number_of_an_answer(opened: OpenCatalogue) -> None:
    page = WhyExplorer(opened, ("FORK-SKE-01", "BAR-OST-03"))
    assert 'data-sku="BAR-OST-03"' in page.answer.value
    card = Card(lambda: opened)
    card.asked = ["BAR-OST-03", 1]
    assert card.content == card_html(opened.catalogue.parts["BAR-OST-03"], opened)
    card.asked = ["<b>none</b>", 2]
    assert words(card.content) == "This catalogue has no such part."


def test_a_name_is_never_markup(opened: OpenCatalogue) -> None:
    before = opened.catalogue
    named = replace(before.parts["BAR-MAR-02"], name="<img src=x>", note="<script>", maker="<i>")
    catalogue = Catalogue(before.vocabulary, {**before.parts, "BAR-MAR-02": named})
    text = card_html(named, OpenCatalogue(catalogue))
    assert not re.search("<(img|script|i)[ >]", text)
    assert "&lt;img src=x&gt;" in text
