"""What remains of each role after a choice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fitgraph.model import Catalogue, Verdict
from fitgraph.report.blocks import Block, Report, Section, quiet
from fitgraph.report.tables import Column, Table
from fitgraph.report.unasked import without_lines
from fitgraph.report.values import (
    COUNT,
    LIST,
    WORD,
    Unit,
)
from fitgraph.wording import plural

if TYPE_CHECKING:
    from fitgraph.explain.standing import PartStanding


#: Numbers of which none stands out.
_SOME = Unit(lambda n: f"{n:,}" if n else "\N{EN DASH}", int)


def _table(standing: Mapping[str, Sequence[PartStanding]]) -> Table:
    """Return how every part stands to a request."""
    return Table.of(
        "remaining",
        [s for of_role in standing.values() for s in of_role],
        (Column("sku"), lambda s: s.part.sku),
        (Column("role"), lambda s: s.part.role),
        (Column("verdict", WORD), lambda s: s.verdict),
        (Column("builds", COUNT), lambda s: s.builds),
        (Column("kept_out"), lambda s: s.kept_out or None),
        (Column("services", LIST), lambda s: s.services),
    )


def tables(standing: Mapping[str, Sequence[PartStanding]]) -> tuple[Table, ...]:
    """Return its one table."""
    return (_table(standing),)


def data(standing: Mapping[str, Sequence[PartStanding]]) -> dict[str, Any]:
    """Return how every part stands to a request, by role."""
    return {
        "roles": {
            role: _table({role: of_role}).without("role").entries()
            for role, of_role in standing.items()
        }
    }


def _counts(parts: Sequence[PartStanding]) -> tuple[int, int, int, int]:
    """Return how many parts remain, may remain, do not fit, and are kept out otherwise."""
    fits = sum(s.remains for s in parts)
    perhaps = sum(s.verdict is Verdict.UNKNOWN and not s.kept_out for s in parts)
    fails = sum(s.verdict is Verdict.FAILS for s in parts)
    kept = sum(bool(s.kept_out) and s.verdict is not Verdict.FAILS for s in parts)
    return fits, perhaps, fails, kept


def report(
    standing: Mapping[str, Sequence[PartStanding]],
    catalogue: Catalogue,
    left_out: Sequence[str] = (),
    have: Sequence[str] = (),
) -> Report:
    """Return how many parts of each role remain, may, do not, or are kept out.

    Parameters
    ----------
    standing : mapping of str to sequence of PartStanding
        By role.
    catalogue : Catalogue
        Whose words are meant.
    left_out : sequence of str
        Conditions that did not count where it cannot be told.
    have : sequence of str
        Stock numbers that are owned.
    """
    yours = (quiet(f"Yours: {', '.join(map(catalogue.called, have))}."),) if have else ()
    table = Table.of(
        "roles",
        [(role, _counts(parts), len(parts)) for role, parts in standing.items()],
        (Column("role"), lambda row: catalogue.vocabulary.roles[row[0]].title),
        (Column("fits", _SOME, Verdict.FITS), lambda row: row[1][0]),
        (Column("unknown", _SOME, Verdict.UNKNOWN), lambda row: row[1][1]),
        (Column("fails", _SOME, Verdict.FAILS), lambda row: row[1][2]),
        (Column("kept_out", _SOME, "kept out"), lambda row: row[1][3]),
        (Column("of", COUNT), lambda row: row[2]),
        whole=True,
    )
    total = sum(row[1] for row in table.rows)
    note = (
        "By size, limits of budget and mass aside. Kept out: would go, but is out of stock, of "
        "another material or without a price."
    )
    blocks: tuple[Block, ...] = (
        *yours,
        Section("", (table,)),
        quiet(note),
        *without_lines(left_out),
    )
    return Report(f"{plural(total, 'part remains', 'parts remain')} for certain.", blocks)
