"""Another part with the rest kept: what goes, what it costs more, and what comes along."""

from __future__ import annotations

from typing import Any

from fitgraph.explain.exchange import Along, Exchange, Exchanged, NotOffered
from fitgraph.explain.words_rider import exchange_text, not_offered_text
from fitgraph.model import Part
from fitgraph.report.blocks import Report, Say, Section, Tone
from fitgraph.report.builds import difference_words
from fitgraph.report.cautions_told import cautions_on_work
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import (
    COUNT,
    FLAG,
    LIST,
    MASS,
    MASS_CHANGE,
    MINUTES,
    MOMENT,
    PLACE,
    TEXT,
    Unit,
    money_of,
    number,
)
from fitgraph.wording import listed


def cautions(found: Exchange) -> tuple[str, ...]:
    """Return the cautions that travel with the listed parts."""
    services = (s for one in found.parts for _, s in one.services)
    strengths = (one.strength_nm for one in found.parts)
    return cautions_on_work(found.catalogue.vocabulary, services, strengths)


def _along(one: Along, money: Unit) -> dict[str, Any]:
    part = one.option.part
    return {
        "role": one.option.role,
        "sku": None if part is None else part.sku,
        "services": list(one.option.services),
        "instead": None if one.instead is None else one.instead.sku,
        "price": money.data(one.price),
    }


def data(found: Exchange) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    vocabulary = found.catalogue.vocabulary
    money = money_of(vocabulary)

    def row(one: Exchanged) -> dict[str, Any]:
        than = one.than
        price = None if than is None else money.data(than.price)
        return {
            "sku": one.part.sku,
            "price": money.data(one.price),
            "currency": vocabulary.currency,
            "mass_g": number(one.mass_g),
            "strength": number(one.strength_nm),
            "price_more": price,
            "mass_more_g": None if than is None else number(than.mass_g),
            "strength_more": None if than is None else number(than.strength_nm),
            "along": [_along(a, money) for a in one.along],
            "left_out": [p.sku for p in one.left_out],
            "total": money.data(one.total),
            "total_today": None if one.total_today is None else money.data(one.total_today),
            "minutes": number(one.minutes),
            "in_stock": one.in_stock,
            "lacking": list(one.lacking),
        }

    return {
        "role": found.role,
        "old": None if found.old is None else found.old.sku,
        "kept": [p.sku for p in found.kept],
        "count": found.count,
        "alone": found.alone,
        "today": found.today,
        "aim": found.aim.value,
        "sort": found.sort,
        "parts": [row(one) for one in found.parts],
        "more": list(found.more),
        "others": {sku: why.value for sku, why in found.others.items()},
        "all_stay": found.all_stay,
        "services": found.services.value,
        "cautions": list(cautions(found)),
    }


def _along_text(one: Along, found: Exchange, other: Part) -> str:
    vocabulary = found.catalogue.vocabulary
    part = one.option.part
    assert part is not None
    work = [vocabulary.services[s].title for s in one.option.services]
    text = listed(work) if part is other else " + ".join([part.called, *work])
    price = f" ({money_of(vocabulary).show(one.price)})" if one.price else ""
    instead = "" if one.instead is None else f" for {one.instead.called}"
    return f"{text}{instead}{price}"


def with_it(one: Exchanged, found: Exchange) -> str:
    """Return what comes along with a part, and what is not needed any more."""
    told = [_along_text(a, found, one.part) for a in one.along]
    told += [f"without {p.called}" for p in one.left_out]
    return ", ".join(told) or "nothing"


def shelf_words(one: Exchanged, found: Exchange) -> str:
    """Return whether a part can be had today with all that comes along, and what is short."""
    if one.in_stock:
        return f"{one.part.stock:,} in stock"
    lacking = [found.catalogue.parts[sku] for sku in one.lacking]
    roles = found.catalogue.vocabulary.roles
    which = "" if lacking == [one.part] else ": " + ", ".join(roles[p.role].title for p in lacking)
    return f"to order{which}{_or_today(one, found)}"


def _or_today(one: Exchanged, found: Exchange) -> str:
    """Return what a part comes to today, where only a dearer way is on the shelf."""
    if one.total_today is None:
        return ""
    return f", or today for {money_of(found.catalogue.vocabulary).show(one.total_today)}"


def _against(one: Exchanged, found: Exchange) -> str:
    """Return how a part differs from the old one; without one, what it weighs and bears."""
    if one.than is not None:
        return ", ".join(difference_words(one.than, found.catalogue.vocabulary))
    known = [] if one.mass_g is None else [MASS.show(one.mass_g)]
    known += [] if one.strength_nm is None else [f"bears {MOMENT.show(one.strength_nm)}"]
    return ", ".join(known)


def line(one: Exchanged, found: Exchange) -> str:
    """Return what a part comes to: price, difference from the old one, stock, what comes along."""
    vocabulary = found.catalogue.vocabulary
    show = money_of(vocabulary).show
    pieces = [show(one.price), _against(one, found), shelf_words(one, found)]
    if not one.alone:
        in_all = f", {show(one.total)} in all" if one.total != one.price else ""
        comes = "comes along: " if one.along else ""
        pieces.append(f"{comes}{with_it(one, found)}{in_all}")
    return "; ".join(piece for piece in pieces if piece)


def brief_line(one: Exchanged, found: Exchange) -> str:
    """Return what a part comes to with all that comes along, without naming that."""
    show = money_of(found.catalogue.vocabulary).show
    price = show(one.total) + (" with what comes along" if one.along else "")
    held = shelf_words(one, found) if one.in_stock else "to order" + _or_today(one, found)
    pieces = [price, _against(one, found), held]
    return "; ".join(piece for piece in pieces if piece)


def told(one: Exchanged, found: Exchange) -> list[str]:
    """Return what to tell a customer about a part, in sentences."""
    roles = found.catalogue.vocabulary.roles
    part = one.part
    given_up = {a.instead.sku for a in one.along if a.instead} | {p.sku for p in one.left_out}
    stays = [p.called for p in found.kept if p.sku not in given_up]
    fits = f"{part.called} fits {', '.join(stays)} for certain."
    if not stays:
        fits = f"{part.called} goes into some whole build; nothing that has to stay is named."
    against = "It comes to this" if found.old is None else f"Against {found.old.called}"
    text = [fits, f"{against}: {line(one, found)}."]
    if found.open_roles:
        names = listed((roles[r].title for r in found.open_roles), "or")
        text.append(f"Nobody has named the {names}: whether it goes with theirs cannot be told.")
    return text


def reasons(found: Exchange) -> list[tuple[str, list[str]]]:
    """Return how many others are not offered and why, with their stock numbers; the most first."""
    of: dict[NotOffered, list[str]] = {}
    for sku, why in found.others.items():
        of.setdefault(why, []).append(sku)
    most_first = sorted(of.items(), key=lambda one: -len(one[1]))
    return [
        (not_offered_text(why, found.aim, found.services, len(skus)), skus)
        for why, skus in most_first
    ]


def tables(found: Exchange) -> tuple[Table, ...]:
    """Return the listed parts, a row each."""
    money = money_of(found.catalogue.vocabulary)
    return (
        Table.of(
            "parts",
            found.parts,
            (Column("sku"), lambda o: o.part.sku),
            (Column("price", money), lambda o: o.price),
            (Column("mass_g", MASS), lambda o: o.mass_g),
            (Column("strength_nm", MOMENT), lambda o: o.strength_nm),
            (Column("price_more", money), lambda o: None if o.than is None else o.than.price),
            (
                Column("mass_more_g", MASS_CHANGE),
                lambda o: None if o.than is None else o.than.mass_g,
            ),
            (
                Column("strength_more_nm", MOMENT),
                lambda o: None if o.than is None else o.than.strength_nm,
            ),
            (Column("along", LIST), lambda o: [a.option.label for a in o.along]),
            (Column("left_out", LIST), lambda o: [p.sku for p in o.left_out]),
            (Column("minutes", MINUTES), lambda o: o.minutes),
            (Column("total", money), lambda o: o.total),
            (Column("in_stock", FLAG), lambda o: o.in_stock),
            (Column("pieces", COUNT), lambda o: o.part.stock),
        ),
        Table.of(
            "others",
            list(found.others.items()),
            (Column("sku"), lambda o: o[0]),
            (Column("reason"), lambda o: o[1].value),
        ),
    )


def report(found: Exchange, hints: Hints) -> Report:
    """Return the answer for people."""
    vocabulary = found.catalogue.vocabulary
    title = vocabulary.roles[found.role].title
    others = "; ".join(text for text, _ in reasons(found))
    rest = (Say(f"Of the others, {others}.", Tone.QUIET),) if others else ()
    if NotOffered.WORK in found.others.values():
        rest = (*rest, Say(f"With work on what is bought: {hints.worked}", Tone.QUIET))
    if not found.count:
        named = [p.sku for p in (*found.kept, *([found.old] if found.old else []))]
        return Report(exchange_text(found), (*rest, Say(f"To see why: {hints.ask('why', named)}")))
    old = "" if found.old is None else f", against {found.old.called}"
    money = money_of(vocabulary)
    rows = tuple(
        (
            n,
            one.part.called,
            one.price,
            _against(one, found),
            with_it(one, found),
            one.total,
            shelf_words(one, found),
        )
        for n, one in enumerate(found.parts, start=1)
    )
    against = "mass and strength" if found.old is None else "against the old one"
    columns = [
        Column("place", PLACE, ""),
        Column("sku", TEXT, title),
        Column("price", money),
        Column("difference", TEXT, against),
        Column("along", TEXT, "comes along"),
        Column("total", money, "to pay"),
        Column("today", TEXT),
    ]
    table = Table("parts", tuple(columns), rows)
    order = {"price": "least to pay", "mass": "lightest", "strength": "strongest"}[found.sort]
    first = f"{len(rows):,} " if len(rows) > 1 else ""
    lead = Say(
        f"The {first}{order}{old}; those for which what you have stays come first:", Tone.QUIET
    )
    return Report(exchange_text(found), (lead, Section("", (table,)), *rest), cautions(found))
