"""Reports as HTML for a notebook or a page; markupsafe escapes every text."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from markupsafe import Markup, escape

from fitgraph.draw.style import SIGNS, WORDS, page_css, verdict_class
from fitgraph.model import Verdict
from fitgraph.plain import plain
from fitgraph.report.blocks import Block, Picture, Report, Say, Tone
from fitgraph.report.tables import Table
from fitgraph.wording import UNITS

#: What a page may load: its own rules, and nothing else.
_POLICY = Markup("default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:")

#: Rows that a table shows before the others open on demand.
MOST_ROWS = 12

#: Headings of rows up to so many letters are not broken, nor words with a hyphen and a figure.
_WHOLE_HEADING, MOST_WHOLE = 24, 32

#: What of markup is no sentence, or has been seen to: tags, drawings, what can be pressed.
_KEPT = re.compile(
    r'<(svg|button|a|summary|style|option)\b.*?</\1>|<span class="fg-whole">.*?</span>|<[^>]*>',
    re.DOTALL,
)
_HYPHEN = re.compile(r"\w-\w")

#: A word, or a figure with its limits and its unit.
_WORD = re.compile(rf"\S*\d(?: ±\d[\d.]*)? {UNITS}\S*|\S+")

#: What a report needs beside the rules of pages.
_RULES = (
    ".fg-html .fg-loud{font-weight:600}\n"
    ".fg-html .fg-plain{font-weight:400}\n"
    ".fg-html .fg-deep-2{padding-left:1.4em}\n"
    ".fg-html table.fg-fit{width:auto}\n"
    ".fg-html table.fg-fit th,.fg-html table.fg-fit td{padding-right:1.4em}\n"
)

_CLASSES = {Tone.LOUD: "fg-loud", Tone.PLAIN: "", Tone.QUIET: "fg-note"}


def in_sentences(markup: str, change: Callable[[str], str]) -> str:
    """Return markup with its sentences changed; tags, drawings, links and buttons stay.

    Examples
    --------
    >>> in_sentences("<p>a <a href='a'>a</a></p>", str.upper)
    "<p>A <a href='a'>a</a></p>"
    """
    pieces, at = [], 0
    for kept in _KEPT.finditer(markup):
        pieces += [change(markup[at : kept.start()]), kept[0]]
        at = kept.end()
    return "".join([*pieces, change(markup[at:])])


def unbroken(markup: str) -> str:
    """Return markup in which no stock number is broken at a hyphen, and no figure from its unit.

    Only long ones may break.

    Examples
    --------
    >>> unbroken("<p>a slip-on (CLMP-SKE-02) fits</p>")
    '<p>a slip-on <span class="fg-whole">(CLMP-SKE-02)</span> fits</p>'
    >>> unbroken("89.90 EUR, or less")
    '<span class="fg-whole">89.90 EUR,</span> or less'
    """

    def word(found: re.Match[str]) -> str:
        text = found[0]
        hyphenated = _HYPHEN.search(text) and any(map(str.isdigit, text))
        if len(text) > MOST_WHOLE or not (hyphenated or " " in text):
            return text
        return f'<span class="fg-whole">{text}</span>'

    return in_sentences(markup, lambda text: _WORD.sub(word, text))


def verdict_sign(verdict: Verdict) -> Markup:
    """Return a verdict as a sign with its word behind it."""
    return Markup(
        '<span class="{}"><span class="fg-sign" aria-hidden="true">{}</span>{}</span>'
    ).format(verdict_class(verdict), SIGNS[verdict], WORDS[verdict])


def _cell(value: Any, shown: str) -> Markup:
    if isinstance(value, Verdict):
        return verdict_sign(value)
    return value if isinstance(value, Markup) else escape(plain(shown))


def _class(name: str) -> Markup:
    return Markup(' class="{}"').format(name) if name else Markup("")


def _heading(kind: str, shown: str) -> Markup:
    """Return the class of a row's heading; a short one, such as a stock number, stays whole."""
    whole = kind or ("fg-code" if len(shown) <= _WHOLE_HEADING else "")
    return _class(f"fg-plain {whole}".strip())


def rows_html(table: Table, caption: str, kind: str = "fg-fit", most: int | None = None) -> Markup:
    """Return the rows of a table; a cell that is markup already stays as it is.

    Parameters
    ----------
    table : Table
        The table.
    caption : str
        What stands above it; nothing where it is empty.
    kind : str
        Its classes.
    most : int, optional
        Rows that a page shows before somebody asks for the others. Then each cell says its
        heading as well, which a narrow window shows beside it.
    """
    kinds = ["fg-figure" if c.unit.figures else "" for c in table.columns]
    heads = [_cell(c.title, c.heading) for c in table.columns]
    head = Markup("")
    if table.headed:
        cells = Markup("").join(
            Markup('<th scope="col"{}>{}</th>').format(_class(kind), text)
            for kind, text in zip(kinds, heads, strict=True)
        )
        head = Markup("<thead><tr>{}</tr></thead>").format(cells)

    def cell(n: int, value: Any, shown: str) -> Markup:
        if n == 0:
            name = _heading(kinds[0], shown)
            return Markup('<th scope="row"{}>{}</th>').format(name, _cell(value, shown))
        named = Markup("")
        if most is not None and table.headed:
            named = Markup(' data-head="{}"').format(Markup(heads[n]).striptags())
        return Markup("<td{}{}>{}</td>").format(_class(kinds[n]), named, _cell(value, shown))

    body = Markup("").join(
        Markup("<tr>{}</tr>").format(
            Markup("").join(cell(n, v, s) for n, (v, s) in enumerate(zip(row, shown, strict=True)))
        )
        for row, shown in zip(table.rows, table.shown(), strict=True)
    )
    told = Markup("<caption>{}</caption>").format(_cell(caption, caption)) if caption else ""
    folds = Markup("") if most is None else Markup(' data-most="{}"').format(most)
    return Markup(
        '<div tabindex="0" class="fg-scroll"><table{}{}>{}{}<tbody>{}</tbody></table></div>'
    ).format(_class(kind), folds, told, head, body)


def table_html(table: Table) -> Markup:
    """Return a table; rows beyond so many open on demand."""
    shown = rows_html(table.first(MOST_ROWS), table.title)
    left = len(table.rows) - MOST_ROWS
    if left > 0:
        rest = replace(table, rows=table.rows[MOST_ROWS:])
        more = f"{left:,} more"
        shown += Markup("<details><summary>{}</summary>{}</details>").format(
            more, rows_html(rest, f"The {more}")
        )
    return shown


def _block(block: Block) -> Markup:
    if isinstance(block, Table):
        return table_html(block)
    if isinstance(block, Say):
        aside = ""
        if block.aside:
            aside = Markup(' <span class="fg-note">{}</span>').format(plain(block.aside))
        name = " ".join(
            filter(None, (_CLASSES[block.tone], f"fg-deep-{block.deep}" * (block.deep > 1)))
        )
        return Markup("<p{}>{}{}</p>").format(_class(name), plain(block.text), aside)
    if isinstance(block, Picture):
        # Drawings come from fitgraph.draw, which escapes what it letters.
        told = Markup("<figcaption>{}</figcaption>").format(plain(block.text)) if block.text else ""
        return Markup('<figure tabindex="0" class="fg-scroll">{}{}</figure>').format(
            Markup(block.svg), told
        )
    head = Markup("<h3>{}</h3>").format(plain(block.title)) if block.title else Markup("")
    return head + Markup("").join(map(_block, block.blocks))


def html(report: Report) -> Markup:
    """Return a report as a fragment that a style sheet for ``fg-html`` speaks to.

    Examples
    --------
    >>> print(html(Report("a < b", (Say("x & y"),))))
    <div class="fg fg-html"><p role="status"><strong>a &lt; b</strong></p><p>x &amp; y</p></div>
    """
    inner = Markup("")
    if report.headline:
        sign = Markup("")
        if report.verdict is not None:
            sign = Markup('<span class="{} fg-sign" aria-hidden="true">{}</span> ').format(
                verdict_class(report.verdict), SIGNS[report.verdict]
            )
        inner += Markup('<p role="status">{}<strong>{}</strong></p>').format(
            sign, plain(report.headline)
        )
    inner += Markup("").join(map(_block, report.blocks))
    for caution in report.cautions:
        inner += Markup('<p class="fg-caution"><strong>Caution.</strong> {}</p>').format(
            plain(caution)
        )
    return Markup('<div class="fg fg-html">{}</div>').format(inner)


def document(report: Report) -> Markup:
    """Return a report with its style sheet, for where nobody else brings one."""
    body = Markup(unbroken(html(report)))
    return Markup("<style>{}</style>").format(Markup(page_css() + _RULES)) + body


def page(report: Report, title: str) -> Markup:
    """Return a report as a page of its own, which needs nothing else.

    Parameters
    ----------
    report : Report
        The report.
    title : str
        What it is about; stands above the headline.

    Examples
    --------
    >>> page(Report("Fits."), "A & B").startswith("<!DOCTYPE html>")
    True
    """
    body = Markup(unbroken(html(report)))
    return Markup(
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta http-equiv="Content-Security-Policy" content="{policy}">'
        "<style>{css}body{{max-width:60em;margin:1.5em auto;padding:0 1em;"
        "background:var(--fg-paper)}}</style></head>"
        '<body class="fg"><main class="fg fg-html"><h1>{head}</h1>{body}</main></body></html>'
    ).format(
        title=plain(title),
        head=Markup(unbroken(escape(plain(title)))),
        policy=_POLICY,
        css=Markup(page_css() + _RULES),
        body=body,
    )
