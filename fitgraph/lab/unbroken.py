"""Which words of a page stay in one line: those with a hyphen and a figure, such as stock numbers.

What is written as HTML is marked by :func:`fitgraph.report.as_html.unbroken`; this is for what a
page writes itself.
"""

from __future__ import annotations

from fitgraph.report.as_html import MOST_WHOLE

#: Says of a word whether it stays whole; a long one may break.
STAYS_WHOLE = (
    f"const staysWhole = (word) => word.length <= {MOST_WHOLE}"
    r" && /\d/.test(word) && /[\p{L}\d]-[\p{L}\d]/u.test(word);"
)
