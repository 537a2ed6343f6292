"""What a page missed while it was opening, sent once it is there.

A page asks for the state of all widgets and listens to them from then on, a moment later. What
changes in between, as results do that are worked out meanwhile, reaches nobody.
"""

from __future__ import annotations

from collections.abc import Iterator

import anywidget
import ipywidgets as widgets
import plotly.graph_objects as go
import traitlets

from fitgraph.lab.chart_code import ChartCode

_SCRIPT = """
function render({ model }) {
  model.set("times", model.get("times") + 1);
  model.save_changes();
}
export default { render };
"""

#: What never changes, and is large.
_FIXED = ("_esm", "_css")


class Arrival(anywidget.AnyWidget):
    """Shows nothing; says that a page shows a component, and sends it the component as it is.

    Parameters
    ----------
    component : Widget
        Whose child this is.
    """

    _esm = _SCRIPT
    times = traitlets.Int(0).tag(sync=True)

    def __init__(self, component: widgets.Widget) -> None:
        self._component = component
        super().__init__()
        self.observe(self._arrived, names="times")

    def _arrived(self, _change: object) -> None:
        for widget in within(self._component):
            # Charts look after themselves.
            if widget is not self and not isinstance(widget, go.FigureWidget | ChartCode):
                widget.send_state([key for key in widget.keys if key not in _FIXED])


def within(component: widgets.Widget) -> Iterator[widgets.Widget]:
    """Yield a widget and all that it is made of, each once, what stands inside first."""
    seen: set[int] = set()

    def walk(widget: widgets.Widget) -> Iterator[widgets.Widget]:
        if id(widget) in seen:
            return
        seen.add(id(widget))
        for key in widget.keys:
            value = getattr(widget, key)
            for inner in value if isinstance(value, tuple | list) else (value,):
                if isinstance(inner, widgets.Widget):
                    yield from walk(inner)
        yield widget

    return walk(component)
