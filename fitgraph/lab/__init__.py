"""Ready-made parts of a notebook: open a catalogue, and look around in it."""

from fitgraph.lab.explorer import BuildExplorer
from fitgraph.lab.opened import OpenCatalogue, open_catalogue

__all__ = ["BuildExplorer", "OpenCatalogue", "open_catalogue"]
