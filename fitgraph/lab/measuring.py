"""What to measure where nobody can tell, and how: read off the figures and the vocabulary."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from fitgraph.explain import Explanation, share_of_pairs
from fitgraph.explain.measure import Measurement
from fitgraph.explain.reasons import to_measure
from fitgraph.explain.words import size_text
from fitgraph.explain.words_rider import figure_text, how_text, measurement_text
from fitgraph.model import Catalogue, Verdict, Vocabulary
from fitgraph.wording import percent

#: Measurements told of, the most telling first.
_MOST = 3


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
        told = "" if share is None else f" As things stand {percent(share)} of such pairs fit."
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
                f"<li>{escape(title)} of {escape(figure.option.part.called)} (now {escape(now)}): "
                f"{escape(how)}</li>"
            )
        items.append(
            f"<li><strong>{escape(clash.joint.title)}</strong>.{told}<ul>{''.join(figures)}</ul></li>"
        )
    return f"<ul>{''.join(items)}</ul>"


def telling_html(found: Sequence[Measurement], named: Sequence[str], catalogue: Catalogue) -> str:
    """Return which measurement of the named parts settles most of the builds with them.

    Parameters
    ----------
    found : sequence of Measurement
        The most telling first.
    named : sequence of str
        Stock numbers of the parts in the fields.
    catalogue : Catalogue
        Where they come from.
    """
    mine = [m for m in found if m.sku in named][:_MOST]
    if not mine:
        return "<p>No single measurement of these parts settles a whole build.</p>"
    items = [
        f"<li><strong>{escape(catalogue.called(m.sku))}, "
        f"{escape(figure_text(catalogue, m.role, m.feature, m.dimension))}</strong>: "
        f"{escape(how_text(catalogue, m))} {escape(measurement_text(catalogue, m))}</li>"
        for m in mine
    ]
    return f"<p>What settles most whole builds with these parts:</p><ol>{''.join(items)}</ol>"
