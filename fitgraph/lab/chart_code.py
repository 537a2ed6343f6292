"""The drawing code of charts, sent to a page once and not once a chart.

A Plotly figure in a notebook brings all of its code, some megabytes, and a page that reads it
again for each figure is slow to open; a figure whose code takes longer than two seconds is
given up by the page. So the code is a widget of its own, to which every chart refers, and a
chart by itself brings only a few lines.
"""

from __future__ import annotations

import importlib
import sys
from functools import cache
from pathlib import Path

import anywidget
import traitlets

#: What a chart brings: it asks for the code, and lets it draw once it is there.
CHART_SCRIPT = """
async function code(model) {
  const id = model.get("_code").slice("IPY_MODEL_".length);
  const holder = await model.widget_manager.get_model(id);
  holder.chartCode ??= import(
    URL.createObjectURL(new Blob([holder.get("text")], { type: "text/javascript" })));
  return (await holder.chartCode).default();
}
export default () => {
  let drawing;
  return {
    initialize({ model }) {
      drawing = code(model).then((chart) => (chart.initialize({ model }), chart));
    },
    async render({ el }) {
      return (await drawing).render({ el });
    },
  };
};
"""


#: Makes a grammar of internationalised addresses when it is loaded, which takes a second or two.
_GRAMMAR = "rfc3987_syntax"


def _figures() -> Path:
    """Load what figures are made of, without what checks addresses; return where it lies.

    Plotly asks for nbformat, which asks for jsonschema, which takes the grammar if it finds it;
    here nobody checks an address, and every page would wait for it.
    """
    hidden = _GRAMMAR not in sys.modules
    if hidden:
        sys.modules[_GRAMMAR] = None  # type: ignore[assignment]
    try:
        return Path(str(importlib.import_module("plotly.basewidget").__file__)).parent
    finally:
        if hidden:
            del sys.modules[_GRAMMAR]


_PLOTLY = _figures()


class ChartCode(anywidget.AnyWidget):
    """Shows nothing; holds the code that draws charts."""

    _esm = "export default {};"
    text = traitlets.Unicode().tag(sync=True)


@cache
def _text() -> str:
    return (_PLOTLY / "package_data" / "widgetbundle.js").read_text(encoding="utf-8")


_held: list[ChartCode] = []


def chart_code() -> ChartCode:
    """Return the widget with the code: one for a kernel, as long as it is not closed."""
    if not _held or _held[0].comm is None:
        _held[:] = [ChartCode(text=_text())]
    return _held[0]
