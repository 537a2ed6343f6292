"""Ready-made parts of a notebook: open a catalogue, and look around in it."""

from fitgraph.lab.explorer import BuildExplorer
from fitgraph.lab.opened import OpenCatalogue, open_catalogue
from fitgraph.lab.why_explorer import WhyExplorer

__all__ = ["BuildExplorer", "OpenCatalogue", "WhyExplorer", "open_catalogue"]
