"""Arrow keys for the controls of a page, which JupyterLab would otherwise take for itself."""

from __future__ import annotations

import anywidget

_SCRIPT = """
// In JupyterLab arrow keys would walk through the cells, unless a control keeps them to itself.
// It looks for this mark when a key goes down; here that is seen before.
function keep(event) {
  if (event.target.matches?.(".fg-form input, .fg-form select"))
    event.target.setAttribute("data-lm-suppress-shortcuts", "true");
}
function render() {
  if (window.fitgraphKeepsKeys) return;
  window.fitgraphKeepsKeys = true;
  window.addEventListener("keydown", keep, true);
}
export default { render };
"""


class Keys(anywidget.AnyWidget):
    """Shows nothing; lets sliders, lists and choices of a page be moved by arrow keys."""

    _esm = _SCRIPT
