"""Which family of materials suits a way of riding."""

from __future__ import annotations

from typing import Any

from fitgraph.explain.advice import FamilyAdvice, RiderAdvice
from fitgraph.explain.triangle import triangle
from fitgraph.explain.words_rider import advice_text, family_text
from fitgraph.model import Catalogue
from fitgraph.report.blocks import Block, Report, Say, Section
from fitgraph.report.cautions_told import cautions_on
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, FINE_SHARE, LIST, MASS, MOMENT, TOLD, money_of, number


def _family(found: FamilyAdvice, catalogue: Catalogue) -> dict[str, Any]:
    amount = money_of(catalogue.vocabulary).data
    corner = found.corner
    return {
        "family": found.family,
        "worth": number(found.worth),
        "reaches": list(corner.reaches),
        "parts": corner.parts,
        "median": {
            "mass_g": number(corner.mass_g),
            "strength_nm": number(corner.strength_nm),
            "price": amount(corner.price),
        },
        "tubes": [
            {
                "kind": t.kind or None,
                "parts": t.parts,
                "sizes_mm": {w: [number(lo), number(hi)] for w, (lo, hi) in t.sizes.items()},
                "wall_mm": number(t.wall_mm),
            }
            for t in found.tubes
        ],
        "best": [
            {
                "sku": f.sku,
                "mass_g": number(f.mass_g),
                "strength_nm": number(f.strength_nm),
                "price": amount(f.price),
                "stock": catalogue.parts[f.sku].stock,
            }
            for f in found.best
        ],
        "text": family_text(catalogue, found),
    }


def data(found: RiderAdvice, catalogue: Catalogue) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    return {
        "style": found.style.name or None,
        "broken": found.broken,
        "weights": {
            "light": number(found.style.light),
            "strong": number(found.style.strong),
            "affordable": number(found.style.affordable),
        },
        "families": [_family(f, catalogue) for f in found.families],
        "rule": found.rule,
        "text": advice_text(catalogue, found),
        "currency": catalogue.vocabulary.currency,
        "cautions": list(cautions_on(catalogue.vocabulary, ["strength"])),
    }


def tables(found: RiderAdvice, catalogue: Catalogue) -> tuple[Table, ...]:
    """Return the families with their medians, and the best parts of each."""
    money = money_of(catalogue.vocabulary)
    families = Table.of(
        "families",
        found.families,
        (Column("family"), lambda f: f.family),
        (Column("worth", FINE_SHARE), lambda f: f.worth),
        (Column("parts", COUNT), lambda f: f.corner.parts),
        (Column("mass_g", MASS), lambda f: f.corner.mass_g),
        (Column("strength_nm", MOMENT), lambda f: f.corner.strength_nm),
        (Column("price", money), lambda f: f.corner.price),
        (Column("reaches", LIST), lambda f: f.corner.reaches),
    )
    best = Table.of(
        "best",
        [(family.family, figures) for family in found.families for figures in family.best],
        (Column("family"), lambda pair: pair[0]),
        (Column("sku"), lambda pair: pair[1].sku),
        (Column("mass_g", MASS), lambda pair: pair[1].mass_g),
        (Column("strength_nm", MOMENT), lambda pair: pair[1].strength_nm),
        (Column("price", money), lambda pair: pair[1].price),
        (Column("stock", COUNT), lambda pair: catalogue.parts[pair[1].sku].stock),
    )
    return (families, best)


def triangle_report(catalogue: Catalogue) -> Report:
    """Return the middle part of each family, and which of the three it reaches."""
    corners = triangle(catalogue)
    if not corners:
        return Report("This catalogue compares no tubes, or none is fully known.")
    table = Table.of(
        "triangle",
        list(corners.values()),
        (Column("family"), lambda c: c.family),
        (Column("parts", COUNT), lambda c: c.parts),
        (Column("mass_g", MASS, "mass"), lambda c: c.mass_g),
        (Column("strength_nm", MOMENT, "plain tube bears"), lambda c: c.strength_nm),
        (Column("price", money_of(catalogue.vocabulary)), lambda c: c.price),
        *(
            (Column(w, TOLD), lambda c, w=w: "✓ yes" if w in c.reaches else "– last")
            for w in ("light", "strong", "affordable")
        ),
        title="The median part of each family, and in which of the three it is not the last of the "
        "families. Parts whose own figures contradict each other are left out.",
    )
    return Report("", (table,), cautions_on(catalogue.vocabulary, ["strength"]))


def _best(family: FamilyAdvice, catalogue: Catalogue) -> Table:
    def held(sku: str) -> str:
        stock = catalogue.parts[sku].stock
        return f"{stock} in stock" if stock else "sold out"

    return Table.of(
        "best",
        family.best,
        (Column("part"), lambda f: catalogue.called(f.sku)),
        (Column("mass_g", MASS), lambda f: f.mass_g),
        (Column("strength_nm", MOMENT), lambda f: f.strength_nm),
        (Column("price", money_of(catalogue.vocabulary)), lambda f: f.price),
        (Column("stock"), lambda f: held(f.sku)),
        headed=False,
    )


def report(found: RiderAdvice, catalogue: Catalogue) -> Report:
    """Return the answer for people."""
    pieces: list[Block] = [
        Section("", (Say(family_text(catalogue, family), deep=1), _best(family, catalogue)))
        for family in found.families
    ]
    told = cautions_on(catalogue.vocabulary, ["strength"])
    return Report(advice_text(catalogue, found), tuple(pieces), told)
