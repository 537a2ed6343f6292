"""Gaps in stock: what is asked for and cannot be built, what is held and cannot be used."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fitgraph.explain.words_rider import builds_text
from fitgraph.model import Catalogue, Vocabulary
from fitgraph.report import tallies, unserved
from fitgraph.report.blocks import Block, Report, Say, Section, Tone, quiet, status
from fitgraph.report.hints import Hints
from fitgraph.report.months import by_shelf
from fitgraph.report.tables import Column, Table
from fitgraph.report.tallies import (
    NO_ENQUIRIES,
    alone_text,
    headline,
    tally_data,
    turn_text,
)
from fitgraph.report.unasked import unasked_lines, without_lines
from fitgraph.report.unserved import Lacking
from fitgraph.report.values import (
    COUNT,
    FINE_SHARE,
    LIST,
    TOLD,
    WEIGHT,
    WORD,
    money_of,
    number,
)
from fitgraph.stock import OrderPlan, Reliance, Standing, StandingTally, Stranded, Weak, trend
from fitgraph.stock.gaps import Gaps
from fitgraph.stock.in_turn import InTurn
from fitgraph.wording import capital, first_of, plural

#: So many joints and parts are named, the rest counted; data has all.
_NAMED, _ALL = 3, 10**6


def data(gaps: Gaps, said: Lacking) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    amount = money_of(gaps.coverage.catalogue.vocabulary).data
    told = tallies.data(gaps.coverage, gaps.by)
    more = {
        "lacking": _lacking_table(gaps, said).entries(),
        "cautions": list(_cautions(gaps, said)),
        "weak": weak_table([w for w in gaps.reliance.parts if w.enquiries]).entries(),
        "weak_pairs": weak_table(gaps.reliance.pairs).entries(),
        "builds": gaps.reliance.builds,
        "stranded": stranded_table(gaps.stranded, gaps.coverage.catalogue).entries(),
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
        "lacking",
        "weak",
        "weak_pairs",
        "builds",
        "stranded",
    ),
    *(
        "stranded_value",
        "months",
        "months_then",
        "left_out",
        "told_without",
        "currency",
        "cautions",
    ),
)


def _lacking_table(gaps: Gaps, said: Lacking) -> Table:
    listed = [(e, s) for e, s in gaps.coverage.unserved if e in said]
    return unserved.table(listed, said, gaps.coverage.catalogue)


def _cautions(gaps: Gaps, said: Lacking) -> tuple[str, ...]:
    return unserved.cautions(said.values(), gaps.coverage.catalogue)


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


def weak_shown(weak: Sequence[Weak], catalogue: Catalogue, *, pairs: bool) -> Table:
    """Return parts, or pairs of them, on which much depends, for people."""
    return Table.of(
        "weak",
        weak,
        (Column("without"), lambda w: " and ".join(map(catalogue.called, w.skus))),
        (
            Column("held", TOLD, "in stock"),
            lambda w: " + ".join(f"{catalogue.parts[s].stock}" for s in w.skus),
        ),
        (Column("enquiries", WEIGHT, "enquiries lost"), lambda w: w.together),
        (Column("builds", FINE_SHARE, "builds lost"), lambda w: w.share),
        title="Two parts, and what is lost only if both are gone" if pairs else "One part gone",
    )


def builds_lost(reliance: Reliance) -> Say:
    """Return of what the builds are a share that depend on a part."""
    builds = builds_text(reliance.builds)
    return quiet(f"Builds lost: of {builds} from stock, workshop work on any part included.")


def stranded_table(stranded: Sequence[Stranded], catalogue: Catalogue) -> Table:
    """Return parts held without a use as data, with all names."""
    return Table.of(
        "stranded",
        stranded,
        (Column("sku"), lambda s: s.sku),
        (Column("name"), lambda s: catalogue.parts[s.sku].name),
        (Column("pieces", COUNT), lambda s: s.pieces),
        (Column("value", money_of(catalogue.vocabulary)), lambda s: s.value),
        (Column("standing", WORD), lambda s: s.standing),
        (Column("needs", LIST), lambda s: s.needs),
        (Column("joints", LIST), lambda s: s.joints),
        (Column("lacks"), lambda s: stranded_text(s, catalogue, _ALL)),
    )


def stranded_shown(stranded: Sequence[Stranded], catalogue: Catalogue) -> Table:
    """Return parts held without a use for people, and what each lacks."""
    return Table.of(
        "stranded",
        stranded,
        (Column("part"), lambda s: catalogue.called(s.sku)),
        (Column("pieces", COUNT), lambda s: s.pieces),
        (Column("worth", money_of(catalogue.vocabulary)), lambda s: s.value),
        (
            Column("lacks", title="what it lacks"),
            lambda s: capital(stranded_text(s, catalogue, _NAMED)),
        ),
        title="Dearest first",
    )


def held_text(stranded: Sequence[Stranded], vocabulary: Vocabulary) -> str:
    """Return what parts held without a use are worth together."""
    worth, pieces = sum(s.value or 0 for s in stranded), sum(s.pieces for s in stranded)
    unpriced = sum(s.value is None for s in stranded)
    more = f", and {unpriced:,} of no known price" if unpriced else ""
    return (
        f"{vocabulary.money(worth)} at selling prices in {plural(len(stranded), 'part')}, "
        f"{plural(pieces, 'piece')}{more}"
    )


def tables(gaps: Gaps, said: Lacking) -> tuple[Table, ...]:
    """Return enquiries, counts of them and what they lack, stranded parts, and weak ones."""
    return (
        *tallies.tables(gaps.coverage, gaps.by),
        stranded_table(gaps.stranded, gaps.coverage.catalogue),
        weak_table([*gaps.reliance.parts, *gaps.reliance.pairs]),
        _lacking_table(gaps, said),
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


def so_far(
    total: StandingTally | None,
    plan: OrderPlan | None,
    held: Sequence[Stranded] | None,
    vocabulary: Vocabulary,
    turn: InTurn | None = None,
) -> Say:
    """Return in one line what is served, what orders would add, and what is stranded.

    Parameters
    ----------
    total : StandingTally or None
        All enquiries; None while that is worked out.
    plan : OrderPlan or None
        The orders shown; None while they are looked for.
    held : sequence of Stranded or None
        Parts held without a use; None while they are looked for.
    vocabulary : Vocabulary
        Gives the currency.
    turn : InTurn, optional
        Who is served as pieces run out; None while that is worked out.
    """
    if total is None:
        return status("Asking what can be served …")
    if not total.total:
        return status(NO_ENQUIRIES)
    lead = f"{total.of(Standing.STOCK):g} of {total.total:g}"
    told = [alone_text(total).removeprefix(lead)]
    if turn is not None:
        told.append(turn_text(turn))
    if plan is not None and plan.lines:
        more = plan.served - plan.before
        told.append(f"{vocabulary.money(plan.cost)} of orders serve {more:g} more")
    if held:
        told.append(f"without a use, {held_text(held, vocabulary)}")
    return status(f"{'; '.join(told)}.", lead)


def _rest(listed: int, of: int, hints: Hints) -> tuple[Say, ...]:
    """Return how many are not listed, and how to have them."""
    return (Say(f"{of - listed:,} more: {hints.limit}", Tone.QUIET, deep=1),) if of > listed else ()


def report(gaps: Gaps, said: Lacking, limit: int, hints: Hints) -> Report:
    """Return the answer for people.

    Parameters
    ----------
    gaps : Gaps
        The answer.
    said : mapping of Enquiry to RequestExplanation or str
        What enquiries lack, of those that are told.
    limit : int
        How many parts are listed of each sort.
    hints : Hints
        How more is asked for.
    """
    coverage, reliance = gaps.coverage, gaps.reliance
    catalogue = coverage.catalogue
    pieces = list(tallies.report(coverage, gaps.by).blocks)
    pieces += unserved.sections(coverage.unserved, said, catalogue, hints)
    depends: list[Block] = []
    alone = [w for w in reliance.parts if w.enquiries]
    for weak, pairs in ((alone, False), (reliance.pairs, True)):
        if weak[:limit]:
            depends.append(weak_shown(weak[:limit], catalogue, pairs=pairs))
        depends += _rest(limit, len(weak), hints)
    if depends:
        pieces.append(Section("Much depends on", (*depends, builds_lost(reliance))))
    if gaps.stranded:
        shown = stranded_shown(gaps.stranded[:limit], catalogue)
        title = f"Held without a use: {held_text(gaps.stranded, catalogue.vocabulary)}"
        rest = _rest(limit, len(gaps.stranded), hints)
        pieces.append(Section(title, (shown, *rest) if shown.rows else ()))
    months = by_shelf(coverage, gaps.then)
    if months.rows:
        pieces.append(Section("Unmet over time", (months,)))
    pieces += unasked_lines(coverage.left_out, limit)
    pieces += without_lines(coverage.told_without)
    told = headline(coverage.total, gaps.in_turn)
    return Report(told, tuple(pieces), _cautions(gaps, said))
