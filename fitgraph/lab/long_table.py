"""Tables of a page, and how many rows and names of them stand there at once."""

from __future__ import annotations

from fitgraph.report.as_html import rows_html
from fitgraph.report.tables import Table
from fitgraph.report.values import Unit

#: Rows shown at once; the others open on demand.
MOST_ROWS = 10

#: Joints, parts and steps named at once.
MOST_NAMES = 3

#: Figures that are told in words of their own.
TOLD_FIGURE = Unit(str, str)


def long_table(table: Table, most: int = MOST_ROWS) -> str:
    """Return a table; rows beyond so many open on demand.

    The page folds what is beyond (fitgraph/lab/sorting.py), so that it sorts all of them; in a
    narrow window each row stands under itself.
    """
    return str(rows_html(table, table.title, "fg-rows", most))


def plain_table(table: Table, caption: str = "", kind: str = "") -> str:
    """Return a table whose rows all stand there.

    Parameters
    ----------
    table : Table
        Its cells may be markup.
    caption : str
        What stands above it.
    kind : str
        Its classes; ``fg-narrow`` is not wider than its words need.
    """
    return str(rows_html(table, caption, kind))
