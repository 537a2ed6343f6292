"""Read, check and report a catalogue folder: a vocabulary file and plain tables."""

from fitgraph.catalogue.findings import CatalogueError, Finding
from fitgraph.catalogue.load import load
from fitgraph.catalogue.loaded import Loaded
from fitgraph.catalogue.shipped import demo_folder, shipped_folder

__all__ = [
    "CatalogueError",
    "Finding",
    "Loaded",
    "demo_folder",
    "load",
    "shipped_folder",
]
