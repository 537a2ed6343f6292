"""What to measure where nobody can tell, and how: read off the figures and the vocabulary."""

from __future__ import annotations

from html import escape

from fitgraph.explain import Clash, Explanation, share_of_pairs
from fitgraph.explain.reasons import Figure
from fitgraph.explain.words import size_text
from fitgraph.model import Presence, Verdict, Vocabulary


def _open(figure: Figure) -> bool:
    """Return whether a figure's limits leave anything to measure."""
    if figure.option.part is None or figure.presence is Presence.ABSENT:
        return False
    if figure.dimension is None:
        return figure.word is None
    return figure.dimension.hi > figure.dimension.lo


def to_measure(clash: Clash) -> tuple[Figure, ...]:
    """Return the figures of an undecided joint that a measurement could narrow, worst first.

    Parameters
    ----------
    clash : Clash
        A joint of which nobody can tell.
    """

    def width(figure: Figure) -> float:
        d = figure.dimension
        return float("inf") if d is None else d.hi - d.lo

    return tuple(sorted((f for f in clash.figures if _open(f)), key=width, reverse=True))


def measure_html(said: Explanation, vocabulary: Vocabulary) -> str:
    """Return what to measure, where and how, for every joint that cannot be told.

    Parameters
    ----------
    said : Explanation
        The answer to a question.
    vocabulary : Vocabulary
        Says how each dimension is measured.
    """
    undecided = [c for c in said.conflicts if c.verdict is Verdict.UNKNOWN]
    if not undecided:
        return "<p>Nothing: no figure is in doubt here.</p>"
    items = []
    for clash in undecided:
        share = share_of_pairs(clash)
        told = "" if share is None else f" As things stand {share:.0%} of such pairs fit."
        figures = []
        for figure in to_measure(clash):
            reference = figure.reference
            if reference.feature is None or figure.option.part is None:
                continue
            kind = vocabulary.roles[reference.role].features[reference.feature]
            how = kind.dimensions[reference.name].measure
            now = "not known" if figure.dimension is None else size_text(figure.dimension)
            title = reference.feature.replace("_", " ")
            figures.append(
                f"<li>{escape(title)} of {escape(figure.option.part.sku)} (now {escape(now)}): "
                f"{escape(how)}</li>"
            )
        items.append(
            f"<li><strong>{escape(clash.joint.title)}</strong>.{told}<ul>{''.join(figures)}</ul></li>"
        )
    return f"<ul>{''.join(items)}</ul>"
