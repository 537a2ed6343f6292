"""A figure that shares its code with others, and that a page draws without losing a change."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any

import plotly.graph_objects as go
import traitlets
from ipywidgets import widget_serialization

from fitgraph.lab.chart_code import CHART_SCRIPT, ChartCode, chart_code

#: What of a trace never changes.
_FIXED = ("type", "uid")

#: How long a page may take to draw a chart for the first time, in seconds; and how long to
#: answer the last change before it is sent again, and how often that is done.
_DRAWING_S, _ANSWER_S, _TRIES = 20.0, 0.5, 4


class Chart(go.FigureWidget):
    """A figure that sends a page no changes while the page draws it for the first time.

    A change in the middle of a first drawing is lost, and may break the drawing for good. So
    changes are held back from when a page begins until it says which one it has seen last;
    then it gets all that it has missed at once.

    All traces have to be given from the beginning: one that is added is a change as well, and
    is lost if the page has not read the code that draws by then.
    """

    _esm = CHART_SCRIPT
    _code = traitlets.Instance(ChartCode).tag(sync=True, **widget_serialization)

    @traitlets.default("_code")
    def _default_code(self) -> ChartCode:
        return chart_code()

    def __init__(self, *given: Any, **more: Any) -> None:
        self._drawing, self._seen = False, 0
        self._layout_since: dict[str, Any] = {}
        super().__init__(*given, **more)
        # A price between two signs of dollars is no formula.
        self.set_trait("_config", {"typesetMath": False})
        self.observe(self._begun, names="_view_count")
        self.observe(self._answered, names="_js2py_traceDeltas")

    def _begun(self, change: Mapping[str, Any]) -> None:
        """Hold changes back: a page has begun to draw."""
        if (change["new"] or 0) > (change["old"] or 0):
            self._drawing = _later(_DRAWING_S, self._drawn)

    def _drawn(self) -> None:
        self._drawing = False
        self._check(_TRIES)

    def _answered(self, change: Mapping[str, Any]) -> None:
        """Take note of what a page has seen."""
        if not change["new"]:
            return
        self._seen = change["new"]["trace_edit_id"]
        if self._seen >= self._last_trace_edit_id:
            self._layout_since = {}
        if self._drawing:
            self._drawn()
        elif self._seen < self._last_trace_edit_id:
            _later(_ANSWER_S, self._check, _TRIES)

    def _check(self, tries: int) -> None:
        """Send the data again if the last change has not been seen."""
        if self._seen < self._last_trace_edit_id and tries and not self._drawing:
            traces = [_leaves(trace) for trace in self._data]
            paths = sorted({path for trace in traces for path in trace if path not in _FIXED})
            self._send_update_msg(
                {path: [trace.get(path) for trace in traces] for path in paths},
                self._layout_since,
                list(range(len(traces))),
            )
            _later(_ANSWER_S, self._check, tries - 1)

    def _send_restyle_msg(self, *given: Any, **more: Any) -> None:
        if self._drawing:
            self._last_trace_edit_id += 1
        else:
            super()._send_restyle_msg(*given, **more)

    def _send_update_msg(
        self,
        restyle_data: Mapping[str, Any],
        relayout_data: Mapping[str, Any],
        *given: Any,
        **more: Any,
    ) -> None:
        self._layout_since = {**self._layout_since, **relayout_data}
        if self._drawing:
            self._last_trace_edit_id += 1
        else:
            super()._send_update_msg(restyle_data, relayout_data, *given, **more)


def _leaves(properties: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    """Return nested properties by their paths, such as ``xaxis.title.text``."""
    leaves: dict[str, Any] = {}
    for name, value in properties.items():
        if isinstance(value, Mapping):
            leaves |= _leaves(value, f"{before}{name}.")
        else:
            leaves[before + name] = value
    return leaves


def _later(seconds: float, function: Callable[..., None], *given: object) -> bool:
    """Call a function later; return whether that is possible, as it is in an event loop."""
    try:
        asyncio.get_running_loop().call_later(seconds, function, *given)
    except RuntimeError:
        return False
    return True
