"""Drawings as SVG text: pure functions of a combination and the vocabulary."""

from fitgraph.draw.conflict import conflict_svg
from fitgraph.draw.nested import Nest, main_nest, nests
from fitgraph.draw.section import nest_svg, section_svg

__all__ = ["Nest", "conflict_svg", "main_nest", "nest_svg", "nests", "section_svg"]
