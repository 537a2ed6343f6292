"""Gaps in stock: coverage, stranded parts, weak points, and what to order."""

from fitgraph.stock.coverage import Coverage, Matrix, Standing, StandingTally, coverage, trend
from fitgraph.stock.groups import grouping_names
from fitgraph.stock.history import coverage_then
from fitgraph.stock.orders import OrderLine
from fitgraph.stock.reliance import Reliance, Weak, reliance
from fitgraph.stock.restock import OrderPlan, Restocking
from fitgraph.stock.stranded import Stranded, stranded

__all__ = [
    "Coverage",
    "Matrix",
    "OrderLine",
    "OrderPlan",
    "Reliance",
    "Restocking",
    "Standing",
    "StandingTally",
    "Stranded",
    "Weak",
    "coverage",
    "coverage_then",
    "grouping_names",
    "reliance",
    "stranded",
    "trend",
]
