"""What an import came to, as data and as a page."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from markupsafe import Markup, escape

from fitgraph.intake.build import ASIDE, Report
from fitgraph.intake.guess import Choice
from fitgraph.plain import plain


def as_data(report: Report, choices: list[Choice]) -> dict[str, Any]:
    """Return a report in the shape that docs/commands.md describes."""
    intake = report.intake
    return {
        "folder": report.folder.name,
        "usable": report.loaded is not None,
        "parts": 0 if report.loaded is None else len(report.loaded.catalogue.parts),
        "tables": [
            {
                "source": t.file,
                "read": t.read,
                "loaded": t.loaded,
                "set_aside": len(t.aside),
            }
            for t in intake.tallies
        ],
        "columns": [
            {
                "source": c.source,
                "column": c.column,
                "means": c.taken.means,
                "unit": c.taken.unit,
                "decimal": c.taken.decimal,
                "sure": c.sure,
                "samples": list(c.samples),
            }
            for c in choices
        ],
        "kinds": [{"word": word, "rows_set_aside": rows} for word, rows in intake.kinds.items()],
        "set_aside": [
            {"source": a.source, "row": a.row, "reason": a.reason, "remedy": a.remedy}
            for a in intake.aside
        ],
        "findings": [asdict(f) for f in report.findings],
    }


_STYLE = (
    "body{font:16px/1.5 system-ui,sans-serif;margin:2rem auto;max-width:70rem;padding:0 1rem}"
    "table{border-collapse:collapse;width:100%;margin:1rem 0}"
    "th,td{text-align:left;vertical-align:top;padding:.3rem .6rem;border-bottom:1px solid #ccc}"
    "td.n{text-align:right;font-variant-numeric:tabular-nums}"
)


def _cells(values: list[Any]) -> Markup:
    cells = Markup("")
    for value in values:
        if isinstance(value, int):
            cells += Markup('<td class="n">{}</td>').format(f"{value:,}")
        else:
            cells += Markup("<td>{}</td>").format(plain(str(value)))
    return Markup("<tr>{}</tr>").format(cells)


def _table(heads: list[str], rows: list[list[Any]]) -> Markup:
    head = Markup("").join(Markup('<th scope="col">{}</th>').format(h) for h in heads)
    body = Markup("").join(_cells(row) for row in rows)
    return Markup("<table><thead><tr>{}</tr></thead><tbody>{}</tbody></table>").format(head, body)


def as_page(report: Report, choices: list[Choice]) -> str:
    """Return a report as a page of HTML that needs nothing else and runs nothing."""
    data = as_data(report, choices)
    tables = [[t["source"], t["read"], t["loaded"], t["set_aside"]] for t in data["tables"]]
    columns = [
        [c["source"], c["column"], c["means"], ", ".join(c["samples"])] for c in data["columns"]
    ]
    findings = [
        [
            f["file"],
            "" if f["row"] is None else str(f["row"]),
            f["column"],
            f["value"],
            f["message"],
            f["remedy"],
            f["severity"],
        ]
        for f in data["findings"]
    ]
    body = Markup("<h1>{}</h1><p>{}</p>").format(
        f"Import into {plain(data['folder'])}",
        f"{data['parts']:,} parts can be used. Rows that were set aside are in {ASIDE}: mend them "
        "there and import that file.",
    )
    body += Markup("<h2>Rows</h2>") + _table(["Table", "Read", "Loaded", "Set aside"], tables)
    body += Markup("<h2>Columns</h2>") + _table(["Table", "Column", "Means", "Holds"], columns)
    if findings:
        heads = ["File", "Row", "Column", "Value", "What is wrong", "How to mend it", "Weight"]
        body += Markup("<h2>Findings</h2>") + _table(heads, findings)
    return str(
        Markup(
            '<!doctype html><html lang="en"><head><meta charset="utf-8">'
            '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
            "style-src 'unsafe-inline'\"><title>{}</title><style>{}</style></head>"
            "<body>{}</body></html>\n"
        ).format(f"Import into {escape(plain(data['folder']))}", Markup(_STYLE), body)
    )
