"""What would change if some parts were made: who is served, and what can be built."""

from __future__ import annotations

from collections.abc import Sequence

from fitgraph.adapters import Worth
from fitgraph.report.blocks import Block, Say, say_all
from fitgraph.report.made_parts import ENQUIRIES
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import THOUSANDS, Unit, number
from fitgraph.stock import Coverage, Standing, StandingTally
from fitgraph.stock.groups import grouping_names
from fitgraph.wording import plural

#: How many more, a dash where it is the same.
_MORE = Unit(lambda more: f"{more:+,g}", number, blank="–")


def _served_table(before: Coverage, after: Coverage) -> Table:
    """Return who is served without and with the parts, by the first grouping."""
    groups = before.catalogue.vocabulary.groups
    by = next(iter(groups), grouping_names(before.catalogue)[0])
    title = groups[by].title if by in groups else by

    def served(tally: StandingTally, least: Standing) -> float:
        return sum(tally.of(s) for s in Standing if s >= least)

    old, rows = before.by(by), []
    for name, was, now in (
        ("all", before.total, after.total),
        *((group, old[group], tally) for group, tally in after.by(by).items()),
    ):
        figures = [served(t, s) for s in (Standing.CATALOGUE, Standing.STOCK) for t in (was, now)]
        rows.append((name, *figures, figures[1] - figures[0] or None, was.total))
    return Table(
        "before_after",
        (
            Column("group", title=title),
            *(Column("before", THOUSANDS, "served before"), Column("after", THOUSANDS, "with it")),
            Column("stock_before", THOUSANDS, "from stock before"),
            *(Column("stock_after", THOUSANDS, "with it"), Column("change", _MORE)),
            Column("of", THOUSANDS),
        ),
        tuple(rows),
        title=f"Served from the catalogue and from stock, by {title}",
        whole=True,
    )


def if_made(
    before: tuple[Coverage, int],
    after: tuple[Coverage, int],
    added: Sequence[tuple[str, Worth]],
) -> tuple[Block, ...]:
    """Return coverage and builds without and with some parts, and what each takes from others.

    Parameters
    ----------
    before, after : tuple of (Coverage, int)
        The standing of all enquiries and the number of builds.
    added : sequence of (str, Worth)
        What each is called, and what it was worth beside those before it.
    """
    (was, builds_were), (now, builds_are) = before, after
    more = builds_are - builds_were
    taken = (
        f"The {title} takes {plural(worth.taken, *ENQUIRIES)} from its like, and an existing part "
        f"joins {worth.shared:,} of its {plural(worth.builds, 'build')} as well."
        for title, worth in added
    )
    return (
        Say(f"Builds: {builds_were:,} before, {builds_are:,} with what was added ({more:+,})."),
        _served_table(was, now),
        *say_all(taken, deep=0),
    )
