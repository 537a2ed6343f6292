"""Which words of a page stay in one line: stock numbers, and figures with their units.

What is written as HTML is marked by :func:`fitgraph.report.as_html.unbroken`; this is for what a
page writes itself.
"""

from __future__ import annotations

from fitgraph.report.as_html import MOST_WHOLE, UNITS

#: ``WORDS`` finds words, and what is between them where it splits a text; ``staysWhole`` says of
#: one whether it stays whole: a long one may break.
STAYS_WHOLE = (
    rf"const WORDS = /(\S*\d {UNITS}\S*|\S+)/u;"
    rf"const staysWhole = (word) => word.length <= {MOST_WHOLE} && /\d/.test(word)"
    r" && (/[\p{L}\d]-[\p{L}\d]/u.test(word) || /\S \S/.test(word));"
)
