"""A chart on a page: a plotly figure in Python, drawn by plotly's own code in the browser.

The whole figure is what the page is told, so a page that is opened late, or again, draws it as it
stands. The code that draws, some megabytes, is a widget of its own, to which every chart refers:
it is sent to a page once and not once a chart.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any

import anywidget
import plotly.graph_objects as go
import traitlets
from ipywidgets import widget_serialization
from plotly.basedatatypes import BaseTraceType

_SCRIPT = """
const PAPER = 700; // what stands between the margins of a sheet [px]

async function code(model) {
  const id = model.get("_code").slice("IPY_MODEL_".length);
  const holder = await model.widget_manager.get_model(id);
  holder.plotly ??= import(
    URL.createObjectURL(new Blob([holder.get("text")], { type: "text/javascript" })));
  return (await holder.plotly).default;
}
async function render({ model, el }) {
  const plotly = await code(model);
  let last = null, paper = null; // one drawing after the other
  const draw = () => {
    // Plotly writes into what it is given.
    const { data, layout } = structuredClone(model.get("drawn")), config = model.get("config");
    // Its own height, so that it keeps it whatever plotly measures while the width changes.
    el.style.height = layout.height ? `${layout.height}px` : "";
    const drawn = () => plotly.react(el, data, layout, config);
    last = (last ?? Promise.resolve()).then(drawn).catch(console.error);
  };
  // It is drawn once it has a width, and is as wide as there is room from then on.
  const room = new ResizeObserver(async () => {
    if (!el.offsetWidth || paper !== null) return;
    if (last === null && el.closest(".fg-shut") && el.closest("[aria-busy]")) {
      // What is folded away is drawn once the page can be used.
      room.unobserve(el);
      setTimeout(() => room.observe(el), 250);
    } else if (last === null) {
      draw();
      await last;
      el.on("plotly_click", ({ points: [one] }) => {
        model.set("pressed", [one.curveNumber, one.pointNumber, model.get("pressed")[2] + 1]);
        model.save_changes();
      });
    } else last = last.then(() => plotly.Plots.resize(el)).catch(console.error);
  });
  const changed = () => { if (last !== null) draw(); };
  // On paper it is drawn for the width that a sheet has, and then scaled to it, so that its words
  // are as large as others, however wide the window is.
  const sheets = () => [...el.querySelectorAll(".main-svg")];
  const print = () => {
    if (last === null || !el.offsetWidth) return;
    const height = el.querySelector(".svg-container").offsetHeight;
    paper = plotly.relayout(el, { width: PAPER, height });
    for (const sheet of sheets()) {
      sheet.setAttribute("viewBox", `0 0 ${PAPER} ${height}`);
      sheet.closest(".svg-container").style.aspectRatio = `${PAPER} / ${height}`;
    }
  };
  const printed = () => {
    if (paper === null) return;
    for (const sheet of sheets()) {
      sheet.removeAttribute("viewBox");
      sheet.closest(".svg-container").style.aspectRatio = "";
    }
    last = last.then(() => paper).then(() => { paper = null; draw(); }).catch(console.error);
  };
  addEventListener("beforeprint", print);
  addEventListener("afterprint", printed);
  model.on("change:drawn", changed);
  room.observe(el);
  return () => {
    room.disconnect();
    removeEventListener("beforeprint", print);
    removeEventListener("afterprint", printed);
    model.off("change:drawn", changed);
    plotly.purge(el);
  };
}
export default { render };
"""

_STYLE = """
@media print{.js-plotly-plot{height:auto!important}
.js-plotly-plot,.js-plotly-plot :is(.plot-container,.svg-container,.main-svg)
{width:100%!important;height:auto!important}}
"""


class ChartCode(anywidget.AnyWidget):
    """Shows nothing; holds the code that draws charts."""

    _esm = "export default {};"
    text = traitlets.Unicode().tag(sync=True)


@cache
def _text() -> str:
    """Return plotly's code as a module, which knows of no other module that a page has loaded."""
    from plotly.offline import get_plotlyjs

    return (
        "const module = { exports: {} }; let define;\n"
        f"{get_plotlyjs()}\nexport default module.exports;"
    )


_held: list[ChartCode] = []


def chart_code() -> ChartCode:
    """Return the widget with the code: one for a kernel, as long as it is not closed."""
    if not _held or _held[0].comm is None:
        _held[:] = [ChartCode(text=_text())]
    return _held[0]


class Chart(anywidget.AnyWidget):
    """A chart whose points can be pressed.

    Parameters
    ----------
    traces : sequence of trace
        Of plotly.
    layout : Layout
        Of plotly.

    Attributes
    ----------
    figure : Figure
        What is drawn; changed inside :meth:`change`.
    pressed : list
        The trace and the point that were pressed last, and a number that goes up by one at each
        press.
    """

    _esm = _SCRIPT
    _css = _STYLE
    _code = traitlets.Instance(ChartCode).tag(sync=True, **widget_serialization)
    drawn: Any = traitlets.Dict().tag(sync=True)
    #: Of plotly. A price between two signs of dollars is no formula.
    config: Any = traitlets.Dict({"displayModeBar": False, "typesetMath": False}).tag(sync=True)
    pressed: Any = traitlets.List([0, 0, 0]).tag(sync=True)

    def __init__(self, traces: Sequence[BaseTraceType], layout: go.Layout) -> None:
        self.figure, self._changing = go.Figure(data=list(traces), layout=layout), 0
        super().__init__(_code=chart_code(), drawn=json.loads(self.figure.to_json()))

    @contextmanager
    def change(self) -> Iterator[go.Figure]:
        """Let the figure be changed inside, and show it as it is once the outermost one is over."""
        self._changing += 1
        try:
            yield self.figure
        finally:
            self._changing -= 1
        if not self._changing:
            self.drawn = json.loads(self.figure.to_json())

    def on_press(self, trace: int, function: Callable[[int], object]) -> None:
        """Call a function with the place of a point of a trace that is pressed."""

        def told(change: dict[str, Any]) -> None:
            of, point, _ = change["new"]
            if of == trace and 0 <= point < len(self.figure.data[trace].x or ()):
                function(point)

        self.observe(told, names="pressed")

    def press(self, trace: int, point: int) -> None:
        """Press a point, as a page does."""
        self.pressed = [trace, point, self.pressed[2] + 1]
