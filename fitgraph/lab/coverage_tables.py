"""How much of what is asked for is served: by group, and by month."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from fitgraph.lab.long_table import long_table
from fitgraph.model import Catalogue
from fitgraph.plain import csv_text
from fitgraph.report.shelf import turn_text
from fitgraph.report.standing_words import MEANS, ORDER, SIGNS, WORDS, tally_text
from fitgraph.stock import Coverage, Matrix, OrderPlan, Standing, StandingTally, Stranded
from fitgraph.stock.groups import grouper
from fitgraph.stock.in_turn import InTurn


def standing_html(standing: Standing) -> str:
    """Return a standing as a sign with its word behind it."""
    return (
        f'<span class="fg-code"><span class="fg-sign" aria-hidden="true">{SIGNS[standing]}</span>'
        f"{WORDS[standing]}</span>"
    )


def standings_html(total: StandingTally) -> str:
    """Return how many enquiries are served, and what becomes of the others, as a table."""
    if not total.total:
        return (
            "<p>There are no enquiries in this catalogue, so nothing is asked for. Write some "
            "into its table enquiries.csv; docs/catalogue.md says how.</p>"
        )
    items = "".join(
        f"<tr><th scope='row'>{standing_html(s)}</th><td class='fg-figure' data-head='Enquiries'>"
        f"{total.of(s):g}</td><td class='fg-figure' data-head='Share'>{total.share(s):.0%}</td>"
        f"<td class='fg-figure'><span class='fg-swatch fg-piece-{n}' aria-hidden='true'></span>"
        f"</td><td>{MEANS[s]}</td></tr>"
        for n, s in enumerate(ORDER)
    )
    return (
        '<div tabindex="0" class="fg-scroll">'
        '<table class="fg-narrow fg-rows"><caption>Every enquiry, by the best that '
        "can be done for it. A row that stands for several enquiries counts as many.</caption>"
        '<thead><tr><th scope="col">Served</th><th scope="col" class="fg-figure">Enquiries</th>'
        '<th scope="col" class="fg-figure">Share</th><th scope="col">Drawn</th>'
        f'<th scope="col">There is</th></tr></thead><tbody>{items}</tbody></table></div>'
    )


def stock_verdict_html(
    total: StandingTally | None,
    plan: OrderPlan | None,
    held: Sequence[Stranded] | None,
    catalogue: Catalogue,
    turn: InTurn | None = None,
) -> str:
    """Return in one line what is served, what orders would add, and what is stranded.

    Parameters
    ----------
    total : StandingTally or None
        All enquiries; None while that is worked out.
    plan : OrderPlan or None
        The orders shown; None while they are looked for.
    held : sequence of Stranded or None
        Parts held without a use; None while they are looked for.
    catalogue : Catalogue
        Gives the currency.
    turn : InTurn, optional
        Who is served as pieces run out; None while that is worked out.
    """
    if total is None:
        return '<p role="status">Asking what can be served …</p>'
    if not total.total:
        return '<p role="status">There are no enquiries in this catalogue.</p>'
    told = [
        f"<strong>{total.of(Standing.STOCK):g} of {total.total:g}</strong> enquiries "
        f"({total.share():.0%}) can be built from stock, each taken alone: one piece may serve many"
    ]
    if turn is not None:
        told.append(turn_text(turn))
    if plan is not None and plan.lines:
        told.append(
            f"{escape(catalogue.vocabulary.money(plan.cost))} of orders serve "
            f"{plan.served - plan.before:g} more"
        )
    if held:
        worth = escape(catalogue.vocabulary.money(sum(s.value or 0 for s in held)))
        told.append(f"{len(held)} parts stranded, worth {worth}")
    return f'<p role="status">{"; ".join(told)}.</p>'


def cell(tally: StandingTally, shown: Standing | None, where: str) -> dict[str, object] | None:
    """Return a cell of the matrix, None for an empty one.

    Parameters
    ----------
    tally : StandingTally
        Its enquiries.
    shown : Standing or None
        What its figure counts; None for all that stock does not serve.
    where : str
        Its row and column, read out.
    """
    if not tally.total:
        return None
    number = tally.unmet if shown is None else tally.of(shown)
    return {
        "text": f"{number:g} of {tally.total:g}",
        "small": f"{number / tally.total:.0%}",
        "label": f"{where}: {tally_text(tally)}",
        "parts": [tally.of(s) for s in ORDER],
    }


def _sum_of(tallies: Iterable[StandingTally]) -> StandingTally:
    rows = [t.weights for t in tallies]
    return StandingTally(tuple(map(sum, zip(*rows, strict=True)))) if rows else StandingTally()


def cells(
    matrix: Matrix, shown: Standing | None
) -> tuple[list[str], list[str], list[list[dict[str, object] | None]]]:
    """Return keys of rows and columns, the last of each for all together, and the cells."""
    rows, columns = [*matrix.rows, ""], [*matrix.columns, ""]

    def of(row: str, column: str) -> StandingTally:
        if row and column:
            return matrix.cell(row, column)
        spots = [t for (r, c), t in matrix.cells.items() if row in ("", r) and column in ("", c)]
        return _sum_of(spots)

    return (
        rows,
        columns,
        [[cell(of(r, c), shown, f"{r or 'all'}, {c or 'all'}") for c in columns] for r in rows],
    )


def matrix_csv(matrix: Matrix) -> str:
    """Return a matrix as CSV: a row a cell."""
    heads = [*matrix.by, "enquiries", *(WORDS[s].replace(" ", "_") for s in ORDER), "share"]
    return csv_text(
        heads,
        [
            [row, column, t.total, *(t.of(s) for s in ORDER), round(t.share(), 4)]
            for (row, column), t in matrix.cells.items()
        ],
    )


def enquiries_csv(coverage: Coverage, names: Sequence[str]) -> str:
    """Return every enquiry with its standing and its groups as CSV."""
    catalogue = coverage.catalogue
    keys = [grouper(catalogue, name) for name in names]
    heads = ["number", "date", "count", "standing", "style", "owned", "budget", "max_mass_g"]
    heads += ["material", "note", *(f"by_{name}" for name in names)]
    rows: list[Sequence[str | float | None]] = []
    for e, s in zip(coverage.enquiries, coverage.standings, strict=True):
        rows.append(
            [
                e.number,
                "" if e.date is None else e.date.isoformat(),
                e.weight,
                s.word,
                e.style,
                " ".join(e.have),
                None if e.budget is None else catalogue.vocabulary.plain_money(e.budget),
                e.max_mass_g,
                e.material or "",
                e.note,
                *(key(e) for key in keys),
            ]
        )
    return csv_text(heads, rows)


def glosses_html(groups: Sequence[tuple[str, str]]) -> str:
    """Return what the names of groups mean, as a list of terms."""
    if not groups:
        return ""
    items = "".join(f"<li>{escape(name)}: {escape(text)}</li>" for name, text in groups)
    return f'<ul class="fg-note">{items}</ul>'


def trend_html(
    months: Sequence[str], series: Mapping[str, Sequence[float]], asked: Sequence[float]
) -> str:
    """Return the trend chart's figures as a table that opens on demand."""
    heads = [("Month", False), *((name, True) for name in series), ("unmet", True), ("asked", True)]
    rows = []
    for n, month in enumerate(months):
        values = [of[n] for of in series.values()]
        figures = [*values, sum(values), asked[n]]
        rows.append([escape(month), *(f"{v:g}" for v in figures)])
    inner = long_table("Enquiries that stock does not serve, by month", heads, rows, len(rows))
    return f"<details><summary>The chart as a table</summary>{inner}</details>"


def trend_csv(
    months: Sequence[str], series: Mapping[str, Sequence[float]], asked: Sequence[float]
) -> str:
    """Return the same as CSV."""
    rows: list[Sequence[str | float | None]] = [
        [month, *(of[n] for of in series.values()), asked[n]] for n, month in enumerate(months)
    ]
    return csv_text(["month", *(f"unmet: {name}" for name in series), "asked"], rows)
