"""Cross-sections through what sits inside one another."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from fitgraph.draw import Nest, nest_svg
from fitgraph.model import Vocabulary
from fitgraph.report.blocks import Block, Picture, Section, quiet


def cross_section(nest: Nest, vocabulary: Vocabulary) -> Picture:
    """Return a cross-section; what it shows is written in it."""
    drawn = partial(nest_svg, nest, vocabulary)
    return Picture(drawn, "", partial(drawn, narrow=True))


def cross_sections(nests: Sequence[Nest], vocabulary: Vocabulary) -> tuple[Block, ...]:
    """Return cross-sections; the first is shown, the others open on demand."""
    if not nests:
        return (quiet("None of these parts sits inside another."),)
    first, *others = nests
    folded = (
        Section(
            ", ".join(vocabulary.roles[r.role].title for r in nest.rings),
            (cross_section(nest, vocabulary),),
            folded=True,
            verdict=nest.verdict,
        )
        for nest in others
    )
    return (cross_section(first, vocabulary), *folded)
