"""Gaps in stock: what is asked for and cannot be built, what is held and cannot be used."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from fitgraph.explain.glosses import glosses
from fitgraph.graph.groupings import OTHER
from fitgraph.model import Catalogue, Enquiry
from fitgraph.report.blocks import Block, Report, Say, Section, Tone
from fitgraph.report.tables import Column, Table
from fitgraph.report.unasked import unasked_data, unasked_lines
from fitgraph.report.values import (
    COUNT,
    DATE,
    FINE_SHARE,
    LIST,
    MASS,
    SHARE,
    TEXT,
    WEIGHT,
    WORD,
    Unit,
    money_of,
    number,
)
from fitgraph.stock import Coverage, Standing, StandingTally, Stranded, Weak, trend
from fitgraph.stock.gaps import Gaps
from fitgraph.stock.groups import grouper, grouping_names
from fitgraph.stock.in_turn import InTurn
from fitgraph.wording import first_of, plural

#: Groupings are shown side by side up to two.
SIDES = 2

#: What sums of all groups are headed with.
_ALL = "all"

#: So many joints of a part are named, the rest counted; data has all.
_NAMED = 2

#: How standings are headed for people, the best first.
_HEADS = {
    Standing.STOCK: "stock",
    Standing.CATALOGUE: "to order",
    Standing.POSSIBLY: "perhaps",
    Standing.NEITHER: "no",
}


def _of(standing: Standing) -> Callable[[StandingTally], float]:
    return lambda tally: tally.of(standing)


#: What a cell of a pivot can tell, and how it is shown.
PIVOTS: Mapping[str, tuple[Callable[[StandingTally], float], Any]] = {
    "share": (lambda t: t.share(), SHARE),
    "enquiries": (lambda t: t.total, WEIGHT),
    "unmet": (lambda t: t.unmet, WEIGHT),
    **{s.word: (_of(s), WEIGHT) for s in reversed(Standing)},
}


# -- data ----------------------------------------------------------------


def _tally(tally: StandingTally) -> dict[str, Any]:
    counts = {s.word: number(tally.of(s)) for s in sorted(Standing, reverse=True)}
    return {"enquiries": number(tally.total), **counts, "share": number(tally.share())}


def _unmet(coverage: Coverage) -> list[dict[str, Any]]:
    return [
        {"number": e.number, "standing": s.word, "weight": number(e.weight), "have": list(e.have)}
        for e, s in zip(coverage.enquiries, coverage.standings, strict=True)
        if s is not Standing.STOCK
    ]


def coverage_data(coverage: Coverage, by: Sequence[str]) -> dict[str, Any]:
    """Return the standing of enquiries in the shape that docs/commands.md describes."""
    answer: dict[str, Any] = {
        "total": _tally(coverage.total),
        "by": {n: {g: _tally(t) for g, t in coverage.by(n).items()} for n in by},
        "means": {n: glosses(coverage.catalogue, n) for n in by},
    }
    if len(by) == SIDES:
        matrix = coverage.matrix(*by)
        answer["matrix"] = {
            "rows": list(matrix.rows),
            "columns": list(matrix.columns),
            "cells": [
                {"row": r, "column": c, **_tally(tally)} for (r, c), tally in matrix.cells.items()
            ],
        }
    return answer | {
        "unmet": _unmet(coverage),
        "months": {m: _tally(t) for m, t in trend(coverage).items()},
        "left_out": unasked_data(coverage.left_out),
        "currency": coverage.catalogue.vocabulary.currency,
    }


def data(gaps: Gaps) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    amount = money_of(gaps.coverage.catalogue.vocabulary).data
    told = coverage_data(gaps.coverage, gaps.by)
    more = {
        "weak": weak_table([w for w in gaps.reliance.parts if w.enquiries]).entries(),
        "weak_pairs": weak_table(gaps.reliance.pairs).entries(),
        "builds": gaps.reliance.builds,
        "stranded": _stranded_table(gaps).entries(),
        "stranded_value": amount(sum(s.value or 0 for s in gaps.stranded)),
        "in_turn": {"served": number(gaps.in_turn.served), "share": number(gaps.in_turn.share)},
        "months_then": {m: _tally(t) for m, t in trend(gaps.then).items()},
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
    *("stranded_value", "months", "months_then", "left_out", "currency"),
)


# -- tables --------------------------------------------------------------


def _tallies(name: str, key: str, tallies: Mapping[str, StandingTally]) -> Table:
    order = sorted(Standing, reverse=True)
    return Table.of(
        name,
        list(tallies.items()),
        (Column(key), lambda pair: pair[0]),
        (Column("enquiries", WEIGHT, "asked"), lambda pair: pair[1].total),
        *((Column(s.word, WEIGHT, _HEADS[s]), lambda pair, s=s: pair[1].of(s)) for s in order),
        (Column("share", SHARE, "from stock"), lambda pair: pair[1].share()),
    )


def enquiries_table(coverage: Coverage) -> Table:
    """Return every enquiry with its standing and its groups."""
    catalogue = coverage.catalogue
    names = grouping_names(catalogue)
    keys = [grouper(catalogue, name) for name in names]
    taken: dict[str, tuple[Column, Callable[[Enquiry], Any]]] = {
        "number": (Column("number"), lambda e: e.number),
        "date": (Column("date", DATE), lambda e: e.date),
        "count": (Column("count", WEIGHT), lambda e: e.weight),
        "have": (Column("have", LIST), lambda e: e.have),
        "budget": (Column("budget", money_of(catalogue.vocabulary)), lambda e: e.budget),
        "max_mass_g": (Column("max_mass_g", MASS), lambda e: e.max_mass_g),
        "note": (Column("note"), lambda e: e.note),
    }
    columns = [c for c, _ in taken.values()]
    rows = [
        (
            *(take(e) for _, take in taken.values()),
            standing,
            *(key(e) for key in keys),
        )
        for e, standing in zip(coverage.enquiries, coverage.standings, strict=True)
    ]
    return Table(
        "enquiries", (*columns, Column("standing", WORD), *map(Column, names)), tuple(rows)
    )


def coverage_tables(coverage: Coverage, by: Sequence[str]) -> tuple[Table, ...]:
    """Return enquiries with their standing; counts by each grouping, and by month."""
    return (
        enquiries_table(coverage),
        *(_tallies(f"by_{n}", n, coverage.by(n)) for n in by),
        *([] if "month" in by else [_tallies("by_month", "month", trend(coverage))]),
    )


def pivot_table(coverage: Coverage, row: str, column: str, values: str) -> Table:
    """Return one figure of enquiries for every pair of groups; None where nobody asks.

    Raises
    ------
    NamingError
        If there is no such grouping.
    """
    take, unit = PIVOTS[values]
    matrix = coverage.matrix(row, column)
    rows = tuple(
        (r, *(take(matrix.cells[r, c]) if (r, c) in matrix.cells else None for c in matrix.columns))
        for r in matrix.rows
    )
    return Table(values, (Column(row), *(Column(c, unit) for c in matrix.columns)), rows)


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
        *coverage_tables(gaps.coverage, gaps.by),
        _stranded_table(gaps),
        weak_table([*gaps.reliance.parts, *gaps.reliance.pairs]),
    )


# -- for people ----------------------------------------------------------


def turn_text(turn: InTurn) -> str:
    """Return how many enquiries are served as pieces run out."""
    return f"{turn.served:g} ({SHARE.show(turn.share)}) first come, first served, as pieces run out"


def headline(total: StandingTally, turn: InTurn | None = None) -> str:
    """Return how many enquiries are served, and what becomes of the others."""
    if not total.total:
        return "No enquiries, so nothing is asked for."
    told = "" if turn is None else f"; {turn_text(turn)}"
    return (
        f"{total.of(Standing.STOCK):g} of {plural(total.total, 'enquiry', 'enquiries')} "
        f"({SHARE.show(total.share())}) can be built from stock, each taken alone, so that one "
        f"piece may serve many{told}; "
        f"{total.of(Standing.CATALOGUE):g} more by ordering, "
        f"{total.of(Standing.POSSIBLY):g} only if an unknown figure turns out well, "
        f"{total.of(Standing.NEITHER):g} with no part that is sold."
    )


def _matrix(coverage: Coverage, down: str, across: str) -> list[Block]:
    matrix, total = coverage.matrix(down, across), coverage.total
    of_row, of_column = coverage.by(down), coverage.by(across)

    def cells(name: str, tallies: Sequence[StandingTally]) -> tuple[str, ...]:
        met = (f"{t.total - t.unmet:g}/{t.total:g}" if t.total else "·" for t in tallies)
        return (name, *met)

    rows = [
        cells(row, [*(matrix.cell(row, column) for column in matrix.columns), of_row[row]])
        for row in matrix.rows
    ]
    rows.append(cells(_ALL, [*(of_column[column] for column in matrix.columns), total]))
    columns = (Column(down, TEXT, ""), *(Column(c, _RATIO) for c in (*matrix.columns, _ALL)))
    title = f"From stock, of all asked: {down} down, {across} across"
    return [Say(title, Tone.QUIET), Table("matrix", columns, tuple(rows))]


#: Figures that are told as "3/5".
_RATIO = Unit(str, str)


def coverage_blocks(coverage: Coverage, by: Sequence[str]) -> tuple[Block, ...]:
    """Return how many enquiries of each group are served, and what the groups mean."""
    if len(by) < SIDES:
        pieces: list[Block] = [_tallies(f"by_{by[0]}", by[0], coverage.by(by[0]))]
    else:
        pieces = _matrix(coverage, *by)
    for name in by:
        shown, told = coverage.by(name), glosses(coverage.catalogue, name)
        for group in [g for g in told if g in shown]:
            which = f"{group} ({name})" if group == OTHER else group
            pieces.append(Say(f"{which}: {told[group]}", Tone.QUIET, deep=1))
    return tuple(pieces)


def coverage_report(coverage: Coverage, by: Sequence[str]) -> Report:
    """Return how much of what is asked for can be built, for people."""
    blocks = (Section("", coverage_blocks(coverage, by)),) if coverage.enquiries else ()
    return Report(headline(coverage.total), blocks)


def stranded_text(one: Stranded, catalogue: Catalogue, most: int) -> str:
    """Return what a part held without a use lacks; of joints and parts so many are named."""
    joints = first_of((catalogue.vocabulary.joint(name).title for name in one.joints), most)
    order = f"to order: {first_of(map(catalogue.called, one.needs), most)}"
    if one.standing is Standing.CATALOGUE:
        return order
    if one.standing is Standing.POSSIBLY:
        told = f"{plural(len(one.joints), 'joint')} to be measured: {joints}"
        return f"{told}; {order}" if one.needs else told
    return f"nothing sold goes with it: {joints or 'a role has no part'}"


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


def report(gaps: Gaps, limit: int) -> Report:
    """Return the answer for people.

    Parameters
    ----------
    gaps : Gaps
        The answer.
    limit : int
        How many parts are listed of each sort.
    """
    coverage = gaps.coverage
    money, called = money_of(coverage.catalogue.vocabulary), coverage.catalogue.called
    pieces = list(coverage_report(coverage, gaps.by).blocks)
    weak = [w for w in gaps.reliance.parts if w.enquiries][:limit]
    weak += gaps.reliance.pairs[:limit]
    if weak:
        told = Table.of(
            "weak",
            weak,
            (Column("without"), lambda w: " and ".join(map(called, w.skus))),
            (Column("enquiries lost", WEIGHT), lambda w: w.together),
            (Column("builds lost", FINE_SHARE), lambda w: w.share),
        )
        pieces.append(Section("Much depends on (a pair: lost only if both go)", (told,)))
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
        pieces.append(Section(title, (shown,) if shown.rows else ()))
    months = _months(gaps)
    if months.rows:
        pieces.append(Section("Unmet over time", (months,)))
    pieces += unasked_lines(coverage.left_out, limit)
    return Report(headline(coverage.total, gaps.in_turn), tuple(pieces))
