"""Pieces that several scripts of a page share; each stands before a script that uses it."""

from __future__ import annotations

from fitgraph.report.as_html import MOST_WHOLE
from fitgraph.wording import UNITS

#: ``watched(el, look)`` returns what ends it.
WATCHED = """
// Calls look(form) once the form around an element is there, and in the frame after its changes.
function watched(el, look) {
  let watch = null, over = false, asked = false;
  const soon = (form) => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; if (!over) look(form); });
  };
  const begin = () => {
    if (over) return;
    const form = el.closest(".fg-form");
    if (!form) return requestAnimationFrame(begin);
    watch = new MutationObserver(() => soon(form));
    watch.observe(form, { childList: true, subtree: true });
    soon(form);
  };
  begin();
  return () => { over = true; watch?.disconnect(); };
}
"""

#: ``WORDS`` finds words, and what is between them where it splits a text; ``staysWhole`` says of
#: one whether it stays in one line, as stock numbers and figures with their units do; a long one
#: may break. What is written as HTML is marked by :func:`fitgraph.report.as_html.unbroken`.
STAYS_WHOLE = (
    rf"const WORDS = /(\S*\d(?: ±\d[\d.]*)? {UNITS}\S*|\S+)/u;"
    rf"const staysWhole = (word) => word.length <= {MOST_WHOLE} && /\d/.test(word)"
    r" && (/[\p{L}\d]-[\p{L}\d]/u.test(word) || /\S \S/.test(word));"
)
