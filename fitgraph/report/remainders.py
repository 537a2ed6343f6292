"""What remains of each role after a choice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fitgraph.model import Catalogue, Verdict
from fitgraph.report.blocks import Report, Say, Section, Tone
from fitgraph.report.tables import Column, Table
from fitgraph.report.unasked import without_text
from fitgraph.report.values import (
    COUNT,
    LIST,
    WORD,
)
from fitgraph.wording import plural

if TYPE_CHECKING:
    from fitgraph.explain.standing import PartStanding


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


def stand_counts(parts: Sequence[PartStanding]) -> tuple[int, int, int, int]:
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
    """
    rows = []
    for role, parts in standing.items():
        title = catalogue.vocabulary.roles[role].title
        rows.append((title, *stand_counts(parts), len(parts)))
    columns = (
        *(Column("role"), Column("fits", COUNT), Column("unknown", COUNT, "cannot be told")),
        *(Column("fails", COUNT, "does not fit"), Column("kept_out", COUNT, "kept out")),
        Column("of", COUNT),
    )
    total = sum(row[1] for row in rows)
    note = (
        "By size, limits of budget and mass aside. Kept out: would go, but is out of stock, of "
        "another material or without a price."
    )
    if left_out:
        note += f" {without_text(left_out)}"
    blocks = (Section("", (Table("roles", columns, tuple(rows)),)), Say(note, Tone.QUIET))
    return Report(f"{plural(total, 'part remains', 'parts remain')} for certain.", blocks)
