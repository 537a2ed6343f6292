"""Ready-made parts of a notebook: open a catalogue, and look around in it."""

from fitgraph.lab.adapter_map import AdapterMap
from fitgraph.lab.explorer import BuildExplorer
from fitgraph.lab.gaps import StockGaps
from fitgraph.lab.lesson import FitLesson
from fitgraph.lab.map_of_fits import MapOfFits
from fitgraph.lab.opened import OpenCatalogue, open_catalogue
from fitgraph.lab.practice import Practice
from fitgraph.lab.triangle_view import MaterialTriangle
from fitgraph.lab.weighing import scan_of
from fitgraph.lab.why_explorer import WhyExplorer

__all__ = [
    "AdapterMap",
    "BuildExplorer",
    "FitLesson",
    "MapOfFits",
    "MaterialTriangle",
    "OpenCatalogue",
    "Practice",
    "StockGaps",
    "WhyExplorer",
    "open_catalogue",
    "scan_of",
]
