"""What is typed into a field with a list becomes the line of the list that it means."""

from __future__ import annotations

import anywidget

from fitgraph.lab.form import SEPARATOR

_SCRIPT = """
// Before the field's own code reads it: a stock number, or enough of a name that only one line has
// it, as fitgraph/lab/form.py reads an entry.
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
function render() {
  if (window.fitgraphCompletes) return;
  window.fitgraphCompletes = true;
  window.addEventListener("change", complete, true);
}
export default { render };
"""


class Entered(anywidget.AnyWidget):
    """Shows nothing; a part's name stands in its field once the entry is left."""

    _esm = f"const SEPARATOR = {SEPARATOR!r};" + _SCRIPT
