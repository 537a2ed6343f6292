"""What a group of enquiries means, in a few words, for who does not know its name."""

from __future__ import annotations

from fitgraph.explain.words_rider import figure_text
from fitgraph.graph.groupings import OTHER
from fitgraph.model import Catalogue, Kind

#: Groupings by an enquiry's own columns, and what is meant by no group in them.
_COLUMNS = {
    "style": "no way of riding noted",
    "material": "no material asked for, and nothing owned that settles it",
    "month": "no date noted",
}


def titles(catalogue: Catalogue) -> dict[str, str]:
    """Return the title of every grouping of enquiries."""
    own = {name: name for name in _COLUMNS}
    return own | {name: g.title for name, g in catalogue.vocabulary.groups.items()}


def _by_figures(catalogue: Catalogue, kind: Kind) -> str:
    pieces = [
        f"{figure_text(catalogue, r.role, r.feature, r.name)} {least:g} to {most:g} mm"
        for r, (least, most) in kind.within.items()
        if r.feature is not None
    ]
    roles = catalogue.vocabulary.roles
    for condition in kind.when:
        if condition.feature is None:
            continue
        title = roles[condition.role].features[condition.feature].title
        has = "with" if condition.wanted else "without"
        pieces.append(f"{roles[condition.role].title} {has} {title}")
    return ", ".join(pieces)


def glosses(catalogue: Catalogue, name: str) -> dict[str, str]:
    """Return what each group of a grouping means; nothing for names that say it themselves.

    Parameters
    ----------
    catalogue : Catalogue
        Its vocabulary has the words.
    name : str
        One of :func:`fitgraph.stock.grouping_names`.
    """
    grouping = catalogue.vocabulary.groups.get(name)
    if grouping is None:
        return {OTHER: _COLUMNS[name]} if name in _COLUMNS else {}
    identify = catalogue.vocabulary.identify
    means = identify.means if identify is not None and identify.group == name else {}
    told = {k.name: means.get(k.name) or _by_figures(catalogue, k) for k in grouping.kinds}
    told[OTHER] = "none of these, or what tells it is not among the owned parts"
    return {group: text for group, text in told.items() if text}
