"""What is wrong in a catalogue, where, and how to mend it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, astuple, fields
from typing import Any

from fitgraph.catalogue import Finding
from fitgraph.catalogue.missing import Missing
from fitgraph.report.blocks import Block, Report, Say, Section
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, LIST, PLACE
from fitgraph.wording import plural

#: Missing lengths that people are shown.
_SHOWN = 8


def data(
    findings: Sequence[Finding], parts: int | None, missing: Sequence[Missing] = ()
) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes.

    Parameters
    ----------
    findings : sequence of Finding
        What was found.
    parts : int or None
        Parts that can be used; None where nothing can go on.
    missing : sequence of Missing
        Lengths that parts lack.
    """
    return {
        "usable": parts is not None,
        "parts": parts or 0,
        "findings": [asdict(f) for f in findings],
        "missing": [
            {
                "role": m.size.role,
                "feature": m.size.feature,
                "dimension": m.size.name,
                "parts": list(m.parts),
                "of": m.of,
                "answers": m.answers,
                "joints": list(m.joints),
            }
            for m in missing
        ],
    }


def tables(findings: Sequence[Finding], missing: Sequence[Missing] = ()) -> tuple[Table, ...]:
    """Return the findings, a row each, and the lengths that parts lack."""
    keys = [each.name for each in fields(Finding)]
    columns = tuple(Column(key, PLACE) if key == "row" else Column(key) for key in keys)
    rows = tuple(map(astuple, findings))
    lacking = Table.of(
        "missing",
        missing,
        (Column("size"), lambda m: str(m.size)),
        (Column("parts", COUNT), lambda m: len(m.parts)),
        (Column("of", COUNT), lambda m: m.of),
        (Column("answers", COUNT), lambda m: m.answers),
        (Column("joints", LIST), lambda m: m.joints),
    )
    return (Table("findings", columns, rows), lacking)


def listed(findings: Sequence[Finding]) -> Table:
    """Return findings for people: how grave, and what to do."""
    return Table.of(
        "findings",
        findings,
        (Column("severity"), lambda f: f.severity),
        (Column("finding"), str),
        headed=False,
    )


def doubts(findings: Sequence[Finding]) -> tuple[Say, ...]:
    """Return what to look at before a part is sold: figures of it that are doubted."""
    return tuple(
        Say(f"{f.column} {f.value!r} {f.message}. {f.remedy}.", lead="Look first. ")
        for f in findings
    )


def lacking(missing: Sequence[Missing]) -> tuple[Block, ...]:
    """Return the lengths that parts lack, for people: those on which most answers hang."""
    if not missing:
        return ()
    shown = Table.of(
        "missing",
        missing[:_SHOWN],
        (Column("size", title="length"), lambda m: str(m.size)),
        (Column("lacking", title="lack it"), lambda m: f"{len(m.parts)} of {m.of}"),
        (Column("answers", COUNT, "combinations"), lambda m: m.answers),
        (Column("joints", title="asked by"), lambda m: ", ".join(m.joints[:2])),
    )
    more = len(missing) - _SHOWN
    title = "Lengths nobody has measured, by how many combinations hang on them"
    blocks: tuple[Block, ...] = (shown,)
    if more > 0:
        blocks = (*blocks, Say(f"and {plural(more, 'length')} more"))
    return (Section(title, blocks),)


def report(
    findings: Sequence[Finding], parts: int | None, name: str, missing: Sequence[Missing] = ()
) -> Report:
    """Return the answer for people."""
    more = lacking(missing)
    if parts is not None and not findings:
        return Report(f"{name}: {plural(parts, 'part')}, nothing to mend.", more)
    told = listed(findings)
    if parts is None:
        return Report(f"{name} cannot be used.", (told,))
    things = plural(len(findings), "thing")
    return Report(f"{name}: {plural(parts, 'part')}, {things} to look at.", (told, *more))
