"""Parts that could be made: which are worth it, the best few together, and their sheets."""

from fitgraph.adapters.best_k import Choice, Together, best_cover, best_together, frontier
from fitgraph.adapters.candidates import Candidate, candidates
from fitgraph.adapters.made import Cost, Shape, cost_of, make_part, shape_of
from fitgraph.adapters.mates import Mate, Yield, mates, yield_of
from fitgraph.adapters.scan import Scan, Worth, scan, stranded
from fitgraph.adapters.sheet import Sheet, sheet
from fitgraph.adapters.what_if import only_parts, save_with, with_part

__all__ = [
    "Candidate",
    "Choice",
    "Cost",
    "Mate",
    "Scan",
    "Shape",
    "Sheet",
    "Together",
    "Worth",
    "Yield",
    "best_cover",
    "best_together",
    "candidates",
    "cost_of",
    "frontier",
    "make_part",
    "mates",
    "only_parts",
    "save_with",
    "scan",
    "shape_of",
    "sheet",
    "stranded",
    "with_part",
    "yield_of",
]
