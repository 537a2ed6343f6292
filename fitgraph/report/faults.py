"""What is wrong in a catalogue, where, and how to mend it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fitgraph.catalogue import Finding
from fitgraph.report.blocks import Report
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import PLACE, plural

_KEYS = ("file", "row", "column", "value", "message", "remedy", "severity", "code")


def data(findings: Sequence[Finding], parts: int | None) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes.

    Parameters
    ----------
    findings : sequence of Finding
        What was found.
    parts : int or None
        Parts that can be used; None where nothing can go on.
    """
    return {
        "usable": parts is not None,
        "parts": parts or 0,
        "findings": [{key: getattr(f, key) for key in _KEYS} for f in findings],
    }


def tables(findings: Sequence[Finding]) -> tuple[Table, ...]:
    """Return the findings, a row each."""
    columns = tuple(Column(key, PLACE) if key == "row" else Column(key) for key in _KEYS)
    rows = tuple(tuple(getattr(f, key) for key in _KEYS) for f in findings)
    return (Table("findings", columns, rows),)


def listed(findings: Sequence[Finding]) -> Table:
    """Return findings for people: how grave, and what to do."""
    return Table.of(
        "findings",
        findings,
        (Column("severity"), lambda f: f.severity),
        (Column("finding"), str),
        headed=False,
    )


def report(findings: Sequence[Finding], parts: int | None, name: str) -> Report:
    """Return the answer for people."""
    if parts is not None and not findings:
        return Report(f"{name}: {plural(parts, 'part')}, nothing to mend.")
    told = listed(findings)
    if parts is None:
        return Report(f"{name} cannot be used.", (told,))
    things = plural(len(findings), "thing")
    return Report(f"{name}: {plural(parts, 'part')}, {things} to look at.", (told,))
