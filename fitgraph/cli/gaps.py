"""``fitgraph gaps``: what is asked for and cannot be built, what is held and cannot be used."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder
from fitgraph.cli.output import ANSWER, BadInputError, number, screen, show, show_json, styled
from fitgraph.cli.reading import read, remark_findings
from fitgraph.units import major, show_money

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.model import Vocabulary
    from fitgraph.stock import Coverage, Reliance, Stranded, Tally, Weak

#: Groupings are shown side by side up to two.
_SIDES = 2

#: What sums of all groups are headed with.
_ALL = "all"

#: So many joints of a part are named, the rest counted; JSON has all.
_NAMED = 2


@dataclass(frozen=True, slots=True)
class Gaps:
    """Everything the command tells.

    Parameters
    ----------
    coverage : Coverage
        The standing of every enquiry, against today's shelf.
    then : Coverage
        The same against the shelf of each enquiry's day, where it was counted.
    stranded : tuple of Stranded
        Parts held without a use.
    reliance : Reliance
        Parts on which much depends.
    by : tuple of str
        One or two groupings.
    """

    coverage: Coverage
    then: Coverage
    stranded: tuple[Stranded, ...]
    reliance: Reliance
    by: tuple[str, ...]

    @property
    def vocabulary(self) -> Vocabulary:
        """Return the words and the currency."""
        return self.coverage.catalogue.vocabulary


def _tally(tally: Tally) -> dict[str, Any]:
    from fitgraph.stock import Standing

    counts = {s.word: number(tally.of(s)) for s in sorted(Standing, reverse=True)}
    return {"enquiries": number(tally.total), **counts, "share": number(tally.share())}


def _weak(weak: Weak) -> dict[str, Any]:
    return {
        "parts": list(weak.skus),
        "enquiries": number(weak.enquiries),
        "together": number(weak.together),
        "builds": weak.builds,
        "share": number(weak.share),
    }


def as_json(gaps: Gaps) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    from fitgraph.stock import trend

    coverage, digits = gaps.coverage, gaps.vocabulary.minor_digits
    answer: dict[str, Any] = {
        "total": _tally(coverage.total),
        "by": {n: {g: _tally(t) for g, t in coverage.by(n).items()} for n in gaps.by},
        "means": {n: meanings(gaps, n) for n in gaps.by},
    }
    if len(gaps.by) == _SIDES:
        matrix = coverage.matrix(*gaps.by)
        answer["matrix"] = {
            "rows": list(matrix.rows),
            "columns": list(matrix.columns),
            "cells": [
                {"row": r, "column": c, **_tally(tally)} for (r, c), tally in matrix.cells.items()
            ],
        }
    answer["unmet"] = [
        {"number": e.number, "standing": s.word, "weight": number(e.weight), "have": list(e.have)}
        for e, s in zip(coverage.enquiries, coverage.standings, strict=True)
        if s.word != "stock"
    ]
    answer["weak"] = [_weak(w) for w in gaps.reliance.parts if w.enquiries]
    answer["weak_pairs"] = [_weak(w) for w in gaps.reliance.pairs]
    answer["builds"] = gaps.reliance.builds
    answer["stranded"] = [
        {
            "sku": s.sku,
            "pieces": s.pieces,
            "value": None if s.value is None else major(s.value, digits),
            "standing": s.standing.word,
            "needs": list(s.needs),
            "joints": list(s.joints),
        }
        for s in gaps.stranded
    ]
    answer["stranded_value"] = major(sum(s.value or 0 for s in gaps.stranded), digits)
    answer["months"] = {m: _tally(t) for m, t in trend(coverage).items()}
    answer["months_then"] = {m: _tally(t) for m, t in trend(gaps.then).items()}
    answer["left_out"] = [{"number": x.number, "why": x.why} for x in coverage.left_out]
    answer["currency"] = gaps.vocabulary.currency
    return answer


def _percent(share: float) -> str:
    return f"{share:.0%}"


def _headline(total: Tally) -> str:
    from fitgraph.stock import Standing

    if not total.total:
        return "No enquiries, so nothing is asked for."
    return (
        f"{total.of(Standing.STOCK):g} of {total.total:g} enquiries "
        f"({_percent(total.share())}) can be built from stock; "
        f"{total.of(Standing.CATALOGUE):g} more by ordering, "
        f"{total.of(Standing.POSSIBLY):g} only if an unknown figure turns out well, "
        f"{total.of(Standing.NEITHER):g} with no part that is sold."
    )


def grid(heads: Sequence[str], rows: Sequence[Sequence[str]], left: int = 1) -> RenderableType:
    """Return a plain table: so many columns to the left, the others to the right."""
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for n, head in enumerate(heads):
        table.add_column(styled(head), justify="left" if n < left else "right", overflow="fold")
    for row in rows:
        table.add_row(*map(styled, row))
    return table


def _tallies(tallies: Mapping[str, Tally], head: str) -> RenderableType:
    from fitgraph.stock import Standing

    order = sorted(Standing, reverse=True)
    rows = [
        [f"  {name}", f"{t.total:g}", *(f"{t.of(s):g}" for s in order), _percent(t.share())]
        for name, t in tallies.items()
    ]
    return grid([f"  {head}", "asked", "stock", "to order", "perhaps", "no", "from stock"], rows)


def _coverage_lines(gaps: Gaps) -> list[RenderableType]:
    if len(gaps.by) < _SIDES:
        return [_tallies(gaps.coverage.by(gaps.by[0]), gaps.by[0])]
    down, across = gaps.by
    matrix, total = gaps.coverage.matrix(down, across), gaps.coverage.total
    of_row, of_column = gaps.coverage.by(down), gaps.coverage.by(across)

    def cells(name: str, tallies: Sequence[Tally]) -> list[str]:
        met = [f"{t.total - t.unmet:g}/{t.total:g}" if t.total else "·" for t in tallies]
        return [f"  {name}", *met]

    rows = [
        cells(row, [*(matrix.cell(row, column) for column in matrix.columns), of_row[row]])
        for row in matrix.rows
    ]
    rows.append(cells(_ALL, [*(of_column[column] for column in matrix.columns), total]))
    title = f"From stock, of all asked: {down} down, {across} across"
    return [styled(title, "dim"), grid(["", *matrix.columns, _ALL], rows)]


def _meanings(gaps: Gaps) -> list[RenderableType]:
    """Return what the groups shown mean, those whose names do not say it."""
    from fitgraph.graph.kinds import OTHER

    found: list[RenderableType] = []
    for name in gaps.by:
        shown, told = gaps.coverage.by(name), meanings(gaps, name)
        for group in [g for g in told if g in shown]:
            which = f"{group} ({name})" if group == OTHER else group
            found.append(styled(f"  {which}: {told[group]}", "dim"))
    return found


def meanings(gaps: Gaps, name: str) -> dict[str, str]:
    """Return what each group of a grouping means, as far as the vocabulary says it."""
    from fitgraph.explain.glosses import glosses

    return glosses(gaps.coverage.catalogue, name)


def lines_of(gaps: Gaps, limit: int) -> list[RenderableType]:
    """Return the answer for people.

    Parameters
    ----------
    gaps : Gaps
        The answer.
    limit : int
        How many parts are listed of each sort.
    """
    from fitgraph.stock import trend

    coverage, vocabulary = gaps.coverage, gaps.vocabulary
    lines: list[RenderableType] = [styled(_headline(coverage.total), "bold")]
    if coverage.enquiries:
        lines += ["", *_coverage_lines(gaps), *_meanings(gaps)]
    weak = [w for w in gaps.reliance.parts if w.enquiries][:limit]
    weak += gaps.reliance.pairs[:limit]
    if weak:
        rows = [[f"  {' and '.join(w.skus)}", f"{w.together:g}", f"{w.share:.1%}"] for w in weak]
        heads = ["  without", "enquiries lost", "builds lost"]
        lines += ["", styled("Much depends on (a pair: lost only if both go)"), grid(heads, rows)]
    if gaps.stranded:
        value = sum(s.value or 0 for s in gaps.stranded)
        money = show_money(value, vocabulary.currency, vocabulary.minor_digits)
        pieces = sum(s.pieces for s in gaps.stranded)
        lines += [
            "",
            styled(
                f"Held without a use: {len(gaps.stranded)} parts, {pieces} pieces, {money} at "
                "selling prices"
            ),
        ]
    if gaps.stranded[:limit]:
        rows = [_stranded(s, vocabulary) for s in gaps.stranded[:limit]]
        lines.append(grid(["  part", "what it lacks", "pieces", "worth"], rows, left=2))
    months, then = trend(coverage), trend(gaps.then)
    if months:
        rows = [
            [
                f"  {month}",
                f"{tally.total:g}",
                f"{tally.unmet:g}",
                f"{then[month].unmet:g}" if month in then else "·",
            ]
            for month, tally in months.items()
        ]
        heads = ["  month", "asked", "unmet by today's shelf", "by that day's"]
        lines += ["", styled("Unmet over time"), grid(heads, rows)]
    for one in coverage.left_out[:limit]:
        lines.append(styled(f"Left out: enquiry {one.number}: {one.why}", "dim"))
    return lines


def _first(titles: Sequence[str]) -> str:
    """Return the first of some joints, and how many there are beside them."""
    more = len(titles) - _NAMED
    named = ", ".join(titles[:_NAMED])
    return f"{named} and {more} more" if more > 0 else named


def _stranded(one: Stranded, vocabulary: Vocabulary) -> list[str]:
    titles = [vocabulary.joint(name).title for name in one.joints]
    lacks = {
        "catalogue": f"order {', '.join(one.needs)}",
        "possibly": f"to be measured: {_first(titles)}",
        "neither": f"nothing sold goes with it: {_first(titles) or 'a role has no part'}",
    }[one.standing.word]
    worth = "?"
    if one.value is not None:
        worth = show_money(one.value, vocabulary.currency, vocabulary.minor_digits)
    return [f"  {one.sku}", lacks, str(one.pieces), worth]


def gaps(
    catalogue: CatalogueFolder = None,
    by: Annotated[
        list[str] | None,
        typer.Option(
            "--by",
            metavar="NAME",
            help="Group enquiries by style, material, month or a group of the vocabulary; "
            "two make a matrix.",
        ),
    ] = None,
    limit: Annotated[
        int, typer.Option(metavar="K", min=0, max=1000, help="How many parts to list of a sort.")
    ] = 8,
    workers: Annotated[
        int, typer.Option(metavar="N", min=1, max=64, help="Processes to share the work.")
    ] = 1,
    json: AsJson = False,
) -> None:
    """Show what is asked for and cannot be built, and what is held and cannot be used."""
    from fitgraph.solve import TreeEngine
    from fitgraph.stock import coverage, coverage_then, grouping_names, reliance, stranded

    loaded = read(catalogue)
    known = loaded.catalogue
    names = grouping_names(known)
    wanted = tuple(dict.fromkeys(n.strip().lower() for n in by or ()))
    for name in wanted:
        if name not in names:
            raise BadInputError(f"--by {name!r} is no grouping; use one of {', '.join(names)}")
    if len(wanted) > _SIDES:
        raise BadInputError("--by can be given twice at most")
    shown = wanted or ("material", next(iter(known.vocabulary.groups), "style"))
    engine = TreeEngine(known)
    pool = nullcontext() if workers == 1 else ProcessPoolExecutor(workers)
    with pool as executor, screen(error=True).status("asking") as status:

        def tell(done: int, total: int) -> None:
            status.update(f"{done:,} of {total:,} questions")

        found = Gaps(
            coverage(engine, executor=executor, progress=tell),
            coverage_then(engine, loaded.supply.counts, executor=executor, progress=tell),
            stranded(engine),
            reliance(engine, executor=executor, progress=tell),
            shown,
        )
    if json:
        show_json({**as_json(found), "findings": len(loaded.findings)})
    else:
        remark_findings(loaded, catalogue)
        show(*lines_of(found, limit))
    raise typer.Exit(ANSWER)
