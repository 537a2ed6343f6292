"""Cross-sections through what sits inside one another, and parts beside their joints."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import partial

from fitgraph.draw import Nest, conflict_svg, nest_svg
from fitgraph.explain import Clash
from fitgraph.model import Option, Verdict, Vocabulary
from fitgraph.report.blocks import Block, Picture, Section, quiet

#: Sections of one combination.
_MOST = 4


def telling(found: Iterable[Nest], roles: Collection[str]) -> list[Nest]:
    """Return what shows some roles or a clash: clashes first, then what shows most of the roles."""
    told = (n for n in found if n.verdict is not Verdict.FITS or not n.roles.isdisjoint(roles))
    return sorted(told, key=lambda n: (n.verdict, -len(n.roles.intersection(roles))))


def cross_section(nest: Nest, vocabulary: Vocabulary) -> Picture:
    """Return a cross-section; what it shows is written in it."""
    drawn = partial(nest_svg, nest, vocabulary)
    return Picture(drawn, "", partial(drawn, narrow=True))


def joints_drawn(
    shown: Mapping[str, Option],
    clashes: Sequence[Clash],
    vocabulary: Vocabulary,
    free: frozenset[str] = frozenset(),
) -> Picture:
    """Return parts beside the joints that they meet in; parameters as of ``conflict_svg``."""
    drawn = partial(conflict_svg, shown, clashes, vocabulary, free)
    return Picture(drawn, "", partial(drawn, narrow=True))


def cross_sections(nests: Sequence[Nest], vocabulary: Vocabulary) -> tuple[Block, ...]:
    """Return the first cross-sections; one is shown, the others open on demand."""
    if not nests:
        return (quiet("None of these parts sits inside another."),)
    first, *others = nests[:_MOST]
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
