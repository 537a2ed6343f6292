"""Lines of a page's lists that break between words, where the window is narrower than they are."""

from __future__ import annotations

import anywidget

from fitgraph.lab.form_watch import WATCHED
from fitgraph.lab.unbroken import STAYS_WHOLE

_SCRIPT = r"""
// The widgets' own code writes an option's spaces as no-break spaces, so that a long line breaks
// inside words. Single ones become spaces again; several keep columns apart and stay. A stock
// number is not broken at its hyphens. Which option is chosen goes by its place, so the text may
// change.
const single = /(?<!\u00a0)\u00a0(?!\u00a0)/g;
const whole = (word) => (staysWhole(word) ? word.replaceAll("-", "\u2011") : word);

function render({ el }) {
  return watched(el, (form) => {
    for (const option of form.querySelectorAll(".widget-select option")) {
      const text = option.textContent.replace(single, " ").replace(/\S+/g, whole);
      if (text !== option.textContent) option.textContent = text;
    }
  });
}
export default { render };
"""


class Lists(anywidget.AnyWidget):
    """Shows nothing; lets the lines of a page's lists break between words."""

    _esm = STAYS_WHOLE + WATCHED + _SCRIPT
