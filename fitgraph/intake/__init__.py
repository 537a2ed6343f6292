"""Their own data: spreadsheets, price lists and databases, mapped to a catalogue folder.

Everything here is data in and data out; commands and pages only ask and show.
"""

from fitgraph.intake.build import Imported
from fitgraph.intake.guess import Choice, guess
from fitgraph.intake.mapping import Mapping, MappingError, read_mapping
from fitgraph.intake.sources import SourceError, frame_sheet, read_source
from fitgraph.intake.understood import Intake, take_in

__all__ = [
    "Choice",
    "Imported",
    "Intake",
    "Mapping",
    "MappingError",
    "SourceError",
    "frame_sheet",
    "guess",
    "read_mapping",
    "read_source",
    "take_in",
]
