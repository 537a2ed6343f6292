"""What the controls of a page lack: their arrow keys, whole names, lines that break at words."""

from __future__ import annotations

import anywidget

from fitgraph.lab.form import SEPARATOR
from fitgraph.lab.scripts import STAYS_WHOLE, WATCHED

_SCRIPT = r"""
// In JupyterLab arrow keys would walk through the cells, unless a control keeps them to itself.
// It looks for this mark when a key goes down; here that is seen before.
function keep(event) {
  if (event.target.matches?.(".fg-form input, .fg-form select"))
    event.target.setAttribute("data-lm-suppress-shortcuts", "true");
}
// Before the field's own code reads it: a stock number, or enough of a name that only one line has
// it, becomes that line, as fitgraph/lab/form.py reads an entry.
function complete({ target }) {
  if (!target.matches?.(".fg-form input[list]") || !target.list) return;
  const text = target.value.trim().toLowerCase();
  if (!text) return;
  const lines = [...target.list.options].map((option) => option.value);
  const number = (line) => line.slice(line.lastIndexOf(SEPARATOR) + SEPARATOR.length);
  const meant = lines.filter((line) => number(line).toLowerCase() === text);
  const having = lines.filter((line) => line.toLowerCase().includes(text));
  const [one, ...others] = meant.length ? meant : having;
  if (one !== undefined && !others.length) target.value = one;
}
// The widgets' own code writes an option's spaces as no-break spaces, so that a long line breaks
// inside words. Single ones become spaces again; several keep columns apart and stay. A stock
// number is not broken at its hyphens. Which option is chosen goes by its place, so the text may
// change.
const single = /(?<!\u00a0)\u00a0(?!\u00a0)/g;
const whole = (word) => (staysWhole(word) ? word.replaceAll("-", "\u2011") : word);

function render({ el }) {
  if (!window.fitgraphControls) {
    window.fitgraphControls = true;
    window.addEventListener("keydown", keep, true);
    window.addEventListener("change", complete, true);
  }
  return watched(el, (form) => {
    for (const option of form.querySelectorAll(".widget-select option")) {
      const text = option.textContent.replace(single, " ").replace(/\S+/g, whole);
      if (text !== option.textContent) option.textContent = text;
    }
  });
}
export default { render };
"""


class Controls(anywidget.AnyWidget):
    """Shows nothing; lets controls be moved by arrow keys, completes names, breaks long lines."""

    _esm = f"const SEPARATOR = {SEPARATOR!r};" + STAYS_WHOLE + WATCHED + _SCRIPT
