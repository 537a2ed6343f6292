"""Enquiries that stock does not serve, by month."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from fitgraph.records import dataclass
from fitgraph.report.standing_words import ORDER, WORDS
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import WEIGHT
from fitgraph.stock import Coverage, Standing, trend
from fitgraph.wording import plural

#: Splits a month's enquiries by standing, not by a grouping.
BY_STANDING = "standing"


@dataclass(frozen=True, slots=True)
class Unmet:
    """How many enquiries stock does not serve in each month.

    Parameters
    ----------
    months : tuple of str
        In order.
    series : mapping of str to tuple of float
        Those of each group, a number a month.
    asked : tuple of float
        All enquiries.
    """

    months: tuple[str, ...]
    series: Mapping[str, tuple[float, ...]]
    asked: tuple[float, ...]

    @property
    def total(self) -> tuple[float, ...]:
        """Return those of all groups, a number a month."""
        return tuple(map(sum, zip(*self.series.values(), strict=True))) or (0.0,) * len(self.months)


def unmet_by_month(coverage: Coverage, by: str) -> Unmet:
    """Return how many enquiries stock does not serve in each month.

    Parameters
    ----------
    coverage : Coverage
        Standings of enquiries; those without a date are left out.
    by : str
        A grouping, or :data:`BY_STANDING`.
    """
    tallies = trend(coverage)
    if by == BY_STANDING:
        kinds = [s for s in ORDER if s is not Standing.STOCK]
        series = {WORDS[s]: tuple(t.of(s) for t in tallies.values()) for s in kinds}
    else:
        matrix = coverage.matrix("month", by)
        series = {g: tuple(matrix.cell(m, g).unmet for m in tallies) for g in matrix.columns}
    kept = {name: values for name, values in series.items() if any(values)}
    return Unmet(tuple(tallies), kept, tuple(t.total for t in tallies.values()))


def months_table(unmet: Unmet) -> Table:
    """Return a row a month, with the enquiries of each group, of all, and those asked."""
    rows = zip(unmet.months, *unmet.series.values(), unmet.total, unmet.asked, strict=True)
    columns = (
        Column("month"),
        *(Column(f"unmet: {name}", WEIGHT, name) for name in unmet.series),
        *(Column("unmet", WEIGHT), Column("asked", WEIGHT)),
    )
    title = "Enquiries that stock does not serve, by month"
    return Table("months", columns, tuple(rows), title, whole=True)


def months_text(unmet: Unmet) -> str:
    """Return how many dated enquiries are not served, and in which month the most."""
    worst = max(range(len(unmet.months)), key=lambda n: unmet.total[n])
    dated = plural(sum(unmet.asked), "enquiry with a date is", "enquiries with a date are")
    return (
        f"{sum(unmet.total):g} of {dated} not served, most of them in {unmet.months[worst]}: "
        f"{unmet.total[worst]:g} of {unmet.asked[worst]:g}."
    )


#: A figure for days on which nobody counted.
_SEEN = replace(WEIGHT, blank="·")


def by_shelf(today: Coverage, then: Coverage) -> Table:
    """Return enquiries a month that stock does not serve, by two shelves.

    Parameters
    ----------
    today, then : Coverage
        Standings against today's shelf, and against the shelf of each enquiry's day.
    """
    seen = trend(then)
    return Table.of(
        "months",
        list(trend(today).items()),
        (Column("month"), lambda pair: pair[0]),
        (Column("enquiries", WEIGHT, "asked"), lambda pair: pair[1].total),
        (Column("unmet", WEIGHT, "unmet by today's shelf"), lambda pair: pair[1].unmet),
        (
            Column("unmet_then", _SEEN, "by that day's"),
            lambda pair: seen[pair[0]].unmet if pair[0] in seen else None,
        ),
    )
