"""The drawing code of charts, sent to a page once and not once a chart.

A Plotly figure in a notebook brings all of its code, some megabytes, and a page that reads it
again for each figure is slow to open; a figure whose code takes longer than two seconds is
given up by the page. So the code is a widget of its own, to which every chart refers, and a
chart by itself brings only a few lines.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import anywidget
import plotly.basewidget
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


class ChartCode(anywidget.AnyWidget):
    """Shows nothing; holds the code that draws charts."""

    _esm = "export default {};"
    text = traitlets.Unicode().tag(sync=True)


@cache
def _text() -> str:
    code = Path(plotly.basewidget.__file__).parent / "package_data" / "widgetbundle.js"
    return code.read_text(encoding="utf-8")


_held: list[ChartCode] = []


def chart_code() -> ChartCode:
    """Return the widget with the code: one for a kernel, as long as it is not closed."""
    if not _held or _held[0].comm is None:
        _held[:] = [ChartCode(text=_text())]
    return _held[0]
