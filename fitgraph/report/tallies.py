"""How much of what is asked for can be built: each enquiry, by group, and by month."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

from fitgraph.explain.glosses import glosses, titles
from fitgraph.graph.groupings import OTHER
from fitgraph.model import Catalogue, Enquiry
from fitgraph.report.blocks import Block, Report, Say, Section, Tone, say_all
from fitgraph.report.standing_words import MEANS, ORDER, WORDS, of_all, signed
from fitgraph.report.tables import Column, Table
from fitgraph.report.unasked import unasked_data, without_lines
from fitgraph.report.values import (
    DATE,
    LIST,
    MASS,
    SHARE,
    TEXT,
    TOLD,
    WEIGHT,
    WORD,
    money_of,
    number,
)
from fitgraph.stock import Coverage, Matrix, Standing, StandingTally, trend
from fitgraph.stock.groups import grouper, grouping_names
from fitgraph.stock.in_turn import InTurn

#: Groupings are shown side by side up to two.
SIDES = 2


#: What sums of all groups are headed with.
_ALL = "all"


#: Said where nobody asks for anything.
NO_ENQUIRIES = (
    "There are no enquiries in this catalogue, so nothing is asked for. Write some into its table "
    "enquiries.csv; docs/catalogue.md says how."
)


def _of(standing: Standing) -> Callable[[StandingTally], float]:
    return lambda tally: tally.of(standing)


#: What a cell of a pivot can tell, and how it is shown.
PIVOTS: Mapping[str, tuple[Callable[[StandingTally], float], Any]] = {
    "share": (lambda t: t.share(), SHARE),
    "enquiries": (lambda t: t.total, WEIGHT),
    "unmet": (lambda t: t.unmet, WEIGHT),
    **{s.word: (_of(s), WEIGHT) for s in reversed(Standing)},
}


def tally_data(tally: StandingTally) -> dict[str, Any]:
    counts = {s.word: number(tally.of(s)) for s in sorted(Standing, reverse=True)}
    return {"enquiries": number(tally.total), **counts, "share": number(tally.share())}


def _unmet(coverage: Coverage) -> list[dict[str, Any]]:
    return [
        {"number": e.number, "standing": s.word, "weight": number(e.weight), "have": list(e.have)}
        for e, s in zip(coverage.enquiries, coverage.standings, strict=True)
        if s is not Standing.STOCK
    ]


def data(coverage: Coverage, by: Sequence[str]) -> dict[str, Any]:
    """Return the standing of enquiries in the shape that docs/commands.md describes."""
    answer: dict[str, Any] = {
        "total": tally_data(coverage.total),
        "by": {n: {g: tally_data(t) for g, t in coverage.by(n).items()} for n in by},
        "means": {n: glosses(coverage.catalogue, n) for n in by},
    }
    if len(by) == SIDES:
        matrix = coverage.matrix(*by)
        answer["matrix"] = {
            "rows": list(matrix.rows),
            "columns": list(matrix.columns),
            "cells": [
                {"row": r, "column": c, **tally_data(tally)}
                for (r, c), tally in matrix.cells.items()
            ],
        }
    return answer | {
        "unmet": _unmet(coverage),
        "months": {m: tally_data(t) for m, t in trend(coverage).items()},
        "left_out": unasked_data(coverage.left_out),
        "told_without": list(coverage.told_without),
        "currency": coverage.catalogue.vocabulary.currency,
    }


def _tallies(name: str, by: Sequence[str], tallies: Mapping[Any, StandingTally]) -> Table:
    """Return enquiries by standing for each group, or for each pair of groups."""
    return Table.of(
        name,
        list(tallies.items()),
        *((Column(key), lambda pair, n=n: pair[0][n]) for n, key in enumerate(by)),
        (Column("enquiries", WEIGHT, "asked"), lambda pair: pair[1].total),
        *((Column(s.word, WEIGHT, WORDS[s]), lambda pair, s=s: pair[1].of(s)) for s in ORDER),
        (Column("share", SHARE), lambda pair: pair[1].share()),
    )


def _by_month(coverage: Coverage) -> Table:
    return _tallies("by_month", ("month",), {(m,): t for m, t in trend(coverage).items()})


def _by(coverage: Coverage, name: str) -> Table:
    return _tallies(f"by_{name}", (name,), {(g,): t for g, t in coverage.by(name).items()})


def matrix_table(matrix: Matrix) -> Table:
    """Return a matrix as rows: one a cell."""
    return _tallies("matrix", matrix.by, matrix.cells)


def standings_table(total: StandingTally) -> Table:
    """Return how many enquiries are served, and what becomes of the others."""
    return Table.of(
        "standings",
        ORDER,
        (Column("served", WORD), signed),
        (Column("enquiries", WEIGHT), total.of),
        (Column("share", SHARE), total.share),
        (Column("means", title="there is"), MEANS.__getitem__),
        title="Every enquiry, by the best that can be done for it. A row that stands for several "
        "enquiries counts as many.",
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


def tables(coverage: Coverage, by: Sequence[str]) -> tuple[Table, ...]:
    """Return enquiries with their standing; counts by each grouping, and by month."""
    return (
        enquiries_table(coverage),
        *(_by(coverage, n) for n in by),
        *([matrix_table(coverage.matrix(*by))] if len(by) == SIDES else []),
        *([] if "month" in by else [_by_month(coverage)]),
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


def turn_text(turn: InTurn) -> str:
    """Return how many enquiries are served as pieces run out."""
    return f"{turn.served:g} ({SHARE.show(turn.share)}) first come, first served, as pieces run out"


def alone_text(total: StandingTally) -> str:
    """Return how many enquiries are served from stock, each as if it came alone."""
    return (
        f"{of_all(total.of(Standing.STOCK), total.total)} can be built from stock, each taken "
        "alone, so that one piece may serve many"
    )


def headline(total: StandingTally, turn: InTurn | None = None) -> str:
    """Return how many enquiries are served, and what becomes of the others."""
    if not total.total:
        return NO_ENQUIRIES
    told = "" if turn is None else f"; {turn_text(turn)}"
    return (
        f"{alone_text(total)}{told}; {total.of(Standing.CATALOGUE):g} more by ordering, "
        f"{total.of(Standing.POSSIBLY):g} only if an unknown figure turns out well, "
        f"{total.of(Standing.NEITHER):g} with no part that is sold."
    )


def _matrix(coverage: Coverage, down: str, across: str) -> list[Block]:
    matrix = coverage.matrix(down, across)

    def met(tally: StandingTally) -> str:
        return f"{tally.total - tally.unmet:g}/{tally.total:g}" if tally.total else "·"

    rows = [
        (row or _ALL, *(met(matrix.cell(row, column)) for column in (*matrix.columns, "")))
        for row in (*matrix.rows, "")
    ]
    columns = (Column(down, TEXT, ""), *(Column(c, TOLD) for c in (*matrix.columns, _ALL)))
    title = f"From stock, of all asked: {down} down, {across} across"
    return [Say(title, Tone.QUIET), Table("matrix", columns, tuple(rows))]


def meanings(catalogue: Catalogue, name: str, present: Collection[str]) -> list[str]:
    """Return what those groups of a grouping mean that are there, and do not say it themselves."""
    title = titles(catalogue)[name]
    return [
        f"{group} ({title}): {text}" if group == OTHER else f"{group}: {text}"
        for group, text in glosses(catalogue, name).items()
        if group in present
    ]


def _blocks(coverage: Coverage, by: Sequence[str]) -> tuple[Block, ...]:
    """Return how many enquiries of each group are served, and what the groups mean."""
    if len(by) < SIDES:
        pieces: list[Block] = [_by(coverage, by[0])]
    else:
        pieces = _matrix(coverage, *by)
    for name in by:
        pieces += say_all(meanings(coverage.catalogue, name, coverage.by(name)), Tone.QUIET)
    return tuple(pieces)


def report(coverage: Coverage, by: Sequence[str]) -> Report:
    """Return how much of what is asked for can be built, for people."""
    blocks = (Section("", _blocks(coverage, by)),) if coverage.enquiries else ()
    return Report(headline(coverage.total), (*blocks, *without_lines(coverage.told_without)))
