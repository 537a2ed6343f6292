"""The front door: one object that holds a catalogue and answers every question.

Examples
--------
>>> import fitgraph
>>> shop = fitgraph.open()
>>> shop.name
'demo'
"""

from fitgraph.shop.answers import (
    AdapterAnswer,
    AdviceAnswer,
    Answer,
    BuildsAnswer,
    CheckAnswer,
    CompareAnswer,
    CoverageAnswer,
    ExchangeAnswer,
    GapsAnswer,
    IdentifyAnswer,
    MeasureAnswer,
    PivotAnswer,
    RemainingAnswer,
    RestockAnswer,
    StoryAnswer,
    TableAnswer,
    WhyAnswer,
)
from fitgraph.shop.fits import GraphAnswer, MapAnswer
from fitgraph.shop.front import Shop, check_folder, open_shop

__all__ = [
    "AdapterAnswer",
    "AdviceAnswer",
    "Answer",
    "BuildsAnswer",
    "CheckAnswer",
    "CompareAnswer",
    "CoverageAnswer",
    "ExchangeAnswer",
    "GapsAnswer",
    "GraphAnswer",
    "IdentifyAnswer",
    "MapAnswer",
    "MeasureAnswer",
    "PivotAnswer",
    "RemainingAnswer",
    "RestockAnswer",
    "Shop",
    "StoryAnswer",
    "TableAnswer",
    "WhyAnswer",
    "check_folder",
    "open_shop",
]
