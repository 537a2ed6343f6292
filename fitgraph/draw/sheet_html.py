"""A specification sheet as one HTML page that needs nothing else."""

from __future__ import annotations

from html import escape

from fitgraph.adapters.sheet import Sheet
from fitgraph.draw.drafting import drawing
from fitgraph.draw.drafting_svg import sheet_svg
from fitgraph.draw.sheet_text import TextTable, facts, mates_table, sizes_table, worth_lines
from fitgraph.draw.style import page_css
from fitgraph.draw.svg import clean

_PAGE_CSS = (
    "body{margin:0;padding:1.5rem;background:var(--fg-paper)}"
    "main{max-width:60rem;margin:0 auto}"
    "figure{margin:1rem 0;background:#fff;border:1px solid var(--fg-line)}"
    "figure svg{display:block;width:100%;height:auto}"
    "h1{font-size:20px}h2{font-size:16px}"
    "@media print{figure{border:0}body{padding:0}}"
)


def _text(text: str) -> str:
    return escape(clean(text))


def _table(table: TextTable) -> str:
    head = "".join(f'<th scope="col">{_text(c)}</th>' for c in table.columns)
    body = "".join(
        "<tr>" + "".join(f"<td>{_text(cell)}</td>" for cell in row) + "</tr>" for row in table.rows
    )
    return (
        f"<h2>{_text(table.heading)}</h2>"
        f'<div tabindex="0" class="fg-scroll"><table><thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def sheet_html(sheet: Sheet) -> str:
    """Return a specification sheet as a page.

    Parameters
    ----------
    sheet : Sheet
        From :func:`fitgraph.adapters.sheet`. Its texts are shown as text, never as markup.
    """
    title = f"{sheet.part.name}, {sheet.part.sku}"
    rows = "".join(
        f'<tr><th scope="row">{_text(name)}</th><td>{_text(text)}</td></tr>'
        for name, text in facts(sheet)
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{_text(title)}</title><style>{page_css()}{_PAGE_CSS}</style></head>"
        f'<body class="fg fg-html"><main><h1>{_text(title)}</h1>'
        + "".join(f"<p>{_text(line)}</p>" for line in worth_lines(sheet))
        + f"<figure>{sheet_svg(drawing(sheet))}</figure>"
        + _table(sizes_table(sheet))
        + f"<h2>The part</h2><table><tbody>{rows}</tbody></table>"
        + _table(mates_table(sheet))
        + "<h2>Cautions</h2>"
        + "".join(f'<p class="fg-caution">{_text(c)}</p>' for c in sheet.cautions)
        + "</main></body></html>\n"
    )
