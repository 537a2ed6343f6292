"""Reports as HTML for a notebook or a page; markupsafe escapes every text."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import groupby
from typing import Any

from markupsafe import Markup, escape

from fitgraph.draw.style import SIGNS, WORDS, page_css, verdict_class
from fitgraph.errors import brief
from fitgraph.model import Verdict
from fitgraph.plain import plain
from fitgraph.report.blocks import Block, Items, Picture, Report, Say, Tone
from fitgraph.report.tables import Table
from fitgraph.report.values import Signed
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

_CLASSES = {
    Tone.LOUD: "fg-loud",
    Tone.PLAIN: "",
    Tone.QUIET: "fg-note",
    Tone.STATUS: "",
    Tone.FAULT: "",
}


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


def _with_sign(kind: str, sign: str, word: str) -> Markup:
    return Markup(
        '<span class="{}"><span class="fg-sign" aria-hidden="true">{}</span>{}</span>'
    ).format(kind, sign, word)


def verdict_sign(verdict: Verdict) -> Markup:
    """Return a verdict as a sign with its word behind it."""
    return _with_sign(verdict_class(verdict), SIGNS[verdict], WORDS[verdict])


def signed_html(value: Signed) -> Markup:
    """Return a word with its sign before it."""
    return _with_sign("fg-code", value.sign, value.word)


def _cell(value: Any, shown: str) -> Markup:
    if isinstance(value, Verdict):
        return verdict_sign(value)
    if isinstance(value, Signed):
        return signed_html(value)
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
        named = Markup("")
        if most is not None and table.headed and (n or kinds[0]):  # a name says what it is
            named = Markup(' data-head="{}"').format(table.columns[n].heading)
        if n == 0:
            kind = _heading(kinds[0], shown)
            return Markup('<th scope="row"{}{}>{}</th>').format(kind, named, _cell(value, shown))
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
    most = len(table.rows) if table.whole else MOST_ROWS
    shown = rows_html(table.first(most), table.title)
    left = len(table.rows) - most
    if left > 0:
        rest = replace(table, rows=table.rows[most:])
        more = f"{left:,} more"
        shown += Markup("<details><summary>{}</summary>{}</details>").format(
            more, rows_html(rest, f"The {more}")
        )
    return shown


#: Writes the tables of a report.
TableWriter = Callable[[Table], Markup]


def _inline(say: Say) -> Markup:
    """Return a sentence with the sign of its verdict before it and what is quiet behind it."""
    sign = Markup("") if say.verdict is None else verdict_sign(say.verdict) + ". "
    if say.lead:
        sign += Markup("<strong>{}</strong>").format(plain(say.lead))
    aside = Markup("")
    if say.aside:
        aside = Markup(' <span class="fg-note">({})</span>').format(plain(say.aside))
    return sign + escape(plain(say.text)) + aside


def _said(say: Say) -> Markup:
    if say.tone is Tone.FAULT:
        lines = (Markup("<p>{}</p>").format(plain(line)) for line in brief(say.text).splitlines())
        return Markup('<div class="fg-alert" role="alert">{}</div>').format(Markup("").join(lines))
    role = Markup(' role="status"') if say.tone is Tone.STATUS else Markup("")
    deep = f"fg-deep-{say.deep}" if say.deep > 1 else ""
    name = " ".join(filter(None, (_CLASSES[say.tone], deep)))
    return Markup("<p{}{}>{}</p>").format(_class(name), role, _inline(say))


def _items(listed: Items) -> Markup:
    """Return a list; what stands deeper than a sentence is a list under it."""
    tag = "ol" if listed.numbered else "ul"
    least = min((say.deep for say in listed.says), default=0)
    pieces: list[Markup] = []
    for deeper, says in groupby(listed.says, lambda say: say.deep > least):
        if deeper and pieces:
            under = _items(Items(tuple(says)))
            pieces[-1] = pieces[-1].removesuffix(Markup("</li>")) + under + Markup("</li>")
            continue
        for say in says:
            name = _class(_CLASSES[say.tone])
            pieces.append(Markup("<li{}>{}</li>").format(name, _inline(say)))
    return Markup("<{0}>{1}</{0}>").format(tag, Markup("").join(pieces)) if pieces else Markup("")


def _picture(picture: Picture) -> Markup:
    # Drawings come from fitgraph.draw, which escapes what it letters.
    drawn, narrow = Markup(picture.svg), picture.narrow_svg
    if narrow:  # which of them is shown goes by the width of what they stand in
        drawn = Markup(
            '<div class="fg-drawn"><div class="fg-when-wide">{}</div>'
            '<div class="fg-when-narrow">{}</div></div>'
        ).format(drawn, Markup(narrow))
    told = Markup("")
    if picture.text:
        told = Markup("<figcaption>{}</figcaption>").format(plain(picture.text))
    return Markup('<figure tabindex="0" class="fg-scroll">{}{}</figure>').format(drawn, told)


def _block(block: Block, tables: TableWriter) -> Markup:
    if isinstance(block, Table):
        return tables(block)
    if isinstance(block, Say):
        return _said(block)
    if isinstance(block, Items):
        return _items(block)
    if isinstance(block, Picture):
        return _picture(block)
    inner, head = blocks_html(block.blocks, tables), escape(plain(block.title))
    if block.verdict is not None:
        head += ": " + verdict_sign(block.verdict)
    if block.folded:
        return Markup("<details><summary>{}</summary>{}</details>").format(head, inner)
    return (Markup("<h3>{}</h3>").format(head) if head else head) + inner


def blocks_html(blocks: Iterable[Block], tables: TableWriter = table_html) -> Markup:
    """Return blocks one under the other, without the frame that a style sheet speaks to.

    Parameters
    ----------
    blocks : iterable of Block
        The blocks.
    tables : callable, optional
        Writes their tables, where not as :func:`table_html` does.
    """
    return Markup("").join(_block(b, tables) for b in blocks)


def cautions_html(texts: Iterable[str]) -> Markup:
    """Return cautions, a paragraph each."""
    told = Markup('<p class="fg-caution"><strong>Caution.</strong> {}</p>')
    return Markup("").join(told.format(plain(text)) for text in texts)


def report_html(report: Report, tables: TableWriter = table_html) -> Markup:
    """Return a report without the frame that a style sheet speaks to.

    Parameters
    ----------
    report : Report
        The report; the sign of its verdict stands before its headline.
    tables : callable, optional
        Writes its tables, where not as :func:`table_html` does.
    """
    head = Markup("")
    if report.headline:
        sign = Markup("")
        if report.verdict is not None:
            sign = Markup('<span class="{} fg-sign" aria-hidden="true">{}</span> ').format(
                verdict_class(report.verdict), SIGNS[report.verdict]
            )
        head = Markup('<p role="status">{}<strong>{}</strong></p>').format(
            sign, plain(report.headline)
        )
    return head + blocks_html(report.blocks, tables) + cautions_html(report.cautions)


def html(report: Report) -> Markup:
    """Return a report as a fragment that a style sheet for ``fg-html`` speaks to.

    Examples
    --------
    >>> print(html(Report("a < b", (Say("x & y"),))))
    <div class="fg fg-html"><p role="status"><strong>a &lt; b</strong></p><p>x &amp; y</p></div>
    """
    return Markup('<div class="fg fg-html">{}</div>').format(report_html(report))


def document(report: Report) -> Markup:
    """Return a report with its style sheet, for where nobody else brings one."""
    body = Markup(unbroken(html(report)))
    return Markup("<style>{}</style>").format(Markup(page_css())) + body


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
        css=Markup(page_css()),
        body=body,
    )
