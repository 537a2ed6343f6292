"""Gaps in stock: what is asked for and cannot be built, what is held and cannot be used."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from fitgraph.model import Catalogue
from fitgraph.report import tallies
from fitgraph.report.blocks import Report, Say, Section, Tone
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.tallies import headline, tally_data
from fitgraph.report.unasked import unasked_lines, without_lines
from fitgraph.report.values import (
    COUNT,
    FINE_SHARE,
    LIST,
    WEIGHT,
    WORD,
    money_of,
    number,
)
from fitgraph.stock import Standing, Stranded, Weak, trend
from fitgraph.stock.gaps import Gaps
from fitgraph.wording import first_of, plural

#: So many joints of a part are named, the rest counted; data has all.
_NAMED = 2


def data(gaps: Gaps) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    amount = money_of(gaps.coverage.catalogue.vocabulary).data
    told = tallies.data(gaps.coverage, gaps.by)
    more = {
        "weak": weak_table([w for w in gaps.reliance.parts if w.enquiries]).entries(),
        "weak_pairs": weak_table(gaps.reliance.pairs).entries(),
        "builds": gaps.reliance.builds,
        "stranded": _stranded_table(gaps).entries(),
        "stranded_value": amount(sum(s.value or 0 for s in gaps.stranded)),
        "in_turn": {"served": number(gaps.in_turn.served), "share": number(gaps.in_turn.share)},
        "months_then": {m: tally_data(t) for m, t in trend(gaps.then).items()},
    }
    return {k: (told | more)[k] for k in _ORDER if k in told or k in more}


#: The order in which the keys of an answer stand.
_ORDER = (
    *(
        "total",
        "in_turn",
        "by",
        "means",
        "matrix",
        "unmet",
        "weak",
        "weak_pairs",
        "builds",
        "stranded",
    ),
    *("stranded_value", "months", "months_then", "left_out", "told_without", "currency"),
)


def weak_table(weak: Sequence[Weak]) -> Table:
    """Return parts, or pairs of them, on which much depends."""
    return Table.of(
        "weak",
        weak,
        (Column("parts", LIST), lambda w: w.skus),
        (Column("enquiries", WEIGHT), lambda w: w.enquiries),
        (Column("together", WEIGHT), lambda w: w.together),
        (Column("builds", COUNT), lambda w: w.builds),
        (Column("share", FINE_SHARE), lambda w: w.share),
    )


def _stranded_table(gaps: Gaps) -> Table:
    return Table.of(
        "stranded",
        gaps.stranded,
        (Column("sku"), lambda s: s.sku),
        (Column("pieces", COUNT), lambda s: s.pieces),
        (Column("value", money_of(gaps.coverage.catalogue.vocabulary)), lambda s: s.value),
        (Column("standing", WORD), lambda s: s.standing),
        (Column("needs", LIST), lambda s: s.needs),
        (Column("joints", LIST), lambda s: s.joints),
    )


def tables(gaps: Gaps) -> tuple[Table, ...]:
    """Return enquiries and counts of them, stranded parts, and what much depends on."""
    return (
        *tallies.tables(gaps.coverage, gaps.by),
        _stranded_table(gaps),
        weak_table([*gaps.reliance.parts, *gaps.reliance.pairs]),
    )


def stranded_text(one: Stranded, catalogue: Catalogue, most: int) -> str:
    """Return what a part held without a use lacks; of joints and parts so many are named."""
    joints = first_of((catalogue.vocabulary.joint(name).title for name in one.joints), most)
    order = f"to order: {first_of(map(catalogue.called, one.needs), most)}"
    if one.standing is Standing.CATALOGUE:
        return order
    if one.standing is Standing.POSSIBLY:
        told = f"{plural(len(one.joints), 'joint')} to be measured: {joints}"
        return f"{told}; {order}" if one.needs else told
    if not joints:
        roles = [catalogue.vocabulary.roles[name].title for name in catalogue.unfilled]
        joints = (
            f"no part for {first_of(roles, most)}" if roles else "a role has no part that is sold"
        )
    return f"nothing sold goes with it: {joints}"


def _months(gaps: Gaps) -> Table:
    months, then = trend(gaps.coverage), trend(gaps.then)
    return Table.of(
        "months",
        list(months.items()),
        (Column("month"), lambda pair: pair[0]),
        (Column("enquiries", WEIGHT, "asked"), lambda pair: pair[1].total),
        (Column("unmet", WEIGHT, "unmet by today's shelf"), lambda pair: pair[1].unmet),
        (
            Column("unmet_then", _SEEN, "by that day's"),
            lambda pair: then[pair[0]].unmet if pair[0] in then else None,
        ),
    )


#: A figure for days on which nobody counted.
_SEEN = replace(WEIGHT, blank="·")


def _rest(listed: int, of: int, hints: Hints) -> tuple[Say, ...]:
    """Return how many are not listed, and how to have them."""
    return (Say(f"{of - listed:,} more: {hints.limit}", Tone.QUIET, deep=1),) if of > listed else ()


def report(gaps: Gaps, limit: int, hints: Hints) -> Report:
    """Return the answer for people.

    Parameters
    ----------
    gaps : Gaps
        The answer.
    limit : int
        How many parts are listed of each sort.
    hints : Hints
        How more is asked for.
    """
    coverage = gaps.coverage
    money, called = money_of(coverage.catalogue.vocabulary), coverage.catalogue.called
    pieces = list(tallies.report(coverage, gaps.by).blocks)
    alone = [w for w in gaps.reliance.parts if w.enquiries]
    weak = [*alone[:limit], *gaps.reliance.pairs[:limit]]
    if weak:
        told = Table.of(
            "weak",
            weak,
            (Column("without"), lambda w: " and ".join(map(called, w.skus))),
            (Column("enquiries lost", WEIGHT), lambda w: w.together),
            (Column("builds lost", FINE_SHARE), lambda w: w.share),
        )
        rest = _rest(len(weak), len(alone) + len(gaps.reliance.pairs), hints)
        builds = plural(gaps.reliance.builds, "build")
        of = Say(
            f"Builds lost: of {builds} from stock, workshop work on any part included.",
            Tone.QUIET,
            deep=1,
        )
        pieces.append(Section("Much depends on (a pair: lost only if both go)", (told, of, *rest)))
    if gaps.stranded:
        value = money.show(sum(s.value or 0 for s in gaps.stranded))
        held = sum(s.pieces for s in gaps.stranded)
        shown = Table.of(
            "stranded",
            gaps.stranded[:limit],
            (Column("part"), lambda s: called(s.sku)),
            (Column("what it lacks"), lambda s: stranded_text(s, coverage.catalogue, _NAMED)),
            (Column("pieces", COUNT), lambda s: s.pieces),
            (Column("worth", money), lambda s: s.value),
        )
        title = (
            f"Held without a use: {plural(len(gaps.stranded), 'part')}, {plural(held, 'piece')}, "
            f"{value} at selling prices"
        )
        rest = _rest(len(shown.rows), len(gaps.stranded), hints)
        pieces.append(Section(title, (shown, *rest) if shown.rows else ()))
    months = _months(gaps)
    if months.rows:
        pieces.append(Section("Unmet over time", (months,)))
    pieces += unasked_lines(coverage.left_out, limit)
    pieces += without_lines(coverage.told_without)
    return Report(headline(coverage.total, gaps.in_turn), tuple(pieces))
