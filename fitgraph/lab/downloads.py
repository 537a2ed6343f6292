"""Files that a page hands over without asking any server: links that carry their data."""

from __future__ import annotations

import base64
from html import escape

from fitgraph.report.as_csv import csv
from fitgraph.report.tables import Table


def download_link(label: str, name: str, kind: str, content: bytes) -> str:
    """Return a link that saves a file.

    Parameters
    ----------
    label : str
        What the link says.
    name : str
        Name of the file.
    kind : str
        Media type.
    content : bytes
        What it holds.

    Examples
    --------
    >>> download_link("Get it", "a.txt", "text/plain", b"hi")
    '<a class="fg-get" download="a.txt" href="data:text/plain;base64,aGk=">Get it</a>'
    """
    data = base64.b64encode(content).decode()
    return (
        f'<a class="fg-get" download="{escape(name)}" '
        f'href="data:{escape(kind)};base64,{data}">{escape(label)}</a>'
    )


def csv_link(label: str, name: str, table: Table) -> str:
    """Return a link that saves a table as CSV; headings of amounts say their currency."""
    return download_link(label, name, "text/csv", csv(table.with_currency()).encode())
