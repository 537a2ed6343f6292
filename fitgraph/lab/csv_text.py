"""Tables as CSV (RFC 4180), safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

#: What a spreadsheet would take for the beginning of a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def plain(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula.

    Examples
    --------
    >>> plain("=1+1"), plain("bar")
    ("'=1+1", 'bar')
    """
    return f"'{text}" if text.startswith(_FORMULA) else text


def csv_text(heads: Sequence[str], rows: Iterable[Sequence[str | float | None]]) -> str:
    """Return a table as CSV; no text in it can begin a formula, and nothing stands for None.

    Parameters
    ----------
    heads : sequence of str
        Names of the columns.
    rows : iterable of sequence
        Texts, and numbers in as many digits as they need.

    Examples
    --------
    >>> csv_text(["part", "mass_g"], [["@x", 1.5], ["b", None]])
    "part,mass_g\\r\\n'@x,1.5\\r\\nb,\\r\\n"
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(heads)
    for row in rows:
        writer.writerow(
            [plain(v) if isinstance(v, str) else "" if v is None else f"{v:.12g}" for v in row]
        )
    return out.getvalue()
