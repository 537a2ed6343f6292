"""Parts that could be made: which are worth it, the best few together, and their sheets."""

from fitgraph.adapters.assemblies import WholeYield, whole_yield
from fitgraph.adapters.best_k import BestChoice, Together, best_cover, best_together, frontier
from fitgraph.adapters.candidates import Candidate, candidates
from fitgraph.adapters.design_scan import Scan, Worth, scan, stranded
from fitgraph.adapters.made import Cost, MadeShape, cost_of, make_part, shape_of
from fitgraph.adapters.mates import Mate, Yield, mates, yield_of
from fitgraph.adapters.region import Barred, Edge, Region, axes_of, barred, edges, region
from fitgraph.adapters.sheet import SpecSheet, sheet, size_title
from fitgraph.adapters.tolerance import GradeYield, yields_by_grade
from fitgraph.adapters.variants import (
    grade_of,
    grades_of,
    held_to,
    with_least_wall,
    with_material,
)
from fitgraph.adapters.what_if import only_parts, save_with, with_part

__all__ = [
    "Barred",
    "BestChoice",
    "Candidate",
    "Cost",
    "Edge",
    "GradeYield",
    "MadeShape",
    "Mate",
    "Region",
    "Scan",
    "SpecSheet",
    "Together",
    "WholeYield",
    "Worth",
    "Yield",
    "axes_of",
    "barred",
    "best_cover",
    "best_together",
    "candidates",
    "cost_of",
    "edges",
    "frontier",
    "grade_of",
    "grades_of",
    "held_to",
    "make_part",
    "mates",
    "only_parts",
    "region",
    "save_with",
    "scan",
    "shape_of",
    "sheet",
    "size_title",
    "stranded",
    "whole_yield",
    "with_least_wall",
    "with_material",
    "with_part",
    "yield_of",
    "yields_by_grade",
]
