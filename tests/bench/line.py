"""A line of a table of benchmarks."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One line of the table.

    Parameters
    ----------
    what, bar, found : str
        What was measured, what it has to reach, what came out.
    met : bool or None
        Whether the bar was reached; None where there is none.
    """

    what: str
    bar: str
    found: str
    met: bool | None = None
