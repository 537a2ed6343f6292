"""Builds: their number, and the first of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fitgraph.explain.requested import Listed
from fitgraph.model import Option, Vocabulary
from fitgraph.report.blocks import Block, Report, Say, Section, Tone
from fitgraph.report.cautions import cautions_on
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import (
    COUNT,
    MASS,
    MOMENT,
    PLACE,
    TEXT,
    money_of,
    number,
    plural,
)
from fitgraph.solve.counted import Counted
from fitgraph.units import major

_FIRST = {"price": "cheapest", "mass": "lightest", "strength": "strongest"}


def cautions(found: Listed) -> tuple[str, ...]:
    """Return the cautions that travel with the listed builds."""
    vocabulary = found.catalogue.vocabulary
    services = [s for b in found.builds for _, s in b.services]
    strength = ["strength"] if any(b.strength_nm is not None for b in found.builds) else []
    return cautions_on(vocabulary, [*(vocabulary.services[s].caution for s in services), *strength])


def data(found: Listed) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    count, vocabulary = found.count, found.catalogue.vocabulary
    answer: dict[str, Any] = {"count": count.number, "exact": count.exact}
    if not count.exact:
        answer["count_between"] = [count.least, count.most]
        answer["confidence"] = number(count.confidence)
    answer["possible"] = found.possible
    answer["sort"] = found.sort
    answer["builds"] = [
        {
            "parts": build.parts,
            "services": [{"sku": sku, "service": service} for sku, service in build.services],
            "price": major(build.price, vocabulary.minor_digits),
            "currency": vocabulary.currency,
            "mass_g": number(build.mass_g),
            "strength": number(build.strength_nm),
        }
        for build in found.builds
    ]
    answer["cautions"] = list(cautions(found))
    return answer


def _part(option: Option | None, vocabulary: Vocabulary) -> str:
    """Return a part with the work that is done to it."""
    if option is None or option.part is None:
        return "\N{EN DASH}"
    return " + ".join((option.part.sku, *(vocabulary.services[s].title for s in option.services)))


def _figures(found: Listed) -> list[Column]:
    money = money_of(found.catalogue.vocabulary)
    return [
        Column("place", PLACE, ""),
        Column("price", money),
        Column("mass_g", MASS, "mass"),
        Column("strength_nm", MOMENT, "strength"),
    ]


def tables(found: Listed) -> tuple[Table, ...]:
    """Return the listed builds: a row each, a column for each role."""
    vocabulary = found.catalogue.vocabulary
    roles = [Column(r.name, TEXT, r.title) for r in vocabulary.roles.values()]
    rows = [
        (
            n,
            b.price,
            b.mass_g,
            b.strength_nm,
            *(b.parts.get(r) for r in vocabulary.roles),
            " ".join(f"{sku}:{service}" for sku, service in b.services),
        )
        for n, b in enumerate(found.builds, start=1)
    ]
    columns = (*_figures(found), *roles, Column("services"))
    return (Table("builds", columns, tuple(rows)),)


def _shared(found: Listed) -> tuple[list[str], list[str]]:
    """Return what all listed builds share and is to be told, and the roles in which they differ."""
    vocabulary, owned = found.catalogue.vocabulary, set(found.request.have)
    rows: list[Mapping[str, Option]] = [b.options for b in found.builds]
    shared, differing = [], []
    for role in vocabulary.roles.values():
        cells = {_part(row.get(role.name), vocabulary) for row in rows}
        option = rows[0].get(role.name)
        if len(cells) > 1:
            differing.append(role.name)
        elif (
            option is not None
            and option.part is not None
            and (option.part.sku not in owned or option.services)
        ):
            shared.append(f"{role.title} {cells.pop()}")
    return shared, differing


def blocks(found: Listed) -> tuple[Block, ...]:
    """Return the listed builds for people: what they share once, then a row each."""
    vocabulary = found.catalogue.vocabulary
    shared, differing = _shared(found)
    pieces: list[Block] = []
    if shared:
        in_all = Table(
            "in_all", (Column("what"), Column("parts")), (("in all", ", ".join(shared)),), "", False
        )
        pieces.append(in_all)
    roles = [Column(r, TEXT, vocabulary.roles[r].title, joined=True) for r in differing]
    rows = [
        (
            n,
            b.price,
            b.mass_g,
            b.strength_nm,
            *(_part(b.options.get(r), vocabulary) for r in differing),
        )
        for n, b in enumerate(found.builds, start=1)
    ]
    listed = Table("builds", (*_figures(found), *roles), tuple(rows))
    pieces.append(Section("", (listed,)) if shared else listed)
    return tuple(pieces)


def count_text(count: Counted) -> str:
    """Return a number of builds; an estimate says that it is one.

    Examples
    --------
    >>> count_text(Counted(1000, 900, 1100, 0.99))
    'About 1,000 builds (between 900 and 1,100, with 99% confidence).'
    """
    many = plural(count.number, "build")
    if count.exact:
        return f"{many}."
    return (
        f"About {many} (between {COUNT.show(count.least)} and {COUNT.show(count.most)}, "
        f"with {count.confidence:.0%} confidence)."
    )


def _advice(found: Listed, hints: Hints) -> list[str]:
    """Return what to try where there is no build."""
    unlimited = found.unlimited or found
    if unlimited.builds:
        best = unlimited.builds[0]
        price = money_of(found.catalogue.vocabulary).show(best.price)
        mass = "an unknown mass" if best.mass_g is None else MASS.show(best.mass_g)
        return [
            f"Without the limits: {plural(unlimited.count.number, 'build')}, "
            f"the {_FIRST[found.sort]} at {price} and {mass}."
        ]
    lines = []
    if unlimited.possible:
        limits = ", limits aside" if found.unlimited is not None else ""
        many = plural(unlimited.possible, "build")
        lines.append(f"{many} may hold, if unknown dimensions turn out well{limits}.")
    named = [*found.request.have, *found.request.want]
    if named:
        lines.append(f"To see why: {hints.ask('why', named)}")
    return lines or [f"To see what is missing: {hints.ask('check')}"]


def report(found: Listed, hints: Hints) -> Report:
    """Return the answer for people."""
    if found.none:
        return Report("No build.", tuple(map(Say, _advice(found, hints))))
    headline = count_text(found.count)
    if not found.builds:
        return Report(headline)
    listed, order = len(found.builds), _FIRST[found.sort]
    first = f"The {listed} {order}" if listed > 1 else "The one"
    if listed == 1 < found.count.number:
        first = f"The {order}"
    free = "; what you have costs nothing" if found.request.have else ""
    lead = Say(f"{first}{free}:", Tone.QUIET)
    return Report(headline, (lead, Section("", blocks(found))), cautions(found))
