"""Tables as CSV (RFC 4180), with cells that no spreadsheet takes for a formula."""

from __future__ import annotations

import datetime
from typing import Any

from fitgraph.plain import csv_text
from fitgraph.report.tables import Table


def _cell(value: Any) -> Any:
    """Return a value as a file has it: words for yes and no, dates as ISO 8601."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, datetime.date) else value


def csv(table: Table) -> str:
    """Return a table as CSV: headings are the names for programs, money in major units.

    Examples
    --------
    >>> from fitgraph.report.tables import Column
    >>> from fitgraph.report.values import MASS
    >>> csv(Table("parts", (Column("sku"), Column("mass_g", MASS)), (("=A1", 12.0), ("B", None))))
    "sku,mass_g\\r\\n'=A1,12\\r\\nB,\\r\\n"
    """
    rows = [
        [_cell(c.unit.data(v)) for c, v in zip(table.columns, row, strict=True)]
        for row in table.rows
    ]
    return csv_text(table.keys, rows)
