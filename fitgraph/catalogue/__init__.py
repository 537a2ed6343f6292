"""Read, check and report a catalogue folder: a vocabulary file and plain tables."""

from fitgraph.catalogue.findings import CatalogueError, Finding
from fitgraph.catalogue.load import Loaded, load
from fitgraph.catalogue.shipped import demo_folder, shipped_folder
from fitgraph.catalogue.vocabulary_shape import vocabulary_schema

__all__ = [
    "CatalogueError",
    "Finding",
    "Loaded",
    "demo_folder",
    "load",
    "shipped_folder",
    "vocabulary_schema",
]
