"""Ready-made parts of a notebook: open a catalogue, and look around in it.

What a page does not need is not imported for it, so that its first answer comes soon.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fitgraph.lab.adapter_map import AdapterMap
    from fitgraph.lab.counter import Counter
    from fitgraph.lab.explorer import BuildExplorer
    from fitgraph.lab.lesson import FitLesson
    from fitgraph.lab.map_of_fits import MapOfFits
    from fitgraph.lab.opened import OpenCatalogue, open_catalogue, scan_of
    from fitgraph.lab.own_data import OwnData
    from fitgraph.lab.practice import Practice
    from fitgraph.lab.start import Start
    from fitgraph.lab.stock_gaps import StockGaps
    from fitgraph.lab.triangle_view import MaterialTriangle
    from fitgraph.lab.why_explorer import WhyExplorer

#: Where each lies.
_MODULES = {
    "AdapterMap": "adapter_map",
    "BuildExplorer": "explorer",
    "Counter": "counter",
    "FitLesson": "lesson",
    "MapOfFits": "map_of_fits",
    "MaterialTriangle": "triangle_view",
    "OpenCatalogue": "opened",
    "OwnData": "own_data",
    "Practice": "practice",
    "Start": "start",
    "StockGaps": "stock_gaps",
    "WhyExplorer": "why_explorer",
    "open_catalogue": "opened",
    "scan_of": "opened",
}

__all__ = [
    "AdapterMap",
    "BuildExplorer",
    "Counter",
    "FitLesson",
    "MapOfFits",
    "MaterialTriangle",
    "OpenCatalogue",
    "OwnData",
    "Practice",
    "Start",
    "StockGaps",
    "WhyExplorer",
    "open_catalogue",
    "scan_of",
]


def __getattr__(name: str) -> Any:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_MODULES[name]}"), name)
