"""Gaps in stock: coverage, stranded parts, weak points, and what to order."""

from fitgraph.stock.coverage import Coverage, Matrix, Standing, Tally, coverage, trend
from fitgraph.stock.groups import grouping_names

__all__ = ["Coverage", "Matrix", "Standing", "Tally", "coverage", "grouping_names", "trend"]
