"""How much of what is asked for is served: by group, and by month."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

from markupsafe import Markup

from fitgraph.lab.tables import long_table, status
from fitgraph.model import Catalogue
from fitgraph.report.standing_words import MEANS, ORDER, SIGNS, WORDS, tally_text
from fitgraph.report.tables import Column, Table
from fitgraph.report.tallies import NO_ENQUIRIES, alone_text, turn_text
from fitgraph.report.values import FINE_SHARE, SHARE, WEIGHT
from fitgraph.stock import Matrix, OrderPlan, Standing, StandingTally, Stranded
from fitgraph.stock.in_turn import InTurn
from fitgraph.wording import plural


def standing_html(standing: Standing) -> str:
    """Return a standing as a sign with its word behind it."""
    return (
        f'<span class="fg-code"><span class="fg-sign" aria-hidden="true">{SIGNS[standing]}</span>'
        f"{WORDS[standing]}</span>"
    )


def standings_html(total: StandingTally) -> str:
    """Return how many enquiries are served, and what becomes of the others, as a table."""
    if not total.total:
        return f"<p>{NO_ENQUIRIES}</p>"
    swatch = Markup('<span class="fg-swatch fg-piece-{}" aria-hidden="true"></span>')
    table = Table.of(
        "standings",
        list(enumerate(ORDER)),
        (Column("served", title="Served"), lambda row: Markup(standing_html(row[1]))),
        (Column("enquiries", WEIGHT, "Enquiries"), lambda row: total.of(row[1])),
        (Column("share", SHARE, "Share"), lambda row: total.share(row[1])),
        (Column("drawn", title="Drawn"), lambda row: swatch.format(row[0])),
        (Column("means", title="There is"), lambda row: MEANS[row[1]]),
        title="Every enquiry, by the best that can be done for it. A row that stands for several "
        "enquiries counts as many.",
    )
    return long_table(table)


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
        return status("Asking what can be served …")
    if not total.total:
        return status("There are no enquiries in this catalogue.")
    loud = f"{total.of(Standing.STOCK):g} of {total.total:g}"
    told = [f"<strong>{loud}</strong>{alone_text(total).removeprefix(loud)}"]
    if turn is not None:
        told.append(turn_text(turn))
    if plan is not None and plan.lines:
        told.append(
            f"{escape(catalogue.vocabulary.money(plan.cost))} of orders serve "
            f"{plan.served - plan.before:g} more"
        )
    if held:
        worth = escape(catalogue.vocabulary.money(sum(s.value or 0 for s in held)))
        told.append(f"{plural(len(held), 'part')} stranded, worth {worth}")
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


def cells(
    matrix: Matrix, shown: Standing | None
) -> tuple[list[str], list[str], list[list[dict[str, object] | None]]]:
    """Return keys of rows and columns, the last of each for all together, and the cells."""
    rows, columns = [*matrix.rows, ""], [*matrix.columns, ""]
    found = [
        [cell(matrix.cell(r, c), shown, f"{r or 'all'}, {c or 'all'}") for c in columns]
        for r in rows
    ]
    return rows, columns, found


def matrix_table(matrix: Matrix) -> Table:
    """Return a matrix as rows: one a cell."""
    standings = (Column(WORDS[s].replace(" ", "_"), WEIGHT) for s in ORDER)
    columns = (*map(Column, matrix.by), Column("enquiries", WEIGHT), *standings)
    rows = tuple(
        (row, column, t.total, *(t.of(s) for s in ORDER), t.share())
        for (row, column), t in matrix.cells.items()
    )
    return Table("matrix", (*columns, Column("share", FINE_SHARE)), rows)


def glosses_html(groups: Sequence[tuple[str, str]]) -> str:
    """Return what the names of groups mean, as a list of terms."""
    if not groups:
        return ""
    items = "".join(f"<li>{escape(name)}: {escape(text)}</li>" for name, text in groups)
    return f'<ul class="fg-note">{items}</ul>'


def trend_table(
    months: Sequence[str], series: Mapping[str, Sequence[float]], asked: Sequence[float]
) -> Table:
    """Return the trend chart's figures: a row a month."""
    groups = list(series.values())
    rows = tuple(
        (month, *(of[n] for of in groups), sum(of[n] for of in groups), asked[n])
        for n, month in enumerate(months)
    )
    columns = (
        Column("month", title="Month"),
        *(Column(f"unmet: {name}", WEIGHT, name) for name in series),
        *(Column("unmet", WEIGHT), Column("asked", WEIGHT)),
    )
    return Table("months", columns, rows, "Enquiries that stock does not serve, by month")
