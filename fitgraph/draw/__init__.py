"""Drawings as SVG text: pure functions of a combination and the vocabulary."""

from fitgraph.draw.nests import Nest, main_nest, nests
from fitgraph.draw.section import nest_svg, section_svg

__all__ = ["Nest", "main_nest", "nest_svg", "nests", "section_svg"]
